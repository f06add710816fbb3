//! The pages, as browsers and strangers meet them.

mod browser;
mod counter;
mod forms;
mod recalls;
mod shop;
mod tracing;
