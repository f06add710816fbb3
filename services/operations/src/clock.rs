//! The one clock.

use std::sync::Arc;
use std::sync::atomic::{AtomicI64, Ordering};

use chrono::{DateTime, NaiveDateTime, Utc};

/// What gives the time: UTC, whole microseconds.
pub type Clock = Arc<dyn Fn() -> NaiveDateTime + Send + Sync>;

/// The machine's clock.
pub fn system_clock() -> Clock {
    Arc::new(|| to_microseconds(Utc::now().naive_utc()))
}

/// A clock that stands where it was set: for playing days that were, and for tests.
#[derive(Clone, Debug)]
pub struct Steps(Arc<AtomicI64>);

impl Steps {
    /// Stands at `start`.
    pub fn new(start: DateTime<Utc>) -> Self {
        Self(Arc::new(AtomicI64::new(start.timestamp_micros())))
    }

    /// Moves to `now`.
    pub fn set(&self, now: DateTime<Utc>) {
        self.0.store(now.timestamp_micros(), Ordering::SeqCst);
    }

    /// As a clock for [`crate::Tubtrail`].
    pub fn clock(&self) -> Clock {
        let micros = Arc::clone(&self.0);
        Arc::new(move || DateTime::from_timestamp_micros(micros.load(Ordering::SeqCst)).unwrap_or_default().naive_utc())
    }
}

/// PostgreSQL keeps whole microseconds and no leap seconds; what it would change must be changed before it is hashed.
pub(crate) fn to_microseconds(time: NaiveDateTime) -> NaiveDateTime {
    DateTime::from_timestamp_micros(time.and_utc().timestamp_micros()).map_or(time, |whole| whole.naive_utc())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_leap_second_is_the_next_one_and_nanoseconds_are_cut() {
        let read = |text: &str| text.parse::<DateTime<Utc>>().expect("a time").naive_utc();
        assert_eq!(to_microseconds(read("2026-11-25T09:10:60Z")), read("2026-11-25T09:11:00Z"));
        assert_eq!(to_microseconds(read("2026-11-25T09:10:60.25Z")), read("2026-11-25T09:11:00.25Z"));
        assert_eq!(to_microseconds(read("2026-11-25T09:10:59.123456789Z")), read("2026-11-25T09:10:59.123456Z"));
    }
}
