//! A table in a CSV file: its rows by the names of their columns, each with the line it stands on.

use serde::de::DeserializeOwned;
use tubtrail_domain::decimal::Decimal;
use tubtrail_domain::say;
use tubtrail_domain::saying::Quoted;

use crate::error::{OperationError, Result};
use crate::problems;
use crate::quantities::Grams;
use crate::unreadable::in_plain_words;

/// Most rows of one file.
pub const MOST_ROWS: usize = 10_000;

/// A row.
pub(crate) struct Row {
    /// The line of the file it begins on, from 1.
    pub line: usize,
    columns: &'static [&'static str],
    /// None where the table has no such column.
    cells: Vec<Option<String>>,
}

/// Reads a table that has exactly these columns, in any order, of which the last so many may be missing.
pub(crate) fn read(columns: &'static [&'static str], optional: usize, file: &[u8]) -> Result<Vec<Row>> {
    let text = std::str::from_utf8(file).map_err(|error| {
        at_line(line_of(file, error.valid_up_to()), OperationError::invalid("", say!("the file is not UTF-8 here")))
    })?;
    let text = text.strip_prefix('\u{feff}').unwrap_or(text);
    refuse_open_quote(text)?;
    let mut lines = Lines { bytes: text.as_bytes(), offset: 0, line: 1 };
    let mut reader =
        csv::ReaderBuilder::new().has_headers(false).flexible(true).trim(csv::Trim::All).from_reader(text.as_bytes());
    let mut order = None;
    let mut rows = Vec::new();
    for record in reader.records() {
        let record = record.map_err(|error| {
            OperationError::invalid("file", say!("this is no CSV: {error}", error = error.to_string()))
        })?;
        let line = lines.line_at(record.position().map_or(0, csv::Position::byte));
        let Some(order) = &order else {
            order = Some(header(columns, optional, &record).map_err(|error| at_line(line, error))?);
            continue;
        };
        if rows.len() == MOST_ROWS {
            let detail = say!("at most {most} rows are taken: split the file", most = MOST_ROWS);
            return Err(at_line(line, OperationError::new(&problems::TOO_LARGE, detail)));
        }
        rows.push(row(columns, order, &record, line)?);
    }
    if rows.is_empty() {
        let missing =
            if order.is_some() { say!("there are no rows under the header") } else { say!("the file is empty") };
        return Err(OperationError::invalid("file", missing));
    }
    Ok(rows)
}

/// Names the line in the sentence and before the field.
pub(crate) fn at_line(line: usize, error: OperationError) -> OperationError {
    let detail = say!("line {line}: {detail}", line, detail = error.detail);
    let field = match error.field.as_deref() {
        None | Some("") => format!("line {line}"),
        Some(column) => format!("line {line}: {column}"),
    };
    OperationError { detail, field: Some(field), ..error }
}

/// A file cut off within a quoted cell would otherwise lose its end unseen.
fn refuse_open_quote(text: &str) -> Result<()> {
    if text.matches('"').count().is_multiple_of(2) {
        return Ok(());
    }
    let last = text.rfind('"').unwrap_or(0);
    let detail = say!("a quote is opened and not closed: double the quotes within a quoted cell");
    Err(at_line(line_of(text.as_bytes(), last), OperationError::invalid("", detail)))
}

/// Where each column stands in the file.
fn header(columns: &'static [&'static str], optional: usize, record: &csv::StringRecord) -> Result<Vec<Option<usize>>> {
    for (place, name) in record.iter().enumerate() {
        if !columns.contains(&name) {
            if name.contains(';') || name.contains('\t') {
                let detail = say!("separate the columns with commas, not with semicolons or tabs");
                return Err(OperationError::invalid("", detail));
            }
            let detail = say!(
                "{name} is no column of this table; its columns are {columns}",
                name = Quoted(name),
                columns = columns.join(", ")
            );
            return Err(OperationError::invalid(name.chars().take(60).collect::<String>(), detail));
        }
        if record.iter().take(place).any(|earlier| earlier == name) {
            let detail = say!("the column {name} stands there twice", name);
            return Err(OperationError::new(&problems::REPEATED, detail).at(name));
        }
    }
    let needed = columns.len() - optional;
    let place = |(index, column): (usize, &&'static str)| {
        let found = record.iter().position(|name| name == *column);
        if found.is_none() && index < needed {
            return Err(OperationError::invalid(*column, say!("the column {column} is missing", column)));
        }
        Ok(found)
    };
    columns.iter().enumerate().map(place).collect()
}

