//! The operations, on both backends: a module a noun.

mod batches;
mod bench;
mod completions;
mod counts;
mod deliveries;
mod devices;
mod holds;
mod imports;
mod journal;
mod lots;
mod master_data;
mod picks;
mod readiness;
mod recipes;
mod sessions;
mod shelf;
mod simulation;
mod stock;
mod trace;
mod transfers;
mod tubs;
mod units;
mod users;
mod uses;
mod verify;
mod voids;
