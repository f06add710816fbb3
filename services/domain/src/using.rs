//! Whether a lot may go into a batch.

use chrono::{NaiveDate, NaiveDateTime};

/// How a lot stands where the batch is made.
#[derive(Clone, Copy, Debug)]
pub struct Standing {
    /// A recall keeps it, since this moment, UTC.
    pub recalled: Option<NaiveDateTime>,
    /// A hold on it has not been released; since when, UTC.
    pub held: Option<NaiveDateTime>,
    /// It was turned away after all.
    pub rejected: bool,
    /// Where it lies.
    pub lies: Lies,
    /// Since when there was any of it on the shelf here, UTC.
    pub here_since: NaiveDateTime,
    /// The last day it may be used.
    pub expires_on: Option<NaiveDate>,
    /// From when it may be used, UTC.
    pub mature_at: Option<NaiveDateTime>,
}

/// Where a lot lies, seen from the site of the batch.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Lies {
    /// On the shelf here, so many milligrams; nothing where it lies nowhere any more.
    Here(i64),
    /// Here, but as an open tub in the case.
    OpenHere,
    /// At other sites, or on its way to one.
    Elsewhere,
}

/// What is wanted of a lot.
#[derive(Clone, Copy, Debug)]
pub struct Wanted {
    /// How much, in milligrams.
    pub mass_mg: i64,
    /// When it is, or was, used, UTC.
    pub used_at: NaiveDateTime,
    /// The day that was, at the site of the batch.
    pub day: NaiveDate,
    /// When the batch was completed, if it was, UTC. When it began says nothing: ingredients are weighed out beforehand.
    pub completed_at: Option<NaiveDateTime>,
    /// Someone who may say so says that it be used before it is mature.
    pub before_mature: bool,
    /// It is said why this is written down all the same.
    pub with_reason: bool,
}

/// Why a lot may not go into a batch.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Unfit {
    /// It is recalled.
    Recalled,
    /// It is on hold.
    OnHold,
    /// It was turned away.
    Rejected,
    /// Nothing of it lies here.
    Elsewhere,
    /// It is an open tub: what stood in the case goes into nothing else.
    Open,
    /// The batch was completed before.
    Completed(NaiveDateTime),
    /// It was not here yet.
    NotThereYet(NaiveDateTime),
    /// It was past its last day.
    Expired(NaiveDate),
    /// It had not matured yet.
    NotMature(NaiveDateTime),
    /// There is only so much, in milligrams.
    NotEnough(i64),
}

