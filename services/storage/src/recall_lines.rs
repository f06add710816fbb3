//! What a recall wants to know of lots: when they were served from, to whom they went, when they last came to a place.

use std::collections::HashMap;

use chrono::NaiveDateTime;
use diesel::dsl::{max, min};
use diesel::prelude::*;
use tubtrail_domain::place::State;

use crate::ids::CHUNK;
use crate::recalls::{recall_confirmations, recall_endings, recall_replies};
use crate::stock::{MovementRow, movements};
use crate::{AnyConnection, StorageError};

diesel::allow_tables_to_appear_in_same_query!(recall_confirmations, movements);

/// From when to when a lot was served from at a site.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Served {
    /// When it was opened there, or first served where that is not known.
    pub from: NaiveDateTime,
    /// When it was last served from.
    pub until: NaiveDateTime,
}

/// From when to when some lots were served from, by lot and site.
pub fn servings_of(conn: &mut AnyConnection, lot_ids: &[i64]) -> Result<HashMap<(i64, i64), Served>, StorageError> {
    let mut found = HashMap::new();
    for chunk in lot_ids.chunks(CHUNK) {
        let served: Vec<(i64, i64, Option<NaiveDateTime>, Option<NaiveDateTime>)> = movements::table
            .filter(movements::lot_id.eq_any(chunk.to_vec()))
            .filter(movements::to_state.eq(State::Served.word()))
            .group_by((movements::lot_id, movements::to_site_id))
            .select((
                movements::lot_id,
                movements::to_site_id,
                min(movements::occurred_at),
                max(movements::occurred_at),
            ))
            .load(conn)?;
        let opened: Vec<(i64, i64, Option<NaiveDateTime>)> = movements::table
            .filter(movements::lot_id.eq_any(chunk.to_vec()))
            .filter(movements::to_state.eq(State::Open.word()))
            .group_by((movements::lot_id, movements::to_site_id))
            .select((movements::lot_id, movements::to_site_id, min(movements::occurred_at)))
            .load(conn)?;
        let opened: HashMap<(i64, i64), NaiveDateTime> =
            opened.into_iter().filter_map(|(lot, site, at)| Some(((lot, site), at?))).collect();
        for (lot, site, first, last) in served {
            let (Some(first), Some(until)) = (first, last) else { continue };
            let from = opened.get(&(lot, site)).map_or(first, |opened| first.min(*opened));
            found.insert((lot, site), Served { from, until });
        }
    }
    Ok(found)
}

/// What of some lots was handed to customers, in the order it was written down.
pub fn consigned_of(conn: &mut AnyConnection, lot_ids: &[i64]) -> Result<Vec<MovementRow>, StorageError> {
    let mut found: Vec<MovementRow> = Vec::new();
    for chunk in lot_ids.chunks(CHUNK) {
        found.extend(
            movements::table
                .filter(movements::lot_id.eq_any(chunk.to_vec()))
                .filter(movements::to_state.eq(State::Consigned.word()))
                .load::<MovementRow>(conn)?,
        );
    }
    found.sort_by_key(|row| row.id);
    Ok(found)
}

/// The last journal entry by which some lots came to stand at each site, by lot and site.
pub fn brought_in(conn: &mut AnyConnection, lot_ids: &[i64]) -> Result<HashMap<(i64, i64), i64>, StorageError> {
    let mut found = HashMap::new();
    for chunk in lot_ids.chunks(CHUNK) {
        let rows: Vec<(i64, i64, Option<i64>)> = movements::table
            .filter(movements::lot_id.eq_any(chunk.to_vec()))
            .filter(movements::to_state.eq_any(on_hand()))
            .group_by((movements::lot_id, movements::to_site_id))
            .select((movements::lot_id, movements::to_site_id, max(movements::entry)))
            .load(conn)?;
        found.extend(rows.into_iter().filter_map(|(lot, site, entry)| Some(((lot, site), entry?))));
    }
    Ok(found)
}

/// What was last found of a lot at a site, in a word.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Found {
    /// The outcome.
    pub outcome: String,
    /// The journal entry that says so.
    pub entry: i64,
}

/// What was last found of all lots of a recall, up to a journal entry; by lot and site.
pub fn found_of(
    conn: &mut AnyConnection,
    recall_id: i64,
    until: i64,
) -> Result<HashMap<(i64, i64), Found>, StorageError> {
    let rows: Vec<(i64, i64, String, i64)> = recall_confirmations::table
        .filter(recall_confirmations::recall_id.eq(recall_id))
        .filter(recall_confirmations::entry.le(until))
        .order(recall_confirmations::id)
        .select((
            recall_confirmations::lot_id,
            recall_confirmations::site_id,
            recall_confirmations::outcome,
            recall_confirmations::entry,
        ))
        .load(conn)?;
    Ok(rows.into_iter().map(|(lot, site, outcome, entry)| ((lot, site), Found { outcome, entry })).collect())
}

