//! A table as CSV: RFC 4180, UTF-8 without a byte order mark, a heading line, CRLF line ends.
//!
//! A date and time takes two fields, the second for its zone. Text that a spreadsheet program would take for a formula
//! has an apostrophe before it; figures never have.

use std::borrow::Cow;

use csv::{QuoteStyle, Terminator, WriterBuilder};

use crate::cell::{fields, harmless, headings};
use crate::error::Result;
use crate::report::{Row, Table, TableHead};

/// The media type of what is made here.
pub const MEDIA_TYPE: &str = "text/csv; charset=utf-8; header=present";

/// A table of which all rows are at hand, its total as the last line. Its title and its note are not in the file.
pub fn table(table: &Table) -> Result<Vec<u8>> {
    let writer = CsvWriter::new(table.head.clone())?;
    let mut file = writer.header()?;
    file.extend(writer.rows(&table.rows)?);
    file.extend(writer.rows(table.foot.total.as_slice())?);
    Ok(file)
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
        let titles = self.head.columns.iter().flat_map(headings);
        lines(b',', [titles.map(|title| harmless(&title).into_owned())])
    }

    /// The lines of some rows.
    pub fn rows(&self, rows: &[Row]) -> Result<Vec<u8>> {
        for row in rows {
            self.head.check_row(row)?;
        }
        lines(b',', rows.iter().map(|row| self.record(row)))
    }

    fn record<'r>(&self, row: &'r Row) -> impl Iterator<Item = Cow<'r, str>> {
        self.head.columns.iter().zip(row).flat_map(|(column, cell)| fields(cell, column.kind))
    }
}

/// Lines of fields, each quoted if it must be.
pub(crate) fn lines<R>(delimiter: u8, records: impl IntoIterator<Item = R>) -> Result<Vec<u8>>
where
    R: IntoIterator<Item: AsRef<str>>,
{
    let mut writer = WriterBuilder::new()
        .delimiter(delimiter)
        .quote_style(QuoteStyle::Necessary)
        .terminator(Terminator::CRLF)
        .from_writer(Vec::new());
    for record in records {
        for field in record {
            writer.write_field(field.as_ref())?;
        }
        writer.write_record(None::<&[u8]>)?;
    }
    writer.into_inner().map_err(|stopped| csv::Error::from(stopped.into_error()).into())
}
