//! Storage by itself, on both backends.

mod audit;
mod connections;
mod every_fact;
mod facts;
mod groups;
mod house;
mod keys;
mod log;
mod migrations;
mod order;
mod schema;
mod time;
mod waiting;
mod writers;
