//! Days that requests hold: on a package, at the ends of a search.

use chrono::{Datelike, NaiveDate};
use serde::{Deserialize, Deserializer, de};

/// Reads a day of the years 2000 to 9998: those both backends keep and order alike, and their next day too.
///
/// # Errors
/// If it is no day, or of another year.
pub fn day<'de, D: Deserializer<'de>>(deserializer: D) -> Result<NaiveDate, D::Error> {
    let day = NaiveDate::deserialize(deserializer)?;
    if (2000..=9998).contains(&day.year()) {
        Ok(day)
    } else {
        Err(de::Error::custom("a day lies in the years 2000 to 9998"))
    }
}

/// As [`day`], where there is one.
///
/// # Errors
/// As [`day`].
pub fn optional_day<'de, D: Deserializer<'de>>(deserializer: D) -> Result<Option<NaiveDate>, D::Error> {
    #[derive(Deserialize)]
    struct Read(#[serde(deserialize_with = "day")] NaiveDate);
    Ok(Option::<Read>::deserialize(deserializer)?.map(|read| read.0))
}
