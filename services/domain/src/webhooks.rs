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

/// How often it is tried to tell one event: at once, and after each wait. The last attempt is about 75 h 35 min after the first.
pub const ATTEMPTS: u32 = 10;

/// Longest that the other side can have us wait: a day, the longest that is waited anyway.
pub const LONGEST_WAIT: Duration = Duration::days(1);

/// When the next attempt is due after so many failed ones, the last of them at a time; none after the last.
pub fn next_attempt(failed: u32, last: NaiveDateTime) -> Option<NaiveDateTime> {
    Some(last + Duration::seconds(usual_wait(failed)?))
}

fn usual_wait(failed: u32) -> Option<i64> {
    usize::try_from(failed).ok()?.checked_sub(1).and_then(|index| WAITS.get(index)).copied()
}

/// How long is waited after so many failed attempts; none after the last. So that not all who were away at once are asked at
/// once, chance (0 to 65 535) makes it up to a tenth shorter or longer (common practice, no source). Where the other side asks
/// for more ([`LONGEST_WAIT`] at most), that is waited, and up to a tenth of the usual longer.
pub fn wait(failed: u32, chance: u16, asked: Option<Duration>) -> Option<Duration> {
    let usual_ms = usual_wait(failed)? * 1000;
    let tenth_ms = usual_ms / 10;
    let by_chance_ms = tenth_ms * i64::from(chance) / i64::from(u16::MAX);
    let usual_ms = usual_ms - tenth_ms + 2 * by_chance_ms;
    let asked_ms = asked.map_or(0, |asked| asked.min(LONGEST_WAIT).num_milliseconds() + by_chance_ms);
    Some(Duration::milliseconds(usual_ms.max(asked_ms)))
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

    /// 5 s and a tenth of it, 500 ms; 5 min and 30 s.
    #[test]
    fn chance_and_the_other_side_move_it_within_bounds() {
        let ms = |failed, chance, asked: Option<i64>| {
            wait(failed, chance, asked.map(Duration::seconds)).map(|wait| wait.num_milliseconds())
        };
        assert_eq!([0, u16::MAX].map(|chance| ms(1, chance, None)), [4500, 5500].map(Some));
        assert_eq!([0, u16::MAX].map(|chance| ms(2, chance, None)), [270_000, 330_000].map(Some));
        assert_eq!([0, u16::MAX].map(|chance| ms(1, chance, Some(60))), [60_000, 60_500].map(Some));
        assert_eq!(ms(1, 0, Some(1)), Some(4500), "sooner than usual is not what it can ask for");
        assert_eq!(ms(1, 0, Some(-7)), Some(4500));
        assert_eq!(ms(1, 0, Some(i64::from(u32::MAX))), Some(86_400_000), "a day at most");
        assert_eq!([ms(0, 0, None), ms(ATTEMPTS, 0, Some(60))], [None, None]);
    }

    #[test]
    fn words_and_events_are_one_to_one() {
        for event in Event::ALL {
            assert_eq!(Event::from_word(event.word()), Some(event));
        }
        assert_eq!(Event::from_word("test"), None);
    }
}
