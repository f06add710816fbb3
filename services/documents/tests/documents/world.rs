//! Reports of the made-up Northquay, and tables of random rows.

use chrono::{Days, NaiveDate, NaiveDateTime};
use fastrand::Rng;
use tubtrail_documents::report::{Cell, Column, ColumnKind, Head, Report, Row, Table, TableFoot, TableHead};

pub const CAUTION: &str =
    "This is what was recorded. What was not written down, or written down wrongly, is not in it.";

pub fn day(number: u64) -> NaiveDate {
    NaiveDate::from_ymd_opt(2026, 11, 25).and_then(|day| day.checked_add_days(Days::new(number))).expect("a day")
}

pub fn time(hour: u32, minute: u32, second: u32) -> NaiveDateTime {
    day(0).and_hms_opt(hour, minute, second).expect("a time")
}

pub fn at(local: NaiveDateTime) -> Cell {
    Cell::DateTime { local, zone: "Europe/Rome".to_owned() }
}

pub fn head() -> Head {
    Head {
        title: "Recall case 12".to_owned(),
        subtitle: Some("Pistachio paste, supplier lot 24-118".to_owned()),
        facts: vec![("Class".to_owned(), "I".to_owned()), ("Journal position".to_owned(), "9120".to_owned())],
        notices: vec![CAUTION.to_owned()],
        footer: "Case 12, journal entry 9120".to_owned(),
        language: "en".to_owned(),
    }
}

pub fn lots() -> TableHead {
    let column = Column::new;
    TableHead {
        title: "Lots".to_owned(),
        columns: vec![
            column("Lot", ColumnKind::Text),
            column("Arrived", ColumnKind::DateTime),
            column("Use by", ColumnKind::Date),
            column("Grams", ColumnKind::Grams),
            column("Tubs", ColumnKind::Number),
        ],
    }
}

pub fn lot(number: &str, mg: i64, tubs: i64) -> Row {
    vec![Cell::text(number), at(time(8, 30, 5)), Cell::Date(day(30)), Cell::Mass(mg), Cell::Whole(tubs)]
}

/// Two lots, and what they come to: 41 280 g + 359.5 g = 41 639.5 g, 3 + 4 = 7 tubs.
pub fn two_lots() -> Table {
    let total = vec![Cell::text("Total"), Cell::Empty, Cell::Empty, Cell::Mass(41_639_500), Cell::Whole(7)];
    Table {
        head: lots(),
        rows: vec![lot("261125-0042-7", 41_280_000, 3), lot("261125-0051-7", 359_500, 4)],
        foot: TableFoot { total: Some(total), note: Some("Grams of the recalled lot.".to_owned()) },
    }
}

pub fn report(tables: Vec<Table>) -> Report {
    Report { head: head(), tables }
}

/// A table with one column of text.
pub fn column_of_text(title: &str, texts: &[&str]) -> Table {
    Table {
        head: TableHead { title: title.to_owned(), columns: vec![Column::new("What", ColumnKind::Text)] },
        rows: texts.iter().map(|text| vec![Cell::text(*text)]).collect(),
        foot: TableFoot::default(),
    }
}

/// What people and their programs put into fields: long words, other scripts, control characters, markup, nothing.
pub fn odd_texts() -> Vec<String> {
    let mut texts: Vec<String> = [
        "",
        " ",
        "\0",
        "a\0b",
        "\n",
        "first\r\nsecond\rthird\u{2028}fourth",
        "\ttab\t",
        "שלום וברכה",
        "مرحبا بالعالم",
        "🍨🍦👩‍🍳",
        "e\u{301}\u{301}\u{301}",
        "\u{202e}gnp.txt",
        "<script>alert('1')</script> & \"quoted\"",
        "\"unbalanced",
        "'quoted'",
        "=HYPERLINK(\"http://a\")",
        "\u{feff}\u{fffe}\u{ffff}\u{10ffff}",
        "_x0041_",
        "ＷＩＤＥ 日本語 한국어",
    ]
    .map(str::to_owned)
    .into();
    texts.push("x".repeat(500));
    texts.push("word ".repeat(2000));
    texts.push("line\n".repeat(300));
    texts.push("🍨".repeat(2000));
    texts
}

/// A table whose texts have no blanks but between words.
pub fn random_table(rng: &mut Rng) -> Table {
    const KINDS: [ColumnKind; 6] = [
        ColumnKind::Text,
        ColumnKind::Grams,
        ColumnKind::Kilograms,
        ColumnKind::Number,
        ColumnKind::Date,
        ColumnKind::DateTime,
    ];
    let columns: Vec<Column> =
        (0..rng.usize(1..12)).map(|_| Column::new(words(rng, 3), KINDS[rng.usize(..6)])).collect();
    let rows = (0..rng.usize(0..90)).map(|_| columns.iter().map(|column| random_cell(rng, column.kind)).collect());
    Table {
        rows: rows.collect(),
        head: TableHead { title: words(rng, 4), columns },
        foot: TableFoot { total: None, note: Some(words(rng, 9)) },
    }
}

fn random_cell(rng: &mut Rng, kind: ColumnKind) -> Cell {
    match (rng.u8(..10), kind) {
        (0, _) => Cell::Empty,
        (1, _) | (_, ColumnKind::Text) => Cell::Text(words(rng, 12)),
        (_, ColumnKind::Grams | ColumnKind::Kilograms) => Cell::Mass(rng.i64(-1_000_000..1_000_000_000_000)),
        (2..6, ColumnKind::Number) => Cell::Decimal { unscaled: rng.i64(-99_999..99_999), decimals: rng.u8(..5) },
        (_, ColumnKind::Number) => Cell::Whole(rng.i64(..)),
        (_, ColumnKind::Date) => Cell::Date(day(rng.u64(..5000))),
        (_, ColumnKind::DateTime) => at(time(rng.u32(..24), rng.u32(..60), rng.u32(..60))),
    }
}

/// One to so many words of letters that the font has.
fn words(rng: &mut Rng, most: usize) -> String {
    let letters: Vec<char> =
        "abcdefghijklmnopqrstuvwxyzABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789äöüéèñçşğΔωЖщ€&<>()".chars().collect();
    let mut word = |longest: usize| -> String {
        (0..rng.usize(1..=longest)).map(|_| letters[rng.usize(..letters.len())]).collect()
    };
    let first = word(12);
    let more = first.len() % most;
    (0..more).fold(first, |text, number| format!("{text} {}", word(if number % 5 == 4 { 80 } else { 12 })))
}
