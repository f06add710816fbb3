//! Which lot may be opened, served, moved on or handed over, and how what arrived is squared with what was sent.

use chrono::NaiveDate;

/// What someone wants to do with a lot at a site.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Act {
    /// Open a tub.
    Open,
    /// Serve from an open tub.
    Serve,
    /// Say that an open tub is empty: what the book still holds of it was served.
    Empty,
    /// Send it to another site. It may be past its date: where to else would it go to be thrown away.
    Dispatch,
    /// Hand it to a customer.
    Consign,
}

impl Act {
    const fn needs_a_tub(self) -> bool {
        matches!(self, Self::Open | Self::Serve | Self::Empty)
    }

    const fn needs_it_open(self) -> bool {
        matches!(self, Self::Serve | Self::Empty)
    }

    const fn needs_it_in_date(self) -> bool {
        matches!(self, Self::Open | Self::Serve | Self::Consign)
    }
}

/// A lot as it stands at a site, in all that decides what may be done with it there. Masses in milligrams.
#[derive(Clone, Copy, Debug)]
pub struct Standing<'a> {
    /// It is one container of a flavour.
    pub is_tub: bool,
    /// A recall keeps it.
    pub recalled: bool,
    /// Why it was turned away, if it was.
    pub rejected: Option<&'a str>,
    /// Why it is on hold, if it is.
    pub hold: Option<&'a str>,
    /// The last day it may be used.
    pub expires_on: Option<NaiveDate>,
    /// On the shelf here.
    pub available_mg: i64,
    /// In the case here.
    pub open_mg: i64,
    /// At other sites, or on the way.
    pub elsewhere_mg: i64,
}

/// Why it may not be done.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Refusal<'a> {
    /// Only a tub can be opened, served from, emptied.
    NotATub,
    /// It is recalled. Before anything else that speaks against it, for this is what must be said to customers.
    Recalled,
    /// It was turned away, and why.
    Rejected(&'a str),
    /// It is on hold, and why.
    OnHold(&'a str),
    /// Its last day has passed.
    Expired(NaiveDate),
    /// The tub is already open; an open one is not moved either.
    AlreadyOpen,
    /// The tub stands here, but closed.
    NotOpen,
    /// It is at another site, or on the way.
    Elsewhere,
    /// Nothing is left of it anywhere.
    NothingLeft,
}

/// Whether it may be done, on a day. Of several reasons against it the first counts, in the order of [`Refusal`].
pub fn may<'a>(act: Act, lot: &Standing<'a>, today: NaiveDate) -> Result<(), Refusal<'a>> {
    if act.needs_a_tub() && !lot.is_tub {
        return Err(Refusal::NotATub);
    }
    if lot.recalled {
        return Err(Refusal::Recalled);
    }
    if let Some(why) = lot.rejected {
        return Err(Refusal::Rejected(why));
    }
    if let Some(why) = lot.hold {
        return Err(Refusal::OnHold(why));
    }
    if let Some(date) = lot.expires_on.filter(|date| act.needs_it_in_date() && *date < today) {
        return Err(Refusal::Expired(date));
    }
    match (act.needs_it_open(), lot.available_mg > 0, lot.open_mg > 0) {
        // A tub of which a count found a part open and a part closed is open.
        (false, _, true) if act == Act::Open => Err(Refusal::AlreadyOpen),
        (true, _, true) | (false, true, _) => Ok(()),
        (true, true, false) => Err(Refusal::NotOpen),
        (false, false, true) => Err(Refusal::AlreadyOpen),
        (_, false, false) if lot.elsewhere_mg > 0 => Err(Refusal::Elsewhere),
        (_, false, false) => Err(Refusal::NothingLeft),
    }
}

/// Why a part of what is there cannot be taken. Milligrams.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum PartRefusal {
    /// There is less than is wanted.
    NotEnough,
    /// It goes as a whole or not at all.
    OnlyWhole,
}

/// How much is taken of what is there: all, unless less is wanted and it may be parted.
pub const fn take(there_mg: i64, wanted_mg: Option<i64>, only_whole: bool) -> Result<i64, PartRefusal> {
    match wanted_mg {
        None => Ok(there_mg),
        Some(wanted) if wanted > there_mg => Err(PartRefusal::NotEnough),
        Some(wanted) if only_whole && wanted != there_mg => Err(PartRefusal::OnlyWhole),
        Some(wanted) => Ok(wanted),
    }
}

