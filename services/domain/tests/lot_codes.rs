//! Suppliers' lot codes: which come before which, and which a recalled range takes in.

use std::cmp::Ordering::{Equal, Greater, Less};

use tubtrail_domain::lot_codes::{CodeRange, CodeRangeError, begins_with, compare};
use tubtrail_domain::text::TextError;

fn range(from: &str, to: &str) -> CodeRange {
    CodeRange::new(from, to).expect("a range")
}

#[test]
fn runs_of_digits_are_numbers() {
    for (smaller, larger) in [
        ("24-9", "24-110"),
        ("9", "10"),
        ("L9B", "L10A"),
        ("24-118", "24-118-2"),
        ("24-118", "25-1"),
        ("0", "1"),
        ("99999999999999999999999999999999999999998", "99999999999999999999999999999999999999999"),
        ("99999999999999999999", "100000000000000000000"),
    ] {
        assert_eq!(compare(smaller, larger), Less, "{smaller} {larger}");
        assert_eq!(compare(larger, smaller), Greater, "{larger} {smaller}");
    }
}

#[test]
fn leading_zeros_blanks_around_and_the_size_of_ascii_letters_say_nothing() {
    for (a, b) in [("24-009", "24-9"), ("000", "0"), ("l24a", "L24A"), (" 24-9 ", "24-9"), ("A0", "a00")] {
        assert_eq!(compare(a, b), Equal, "{a:?} {b:?}");
    }
    assert_eq!(compare("24 9", "24-9"), Less, "a blank within is a character like another");
    assert_eq!(compare("A", "A0"), Less, "a zero is more than nothing");
}

#[test]
fn codes_of_another_shape_go_by_code_point() {
    // Hyphen, digit, letter, in the order of their code points.
    assert_eq!(compare("24-", "249"), Less);
    assert_eq!(compare("24-1", "24A1"), Less);
    assert_eq!(compare("241", "24A"), Greater, "two hundred and forty-one is more than twenty-four");
    assert_eq!(compare("A1", "1A"), Greater);
    assert_eq!(compare("", "0"), Less);
}

#[test]
fn letters_and_digits_beyond_ascii_are_taken_as_they_are() {
    assert_eq!(compare("É1", "é1"), Less);
    assert_eq!(compare("é9", "é10"), Less);
    assert_eq!(compare("٣", "٢"), Greater, "by code point");
    assert_eq!(compare("٩", "١٠"), Greater, "and not as nine and ten");
    assert_eq!(compare("🍦2", "🍦10"), Less);
}

#[test]
fn comparing_is_an_order() {
    let pieces = ["", "09", "10", "a", "B", "é"];
    let codes: Vec<String> =
        pieces.iter().flat_map(|a| pieces.iter().flat_map(move |b| [format!("{a}{b}"), format!("{a}-{b}")])).collect();
    for a in &codes {
        for b in &codes {
            assert_eq!(compare(a, b), compare(b, a).reverse(), "{a:?} {b:?}");
            for c in &codes {
                if compare(a, b).is_le() && compare(b, c).is_le() {
                    assert!(compare(a, c).is_le(), "{a:?} {b:?} {c:?}");
                }
            }
        }
    }
}

#[test]
fn a_range_takes_in_both_ends_and_what_is_between() {
    let recalled = range("24-9", "24-110");
    for code in ["24-9", "24-10", "24-110", "24-0050", " 24-99 ", "24-9A", "24-50-X"] {
        assert!(recalled.is_between(code), "{code}");
    }
    for code in ["24-8", "24-111", "24-1100", "23-50", "25-50", "2450", "", "L24-50"] {
        assert!(!recalled.is_between(code), "{code}");
    }
}

#[test]
fn a_range_takes_in_what_goes_on_where_its_last_code_ends() {
    let recalled = range("24-9", "24-110");
    for code in ["24-110A", "24-110/2", "24-0110-b", "24-110 b"] {
        assert!(recalled.is_between(code), "{code}");
    }
    assert!(!recalled.is_between("24-1101"), "another number");
    assert!(range("a", "B").is_between("b12"));
}

#[test]
fn a_range_of_one_code_is_a_range() {
    let one = range("L24-118", "l24-0118");
    assert!(one.is_between("L24-118") && one.is_between("l24-118b"));
    assert!(!one.is_between("L24-117") && !one.is_between("L24-119"));
    assert_eq!((one.from(), one.to()), ("L24-118", "l24-0118"));
}

#[test]
fn other_ranges_are_refused() {
    let backwards = CodeRangeError::Backwards { from: "24-110".to_owned(), to: "24-9".to_owned() };
    assert_eq!(CodeRange::new(" 24-110", "24-9 "), Err(backwards.clone()));
    assert_eq!(backwards.to_string(), "“24-110” comes after “24-9”: give the first code of the range first");
    assert_eq!(CodeRange::new(" ", "24-9"), Err(CodeRangeError::From(TextError::Empty)));
    assert_eq!(CodeRange::new("24-9", "24\n-110"), Err(CodeRangeError::To(TextError::Control)));
    assert_eq!(CodeRange::new("1", &"1".repeat(61)), Err(CodeRangeError::To(TextError::TooLong { limit: 60 })));
}

#[test]
fn a_beginning_is_compared_by_characters() {
    for (code, beginning) in [("24-118", "24-1"), ("L24", "l"), ("24-118", "24-118"), (" L24", "L2 "), ("é1", "é")] {
        assert!(begins_with(code, beginning), "{code} {beginning}");
    }
    for (code, beginning) in [("24-118", "24-2"), ("24", "24-"), ("024", "24"), ("24", ""), ("24", " "), ("É1", "é")]
    {
        assert!(!begins_with(code, beginning), "{code} {beginning}");
    }
}
