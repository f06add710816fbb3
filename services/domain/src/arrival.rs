//! What becomes of a supplier lot at the door: accepted, put aside, or rejected.

use chrono::NaiveDate;

use crate::say;
use crate::saying::Saying;

/// How an ingredient is kept, which says how warm it may arrive.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Kept {
    /// On the shelf; no limit.
    Ambient,
    /// Cold.
    Chilled,
    /// Milk, and eggs in the shell, which some laws let arrive a little warmer.
    MilkOrShellEggs,
    /// Deep-frozen.
    Frozen,
}

impl Kept {
    /// All of them.
    pub const ALL: [Self; 4] = [Self::Ambient, Self::Chilled, Self::MilkOrShellEggs, Self::Frozen];

    /// The word for it.
    pub const fn word(self) -> &'static str {
        match self {
            Self::Ambient => "ambient",
            Self::Chilled => "chilled",
            Self::MilkOrShellEggs => "milk_or_shell_eggs",
            Self::Frozen => "frozen",
        }
    }

    /// The keeping a word stands for.
    pub fn from_word(word: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|kept| kept.word() == word)
    }

    /// The warmest it may arrive unless the item says otherwise, in tenths of a degree Celsius, with its source.
    ///
    /// These are defaults; local rules and the responsible person decide.
    pub const fn warmest_arrival(self) -> Option<(i32, &'static str)> {
        match self {
            Self::Ambient => None,
            Self::Chilled => Some((50, "FDA Food Code 3-202.11: 5 °C")),
            Self::MilkOrShellEggs => Some((70, "FDA Food Code 3-202.11: 7 °C where law allows")),
            Self::Frozen => Some((-180, "common practice, no source: -18 °C")),
        }
    }
}

/// A supplier lot as it stands at the door.
#[derive(Clone, Copy, Debug)]
pub struct Arrival {
    /// The day, where it arrives.
    pub today: NaiveDate,
    /// The last day it may be used, as printed on it.
    pub expires_on: Option<NaiveDate>,
    /// As measured, tenths of a degree Celsius.
    pub temperature_tenths: Option<i32>,
    /// The warmest it may be, tenths of a degree Celsius.
    pub warmest_tenths: Option<i32>,
}

/// What becomes of it, unless the person at the door rejects it anyway.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Verdict {
    /// Nothing speaks against it.
    Accept,
    /// It is kept apart, on hold, until someone decides; with the reason.
    PutAside(Saying),
    /// It can only be rejected.
    PastItsDate(NaiveDate),
}

/// Judges a supplier lot at the door. The date outweighs the temperature.
pub fn judge(arrival: &Arrival) -> Verdict {
    if let Some(date) = arrival.expires_on.filter(|date| *date < arrival.today) {
        return Verdict::PastItsDate(date);
    }
    match (arrival.warmest_tenths, arrival.temperature_tenths) {
        (Some(warmest), Some(measured)) if measured > warmest => {
            Verdict::PutAside(too_warm(&degrees(measured), &degrees(warmest)))
        }
        (Some(warmest), None) => Verdict::PutAside(not_measured(&degrees(warmest))),
        _ => Verdict::Accept,
    }
}

fn too_warm(measured: &str, warmest: &str) -> Saying {
    say!("it arrived at {measured} °C; {warmest} °C is the warmest it may be", measured, warmest)
}

fn not_measured(warmest: &str) -> Saying {
    say!("its temperature was not taken; {warmest} °C is the warmest it may be", warmest)
}

/// The reason of a hold as it was written down: one of [`judge`]'s, or whatever a person typed.
pub fn reason(written: &str) -> Saying {
    let ours = [too_warm("", ""), not_measured("")];
    ours.iter().find_map(|ours| ours.read_back(written)).unwrap_or_else(|| Saying::as_it_is(written))
}

/// Tenths of a degree as people write them: `-18`, `4.5`.
pub fn degrees(tenths: i32) -> String {
    let sign = if tenths < 0 { "-" } else { "" };
    let (whole, rest) = (tenths.unsigned_abs() / 10, tenths.unsigned_abs() % 10);
    if rest == 0 { format!("{sign}{whole}") } else { format!("{sign}{whole}.{rest}") }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn on(day: u32) -> NaiveDate {
        NaiveDate::from_ymd_opt(2026, 11, day).expect("a day of November")
    }

    fn milk() -> Arrival {
        Arrival { today: on(25), expires_on: Some(on(30)), temperature_tenths: Some(40), warmest_tenths: Some(70) }
    }

    #[test]
    fn cold_enough_and_in_date_is_accepted() {
        assert_eq!(judge(&milk()), Verdict::Accept);
        assert_eq!(judge(&Arrival { temperature_tenths: Some(70), ..milk() }), Verdict::Accept, "the limit itself");
        assert_eq!(judge(&Arrival { expires_on: Some(on(25)), ..milk() }), Verdict::Accept, "the last day itself");
    }

    #[test]
    fn too_warm_or_unmeasured_is_put_aside() {
        let warm = judge(&Arrival { temperature_tenths: Some(71), ..milk() });
        assert_eq!(warm, Verdict::PutAside(too_warm("7.1", "7")));
        assert!(matches!(judge(&Arrival { temperature_tenths: None, ..milk() }), Verdict::PutAside(_)));
        let shelf = Arrival { temperature_tenths: None, warmest_tenths: None, ..milk() };
        assert_eq!(judge(&shelf), Verdict::Accept);
    }

    #[test]
    fn a_reason_is_known_again_as_it_was_written_down() {
        let told = too_warm("7.1", "7");
        assert_eq!(told.to_string(), "it arrived at 7.1 °C; 7 °C is the warmest it may be");
        assert_eq!(reason(&told.to_string()), told);
        assert_eq!(reason(&not_measured("-18").to_string()), not_measured("-18"));
        assert_eq!(reason("the lid is off").foreign(), Some("the lid is off"), "a person's own words");
    }

    #[test]
    fn past_its_date_outweighs_all() {
        let late = Arrival { expires_on: Some(on(24)), temperature_tenths: Some(200), ..milk() };
        assert_eq!(judge(&late), Verdict::PastItsDate(on(24)));
    }

    #[test]
    fn degrees_below_zero_keep_their_sign() {
        assert_eq!([degrees(-5), degrees(-180), degrees(45), degrees(0)], ["-0.5", "-18", "4.5", "0"]);
    }
}
