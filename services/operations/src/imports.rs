#![doc = include_str!("imports.md")]

mod of_labels;
mod of_master_data;

use std::collections::HashMap;
use std::sync::Arc;
use std::sync::atomic::{AtomicUsize, Ordering};

use serde::{Deserialize, Serialize};
use tubtrail_domain::say;
use tubtrail_storage::WriteTx;
use utoipa::ToSchema;

use crate::equipment::Equipment;
use crate::error::{OperationError, Result};
use crate::item_labels::ItemLabel;
use crate::items::Item;
use crate::makers::Maker;
use crate::master_data::{Master, Put, put};
use crate::partners::Partner;
use crate::printers::Printer;
use crate::problems;
use crate::reach::{self, Request};
use crate::recipes::Recipe;
use crate::sites::Site;
use crate::table::{self, Row, at_line};
use crate::tubtrail::{Answered, Tubtrail};

/// How a file must look, as it is told to people.
pub const GUIDE: &str = include_str!("imports.md");

/// What can be imported.
pub const NOUNS: [&str; 8] =
    ["sites", "partners", "items", "recipes", "equipment", "makers", "item-labels", "printers"];

/// Most rows of which it is said what is wrong with them.
const MOST_FAULTS: usize = 100;

/// What came of an import.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[schema(example = json!({"created": 12, "changed": 3, "unchanged": 240}))]
pub struct Imported {
    /// How many were new.
    pub created: u32,
    /// How many differed and got a new version.
    pub changed: u32,
    /// How many stood just so.
    pub unchanged: u32,
}

/// How far an import is. Whoever shows it holds on to it while the import is at work.
#[derive(Debug, Default)]
pub struct ImportProgress {
    rows: AtomicUsize,
    done: AtomicUsize,
}

impl ImportProgress {
    /// How many rows were looked at, and how many there are; there are none until the file was read.
    pub fn so_far(&self) -> (usize, usize) {
        (self.done.load(Ordering::Relaxed), self.rows.load(Ordering::Relaxed))
    }

    fn begin(&self, rows: usize) {
        self.rows.store(rows, Ordering::Relaxed);
    }

    fn step(&self, rows: usize) {
        self.done.fetch_add(rows, Ordering::Relaxed);
    }
}

impl Tubtrail {
    /// Takes in a CSV file of one of [`NOUNS`]: all of it, or nothing. What is wrong is named row by row, for 100 rows at most.
    pub fn import(&self, request: &Request, noun: &str, file: &[u8]) -> Result<Answered<Imported>> {
        self.import_telling(request, noun, file, &Arc::default())
    }

    /// The same, and tells how far it is.
    pub fn import_telling(
        &self,
        request: &Request,
        noun: &str,
        file: &[u8],
        progress: &Arc<ImportProgress>,
    ) -> Result<Answered<Imported>> {
        request.actor.may_everywhere(&reach::IMPORT_MASTER_DATA)?;
        match noun {
            "sites" => self.import_noun::<Site>(request, file, progress),
            "partners" => self.import_noun::<Partner>(request, file, progress),
            "items" => self.import_noun::<Item>(request, file, progress),
            "recipes" => self.import_noun::<Recipe>(request, file, progress),
            "equipment" => self.import_noun::<Equipment>(request, file, progress),
            "makers" => self.import_noun::<Maker>(request, file, progress),
            "item-labels" => self.import_noun::<ItemLabel>(request, file, progress),
            "printers" => self.import_noun::<Printer>(request, file, progress),
            _ => {
                let detail = say!("these can be imported: {nouns}", nouns = NOUNS.join(", "));
                Err(OperationError::new(&problems::NOT_FOUND, detail))
            }
        }
    }

    fn import_noun<M: FromTable>(
        &self,
        request: &Request,
        file: &[u8],
        progress: &Arc<ImportProgress>,
    ) -> Result<Answered<Imported>> {
        let rows = table::read(M::COLUMNS, M::OPTIONAL, file)?;
        progress.begin(rows.len());
        let entries = entries::<M>(&rows);
        let progress = Arc::clone(progress);
        self.write(request, &reach::IMPORT_MASTER_DATA, move |tx| {
            // What makes no sense is named before what only the state of things speaks against.
            let (mut imported, mut senseless, mut wrong) = (Imported::default(), Vec::new(), Vec::new());
            for entry in entries {
                let rows = entry.as_ref().map_or(1, |entry| entry.lines.len());
                match entry.map(|entry| put_entry(tx, entry)) {
                    Ok(Ok(put)) => imported.count(put),
                    // What is not the file's fault is nothing to look further for.
                    Ok(Err(error)) if error.cause.is_some() => return Err(error),
                    Ok(Err(error)) => wrong.push(error),
                    Err(error) => senseless.push(error),
                }
                progress.step(rows);
                if senseless.len() + wrong.len() == MOST_FAULTS {
                    break;
                }
            }
            let mut wrong = senseless.into_iter().chain(wrong);
            wrong.next().map_or(Ok(imported), |first| Err(first.and(wrong)))
        })
    }
}

