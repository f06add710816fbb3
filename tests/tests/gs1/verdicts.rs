//! Our verdicts beside those of bwip-js, and what we read beside what biip reads.
//!
//! Where they differ is listed here with the reason; any other difference fails. What is listed and no longer differs
//! fails too.

use std::collections::BTreeMap;

use chrono::Datelike as _;
use tubtrail_domain::gs1::digital_link::{CANONICAL_STEM, DigitalLink, build};
use tubtrail_domain::gs1::element_string::ElementString;
use tubtrail_domain::gs1::table::Identifier;
use tubtrail_domain::gs1::{Fault, Gs1Error, day};
use tubtrail_tests::Dice;

use super::corpus::{YEAR, bracketed, broken, broken_link, whole};
use super::oracles;

/// How many whole codes are made for every identifier; twice as many are broken.
const ROUNDS: usize = 6;

/// Verdicts that agreed: refused by both, let through by both.
#[derive(Debug, Default)]
struct Agreed {
    refused: usize,
    let_through: usize,
}

/// Holds our verdicts against bwip-js's; `why` names the reason of a difference that is known.
fn compare(
    codes: &[(&str, String)],
    ours: impl Fn(&str) -> Result<(), Gs1Error>,
    why: impl Fn(&str, &Result<(), Gs1Error>, Option<&str>) -> Option<&'static str>,
) -> (Agreed, BTreeMap<&'static str, usize>) {
    let (mut agreed, mut known, mut wrong) = (Agreed::default(), BTreeMap::new(), Vec::new());
    for ((_, code), theirs) in codes.iter().zip(oracles::bwip(codes)) {
        let ours = ours(code);
        match (&ours, &theirs) {
            (Ok(()), None) => agreed.let_through += 1,
            (Err(_), Some(_)) => agreed.refused += 1,
            _ => match why(code, &ours, theirs.as_deref()) {
                Some(reason) => *known.entry(reason).or_default() += 1,
                None => wrong.push(format!("{code}\n  ours {ours:?}\n  bwip-js {theirs:?}")),
            },
        }
    }
    println!("{agreed:?}; known to differ: {known:#?}");
    assert!(wrong.is_empty(), "{} of {} differ:\n{}", wrong.len(), codes.len(), wrong.join("\n"));
    (agreed, known)
}

/// What we know not to look at, and where bwip-js 4.11.4 is behind the dictionary of 2026.
fn of_values(code: &str, theirs: &str) -> Option<&'static str> {
    let is_about = |words: &[&str]| words.iter().any(|word| theirs.contains(word));
    let made_to_order = code.contains("(03)") || code.contains("03=");
    if is_about(&["UnknownCurrency"]) {
        Some("ours looks at no list of currencies")
    } else if is_about(&["UnknownCountryAlpha2", "unknownCountryAlpha2", "UnknownCountry"]) && code.contains("(43") {
        Some("ours looks at no list of two-letter countries")
    } else if is_about(&["coupon"]) {
        Some("ours does not look inside coupons")
    } else if is_about(&["unknownPackageType"]) {
        Some("ours looks at no list of package types")
    } else if is_about(&["missingAIs"]) && made_to_order {
        Some("made-to-order articles (03) carry more in the dictionary than in bwip-js")
    } else {
        None
    }
}

/// Where bwip-js lets through what we refuse, in values of any kind of code.
fn let_through(error: &Gs1Error) -> Option<&'static str> {
    match &error.fault {
        Fault::Malformed { due, .. } if due.to_string().contains("company prefix") => {
            Some("bwip-js does not look at company prefixes")
        }
        Fault::NotTogether { of, other } if of.number == "03" || other.number == "03" => {
            Some("made-to-order articles (03) go with less in the dictionary than in bwip-js")
        }
        _ => None,
    }
}

