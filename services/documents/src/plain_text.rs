//! A report as a single plain-text file.

use crate::error::Result;
use crate::report::{Head, Report, Row, TableFoot, TableHead};

/// The media type of what is made here.
pub const MEDIA_TYPE: &str = "text/tab-separated-values; charset=utf-8";

/// A report of which all rows are at hand.
pub fn report(report: &Report) -> Result<Vec<u8>> {
    let _ = report;
    todo!()
}

/// Makes the file a chunk at a time: first the head, then rows and the foot of each table.
#[derive(Debug)]
pub struct TextWriter {
    head: Head,
    tables: Vec<TableHead>,
}

impl TextWriter {
    /// For a report with this head and these tables.
    pub fn new(head: Head, tables: Vec<TableHead>) -> Result<Self> {
        Ok(Self { head, tables })
    }

    /// The heading line, and what the report is about.
    pub fn head(&self) -> Result<Vec<u8>> {
        let _ = (&self.head, &self.tables);
        todo!()
    }

    /// The lines of some rows of a table, which is counted from 0.
    pub fn rows(&self, table: usize, rows: &[Row]) -> Result<Vec<u8>> {
        let _ = (table, rows);
        todo!()
    }

    /// The total and the note of a table, which is counted from 0.
    pub fn foot(&self, table: usize, foot: &TableFoot) -> Result<Vec<u8>> {
        let _ = (table, foot);
        todo!()
    }
}
