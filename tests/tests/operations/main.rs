//! The operations, on both backends: a module a noun.

mod batches;
mod completions;
mod deliveries;
mod devices;
mod imports;
mod master_data;
mod picks;
mod recipes;
mod sessions;
mod units;
mod users;
mod uses;
mod voids;
