//! Times and weights as people read them.

use chrono::{DateTime, NaiveDate, Utc};
use chrono_tz::Tz;
use tubtrail_operations::Grams;
use tubtrail_operations::sites::Site;

use super::texts::Texts;

/// The clock on the wall of a site.
#[derive(Clone, Copy, Debug)]
pub struct Wall(Tz);

impl Wall {
    /// Where no site is meant: the world's.
    pub const fn of_the_world() -> Self {
        Self(Tz::UTC)
    }

    /// Of a site.
    pub fn of(site: &Site) -> Self {
        Self(site.time_zone.parse().unwrap_or(Tz::UTC))
    }

    /// The time zone it shows.
    pub const fn zone(self) -> Tz {
        self.0
    }

    /// Hours and minutes.
    pub fn time(self, at: DateTime<Utc>) -> String {
        at.with_timezone(&self.0).format("%H:%M").to_string()
    }

    /// The day too.
    pub fn day_and_time(self, at: DateTime<Utc>) -> String {
        at.with_timezone(&self.0).format("%Y-%m-%d %H:%M").to_string()
    }

    /// The day it is there.
    pub fn day(self, at: DateTime<Utc>) -> NaiveDate {
        at.with_timezone(&self.0).date_naive()
    }

    /// Today at a time that somebody typed, as in 14:30, or the last time it was that late.
    pub fn last(self, typed: &str, now: DateTime<Utc>) -> Option<DateTime<Utc>> {
        let time = chrono::NaiveTime::parse_from_str(typed.trim(), "%H:%M").ok()?;
        let today = self.day(now);
        let at = |day: NaiveDate| Some(day.and_time(time).and_local_timezone(self.0).earliest()?.to_utc());
        at(today).filter(|at| *at <= now).or_else(|| at(today.pred_opt()?))
    }
}

/// A weight: in kilograms from one on, else in grams, to the last milligram that there is.
pub fn weight(texts: &Texts, grams: Grams) -> String {
    let mg = grams.mg().unsigned_abs();
    let (whole, rest, digits, unit) =
        if mg >= 1_000_000 { (mg / 1_000_000, mg % 1_000_000, 6, "kg") } else { (mg / 1_000, mg % 1_000, 3, "g") };
    let rest = format!("{rest:0digits$}");
    let rest = rest.trim_end_matches('0');
    let sign = if grams.mg() < 0 { "-" } else { "" };
    let point = if rest.is_empty() { "" } else { point(texts) };
    format!("{sign}{whole}{point}{rest}\u{a0}{unit}")
}

/// What stands before the tenths.
pub fn point(texts: &Texts) -> &'static str {
    if texts.tag == "fr" { "," } else { "." }
}

/// A weight in grams as it is typed: `1250.5`.
pub fn typed_grams(grams: Grams) -> String {
    let text = format!("{}.{:03}", grams.mg() / 1000, grams.mg() % 1000);
    text.trim_end_matches('0').trim_end_matches('.').to_owned()
}

/// A number as people type it: with a comma before the tenths, with the gaps that we print between thousands, with a minus as
/// it is printed. What may be meant for thousands in this language stays as it was typed, and is refused as no number.
pub fn number(texts: &Texts, typed: &str) -> String {
    let typed = without_gaps(typed.trim()).replace('\u{2212}', "-");
    if point(texts) == "." && may_be_thousands(&typed) { typed } else { typed.replace(',', ".") }
}

/// Whether a comma stands where some write one between thousands: `1,250` is 1250 to one reader and 1.25 to another.
pub fn may_be_thousands(typed: &str) -> bool {
    let is_whole = |part: &str| part.bytes().all(|one| one.is_ascii_digit());
    typed.split_once(',').is_some_and(|(whole, rest)| {
        !whole.is_empty() && !whole.starts_with('0') && is_whole(whole) && rest.len() == 3 && is_whole(rest)
    })
}

/// Closes the gaps between thousands: three digits follow each of them.
fn without_gaps(typed: &str) -> String {
    let mut parts = typed.split(char::is_whitespace);
    let is_group = |part: &str| {
        let digits = part.bytes().take_while(u8::is_ascii_digit).count();
        digits == 3 && matches!(part.as_bytes().get(3), None | Some(b'.' | b','))
    };
    let begins = parts.next().is_some_and(|part| part.ends_with(|one: char| one.is_ascii_digit()));
    if begins && parts.all(is_group) { typed.split(char::is_whitespace).collect() } else { typed.to_owned() }
}

#[cfg(test)]
mod tests {
    use chrono::{TimeZone as _, Utc};
    use chrono_tz::Tz;
    use tubtrail_operations::Grams;

    use super::{Texts, Wall, may_be_thousands, number, weight};

    #[test]
    fn weights_are_written_as_the_trade_writes_them() {
        let (en, fr) = (&Texts::all()[0], &Texts::all()[1]);
        for (mg, english, french) in [
            (4_750_000, "4.75\u{a0}kg", "4,75\u{a0}kg"),
            (41_280_000, "41.28\u{a0}kg", "41,28\u{a0}kg"),
            (750_000, "750\u{a0}g", "750\u{a0}g"),
            (1_500, "1.5\u{a0}g", "1,5\u{a0}g"),
            (-250_000, "-250\u{a0}g", "-250\u{a0}g"),
            (2_000_000, "2\u{a0}kg", "2\u{a0}kg"),
        ] {
            assert_eq!(
                (weight(en, Grams::from_mg(mg)), weight(fr, Grams::from_mg(mg))),
                (english.into(), french.into())
            );
        }
    }

    /// An English 1,250 may be meant for 1250, and is left to be refused; in French it is one and a quarter.
    #[test]
    fn numbers_are_read_as_people_type_them() {
        let (en, fr) = (&Texts::all()[0], &Texts::all()[1]);
        for (typed, english, french) in [
            (" 4,2 ", "4.2", "4.2"),
            ("\u{2212}18", "-18", "-18"),
            ("0,125", "0.125", "0.125"),
            ("1,250", "1,250", "1.250"),
            ("1 760", "1760", "1760"),
            ("1\u{202f}250\u{202f}000,5", "1250000.5", "1250000.5"),
            ("12 5", "12 5", "12 5"),
            ("1 2345", "1 2345", "1 2345"),
            ("many", "many", "many"),
        ] {
            assert_eq!((number(en, typed), number(fr, typed)), (english.into(), french.into()), "{typed}");
        }
        assert!(may_be_thousands("12,000") && !may_be_thousands("12,00") && !may_be_thousands("12.000"));
    }

    /// Lisbon is at UTC in winter.
    #[test]
    fn a_time_that_is_not_yet_was_yesterday() {
        let wall = Wall(Tz::Europe__Lisbon);
        let now = Utc.with_ymd_and_hms(2026, 11, 26, 9, 0, 0).single().expect("a moment");
        let at = |typed| wall.last(typed, now).map(|at| wall.day_and_time(at));
        assert_eq!(at("08:30").as_deref(), Some("2026-11-26 08:30"));
        assert_eq!(at("21:00").as_deref(), Some("2026-11-25 21:00"));
        assert_eq!(at("soon"), None);
    }
}
