//! What changed in the lot graph, as the index takes it in; [`crate::whole_graph`] reads all of it at once.

use chrono::NaiveDate;
use diesel::prelude::*;

use crate::lots::{UseVoidRow, batches, lots, untracked_inputs, use_voids, uses};
use crate::{AnyConnection, StorageError};

/// A use as the graph sees it.
#[derive(Clone, Copy, Debug, Queryable)]
pub struct GraphUse {
    /// Row id.
    pub id: i64,
    /// Of which lot.
    pub lot_id: i64,
    /// Into which batch.
    pub batch_id: i64,
    /// How much.
    pub mass_mg: i64,
}

/// A lot as the graph sees it.
#[derive(Clone, Copy, Debug, Queryable)]
pub struct GraphLot {
    /// Row id.
    pub id: i64,
    /// By which batch, if made.
    pub batch_id: Option<i64>,
    /// How much.
    pub mass_mg: i64,
    /// Of what.
    pub item_id: i64,
    /// From whom, if received.
    pub supplier_id: Option<i64>,
    /// The day, where it came to be.
    pub day: NaiveDate,
}

/// What changed in the lot graph after a journal entry, up to and including another.
#[derive(Debug, Default)]
pub struct GraphChanges {
    /// New batches, in order of id.
    pub batches: Vec<i64>,
    /// New lots, in order of id.
    pub lots: Vec<GraphLot>,
    /// New uses, in order of id.
    pub uses: Vec<GraphUse>,
    /// New voids: the void's row id and the use it takes back; in order of id.
    pub voids: Vec<(i64, GraphUse)>,
    /// New untracked inputs: batch and mass in milligrams.
    pub untracked: Vec<(i64, i64)>,
}

/// The tables that [`GraphChanges`] are read from.
pub const GRAPH: [&str; 5] = ["batches", "lots", "uses", "use_voids", "untracked_inputs"];

/// Reads [`GraphChanges`] for the entries in `(after, until]`.
pub fn graph_changes(conn: &mut AnyConnection, after: i64, until: i64) -> Result<GraphChanges, StorageError> {
    let new_batches = batches::table
        .filter(batches::entry.gt(after))
        .filter(batches::entry.le(until))
        .order(batches::id)
        .select(batches::id)
        .load(conn)?;
    let new_lots = lots::table
        .filter(lots::entry.gt(after))
        .filter(lots::entry.le(until))
        .order(lots::id)
        .select((lots::id, lots::batch_id, lots::mass_mg, lots::item_id, lots::supplier_id, lots::day))
        .load(conn)?;
    let new_uses = uses::table
        .filter(uses::entry.gt(after))
        .filter(uses::entry.le(until))
        .order(uses::id)
        .select((uses::id, uses::lot_id, uses::batch_id, uses::mass_mg))
        .load(conn)?;
    let void_rows: Vec<UseVoidRow> = use_voids::table
        .filter(use_voids::entry.gt(after))
        .filter(use_voids::entry.le(until))
        .order(use_voids::id)
        .load(conn)?;
    let mut voids = Vec::with_capacity(void_rows.len());
    for row in void_rows {
        let voided =
            uses::table.find(row.use_id).select((uses::id, uses::lot_id, uses::batch_id, uses::mass_mg)).first(conn)?;
        voids.push((row.id, voided));
    }
    let untracked = untracked_inputs::table
        .filter(untracked_inputs::entry.gt(after))
        .filter(untracked_inputs::entry.le(until))
        .order(untracked_inputs::id)
        .select((untracked_inputs::batch_id, untracked_inputs::mass_mg))
        .load(conn)?;
    Ok(GraphChanges { batches: new_batches, lots: new_lots, uses: new_uses, voids, untracked })
}
