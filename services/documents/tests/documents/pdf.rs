//! PDFs, read back with poppler.

use tubtrail_documents::DocumentError;
use tubtrail_documents::pdf::{Paper, PdfSettings, PdfWriter, report};
use tubtrail_documents::report::{Cell, Column, ColumnKind, Head, Report, Row, Table, TableFoot, TableHead};

use crate::reading::{laid_out, pages, read_pdf, squeezed, squeezed_text};
use crate::world::{self, CAUTION, column_of_text, head, lot, lots, odd_texts, random_table, two_lots};

fn print(tables: Vec<Table>) -> Vec<u8> {
    report(&world::report(tables), PdfSettings::default()).expect("a PDF")
}

/// The lines of a text, with one blank where there were several.
fn lines(text: &str) -> Vec<String> {
    text.lines()
        .map(|line| line.split_whitespace().collect::<Vec<_>>().join(" "))
        .filter(|line| !line.is_empty())
        .collect()
}

#[test]
fn a_report_reads_from_the_title_to_the_foot() {
    let read = lines(&laid_out(&print(vec![two_lots()])));
    let expected = [
        "Recall case 12",
        "Pistachio paste, supplier lot 24-118",
        CAUTION,
        "Class I",
        "Journal position 9120",
        "Lots",
        "Lot Arrived Use by Grams Tubs",
        "261125-0042-7 2026-11-25 08:30 Europe/Rome 2026-12-25 41280 3",
        "261125-0051-7 2026-11-25 08:30 Europe/Rome 2026-12-25 359.5 4",
        "Total 41639.5 7",
        "Grams of the recalled lot.",
        "Case 12, journal entry 9120 Page 1 of 1",
    ];
    assert_eq!(read, expected);
}

#[test]
fn it_says_what_it_is_and_in_which_language() {
    let pdf = print(vec![two_lots()]);
    let info = read_pdf("pdfinfo", &[], &pdf);
    assert!(info.contains("Title:           Recall case 12\n"), "{info}");
    assert!(info.contains("(A4)"), "{info}");
    assert!(info.contains("Encrypted:       no"), "{info}");
    let metadata = read_pdf("pdfinfo", &["-meta"], &pdf);
    assert!(metadata.contains("<dc:language><rdf:Bag><rdf:li>en</rdf:li>"), "{metadata}");
    let fonts = read_pdf("pdffonts", &[], &pdf);
    // Two lines of headings, and a line a font: embedded, a subset of it, with a map to characters.
    assert!(fonts.lines().count() > 2 && fonts.lines().skip(2).all(|line| line.contains("yes yes yes")), "{fonts}");
}

#[test]
fn paper_comes_in_two_sizes_and_lies_either_way() {
    // A4 is 210 x 297 mm, 595.276 x 841.89 points; Letter is 8.5 x 11 inches, 612 x 792 points.
    for (paper, landscape, expected) in [
        (Paper::A4, false, "595.276 x 841.89"),
        (Paper::A4, true, "841.89 x 595.276"),
        (Paper::Letter, false, "612 x 792"),
        (Paper::Letter, true, "792 x 612"),
    ] {
        let settings = PdfSettings { paper, landscape, ..PdfSettings::default() };
        let info = read_pdf("pdfinfo", &[], &report(&world::report(vec![two_lots()]), settings).expect("a PDF"));
        assert!(info.contains(&format!("Page size:       {expected} pts")), "{info}");
    }
}

#[test]
fn the_heading_and_the_foot_are_on_every_page() {
    let rows: Vec<Row> = (0..200).map(|number| lot(&format!("lot-{number}"), number * 1000, number)).collect();
    let pdf = print(vec![Table { rows, ..two_lots() }]);
    let text = laid_out(&pdf);
    let sheets: Vec<&str> = text.split('\u{c}').filter(|sheet| !sheet.is_empty()).collect();
    assert_eq!(sheets.len(), pages(&pdf));
    assert!(sheets.len() > 3);
    for (number, sheet) in sheets.iter().enumerate() {
        let read = lines(sheet);
        assert!(read.iter().any(|line| line == "Lot Arrived Use by Grams Tubs"), "{sheet}");
        let foot = format!("Case 12, journal entry 9120 Page {} of {}", number + 1, sheets.len());
        assert_eq!(read.last(), Some(&foot));
        assert!(number == 0 || read[0] == "Recall case 12");
    }
    let shown = squeezed(&text);
    assert_eq!(shown.matches(&squeezed(CAUTION)).count(), 2, "at the beginning and at the end");
    for number in 0..200 {
        assert_eq!(text.matches(&format!("lot-{number} ")).count(), 1, "lot-{number}");
    }
}

