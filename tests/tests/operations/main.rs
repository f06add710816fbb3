//! The operations, on both backends: a module a noun.

mod counts;
mod deliveries;
mod recipes;
mod shelf;
mod transfers;
mod tubs;
