//! A report as a single plain-text file: UTF-8, separated by tabs, not encrypted, for any program that imports tables.
//!
//! The Safe Food for Canadians Regulations (SOR/2018-108, section 91) ask for a single file, in plain text, that
//! standard commercial software can import. So all is in one table: every line has the same fields, named by the first
//! line, and nothing stands before, between or after. `Record` says which table of the report a line belongs to, or
//! `Report` for what it is about; `Label` and `Value` hold the facts, the notices and the notes; the columns of the
//! tables follow, those of the same title and kind shared. Tabs and line ends within a value become blanks; a value
//! with a quotation mark is quoted as in RFC 4180.

use crate::cell::{fields, fields_of, harmless, headings, one_line};
use crate::comma_separated::lines;
use crate::error::{DocumentError, Result};
use crate::report::{Column, Head, Report, Row, TableFoot, TableHead};

/// The media type of what is made here.
pub const MEDIA_TYPE: &str = "text/tab-separated-values; charset=utf-8";

/// The columns before those of the tables.
const OWN: [&str; 3] = ["Record", "Label", "Value"];

/// A report of which all rows are at hand.
pub fn report(report: &Report) -> Result<Vec<u8>> {
    let tables = report.tables.iter().map(|table| table.head.clone()).collect();
    let writer = TextWriter::new(report.head.clone(), tables)?;
    let mut file = writer.head()?;
    for (number, table) in report.tables.iter().enumerate() {
        file.extend(writer.rows(number, &table.rows)?);
        file.extend(writer.foot(number, &table.foot)?);
    }
    Ok(file)
}

/// Makes the file a chunk at a time: first the head, then rows and the foot of each table.
#[derive(Debug)]
pub struct TextWriter {
    head: Head,
    tables: Vec<Placed>,
    columns: Vec<Shared>,
}

/// A table, and where its columns stand among those of the file.
#[derive(Debug)]
struct Placed {
    head: TableHead,
    places: Vec<usize>,
}

/// A column of the file.
#[derive(Debug)]
struct Shared {
    column: Column,
    /// Which of the columns of this title in its table it is, for titles that occur twice.
    occurrence: usize,
    /// Where its first field stands.
    field: usize,
}

impl TextWriter {
    /// For a report with this head and these tables.
    pub fn new(head: Head, tables: Vec<TableHead>) -> Result<Self> {
        let mut writer = Self { head, tables: Vec::new(), columns: Vec::new() };
        for table in tables {
            table.check()?;
            let places = writer.places(&table);
            writer.tables.push(Placed { head: table, places });
        }
        Ok(writer)
    }

    /// The heading line, and what the report is about.
    pub fn head(&self) -> Result<Vec<u8>> {
        let own = OWN.map(str::to_owned).into_iter();
        let shared = self.columns.iter().flat_map(|shared| headings(&shared.column));
        let heading = own.chain(shared.map(|title| harmless(&one_line(&title)).into_owned())).collect();
        let about = self.about().into_iter().map(|(label, value)| self.line("Report", label, value, &[]));
        lines(b'\t', std::iter::once(heading).chain(about))
    }

    /// The lines of some rows of a table, which is counted from 0.
    pub fn rows(&self, table: usize, rows: &[Row]) -> Result<Vec<u8>> {
        let table = self.table(table)?;
        for row in rows {
            table.head.check_row(row)?;
        }
        lines(b'\t', rows.iter().map(|row| self.line(&table.head.title, "", "", &table.fields(row, &self.columns))))
    }

    /// The total and the note of a table, which is counted from 0.
    pub fn foot(&self, table: usize, foot: &TableFoot) -> Result<Vec<u8>> {
        let table = self.table(table)?;
        let mut records = Vec::new();
        if let Some(total) = &foot.total {
            table.head.check_row(total)?;
            records.push(self.line(&table.head.title, "Total", "", &table.fields(total, &self.columns)));
        }
        if let Some(note) = &foot.note {
            records.push(self.line(&table.head.title, "Note", note, &[]));
        }
        lines(b'\t', records)
    }

    fn table(&self, number: usize) -> Result<&Placed> {
        self.tables.get(number).ok_or(DocumentError::NoSuchTable { number })
    }

    /// Finds or makes room for the columns of a table.
    fn places(&mut self, table: &TableHead) -> Vec<usize> {
        let mut places: Vec<usize> = Vec::new();
        for column in &table.columns {
            let occurrence = places.iter().filter(|place| self.columns[**place].column == *column).count();
            let known = self.columns.iter().position(|known| known.column == *column && known.occurrence == occurrence);
            places.push(known.unwrap_or_else(|| self.make_room(column, occurrence)));
        }
        places
    }

    fn make_room(&mut self, column: &Column, occurrence: usize) -> usize {
        let field = self.width();
        self.columns.push(Shared { column: column.clone(), occurrence, field });
        self.columns.len() - 1
    }

    /// How many fields the columns of the tables take.
    fn width(&self) -> usize {
        self.columns.last().map_or(0, |last| last.field + fields_of(last.column.kind))
    }

    fn about(&self) -> Vec<(&str, &str)> {
        let title = Some(("Title", self.head.title.as_str()));
        let subtitle = self.head.subtitle.as_deref().map(|subtitle| ("Subtitle", subtitle));
        let facts = self.head.facts.iter().map(|(label, value)| (label.as_str(), value.as_str()));
        let notices = self.head.notices.iter().map(|notice| ("Notice", notice.as_str()));
        title.into_iter().chain(subtitle).chain(facts).chain(notices).collect()
    }

    fn line(&self, record: &str, label: &str, value: &str, placed: &[(usize, String)]) -> Vec<String> {
        let mut line: Vec<String> = [record, label, value].map(|text| harmless(&one_line(text)).into_owned()).into();
        line.resize(OWN.len() + self.width(), String::new());
        for (place, text) in placed {
            line[OWN.len() + place].clone_from(text);
        }
        line
    }
}

impl Placed {
    /// The fields of a row, and where each stands.
    fn fields(&self, row: &Row, columns: &[Shared]) -> Vec<(usize, String)> {
        let mut placed = Vec::new();
        for (place, cell) in self.places.iter().zip(row) {
            let shared = &columns[*place];
            for (offset, field) in fields(cell, shared.column.kind).enumerate() {
                placed.push((shared.field + offset, one_line(&field)));
            }
        }
        placed
    }
}
