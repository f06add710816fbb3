//! Pages of lots in an order that the graph gives, which may be another by the next page: each tells what came before it, and is
//! not gone on from where that has changed.

use tubtrail_domain::say;

use crate::digest::sha256_hex;
use crate::error::{OperationError, Result};
use crate::{fields, problems};

/// Hexadecimal digits that tell what came before a page.
const PRINT: usize = 16;

/// Where a page begins, and what the lots before it came to.
pub(crate) struct Begins<'a> {
    /// At which lot, from 0.
    pub at: usize,
    print: &'a str,
}

impl<'a> Begins<'a> {
    /// Reads the `next` of the page before; empty before the first.
    pub fn read(after: &'a str) -> Result<Self> {
        if after.is_empty() {
            return Ok(Self { at: 0, print: "" });
        }
        let read = after.split_once('.').and_then(|(at, print)| Some(Self { at: at.parse().ok()?, print }));
        read.ok_or_else(|| fields::no_next("after"))
    }

    /// Refuses to go on unless the lots before it are still the same, of all of them by row.
    pub fn check(&self, rows: impl ExactSizeIterator<Item = i64>) -> Result<()> {
        if self.at == 0 || (self.at <= rows.len() && print_of(rows.take(self.at)) == self.print) {
            return Ok(());
        }
        Err(OperationError::new(&problems::TRACE_MOVED, say!("read it again from the first page")).at("after"))
    }
}

/// The `next` of a page that ends before a lot, of all of them by row; none at the end.
pub(crate) fn next(until: usize, rows: impl ExactSizeIterator<Item = i64>) -> Option<String> {
    (until < rows.len()).then(|| format!("{until}.{}", print_of(rows.take(until))))
}

fn print_of(rows: impl Iterator<Item = i64>) -> String {
    let rows: Vec<u8> = rows.flat_map(i64::to_le_bytes).collect();
    let mut print = sha256_hex(&rows);
    print.truncate(PRINT);
    print
}
