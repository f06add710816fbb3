//! Papers and files for people outside the house: takes plain data, returns bytes. No storage, no HTTP, no clock.
//!
//! A [`report::Report`] is a head and some tables. It becomes a PDF ([`pdf`]), a spreadsheet ([`spreadsheet`]) or one
//! plain-text file ([`plain_text`]); a single table becomes CSV ([`comma_separated`]). Each has a writer that takes
//! the rows a chunk at a time. An [`allergen_sheet::AllergenSheet`] is what hangs beside a shop's case. A
//! [`labels::LabelContent`] is a label for a tub, a component or a received lot. An [`epcis::Event`] is told to other houses.
//! [`picture::lay_out`] makes a picture of a trace, from the suppliers' lots to the tubs.

pub mod allergen_sheet;
mod cell;
pub mod comma_separated;
pub mod epcis;
mod error;
pub mod labels;
pub mod pdf;
pub mod picture;
pub mod plain_text;
pub mod report;
pub mod spreadsheet;

pub use self::error::{DocumentError, Result};
