//! The one clock.

use std::sync::Arc;
use std::sync::atomic::{AtomicI64, Ordering};

use chrono::{DateTime, NaiveDateTime, Timelike, Utc};

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

/// PostgreSQL keeps microseconds; what is cut there must be cut before it is hashed.
pub(crate) fn to_microseconds(time: NaiveDateTime) -> NaiveDateTime {
    let nanos = time.nanosecond();
    time.with_nanosecond(nanos - nanos % 1000).unwrap_or(time)
}
