//! The operations, on both backends: a module a noun.

mod deliveries;
mod devices;
mod recipes;
mod sessions;
mod users;
