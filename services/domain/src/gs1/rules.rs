//! What single parts of values must fit besides length and characters.

use super::dates;
use super::gtin::check_digit_fits;
use crate::say;
use crate::saying::Saying;

/// What a part must fit.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Rule {
    /// Its last digit is the check digit of the others.
    CheckDigit,
    /// Its last two characters are the check pair of the others.
    CheckPair,
    /// A company prefix, of at least four digits, begins at the first character.
    Prefix,
    /// The same from the second character on, behind an indicator.
    PrefixBehindOne,
    /// `YYMMDD`; day 00 is the last of its month.
    DayOrMonth,
    /// `YYMMDD`.
    Day,
    /// `YYYYMMDD`.
    LongDay,
    /// `hhmm`.
    HourMinute,
    /// `hh`.
    Hour,
    /// `mm`, and seconds likewise.
    Minute,
    /// A country's number in ISO 3166-1.
    Country,
    /// The same, or 999 for several.
    CountryOrMany,
    /// A country's two letters, by form alone.
    CountryLetters,
    /// 0 or 1.
    YesNo,
    /// A minus sign and nothing else.
    Minus,
    /// Not all zeros.
    NotZero,
    /// Zero.
    Zero,
    /// No zero in front, unless it is the only digit.
    NoZeroInFront,
    /// Holds something other than digits.
    NotDigitsAlone,
    /// Which way a roll is wound: 0, 1 or 9.
    Winding,
    /// Two digits of a piece and two of their total.
    PieceOfTotal,
    /// Which child of how many, as in `1/3`.
    PlaceInRow,
    /// 0, 1, 2 or 9, after ISO/IEC 5218.
    Sex,
    /// 01 to 10, or 80 to 99.
    MediaType,
    /// Percent signs with two hexadecimal digits each.
    PercentCode,
    /// A character of file-safe base64 or a hyphen.
    ImporterIndex,
    /// Ten-millionths of a degree, counted from the south pole: up to 180 of them.
    Latitude,
    /// The same, up to 360.
    Longitude,
    /// An account number after ISO 13616.
    Iban,
    /// One or two capital letters or digits, or more of them: by form alone.
    PackageType,
}

/// Why a part does not fit.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Trouble {
    /// Its check digit or check pair.
    CheckDigit,
    /// No day of the calendar.
    NotADay,
    /// No time of day.
    NotATime,
    /// No country.
    NotACountry,
    /// Something else; what is due.
    Malformed(Saying),
}

