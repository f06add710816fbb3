//! Reports to hand over: what a recall or a trace comes to, as a table in one of five formats.
//!
//! A table is read and written a piece at a time. CSV, plain text and JSON leave the house as they are made; a PDF and a
//! spreadsheet are made whole first, and a PDF says how many rows it has no room for.

mod papers;
mod recall;
mod trace;

use std::sync::mpsc::sync_channel;

use actix_web::http::header::{CONTENT_DISPOSITION, CONTENT_ENCODING, CONTENT_TYPE};
use actix_web::{HttpResponse, web};
use chrono::{DateTime, Utc};
use futures_util::stream;
use serde::{Deserialize, Serialize};
use tubtrail_documents::comma_separated::{self, CsvWriter};
use tubtrail_documents::pdf::{self, PdfSettings, PdfWriter};
use tubtrail_documents::plain_text::{self, TextWriter};
use tubtrail_documents::report::{Cell, Column, ColumnKind, Head, Row, TableFoot, TableHead};
use tubtrail_documents::spreadsheet::{self, SpreadsheetWriter};
use tubtrail_documents::{DocumentError, report::Table};
use tubtrail_operations::{Grams, OperationError, Tubtrail};
use utoipa::ToSchema;

pub use self::papers::{Paper, Papers, Stand};
pub use self::recall::recall;
pub use self::trace::trace;
use crate::house::{House, Outcome, Reading, off_thread, read_on};
use crate::problem::Problem;
use crate::seats::Seat;

/// How a report is written.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum ReportFormat {
    /// An object: what it says as a whole, and its lines.
    #[default]
    Json,
    /// To print and hand over; some columns, and the first 5000 rows.
    Pdf,
    /// A spreadsheet that sorts: all columns, a row a lot and place.
    Xlsx,
    /// The same columns and rows, comma-separated.
    Csv,
    /// The same in one plain-text file with what the report is about, for SFCR s. 91.
    Txt,
}

impl ReportFormat {
    /// What a browser is told it is.
    pub const fn media_type(self) -> &'static str {
        match self {
            Self::Json => "application/json",
            Self::Pdf => pdf::MEDIA_TYPE,
            Self::Xlsx => spreadsheet::MEDIA_TYPE,
            Self::Csv => comma_separated::MEDIA_TYPE,
            Self::Txt => plain_text::MEDIA_TYPE,
        }
    }

    /// How its name ends, after the dot.
    pub const fn ending(self) -> &'static str {
        match self {
            Self::Json => "json",
            Self::Pdf => "pdf",
            Self::Xlsx => "xlsx",
            Self::Csv => "csv",
            Self::Txt => "txt",
        }
    }
}

/// Something of which a report is made, and how it is read.
pub struct Source<S, L> {
    /// What the file is called, without its ending.
    pub name: String,
    /// What it says as a whole, for JSON.
    pub whole: serde_json::Value,
    /// What it is about, for everything else.
    pub head: Head,
    /// A table that goes before the lines, in a PDF and a spreadsheet and in plain text.
    pub summary: Table,
    /// The title of the lines.
    pub title: &'static str,
    /// The columns; a PDF has room for those marked.
    pub columns: Vec<(Column, bool)>,
    /// Reads the next lines.
    pub more: fn(&Tubtrail, &mut S) -> Result<Vec<L>, OperationError>,
    /// The rows of a line.
    pub rows: fn(&L) -> Vec<Row>,
    /// How many lots it is about.
    pub total: usize,
    /// How many of them were read.
    pub read: fn(&S) -> usize,
    /// Where it stands.
    pub state: S,
}

impl<S, L> Source<S, L> {
    fn table(&self) -> TableHead {
        let columns = self.columns.iter().map(|(column, _)| column.clone()).collect();
        TableHead { title: self.title.to_owned(), columns }
    }

    /// The next rows; none at its end.
    fn next(&mut self, tubtrail: &Tubtrail) -> Result<Option<Vec<Row>>, OperationError> {
        let lines = (self.more)(tubtrail, &mut self.state)?;
        Ok((!lines.is_empty()).then(|| lines.iter().flat_map(self.rows).collect()))
    }
}

