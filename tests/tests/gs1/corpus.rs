//! Codes by chance: whole ones, with a value that fits for every identifier and with what it needs beside it, and ones that
//! were broken in one place.

use fastrand::Rng;
use tubtrail_domain::gs1::element_string::ElementString;
use tubtrail_domain::gs1::gtin::check_digit;
use tubtrail_domain::gs1::rules::Rule;
use tubtrail_domain::gs1::table::{Characters, Identifier, Part};

/// The year in which everything is read.
pub const YEAR: i32 = 2026;

/// An identifier and a value.
pub type Pair = (String, String);

const TEXT: &str = "ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789!\"%&')*+,-./:;<=>?_";

/// With brackets, as bwip-js takes it; no value here holds an opening bracket.
pub fn bracketed(pairs: &[Pair]) -> String {
    pairs.iter().flat_map(|(number, value)| ["(", number, ")", value]).collect()
}

/// What is said of an identifier, whole: it comes first, what it needs behind it. `None` where chance made no fitting pair.
pub fn whole(identifier: &Identifier, rng: &mut Rng) -> Option<ElementString> {
    (0..50).find_map(|_| {
        let mut pairs = Vec::new();
        add(&number_of(identifier, rng), &mut pairs, rng);
        ElementString::parse(&bracketed(&pairs), 1, YEAR).ok()
    })
}

/// A number of the identifier's range.
fn number_of(identifier: &Identifier, rng: &mut Rng) -> String {
    let digits = identifier.first.len();
    let range = identifier.first.parse::<u32>().expect("digits")..=identifier.last.parse::<u32>().expect("digits");
    format!("{:0digits$}", rng.u32(range))
}

fn add(number: &str, pairs: &mut Vec<Pair>, rng: &mut Rng) {
    if pairs.iter().any(|(there, _)| there == number) {
        return;
    }
    let identifier = Identifier::of_number(number).expect("it is in the table");
    pairs.push((number.to_owned(), value(identifier, rng)));
    if identifier.needs.is_empty() {
        return;
    }
    let groups: Vec<_> = identifier.needs.split(',').collect();
    for pattern in groups[rng.usize(..groups.len())].split('+') {
        add(&of_pattern(pattern, rng), pairs, rng);
    }
}

/// One of the numbers a pattern stands for.
fn of_pattern(pattern: &str, rng: &mut Rng) -> String {
    loop {
        let number: String =
            pattern.chars().map(|due| if due == 'n' { char::from(b'0' + rng.u8(0..10)) } else { due }).collect();
        if Identifier::of_number(&number).is_some() {
            return number;
        }
    }
}

/// A value that fits.
pub fn value(identifier: &Identifier, rng: &mut Rng) -> String {
    let mut value = String::new();
    for part in identifier.parts {
        if part.optional && rng.bool() {
            break;
        }
        value += &part_of(part, rng);
    }
    value
}

fn part_of(part: &Part, rng: &mut Rng) -> String {
    // Short and long ones, the longest among them.
    let length = if rng.bool() { part.most } else { rng.usize(part.least..=part.most) };
    let mut text: String = (0..length).map(|_| character(part.characters, rng)).collect();
    for rule in part.rules.iter().rev() {
        text = fit(*rule, &text, part, rng);
    }
    text
}

fn character(characters: Characters, rng: &mut Rng) -> char {
    let set = match characters {
        Characters::Digits => "0123456789",
        Characters::Text => TEXT,
        Characters::Capitals => "ABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789#-/",
        Characters::Base64 => "ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789-_",
    };
    char::from(set.as_bytes()[rng.usize(..set.len())])
}

