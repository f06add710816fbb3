//! A report as a spreadsheet (XLSX, Office Open XML).

use crate::error::Result;
use crate::report::{Head, Report, Row, TableFoot, TableHead};

/// The media type of what is made here.
pub const MEDIA_TYPE: &str = "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet";

/// A report of which all rows are at hand.
pub fn report(report: &Report) -> Result<Vec<u8>> {
    let _ = report;
    todo!()
}

/// Makes the spreadsheet a chunk of rows at a time, in constant memory.
#[derive(Debug)]
pub struct SpreadsheetWriter {
    head: Head,
}

impl SpreadsheetWriter {
    /// For a report with this head.
    pub fn new(head: &Head) -> Result<Self> {
        Ok(Self { head: head.clone() })
    }

    /// Begins a table, on a sheet of its own.
    pub fn begin_table(&mut self, table: &TableHead) -> Result<()> {
        let _ = (table, &self.head);
        todo!()
    }

    /// Adds rows to the table that was begun last.
    pub fn rows(&mut self, rows: &[Row]) -> Result<()> {
        let _ = rows;
        todo!()
    }

    /// Ends the table.
    pub fn end_table(&mut self, foot: &TableFoot) -> Result<()> {
        let _ = foot;
        todo!()
    }

    /// The file.
    pub fn finish(self) -> Result<Vec<u8>> {
        todo!()
    }
}
