//! The allergen sheet: what a customer at the counter can read, and what is never on it.

use scraper::{Html, Selector};
use tubtrail_documents::DocumentError;
use tubtrail_documents::allergen_sheet::{AllergenSheet, Legend, SheetAnswer, SheetRow, html, pdf};
use tubtrail_documents::pdf::Paper;

use crate::reading::{laid_out, pages, read_pdf, squeezed, squeezed_text};
use crate::world::{CAUTION, day, odd_texts};

use SheetAnswer::{Contains, MayContain, NotRecorded, Unknown};

/// EU 1169/2011, Annex II, in short words.
const ANNEX_II: [&str; 14] = [
    "Cereals containing gluten",
    "Crustaceans",
    "Eggs",
    "Fish",
    "Peanuts",
    "Soybeans",
    "Milk",
    "Nuts",
    "Celery",
    "Mustard",
    "Sesame",
    "Sulphur dioxide and sulphites",
    "Lupin",
    "Molluscs",
];

fn flavour(name: &str, answers: &[(usize, SheetAnswer)]) -> SheetRow {
    let mut cells = vec![NotRecorded; ANNEX_II.len()];
    for (column, answer) in answers {
        cells[*column] = *answer;
    }
    SheetRow { flavour: name.to_owned(), tubs: vec!["261125-0042-7".to_owned()], cells }
}

fn sheet(rows: Vec<SheetRow>) -> AllergenSheet {
    AllergenSheet {
        site: "Quay shop".to_owned(),
        day: day(0),
        printed_at: "2026-11-25 08:30 Europe/Rome".to_owned(),
        journal_position: 9120,
        list_names: vec!["EU 1169/2011, Annex II".to_owned()],
        columns: ANNEX_II.map(str::to_owned).into(),
        rows,
        held: vec!["Tub 261125-0051-7, Hazelnut".to_owned()],
        caution: CAUTION.to_owned(),
        legend: Legend::default(),
        language: "en".to_owned(),
    }
}

fn pistachio() -> AllergenSheet {
    sheet(vec![
        flavour("Pistachio", &[(6, Contains), (7, Contains), (4, MayContain), (9, Unknown)]),
        flavour("Lemon sorbet", &[(2, MayContain)]),
    ])
}

/// The texts of the elements that a selector names.
fn texts(page: &Html, selector: &str) -> Vec<String> {
    let selector = Selector::parse(selector).expect("a selector");
    page.select(&selector).map(|element| element.text().collect::<String>()).collect()
}

#[test]
fn the_page_is_a_table_that_can_be_read_aloud() {
    let page = Html::parse_document(&html(&pistachio()).expect("a page"));
    assert!(page.errors.is_empty(), "{:?}", page.errors);
    assert_eq!(texts(&page, "title"), ["Allergens in the case: Quay shop"]);
    assert_eq!(texts(&page, "caption"), ["What was recorded about the flavours in the case of Quay shop"]);
    assert_eq!(texts(&page, "html[lang=en] thead th[scope=col]").len(), 15);
    assert_eq!(texts(&page, "tbody th[scope=row]"), ["Pistachio261125-0042-7", "Lemon sorbet261125-0042-7"]);
    let cells = texts(&page, "tbody tr:first-child td");
    assert_eq!(cells.len(), 14);
    assert_eq!(
        [&cells[4], &cells[6], &cells[9], &cells[0]],
        ["may contain", "contains", "unknown\u{a0}?", "–not recorded"]
    );
    assert_eq!(texts(&page, "dt"), ["contains", "may contain", "unknown\u{a0}?", "–not recorded"]);
    assert!(texts(&page, "dd")[3].contains("A dash clears nothing"));
    assert_eq!(texts(&page, ".caution"), [CAUTION, CAUTION], "above and below");
    assert_eq!(texts(&page, ".held li"), ["Tub 261125-0051-7, Hazelnut"]);
    assert!(texts(&page, "main > p")[0].contains("As of journal entry 9120. Printed 2026-11-25 08:30 Europe/Rome."));
}

#[test]
fn the_page_loads_nothing_and_runs_nothing() {
    let page = html(&pistachio()).expect("a page");
    let parsed = Html::parse_document(&page);
    for selector in ["script", "link", "img", "iframe", "[src]", "[href]", "[style]", "[onclick]"] {
        assert!(texts(&parsed, selector).is_empty(), "{selector}");
    }
    assert!(!page.contains("url(") && !page.contains("@import"));
}

#[test]
fn nothing_in_a_text_is_taken_for_html() {
    let mut odd = pistachio();
    let text = "</title><script>alert(\"1\")</script>'&amp;<b onclick=x>";
    odd.site = text.to_owned();
    odd.printed_at = text.to_owned();
    odd.list_names = vec![text.to_owned()];
    odd.columns[0] = text.to_owned();
    odd.rows[0].flavour = text.to_owned();
    odd.rows[0].tubs = vec![text.to_owned()];
    odd.held = vec![text.to_owned()];
    odd.caution = text.to_owned();
    odd.legend.unknown = text.to_owned();
    odd.language = "en\" onload=\"x".to_owned();
    let parsed = Html::parse_document(&html(&odd).expect("a page"));
    assert!(texts(&parsed, "script, b, [onclick], [onload]").is_empty());
    assert_eq!(texts(&parsed, "caption"), [format!("What was recorded about the flavours in the case of {text}")]);
    assert_eq!(texts(&parsed, "thead th:nth-child(2)"), [text]);
    assert_eq!(texts(&parsed, "dd")[2], text);
}