/// Refuses what does not fit; days are read in `year`. The part holds its own characters in its own length by now.
pub(super) fn fits(rule: Rule, text: &str, year: i32) -> Result<(), Trouble> {
    let or = |fits: bool, trouble: Trouble| if fits { Ok(()) } else { Err(trouble) };
    let due = |fits: bool, due: Saying| or(fits, Trouble::Malformed(due));
    match rule {
        Rule::CheckDigit => or(check_digit_fits(text), Trouble::CheckDigit),
        Rule::CheckPair => or(check_pair_fits(text), Trouble::CheckDigit),
        Rule::Prefix => due(begins_with_prefix(text), say!("it begins with a company prefix of four digits or more")),
        Rule::PrefixBehindOne => {
            due(text.get(1..).is_some_and(begins_with_prefix), say!("a company prefix follows its first digit"))
        }
        Rule::DayOrMonth => or(dates::day(text, year).is_some(), Trouble::NotADay),
        Rule::Day => or(!text.ends_with("00") && dates::day(text, year).is_some(), Trouble::NotADay),
        Rule::LongDay => or(long_day_is_one(text), Trouble::NotADay),
        Rule::HourMinute => or(below(&text[..2], 24) && below(&text[2..], 60), Trouble::NotATime),
        Rule::Hour => or(below(text, 24), Trouble::NotATime),
        Rule::Minute => or(below(text, 60), Trouble::NotATime),
        Rule::Country => or(is_country(text), Trouble::NotACountry),
        Rule::CountryOrMany => or(text == "999" || is_country(text), Trouble::NotACountry),
        Rule::CountryLetters => or(text.bytes().all(|byte| byte.is_ascii_uppercase()), Trouble::NotACountry),
        Rule::YesNo => due(matches!(text, "0" | "1"), say!("0 for no or 1 for yes")),
        Rule::Minus => due(text == "-", say!("only a minus sign may follow the six digits")),
        Rule::NotZero => due(text.bytes().any(|byte| byte != b'0'), say!("it is more than nothing")),
        Rule::Zero => due(text == "0", say!("it begins with a zero")),
        Rule::NoZeroInFront => due(text == "0" || !text.starts_with('0'), say!("no zero stands in front")),
        Rule::NotDigitsAlone => due(!text.bytes().all(|byte| byte.is_ascii_digit()), say!("it is not of digits alone")),
        Rule::Winding => due(matches!(text, "0" | "1" | "9"), say!("the winding is 0, 1 or 9")),
        Rule::PieceOfTotal => due(is_piece_of_total(text), say!("a piece and the number of pieces, as in 0203")),
        Rule::PlaceInRow => due(is_place_in_row(text), say!("a place and the number of places, as in 1/3")),
        Rule::Sex => due(matches!(text, "0" | "1" | "2" | "9"), say!("0, 1, 2 or 9")),
        Rule::MediaType => due(is_media_type(text), say!("01 to 10 or 80 to 99")),
        Rule::PercentCode => due(percent_codes_are_whole(text), say!("two hexadecimal digits follow a percent sign")),
        Rule::ImporterIndex => due(
            text.bytes().all(|byte| byte.is_ascii_alphanumeric() || b"-_".contains(&byte)),
            say!("letter, digit, - or _"),
        ),
        Rule::Latitude => due(text <= "1800000000", say!("at most 180 degrees")),
        Rule::Longitude => due(text <= "3600000000", say!("at most 360 degrees")),
        Rule::Iban => or(is_iban(text), Trouble::CheckDigit),
        Rule::PackageType => {
            let fits = text.bytes().all(|byte| byte.is_ascii_uppercase() || byte.is_ascii_digit());
            due(fits, say!("capital letters and digits"))
        }
    }
}

/// GS1 gives out prefixes of four digits and more; whether it gave out this one, only its register knows.
fn begins_with_prefix(text: &str) -> bool {
    text.get(..4).is_some_and(|prefix| prefix.bytes().all(|byte| byte.is_ascii_digit()))
}

fn below(text: &str, limit: u32) -> bool {
    text.parse::<u32>().is_ok_and(|number| number < limit)
}

fn long_day_is_one(text: &str) -> bool {
    let number = |from: usize, until: usize| text[from..until].parse::<u32>().ok();
    let day = || {
        let year = i32::try_from(number(0, 4)?).ok()?;
        chrono::NaiveDate::from_ymd_opt(year, number(4, 6)?, number(6, 8)?)
    };
    day().is_some()
}

fn is_piece_of_total(text: &str) -> bool {
    let (piece, total) = text.split_at(text.len() / 2);
    piece.bytes().any(|byte| byte != b'0') && piece <= total
}

fn is_place_in_row(text: &str) -> bool {
    let bytes = text.as_bytes();
    bytes.len() == 3 && bytes[1] == b'/' && (b'1'..=b'9').contains(&bytes[0]) && (bytes[0]..=b'9').contains(&bytes[2])
}

fn is_media_type(text: &str) -> bool {
    text.parse::<u32>().is_ok_and(|number| (1..=10).contains(&number) || number >= 80)
}

fn percent_codes_are_whole(text: &str) -> bool {
    let hexadecimal = |code: &str| code.len() == 2 && code.bytes().all(|byte| byte.is_ascii_hexdigit());
    text.match_indices('%').all(|(at, _)| text.get(at + 1..at + 3).is_some_and(hexadecimal))
}

