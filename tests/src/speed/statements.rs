//! How many statements are sent to databases: on PostgreSQL each is a round trip.

use std::sync::atomic::{AtomicUsize, Ordering};

use diesel::QueryResult;
use diesel::connection::{InstrumentationEvent, set_default_instrumentation};

static SENT: AtomicUsize = AtomicUsize::new(0);

/// Counts on every connection that is made from now on.
pub fn count() -> QueryResult<()> {
    set_default_instrumentation(|| {
        Some(Box::new(|event: InstrumentationEvent<'_>| {
            if matches!(event, InstrumentationEvent::StartQuery { .. }) {
                SENT.fetch_add(1, Ordering::Relaxed);
            }
        }))
    })
}

/// How many there were so far.
pub fn sent() -> usize {
    SENT.load(Ordering::Relaxed)
}
