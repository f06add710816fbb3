//! The operations, on both backends: a module a noun.

mod deliveries;
mod recipes;
