//! The pages, as browsers and strangers meet them.

mod browser;
mod counter;
mod delivery;
mod forms;
mod french;
mod large_case;
mod making;
mod recalls;
mod refusals;
mod shop;
mod stock;
mod tracing;
mod upkeep;
