//! Dates as a law wants them written.

use chrono::{Datelike, NaiveDate};

use crate::allergens::AllergenList;
use crate::saying::Saying;
use crate::{say, speaks};

/// What a date on a label is.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum DateKind {
    /// It keeps its quality until then.
    BestBefore,
    /// It must not be eaten after that.
    UseBy,
    /// It was packed then.
    Packed,
    /// It was made then.
    Made,
}

/// A date as it stands on a label.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct DateWording {
    /// What stands before it: “Best before”.
    pub label: &'static str,
    /// The date: “25 May 2027”.
    pub date: String,
}

/// Why a date is not written.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum DateRefused {
    /// Canada has no “use by” for such food.
    NoUseBy,
    /// Not a year of four digits.
    Year,
}

impl DateRefused {
    /// In words.
    pub fn saying(&self) -> Saying {
        match self {
            Self::NoUseBy => say!("a label for Canada has no “use by”: give a best-before date or a packaging date"),
            Self::Year => say!("the year must be one from 1000 to 9999"),
        }
    }
}

speaks!(DateRefused);

/// Food and Drug Regulations B.01.007(5): symbols that are read in both languages.
const CANADIAN_MONTHS: [&str; 12] = ["JA", "FE", "MR", "AL", "MA", "JN", "JL", "AU", "SE", "OC", "NO", "DE"];

const MONTHS: [&str; 12] = [
    "January",
    "February",
    "March",
    "April",
    "May",
    "June",
    "July",
    "August",
    "September",
    "October",
    "November",
    "December",
];

/// A date in the form of a law, always whole.
///
/// - EU: day, month and year, uncoded, behind “best before” or “use by”: Regulation (EU) 1169/2011 Annex X points 1(a)
///   to (c) and 2. The month in letters, so that nobody takes it for the day.
/// - Canada: year, month, day, behind “Best before” and “Meilleur avant”; Food and Drug Regulations B.01.007(4) and
///   (5). It asks for the last two figures of the year at least, and gets four. “Packaged on” and “Empaqueté le”:
///   B.01.007(1.2).
/// - US: no federal law has a form for it (from memory). “Best if used by” is what FDA and USDA recommend (from
///   memory).
pub fn date_wording(law: AllergenList, kind: DateKind, day: NaiveDate) -> Result<DateWording, DateRefused> {
    if !(1000..=9999).contains(&day.year()) {
        return Err(DateRefused::Year);
    }
    Ok(DateWording { label: label(law, kind)?, date: written(law, day) })
}

const fn label(law: AllergenList, kind: DateKind) -> Result<&'static str, DateRefused> {
    Ok(match (law, kind) {
        (AllergenList::Eu, DateKind::BestBefore) => "Best before",
        (AllergenList::Us, DateKind::BestBefore) => "Best if used by",
        (AllergenList::Ca, DateKind::BestBefore) => "Best before / Meilleur avant",
        (AllergenList::Eu | AllergenList::Us, DateKind::UseBy) => "Use by",
        (AllergenList::Ca, DateKind::UseBy) => return Err(DateRefused::NoUseBy),
        (AllergenList::Eu | AllergenList::Us, DateKind::Packed) => "Packed on",
        (AllergenList::Ca, DateKind::Packed) => "Packaged on / Empaqueté le",
        (AllergenList::Eu | AllergenList::Us, DateKind::Made) => "Made on",
        (AllergenList::Ca, DateKind::Made) => "Made on / Fabriqué le",
    })
}

fn written(law: AllergenList, day: NaiveDate) -> String {
    // A month is 1 to 12.
    let month = day.month0() as usize;
    let (year, day) = (day.year(), day.day());
    match law {
        AllergenList::Eu => format!("{day} {} {year}", MONTHS[month]),
        AllergenList::Us => format!("{} {day}, {year}", MONTHS[month]),
        AllergenList::Ca => format!("{year} {} {day:02}", CANADIAN_MONTHS[month]),
    }
}
