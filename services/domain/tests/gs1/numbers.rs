//! Check digits, and the numbers of articles, places and pallets.

use tubtrail_domain::gs1::gtin::{Gln, Gtin, NumberError, Sscc, check_digit};
use tubtrail_domain::say;

fn gtin(digits: &str) -> Gtin {
    digits.parse().unwrap_or_else(|error| panic!("{digits}: {error}"))
}

#[test]
fn check_digits_as_published() {
    for (body, due) in [
        // lint_csum.c
        ("0234567", 3),
        ("41600033610", 8),
        ("123456789012", 8),
        ("1234567890123", 1),
        ("12345678901234567", 5),
        // ai.c, validateParity
        ("2401234567890", 5),
        ("211223378965", 7),
        ("0234568", 0),
        // GS1 India, "How to calculate the check digit": (3+0+2+0+4+9) × 3 + 0+1+0+0+0+8 = 63, and 7 make 70.
        ("890400021003", 7),
        // GS1 General Specifications, the two examples they print (from memory).
        ("629104150021", 3),
        ("37610425002123456", 9),
    ] {
        assert_eq!(check_digit(body), Some(due), "{body}");
    }
    assert_eq!(check_digit(""), None);
    assert_eq!(check_digit("12a"), None);
}

#[test]
fn wrong_check_digits_are_refused() {
    // lint_csum.c
    for digits in ["12345673", "416000336109", "1234567890129", "12345678901232"] {
        assert_eq!(digits.parse::<Gtin>(), Err(NumberError::CheckDigit { name: "GTIN" }), "{digits}");
    }
    assert_eq!("123456789012345670".parse::<Sscc>(), Err(NumberError::CheckDigit { name: "SSCC" }));
    // ai.c, validateParity
    for digits in ["24012345678909", "2112233789658", "416000336107", "02345689"] {
        assert_eq!(digits.parse::<Gtin>(), Err(NumberError::CheckDigit { name: "GTIN" }), "{digits}");
    }
}

/// Neither 1 nor 3 times a difference below ten is a multiple of ten.
#[test]
fn every_single_slip_is_caught() {
    let right = "09520123456788";
    for place in 0..right.len() {
        for digit in '0'..='9' {
            let mut wrong = right.to_owned();
            wrong.replace_range(place..=place, &digit.to_string());
            assert_eq!(wrong.parse::<Gtin>().is_ok(), wrong == right, "{wrong}");
        }
    }
}

#[test]
fn shorter_article_numbers_are_the_same_with_zeros_in_front() {
    // 952 is GS1's prefix for demonstrations.
    assert_eq!(gtin("9520123456788"), gtin("09520123456788"));
    assert_eq!(gtin("9520123456788").to_string(), "09520123456788");
    assert_eq!(gtin("02345673").to_string(), "00000002345673");
    assert_eq!(gtin("416000336108").to_string(), "00416000336108");
    for printed in ["02345673", "416000336108", "9520123456788", "19520123456785"] {
        assert_eq!(gtin(printed).printed(), printed);
    }
}

#[test]
fn what_is_no_number_is_named() {
    let length = |found| Err(NumberError::Length { name: "GTIN", due: say!("8, 12, 13 or 14"), found });
    assert_eq!("".parse::<Gtin>(), length(0));
    assert_eq!("952012345678".repeat(2).parse::<Gtin>(), length(24));
    assert_eq!("95201234567".parse::<Gtin>(), length(11));
    let character = |position, found| Err(NumberError::WrongCharacter { name: "GTIN", position, found });
    assert_eq!("952012345678O".parse::<Gtin>(), character(13, 'O'));
    assert_eq!("９520123456788".parse::<Gtin>(), character(1, '９'));
    assert_eq!("9520123456788\0".parse::<Gtin>(), character(14, '\0'));
    assert!("6291041500213".parse::<Gln>().is_ok());
    assert_eq!("06291041500213".parse::<Gln>(), Err(NumberError::Length { name: "GLN", due: say!("13"), found: 14 }));
    assert!("095201234567891235".parse::<Sscc>().is_ok(), "GS1's demonstration prefix");
}

/// UPC-A numbers and their short forms: 0 12345 00006 5 and 0 425261 4 as printed in encyclopaedias (from memory); the
/// other ways of leaving zeros out, worked by hand.
#[test]
fn short_upc_codes_are_written_out() {
    for (short, whole) in [
        ("04252614", "042100005264"),
        ("01234565", "012345000065"),
        // Last digit 0, 1 or 2: AB C00 00DEF; 3: ABC 00 000DE; 4: ABCD 0 0000E; else ABCDE 0000F.
        ("01234505", "012000003455"),
        ("01234531", "012300000451"),
        ("01234543", "012340000053"),
        ("01234596", "012345000096"),
    ] {
        let expected = check_digit(&whole[..11]).map(|due| format!("{}{due}", &whole[..11]));
        assert_eq!(expected.as_deref(), Some(whole), "the example itself");
        assert_eq!(Gtin::from_upc_e(short), Some(gtin(whole)), "{short}");
    }
    assert_eq!(Gtin::from_upc_e("04252615"), None, "a wrong check digit");
    assert_eq!(Gtin::from_upc_e("24252614"), None, "only number systems 0 and 1");
}
