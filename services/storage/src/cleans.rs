//! What carries something from one batch to the next, or keeps it from it: cleans of equipment, residues, shared scoops.

use chrono::NaiveDateTime;
use diesel::prelude::*;

use crate::{AnyConnection, StorageError};

fact! {
    /// A way of cleaning.
    clean_kinds => CleanKindRow {
        /// What it is called in addresses and files.
        code: String => Text,
    }
}

fact! {
    /// A version of a way of cleaning.
    clean_kind_versions => CleanKindVersionRow {
        /// Of which.
        clean_kind_id: i64 => BigInt,
        /// From 1.
        version: i32 => Integer,
        /// As shown.
        name: String => Text,
        /// everything, or words of substances and groups, comma-separated; a rinse clears nothing.
        clears: String => Text,
        /// In use.
        active: bool => Bool,
    }
}

fact! {
    /// Equipment was cleaned.
    cleans => CleanRow {
        /// Which.
        equipment_id: i64 => BigInt,
        /// In which way, in the version then in force.
        clean_kind_version_id: i64 => BigInt,
        /// When.
        cleaned_at: NaiveDateTime => Timestamp,
        /// Remarks.
        note: Option<String> => Nullable<Text>,
    }
}

fact! {
    /// A clean that did not happen as written.
    clean_voids => CleanVoidRow {
        /// Which.
        clean_id: i64 => BigInt,
        /// Why.
        reason: String => Text,
    }
}

fact! {
    /// A run on equipment that did not happen as written.
    equipment_voids => EquipmentVoidRow {
        /// Which.
        batch_equipment_id: i64 => BigInt,
        /// Why.
        reason: String => Text,
    }
}

fact! {
    /// How a site serves from a moment on.
    serving_ways => ServingWayRow {
        /// Where.
        site_id: i64 => BigInt,
        /// From when.
        since: NaiveDateTime => Timestamp,
        /// One scoop serves all that is open in the case.
        shared_scoop: bool => Bool,
    }
}

fact! {
    /// How much of a batch stays behind on a piece of equipment, as measured.
    residues => ResidueRow {
        /// On which.
        equipment_id: i64 => BigInt,
        /// When it was measured.
        measured_at: NaiveDateTime => Timestamp,
        /// How much.
        mass_mg: i64 => BigInt,
        /// How it was measured.
        note: Option<String> => Nullable<Text>,
    }
}

fact! {
    /// How much of a batch a site reckons stays behind where nothing was measured; the newest counts.
    carry_over_defaults => CarryOverDefaultRow {
        /// Where.
        site_id: i64 => BigInt,
        /// How much.
        mass_mg: i64 => BigInt,
    }
}

/// A clean by row id.
pub fn clean(conn: &mut AnyConnection, id: i64) -> Result<Option<CleanRow>, StorageError> {
    Ok(cleans::table.find(id).first(conn).optional()?)
}
