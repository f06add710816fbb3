//! A report as a PDF, for people who read on paper.

use crate::error::Result;
use crate::report::{Head, Report, Row, TableFoot, TableHead};

/// The media type of what is made here.
pub const MEDIA_TYPE: &str = "application/pdf";

/// The paper.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Paper {
    /// 210 × 297 mm (ISO 216).
    #[default]
    A4,
    /// 8.5 × 11 inches (ANSI/ASME Y14.1).
    Letter,
}

/// How a report is printed.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct PdfSettings {
    /// The paper.
    pub paper: Paper,
    /// Whether the long side lies across.
    pub landscape: bool,
    /// The most rows of a table that are printed. A line says how many more there are.
    pub most_rows: usize,
}

impl Default for PdfSettings {
    fn default() -> Self {
        Self { paper: Paper::A4, landscape: false, most_rows: 5000 }
    }
}

/// A report of which all rows are at hand.
pub fn report(report: &Report, settings: PdfSettings) -> Result<Vec<u8>> {
    let _ = (report, settings);
    todo!()
}

/// Takes the rows a chunk at a time; keeps no more than are printed, and counts the others.
#[derive(Debug)]
pub struct PdfWriter {
    head: Head,
    settings: PdfSettings,
}

impl PdfWriter {
    /// For a report with this head.
    pub fn new(head: &Head, settings: PdfSettings) -> Self {
        Self { head: head.clone(), settings }
    }

    /// Begins a table.
    pub fn begin_table(&mut self, table: &TableHead) -> Result<()> {
        let _ = (table, &self.head, self.settings);
        todo!()
    }

    /// Adds rows to the table that was begun last.
    pub fn rows(&mut self, rows: &[Row]) -> Result<()> {
        let _ = rows;
        todo!()
    }

    /// Says that the table has so many rows more, which are not given.
    pub fn leave_out(&mut self, rows: u64) -> Result<()> {
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