fn row(
    columns: &'static [&'static str],
    order: &[Option<usize>],
    record: &csv::StringRecord,
    line: usize,
) -> Result<Row> {
    let due = order.iter().flatten().count();
    if record.len() != due {
        let detail = say!("this row has {len} cells and the header has {due}", len = record.len(), due);
        return Err(at_line(line, OperationError::invalid("", detail)));
    }
    let cell = |place: &Option<usize>| place.map(|place| record.get(place).unwrap_or("").to_owned());
    Ok(Row { line, columns, cells: order.iter().map(cell).collect() })
}

fn line_of(bytes: &[u8], offset: usize) -> usize {
    Lines { bytes, offset: 0, line: 1 }.line_at(offset as u64)
}

/// Counts lines as it goes forward, whichever way they end.
struct Lines<'t> {
    bytes: &'t [u8],
    offset: usize,
    line: usize,
}

impl Lines<'_> {
    /// The line of what begins at an offset or, where that is a line end, after it.
    fn line_at(&mut self, offset: u64) -> usize {
        let target = usize::try_from(offset).unwrap_or(usize::MAX);
        while let Some(byte) = self.bytes.get(self.offset) {
            let is_end = matches!(byte, b'\r' | b'\n');
            if self.offset >= target && !is_end {
                break;
            }
            let is_half = *byte == b'\r' && self.bytes.get(self.offset + 1) == Some(&b'\n');
            self.line += usize::from(is_end && !is_half);
            self.offset += 1;
        }
        self.line
    }
}

impl Row {
    /// A cell, unless it is empty.
    pub(crate) fn optional(&self, column: &str) -> Option<&str> {
        let place = self.columns.iter().position(|name| *name == column)?;
        self.cells.get(place)?.as_deref().filter(|cell| !cell.is_empty())
    }

    /// Whether the table has a column, be the cell empty or not.
    pub(crate) fn has(&self, column: &str) -> bool {
        let place = self.columns.iter().position(|name| *name == column);
        place.and_then(|place| self.cells.get(place)).is_some_and(Option::is_some)
    }

    /// A cell as text, unless it is empty.
    pub(crate) fn text(&self, column: &str) -> Option<String> {
        self.optional(column).map(str::to_owned)
    }

    /// A cell that must not be empty.
    pub(crate) fn required(&self, column: &str) -> Result<String> {
        self.text(column).ok_or_else(|| OperationError::invalid(column, say!("this must not be empty")))
    }

    /// One word of several, unless the cell is empty.
    pub(crate) fn word<T: DeserializeOwned>(&self, column: &str) -> Result<Option<T>> {
        self.optional(column).map(|word| one_word(column, word)).transpose()
    }

    /// `true` or `false`, as spreadsheets write them too.
    pub(crate) fn flag(&self, column: &str) -> Result<Option<bool>> {
        match self.optional(column).map(str::to_ascii_lowercase).as_deref() {
            None => Ok(None),
            Some("true") => Ok(Some(true)),
            Some("false") => Ok(Some(false)),
            Some(_) => Err(OperationError::invalid(column, say!("write true or false"))),
        }
    }

    /// Grams, to the milligram.
    pub(crate) fn grams(&self, column: &str) -> Result<Option<Grams>> {
        let Some(cell) = self.optional(column) else { return Ok(None) };
        let amount: Decimal = cell.parse().map_err(|error| OperationError::invalid(column, error))?;
        let mg = amount.scaled_exactly(3).and_then(|mg| i64::try_from(mg).ok());
        let too_fine =
            || OperationError::invalid(column, say!("grams are kept to three decimals: leave the further ones out"));
        mg.map(|mg| Some(Grams::from_mg(mg))).ok_or_else(too_fine)
    }

    /// A whole number, or one with decimals; whatever the type reads.
    pub(crate) fn number<T: std::str::FromStr>(&self, column: &str, such_as: &str) -> Result<Option<T>> {
        let Some(cell) = self.optional(column) else { return Ok(None) };
        let wrong = |_| {
            OperationError::invalid(
                column,
                say!("{cell} is no number: write it as in {such_as}", cell = Quoted(&cell), such_as),
            )
        };
        cell.parse().map(Some).map_err(wrong)
    }
}

