//! The tables of Tubtrail, on SQLite and on PostgreSQL, from one code path.
//!
//! The only crate that names a backend. Facts are inserted and never changed ([`fact`]); every command runs in the one
//! write transaction ([`write`]) that the writer thread ([`writer`]) opens for a group of them; what is derived in place
//! (balances, the journal head) can be recomputed from the facts ([`audit`]).

// diesel's macros bring public items that carry no docs; ours do.
#![allow(missing_docs)]

#[macro_use]
mod fact;
mod answering;
pub mod audit;
mod checkpoints;
pub mod cleans;
pub mod connection;
pub mod contents;
pub mod documents;
mod error;
pub mod graph_changes;
mod group;
pub mod gtins;
mod handed_in;
mod ids;
pub mod journal;
mod kept;
pub mod labels;
mod lean;
pub mod lots;
pub mod master_data;
pub mod migrations;
pub mod on_hand;
pub mod open_tubs;
pub mod particulars;
pub mod people;
pub mod picks;
pub mod readings;
pub mod recall_lines;
pub mod recall_seeds;
pub mod recalls;
pub mod search;
pub mod standing;
pub mod statements;
pub mod stock;
pub mod tracking;
pub mod turn;
mod waiting;
pub mod webhooks;
pub mod whole_graph;
pub mod write;
pub mod writer;

pub use connection::{AnyConnection, Database, DatabaseUrl};
pub use error::StorageError;
pub use fact::Fact;
pub use handed_in::{Done, HandedIn};
pub use write::{EntryHeader, WriteTx};
pub use writer::{Follower, Writer};
