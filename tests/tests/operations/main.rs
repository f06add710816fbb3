//! The operations, on both backends: a module a noun.

mod deliveries;
mod imports;
mod master_data;
mod picks;
mod recipes;
mod units;