#[test]
fn element_strings_are_judged_as_by_bwip_js() {
    let mut dice = Dice::roll();
    let mut codes = Vec::new();
    for _ in 0..ROUNDS {
        for identifier in Identifier::all() {
            let says = whole(identifier, &mut dice).unwrap_or_else(|| panic!("({}) is never whole", identifier.first));
            codes.push(("gs1datamatrix", says.bracketed()));
            for _ in 0..2 {
                let pairs = broken(&says, &mut dice);
                // Blanks that people type around values are ours to forgive.
                if pairs.iter().all(|(_, value)| value.trim() == value) {
                    codes.push(("gs1datamatrix", bracketed(&pairs)));
                }
            }
        }
    }
    let ours = |code: &str| ElementString::parse(code, 1, YEAR).map(|_| ());
    let (agreed, known) = compare(&codes, ours, |code, ours, theirs| match (ours, theirs) {
        (Ok(()), Some(theirs)) => of_values(code, theirs),
        (Err(error), None) => let_through(error),
        _ => None,
    });
    assert!(agreed.refused > 1000 && agreed.let_through > 1000, "{agreed:?}");
    assert!(known.values().sum::<usize>() < codes.len() / 10, "{known:?}");
    assert!(known.len() >= 3, "some of these differ no longer: {known:?}");
}

#[test]
fn links_are_judged_as_by_bwip_js() {
    let mut dice = Dice::roll();
    let mut codes = Vec::new();
    for _ in 0..ROUNDS {
        for identifier in Identifier::all() {
            let says = whole(identifier, &mut dice).unwrap_or_else(|| panic!("({}) is never whole", identifier.first));
            if let Ok(link) = build(CANONICAL_STEM, &says) {
                codes.push(("gs1dldatamatrix", broken_link(&link, &mut dice)));
                codes.push(("gs1dldatamatrix", broken_link(&link, &mut dice)));
                codes.push(("gs1dldatamatrix", link));
            }
        }
    }
    // What chance hardly makes, of what bwip-js lets through.
    for link in [
        "https://a/01/9520123456788",
        "https://a/01/02345673",
        "https://a/01/09520123456788?17=270200&17=270200",
        "https://a/01/09520123456788?01=09520123456788",
        "https://a/01/09520123456788/10/A%2",
        "https://a_b/01/09520123456788",
    ] {
        codes.push(("gs1dldatamatrix", link.to_owned()));
    }
    let ours = |code: &str| DigitalLink::parse(code, 1, YEAR).map(|_| ());
    let (agreed, known) = compare(&codes, ours, |code, ours, theirs| match (ours, theirs) {
        (Ok(()), Some(theirs)) if theirs.contains("AI () is not") => {
            Some("ours passes over a parameter that has no name")
        }
        (Ok(()), Some(theirs)) => of_values(code, theirs),
        (Err(error), None) => match &error.fault {
            Fault::TooShort { of, .. } if of.number == "01" => {
                Some("bwip-js takes article numbers of 8 and 13 digits in a link, which is withdrawn")
            }
            Fault::TwiceInLink { .. } => Some("bwip-js takes the same identifier twice in a link"),
            Fault::Percent => Some("bwip-js takes half a percent code"),
            Fault::Server => Some("bwip-js takes servers with names that no server has"),
            _ => let_through(error),
        },
        _ => None,
    });
    assert!(agreed.refused > 500 && agreed.let_through > 1000, "{agreed:?}");
    assert!(known.values().sum::<usize>() < codes.len() / 10, "{known:?}");
    assert!(known.len() >= 4, "some of these differ no longer: {known:?}");
}

/// Every number of two to four digits is an identifier for both, or for neither.
#[test]
fn the_same_identifiers_are_known() {
    let numbers = (2..=4)
        .flat_map(|digits| (0..10_u32.pow(digits)).map(move |n| format!("{n:0width$}", width = digits as usize)));
    let codes: Vec<_> = numbers.map(|number| ("gs1datamatrix", format!("({number})~"))).collect();
    let mut known = 0;
    for ((_, code), theirs) in codes.iter().zip(oracles::bwip(&codes)) {
        let number = &code[1..code.len() - 2];
        let theirs = theirs.unwrap_or_else(|| panic!("{code}: a tilde belongs in no value"));
        let is_ours = Identifier::of_number(number).is_some();
        assert_eq!(is_ours, !theirs.contains("GS1unknownAI"), "({number}): {theirs}");
        known += usize::from(is_ours);
    }
    println!("{known} identifiers of {} numbers", codes.len());
    assert!(known > 500, "{known}");
}

