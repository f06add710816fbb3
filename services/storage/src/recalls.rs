//! Recalls: what they begin with, what became of it, who was told, and how they ended.

use std::collections::HashMap;

use chrono::{NaiveDate, NaiveDateTime};
use diesel::prelude::*;

use crate::ids::CHUNK;
use crate::{AnyConnection, StorageError};

fact! {
    /// A case.
    recalls => RecallRow {
        /// Only practised.
        is_drill: bool => Bool,
        /// 1, 2 or 3: how likely serious harm is, 1 the most.
        class: i32 => Integer,
        /// What may be wrong with it.
        hazard: String => Text,
        /// Contacts are followed too.
        with_contact: bool => Bool,
        /// What it reaches is on hold; a drill may leave it.
        holds: bool => Bool,
        /// When the house heard of it.
        noticed_at: NaiveDateTime => Timestamp,
        /// Until when everything is to be confirmed.
        due_at: NaiveDateTime => Timestamp,
        /// What to do, for sites and consignees.
        instructions: Option<String> => Nullable<Text>,
    }
}

fact! {
    /// What a recall begins with. It is asked anew with every commit: what fits it later, joins later.
    recall_seeds => RecallSeedRow {
        /// Which recall.
        recall_id: i64 => BigInt,
        /// lot, `supplier_lot`, `supplier_lot_prefix`, `supplier_lot_range`, `supplier_days`, equipment or place.
        kind: String => Text,
        /// This lot.
        lot_id: Option<i64> => Nullable<BigInt>,
        /// What this supplier brought.
        supplier_id: Option<i64> => Nullable<BigInt>,
        /// Of this item alone.
        item_id: Option<i64> => Nullable<BigInt>,
        /// The supplier's own lot code, its beginning, or the first of a range.
        code_from: Option<String> => Nullable<Text>,
        /// The last of a range.
        code_until: Option<String> => Nullable<Text>,
        /// The first day it came.
        day_from: Option<NaiveDate> => Nullable<Date>,
        /// The last day it came.
        day_until: Option<NaiveDate> => Nullable<Date>,
        /// What ran on this.
        equipment_id: Option<i64> => Nullable<BigInt>,
        /// What lay at this site.
        site_id: Option<i64> => Nullable<BigInt>,
        /// In this state alone.
        state: Option<String> => Nullable<Text>,
        /// From when.
        time_from: Option<NaiveDateTime> => Nullable<Timestamp>,
        /// Until when.
        time_until: Option<NaiveDateTime> => Nullable<Timestamp>,
    }
}

fact! {
    /// What a site found of a lot.
    recall_confirmations => RecallConfirmationRow {
        /// Of which recall.
        recall_id: i64 => BigInt,
        /// Of which lot.
        lot_id: i64 => BigInt,
        /// Where.
        site_id: i64 => BigInt,
        /// found, destroyed, `not_found` or explained.
        outcome: String => Text,
        /// How much it speaks of.
        mass_mg: i64 => BigInt,
        /// Who says so, by name.
        confirmed_by: String => Text,
        /// When.
        confirmed_at: NaiveDateTime => Timestamp,
        /// Remarks, or the explanation.
        note: Option<String> => Nullable<Text>,
    }
}

fact! {
    /// A consignee was told.
    recall_notices => RecallNoticeRow {
        /// Of which recall.
        recall_id: i64 => BigInt,
        /// Who.
        partner_id: i64 => BigInt,
        /// How, in words.
        way: String => Text,
        /// By whom, by name.
        told_by: String => Text,
        /// When.
        told_at: NaiveDateTime => Timestamp,
    }
}

fact! {
    /// What a consignee answered of a lot.
    recall_replies => RecallReplyRow {
        /// Of which recall.
        recall_id: i64 => BigInt,
        /// Who.
        partner_id: i64 => BigInt,
        /// Of which lot.
        lot_id: i64 => BigInt,
        /// found, destroyed, `not_found` or explained.
        outcome: String => Text,
        /// Who said so, by name.
        replied_by: String => Text,
        /// When.
        replied_at: NaiveDateTime => Timestamp,
        /// Remarks, or the explanation.
        note: Option<String> => Nullable<Text>,
    }
}

