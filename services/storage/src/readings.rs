//! Temperatures taken while a batch is made, and those that were not as written.

use chrono::NaiveDateTime;
use diesel::prelude::*;

use crate::{AnyConnection, Fact, StorageError};

fact! {
    /// A temperature taken during a batch.
    readings => ReadingRow {
        /// Of which batch.
        batch_id: i64 => BigInt,
        /// heating, cooling, maturing, churning or hardening.
        step: String => Text,
        /// Tenths of a degree Celsius.
        celsius_tenths: i32 => Integer,
        /// How long it was held there.
        held_seconds: Option<i32> => Nullable<Integer>,
        /// When.
        taken_at: NaiveDateTime => Timestamp,
    }
}

fact! {
    /// A temperature that was not as it was written down.
    reading_voids => ReadingVoidRow {
        /// Which.
        reading_id: i64 => BigInt,
        /// Why.
        reason: String => Text,
    }
}

/// A reading by row id.
pub fn reading(conn: &mut AnyConnection, id: i64) -> Result<Option<ReadingRow>, StorageError> {
    Ok(readings::table.find(id).first(conn).optional()?)
}

/// A batch's readings, in order of time, the voided ones too.
pub fn readings_of_batch(conn: &mut AnyConnection, batch_id: i64) -> Result<Vec<ReadingRow>, StorageError> {
    Ok(readings::table.filter(readings::batch_id.eq(batch_id)).order((readings::taken_at, readings::id)).load(conn)?)
}

/// The voids among some readings.
pub fn reading_voids_of(conn: &mut AnyConnection, ids: &[i64]) -> Result<Vec<ReadingVoidRow>, StorageError> {
    Ok(ReadingVoidRow::among(conn, "reading_id", ids)?)
}
