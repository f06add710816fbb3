//! Lists of lots and deliveries, and what is looked up for many lots at once, each with one statement a chunk.

use std::collections::{HashMap, HashSet};

use chrono::{NaiveDate, NaiveDateTime};
use diesel::dsl::exists;
use diesel::prelude::*;

use crate::journal::journal;
use crate::lots::{
    BatchRow, DeliveryRow, LotRow, UntrackedInputRow, UseRow, batches, deliveries, lots, untracked_inputs, uses,
};
use crate::master_data::{
    ItemRow, ItemVersionRow, RecipeRow, RecipeVersionRow, item_versions, items, partners, recipe_versions, recipes,
    sites,
};
use crate::stock::{
    HoldReleaseRow, HoldRow, LotRejectionRow, MovementRow, balances, hold_releases, holds, lot_rejections, movements,
};
use crate::{AnyConnection, StorageError};

diesel::allow_tables_to_appear_in_same_query!(lots, balances);

/// Values in one statement; SQLite bounds them.
const CHUNK: usize = 500;

/// Which lots to list; absent fields do not narrow.
#[derive(Clone, Debug, Default)]
pub struct LotFilter {
    /// With this number: day and serial.
    pub number: Option<(NaiveDate, i32)>,
    /// With exactly this code of the supplier's.
    pub supplier_lot_code: Option<String>,
    /// With a code of the supplier's that begins like this, case and all.
    pub supplier_lot_code_prefix: Option<String>,
    /// From this supplier.
    pub supplier_id: Option<i64>,
    /// Of this item.
    pub item_id: Option<i64>,
    /// Of this kind.
    pub kind: Option<String>,
    /// Numbered on this day or later.
    pub day_from: Option<NaiveDate>,
    /// Numbered on this day or earlier.
    pub day_to: Option<NaiveDate>,
    /// That came to be at one of these sites, or have ever been there.
    pub sites: Option<Vec<i64>>,
}

/// The next lots that match after a row id, in order of id.
pub fn lots_page(
    conn: &mut AnyConnection,
    filter: &LotFilter,
    after: i64,
    limit: i64,
) -> Result<Vec<LotRow>, StorageError> {
    let mut query = lots::table.filter(lots::id.gt(after)).order(lots::id).limit(limit).into_boxed();
    if let Some((day, serial)) = filter.number {
        query = query.filter(lots::day.eq(day)).filter(lots::serial.eq(serial));
    }
    if let Some(code) = &filter.supplier_lot_code {
        query = query.filter(lots::supplier_lot_code.eq(code.clone()));
    }
    if let Some(prefix) = &filter.supplier_lot_code_prefix {
        query = query.filter(lots::supplier_lot_code.ge(prefix.clone()));
        if let Some(end) = end_of_prefix(prefix) {
            query = query.filter(lots::supplier_lot_code.lt(end));
        }
    }
    if let Some(supplier_id) = filter.supplier_id {
        query = query.filter(lots::supplier_id.eq(supplier_id));
    }
    if let Some(item_id) = filter.item_id {
        query = query.filter(lots::item_id.eq(item_id));
    }
    if let Some(kind) = &filter.kind {
        query = query.filter(lots::kind.eq(kind.clone()));
    }
    if let Some(day) = filter.day_from {
        query = query.filter(lots::day.ge(day));
    }
    if let Some(day) = filter.day_to {
        query = query.filter(lots::day.le(day));
    }
    if let Some(sites) = &filter.sites {
        let been_there =
            balances::table.filter(balances::lot_id.eq(lots::id)).filter(balances::site_id.eq_any(sites.clone()));
        query = query.filter(lots::site_id.eq_any(sites.clone()).or(exists(been_there)));
    }
    Ok(query.load(conn)?)
}

/// The first text after all that begin with `prefix`, in order of code points; none where nothing comes after them.
fn end_of_prefix(prefix: &str) -> Option<String> {
    let mut end: Vec<char> = prefix.chars().collect();
    while let Some(last) = end.pop() {
        let after = (u32::from(last) + 1..=u32::from(char::MAX)).find_map(char::from_u32);
        if let Some(after) = after {
            end.push(after);
            return Some(end.into_iter().collect());
        }
    }
    None
}

