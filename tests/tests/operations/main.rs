//! The operations, on both backends: a module a noun.

mod counts;
mod deliveries;
mod holds;
mod recipes;
mod shelf;
mod stock;
mod transfers;
mod tubs;
