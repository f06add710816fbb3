//! A table as CSV: RFC 4180, UTF-8, a heading line, CRLF line ends.

use crate::error::Result;
use crate::report::{Row, Table, TableHead};

/// The media type of what is made here.
pub const MEDIA_TYPE: &str = "text/csv; charset=utf-8; header=present";

/// A table of which all rows are at hand.
pub fn table(table: &Table) -> Result<Vec<u8>> {
    let _ = table;
    todo!()
}

/// Makes the file a chunk at a time: first the header, then rows as often as wanted.
#[derive(Debug)]
pub struct CsvWriter {
    head: TableHead,
}

impl CsvWriter {
    /// For a table with this head.
    pub fn new(head: TableHead) -> Result<Self> {
        head.check()?;
        Ok(Self { head })
    }

    /// The heading line.
    pub fn header(&self) -> Result<Vec<u8>> {
        todo!()
    }

    /// The lines of some rows.
    pub fn rows(&self, rows: &[Row]) -> Result<Vec<u8>> {
        let _ = (rows, &self.head);
        todo!()
    }
}
