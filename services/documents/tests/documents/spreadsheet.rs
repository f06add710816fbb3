//! Spreadsheets, read back with another library.

use std::io::Cursor;

use calamine::{Data, Reader, Xlsx};
use chrono::NaiveDateTime;
use tubtrail_documents::DocumentError;
use tubtrail_documents::report::{Cell, Column, ColumnKind, Row, Table, TableFoot, TableHead};
use tubtrail_documents::spreadsheet::{SpreadsheetWriter, report};

use crate::world::{self, CAUTION, column_of_text, day, head, lot, lots, odd_texts, random_table, time, two_lots};

fn open(file: Vec<u8>) -> Xlsx<Cursor<Vec<u8>>> {
    Xlsx::new(Cursor::new(file)).expect("a spreadsheet")
}

/// The rows of a sheet from its first one on.
fn rows(book: &mut Xlsx<Cursor<Vec<u8>>>, sheet: &str) -> Vec<Vec<Data>> {
    let range = book.worksheet_range(sheet).unwrap_or_else(|error| panic!("{sheet}: {error}"));
    range.rows().map(<[Data]>::to_vec).collect()
}

fn text(text: &str) -> Data {
    Data::String(text.to_owned())
}

fn moment(data: &Data) -> NaiveDateTime {
    match data {
        Data::DateTime(moment) => moment.as_datetime().expect("a time"),
        other => panic!("{other:?} is no time"),
    }
}

#[test]
fn figures_and_days_are_numbers() {
    let mut book = open(report(&world::report(vec![two_lots()])).expect("a file"));
    assert_eq!(book.sheet_names(), ["About", "Lots"]);
    let read = rows(&mut book, "Lots");
    assert_eq!(read[0], ["Lot", "Arrived", "Arrived, zone", "Use by", "Grams", "Tubs"].map(text));
    assert_eq!(read[1][0], text("261125-0042-7"));
    assert_eq!(moment(&read[1][1]), time(8, 30, 5));
    assert_eq!(read[1][2], text("Europe/Rome"));
    assert_eq!(moment(&read[1][3]), day(30).into());
    assert_eq!(read[1][4..], [Data::Float(41_280.0), Data::Float(3.0)]);
    assert_eq!(read[2][4], Data::Float(359.5));
    assert_eq!(read[3][0], text("Total"));
    assert_eq!(read[3][4..], [Data::Float(41_639.5), Data::Float(7.0)]);
    assert_eq!(read[5][0], text("Grams of the recalled lot."), "apart from the table, which may be sorted");
}

#[test]
fn the_first_sheet_says_what_it_is_about() {
    let mut book = open(report(&world::report(vec![two_lots()])).expect("a file"));
    let read: Vec<Data> = rows(&mut book, "About").concat().into_iter().filter(|cell| *cell != Data::Empty).collect();
    let expected =
        ["Recall case 12", "Pistachio paste, supplier lot 24-118", CAUTION, "Class", "I", "Journal position", "9120"];
    assert_eq!(read, expected.map(text));
}

#[test]
fn a_figure_with_more_digits_than_a_number_keeps_is_text() {
    let column = |kind| Column::new("Figure", kind);
    let table = Table {
        head: TableHead {
            title: "Figures".to_owned(),
            columns: vec![column(ColumnKind::Grams), column(ColumnKind::Kilograms), column(ColumnKind::Number)],
        },
        rows: vec![
            vec![Cell::Mass(1), Cell::Mass(1), Cell::Decimal { unscaled: -1250, decimals: 2 }],
            vec![Cell::Mass(123_456_789_012_345), Cell::Mass(1_000_000), Cell::Whole(999_999_999_999_999)],
            vec![Cell::Mass(i64::MAX), Cell::text("unknown"), Cell::Whole(i64::MIN)],
        ],
        foot: TableFoot::default(),
    };
    let mut book = open(report(&world::report(vec![table])).expect("a file"));
    let read = rows(&mut book, "Figures");
    assert_eq!(read[1], [0.001, 0.000_001, -12.5].map(Data::Float));
    assert_eq!(read[2], [123_456_789_012.345, 1.0, 999_999_999_999_999.0].map(Data::Float));
    assert_eq!(read[3], ["9223372036854775.807", "unknown", "-9223372036854775808"].map(text));
}

#[test]
fn no_text_is_a_formula_and_none_is_changed() {
    let texts = ["=1+1", "+1", "-2+3", "@SUM(1)", "http://a.example/", "'quoted'", "24-118", "_x0041_", "1234"];
    let mut book = open(report(&world::report(vec![column_of_text("Texts", &texts)])).expect("a file"));
    let read = rows(&mut book, "Texts");
    assert_eq!(read[1..].concat(), texts.map(text));
    assert!(book.worksheet_formula("Texts").expect("a sheet").is_empty());
}

