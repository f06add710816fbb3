//! The whole program over HTTP, as its users meet it.

mod bad_input;
mod crash;
mod races;
mod two_servers;
