//! What people do with Tubtrail, one function a thing: authorise, load what is needed, let the domain decide, append
//! facts, feed the lineage index.
//!
//! Everything is a method of [`Tubtrail`], in the module of its noun. The types that go in and come out are defined
//! beside the function; they are what the REST API speaks. Errors ([`OperationError`]) name a problem of the trade and the
//! field at fault and know nothing of HTTP.

mod answers;
mod clock;
pub mod days;
mod digest;
mod error;
mod fields;
mod index;
pub mod known;
mod lot_pages;
mod names;
pub mod passwords;
pub mod problems;
pub mod quantities;
mod random;

pub mod reach;
mod standing;
mod table;
mod tubtrail;
pub mod unreadable;

pub mod allergen_checks;
pub mod allergen_sheets;
pub mod allergen_words;
pub mod batch_equipment;
pub mod batch_orders;
pub mod batches;
pub mod clean_kinds;
pub mod cleans;
pub mod completions;
pub mod consignments;
pub mod counting;
pub mod counts;
pub mod deliveries;
pub mod devices;
pub mod discards;
pub mod documents;
pub mod equipment;
pub mod exports;
pub mod gtins;
pub mod holds;
pub mod imports;
pub mod installation;
pub mod item_labels;
pub mod items;
pub mod journal;
pub mod labels;
pub mod lots;
pub mod makers;
pub mod master_data;
pub mod partners;
pub mod picks;
pub mod print_queue;
pub mod printers;
pub mod prints;
pub mod proposals;
pub mod readings;
pub mod recalls;
pub mod receipts;
pub mod recipes;
pub mod recount;
pub mod reorder_levels;
pub mod residues;
pub mod scans;
pub mod serving_ways;
pub mod sessions;
pub mod sites;
pub mod statement_gaps;
pub mod statements;
pub mod stock;
pub mod trace;
pub mod transfers;
pub mod tubs;
mod use_rules;
pub mod users;
pub mod uses;
pub mod verify;
pub mod voids;
pub mod webhooks;
pub mod write_ups;

pub use clock::{Clock, Steps, system_clock};
pub use error::{Fault, OperationError};
pub use quantities::{Grams, QuantityEntered};
pub use reach::{Actor, Grant, Request, Role};
pub use tubtrail::{Answered, HandedIn, Tubtrail};
pub use tubtrail_storage::write::Key;
pub use tubtrail_storage::{Database, DatabaseUrl, StorageError};