#[test]
fn a_table_goes_on_on_further_sheets() {
    let mut writer = SpreadsheetWriter::new(&head()).expect("a writer").rows_per_sheet(3);
    writer.begin_table(&lots()).expect("a table");
    let all: Vec<Row> = (0..7).map(|number| lot(&format!("lot {number}"), 1000 * number, number)).collect();
    for chunk in all.chunks(2) {
        writer.rows(chunk).expect("rows");
    }
    writer.end_table(&two_lots().foot).expect("its end");
    writer.begin_table(&lots()).expect("another table of the same title");
    let mut book = open(writer.finish().expect("a file"));
    // Seven rows are 3 + 3 + 1; the total has room on the third sheet, an empty row and the note have not.
    assert_eq!(book.sheet_names(), ["About", "Lots", "Lots (2)", "Lots (3)", "Lots (4)", "Lots (1-2)"]);
    let first_cells = |book: &mut _, sheet| rows(book, sheet).iter().map(|row| row[0].to_string()).collect::<Vec<_>>();
    assert_eq!(first_cells(&mut book, "Lots"), ["Lot", "lot 0", "lot 1", "lot 2"]);
    assert_eq!(first_cells(&mut book, "Lots (2)"), ["Lot", "lot 3", "lot 4", "lot 5"]);
    assert_eq!(first_cells(&mut book, "Lots (3)"), ["Lot", "lot 6", "Total"]);
    assert_eq!(first_cells(&mut book, "Lots (4)"), ["Lot", "", "Grams of the recalled lot."]);
    assert_eq!(first_cells(&mut book, "Lots (1-2)"), ["Lot"]);
}

#[test]
fn a_sink_gets_the_same_spreadsheet() {
    let mut writer = SpreadsheetWriter::new(&head()).expect("a writer");
    writer.begin_table(&lots()).expect("a table");
    writer.rows(&two_lots().rows).expect("rows");
    let mut sink = Vec::new();
    writer.finish_into(&mut sink).expect("a file");
    let mut book = open(sink);
    assert_eq!(rows(&mut book, "Lots").len(), 3);
}

#[test]
fn odd_titles_and_texts_are_read_back() {
    let texts = odd_texts();
    for title in texts.iter().chain(&["About".to_owned(), "History".to_owned(), "a/b:c?".to_owned()]) {
        let table = column_of_text(title, &texts.iter().map(String::as_str).collect::<Vec<_>>());
        let mut head = head();
        head.title.clone_from(title);
        head.footer.clone_from(title);
        head.notices.push(title.clone());
        let report = tubtrail_documents::report::Report { head, tables: vec![table.clone(), table] };
        let mut book = open(super::spreadsheet::report(&report).expect("a file"));
        let names = book.sheet_names();
        assert_eq!(names.len(), 3);
        assert!(names.iter().all(|name| (1..=31).contains(&name.encode_utf16().count())), "{names:?}");
        assert_eq!(rows(&mut book, &names[2]).len(), texts.len() + 1);
    }
}

#[test]
fn a_text_too_long_for_a_cell_says_so() {
    let mut book = open(report(&world::report(vec![column_of_text("Long", &[&"🍨".repeat(20_000)])])).expect("a file"));
    let read = rows(&mut book, "Long")[1][0].to_string();
    assert!(read.ends_with("[the rest has no room in this cell]"));
    assert!(read.encode_utf16().count() <= 32_767);
}

#[test]
fn random_tables_keep_their_shape() {
    for seed in 0..20 {
        let table = random_table(&mut fastrand::Rng::with_seed(seed));
        let count = table.rows.len();
        let mut book = open(report(&world::report(vec![table])).expect("a file"));
        let name = book.sheet_names()[1].clone();
        // The heading and the rows, an empty one and the note.
        assert_eq!(rows(&mut book, &name).len(), count + 3, "seed {seed}");
    }
}

#[test]
fn rows_need_a_table() {
    let mut writer = SpreadsheetWriter::new(&head()).expect("a writer");
    assert!(matches!(writer.rows(&[vec![Cell::Empty]]), Err(DocumentError::NotBegun)));
    writer.begin_table(&lots()).expect("a table");
    assert!(matches!(writer.rows(&[vec![Cell::Empty]]), Err(DocumentError::RowLength { .. })));
}