/// A word as the type spells it.
pub(crate) fn one_word<T: DeserializeOwned>(column: &str, word: &str) -> Result<T> {
    serde_json::from_value(serde_json::Value::String(word.to_owned()))
        .map_err(|error| OperationError::invalid(column, in_plain_words(&error.to_string())))
}

#[cfg(test)]
mod tests {
    use super::*;

    const COLUMNS: &[&str] = &["code", "name"];

    fn lines(text: &str) -> Vec<(usize, String, Option<String>)> {
        let rows = read(COLUMNS, 0, text.as_bytes()).unwrap_or_else(|error| panic!("{error}"));
        rows.iter().map(|row| (row.line, row.required("code").expect("a code"), row.text("name"))).collect()
    }

    #[test]
    fn rows_know_their_line_however_lines_end() {
        let expected = |second: usize| vec![(2, "a".to_owned(), Some("A".to_owned())), (second, "b".to_owned(), None)];
        assert_eq!(lines("code,name\na,A\nb,\n"), expected(3));
        assert_eq!(lines("\u{feff}code,name\r\na,A\r\nb,\r\n"), expected(3));
        assert_eq!(lines("code,name\r\na,A\r\n\r\nb,"), expected(4), "blank lines are skipped and counted");
        assert_eq!(lines("name,code\n\"A\",a\n\n,b"), expected(4), "columns in any order");
    }

    #[test]
    fn a_quoted_cell_may_hold_anything() {
        let rows = lines("code,name\na,\"A, \"\"the\"\"\nfirst\"\nb,B");
        assert_eq!(rows[0], (2, "a".into(), Some("A, \"the\"\nfirst".into())));
        assert_eq!(rows[1], (4, "b".into(), Some("B".into())));
    }

    #[test]
    fn what_cannot_be_read_is_named_by_its_line() {
        let refused = |file: &[u8]| {
            let error = read(COLUMNS, 0, file).err().expect("it is refused");
            (error.problem.word, error.field.unwrap_or_default())
        };
        assert_eq!(refused(b""), ("invalid", "file".into()));
        assert_eq!(refused(b"code,name\r\n"), ("invalid", "file".into()));
        assert_eq!(refused(b"code\na\n"), ("invalid", "line 1: name".into()));
        assert_eq!(refused(b"code,name,colour\na,A,red\n"), ("invalid", "line 1: colour".into()));
        assert_eq!(refused(b"code;name\na;A\n"), ("invalid", "line 1".into()));
        assert_eq!(refused(b"code,name,code\na,A,a\n"), ("repeated", "line 1: code".into()));
        assert_eq!(refused(b"code,name\na,A\nb\n"), ("invalid", "line 3".into()));
        assert_eq!(refused(b"code,name\na,A,\n"), ("invalid", "line 2".into()));
        assert_eq!(refused(b"code,name\na,A\nb,Cr\xe8me\n"), ("invalid", "line 3".into()), "Latin-1");
        assert_eq!(refused(b"code,name\na,A\nb,\"B\n"), ("invalid", "line 3".into()), "cut off in a quoted cell");
    }

    #[test]
    fn ten_thousand_rows_are_taken_and_no_more() {
        let file = |rows: usize| format!("code,name\n{}", "a,A\n".repeat(rows));
        assert_eq!(read(COLUMNS, 0, file(10_000).as_bytes()).map(|rows| rows.len()).ok(), Some(10_000));
        let error = read(COLUMNS, 0, file(10_001).as_bytes()).err().expect("one too many");
        assert_eq!((error.problem.word, error.field.as_deref()), ("too-large", Some("line 10002")));
    }

    #[test]
    fn cells_are_read_strictly() {
        let rows = read(COLUMNS, 0, b"code,name\n12.5,TRUE\n0.0001,maybe\n").expect("a table");
        assert_eq!(rows[0].grams("code").expect("grams"), Some(Grams::from_mg(12_500)));
        assert_eq!(rows[0].flag("name").expect("a flag"), Some(true));
        assert_eq!(rows[1].grams("code").expect_err("too fine").field.as_deref(), Some("code"));
        assert_eq!(rows[1].flag("name").expect_err("no flag").field.as_deref(), Some("name"));
        assert!(rows[0].number::<i32>("code", "30").is_err(), "12.5 is no whole number");
    }
}
