//! What an element string says of goods that come in: which article, which lot, how long it keeps, how much of it.

use chrono::NaiveDate;

use super::dates;
use super::element_string::{Element, ElementString};
use super::gtin::{Gln, Gtin, Sscc};
use crate::quantity::Unit;

/// What the last day of goods means.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum LastDay {
    /// Quality: identifier 15.
    BestBefore(NaiveDate),
    /// Safety of use: identifier 17, or 7003 whose time of day is left out.
    UseBy(NaiveDate),
}

/// So much in a unit.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Measure {
    /// As the code says it, with its decimals.
    pub amount: String,
    /// In which unit.
    pub unit: Unit,
}

/// What an element string says of goods.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Goods {
    /// Which article: the one itself (01, 03), or the one inside (02).
    pub article: Option<Gtin>,
    /// Its lot (10), as its maker writes it.
    pub lot: Option<String>,
    /// How long it keeps; where a use-by and a best-before day are given, the use-by day.
    pub last_day: Option<LastDay>,
    /// How much it weighs or measures, net; in kilograms first, for that is surest.
    pub measures: Vec<Measure>,
    /// How many single items it holds (30).
    pub items: Option<u32>,
    /// How many of the article are inside (37).
    pub articles: Option<u32>,
    /// The pallet it stands on, or that is asked for by itself.
    pub pallet: Option<Sscc>,
    /// The place it names.
    pub place: Option<Gln>,
}

/// Identifiers of net measures that a kitchen can use, the surest first.
const MEASURES: [(&str, Unit); 4] =
    [("310n", Unit::Kilogram), ("320n", Unit::Pound), ("315n", Unit::Litre), ("361n", Unit::UsGallon)];

/// Identifiers of places, the one that names a place and nothing else first.
const PLACES: [&str; 8] = ["414", "410", "411", "412", "413", "415", "416", "417"];

impl Goods {
    /// What an element string says; its days are read in `year`.
    pub fn of(says: &ElementString, year: i32) -> Self {
        let article = ["01", "03", "02"].iter().find_map(|number| says.value(number));
        let place = PLACES.iter().find_map(|number| says.value(number));
        Self {
            // The values fit their identifiers, so their numbers are sound.
            article: article.and_then(|digits| digits.parse().ok()),
            lot: says.value("10").map(str::to_owned),
            last_day: last_day(says, year),
            measures: MEASURES.iter().filter_map(|(pattern, unit)| measure(says.element(pattern)?, *unit)).collect(),
            items: count(says, "30"),
            articles: count(says, "37"),
            pallet: says.value("00").and_then(|digits| digits.parse().ok()),
            place: place.and_then(|digits| digits.parse().ok()),
        }
    }
}

/// Up to eight digits. None at all is said by none.
fn count(says: &ElementString, number: &str) -> Option<u32> {
    says.value(number).and_then(|count| count.parse().ok()).filter(|count| *count > 0)
}

fn measure(element: &Element, unit: Unit) -> Option<Measure> {
    let amount = element.decimal();
    // Weighed as nothing is not weighed.
    amount.bytes().any(|byte| (b'1'..=b'9').contains(&byte)).then_some(Measure { amount, unit })
}

fn last_day(says: &ElementString, year: i32) -> Option<LastDay> {
    let day = |number: &str| dates::day(says.value(number)?.get(..6)?, year);
    let use_by = day("17").into_iter().chain(day("7003")).min();
    use_by.map(LastDay::UseBy).or_else(|| day("15").map(LastDay::BestBefore))
}