fact! {
    /// A recall is over.
    recall_endings => RecallEndingRow {
        /// Which.
        recall_id: i64 => BigInt,
        /// closed: what is left of it stays on hold; withdrawn: nothing is held by it any more.
        way: String => Text,
        /// By whom, by name.
        ended_by: String => Text,
        /// Why.
        reason: String => Text,
    }
}

/// The word of an ending after which a recall holds nothing any more.
pub const WITHDRAWN: &str = "withdrawn";
/// The word of an ending after which what is left of a recall stays on hold, and what a drill held is free again.
pub const CLOSED: &str = "closed";

impl RecallRow {
    /// Whether it holds nothing any more after such an ending: it was withdrawn, or it was only practised.
    #[must_use]
    pub fn is_freed_by(&self, ending: &RecallEndingRow) -> bool {
        self.is_drill || ending.way == WITHDRAWN
    }
}

/// A recall by row id.
pub fn recall(conn: &mut AnyConnection, id: i64) -> Result<Option<RecallRow>, StorageError> {
    Ok(recalls::table.find(id).first(conn).optional()?)
}

/// The recalls written down after a journal entry, up to and including another; in order of id.
pub fn recalls_between(conn: &mut AnyConnection, after: i64, until: i64) -> Result<Vec<RecallRow>, StorageError> {
    Ok(recalls::table
        .filter(recalls::entry.gt(after))
        .filter(recalls::entry.le(until))
        .order(recalls::id)
        .load(conn)?)
}

/// What a recall begins with, in the order it was written down.
pub fn seeds_of(conn: &mut AnyConnection, recall_id: i64) -> Result<Vec<RecallSeedRow>, StorageError> {
    Ok(recall_seeds::table.filter(recall_seeds::recall_id.eq(recall_id)).order(recall_seeds::id).load(conn)?)
}

/// The recalls that hold nothing any more since a journal entry, up to and including another ([`RecallRow::is_freed_by`]).
pub fn freed_between(conn: &mut AnyConnection, after: i64, until: i64) -> Result<Vec<i64>, StorageError> {
    Ok(recall_endings::table
        .inner_join(recalls::table.on(recalls::id.eq(recall_endings::recall_id)))
        .filter(recall_endings::entry.gt(after))
        .filter(recall_endings::entry.le(until))
        .filter(recall_endings::way.eq(WITHDRAWN).or(recalls::is_drill))
        .order(recall_endings::id)
        .select(recall_endings::recall_id)
        .load(conn)?)
}

/// How a recall ended: closed, withdrawn, or first the one and then the other; the last of them.
pub fn ending_of(conn: &mut AnyConnection, recall_id: i64) -> Result<Option<RecallEndingRow>, StorageError> {
    Ok(recall_endings::table
        .filter(recall_endings::recall_id.eq(recall_id))
        .order(recall_endings::id.desc())
        .first(conn)
        .optional()?)
}

/// How some recalls ended, by recall.
pub fn endings_of(conn: &mut AnyConnection, recall_ids: &[i64]) -> Result<HashMap<i64, RecallEndingRow>, StorageError> {
    let rows: Vec<RecallEndingRow> = recall_endings::table
        .filter(recall_endings::recall_id.eq_any(recall_ids.to_vec()))
        .order(recall_endings::id)
        .load(conn)?;
    Ok(rows.into_iter().map(|row| (row.recall_id, row)).collect())
}

/// Which recalls to list.
#[derive(Clone, Debug, Default)]
pub struct RecallFilter {
    /// Only drills, or only real ones.
    pub is_drill: Option<bool>,
    /// Only those neither closed nor withdrawn, or only those that are.
    pub is_open: Option<bool>,
    /// Only those written down before this one.
    pub before_id: Option<i64>,
}

/// Recalls, the last first.
pub fn recalls_page(
    conn: &mut AnyConnection,
    filter: &RecallFilter,
    limit: i64,
) -> Result<Vec<RecallRow>, StorageError> {
    let mut query = recalls::table.into_boxed();
    if let Some(is_drill) = filter.is_drill {
        query = query.filter(recalls::is_drill.eq(is_drill));
    }
    if let Some(is_open) = filter.is_open {
        let ended = recall_endings::table.filter(recall_endings::recall_id.eq(recalls::id));
        query = if is_open {
            query.filter(diesel::dsl::not(diesel::dsl::exists(ended)))
        } else {
            query.filter(diesel::dsl::exists(ended))
        };
    }
    if let Some(before) = filter.before_id {
        query = query.filter(recalls::id.lt(before));
    }
    Ok(query.order(recalls::id.desc()).limit(limit).load(conn)?)
}

