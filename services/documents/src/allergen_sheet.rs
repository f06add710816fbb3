//! The allergen sheet of a shop: what is in the case, and what was recorded about the allergens in each flavour.

mod page;
mod paper;

use chrono::NaiveDate;

use crate::error::{DocumentError, Result};
use crate::pdf::Paper;
use crate::report::MOST_COLUMNS;

/// What stands above the sheet.
const TITLE: &str = "Allergens in the case";
/// Two words, one below the other where there is no room beside.
const MAY_CONTAIN_WORDS: [&str; 2] = ["may", "contain"];

/// The allergen sheet of a shop on a day.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct AllergenSheet {
    /// The shop.
    pub site: String,
    /// The day at the shop.
    pub day: NaiveDate,
    /// When it was printed, at the shop's clock: “2026-11-25 08:30 Europe/Rome”.
    pub printed_at: String,
    /// The last journal entry it takes into account.
    pub journal_position: i64,
    /// The lists the allergens are taken from, as in “EU 1169/2011, Annex II”.
    pub list_names: Vec<String>,
    /// The names of the allergens: the columns.
    pub columns: Vec<String>,
    /// The flavours: the rows.
    pub rows: Vec<SheetRow>,
    /// A line for each tub that is on hold and must not be served.
    pub held: Vec<String>,
    /// What must be read with it. Whole on the first page; the further ones of a PDF have room for six lines of it.
    pub caution: String,
    /// What the four answers mean.
    pub legend: Legend,
    /// The language of the texts as a tag of BCP 47, as in `en`.
    pub language: String,
}

/// A flavour in the case.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct SheetRow {
    /// The name of the flavour.
    pub flavour: String,
    /// The numbers of the open tubs the answers were worked out from.
    pub tubs: Vec<String>,
    /// An answer for every column.
    pub cells: Vec<SheetAnswer>,
}

/// What was recorded about one allergen in one flavour.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum SheetAnswer {
    /// It is in it.
    Contains,
    /// It may be in it.
    MayContain,
    /// Something in it has no statement about this allergen.
    Unknown,
    /// Every statement was read, and none names it. That clears nothing.
    NotRecorded,
}

/// What the four answers mean, in a sentence each.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Legend {
    /// Beside “contains”.
    pub contains: String,
    /// Beside “may contain”.
    pub may_contain: String,
    /// Beside “unknown”.
    pub unknown: String,
    /// Beside the dash.
    pub not_recorded: String,
}

impl Default for Legend {
    fn default() -> Self {
        Self {
            contains: "It is in it, by what was recorded.".to_owned(),
            may_contain: "It may be in it, by what a supplier or the kitchen recorded.".to_owned(),
            unknown: "Something in it has no statement about it. Treat it as if it were in it.".to_owned(),
            not_recorded: "Not recorded: nothing that was written down names it. A dash clears nothing: ask."
                .to_owned(),
        }
    }
}

impl Legend {
    /// Each answer with its meaning, in the order they are printed.
    fn lines(&self) -> [(SheetAnswer, &str); 4] {
        [
            (SheetAnswer::Contains, &self.contains),
            (SheetAnswer::MayContain, &self.may_contain),
            (SheetAnswer::Unknown, &self.unknown),
            (SheetAnswer::NotRecorded, &self.not_recorded),
        ]
    }
}

/// The sheet as a PDF, the long side of the paper across: on one page if it fits, with the headings on each page
/// otherwise.
pub fn pdf(sheet: &AllergenSheet, paper: Paper) -> Result<Vec<u8>> {
    sheet.check()?;
    paper::print(sheet, paper)
}

/// The sheet as one HTML page that needs nothing else.
pub fn html(sheet: &AllergenSheet) -> Result<String> {
    sheet.check()?;
    Ok(page::page(sheet))
}

impl AllergenSheet {
    /// Refuses a row that has not an answer for every allergen: a cell left empty could be taken for one.
    fn check(&self) -> Result<()> {
        let expected = self.columns.len();
        if expected > MOST_COLUMNS {
            return Err(DocumentError::TooManyColumns { table: TITLE.to_owned(), given: expected });
        }
        match self.rows.iter().find(|row| row.cells.len() != expected) {
            None => Ok(()),
            Some(row) => Err(DocumentError::RowLength { table: TITLE.to_owned(), expected, given: row.cells.len() }),
        }
    }
}
