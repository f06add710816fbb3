//! Why a document cannot be made.

use thiserror::Error;

use crate::report::MOST_COLUMNS;

/// What everything here that can fail returns.
pub type Result<T> = std::result::Result<T, DocumentError>;

/// Why a document cannot be made.
///
/// No text that stands in a cell is a reason: what a format cannot hold is replaced visibly.
#[derive(Debug, Error)]
pub enum DocumentError {
    /// A row or a total has more or fewer cells than its table has columns.
    #[error("a row of “{table}” has {given} cells, and the table has {expected} columns")]
    RowLength {
        /// The title of the table.
        table: String,
        /// How many columns the table has.
        expected: usize,
        /// How many cells the row has.
        given: usize,
    },
    /// A table with no columns.
    #[error("“{table}” has no columns")]
    NoColumns {
        /// The title of the table.
        table: String,
    },
    /// A table with more than [`MOST_COLUMNS`] columns.
    #[error("“{table}” has {given} columns: {MOST_COLUMNS} is the most")]
    TooManyColumns {
        /// The title of the table.
        table: String,
        /// How many columns it has.
        given: usize,
    },
    /// Rows or a foot, and no table was begun that they could belong to.
    #[error("no table was begun that the rows could belong to")]
    NotBegun,
    /// Rows or a foot for a table that was not announced.
    #[error("there is no table number {number} in this document")]
    NoSuchTable {
        /// The table's number, counted from 0.
        number: usize,
    },
    /// The folder for temporary files, or the sink, takes no more. The writer is of no use afterwards.
    #[error("the spreadsheet could not be written: there may be no room left for temporary files")]
    NoRoom,
    /// The spreadsheet could not be written: a temporary file that could not be made, for the most part.
    #[error("the spreadsheet could not be written: {0}")]
    Spreadsheet(#[from] rust_xlsxwriter::XlsxError),
    /// The rows could not be written as CSV.
    #[error("the rows could not be written as CSV: {0}")]
    CommaSeparated(#[from] csv::Error),
    /// The events could not be written as JSON.
    #[error("the events could not be written as JSON: {0}")]
    Json(#[from] serde_json::Error),
    /// The PDF could not be written.
    #[error("the PDF could not be written: {0}")]
    Pdf(String),
    /// A font that travels in the program could not be read.
    #[error("the font {0} could not be read")]
    Font(&'static str),
}