/// The same pairs, days, decimals and canonical links. biip reads in the year it is, so we do as well.
#[test]
fn biip_reads_the_same() {
    let year = chrono::Utc::now().year();
    let mut dice = Dice::roll();
    let mut codes = Vec::new();
    for _ in 0..ROUNDS {
        for identifier in Identifier::all() {
            let says = whole(identifier, &mut dice).unwrap_or_else(|| panic!("({}) is never whole", identifier.first));
            codes.extend(build(CANONICAL_STEM, &says).ok());
            codes.push(says.raw());
        }
    }
    let (mut links, mut days, mut figures) = (0, 0, 0);
    for (code, theirs) in codes.iter().zip(oracles::biip(&codes)) {
        // biip takes the second day of a harvest for a time of day.
        if theirs.refused.as_ref().is_some_and(|why| why.contains("(7007) date/time")) {
            continue;
        }
        assert_eq!(theirs.refused, None, "{code:?}");
        let says = match &theirs.link {
            Some(link) => {
                let ours = DigitalLink::parse(code, 1, year).unwrap_or_else(|error| panic!("{code}: {error}"));
                if !link.is_empty() {
                    assert_eq!(build(CANONICAL_STEM, &ours.says).as_ref(), Ok(link));
                    links += 1;
                }
                ours.says
            }
            None => ElementString::parse(code, 1, year).unwrap_or_else(|error| panic!("{code:?}: {error}")),
        };
        assert_eq!(theirs.elements.len(), says.elements().len(), "{code:?}");
        for (theirs, ours) in theirs.elements.iter().zip(says.elements()) {
            assert_eq!((&theirs.number, &theirs.value), (&ours.number, &ours.value), "{code:?}");
            assert_eq!(theirs.wrong, None, "{code:?}: {theirs:?}");
            if let Some(date) = &theirs.date {
                assert_eq!(day(&ours.value[..6], year).map(|day| day.to_string()).as_ref(), Some(date), "{theirs:?}");
                days += 1;
            }
            // Of money and per cent biip tells the figure too; of measures alone we do.
            if let Some(figure) = theirs.decimal.as_ref().filter(|_| ours.identifier.predefined) {
                assert_eq!(same_figure(&ours.decimal()), same_figure(figure), "{theirs:?}");
                figures += 1;
            }
        }
    }
    println!("{} codes, {links} links, {days} days, {figures} figures", codes.len());
    assert!(links > 500 && days > 50 && figures > 200, "{links} links, {days} days, {figures} figures");
}

/// Without zeros that say nothing, and without the exponent that Python writes.
fn same_figure(text: &str) -> String {
    let (figure, exponent) = text.split_once('E').unwrap_or((text, "0"));
    let value: f64 = figure.parse().expect("a figure");
    let exponent: i32 = exponent.parse().expect("an exponent");
    format!("{:.6}", value * 10_f64.powi(exponent))
}

/// What biip leaves to others: it reads all of these.
#[test]
fn biip_does_not_look_at_everything() {
    let codes: Vec<String> = [
        // A wrong check digit is told beside it.
        "0109520123456789",
        // A lot of nothing; two that exclude each other.
        "10L26",
        "010952012345678802095201234567883725",
        "https://id.gs1.org/01/09520123456788?10=L26",
    ]
    .map(str::to_owned)
    .into();
    for (code, theirs) in codes.iter().zip(oracles::biip(&codes)) {
        assert_eq!(theirs.refused, None, "{code}: it has learnt to look; strike it from here");
        let ours = if code.starts_with("http") {
            DigitalLink::parse(code, 1, YEAR).map(|_| ())
        } else {
            ElementString::parse(code, 1, YEAR).map(|_| ())
        };
        assert!(ours.is_err(), "{code}");
    }
}