/// Which deliveries to list; absent fields do not narrow.
#[derive(Clone, Debug, Default)]
pub struct DeliveryFilter {
    /// From this supplier.
    pub supplier_id: Option<i64>,
    /// At one of these sites.
    pub sites: Option<Vec<i64>>,
    /// Under exactly this document.
    pub document: Option<String>,
    /// That arrived then or later.
    pub from: Option<NaiveDateTime>,
    /// That arrived before.
    pub until: Option<NaiveDateTime>,
}

/// The next deliveries that match after a row id, in order of id.
pub fn deliveries_page(
    conn: &mut AnyConnection,
    filter: &DeliveryFilter,
    after: i64,
    limit: i64,
) -> Result<Vec<DeliveryRow>, StorageError> {
    let mut query = deliveries::table.filter(deliveries::id.gt(after)).order(deliveries::id).limit(limit).into_boxed();
    if let Some(supplier_id) = filter.supplier_id {
        query = query.filter(deliveries::supplier_id.eq(supplier_id));
    }
    if let Some(sites) = &filter.sites {
        query = query.filter(deliveries::site_id.eq_any(sites.clone()));
    }
    if let Some(document) = &filter.document {
        query = query.filter(deliveries::document.eq(document.clone()));
    }
    if let Some(from) = filter.from {
        query = query.filter(deliveries::arrived_at.ge(from));
    }
    if let Some(until) = filter.until {
        query = query.filter(deliveries::arrived_at.lt(until));
    }
    Ok(query.load(conn)?)
}

/// The lots of some deliveries, in order of id.
pub fn lots_of_deliveries(conn: &mut AnyConnection, delivery_ids: &[i64]) -> Result<Vec<LotRow>, StorageError> {
    let mut found = Vec::new();
    for chunk in delivery_ids.chunks(CHUNK) {
        found.extend(lots::table.filter(lots::delivery_id.eq_any(chunk.to_vec())).load::<LotRow>(conn)?);
    }
    found.sort_by_key(|lot| lot.id);
    Ok(found)
}

/// The uses in some batches, voided ones too.
pub fn uses_of_batches(conn: &mut AnyConnection, batch_ids: &[i64]) -> Result<Vec<UseRow>, StorageError> {
    let mut found = Vec::new();
    for chunk in batch_ids.chunks(CHUNK) {
        found.extend(uses::table.filter(uses::batch_id.eq_any(chunk.to_vec())).load::<UseRow>(conn)?);
    }
    Ok(found)
}

/// What went into some batches without lots.
pub fn untracked_of_batches(
    conn: &mut AnyConnection,
    batch_ids: &[i64],
) -> Result<Vec<UntrackedInputRow>, StorageError> {
    let mut found = Vec::new();
    for chunk in batch_ids.chunks(CHUNK) {
        let chunk = untracked_inputs::table.filter(untracked_inputs::batch_id.eq_any(chunk.to_vec()));
        found.extend(chunk.load::<UntrackedInputRow>(conn)?);
    }
    Ok(found)
}

/// The lots some batches yielded.
pub fn lots_of_batches(conn: &mut AnyConnection, batch_ids: &[i64]) -> Result<Vec<LotRow>, StorageError> {
    let mut found = Vec::new();
    for chunk in batch_ids.chunks(CHUNK) {
        found.extend(lots::table.filter(lots::batch_id.eq_any(chunk.to_vec())).load::<LotRow>(conn)?);
    }
    Ok(found)
}

/// The sites where a lot has ever been, or has an account, besides the one where it came to be.
pub fn sites_of_lot(conn: &mut AnyConnection, lot_id: i64) -> Result<Vec<i64>, StorageError> {
    Ok(balances::table.filter(balances::lot_id.eq(lot_id)).select(balances::site_id).distinct().load(conn)?)
}

