//! The operations, on both backends: a module a noun.

mod batches;
mod completions;
mod deliveries;
mod devices;
mod recipes;
mod sessions;
mod users;
mod uses;
mod voids;
