//! GS1 codes against published check values; the source of each stands beside it.
//!
//! `ai.c`, `dl.c` and `scandata.c` are files of the GS1 Barcode Syntax Engine, `lint_*.c` of the GS1 Barcode Syntax
//! Dictionary, both GS1 AISBL, Apache-2.0. `^` in them stands for FNC1, which scanners send as GS.

mod days;
mod epc;
mod goods;
mod links;
mod numbers;
mod scans;
mod strings;

use tubtrail_domain::gs1::element_string::ElementString;
use tubtrail_domain::gs1::{Fault, Gs1Error};

/// The year in which everything is scanned here.
pub const YEAR: i32 = 2026;

/// Reads an element string in the notation of the published values.
pub fn read(text: &str) -> Result<ElementString, Gs1Error> {
    let text = text.replace('^', "\u{1d}");
    ElementString::parse(&text, 1, YEAR)
}

/// Whether every value fits its identifier, whatever belongs beside it.
pub fn well_formed(text: &str) -> bool {
    matches!(read(text), Ok(_) | Err(Gs1Error { fault: Fault::Alone { .. } | Fault::NotTogether { .. }, .. }))
}

/// Where it is wrong, and the first word of what is wrong.
pub fn fault(text: &str) -> (usize, String) {
    let error = read(text).expect_err(text);
    let debug = format!("{:?}", error.fault);
    let word = debug.split([' ', '(']).next().unwrap_or_default();
    (error.position, word.to_owned())
}
