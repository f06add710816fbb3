//! What was scanned, told apart.

use chrono::NaiveDate;
use tubtrail_domain::gs1::Gs1Error;
use tubtrail_domain::gs1::scanned::{Scanned, read};
use tubtrail_domain::lot_number::LotNumber;

use super::YEAR;

fn told(text: &str) -> String {
    told_of(read(text, None, YEAR))
}

fn told_of(scanned: Result<Scanned, Gs1Error>) -> String {
    match scanned {
        Ok(Scanned::LotNumber(lot)) => format!("lot {lot}"),
        Ok(Scanned::Article(article)) => format!("article {article}"),
        Ok(Scanned::LotNumberOrArticle(lot, article)) => format!("lot {lot} or article {article}"),
        Ok(Scanned::Elements(says)) => says.bracketed(),
        Ok(Scanned::Link(link)) => format!("{} says {}", link.stem, link.says.bracketed()),
        Err(error) => error.to_string(),
    }
}

#[test]
fn lots_of_ours() {
    for text in ["261125-0042-7", "26112500427", " 261125 0042 7\r\n", "]C026112500427", "]d1261125-0042-7"] {
        assert_eq!(told(text), "lot 261125-0042-7", "{text:?}");
    }
    assert!(told("261125-0042-8").starts_with("at character 1: this is not a lot number of ours"));
    assert!(told(" 26112500428").starts_with("at character 2: this is not a lot number of ours"));
}

#[test]
fn numbers_under_the_bars_of_packages() {
    // ]E0 and ]E4: scandata.c.
    for (text, gtin) in [
        ("9520123456788", "09520123456788"),
        ("]E09520123456788", "09520123456788"),
        ("9 520123 456788\n", "09520123456788"),
        ("02345673", "00000002345673"),
        ("]E402345673", "00000002345673"),
        ("416000336108", "00416000336108"),
        ("]E00416000336108", "00416000336108"),
        ("19520123456785", "19520123456785"),
        ("]I119520123456785", "19520123456785"),
        // UPC-E, eight digits: written out it is 0 42100 00526 4.
        ("04252614", "00042100005264"),
    ] {
        assert_eq!(told(text), format!("article {gtin}"), "{text:?}");
    }
    assert_eq!(told("9520123456789"), "at character 1: a digit of the GTIN is mistyped, or two are swapped");
    assert_eq!(
        told("]E0952012345678O"),
        "at character 16: “O” at position 13 does not belong in a GTIN: it has digits only"
    );
}

/// Twelve to fourteen digits can be both: then both are said. The 10 000th lot of a day has twelve digits.
#[test]
fn digits_that_are_a_lot_and_an_article() {
    let day = NaiveDate::from_ymd_opt(2026, 11, 25).expect("a day");
    let lots = (10_000..10_100).map(|serial| LotNumber::new(day, serial).expect("a lot"));
    let told: Vec<_> = lots.map(|lot| told(&lot.compact())).collect();
    let both: Vec<_> = told.iter().filter(|said| said.contains(" or article ")).collect();
    assert!(told.iter().all(|said| said.starts_with("lot 261125-")));
    assert!((1..40).contains(&both.len()), "a tenth of them, about: {both:?}");
    // With a symbology identifier, or with hyphens, there is no doubt.
    let sure = format!("]E00{}", both[0].split(' ').nth(1).expect("a lot").replace('-', ""));
    assert!(super::scans::told(&sure).starts_with("article "), "{sure}");
    assert!(!super::scans::told(both[0].split(' ').nth(1).expect("a lot")).contains("article"));
}

/// `scandata.c`: `]d2011231231231233310ABC123<GS>99TESTING`.
#[test]
fn element_strings_behind_symbology_identifiers() {
    for identifier in ["]C1", "]d2", "]Q3", "]e0"] {
        let text = format!("{identifier}011231231231233310ABC123\u{1d}99TESTING");
        assert_eq!(told(&text), "(01)12312312312333(10)ABC123(99)TESTING", "{identifier}");
    }
    let with_gs = "011231231231233310ABC123\u{1d}99TESTING";
    assert_eq!(told(with_gs), "(01)12312312312333(10)ABC123(99)TESTING", "a scanner that sends no identifier");
    assert_eq!(told(&format!("\u{1d}{with_gs}")), told(with_gs), "one that sends the first FNC1 as well");
    assert_eq!(told("0112312312312333"), "(01)12312312312333");
    assert_eq!(told("(01)12312312312333(10)ABC"), "(01)12312312312333(10)ABC");
    assert_eq!(told_of(read(with_gs, Some("]C1"), YEAR)), told(with_gs), "the identifier came beside it");
    assert_eq!(told_of(read("9520123456788", Some("]E0"), YEAR)), "article 09520123456788");
}

/// `scandata.c`: a link travels in a plain QR code or Data Matrix.
#[test]
fn links_behind_symbology_identifiers() {
    for identifier in ["", "]Q1", "]d1"] {
        let text = format!("{identifier}https://example.com/shop/01/09520123456788/10/ABC123");
        assert_eq!(told(&text), "https://example.com/shop says (01)09520123456788(10)ABC123");
    }
}

/// The place is counted in characters of what was sent, from 1.
#[test]
fn what_cannot_be_read_is_pointed_at() {
    for (text, position, words) in [
        ("", 1, "nothing in this code"),
        (" \r\n", 4, "nothing in this code"),
        ("]C1", 4, "nothing in this code"),
        ("hello", 1, "no code we know"),
        ("261125", 1, "a code of 6 digits"),
        ("123456789", 1, "a code of 9 digits"),
        ("]C10109520123456789", 6, "check digit"),
        ("]C1010952012345678810L 26", 23, "“ ” does not belong in (10) lot"),
        ("]C1010952012345678810L#6", 23, "“#” does not belong in (10) lot"),
        (" 0109520123456788\u{1d}\u{1d}10L26", 19, "a separator too many"),
        ("\u{1d}\u{1d}10L26", 2, "a separator too many"),
        ("ä", 1, "another keyboard"),
        ("9520123\u{0}456788", 8, "another keyboard"),
        ("https://example.com/", 21, "names no article"),
        ("mailto://a/01/09520123456788", 1, "begins with https"),
        ("89ABC", 1, "no code we know"),
        ("10L26", 1, "(10) lot says nothing by itself"),
        ("123456789012345678901234567890", 11, "does not know"),
    ] {
        let error = read(text, None, YEAR).map(|_| ()).expect_err(text);
        let said = error.fault.to_string();
        let known = words == "does not know" || said.contains(words);
        assert!(known && (words == "does not know" || error.position == position), "{text:?}: {error}");
    }
}