/// A tub where someone found it, beside what the book says of it. Milligrams.
#[derive(Clone, Copy, Debug)]
pub struct TubFound {
    /// Found there.
    pub found_mg: i64,
    /// What was to be expected there.
    pub expected_mg: i64,
    /// What the book has of it anywhere else in the house.
    pub elsewhere_mg: i64,
    /// What it may hold beyond that: what was missed of it, and of an open one what was served, for scoops are reckoned.
    pub spare_mg: i64,
}

/// Why a tub cannot have been found so.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum CannotBe {
    /// It stands in one place, and the book has it in another.
    Elsewhere,
    /// It holds at most so much.
    MoreThan(i64),
}

/// A tub holds what it was filled with, and stands in one place: what is found beyond what was to be expected can only be
/// what was lost before. Of another lot anything can be found: it was weighed then and is weighed now.
pub const fn may_be_found(tub: &TubFound) -> Result<(), CannotBe> {
    let most_mg = tub.expected_mg + tub.spare_mg;
    if tub.found_mg <= tub.expected_mg {
        Ok(())
    } else if tub.elsewhere_mg > 0 {
        Err(CannotBe::Elsewhere)
    } else if tub.found_mg > most_mg {
        Err(CannotBe::MoreThan(most_mg))
    } else {
        Ok(())
    }
}

/// What arrived of a lot, squared with what was sent. Milligrams.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Settlement {
    /// Sent, and arrived whole.
    pub whole_mg: i64,
    /// Sent, and arrived damaged.
    pub damaged_mg: i64,
    /// Sent, and did not arrive.
    pub missing_mg: i64,
    /// Arrived whole beyond what was sent.
    pub found_whole_mg: i64,
    /// Arrived damaged beyond what was sent.
    pub found_damaged_mg: i64,
}

impl Settlement {
    /// Whether all that was sent arrived whole, and nothing else.
    pub const fn is_as_sent(&self) -> bool {
        self.damaged_mg == 0 && self.missing_mg == 0 && self.found_mg() == 0
    }

    /// All that arrived beyond what was sent.
    pub const fn found_mg(&self) -> i64 {
        self.found_whole_mg + self.found_damaged_mg
    }
}

