//! Days of six digits.

use chrono::NaiveDate;
use tubtrail_domain::gs1::{day, full_year};

use super::{YEAR, well_formed};

fn date(year: i32, month: u32, day: u32) -> NaiveDate {
    NaiveDate::from_ymd_opt(year, month, day).expect("a day")
}

#[test]
fn two_digits_stand_for_the_nearest_such_year() {
    // The package biip, run in 2026.
    assert_eq!(full_year(77, 2026), 1977);
    assert_eq!(full_year(76, 2026), 2076);
    assert_eq!(full_year(99, 2026), 1999);
    // lint_yymmd0.c: 51 or more above the year's own digits, the century before; 50 or more below, the one after.
    assert_eq!(full_year(51, 2000), 1951);
    assert_eq!(full_year(50, 2000), 2050);
    assert_eq!(full_year(0, 2050), 2100);
    assert_eq!(full_year(1, 2050), 2001);
    assert_eq!(full_year(49, 2099), 2149);
    assert_eq!(full_year(50, 2099), 2050);
}

#[test]
fn day_00_is_the_last_of_its_month() {
    // The package biip, run in 2026.
    assert_eq!(day("270200", YEAR), Some(date(2027, 2, 28)));
    assert_eq!(day("280200", YEAR), Some(date(2028, 2, 29)));
    assert_eq!(day("261200", YEAR), Some(date(2026, 12, 31)));
    assert_eq!(day("261125", YEAR), Some(date(2026, 11, 25)));
}

#[test]
fn leap_days_and_months_as_published() {
    // lint_yymmd0.c, which reads in 2021.
    for there in ["200229", "240229", "000229", "040229", "960229", "200600"] {
        assert!(day(there, 2021).is_some(), "{there}");
    }
    for missing in ["210229", "220229", "230229", "200230", "200010", "201310"] {
        assert_eq!(day(missing, 2021), None, "{missing}");
    }
    for nonsense in ["", "26112", "2611255", "2611a5", "２61125"] {
        assert_eq!(day(nonsense, YEAR), None, "{nonsense}");
    }
}

/// `yymmd0` in 11, 13, 15, 16 and 17; `yymmdd` in 7003, 7006, 7007 and 8008 (GS1 Barcode Syntax Dictionary).
#[test]
fn only_some_identifiers_take_day_00() {
    for number in ["11", "13", "15", "16", "17"] {
        assert!(well_formed(&format!("(01)09520123456788({number})261100")), "{number}");
    }
    for text in ["(7003)2611001200", "(7006)261100", "(7007)261125261100", "(8008)26110012"] {
        assert!(!well_formed(&format!("(01)09520123456788{text}")), "{text}");
    }
}

#[test]
fn times_of_day_as_published() {
    // lint_hhmi.c
    for there in ["0000", "2359"] {
        assert!(well_formed(&format!("(01)09520123456788(7003)261125{there}")), "{there}");
    }
    for missing in ["2400", "0060", "9999"] {
        assert!(!well_formed(&format!("(01)09520123456788(7003)261125{missing}")), "{missing}");
    }
}
