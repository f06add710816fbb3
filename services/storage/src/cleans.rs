//! What carries something from one batch to the next, or keeps it from it: cleans of equipment, residues, shared scoops.

use std::collections::HashMap;

use chrono::NaiveDateTime;
use diesel::prelude::*;
use diesel::sql_query;
use diesel::sql_types::BigInt;

use crate::{AnyConnection, Fact, StorageError};

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

/// A version of a way of cleaning, with the code of what it is a version of, by row id.
pub fn clean_kind_version(
    conn: &mut AnyConnection,
    id: i64,
) -> Result<(CleanKindRow, CleanKindVersionRow), StorageError> {
    let version: CleanKindVersionRow = clean_kind_versions::table.find(id).first(conn)?;
    let kind = clean_kinds::table.find(version.clean_kind_id).first(conn)?;
    Ok((kind, version))
}

/// The cleans of a piece of equipment, the last made first, after (before) the one with this moment and id.
pub fn cleans_of(
    conn: &mut AnyConnection,
    equipment_id: i64,
    before: Option<(NaiveDateTime, i64)>,
    limit: i64,
) -> Result<Vec<CleanRow>, StorageError> {
    let mut query = cleans::table.filter(cleans::equipment_id.eq(equipment_id)).into_boxed();
    if let Some((at, id)) = before {
        query = query.filter(cleans::cleaned_at.lt(at).or(cleans::cleaned_at.eq(at).and(cleans::id.lt(id))));
    }
    Ok(query.order((cleans::cleaned_at.desc(), cleans::id.desc())).limit(limit).load(conn)?)
}

/// The voids among some cleans.
pub fn clean_voids_of(conn: &mut AnyConnection, ids: &[i64]) -> Result<Vec<CleanVoidRow>, StorageError> {
    Ok(CleanVoidRow::among(conn, "clean_id", ids)?)
}

/// The voids among some runs on equipment.
pub fn equipment_voids_of(conn: &mut AnyConnection, run_ids: &[i64]) -> Result<Vec<EquipmentVoidRow>, StorageError> {
    Ok(EquipmentVoidRow::among(conn, "batch_equipment_id", run_ids)?)
}

/// The ways a site served, the oldest first; of those since the same moment the last written down counts.
pub fn serving_ways_of(conn: &mut AnyConnection, site_id: i64) -> Result<Vec<ServingWayRow>, StorageError> {
    Ok(serving_ways::table
        .filter(serving_ways::site_id.eq(site_id))
        .order((serving_ways::since, serving_ways::id))
        .load(conn)?)
}

/// What was measured of a piece of equipment, the last measured first; of those of the same moment the last written down.
pub fn residues_of(conn: &mut AnyConnection, equipment_id: i64, limit: i64) -> Result<Vec<ResidueRow>, StorageError> {
    Ok(residues::table
        .filter(residues::equipment_id.eq(equipment_id))
        .order((residues::measured_at.desc(), residues::id.desc()))
        .limit(limit)
        .load(conn)?)
}

/// What a site reckons with where nothing was measured, the last written down first.
pub fn carry_over_defaults_of(
    conn: &mut AnyConnection,
    site_id: i64,
    limit: i64,
) -> Result<Vec<CarryOverDefaultRow>, StorageError> {
    Ok(carry_over_defaults::table
        .filter(carry_over_defaults::site_id.eq(site_id))
        .order(carry_over_defaults::id.desc())
        .limit(limit)
        .load(conn)?)
}

#[derive(QueryableByName)]
struct CarriedOver {
    #[diesel(sql_type = BigInt)]
    equipment_id: i64,
    #[diesel(sql_type = BigInt)]
    mass_mg: i64,
}

/// How much of a batch stays behind on each piece of equipment of which that is known: as last measured, else as the site
/// where it stands reckons; by equipment, in milligrams.
pub fn carry_over_in_force(conn: &mut AnyConnection) -> Result<HashMap<i64, i64>, StorageError> {
    let query = "SELECT e.id AS equipment_id, COALESCE( \
         (SELECT r.mass_mg FROM residues r WHERE r.equipment_id = e.id ORDER BY r.measured_at DESC, r.id DESC LIMIT 1), \
         (SELECT d.mass_mg FROM carry_over_defaults d WHERE d.site_id = \
         (SELECT v.site_id FROM equipment_versions v WHERE v.equipment_id = e.id ORDER BY v.version DESC LIMIT 1) \
         ORDER BY d.id DESC LIMIT 1), -1) AS mass_mg FROM equipment e";
    let rows: Vec<CarriedOver> = sql_query(query).load(conn)?;
    let known = rows.into_iter().filter(|row| row.mass_mg >= 0);
    Ok(known.map(|row| (row.equipment_id, row.mass_mg)).collect())
}