/// Sends a report.
pub async fn send<S, L>(house: House, seat: Seat, format: ReportFormat, source: Source<S, L>) -> Outcome
where
    S: Send + 'static,
    L: Serialize + Send + 'static,
{
    let mut response = HttpResponse::Ok();
    let name = format!("attachment; filename=\"{}.{}\"", source.name, format.ending());
    response.insert_header((CONTENT_TYPE, format.media_type())).insert_header((CONTENT_DISPOSITION, name));
    let pieces = match format {
        ReportFormat::Pdf | ReportFormat::Xlsx => {
            let made = off_thread(move || {
                let made = make(&house.tubtrail, format, source, |_| {});
                drop(seat);
                Ok(made)
            });
            return Ok(response.body(made.await??));
        }
        ReportFormat::Json => Pieces::Json { first: true },
        ReportFormat::Csv => Pieces::Csv(CsvWriter::new(source.table()).map_err(failed)?),
        ReportFormat::Txt => {
            let tables = vec![source.summary.head.clone(), source.table()];
            Pieces::Text(TextWriter::new(source.head.clone(), tables).map_err(failed)?)
        }
    };
    response.insert_header((CONTENT_ENCODING, "identity"));
    Ok(response.streaming(streamed(house, seat, pieces, source)))
}

/// Makes a paper or a spreadsheet, which are whole or nothing; says after each piece how many lots were read. Anything else is
/// sent as it is made.
pub fn make<S: Send, L>(
    tubtrail: &Tubtrail,
    format: ReportFormat,
    source: Source<S, L>,
    read: impl Fn(usize),
) -> Result<Vec<u8>, Problem> {
    if format == ReportFormat::Pdf { printed(tubtrail, source, read) } else { spread(tubtrail, source, read) }
}

/// Pieces of a spreadsheet that are read before they are written.
const AHEAD: usize = 4;

/// What writes a report as it is read.
enum Pieces {
    Json { first: bool },
    Csv(CsvWriter),
    Text(TextWriter),
}

impl Pieces {
    fn begin<S, L>(&self, source: &Source<S, L>) -> Result<Vec<u8>, Problem> {
        match self {
            Self::Csv(writer) => writer.header().map_err(failed),
            Self::Text(writer) => {
                let mut bytes = writer.head().map_err(failed)?;
                bytes.extend(writer.rows(0, &source.summary.rows).map_err(failed)?);
                bytes.extend(writer.foot(0, &source.summary.foot).map_err(failed)?);
                Ok(bytes)
            }
            Self::Json { .. } => {
                let mut bytes = serde_json::to_vec(&source.whole).map_err(|error| Problem::internal(&error))?;
                // The lines go into the same object.
                bytes.pop();
                bytes.extend(
                    if source.whole.as_object().is_some_and(serde_json::Map::is_empty) { "" } else { "," }.bytes(),
                );
                bytes.extend(b"\"lines\":[");
                Ok(bytes)
            }
        }
    }

    fn add<L: Serialize>(&mut self, lines: &[L], rows: impl Fn(&L) -> Vec<Row>) -> Result<Vec<u8>, Problem> {
        let rows = || lines.iter().flat_map(&rows).collect::<Vec<_>>();
        match self {
            Self::Csv(writer) => writer.rows(&rows()).map_err(failed),
            Self::Text(writer) => writer.rows(1, &rows()).map_err(failed),
            Self::Json { first } => {
                let mut bytes = Vec::new();
                for line in lines {
                    if !std::mem::take(first) {
                        bytes.push(b',');
                    }
                    serde_json::to_writer(&mut bytes, line).map_err(|error| Problem::internal(&error))?;
                }
                Ok(bytes)
            }
        }
    }

    fn end(&self) -> Vec<u8> {
        if matches!(self, Self::Json { .. }) { b"]}".to_vec() } else { Vec::new() }
    }
}

/// Which piece comes next.
enum Next<S, L> {
    Begin(Box<Source<S, L>>),
    More(Reading<Source<S, L>, Vec<L>>),
    Done,
}