/// Squares what arrived, whole and damaged, with what was sent; what arrived whole is matched first.
pub fn settle(sent_mg: i64, received_mg: i64, damaged_mg: i64) -> Settlement {
    let whole_mg = received_mg.min(sent_mg);
    let damaged_of_sent_mg = damaged_mg.min(sent_mg - whole_mg);
    Settlement {
        whole_mg,
        damaged_mg: damaged_of_sent_mg,
        missing_mg: sent_mg - whole_mg - damaged_of_sent_mg,
        found_whole_mg: received_mg - whole_mg,
        found_damaged_mg: damaged_mg - damaged_of_sent_mg,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn on(day: u32) -> NaiveDate {
        NaiveDate::from_ymd_opt(2026, 11, day).expect("a day of November")
    }

    fn tub() -> Standing<'static> {
        Standing {
            is_tub: true,
            recalled: false,
            rejected: None,
            hold: None,
            expires_on: Some(on(25)),
            available_mg: 5_000_000,
            open_mg: 0,
            elsewhere_mg: 0,
        }
    }

    fn opened() -> Standing<'static> {
        Standing { available_mg: 0, open_mg: 5_000_000, ..tub() }
    }

    const ALL: [Act; 5] = [Act::Open, Act::Serve, Act::Empty, Act::Dispatch, Act::Consign];

    #[test]
    fn each_act_wants_its_state() {
        for act in ALL {
            let needs_it_open = matches!(act, Act::Serve | Act::Empty);
            let closed = may(act, &tub(), on(25));
            let open = may(act, &opened(), on(25));
            if needs_it_open {
                assert_eq!((closed, open), (Err(Refusal::NotOpen), Ok(())), "{act:?}");
            } else {
                assert_eq!((closed, open), (Ok(()), Err(Refusal::AlreadyOpen)), "{act:?}");
            }
            let gone = Standing { available_mg: 0, ..tub() };
            assert_eq!(may(act, &gone, on(25)), Err(Refusal::NothingLeft), "{act:?}");
            let away = Standing { elsewhere_mg: 5_000_000, ..gone };
            assert_eq!(may(act, &away, on(25)), Err(Refusal::Elsewhere), "{act:?}");
        }
    }

    #[test]
    fn the_first_reason_counts() {
        let worst = Standing {
            is_tub: false,
            recalled: true,
            rejected: Some("sour"),
            hold: Some("recalled"),
            expires_on: Some(on(1)),
            available_mg: 0,
            open_mg: 0,
            elsewhere_mg: 1,
        };
        assert_eq!(may(Act::Open, &worst, on(2)), Err(Refusal::NotATub));
        let tub = Standing { is_tub: true, ..worst };
        assert_eq!(may(Act::Open, &tub, on(2)), Err(Refusal::Recalled));
        let withdrawn = Standing { recalled: false, ..tub };
        assert_eq!(may(Act::Open, &withdrawn, on(2)), Err(Refusal::Rejected("sour")));
        let accepted = Standing { rejected: None, ..withdrawn };
        assert_eq!(may(Act::Open, &accepted, on(2)), Err(Refusal::OnHold("recalled")));
        let released = Standing { hold: None, ..accepted };
        assert_eq!(may(Act::Open, &released, on(2)), Err(Refusal::Expired(on(1))));
        assert_eq!(may(Act::Open, &released, on(1)), Err(Refusal::Elsewhere), "its last day counts");
    }

    #[test]
    fn recall_hold_and_rejection_stop_everything() {
        for (act, lot) in ALL.into_iter().flat_map(|act| [(act, tub()), (act, opened())]) {
            assert_eq!(may(act, &Standing { hold: Some("x"), ..lot }, on(1)), Err(Refusal::OnHold("x")), "{act:?}");
            assert_eq!(may(act, &Standing { recalled: true, ..lot }, on(1)), Err(Refusal::Recalled), "{act:?}");
            let rejected = Standing { rejected: Some("x"), ..lot };
            assert_eq!(may(act, &rejected, on(1)), Err(Refusal::Rejected("x")), "{act:?}");
        }
    }

    #[test]
    fn past_its_date_it_may_still_be_sent_away_and_emptied() {
        let refused: Vec<_> = ALL
            .into_iter()
            .filter(|act| {
                let lot = if matches!(act, Act::Serve | Act::Empty) { opened() } else { tub() };
                may(*act, &lot, on(26)) == Err(Refusal::Expired(on(25)))
            })
            .collect();
        assert_eq!(refused, [Act::Open, Act::Serve, Act::Consign]);
    }

    #[test]
    fn a_tub_goes_whole() {
        assert_eq!(take(5, None, true), Ok(5));
        assert_eq!(take(5, Some(5), true), Ok(5));
        assert_eq!(take(5, Some(4), true), Err(PartRefusal::OnlyWhole));
        assert_eq!(take(5, Some(6), true), Err(PartRefusal::NotEnough));
        assert_eq!(take(5, Some(4), false), Ok(4));
        assert_eq!(take(5, Some(6), false), Err(PartRefusal::NotEnough));
    }

    #[test]
    fn a_tub_holds_no_more_than_it_was_filled_with() {
        let missed = TubFound { found_mg: 7, expected_mg: 5, elsewhere_mg: 0, spare_mg: 2 };
        assert_eq!(may_be_found(&missed), Ok(()), "what was missed turns up");
        assert_eq!(may_be_found(&TubFound { found_mg: 8, ..missed }), Err(CannotBe::MoreThan(7)));
        let away = TubFound { elsewhere_mg: 1, ..missed };
        assert_eq!(may_be_found(&away), Err(CannotBe::Elsewhere));
        assert_eq!(may_be_found(&TubFound { found_mg: 9, ..away }), Err(CannotBe::Elsewhere), "the place comes first");
        assert_eq!(may_be_found(&TubFound { found_mg: 5, ..away }), Ok(()), "as was expected");
        assert_eq!(may_be_found(&TubFound { found_mg: 0, ..away }), Ok(()), "nothing can always be found");
    }

    #[test]
    fn settling_loses_nothing() {
        for (sent, received, damaged) in [(10, 10, 0), (10, 6, 3), (10, 12, 0), (10, 8, 5), (10, 0, 12), (0, 4, 1)] {
            let settled = settle(sent, received, damaged);
            assert_eq!(settled.whole_mg + settled.damaged_mg + settled.missing_mg, sent, "{settled:?}");
            assert_eq!(settled.whole_mg + settled.found_whole_mg, received, "{settled:?}");
            assert_eq!(settled.damaged_mg + settled.found_damaged_mg, damaged, "{settled:?}");
            assert!(settled.missing_mg == 0 || settled.found_mg() == 0, "not both short and over: {settled:?}");
        }
        assert!(settle(10, 10, 0).is_as_sent());
        assert!(!settle(10, 9, 0).is_as_sent() && !settle(10, 10, 1).is_as_sent() && !settle(0, 1, 0).is_as_sent());
    }
}