/// A part changed so that it fits a rule, where chance alone would hardly make it.
fn fit(rule: Rule, text: &str, part: &Part, rng: &mut Rng) -> String {
    let with_prefix = || format!("{:07}{}", 9_520_000 + text.len(), text.get(7..).unwrap_or_default());
    match rule {
        Rule::CheckDigit => {
            let body = &text[..text.len() - 1];
            format!("{body}{}", check_digit(body).expect("digits"))
        }
        Rule::CheckPair => check_pair(&format!("9520123{}", text.get(7..text.len().max(9) - 2).unwrap_or("M")), part),
        Rule::Prefix if part.characters != Characters::Digits => with_prefix(),
        Rule::DayOrMonth => format!("{:02}{:02}{:02}", rng.u32(0..100), rng.u32(1..13), rng.u32(0..29)),
        Rule::Day => format!("{:02}{:02}{:02}", rng.u32(0..100), rng.u32(1..13), rng.u32(1..29)),
        Rule::LongDay => format!("{}{:02}{:02}", rng.u32(1900..2100), rng.u32(1..13), rng.u32(1..29)),
        Rule::HourMinute => format!("{:02}{:02}", rng.u32(0..24), rng.u32(0..60)),
        Rule::Hour => format!("{:02}", rng.u32(0..24)),
        Rule::Minute => format!("{:02}", rng.u32(0..60)),
        Rule::Country => ["620", "724", "380", "250", "056", "826"][rng.usize(..6)].to_owned(),
        Rule::CountryOrMany => ["999", "620", "380"][rng.usize(..3)].to_owned(),
        Rule::CountryLetters => ["PT", "ES", "IT", "FR"][rng.usize(..4)].to_owned(),
        Rule::YesNo | Rule::Winding => rng.u32(0..2).to_string(),
        Rule::Sex => ["0", "1", "2", "9"][rng.usize(..4)].to_owned(),
        Rule::Minus | Rule::ImporterIndex => "-".to_owned(),
        Rule::Zero => "0".to_owned(),
        Rule::PieceOfTotal => format!("{:02}{:02}", rng.u32(1..50), rng.u32(50..100)),
        Rule::PlaceInRow => format!("{}/{}", rng.u32(1..5), rng.u32(5..10)),
        Rule::MediaType => format!("{:02}", rng.u32(1..11)),
        Rule::PercentCode => text.replace('%', "x"),
        Rule::Latitude => format!("{:010}", rng.u64(0..=1_800_000_000)),
        Rule::Longitude => format!("{:010}", rng.u64(0..=3_600_000_000)),
        // ISO 13616's own example is GB82 WEST 1234 5698 7654 32 (from memory).
        Rule::Iban => "GB82WEST12345698765432".to_owned(),
        Rule::PackageType => ["1A", "200", "BX", "PX"][rng.usize(..4)].to_owned(),
        Rule::NoZeroInFront => text.trim_start_matches('0').to_owned() + "7",
        _ => text.to_owned(),
    }
    .chars()
    .take(part.most)
    .collect()
}

/// A text with the check pair that fits; found by trying, for the rule itself is under test.
fn check_pair(body: &str, part: &Part) -> String {
    const PAIR: &str = "23456789ABCDEFGHJKLMNPQRSTUVWXYZ";
    let identifier = Identifier::of_number("8013").expect("it is in the table");
    let body = &body[..body.len().min(part.most - 2)];
    let pairs = PAIR.chars().flat_map(|one| PAIR.chars().map(move |other| format!("{body}{one}{other}")));
    let fits = |text: &String| ElementString::parse(&format!("({}){text}", identifier.first), 1, YEAR).is_ok();
    pairs.into_iter().find(fits).expect("one of 1024 fits")
}

/// The same broken in one place, or changed so that it may be broken.
pub fn broken(says: &ElementString, rng: &mut Rng) -> Vec<Pair> {
    let mut pairs: Vec<Pair> =
        says.elements().iter().map(|element| (element.number.clone(), element.value.clone())).collect();
    let at = rng.usize(..pairs.len());
    let place = rng.usize(..pairs[at].1.len());
    match rng.u32(0..9) {
        0..=2 => pairs[at].1.replace_range(place..=place, &rng.u32(0..10).to_string()),
        3 => pairs[at].1.replace_range(place..=place, &foreign(rng)),
        4 => pairs[at].1.replace_range(place..=place, ""),
        5 => pairs[at].1.insert(place, '1'),
        6 => drop(pairs.remove(at)),
        7 => {
            let mut other = pairs[at].clone();
            let identifier = Identifier::of_number(&other.0).expect("it is in the table");
            other.1 = value(identifier, rng);
            pairs.push(other);
        }
        _ => {
            let all = Identifier::all();
            let other = &all[rng.usize(..all.len())];
            pairs.push((number_of(other, rng), value(other, rng)));
        }
    }
    pairs
}

/// A character that hardly fits anywhere.
fn foreign(rng: &mut Rng) -> String {
    ["#", " ", "~", "a", "@", "$", "[", "|", "A", "-"][rng.usize(..10)].to_owned()
}

/// A link changed in one place, so that it may be broken.
pub fn broken_link(link: &str, rng: &mut Rng) -> String {
    const SIGNS: [&str; 10] = ["/", "?", "&", "=", "%", "#", "+", "~", ";", "a"];
    const ENDS: [&str; 10] = ["/", "?", "?10=A", "&99=B", "&99=", "&nn=1", "&21=C", "#z", "?17=261131", "%2"];
    let mut link = link.to_owned();
    let at = rng.usize("https://".len()..link.len());
    match rng.u32(0..9) {
        0 | 1 => link.replace_range(at..=at, &rng.u32(0..10).to_string()),
        2 => link.replace_range(at..=at, SIGNS[rng.usize(..SIGNS.len())]),
        3 => link.replace_range(at..=at, ""),
        4 => link.insert(at, '1'),
        5 => link.push_str(ENDS[rng.usize(..ENDS.len())]),
        6 => link = link.replacen('?', "/", 1),
        7 => link = link.replacen("/10/", "?10=", 1),
        _ => link = with_first_pairs_swapped(&link),
    }
    link
}

/// Key and first qualifier in each other's place; of a link with a key alone, all in capitals.
fn with_first_pairs_swapped(link: &str) -> String {
    let mut steps: Vec<_> = link.split('/').collect();
    if steps.len() < 7 {
        return link.to_uppercase();
    }
    steps.swap(3, 5);
    steps.swap(4, 6);
    steps.join("/")
}
