//! What webhooks tell of, and how often it is tried to tell it.

use chrono::{Duration, NaiveDateTime};

/// Something that is told.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Event {
    /// A lot was put on hold.
    HoldPlaced,
    /// A hold was lifted.
    HoldReleased,
    /// A recall was begun.
    RecallBegun,
    /// A recall was closed.
    RecallClosed,
    /// A recall was withdrawn.
    RecallWithdrawn,
    /// A recall reaches other lots than before: as a rule more.
    RecallReachChanged,
}

impl Event {
    /// All of them.
    pub const ALL: [Self; 6] = [
        Self::HoldPlaced,
        Self::HoldReleased,
        Self::RecallBegun,
        Self::RecallClosed,
        Self::RecallWithdrawn,
        Self::RecallReachChanged,
    ];

    /// The word for it, in parts with full stops between (Standard Webhooks 1.0.0, "Event types").
    pub const fn word(self) -> &'static str {
        match self {
            Self::HoldPlaced => "hold.placed",
            Self::HoldReleased => "hold.released",
            Self::RecallBegun => "recall.begun",
            Self::RecallClosed => "recall.closed",
            Self::RecallWithdrawn => "recall.withdrawn",
            Self::RecallReachChanged => "recall.reach_changed",
        }
    }

    /// The event a word stands for.
    pub fn from_word(word: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|event| event.word() == word)
    }
}

/// How long is waited after the first failed attempt, the second, and so on, in seconds: 5 s, 5 min, 30 min, 2 h, 5 h, 10 h,
/// 14 h, 20 h, 24 h (Standard Webhooks 1.0.0, "Deliverability and reliability").
const WAITS: [i64; 9] = [5, 300, 1800, 7200, 18_000, 36_000, 50_400, 72_000, 86_400];

/// How often it is tried to tell one event: at once, and after each wait. The last attempt is 75 h 35 min after the first.
pub const ATTEMPTS: u32 = 10;

/// When the next attempt is due after so many failed ones, the last of them at a time; none after the last.
pub fn next_attempt(failed: u32, last: NaiveDateTime) -> Option<NaiveDateTime> {
    let wait = usize::try_from(failed).ok()?.checked_sub(1).and_then(|index| WAITS.get(index))?;
    Some(last + Duration::seconds(*wait))
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The example schedule of Standard Webhooks 1.0.0: the last attempt is due 75:35:05 after the first.
    #[test]
    fn the_schedule_ends_after_three_days() {
        let first = "2026-11-02T06:00:00".parse::<NaiveDateTime>().expect("a time");
        let mut at = first;
        let mut due = Vec::new();
        for failed in 1.. {
            let Some(next) = next_attempt(failed, at) else { break };
            at = next;
            due.push((at - first).num_seconds());
        }
        let hours = |hours: i64, minutes: i64| hours * 3600 + minutes * 60 + 5;
        let expected = [
            5,
            hours(0, 5),
            hours(0, 35),
            hours(2, 35),
            hours(7, 35),
            hours(17, 35),
            hours(31, 35),
            hours(51, 35),
            hours(75, 35),
        ];
        assert_eq!(due, expected);
        assert_eq!(due.len() + 1, ATTEMPTS as usize);
        assert_eq!(next_attempt(0, first), None, "nothing has failed");
    }

    #[test]
    fn words_and_events_are_one_to_one() {
        for event in Event::ALL {
            assert_eq!(Event::from_word(event.word()), Some(event));
        }
        assert_eq!(Event::from_word("test"), None);
    }
}
