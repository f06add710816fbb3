//! Allergens: what can be asked about, whose law lists it, and what a statement therefore says and does not say.
//!
//! Sets of substances are masks, one bit a substance. The bits are for the memory of one process: what is stored and
//! sent is always the word.

mod lists;
mod statements;
mod substances;

pub use lists::{AllergenList, Column};
pub use statements::{Answer, Declared, StatementError, StatementGiven};
pub use substances::{EVERY_SUBSTANCE, Group, Named, Substance};
