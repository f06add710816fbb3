//! The plain-text file, read back as any program that imports tables reads it.

use csv::ReaderBuilder;
use tubtrail_documents::DocumentError;
use tubtrail_documents::plain_text::{TextWriter, report};
use tubtrail_documents::report::{Cell, Column, ColumnKind, Table, TableFoot, TableHead};

use crate::world::{self, CAUTION, column_of_text, head, lots, odd_texts, two_lots};

/// All lines; a line with more or fewer fields than the first is refused.
fn records(file: &[u8]) -> Vec<Vec<String>> {
    let mut reader = ReaderBuilder::new().has_headers(false).delimiter(b'\t').flexible(false).from_reader(file);
    reader.records().map(|record| record.expect("a record").iter().map(str::to_owned).collect()).collect()
}

#[test]
fn all_is_one_table() {
    let file = report(&world::report(vec![two_lots()])).expect("a file");
    let expected = [
        "Record\tLabel\tValue\tLot\tArrived\tArrived, zone\tUse by\tGrams\tTubs",
        "Report\tTitle\tRecall case 12\t\t\t\t\t\t",
        "Report\tSubtitle\tPistachio paste, supplier lot 24-118\t\t\t\t\t\t",
        "Report\tClass\tI\t\t\t\t\t\t",
        "Report\tJournal position\t9120\t\t\t\t\t\t",
        &format!("Report\tNotice\t{CAUTION}\t\t\t\t\t\t"),
        "Lots\t\t\t261125-0042-7\t2026-11-25 08:30:05\tEurope/Rome\t2026-12-25\t41280\t3",
        "Lots\t\t\t261125-0051-7\t2026-11-25 08:30:05\tEurope/Rome\t2026-12-25\t359.5\t4",
        "Lots\tTotal\t\tTotal\t\t\t\t41639.5\t7",
        "Lots\tNote\tGrams of the recalled lot.\t\t\t\t\t\t",
    ];
    assert_eq!(String::from_utf8(file).expect("UTF-8"), expected.map(|line| format!("{line}\r\n")).concat());
}

#[test]
fn tables_share_columns_of_the_same_title_and_kind() {
    let told = Table {
        head: TableHead {
            title: "Partners told".to_owned(),
            columns: vec![
                Column::new("Partner", ColumnKind::Text),
                Column::new("Lot", ColumnKind::Text),
                Column::new("Lot", ColumnKind::Text),
                Column::new("Grams", ColumnKind::Kilograms),
            ],
        },
        rows: vec![vec![Cell::text("Mole inn"), Cell::text("first"), Cell::text("second"), Cell::Mass(2_500_000)]],
        foot: TableFoot::default(),
    };
    let read = records(&report(&world::report(vec![two_lots(), told])).expect("a file"));
    let titles = ["Record", "Label", "Value", "Lot", "Arrived", "Arrived, zone", "Use by", "Grams", "Tubs"];
    assert_eq!(read[0], [&titles[..], &["Partner", "Lot", "Grams"]].concat());
    let last = read.last().expect("a line");
    // 2500 g in the column of kilograms: 2.5.
    assert_eq!(*last, ["Partners told", "", "", "first", "", "", "", "", "", "Mole inn", "second", "2.5"]);
}

#[test]
fn chunks_make_the_same_file() {
    let table = two_lots();
    let writer = TextWriter::new(head(), vec![lots()]).expect("a writer");
    let mut file = writer.head().expect("a head");
    for row in &table.rows {
        file.extend(writer.rows(0, std::slice::from_ref(row)).expect("a row"));
    }
    file.extend(writer.foot(0, &table.foot).expect("a foot"));
    assert_eq!(file, report(&world::report(vec![table])).expect("a file"));
    assert!(matches!(writer.rows(1, &[]), Err(DocumentError::NoSuchTable { number: 1 })));
}

#[test]
fn a_record_is_a_line_whatever_stands_in_it() {
    let texts = odd_texts();
    let texts: Vec<&str> = texts.iter().map(String::as_str).collect();
    let file = report(&world::report(vec![column_of_text("a\tb\nc", &texts)])).expect("a file");
    // The heading, and title, subtitle, two facts and the caution.
    assert_eq!(records(&file).len(), 1 + 5 + texts.len());
    let text = String::from_utf8(file).expect("UTF-8");
    assert_eq!(text.lines().count(), 1 + 5 + texts.len(), "no value reaches over a line");
    assert!(text.lines().all(|line| line.matches('\t').count() == 3), "no value holds a tab");
    assert!(
        text.contains("a b c\t\t\t'=HYPERLINK") || text.contains("a b c\t\t\t\"'=HYPERLINK"),
        "no value is a formula"
    );
}
