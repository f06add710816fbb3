//! What the index in memory must hear of to know what is in every lot: statements, untracked inputs, runs and cleans.

use chrono::{NaiveDate, NaiveDateTime};
use diesel::prelude::*;

use crate::cleans::{clean_kind_versions, clean_voids, cleans, equipment_voids};
use crate::ids::CHUNK;
use crate::lots::{batch_equipment, batches, lots, untracked_inputs};
use crate::master_data::{item_versions, site_versions};
use crate::statements::{StatementProteinRow, StatementRow, statement_proteins, statements, statements_by_ids};
use crate::{AnyConnection, StorageError};

diesel::joinable!(untracked_inputs -> batches (batch_id));
diesel::joinable!(cleans -> clean_kind_versions (clean_kind_version_id));
diesel::joinable!(clean_voids -> cleans (clean_id));
diesel::joinable!(equipment_voids -> batch_equipment (batch_equipment_id));
diesel::allow_tables_to_appear_in_same_query!(untracked_inputs, batches);
diesel::allow_tables_to_appear_in_same_query!(cleans, clean_kind_versions, clean_voids);
diesel::allow_tables_to_appear_in_same_query!(equipment_voids, batch_equipment);

/// A lot, as far as it decides which statement holds for it.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Queryable)]
pub struct StatedLot {
    /// Row id.
    pub id: i64,
    /// Of what.
    pub item_id: i64,
    /// From whom, if received.
    pub supplier_id: Option<i64>,
    /// By which batch, if made.
    pub batch_id: Option<i64>,
    /// The day, where it came to be.
    pub day: NaiveDate,
}

/// Something without a lot in a batch, as far as it decides which statement holds for it.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Queryable)]
pub struct StatedInput {
    /// In which batch.
    pub batch_id: i64,
    /// Of what.
    pub item_id: i64,
    /// Where.
    pub site_id: i64,
    /// When the batch began.
    pub started_at: NaiveDateTime,
    /// The journal entry that brought the batch.
    pub batch_entry: i64,
}

/// A batch on equipment.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Queryable)]
pub struct EquipmentRun {
    /// Row id.
    pub id: i64,
    /// Which batch.
    pub batch_id: i64,
    /// On what.
    pub equipment_id: i64,
    /// From when.
    pub from: NaiveDateTime,
    /// Until when.
    pub until: Option<NaiveDateTime>,
}

/// A clean of equipment.
#[derive(Clone, Debug, PartialEq, Eq, Queryable)]
pub struct EquipmentClean {
    /// Row id.
    pub id: i64,
    /// Of what.
    pub equipment_id: i64,
    /// When.
    pub at: NaiveDateTime,
    /// What it clears, as its kind says it.
    pub clears: String,
}

/// A run or a clean that did not happen as written.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Queryable)]
pub struct Voided {
    /// Its row id.
    pub id: i64,
    /// On or of what.
    pub equipment_id: i64,
}

/// The time zone of a site from a journal entry on.
#[derive(Clone, Debug, PartialEq, Eq, Queryable)]
pub struct SiteZone {
    /// Which site.
    pub site_id: i64,
    /// From which entry on.
    pub entry: i64,
    /// IANA name.
    pub time_zone: String,
}

/// What changed after a journal entry, up to and including another, that says what is in lots.
#[derive(Debug, Default)]
pub struct ContentChanges {
    /// New statements, in order of id.
    pub statements: Vec<StatementRow>,
    /// How much protein they tell of.
    pub proteins: Vec<StatementProteinRow>,
    /// The statements that no longer count because of the new ones.
    pub corrected: Vec<StatementRow>,
    /// Items that are counted as a plain spirit.
    pub spirits: Vec<i64>,
    /// New time zones of sites.
    pub zones: Vec<SiteZone>,
    /// New inputs without a lot.
    pub untracked: Vec<StatedInput>,
    /// New runs.
    pub runs: Vec<EquipmentRun>,
    /// Runs that did not happen as written.
    pub run_voids: Vec<Voided>,
    /// New cleans.
    pub cleans: Vec<EquipmentClean>,
    /// Cleans that did not happen as written.
    pub clean_voids: Vec<Voided>,
    /// Lots from before of which something else may be stated now.
    pub lots: Vec<StatedLot>,
    /// Everything without a lot in batches from before of which something else may be stated now.
    pub inputs: Vec<StatedInput>,
}

/// The tables that [`ContentChanges`] are read from.
pub const CONTENTS: [&str; 9] = [
    "statements",
    "statement_proteins",
    "item_versions",
    "site_versions",
    "untracked_inputs",
    "batch_equipment",
    "equipment_voids",
    "cleans",
    "clean_voids",
];

/// Reads [`ContentChanges`] for the entries in `(after, until]`.
pub fn content_changes(conn: &mut AnyConnection, after: i64, until: i64) -> Result<ContentChanges, StorageError> {
    let mut changes = statement_changes(conn, after, until)?;
    changes.untracked = untracked_inputs::table
        .inner_join(batches::table)
        .filter(untracked_inputs::entry.gt(after))
        .filter(untracked_inputs::entry.le(until))
        .order(untracked_inputs::id)
        .select(stated_input())
        .load(conn)?;
    equipment_changes(conn, after, until, &mut changes)?;
    let (items, lot_ids) = touched(&changes);
    changes.lots = stated_lots(conn, &items, &lot_ids, after)?;
    changes.inputs = inputs_beside(conn, &items, after)?;
    Ok(changes)
}

