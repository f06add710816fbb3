//! What the tests stand on: databases of their own on both backends, the real server, a client, and the checks that
//! every test ends with. Started by `tests/all`, which brings the PostgreSQL they need.
//!
//! A test here is an ordinary function of a [`Backend`], run on each by [`on_both!`].

pub mod backend;
pub mod batches;
pub mod binary;
pub mod client;
pub mod database;
pub mod dice;
pub mod house;
mod invariants;
pub mod reference;
pub mod rest;
pub mod server;
pub mod speed;
pub mod world;

pub use backend::Backend;
pub use client::{Answer, Client, Problem};
pub use database::TestDatabase;
pub use dice::Dice;
pub use house::TestHouse;
pub use rest::RestHouse;
pub use server::TestServer;
pub use world::World;