#[test]
fn rows_beyond_the_most_are_counted() {
    let rows: Vec<Row> = (0..25).map(|number| lot(&format!("lot-{number}"), 1000, 1)).collect();
    let mut writer =
        PdfWriter::new(&head(), PdfSettings { most_rows: 10, ..PdfSettings::default() }).expect("a writer");
    writer.begin_table(&lots()).expect("a table");
    writer.rows(&rows[..8]).expect("rows");
    writer.rows(&rows[8..]).expect("rows");
    writer.leave_out(400_000).expect("rows that are not given");
    writer.end_table(&TableFoot::default()).expect("its end");
    let text = laid_out(&writer.finish().expect("a PDF"));
    // 25 - 10 + 400 000
    assert!(text.contains("400015 further rows are in the spreadsheet."), "{text}");
    assert!(text.contains("lot-9 ") && !text.contains("lot-10 "), "{text}");
}

#[test]
fn every_cell_of_a_random_table_is_in_the_text() {
    for seed in 0..25 {
        let mut rng = fastrand::Rng::with_seed(seed);
        let table = random_table(&mut rng);
        let settings = PdfSettings { landscape: rng.bool(), ..PdfSettings::default() };
        let pdf = report(&world::report(vec![table.clone()]), settings).expect("a PDF");
        let text = squeezed_text(&pdf);
        for cell in table.rows.iter().flatten() {
            let words = words_of(cell);
            assert!(words.iter().any(|words| text.contains(&squeezed(words))), "seed {seed}: {words:?}");
        }
        for title in table.head.columns.iter().map(|column| &column.title).chain([&table.head.title]) {
            assert!(text.contains(&squeezed(title)), "seed {seed}: {title}");
        }
    }
}

/// What a cell may look like: a mass stands in grams or in kilograms.
fn words_of(cell: &Cell) -> Vec<String> {
    match cell {
        Cell::Empty => vec![String::new()],
        Cell::Text(text) => vec![text.clone()],
        Cell::Whole(number) => vec![number.to_string()],
        Cell::Date(day) => vec![day.to_string()],
        Cell::DateTime { local, zone } => vec![format!("{} {zone}", local.format("%Y-%m-%d %H:%M"))],
        Cell::Mass(mg) => vec![in_thousandths(*mg, 1), in_thousandths(*mg, 2)],
        Cell::Decimal { unscaled, decimals } => {
            // No more than five digits: a float is as exact.
            let places = usize::from(*decimals);
            vec![format!(
                "{:.places$}",
                f64::from(i32::try_from(*unscaled).expect("five digits")) / 10_f64.powi(i32::from(*decimals))
            )]
        }
    }
}

/// Thousandths of thousandths, without needless zeros, by long division.
fn in_thousandths(number: i64, times: u32) -> String {
    let unit = 1000_i64.pow(times);
    let places = 3 * times as usize;
    let (whole, rest) = (number.abs() / unit, number.abs() % unit);
    let sign = if number < 0 { "-" } else { "" };
    let fraction = format!("{rest:0places$}");
    let fraction = fraction.trim_end_matches('0');
    if fraction.is_empty() { format!("{sign}{whole}") } else { format!("{sign}{whole}.{fraction}") }
}

#[test]
fn no_two_words_lie_on_each_other() {
    let wide = TableHead {
        title: "Wide".to_owned(),
        columns: (0..14).map(|number| Column::new(format!("Column number {number}"), ColumnKind::Text)).collect(),
    };
    let row: Row = (0..14).map(|number| Cell::text(format!("cell-{number}-{}", "ab".repeat(number * 3)))).collect();
    let table = Table { head: wide, rows: vec![row; 3], foot: TableFoot::default() };
    let boxes = word_boxes(&print(vec![table]));
    assert!(boxes.len() > 100);
    for (at, one) in boxes.iter().enumerate() {
        for other in &boxes[at + 1..] {
            assert!(!one.overlaps(other), "{one:?} {other:?}");
        }
        assert!(one.left >= 39.0 && one.right <= 556.3, "{one:?} is not within the margins");
    }
}

#[derive(Debug)]
struct WordBox {
    left: f32,
    right: f32,
    top: f32,
    bottom: f32,
    word: String,
}

