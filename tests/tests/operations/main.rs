//! The operations, on both backends: a module a noun.

mod batches;
mod completions;
mod deliveries;
mod recipes;
mod uses;
mod voids;
