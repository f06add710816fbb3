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
    let (digits, unit) = if mg >= 1_000_000 { (6, "kg") } else { (3, "g") };
    format!("{}{}\u{a0}{unit}", sign(grams.mg()), decimal(texts, mg, digits))
}

/// A weight in grams: whole from ten grams on, below that to the milligram.
pub fn in_grams(texts: &Texts, grams: Grams) -> String {
    share(texts, grams.mg() * 1000)
}

/// What is in a lot of others, given in micrograms, as [`in_grams`] has it.
pub fn share(texts: &Texts, ug: i64) -> String {
    let (sign, ug) = (sign(ug), ug.unsigned_abs());
    if ug >= 10_000_000 {
        return format!("{sign}{} g", in_thousands((ug + 500_000) / 1_000_000));
    }
    format!("{sign}{} g", decimal(texts, (ug + 500) / 1000, 3))
}

/// A weight in grams, to the milligram.
pub fn exact(texts: &Texts, grams: Grams) -> String {
    format!("{}{} g", sign(grams.mg()), decimal(texts, grams.mg().unsigned_abs(), 3))
}

/// Grams in whole micrograms.
#[expect(clippy::cast_possible_truncation, reason = "micrograms of a house are far below 2^63")]
pub fn micrograms(grams: f64) -> i64 {
    (grams * 1_000_000.0).round() as i64
}

/// A number with a narrow space between its thousands.
pub fn in_thousands(number: impl std::fmt::Display) -> String {
    let digits = number.to_string();
    let mut text = String::new();
    for (at, digit) in digits.chars().enumerate() {
        if at > 0 && (digits.len() - at).is_multiple_of(3) {
            text.push('\u{202f}');
        }
        text.push(digit);
    }
    text
}

const fn sign(number: i64) -> &'static str {
    if number < 0 { "-" } else { "" }
}

/// A number of which so many digits stand behind the point, as far as they say anything.
fn decimal(texts: &Texts, number: u64, digits: u32) -> String {
    let (whole, rest) = (number / 10_u64.pow(digits), number % 10_u64.pow(digits));
    if rest == 0 {
        return whole.to_string();
    }
    let rest = format!("{rest:0width$}", width = digits as usize);
    format!("{whole}{}{}", texts.say("point"), rest.trim_end_matches('0'))
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
    if texts.say("point") == "." && may_be_thousands(&typed) { typed } else { typed.replace(',', ".") }
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

    use super::{Texts, Wall, exact, in_grams, may_be_thousands, number, share, weight};

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

    #[test]
    fn grams_are_told_as_the_trade_writes_them() {
        let (en, fr) = (&Texts::all()[0], &Texts::all()[1]);
        for (ug, english, french) in [
            (1_840_400_000, "1\u{202f}840 g", "1\u{202f}840 g"),
            (12_345_678_500_000, "12\u{202f}345\u{202f}679 g", "12\u{202f}345\u{202f}679 g"),
            (9_090_909, "9.091 g", "9,091 g"),
            (500_000, "0.5 g", "0,5 g"),
            (-20_000_000, "-20 g", "-20 g"),
            (0, "0 g", "0 g"),
        ] {
            assert_eq!((share(en, ug), share(fr, ug)), (english.into(), french.into()));
        }
        let grams = Grams::from_mg(1_250_500);
        assert_eq!((in_grams(en, grams), in_grams(fr, grams)), ("1\u{202f}251 g".into(), "1\u{202f}251 g".into()));
        assert_eq!((exact(en, grams), exact(fr, grams)), ("1250.5 g".into(), "1250,5 g".into()));
        assert_eq!(exact(fr, Grams::from_mg(-20)), "-0,02 g");
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
