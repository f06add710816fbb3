//! CSV, read back with a reader of RFC 4180.

use csv::ReaderBuilder;
use tubtrail_documents::DocumentError;
use tubtrail_documents::comma_separated::{self, CsvWriter, table};
use tubtrail_documents::report::{Cell, Column, ColumnKind, TableHead};

use crate::world::{column_of_text, lot, lots, odd_texts, random_table, two_lots};

fn records(file: &[u8]) -> Vec<Vec<String>> {
    let mut reader = ReaderBuilder::new().has_headers(false).from_reader(file);
    reader.records().map(|record| record.expect("a record").iter().map(str::to_owned).collect()).collect()
}

/// The one field of a table with one text.
fn field(text: &str) -> String {
    let file = table(&column_of_text("Texts", &[text, "end"])).expect("a file");
    records(&file)[1][0].clone()
}

#[test]
fn a_table_is_a_heading_and_its_rows() {
    let file = table(&two_lots()).expect("a file");
    let expected = "Lot,Arrived,\"Arrived, zone\",Use by,Grams,Tubs\r\n\
        261125-0042-7,2026-11-25 08:30:05,Europe/Rome,2026-12-25,41280,3\r\n\
        261125-0051-7,2026-11-25 08:30:05,Europe/Rome,2026-12-25,359.5,4\r\n\
        Total,,,,41639.5,7\r\n";
    assert_eq!(String::from_utf8(file).expect("UTF-8"), expected);
}

#[test]
fn chunks_make_the_same_file() {
    let whole = two_lots();
    let writer = CsvWriter::new(lots()).expect("a writer");
    let mut file = writer.header().expect("a header");
    for row in whole.rows.iter().chain(&whole.foot.total) {
        file.extend(writer.rows(std::slice::from_ref(row)).expect("a row"));
    }
    assert_eq!(file, table(&whole).expect("a file"));
    assert!(writer.rows(&[]).expect("no rows").is_empty());
}

#[test]
fn no_text_is_a_formula() {
    // OWASP ASVS 5.0.0, 1.2.10: = + - @ tab NUL. OWASP, CSV injection: carriage return; line feed and the full-width
    // forms from memory. The texts are the page's and common examples of it.
    let dangerous = [
        ("=cmd|' /C calc'!A0", "'=cmd|' /C calc'!A0"),
        ("=1+2\";=1+2", "'=1+2\";=1+2"),
        ("+1+1", "'+1+1"),
        ("-2+3", "'-2+3"),
        ("@SUM(1+1)", "'@SUM(1+1)"),
        ("\t=1+1", "'\t=1+1"),
        ("\tplain", "'\tplain"),
        ("\r=1+1", "'\r=1+1"),
        ("\n=1+1", "'\n=1+1"),
        ("\0=1+1", "'\u{fffd}=1+1"),
        ("  =1+1", "'  =1+1"),
        ("＝1+1", "'＝1+1"),
        ("＋1", "'＋1"),
        ("－1", "'－1"),
        ("＠a", "'＠a"),
    ];
    for (text, expected) in dangerous {
        assert_eq!(field(text), expected, "{text:?}");
    }
    for harmless in ["milk", "24-118", "a=b", "1+1", "'quoted'", "— none", "ö=ö"] {
        assert_eq!(field(harmless), harmless);
    }
}

#[test]
fn a_heading_and_a_zone_are_no_formulas_either() {
    let head = TableHead { title: "T".to_owned(), columns: vec![Column::new("=a", ColumnKind::DateTime)] };
    let writer = CsvWriter::new(head).expect("a writer");
    assert_eq!(records(&writer.header().expect("a header"))[0], ["'=a", "'=a, zone"]);
    let local = crate::world::time(1, 2, 3);
    let rows = writer.rows(&[vec![Cell::DateTime { local, zone: "@zone".to_owned() }]]).expect("rows");
    assert_eq!(records(&rows)[0], ["2026-11-25 01:02:03", "'@zone"]);
}

#[test]
fn figures_below_zero_stay_figures() {
    let writer = CsvWriter::new(lots()).expect("a writer");
    let rows = writer.rows(&[lot("a", -500, -3)]).expect("rows");
    // Half a gram is missing, and three tubs.
    assert!(String::from_utf8(rows).expect("UTF-8").ends_with(",-0.5,-3\r\n"));
}

#[test]
fn odd_texts_come_back_but_for_their_control_characters() {
    for text in odd_texts() {
        let expected = text.replace(['\0', '\u{fffe}', '\u{ffff}'], "\u{fffd}");
        let given = field(&text);
        assert_eq!(given.strip_prefix('\'').filter(|_| !text.starts_with('\'')).unwrap_or(&given), expected);
    }
}

#[test]
fn random_tables_keep_their_shape() {
    for seed in 0..40 {
        let table = random_table(&mut fastrand::Rng::with_seed(seed));
        let file = comma_separated::table(&table).expect("a file");
        let times = table.head.columns.iter().filter(|column| column.kind == ColumnKind::DateTime).count();
        let read = records(&file);
        // A reader passes over lines that are empty, which a row of one empty cell is not: it is written as "".
        assert_eq!(read.len(), table.rows.len() + 1, "seed {seed}");
        assert!(read.iter().all(|record| record.len() == table.head.columns.len() + times), "seed {seed}");
    }
}

#[test]
fn a_row_that_does_not_fit_is_refused() {
    let writer = CsvWriter::new(lots()).expect("a writer");
    let refused = writer.rows(&[vec![Cell::Empty]]).expect_err("one cell for five columns");
    assert!(matches!(refused, DocumentError::RowLength { expected: 5, given: 1, .. }), "{refused}");
    let none = TableHead { title: "None".to_owned(), columns: Vec::new() };
    assert!(matches!(CsvWriter::new(none).expect_err("no columns"), DocumentError::NoColumns { .. }));
    let many = TableHead { title: "Many".to_owned(), columns: vec![Column::new("a", ColumnKind::Text); 65] };
    assert!(matches!(CsvWriter::new(many).expect_err("too many"), DocumentError::TooManyColumns { given: 65, .. }));
}
