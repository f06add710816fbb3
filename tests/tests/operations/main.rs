//! The operations, on both backends: a module a noun.

mod batches;
mod completions;
mod counts;
mod deliveries;
mod devices;
mod holds;
mod imports;
mod master_data;
mod picks;
mod recipes;
mod sessions;
mod shelf;
mod stock;
mod transfers;
mod tubs;
mod units;
mod users;
mod uses;
mod voids;
