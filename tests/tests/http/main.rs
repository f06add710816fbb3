//! The whole program over HTTP, as its users meet it.

mod allergens;
mod arrays;
mod bad_input;
mod changes;
mod crash;
mod exports;
mod papers;
mod proposals;
mod races;
mod recalls;
mod scans;
mod strays;
mod trace;
mod two_servers;
