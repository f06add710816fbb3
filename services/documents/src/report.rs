//! A report: a head that says what it is about, and tables.

use chrono::{NaiveDate, NaiveDateTime};

use crate::error::{DocumentError, Result};

/// The most columns a table may have.
pub const MOST_COLUMNS: usize = 64;

/// A report whose rows are all at hand.
#[derive(Clone, Debug, PartialEq)]
pub struct Report {
    /// What it is about.
    pub head: Head,
    /// The tables, in the order they are printed.
    pub tables: Vec<Table>,
}

/// What a report is about.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Head {
    /// The title, as in “Recall case 12”.
    pub title: String,
    /// A line below the title.
    pub subtitle: Option<String>,
    /// Labels and values: the case number, its class, the hazard, the maker, when, the journal position.
    pub facts: Vec<(String, String)>,
    /// What must be read with it, such as the caution; printed prominently, and repeated at the end.
    pub notices: Vec<String>,
    /// A line for the foot of every page: the case, the journal position, when it was printed. A PDF has room for four lines
    /// of it; a printed sheet of a spreadsheet for 100 characters.
    pub footer: String,
    /// The language of the texts as a tag of BCP 47, as in `en`.
    pub language: String,
}

/// A table whose rows are all at hand.
#[derive(Clone, Debug, PartialEq)]
pub struct Table {
    /// Its title and columns.
    pub head: TableHead,
    /// Its rows, each with a cell for every column.
    pub rows: Vec<Row>,
    /// What stands below the rows.
    pub foot: TableFoot,
}

/// The title and the columns of a table.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct TableHead {
    /// The title.
    pub title: String,
    /// The columns, from 1 to [`MOST_COLUMNS`].
    pub columns: Vec<Column>,
}

/// What stands below the rows of a table.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct TableFoot {
    /// A total, with a cell for every column.
    pub total: Option<Row>,
    /// A remark about the table as a whole.
    pub note: Option<String>,
}

/// A column of a table.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Column {
    /// The heading. It names the unit, if there is one: “Grams”.
    pub title: String,
    /// What its cells are.
    pub kind: ColumnKind,
}

/// What the cells of a column are. A cell may differ, as in “unknown” where grams stand.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum ColumnKind {
    /// Text.
    Text,
    /// A mass, shown in grams with up to 3 decimals.
    Grams,
    /// A mass, shown in kilograms with up to 6 decimals.
    Kilograms,
    /// A number.
    Number,
    /// A day.
    Date,
    /// A day and a time of day. Files for machines have a second column beside it, for the zone.
    DateTime,
}

/// A row of a table.
pub type Row = Vec<Cell>;

/// What stands in a cell.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Cell {
    /// Nothing.
    Empty,
    /// Text; of several lines, perhaps.
    Text(String),
    /// A mass in milligrams. The column says whether it is shown in grams or in kilograms; grams elsewhere.
    Mass(i64),
    /// A whole number.
    Whole(i64),
    /// An exact decimal number: `unscaled` divided by ten to the power of `decimals`.
    Decimal {
        /// All its digits.
        unscaled: i64,
        /// How many of them stand behind the point.
        decimals: u8,
    },
    /// A day.
    Date(NaiveDate),
    /// A day and a time of day, as the clock on the wall showed it.
    DateTime {
        /// The time in the zone.
        local: NaiveDateTime,
        /// The zone, as in `Europe/Rome` or `UTC`.
        zone: String,
    },
}

impl Cell {
    /// A cell of text.
    pub fn text(text: impl Into<String>) -> Self {
        Self::Text(text.into())
    }
}

impl Column {
    /// A column.
    pub fn new(title: impl Into<String>, kind: ColumnKind) -> Self {
        Self { title: title.into(), kind }
    }
}

impl TableHead {
    /// Refuses a table without columns or with more than [`MOST_COLUMNS`].
    pub(crate) fn check(&self) -> Result<()> {
        match self.columns.len() {
            0 => Err(DocumentError::NoColumns { table: self.title.clone() }),
            given if given > MOST_COLUMNS => Err(DocumentError::TooManyColumns { table: self.title.clone(), given }),
            _ => Ok(()),
        }
    }

    /// Refuses a row that has not a cell for every column.
    pub(crate) fn check_row(&self, row: &[Cell]) -> Result<()> {
        if row.len() == self.columns.len() {
            return Ok(());
        }
        Err(DocumentError::RowLength { table: self.title.clone(), expected: self.columns.len(), given: row.len() })
    }
}