#[test]
fn never_a_word_that_clears() {
    let page = Html::parse_document(&html(&pistachio()).expect("a page"));
    let spoken = texts(&page, "title, h1, h2, p, li, caption, th, td, dt, dd").join(" ");
    let printed = laid_out(&pdf(&pistachio(), Paper::A4).expect("a PDF"));
    for text in [spoken, printed] {
        let words: Vec<String> =
            text.to_lowercase().split(|letter: char| !letter.is_alphabetic()).map(str::to_owned).collect();
        assert!(words.contains(&"contains".to_owned()));
        for word in ["safe", "safely", "free", "clear", "suitable", "without"] {
            assert!(!words.contains(&word.to_owned()), "“{word}” in {text}");
        }
    }
}

#[test]
fn a_dozen_flavours_fit_on_one_page() {
    let rows: Vec<SheetRow> =
        (0..12).map(|number| flavour(&format!("Flavour {number}"), &[(number, Contains)])).collect();
    for paper in [Paper::A4, Paper::Letter] {
        let file = pdf(&sheet(rows.clone()), paper).expect("a PDF");
        assert_eq!(pages(&file), 1);
    }
}

#[test]
fn the_paper_has_every_word() {
    let file = pdf(&pistachio(), Paper::A4).expect("a PDF");
    let info = read_pdf("pdfinfo", &[], &file);
    assert!(info.contains("Title:           Allergens in the case: Quay shop"), "{info}");
    assert!(info.contains("Page size:       841.89 x 595.276 pts (A4)"), "{info}");
    let text = squeezed_text(&file);
    let legend = Legend::default();
    let meanings = [&legend.contains, &legend.may_contain, &legend.unknown, &legend.not_recorded].map(String::as_str);
    let others =
        ["Pistachio", "Lemon sorbet", "261125-0042-7", CAUTION, "Tub 261125-0051-7, Hazelnut", "journal entry 9120"];
    for expected in meanings.iter().chain(&others).chain(&ANNEX_II) {
        assert!(text.contains(&squeezed(expected)), "{expected}: {text}");
    }
    // Two cells that contain and one sample, two that may and one sample, one unknown and one sample: and the texts.
    let words = |word: &str| text.matches(word).count();
    assert_eq!(words("maycontain"), 3);
    assert_eq!(words("unknown?"), 2);
    // 28 cells, five of which have another answer, and one sample.
    assert_eq!(words("–"), 24);
    // Besides the two and the sample, the list has cereals that contain gluten.
    assert_eq!(text.matches("contains").count(), 3);
}

#[test]
fn what_does_not_fit_goes_on_under_the_same_headings() {
    let rows: Vec<SheetRow> = (0..60).map(|number| flavour(&format!("Flavour-{number}"), &[(6, Contains)])).collect();
    let file = pdf(&sheet(rows), Paper::A4).expect("a PDF");
    let text = read_pdf("pdftotext", &["-raw"], &file);
    let sheets: Vec<&str> = text.split('\u{c}').filter(|sheet| !sheet.trim().is_empty()).collect();
    assert_eq!(sheets.len(), pages(&file));
    assert!(sheets.len() > 1);
    for sheet in &sheets {
        assert!(sheet.contains("Flavour and tubs") && sheet.contains("Crustaceans"), "{sheet}");
        assert!(squeezed(sheet).contains(&squeezed(CAUTION)), "{sheet}");
    }
    let words: Vec<&str> = text.split_whitespace().collect();
    assert!((0..60).all(|number| words.iter().filter(|word| **word == format!("Flavour-{number}")).count() == 1));
}

#[test]
fn more_allergens_than_fit_side_by_side_say_so() {
    let mut wide = pistachio();
    wide.columns = (1..=32).map(|number| format!("Allergen-{number}")).collect();
    for row in &mut wide.rows {
        row.cells = vec![Contains; 32];
    }
    let text = squeezed_text(&pdf(&wide, Paper::Letter).expect("a PDF"));
    for expected in ["Allergens1to11of32", "Allergens12to22of32", "Allergens23to32of32", "Allergen-32"] {
        assert!(text.contains(expected), "{expected}: {text}");
    }
}

#[test]
fn odd_texts_make_a_sheet() {
    for text in odd_texts() {
        let mut odd = pistachio();
        odd.site.clone_from(&text);
        odd.caution.clone_from(&text);
        odd.columns[3].clone_from(&text);
        odd.rows[0].flavour.clone_from(&text);
        odd.rows[1].tubs = vec![text.clone(); 3];
        odd.held.push(text.clone());
        odd.legend.contains.clone_from(&text);
        assert!(laid_out(&pdf(&odd, Paper::A4).expect("a PDF")).contains("Lemon sorbet"), "{text:?}");
        let page = Html::parse_document(&html(&odd).expect("a page"));
        assert_eq!(texts(&page, "tbody tr").len(), 2);
    }
}

#[test]
fn an_empty_case_is_a_sheet_and_an_empty_cell_is_none() {
    let empty = sheet(Vec::new());
    assert!(laid_out(&pdf(&empty, Paper::A4).expect("a PDF")).contains("Nothing is open in the case."));
    assert!(html(&empty).expect("a page").contains("Nothing is open in the case."));
    let mut short = pistachio();
    short.rows[1].cells.pop();
    assert!(matches!(pdf(&short, Paper::A4), Err(DocumentError::RowLength { expected: 14, given: 13, .. })));
    assert!(matches!(html(&short), Err(DocumentError::RowLength { expected: 14, given: 13, .. })));
}