/// A lot's movements after a row id, oldest first.
pub fn movements_page(
    conn: &mut AnyConnection,
    lot_id: i64,
    after: i64,
    limit: i64,
) -> Result<Vec<MovementRow>, StorageError> {
    Ok(movements::table
        .filter(movements::lot_id.eq(lot_id))
        .filter(movements::id.gt(after))
        .order(movements::id)
        .limit(limit)
        .load(conn)?)
}

/// Who made some journal entries, and when they were committed; by position.
pub fn authors(
    conn: &mut AnyConnection,
    entries: &[i64],
) -> Result<HashMap<i64, (String, NaiveDateTime)>, StorageError> {
    let mut found = HashMap::new();
    for chunk in distinct(entries).chunks(CHUNK) {
        let rows: Vec<(i64, String, NaiveDateTime)> = journal::table
            .filter(journal::seq.eq_any(chunk.to_vec()))
            .select((journal::seq, journal::actor, journal::recorded_at))
            .load(conn)?;
        found.extend(rows.into_iter().map(|(seq, actor, recorded_at)| (seq, (actor, recorded_at))));
    }
    Ok(found)
}

/// The hold that keeps each of some lots: the oldest not released. Lots that are not on hold are not in it.
pub fn holds_on(conn: &mut AnyConnection, lot_ids: &[i64]) -> Result<HashMap<i64, HoldRow>, StorageError> {
    let mut found: Vec<HoldRow> = Vec::new();
    for chunk in lot_ids.chunks(CHUNK) {
        found.extend(holds::table.filter(holds::lot_id.eq_any(chunk.to_vec())).load::<HoldRow>(conn)?);
    }
    let mut released = HashSet::new();
    let ids: Vec<i64> = found.iter().map(|hold| hold.id).collect();
    for chunk in ids.chunks(CHUNK) {
        let rows: Vec<HoldReleaseRow> =
            hold_releases::table.filter(hold_releases::hold_id.eq_any(chunk.to_vec())).load(conn)?;
        released.extend(rows.into_iter().map(|release| release.hold_id));
    }
    found.retain(|hold| !released.contains(&hold.id));
    found.sort_by_key(|hold| std::cmp::Reverse(hold.id));
    Ok(found.into_iter().map(|hold| (hold.lot_id, hold)).collect())
}

/// How each of some lots was turned away; those that were not are not in it.
pub fn rejections_of(conn: &mut AnyConnection, lot_ids: &[i64]) -> Result<HashMap<i64, LotRejectionRow>, StorageError> {
    let mut found = HashMap::new();
    for chunk in lot_ids.chunks(CHUNK) {
        let rows: Vec<LotRejectionRow> =
            lot_rejections::table.filter(lot_rejections::lot_id.eq_any(chunk.to_vec())).load(conn)?;
        found.extend(rows.into_iter().map(|rejection| (rejection.lot_id, rejection)));
    }
    Ok(found)
}

/// Code and name of some items, by row id; the name as it is now.
pub fn item_labels(conn: &mut AnyConnection, ids: &[i64]) -> Result<HashMap<i64, (String, String)>, StorageError> {
    let mut labels = HashMap::new();
    for chunk in distinct(ids).chunks(CHUNK) {
        let rows: Vec<ItemRow> = items::table.filter(items::id.eq_any(chunk.to_vec())).load(conn)?;
        let versions: Vec<ItemVersionRow> = item_versions::table
            .filter(item_versions::item_id.eq_any(chunk.to_vec()))
            .order(item_versions::version)
            .load(conn)?;
        let names: HashMap<i64, String> = versions.into_iter().map(|version| (version.item_id, version.name)).collect();
        for row in rows {
            let name = names.get(&row.id).cloned();
            let name = name.ok_or_else(|| StorageError::Corrupt(format!("item {} has no version", row.id)))?;
            labels.insert(row.id, (row.code, name));
        }
    }
    Ok(labels)
}

