//! Which lots to take for a recipe, and how much of each: what expires first goes first.

use chrono::{NaiveDate, NaiveDateTime};

use crate::quantity::{Mass, QuantityError, divide_half_to_even};

/// A lot on the shelf, neither on hold nor rejected.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Candidate {
    /// Its row id; of two that came to be at the same time the lower is the older.
    pub lot: i64,
    /// How much of it there is.
    pub on_hand: Mass,
    /// Its last day.
    pub expires_on: Option<NaiveDate>,
    /// From when it may be used, UTC.
    pub mature_at: Option<NaiveDateTime>,
    /// When it was received or made, UTC.
    pub came_to_be_at: NaiveDateTime,
}

impl Candidate {
    /// Whether it may be used now: not past its last day, and rested.
    fn is_usable(&self, today: NaiveDate, now: NaiveDateTime) -> bool {
        self.expires_on.is_none_or(|last| last >= today) && self.mature_at.is_none_or(|from| from <= now)
    }

    /// First what expires first, what carries no date last; then the older.
    fn turn(&self) -> (bool, Option<NaiveDate>, NaiveDateTime, i64) {
        (self.expires_on.is_none(), self.expires_on, self.came_to_be_at, self.lot)
    }
}

/// What to take.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Choice {
    /// Lots by row id and how much of each, in the order to take them.
    pub takes: Vec<(i64, Mass)>,
    /// What is missing.
    pub short: Mass,
}

/// Chooses lots until what is wanted is together. `today` is the day at the site, `now` is UTC.
pub fn choose(wanted: Mass, candidates: &[Candidate], today: NaiveDate, now: NaiveDateTime) -> Choice {
    let mut usable: Vec<_> = candidates.iter().filter(|candidate| candidate.is_usable(today, now)).collect();
    usable.sort_by_key(|candidate| candidate.turn());
    let mut choice = Choice { takes: Vec::new(), short: wanted };
    for candidate in usable {
        let take = candidate.on_hand.min(choice.short);
        if take.is_zero() {
            continue;
        }
        choice.takes.push((candidate.lot, take));
        choice.short = choice.short.checked_sub(take).unwrap_or(Mass::ZERO);
    }
    choice
}

/// A line of a recipe that yields `of`, for a yield of `wanted`: to the nearest milligram, half to even.
///
/// Refuses what comes to more than [`Mass::MAX`], and a recipe that yields nothing.
pub fn scale(line: Mass, wanted: Mass, of: Mass) -> Result<Mass, QuantityError> {
    if of.is_zero() {
        return Err(QuantityError::Zero);
    }
    let product = i128::from(line.mg()) * i128::from(wanted.mg());
    let mg = divide_half_to_even(product, i128::from(of.mg()));
    Mass::from_mg(i64::try_from(mg).map_err(|_| QuantityError::TooLarge)?)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn on(day: u32) -> NaiveDate {
        NaiveDate::from_ymd_opt(2026, 11, day).expect("a day of November")
    }

    fn at(day: u32, hour: u32) -> NaiveDateTime {
        on(day).and_hms_opt(hour, 0, 0).expect("an hour")
    }

    fn grams(grams: i64) -> Mass {
        Mass::from_grams(grams).expect("a mass")
    }

    /// Received on the first; named by its row id.
    fn lot(lot: i64, mass: i64, expires_on: Option<u32>) -> Candidate {
        Candidate {
            lot,
            on_hand: grams(mass),
            expires_on: expires_on.map(on),
            mature_at: None,
            came_to_be_at: at(1, 6),
        }
    }

    fn chosen(wanted: i64, candidates: &[Candidate]) -> (Vec<(i64, i64)>, i64) {
        let choice = choose(grams(wanted), candidates, on(10), at(10, 12));
        (choice.takes.iter().map(|(lot, mass)| (*lot, mass.mg() / 1000)).collect(), choice.short.mg() / 1000)
    }

    #[test]
    fn what_expires_first_goes_first_and_is_followed_by_the_next() {
        let shelf = [lot(1, 500, None), lot(2, 400, Some(20)), lot(3, 300, Some(12))];
        assert_eq!(chosen(600, &shelf), (vec![(3, 300), (2, 300)], 0));
        assert_eq!(chosen(1000, &shelf), (vec![(3, 300), (2, 400), (1, 300)], 0), "without a date comes last");
        assert_eq!(chosen(300, &shelf), (vec![(3, 300)], 0), "no empty take of the next");
    }

    #[test]
    fn of_the_same_date_the_older_goes_first() {
        let newer = Candidate { came_to_be_at: at(2, 6), ..lot(1, 100, Some(20)) };
        assert_eq!(chosen(150, &[newer, lot(2, 100, Some(20))]), (vec![(2, 100), (1, 50)], 0));
        assert_eq!(chosen(150, &[lot(5, 100, None), lot(4, 100, None)]), (vec![(4, 100), (5, 50)], 0));
    }

    #[test]
    fn what_is_missing_is_said() {
        assert_eq!(chosen(900, &[lot(1, 500, Some(20))]), (vec![(1, 500)], 400));
        assert_eq!(chosen(900, &[]), (vec![], 900));
    }

    #[test]
    fn its_last_day_is_still_a_day_and_the_one_after_is_not() {
        assert_eq!(chosen(100, &[lot(1, 100, Some(10))]), (vec![(1, 100)], 0));
        assert_eq!(chosen(100, &[lot(1, 100, Some(9))]), (vec![], 100));
    }

    #[test]
    fn what_has_not_rested_is_left() {
        let resting = Candidate { mature_at: Some(at(10, 13)), ..lot(1, 100, None) };
        let rested = Candidate { mature_at: Some(at(10, 12)), ..lot(2, 100, None) };
        assert_eq!(chosen(200, &[resting, rested]), (vec![(2, 100)], 100));
    }

    #[test]
    fn scaling_rounds_once_half_to_even() {
        let mg = |mg| Mass::from_mg(mg).expect("a mass");
        assert_eq!(scale(grams(42_000), grams(25_000), grams(50_000)), Ok(grams(21_000)));
        assert_eq!(scale(mg(1), mg(1), mg(2)), Ok(mg(0)));
        assert_eq!(scale(mg(3), mg(1), mg(2)), Ok(mg(2)));
        assert_eq!(scale(grams(1), grams(1), grams(3)), Ok(mg(333)));
        assert_eq!(scale(Mass::MAX, grams(2), grams(1)), Err(QuantityError::TooLarge));
        assert_eq!(scale(Mass::MAX, Mass::MAX, mg(1)), Err(QuantityError::TooLarge));
        assert_eq!(scale(grams(1), grams(1), Mass::ZERO), Err(QuantityError::Zero));
    }
}