fn streamed<S, L>(
    house: House,
    seat: Seat,
    pieces: Pieces,
    source: Source<S, L>,
) -> impl futures_util::Stream<Item = Result<web::Bytes, Problem>>
where
    S: Send + 'static,
    L: Serialize + Send + 'static,
{
    let (more, rows) = (source.more, source.rows);
    let reading = move |house: &House, source| {
        read_on(house.clone(), source, move |tubtrail, source: &mut Source<S, L>| more(tubtrail, &mut source.state))
    };
    // The seat goes with the stream, to its end or until the client is gone.
    let begun = (house, seat, pieces, Next::Begin(Box::new(source)));
    stream::try_unfold(begun, move |(house, seat, mut pieces, next)| async move {
        let (bytes, pieces, next) = match next {
            Next::Done => return Ok(None),
            Next::Begin(source) => {
                let bytes = pieces.begin(&source)?;
                (bytes, pieces, Next::More(reading(&house, *source)))
            }
            Next::More(lines) => {
                let (lines, source) = lines.await?;
                if lines.is_empty() {
                    (pieces.end(), pieces, Next::Done)
                } else {
                    let next = reading(&house, source);
                    let (bytes, pieces) = off_thread(move || Ok((pieces.add(&lines, rows), pieces))).await?;
                    (bytes?, pieces, Next::More(next))
                }
            }
        };
        Ok(Some((web::Bytes::from(bytes), (house, seat, pieces, next))))
    })
}

fn printed<S, L>(tubtrail: &Tubtrail, mut source: Source<S, L>, read: impl Fn(usize)) -> Result<Vec<u8>, Problem> {
    let settings = PdfSettings { landscape: true, ..PdfSettings::default() };
    let mut writer = PdfWriter::new(&source.head, settings).map_err(failed)?;
    writer.begin_table(&source.summary.head).map_err(failed)?;
    writer.rows(&source.summary.rows).map_err(failed)?;
    writer.end_table(&source.summary.foot).map_err(failed)?;
    let shown: Vec<bool> = source.columns.iter().map(|(_, is_printed)| *is_printed).collect();
    let columns = source.columns.iter().filter(|(_, is_printed)| *is_printed).map(|(column, _)| column.clone());
    let head = TableHead { title: source.title.to_owned(), columns: columns.collect() };
    writer.begin_table(&head).map_err(failed)?;
    while let Some(rows) = source.next(tubtrail)? {
        read((source.read)(&source.state));
        let rows: Vec<Row> = rows
            .into_iter()
            .map(|row| row.into_iter().zip(&shown).filter(|(_, shown)| **shown).map(|(cell, _)| cell).collect())
            .collect();
        writer.rows(&rows).map_err(failed)?;
    }
    writer.end_table(&TableFoot::default()).map_err(failed)?;
    writer.finish().map_err(failed)
}

fn spread<S: Send, L>(tubtrail: &Tubtrail, mut source: Source<S, L>, read: impl Fn(usize)) -> Result<Vec<u8>, Problem> {
    let mut writer = SpreadsheetWriter::new(&source.head).map_err(failed)?;
    writer.begin_table(&source.summary.head).map_err(failed)?;
    writer.rows(&source.summary.rows).map_err(failed)?;
    writer.end_table(&source.summary.foot).map_err(failed)?;
    writer.begin_table(&source.table()).map_err(failed)?;
    // To read takes as long as to write: each has a thread.
    std::thread::scope(|scope| {
        let (give, pieces) = sync_channel(AHEAD);
        scope.spawn(move || {
            while let Some(piece) = source.next(tubtrail).transpose() {
                let piece = piece.map(|rows| (rows, (source.read)(&source.state)));
                let is_last = piece.is_err();
                // Whoever writes has given up if nobody takes it.
                if give.send(piece).is_err() || is_last {
                    break;
                }
            }
        });
        for piece in pieces {
            let (rows, so_far) = piece?;
            read(so_far);
            writer.rows(&rows).map_err(failed)?;
        }
        Ok::<_, Problem>(())
    })?;
    writer.end_table(&TableFoot::default()).map_err(failed)?;
    writer.finish().map_err(failed)
}

#[expect(clippy::needless_pass_by_value, reason = "it stands where a result's error is turned into another")]
fn failed(error: DocumentError) -> Problem {
    Problem::internal(&error)
}

/// A column, and whether a PDF has room for it.
pub fn column(title: &str, kind: ColumnKind, is_printed: bool) -> (Column, bool) {
    (Column::new(title, kind), is_printed)
}

/// Text, or nothing.
pub fn text(text: Option<impl Into<String>>) -> Cell {
    text.map_or(Cell::Empty, Cell::text)
}

fn time(time: Option<DateTime<Utc>>) -> Cell {
    time.map_or(Cell::Empty, |time| Cell::DateTime { local: time.naive_utc(), zone: "UTC".into() })
}

fn grams(grams: Option<Grams>) -> Cell {
    grams.map_or(Cell::Empty, |grams| Cell::Mass(grams.mg()))
}

fn wall(time: DateTime<Utc>) -> String {
    time.format("%Y-%m-%d %H:%M UTC").to_string()
}