impl WordBox {
    fn overlaps(&self, other: &Self) -> bool {
        // The boxes are as tall as the font's tallest letters, so lines that follow each other touch.
        let (across, down) = (0.5, 3.0);
        self.left + across < other.right
            && other.left + across < self.right
            && self.top + down < other.bottom
            && other.top + down < self.bottom
            && !self.word.is_empty()
    }
}

fn word_boxes(pdf: &[u8]) -> Vec<WordBox> {
    let html = scraper::Html::parse_document(&read_pdf("pdftotext", &["-bbox"], pdf));
    let words = scraper::Selector::parse("word").expect("a selector");
    let words = html.select(&words);
    words
        .map(|word| {
            let edge = |name| word.attr(name).and_then(|edge| edge.parse().ok()).expect("an edge");
            WordBox {
                left: edge("xmin"),
                right: edge("xmax"),
                top: edge("ymin"),
                bottom: edge("ymax"),
                word: word.text().collect(),
            }
        })
        .collect()
}

#[test]
fn odd_texts_are_printed_somehow_and_copied_as_they_are() {
    let texts = odd_texts();
    for text in &texts {
        let head = Head {
            title: text.clone(),
            subtitle: Some(text.clone()),
            facts: vec![(text.clone(), text.clone())],
            notices: vec![text.clone()],
            footer: text.clone(),
            language: "en".to_owned(),
        };
        let table = column_of_text(text, &[text, "end of it"]);
        let report = Report { head, tables: vec![table] };
        let pdf = super::pdf::report(&report, PdfSettings::default()).expect("a PDF");
        assert!(laid_out(&pdf).contains("end of it"), "{text:?}");
    }
    let read = squeezed_text(&print(vec![column_of_text("Emoji", &["a🍨b", "c\0d", "日本"])]));
    for expected in ["a🍨b", "c\u{fffd}d", "日本"] {
        assert!(read.contains(expected), "{expected}: {read}");
    }
}

#[test]
fn a_row_taller_than_a_page_goes_on() {
    let long = (0..4000).map(|number| format!("w{number}")).collect::<Vec<_>>().join(" ");
    let pdf = print(vec![column_of_text("Long", &[&long, "after"])]);
    assert!(pages(&pdf) > 2);
    let text = read_pdf("pdftotext", &["-raw"], &pdf);
    let words: std::collections::HashSet<&str> = text.split_whitespace().collect();
    assert!((0..4000).all(|number| words.contains(format!("w{number}").as_str())));
    assert!(words.contains("after"));
}

#[test]
fn a_heading_taller_than_a_page_is_printed_once() {
    let columns = vec![Column::new("long ".repeat(3000), ColumnKind::Text), Column::new("b", ColumnKind::Number)];
    let head = TableHead { title: "Tall".to_owned(), columns };
    let rows = (0..100).map(|number| vec![Cell::text(format!("row-{number}")), Cell::Whole(number)]).collect();
    let text = read_pdf("pdftotext", &["-raw"], &print(vec![Table { head, rows, foot: TableFoot::default() }]));
    assert_eq!(text.matches("long").count(), 3000);
    assert!(text.contains("row-99"));
}

#[test]
fn the_most_columns_are_printed() {
    let columns = (0..64).map(|number| Column::new(format!("c{number}"), ColumnKind::Grams)).collect();
    let rows = vec![(0..64).map(|number| Cell::Mass(number * 1_000_000_123)).collect(); 4];
    let head = TableHead { title: "Many".to_owned(), columns };
    let text = squeezed_text(&print(vec![Table { head, rows, foot: TableFoot::default() }]));
    // 63 x 1 000 000.123 g
    assert!(text.contains("63000007.749"), "{text}");
}

#[test]
fn empty_reports_are_reports() {
    let nothing = Report { head: Head::default(), tables: Vec::new() };
    let pdf = report(&nothing, PdfSettings::default()).expect("a PDF");
    assert_eq!(lines(&laid_out(&pdf)), ["Page 1 of 1"]);
    let text = laid_out(&print(vec![column_of_text("Empty", &[])]));
    assert!(text.contains("No rows."), "{text}");
}

#[test]
fn rows_need_a_table() {
    let mut writer = PdfWriter::new(&head(), PdfSettings::default()).expect("a writer");
    assert!(matches!(writer.rows(&[]), Err(DocumentError::NotBegun)));
    assert!(matches!(writer.end_table(&TableFoot::default()), Err(DocumentError::NotBegun)));
    writer.begin_table(&lots()).expect("a table");
    assert!(matches!(writer.rows(&[vec![Cell::Empty]]), Err(DocumentError::RowLength { .. })));
}
