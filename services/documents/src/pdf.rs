//! A report as a PDF, for people who read on paper. Its text can be searched and copied.
//!
//! The fonts travel in the program: Latin, Greek and Cyrillic letters. A character that they have not is printed as a
//! box, and copied as what it is. A word that has no room on a line is broken; nothing is cut off.

pub(crate) mod canvas;
mod flow;
pub(crate) mod font;
mod table;
mod widths;

use self::flow::Flow;
use crate::error::{DocumentError, Result};
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

impl Paper {
    /// Its width and height in points of 1/72 inch.
    pub(crate) fn points(self, landscape: bool) -> (f32, f32) {
        let (short, long) = match self {
            Self::A4 => (595.276, 841.89),
            Self::Letter => (612.0, 792.0),
        };
        if landscape { (long, short) } else { (short, long) }
    }
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
    let mut writer = PdfWriter::new(&report.head, settings)?;
    for table in &report.tables {
        writer.begin_table(&table.head)?;
        writer.rows(&table.rows)?;
        writer.end_table(&table.foot)?;
    }
    writer.finish()
}

/// Takes the rows a chunk at a time; keeps no more of a table than are printed, and counts the others.
pub struct PdfWriter {
    flow: Flow,
    most_rows: usize,
    open: Option<Open>,
}

/// The table whose rows are being taken.
struct Open {
    head: TableHead,
    rows: Vec<Row>,
    left_out: u64,
}

impl PdfWriter {
    /// For a report with this head.
    pub fn new(head: &Head, settings: PdfSettings) -> Result<Self> {
        let mut flow = Flow::new(settings.paper.points(settings.landscape), head)?;
        flow.head();
        Ok(Self { flow, most_rows: settings.most_rows, open: None })
    }

    /// Begins a table.
    pub fn begin_table(&mut self, table: &TableHead) -> Result<()> {
        table.check()?;
        self.end_table_if_open(&TableFoot::default())?;
        self.open = Some(Open { head: table.clone(), rows: Vec::new(), left_out: 0 });
        Ok(())
    }

    /// Adds rows to the table that was begun last.
    pub fn rows(&mut self, rows: &[Row]) -> Result<()> {
        let most = self.most_rows;
        let open = self.open()?;
        for row in rows {
            open.head.check_row(row)?;
            if open.rows.len() < most {
                open.rows.push(row.clone());
            } else {
                open.left_out += 1;
            }
        }
        Ok(())
    }

    /// Says that the table that was begun last has so many rows more, which are not given.
    pub fn leave_out(&mut self, rows: u64) -> Result<()> {
        let open = self.open()?;
        open.left_out = open.left_out.saturating_add(rows);
        Ok(())
    }

    /// Ends the table.
    pub fn end_table(&mut self, foot: &TableFoot) -> Result<()> {
        self.open()?;
        self.end_table_if_open(foot)
    }

    /// The file.
    pub fn finish(mut self) -> Result<Vec<u8>> {
        self.end_table_if_open(&TableFoot::default())?;
        self.flow.finish()
    }

    fn open(&mut self) -> Result<&mut Open> {
        self.open.as_mut().ok_or(DocumentError::NotBegun)
    }

    fn end_table_if_open(&mut self, foot: &TableFoot) -> Result<()> {
        let Some(open) = self.open.take() else { return Ok(()) };
        if let Some(total) = &foot.total {
            open.head.check_row(total)?;
        }
        table::print(&mut self.flow, &open.head, &open.rows, open.left_out, foot);
        Ok(())
    }
}
