//! The pages, as browsers and strangers meet them.

mod browser;
mod counter;
mod forms;
mod shop;
mod stock;
mod upkeep;