/// Judges a use. The first that speaks against it is named, in the order of [`Unfit`]: what forbids the lot outright comes
/// before where it is, that before its dates, and those before how much there is.
///
/// What truly happened before the recall or the hold is written down late, with a reason: only so does it join them.
pub fn may_be_used(lot: &Standing, wanted: &Wanted) -> Result<(), Unfit> {
    let forbids = |since: NaiveDateTime| !(wanted.with_reason && wanted.used_at < since);
    if lot.recalled.is_some_and(forbids) {
        return Err(Unfit::Recalled);
    }
    if lot.held.is_some_and(forbids) {
        return Err(Unfit::OnHold);
    }
    if lot.rejected {
        return Err(Unfit::Rejected);
    }
    let here_mg = match lot.lies {
        Lies::Here(mg) => mg,
        Lies::OpenHere => return Err(Unfit::Open),
        Lies::Elsewhere => return Err(Unfit::Elsewhere),
    };
    if let Some(at) = wanted.completed_at.filter(|at| wanted.used_at > *at) {
        return Err(Unfit::Completed(at));
    }
    if wanted.used_at < lot.here_since {
        return Err(Unfit::NotThereYet(lot.here_since));
    }
    if let Some(last) = lot.expires_on.filter(|last| *last < wanted.day) {
        return Err(Unfit::Expired(last));
    }
    if let Some(at) = lot.mature_at.filter(|at| wanted.used_at < *at && !wanted.before_mature) {
        return Err(Unfit::NotMature(at));
    }
    if here_mg < wanted.mass_mg { Err(Unfit::NotEnough(here_mg)) } else { Ok(()) }
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

    /// A base made on the 2nd at 18:00 that rests for 12 hours and is good until the 5th; 1 kg of it is here.
    fn base() -> Standing {
        Standing {
            recalled: None,
            held: None,
            rejected: false,
            lies: Lies::Here(1_000_000),
            here_since: at(2, 18),
            expires_on: Some(on(5)),
            mature_at: Some(at(3, 6)),
        }
    }

    fn wanted() -> Wanted {
        Wanted {
            mass_mg: 1_000_000,
            used_at: at(3, 6),
            day: on(3),
            completed_at: None,
            before_mature: false,
            with_reason: false,
        }
    }

    #[test]
    fn the_limits_themselves_are_allowed() {
        assert_eq!(may_be_used(&base(), &wanted()), Ok(()), "the last gram, at the very hour it is mature");
        let last_day = Wanted { used_at: at(5, 23), day: on(5), ..wanted() };
        assert_eq!(may_be_used(&base(), &last_day), Ok(()));
        let young = Wanted { used_at: at(2, 18), day: on(2), before_mature: true, ..wanted() };
        assert_eq!(may_be_used(&base(), &young), Ok(()), "at the very hour it was made, by someone who may");
        let late = Wanted { completed_at: Some(at(3, 6)), ..wanted() };
        assert_eq!(may_be_used(&base(), &late), Ok(()), "at the very hour the batch was completed");
    }

    #[test]
    fn each_limit_is_refused_one_step_further() {
        let base = base();
        let refused = |wanted: Wanted| may_be_used(&base, &wanted).expect_err("one step too far");
        assert_eq!(refused(Wanted { mass_mg: 1_000_001, ..wanted() }), Unfit::NotEnough(1_000_000));
        assert_eq!(refused(Wanted { used_at: at(3, 5), ..wanted() }), Unfit::NotMature(at(3, 6)));
        assert_eq!(refused(Wanted { used_at: at(6, 0), day: on(6), ..wanted() }), Unfit::Expired(on(5)));
        let after_it_was_done = Wanted { completed_at: Some(at(3, 5)), ..wanted() };
        assert_eq!(refused(after_it_was_done), Unfit::Completed(at(3, 5)));
        let before_it_was = Wanted { used_at: at(2, 17), day: on(2), before_mature: true, ..wanted() };
        assert_eq!(refused(before_it_was), Unfit::NotThereYet(at(2, 18)));
    }

    #[test]
    fn what_happened_before_a_hold_is_written_down_late_with_a_reason() {
        let late = Wanted { with_reason: true, ..wanted() };
        for (recalled, held, unfit) in [
            (Some(at(3, 7)), None, Unfit::Recalled),
            (None, Some(at(3, 7)), Unfit::OnHold),
            (Some(at(3, 7)), Some(at(3, 7)), Unfit::Recalled),
        ] {
            let lot = Standing { recalled, held, ..base() };
            assert_eq!(may_be_used(&lot, &late), Ok(()), "an hour before");
            assert_eq!(may_be_used(&lot, &wanted()), Err(unfit), "without a reason");
            let since = Wanted { used_at: at(3, 7), ..late };
            assert_eq!(may_be_used(&lot, &since), Err(unfit), "at that very hour");
        }
    }

    #[test]
    fn everything_wrong_at_once_is_named_in_order() {
        let mut lot = Standing {
            recalled: Some(at(1, 0)),
            held: Some(at(1, 0)),
            rejected: true,
            lies: Lies::Elsewhere,
            here_since: at(2, 18),
            expires_on: Some(on(1)),
            mature_at: Some(at(9, 0)),
        };
        let mut wanted = Wanted {
            mass_mg: 2,
            used_at: at(2, 0),
            day: on(2),
            completed_at: Some(at(1, 0)),
            before_mature: false,
            with_reason: true,
        };
        assert_eq!(may_be_used(&lot, &wanted), Err(Unfit::Recalled));
        lot.recalled = None;
        assert_eq!(may_be_used(&lot, &wanted), Err(Unfit::OnHold));
        lot.held = None;
        assert_eq!(may_be_used(&lot, &wanted), Err(Unfit::Rejected));
        lot.rejected = false;
        assert_eq!(may_be_used(&lot, &wanted), Err(Unfit::Elsewhere));
        lot.lies = Lies::OpenHere;
        assert_eq!(may_be_used(&lot, &wanted), Err(Unfit::Open));
        lot.lies = Lies::Here(1);
        assert_eq!(may_be_used(&lot, &wanted), Err(Unfit::Completed(at(1, 0))));
        wanted.completed_at = None;
        assert_eq!(may_be_used(&lot, &wanted), Err(Unfit::NotThereYet(at(2, 18))));
        wanted.used_at = at(2, 18);
        assert_eq!(may_be_used(&lot, &wanted), Err(Unfit::Expired(on(1))));
        lot.expires_on = None;
        assert_eq!(may_be_used(&lot, &wanted), Err(Unfit::NotMature(at(9, 0))));
        wanted.before_mature = true;
        assert_eq!(may_be_used(&lot, &wanted), Err(Unfit::NotEnough(1)));
        lot.lies = Lies::Here(2);
        assert_eq!(may_be_used(&lot, &wanted), Ok(()));
    }
}
