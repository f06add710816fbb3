//! What is written is read back the same.

use tubtrail_domain::gs1::digital_link::{CANONICAL_STEM, DigitalLink, build};
use tubtrail_domain::gs1::element_string::ElementString;
use tubtrail_domain::gs1::scanned::{Scanned, read};
use tubtrail_domain::gs1::table::Identifier;
use tubtrail_tests::Dice;

use super::corpus::{YEAR, whole};

/// Identifiers and values, in order of identifier.
fn sorted(says: &ElementString) -> Vec<(&str, &str)> {
    let mut pairs: Vec<_> =
        says.elements().iter().map(|element| (element.number.as_str(), element.value.as_str())).collect();
    pairs.sort_unstable();
    pairs
}

/// By separators, by brackets, and by link where there is one.
#[test]
fn what_is_written_is_read_back() {
    let mut dice = Dice::roll();
    let mut links = 0;
    for identifier in Identifier::all().iter().cycle().take(20 * Identifier::all().len()) {
        let says = whole(identifier, &mut dice).unwrap_or_else(|| panic!("({}) is never whole", identifier.first));
        for text in [says.raw(), says.bracketed(), format!("]d2{}", says.raw())] {
            match read(&text, Some("]C1"), YEAR) {
                Ok(Scanned::Elements(back)) => assert_eq!(back.bracketed(), says.bracketed(), "{text:?}"),
                other => panic!("{text:?}: {other:?}"),
            }
        }
        if let Ok(link) = build(CANONICAL_STEM, &says) {
            let back = DigitalLink::parse(&link, 1, YEAR).unwrap_or_else(|error| panic!("{link}: {error}"));
            assert_eq!(sorted(&back.says), sorted(&says), "{link}");
            assert_eq!(build(CANONICAL_STEM, &back.says).ok(), Some(link));
            links += 1;
        }
    }
    assert!(links > 1000, "{links} links");
}

/// Whatever is sent, a place within it is named, or just past its end.
#[test]
fn nothing_breaks_the_reader() {
    let mut dice = Dice::roll();
    let pieces = [
        "01",
        "10",
        "17",
        "3103",
        "(",
        ")",
        "\u{1d}",
        "09520123456788",
        "261231",
        "https://",
        "a/",
        "?",
        "&",
        "=",
        "%41",
        "%",
        "]C1",
        "]d2",
        " ",
        "-",
        "ä",
        "\0",
        "L26",
        "\\",
        "/",
        "😀",
        "261125-0042-7",
        "00",
        "#",
    ];
    let mut refused = 0;
    for _ in 0..50_000 {
        let text: String = (0..dice.usize(0..9)).map(|_| pieces[dice.usize(..pieces.len())]).collect();
        if let Err(error) = read(&text, None, YEAR) {
            refused += 1;
            assert!((1..=text.chars().count() + 1).contains(&error.position), "{text:?}: {error}");
            assert!(error.fault.to_string().len() > 10, "{text:?}: {error}");
        }
    }
    assert!((20_000..50_000).contains(&refused), "{refused} were refused");
}
