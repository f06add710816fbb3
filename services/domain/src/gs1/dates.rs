//! Days of six digits: which century they are of, and what day 00 means.

use chrono::{Days, Months, NaiveDate};

/// The year two digits stand for, read in `year`: from 49 years back to 50 years ahead.
///
/// The rule of `lint_yymmd0.c` in the GS1 Barcode Syntax Dictionary (GS1 General Specifications 7.12, from memory).
pub fn full_year(two_digits: i32, year: i32) -> i32 {
    let century = year - year.rem_euclid(100);
    let ahead = two_digits - year.rem_euclid(100);
    let century = match ahead {
        51.. => century - 100,
        ..=-50 => century + 100,
        _ => century,
    };
    century + two_digits
}

/// The day of `YYMMDD`, read in `year`; day 00 is the last of its month. `None` where there is no such day.
pub fn day(yymmdd: &str, year: i32) -> Option<NaiveDate> {
    if yymmdd.len() != 6 || !yymmdd.bytes().all(|byte| byte.is_ascii_digit()) {
        return None;
    }
    let pair = |at: usize| yymmdd[at..at + 2].parse::<u32>().ok();
    let (month, day) = (pair(2)?, pair(4)?);
    let year = full_year(i32::try_from(pair(0)?).ok()?, year);
    if day > 0 {
        return NaiveDate::from_ymd_opt(year, month, day);
    }
    let first = NaiveDate::from_ymd_opt(year, month, 1)?;
    first.checked_add_months(Months::new(1))?.checked_sub_days(Days::new(1))
}
