//! Recalls: what they begin with, what became of it, who was told, and how they ended.

use chrono::{NaiveDate, NaiveDateTime};
use diesel::prelude::*;

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

/// A recall by row id.
pub fn recall(conn: &mut AnyConnection, id: i64) -> Result<Option<RecallRow>, StorageError> {
    Ok(recalls::table.find(id).first(conn).optional()?)
}