/// The codes of some sites, by row id.
pub fn site_codes(conn: &mut AnyConnection, ids: &[i64]) -> Result<HashMap<i64, String>, StorageError> {
    let mut codes = HashMap::new();
    for chunk in distinct(ids).chunks(CHUNK) {
        let rows: Vec<(i64, String)> =
            sites::table.filter(sites::id.eq_any(chunk.to_vec())).select((sites::id, sites::code)).load(conn)?;
        codes.extend(rows);
    }
    Ok(codes)
}

/// The codes of some partners, by row id.
pub fn partner_codes(conn: &mut AnyConnection, ids: &[i64]) -> Result<HashMap<i64, String>, StorageError> {
    let mut codes = HashMap::new();
    for chunk in distinct(ids).chunks(CHUNK) {
        let rows: Vec<(i64, String)> = partners::table
            .filter(partners::id.eq_any(chunk.to_vec()))
            .select((partners::id, partners::code))
            .load(conn)?;
        codes.extend(rows);
    }
    Ok(codes)
}

/// A batch with the code and name of its recipe, as they were then.
#[derive(Clone, Debug)]
pub struct NamedBatch {
    /// The batch.
    pub batch: BatchRow,
    /// The recipe's code.
    pub recipe: String,
    /// The recipe's name in the version that was used.
    pub name: String,
}

/// Some batches, by row id.
pub fn named_batches(conn: &mut AnyConnection, ids: &[i64]) -> Result<HashMap<i64, NamedBatch>, StorageError> {
    let mut rows: Vec<BatchRow> = Vec::new();
    for chunk in distinct(ids).chunks(CHUNK) {
        rows.extend(batches::table.filter(batches::id.eq_any(chunk.to_vec())).load::<BatchRow>(conn)?);
    }
    let versions = versions_of(conn, &rows.iter().map(|batch| batch.recipe_version_id).collect::<Vec<_>>())?;
    let named = rows.into_iter().map(|batch| {
        let (recipe, name) = versions
            .get(&batch.recipe_version_id)
            .cloned()
            .ok_or_else(|| StorageError::Corrupt(format!("batch {} names a missing version of a recipe", batch.id)))?;
        Ok((batch.id, NamedBatch { batch, recipe, name }))
    });
    named.collect()
}

/// Code and name of some versions of recipes.
fn versions_of(conn: &mut AnyConnection, ids: &[i64]) -> Result<HashMap<i64, (String, String)>, StorageError> {
    let mut found = HashMap::new();
    for chunk in distinct(ids).chunks(CHUNK) {
        let versions: Vec<RecipeVersionRow> =
            recipe_versions::table.filter(recipe_versions::id.eq_any(chunk.to_vec())).load(conn)?;
        let recipe_ids: Vec<i64> = versions.iter().map(|version| version.recipe_id).collect();
        let rows: Vec<RecipeRow> = recipes::table.filter(recipes::id.eq_any(recipe_ids)).load(conn)?;
        let codes: HashMap<i64, String> = rows.into_iter().map(|recipe| (recipe.id, recipe.code)).collect();
        for version in versions {
            if let Some(code) = codes.get(&version.recipe_id) {
                found.insert(version.id, (code.clone(), version.name));
            }
        }
    }
    Ok(found)
}

fn distinct(ids: &[i64]) -> Vec<i64> {
    let mut ids = ids.to_vec();
    ids.sort_unstable();
    ids.dedup();
    ids
}

#[cfg(test)]
mod tests {
    use super::end_of_prefix;

    #[test]
    fn the_end_of_a_prefix_is_the_next_text_that_does_not_begin_with_it() {
        assert_eq!(end_of_prefix("24-1").as_deref(), Some("24-2"));
        assert_eq!(end_of_prefix("é").as_deref(), Some("ê"));
        assert_eq!(end_of_prefix("a\u{d7ff}").as_deref(), Some("a\u{e000}"), "no code points lie between these");
        assert_eq!(end_of_prefix("a\u{10ffff}").as_deref(), Some("b"));
        assert_eq!(end_of_prefix("\u{10ffff}"), None);
        assert_eq!(end_of_prefix(""), None);
    }
}
