//! What scanners send, after GS1's rules: element strings, Digital Link URIs, article, place and pallet numbers.
//!
//! Which identifiers there are, how their values are built and which belong together is the content of the GS1 Barcode
//! Syntax Dictionary (Apache-2.0), told in [`table`] in our own terms. Not looked at are: whether a company prefix was ever
//! given out, currencies, two-letter countries and package types beyond their form, and the inside of coupons.

mod dates;
pub mod digital_link;
pub mod element_string;
pub mod epc;
mod fault;
pub mod goods;
pub mod gtin;
mod rows;
pub mod rules;
pub mod scanned;

pub mod table;
mod value;

pub use dates::{day, full_year};
pub use fault::{Fault, Gs1Error, Of};