impl Imported {
    fn count(&mut self, put: Put) {
        *match put {
            Put::Created => &mut self.created,
            Put::Changed => &mut self.changed,
            Put::Unchanged => &mut self.unchanged,
        } += 1;
    }
}

fn put_entry<M: FromTable>(tx: &mut WriteTx<'_>, entry: Entry<M>) -> Result<Put> {
    let Entry { row, lines, unsaid } = entry;
    let keep = |row: M, stands: &M| row.keeping(stands, &unsaid);
    put(tx, row, keep).map_err(|error| blame::<M>(&lines, error))
}

/// A noun that can be read from a table.
trait FromTable: Master {
    /// The columns, all of which must be there.
    const COLUMNS: &'static [&'static str];
    /// How many of them, the last ones, may be missing: what such a column would say stays as it stands.
    const OPTIONAL: usize = 0;
    /// Whether rows with the same code that follow one another are one.
    const SEVERAL_ROWS: bool = false;
    /// Reads one.
    fn from_rows(rows: &[Row]) -> Result<Self>;
    /// With what stands now in place of the columns that are missing.
    #[must_use]
    fn keeping(self, _stands: &Self, _missing: &[&'static str]) -> Self {
        self
    }
    /// Which of its rows, and which column, a field at fault is.
    fn cell_of(field: &str) -> (usize, String) {
        (0, field.rsplit('.').next().unwrap_or(field).to_owned())
    }
}

/// What a file holds of a noun, and the lines it stands on.
struct Entry<M> {
    row: M,
    lines: Vec<usize>,
    /// The optional columns that the file does not have.
    unsaid: Vec<&'static str>,
}

/// What each entry of a file says, or what is wrong with it.
fn entries<M: FromTable>(rows: &[Row]) -> Vec<Result<Entry<M>>> {
    let mut seen: HashMap<&str, usize> = HashMap::new();
    let belong = |first: &Row, next: &Row| M::SEVERAL_ROWS && first.optional("code") == next.optional("code");
    rows.chunk_by(belong)
        .map(|rows| {
            let lines: Vec<usize> = rows.iter().map(|row| row.line).collect();
            let code = rows[0].optional("code").unwrap_or("");
            if let Some(first) = seen.insert(code, lines[0]) {
                let detail = say!("{code} stands on line {first} already", code, first);
                return Err(at_line(lines[0], OperationError::new(&problems::REPEATED, detail).at("code")));
            }
            let row = M::from_rows(rows).map_err(|error| blame::<M>(&lines, error))?;
            let optional = &M::COLUMNS[M::COLUMNS.len() - M::OPTIONAL..];
            let unsaid = optional.iter().copied().filter(|column| !rows[0].has(column)).collect();
            Ok(Entry { row, lines, unsaid })
        })
        .collect()
}

/// Names the line and the column in place of the field.
fn blame<M: FromTable>(lines: &[usize], error: OperationError) -> OperationError {
    if error.field.as_deref().is_some_and(|field| field.starts_with("line ")) {
        return error;
    }
    let (row, column) = error.field.as_deref().map_or_else(|| (0, String::new()), M::cell_of);
    let line = lines.get(row).or(lines.first()).copied().unwrap_or(0);
    at_line(line, error.at(column))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_guide_names_the_columns_that_are_read() {
        let told: HashMap<&str, Vec<&str>> = GUIDE
            .lines()
            .filter_map(|line| line.strip_prefix("| ")?.strip_suffix(" |")?.split_once(" | "))
            .map(|(noun, columns)| (noun, columns.split(", ").map(|column| column.trim_matches('`')).collect()))
            .collect();
        for (noun, columns) in [
            ("sites", Site::COLUMNS),
            ("partners", Partner::COLUMNS),
            ("items", Item::COLUMNS),
            ("recipes", Recipe::COLUMNS),
            ("equipment", Equipment::COLUMNS),
            ("makers", Maker::COLUMNS),
            ("item-labels", ItemLabel::COLUMNS),
            ("printers", Printer::COLUMNS),
        ] {
            assert_eq!(told[noun], columns, "{noun}");
        }
    }

    #[test]
    fn a_field_at_fault_is_a_cell() {
        assert_eq!(Item::cell_of("counted.density_kg_per_m3"), (0, "density_kg_per_m3".into()));
        assert_eq!(Recipe::cell_of("lines[12].grams"), (12, "line_grams".into()));
        assert_eq!(Recipe::cell_of("lines"), (0, "line_item".into()));
        assert_eq!(Recipe::cell_of("name"), (0, "name".into()));
        assert_eq!(ItemLabel::cell_of("made_of.ingredients[2]"), (0, "ingredients".into()));
        assert_eq!(Maker::cell_of("address[1]"), (0, "address".into()));
    }
}