/// What the sites found of some lots of a recall, in the order it was written down.
pub fn confirmations_of(
    conn: &mut AnyConnection,
    recall_id: i64,
    lot_ids: &[i64],
) -> Result<Vec<RecallConfirmationRow>, StorageError> {
    let mut found: Vec<RecallConfirmationRow> = Vec::new();
    for chunk in lot_ids.chunks(CHUNK) {
        found.extend(
            recall_confirmations::table
                .filter(recall_confirmations::recall_id.eq(recall_id))
                .filter(recall_confirmations::lot_id.eq_any(chunk.to_vec()))
                .load::<RecallConfirmationRow>(conn)?,
        );
    }
    found.sort_by_key(|row| row.id);
    Ok(found)
}

/// The journal entry of the last confirmation of a recall, if there is one.
pub fn last_confirmation(
    conn: &mut AnyConnection,
    recall_id: i64,
) -> Result<Option<RecallConfirmationRow>, StorageError> {
    Ok(recall_confirmations::table
        .filter(recall_confirmations::recall_id.eq(recall_id))
        .order(recall_confirmations::id.desc())
        .first(conn)
        .optional()?)
}

/// Which consignees of a recall were told, in the order it was written down.
pub fn notices_of(conn: &mut AnyConnection, recall_id: i64) -> Result<Vec<RecallNoticeRow>, StorageError> {
    Ok(recall_notices::table.filter(recall_notices::recall_id.eq(recall_id)).order(recall_notices::id).load(conn)?)
}

/// What the consignees of a recall answered, in the order it was written down.
pub fn replies_of(conn: &mut AnyConnection, recall_id: i64) -> Result<Vec<RecallReplyRow>, StorageError> {
    Ok(recall_replies::table.filter(recall_replies::recall_id.eq(recall_id)).order(recall_replies::id).load(conn)?)
}

/// Whether there is any recall that still holds, or could.
pub(crate) fn is_any_in_force(conn: &mut AnyConnection) -> Result<bool, StorageError> {
    let freeing = recall_endings::table
        .filter(recall_endings::recall_id.eq(recalls::id))
        .filter(recall_endings::way.eq(WITHDRAWN).or(recalls::is_drill));
    let in_force = recalls::table.filter(diesel::dsl::not(diesel::dsl::exists(freeing)));
    Ok(in_force.select(recalls::id).first::<i64>(conn).optional()?.is_some())
}

/// Whether a recall that was not withdrawn begins with a place, and what came there at this time may be meant.
pub(crate) fn is_any_place_watched(conn: &mut AnyConnection, at: NaiveDateTime) -> Result<bool, StorageError> {
    let withdrawn = recall_endings::table
        .filter(recall_endings::recall_id.eq(recall_seeds::recall_id))
        .filter(recall_endings::way.eq(WITHDRAWN));
    let watched = recall_seeds::table
        .filter(recall_seeds::kind.eq("place"))
        .filter(recall_seeds::time_until.is_null().or(recall_seeds::time_until.ge(at)))
        .filter(diesel::dsl::not(diesel::dsl::exists(withdrawn)));
    Ok(watched.select(recall_seeds::id).first::<i64>(conn).optional()?.is_some())
}

diesel::allow_tables_to_appear_in_same_query!(recalls, recall_endings);
diesel::allow_tables_to_appear_in_same_query!(recall_seeds, recall_endings);

/// The first recall after a row.
pub fn recall_after(conn: &mut AnyConnection, after: i64) -> Result<Option<RecallRow>, StorageError> {
    Ok(recalls::table.filter(recalls::id.gt(after)).order(recalls::id).first(conn).optional()?)
}

/// The first recall that ended in a way, [`CLOSED`] or [`WITHDRAWN`], after a row.
pub fn ending_after(conn: &mut AnyConnection, way: &str, after: i64) -> Result<Option<RecallEndingRow>, StorageError> {
    Ok(recall_endings::table
        .filter(recall_endings::id.gt(after))
        .filter(recall_endings::way.eq(way))
        .order(recall_endings::id)
        .first(conn)
        .optional()?)
}