/// The last journal entry, up to another, by which a lot of a recall came to stand at a site where something had been found of
/// it before; by lot and site.
pub fn brought_after(
    conn: &mut AnyConnection,
    recall_id: i64,
    until: i64,
) -> Result<HashMap<(i64, i64), i64>, StorageError> {
    let same =
        movements::lot_id.eq(recall_confirmations::lot_id).and(movements::to_site_id.eq(recall_confirmations::site_id));
    let rows: Vec<(i64, i64, Option<i64>)> = recall_confirmations::table
        .inner_join(movements::table.on(same))
        .filter(recall_confirmations::recall_id.eq(recall_id))
        .filter(movements::to_state.eq_any(on_hand()))
        .filter(movements::entry.gt(recall_confirmations::entry))
        .filter(movements::entry.le(until))
        .group_by((recall_confirmations::lot_id, recall_confirmations::site_id))
        .select((recall_confirmations::lot_id, recall_confirmations::site_id, max(movements::entry)))
        .load(conn)?;
    Ok(rows.into_iter().filter_map(|(lot, site, entry)| Some(((lot, site), entry?))).collect())
}

/// How much of some lots went back to the supplier from each site, up to a journal entry: lot, site, milligrams.
pub fn returned_of(
    conn: &mut AnyConnection,
    lot_ids: &[i64],
    until: i64,
) -> Result<Vec<(i64, i64, i64)>, StorageError> {
    let mut found = Vec::new();
    for chunk in lot_ids.chunks(CHUNK) {
        found.extend(
            movements::table
                .filter(movements::lot_id.eq_any(chunk.to_vec()))
                .filter(movements::to_state.eq(State::Supplier.word()))
                .filter(movements::entry.le(until))
                .select((movements::lot_id, movements::to_site_id, movements::mass_mg))
                .load::<(i64, i64, i64)>(conn)?,
        );
    }
    Ok(found)
}

/// Whether anything was found, answered or ended of a recall after a journal entry, up to and including another.
pub fn is_written_of(conn: &mut AnyConnection, recall_id: i64, after: i64, until: i64) -> Result<bool, StorageError> {
    let found = recall_confirmations::table
        .filter(recall_confirmations::recall_id.eq(recall_id))
        .filter(recall_confirmations::entry.gt(after).and(recall_confirmations::entry.le(until)));
    let answered = recall_replies::table
        .filter(recall_replies::recall_id.eq(recall_id))
        .filter(recall_replies::entry.gt(after).and(recall_replies::entry.le(until)));
    let ended = recall_endings::table
        .filter(recall_endings::recall_id.eq(recall_id))
        .filter(recall_endings::entry.gt(after).and(recall_endings::entry.le(until)));
    Ok(found.select(recall_confirmations::id).first::<i64>(conn).optional()?.is_some()
        || answered.select(recall_replies::id).first::<i64>(conn).optional()?.is_some()
        || ended.select(recall_endings::id).first::<i64>(conn).optional()?.is_some())
}

fn on_hand() -> Vec<&'static str> {
    State::ALL.iter().filter(|state| state.is_on_hand()).map(|state| state.word()).collect()
}

/// The lots of which a customer was ever handed any.
pub fn consigned_to(conn: &mut AnyConnection, partner_id: i64) -> Result<Vec<i64>, StorageError> {
    Ok(movements::table
        .filter(movements::partner_id.eq(partner_id))
        .filter(movements::to_state.eq(State::Consigned.word()))
        .select(movements::lot_id)
        .distinct()
        .load(conn)?)
}

/// The lots of batches into which something went, or was taken out again, by the entries in `(after, until]`, in no order and more
/// than once: of each, more or less is now what it was.
pub fn mixed_between(conn: &mut AnyConnection, after: i64, until: i64) -> Result<Vec<i64>, StorageError> {
    use crate::lots::{lots, untracked_inputs, use_voids, uses};
    let added = uses::table.filter(uses::entry.gt(after)).filter(uses::entry.le(until));
    let mut batches: Vec<i64> = added.select(uses::batch_id).load(conn)?;
    let loose =
        untracked_inputs::table.filter(untracked_inputs::entry.gt(after)).filter(untracked_inputs::entry.le(until));
    batches.extend(loose.select(untracked_inputs::batch_id).load::<i64>(conn)?);
    let voided = use_voids::table.filter(use_voids::entry.gt(after)).filter(use_voids::entry.le(until));
    let voided: Vec<i64> = voided.select(use_voids::use_id).load(conn)?;
    for ids in voided.chunks(CHUNK) {
        batches.extend(uses::table.filter(uses::id.eq_any(ids.to_vec())).select(uses::batch_id).load::<i64>(conn)?);
    }
    let mut found = Vec::new();
    for ids in batches.chunks(CHUNK) {
        let made = lots::table.filter(lots::batch_id.eq_any(ids.to_vec()));
        found.extend(made.select(lots::id).load::<i64>(conn)?);
    }
    Ok(found)
}
