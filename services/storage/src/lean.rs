//! Days and moments as a database has them, read without a parser of dates: a server that starts reads millions.

use chrono::{NaiveDate, NaiveDateTime, NaiveTime};
use diesel::deserialize::{self, FromSql, FromSqlRow};
use diesel::pg::{Pg, PgValue};
use diesel::sql_types::{Date, Timestamp};
use diesel::sqlite::{Sqlite, SqliteValue};

/// A day.
#[derive(Clone, Copy, Debug, PartialEq, Eq, FromSqlRow)]
pub(crate) struct Day(pub NaiveDate);

/// A moment, UTC.
#[derive(Clone, Copy, Debug, PartialEq, Eq, FromSqlRow)]
pub(crate) struct Moment(pub NaiveDateTime);

impl FromSql<Date, Pg> for Day {
    fn from_sql(value: PgValue<'_>) -> deserialize::Result<Self> {
        <NaiveDate as FromSql<Date, Pg>>::from_sql(value).map(Self)
    }
}

impl FromSql<Timestamp, Pg> for Moment {
    fn from_sql(value: PgValue<'_>) -> deserialize::Result<Self> {
        <NaiveDateTime as FromSql<Timestamp, Pg>>::from_sql(value).map(Self)
    }
}

impl FromSql<Date, Sqlite> for Day {
    fn from_sql(mut value: SqliteValue<'_, '_, '_>) -> deserialize::Result<Self> {
        match day(value.read_text().as_bytes()) {
            Some(day) => Ok(Self(day)),
            None => <NaiveDate as FromSql<Date, Sqlite>>::from_sql(value).map(Self),
        }
    }
}

impl FromSql<Timestamp, Sqlite> for Moment {
    fn from_sql(mut value: SqliteValue<'_, '_, '_>) -> deserialize::Result<Self> {
        match moment(value.read_text().as_bytes()) {
            Some(moment) => Ok(Self(moment)),
            None => <NaiveDateTime as FromSql<Timestamp, Sqlite>>::from_sql(value).map(Self),
        }
    }
}

/// `2026-11-25`, and nothing else.
fn day(text: &[u8]) -> Option<NaiveDate> {
    let [year @ .., b'-', m1, m2, b'-', d1, d2] = text else { return None };
    if year.len() != 4 {
        return None;
    }
    NaiveDate::from_ymd_opt(i32::try_from(number(year)?).ok()?, number(&[*m1, *m2])?, number(&[*d1, *d2])?)
}

/// `2026-11-25 09:30:00`, with up to six places more after a point, and nothing else.
fn moment(text: &[u8]) -> Option<NaiveDateTime> {
    let (date, rest) = text.split_at_checked(10)?;
    let [b' ', h1, h2, b':', m1, m2, b':', s1, s2, rest @ ..] = rest else { return None };
    let micros = match rest {
        [] => 0,
        [b'.', places @ ..] if (1..=6).contains(&places.len()) => {
            places.iter().try_fold(0, |sum, place| Some(sum * 10 + number(&[*place])?))?
                * 10_u32.pow(6 - u32::try_from(places.len()).ok()?)
        }
        _ => return None,
    };
    let time = NaiveTime::from_hms_micro_opt(number(&[*h1, *h2])?, number(&[*m1, *m2])?, number(&[*s1, *s2])?, micros)?;
    Some(day(date)?.and_time(time))
}

fn number(digits: &[u8]) -> Option<u32> {
    digits.iter().try_fold(0, |sum, digit| digit.is_ascii_digit().then(|| sum * 10 + u32::from(digit - b'0')))
}

#[cfg(test)]
mod tests {
    use chrono::{NaiveDate, NaiveDateTime};

    use super::{day, moment};

    #[test]
    fn days_and_moments_are_read_as_chrono_reads_them() {
        for text in ["2026-11-25", "2024-02-29", "2023-02-29", "2026-1-1", "26-11-25", "2026-11-2x", "", "2026-11-25 "]
        {
            let expected = NaiveDate::parse_from_str(text, "%Y-%m-%d").ok().filter(|_| text.len() == 10);
            assert_eq!(day(text.as_bytes()), expected, "{text:?}");
        }
        let moments = [
            "2026-11-25 09:30:00",
            "2026-11-25 09:30:59.5",
            "2026-11-25 23:59:59.999999",
            "2026-11-25 00:00:00.000001",
            "2026-11-25 24:00:00",
            "2026-11-25 09:30",
            "2026-11-25 09:30:00.",
            "2026-11-25 09:30:00.1234567",
            "2026-11-25",
        ];
        for text in moments {
            let expected = NaiveDateTime::parse_from_str(text, "%Y-%m-%d %H:%M:%S%.f").ok();
            // A dot without places, and more than six of them, are left to chrono.
            let expected = expected.filter(|_| !text.ends_with('.') && text.len() <= 26);
            assert_eq!(moment(text.as_bytes()), expected, "{text:?}");
        }
    }
}