/// The check pair of GS1's alphanumeric keys (GS1 General Specifications, "Check character pair calculation"; from memory,
/// and held against another program in the tests): characters of set 82 by their order, weighted by primes from the right,
/// modulo 1021, written in two of 32 characters.
fn check_pair_fits(text: &str) -> bool {
    const PRIMES: [u32; 23] = [2, 3, 5, 7, 11, 13, 17, 19, 23, 29, 31, 37, 41, 43, 47, 53, 59, 61, 67, 71, 73, 79, 83];
    const ORDER: &str = "!\"%&'()*+,-./0123456789:;<=>?ABCDEFGHIJKLMNOPQRSTUVWXYZ_abcdefghijklmnopqrstuvwxyz";
    const PAIR: &[u8; 32] = b"23456789ABCDEFGHJKLMNPQRSTUVWXYZ";
    let Some((body, pair)) = text.len().checked_sub(2).and_then(|at| text.split_at_checked(at)) else { return false };
    let value = |character: char| ORDER.find(character).and_then(|at| u32::try_from(at).ok());
    let weighted = body.chars().rev().zip(PRIMES).map(|(character, prime)| Some(value(character)? * prime));
    let Some(sum) = weighted.sum::<Option<u32>>() else { return false };
    let sum = (sum % 1021) as usize;
    !body.is_empty() && pair.as_bytes() == [PAIR[sum >> 5], PAIR[sum & 31]]
}

/// Modulo 97 after ISO 13616: country and check digits moved to the end, letters counted from 10.
fn is_iban(text: &str) -> bool {
    let forms = text.len() > 4
        && text.bytes().all(|byte| byte.is_ascii_uppercase() || byte.is_ascii_digit())
        && text.bytes().take(2).all(|byte| byte.is_ascii_uppercase());
    let remainder = |sum: u32, character: char| {
        let value = character.to_digit(36).unwrap_or(0);
        if value > 9 { (sum * 100 + value) % 97 } else { (sum * 10 + value) % 97 }
    };
    forms && text[4..].chars().chain(text[..4].chars()).fold(0, remainder) == 1
}

fn is_country(text: &str) -> bool {
    text.parse::<u16>().is_ok_and(|number| COUNTRIES.binary_search(&number).is_ok())
}

/// The numbers of ISO 3166-1.
const COUNTRIES: [u16; 249] = [
    4, 8, 10, 12, 16, 20, 24, 28, 31, 32, 36, 40, 44, 48, 50, 51, 52, 56, 60, 64, 68, 70, 72, 74, 76, 84, 86, 90, 92,
    96, 100, 104, 108, 112, 116, 120, 124, 132, 136, 140, 144, 148, 152, 156, 158, 162, 166, 170, 174, 175, 178, 180,
    184, 188, 191, 192, 196, 203, 204, 208, 212, 214, 218, 222, 226, 231, 232, 233, 234, 238, 239, 242, 246, 248, 250,
    254, 258, 260, 262, 266, 268, 270, 275, 276, 288, 292, 296, 300, 304, 308, 312, 316, 320, 324, 328, 332, 334, 336,
    340, 344, 348, 352, 356, 360, 364, 368, 372, 376, 380, 384, 388, 392, 398, 400, 404, 408, 410, 414, 417, 418, 422,
    426, 428, 430, 434, 438, 440, 442, 446, 450, 454, 458, 462, 466, 470, 474, 478, 480, 484, 492, 496, 498, 499, 500,
    504, 508, 512, 516, 520, 524, 528, 531, 533, 534, 535, 540, 548, 554, 558, 562, 566, 570, 574, 578, 580, 581, 583,
    584, 585, 586, 591, 598, 600, 604, 608, 612, 616, 620, 624, 626, 630, 634, 638, 642, 643, 646, 652, 654, 659, 660,
    662, 663, 666, 670, 674, 678, 682, 686, 688, 690, 694, 702, 703, 704, 705, 706, 710, 716, 724, 728, 729, 732, 740,
    744, 748, 752, 756, 760, 762, 764, 768, 772, 776, 780, 784, 788, 792, 795, 796, 798, 800, 804, 807, 818, 826, 831,
    832, 833, 834, 840, 850, 854, 858, 860, 862, 876, 882, 887, 894,
];