pub(crate) fn statement_changes(
    conn: &mut AnyConnection,
    after: i64,
    until: i64,
) -> Result<ContentChanges, StorageError> {
    let new: Vec<StatementRow> = statements::table
        .filter(statements::entry.gt(after))
        .filter(statements::entry.le(until))
        .order(statements::id)
        .load(conn)?;
    let corrected: Vec<i64> = new.iter().filter_map(|row| row.corrects_id).collect();
    Ok(ContentChanges {
        proteins: statement_proteins::table
            .filter(statement_proteins::entry.gt(after))
            .filter(statement_proteins::entry.le(until))
            .order(statement_proteins::id)
            .load(conn)?,
        corrected: statements_by_ids(conn, &corrected)?,
        statements: new,
        spirits: item_versions::table
            .filter(item_versions::entry.gt(after))
            .filter(item_versions::entry.le(until))
            .filter(item_versions::counted_by.eq("strength"))
            .select(item_versions::item_id)
            .distinct()
            .load(conn)?,
        zones: site_versions::table
            .filter(site_versions::entry.gt(after))
            .filter(site_versions::entry.le(until))
            .order(site_versions::id)
            .select((site_versions::site_id, site_versions::entry, site_versions::time_zone))
            .load(conn)?,
        ..ContentChanges::default()
    })
}

fn equipment_changes(
    conn: &mut AnyConnection,
    after: i64,
    until: i64,
    changes: &mut ContentChanges,
) -> Result<(), StorageError> {
    changes.runs = batch_equipment::table
        .filter(batch_equipment::entry.gt(after))
        .filter(batch_equipment::entry.le(until))
        .order(batch_equipment::id)
        .select(equipment_run())
        .load(conn)?;
    changes.run_voids = equipment_voids::table
        .inner_join(batch_equipment::table)
        .filter(equipment_voids::entry.gt(after))
        .filter(equipment_voids::entry.le(until))
        .select((batch_equipment::id, batch_equipment::equipment_id))
        .load(conn)?;
    changes.cleans = cleans::table
        .inner_join(clean_kind_versions::table)
        .filter(cleans::entry.gt(after))
        .filter(cleans::entry.le(until))
        .order(cleans::id)
        .select((cleans::id, cleans::equipment_id, cleans::cleaned_at, clean_kind_versions::clears))
        .load(conn)?;
    changes.clean_voids = clean_voids::table
        .inner_join(cleans::table)
        .filter(clean_voids::entry.gt(after))
        .filter(clean_voids::entry.le(until))
        .select((cleans::id, cleans::equipment_id))
        .load(conn)?;
    Ok(())
}

/// The items, and the single lots, of which something else may be stated now.
fn touched(changes: &ContentChanges) -> (Vec<i64>, Vec<i64>) {
    let mut items = changes.spirits.clone();
    let mut lot_ids = Vec::new();
    for row in changes.statements.iter().chain(&changes.corrected) {
        match row.lot_id {
            Some(lot) => lot_ids.push(lot),
            None => items.push(row.item_id),
        }
    }
    for list in [&mut items, &mut lot_ids] {
        list.sort_unstable();
        list.dedup();
    }
    (items, lot_ids)
}

/// The lots of some items, and some single lots, that an entry or one before it brought.
pub fn stated_lots(
    conn: &mut AnyConnection,
    items: &[i64],
    lot_ids: &[i64],
    until: i64,
) -> Result<Vec<StatedLot>, StorageError> {
    let columns = (lots::id, lots::item_id, lots::supplier_id, lots::batch_id, lots::day);
    let mut found: Vec<StatedLot> = Vec::new();
    for chunk in items.chunks(CHUNK) {
        let of_items = lots::table.filter(lots::item_id.eq_any(chunk.to_vec())).filter(lots::entry.le(until));
        found.extend(of_items.select(columns).load::<StatedLot>(conn)?);
    }
    for chunk in lot_ids.chunks(CHUNK) {
        let these = lots::table.filter(lots::id.eq_any(chunk.to_vec())).filter(lots::entry.le(until));
        found.extend(these.select(columns).load::<StatedLot>(conn)?);
    }
    Ok(found)
}

/// Everything without a lot in the batches that took some items so, as an entry left it.
pub fn inputs_beside(conn: &mut AnyConnection, items: &[i64], until: i64) -> Result<Vec<StatedInput>, StorageError> {
    let mut batch_ids: Vec<i64> = Vec::new();
    for chunk in items.chunks(CHUNK) {
        let of_items = untracked_inputs::table
            .filter(untracked_inputs::item_id.eq_any(chunk.to_vec()))
            .filter(untracked_inputs::entry.le(until));
        batch_ids.extend(of_items.select(untracked_inputs::batch_id).distinct().load::<i64>(conn)?);
    }
    batch_ids.sort_unstable();
    batch_ids.dedup();
    let mut found = Vec::new();
    for chunk in batch_ids.chunks(CHUNK) {
        let inputs = untracked_inputs::table
            .inner_join(batches::table)
            .filter(untracked_inputs::batch_id.eq_any(chunk.to_vec()))
            .filter(untracked_inputs::entry.le(until));
        found.extend(inputs.select(stated_input()).load::<StatedInput>(conn)?);
    }
    Ok(found)
}

pub(crate) type InputColumns =
    (untracked_inputs::batch_id, untracked_inputs::item_id, batches::site_id, batches::started_at, batches::entry);

pub(crate) const fn stated_input() -> InputColumns {
    (untracked_inputs::batch_id, untracked_inputs::item_id, batches::site_id, batches::started_at, batches::entry)
}

type RunColumns = (
    batch_equipment::id,
    batch_equipment::batch_id,
    batch_equipment::equipment_id,
    batch_equipment::used_from,
    batch_equipment::used_until,
);

const fn equipment_run() -> RunColumns {
    (
        batch_equipment::id,
        batch_equipment::batch_id,
        batch_equipment::equipment_id,
        batch_equipment::used_from,
        batch_equipment::used_until,
    )
}
