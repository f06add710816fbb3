//! Lists of lots and deliveries, and what is looked up for many lots at once.

use std::collections::HashMap;

use chrono::{NaiveDate, NaiveDateTime};
use diesel::dsl::exists;
use diesel::prelude::*;

use crate::ids::CHUNK;
use crate::journal::journal;
use crate::lots::{BatchRow, DeliveryRow, LotRow, UntrackedInputRow, UseRow, deliveries, lots};
use crate::master_data::{ItemRow, ItemVersionRow, PartnerRow, RecipeRow, RecipeVersionRow, SiteRow};
use crate::stock::{LotRejectionRow, MovementRow, balances, movements};
use crate::{AnyConnection, Fact, StorageError};

diesel::allow_tables_to_appear_in_same_query!(lots, balances);

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
    let mut found = LotRow::among(conn, "delivery_id", delivery_ids)?;
    found.sort_by_key(|lot| lot.id);
    Ok(found)
}

/// The uses in some batches, voided ones too.
pub fn uses_of_batches(conn: &mut AnyConnection, batch_ids: &[i64]) -> Result<Vec<UseRow>, StorageError> {
    Ok(UseRow::among(conn, "batch_id", batch_ids)?)
}

/// What went into some batches without lots.
pub fn untracked_of_batches(
    conn: &mut AnyConnection,
    batch_ids: &[i64],
) -> Result<Vec<UntrackedInputRow>, StorageError> {
    Ok(UntrackedInputRow::among(conn, "batch_id", batch_ids)?)
}

/// The lots some batches yielded.
pub fn lots_of_batches(conn: &mut AnyConnection, batch_ids: &[i64]) -> Result<Vec<LotRow>, StorageError> {
    Ok(LotRow::among(conn, "batch_id", batch_ids)?)
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

/// Who made a journal entry, and when it was committed.
pub fn author(conn: &mut AnyConnection, entry: i64) -> Result<(String, NaiveDateTime), StorageError> {
    let missing = || StorageError::Corrupt(format!("journal entry {entry} is missing"));
    authors(conn, &[entry])?.remove(&entry).ok_or_else(missing)
}

/// How each of some lots was turned away; those that were not are not in it.
pub fn rejections_of(conn: &mut AnyConnection, lot_ids: &[i64]) -> Result<HashMap<i64, LotRejectionRow>, StorageError> {
    let found = LotRejectionRow::among(conn, "lot_id", lot_ids)?;
    Ok(found.into_iter().map(|rejection| (rejection.lot_id, rejection)).collect())
}

/// Code and name of some items, by row id; the name as it is now.
pub fn item_labels(conn: &mut AnyConnection, ids: &[i64]) -> Result<HashMap<i64, (String, String)>, StorageError> {
    let ids = distinct(ids);
    let mut versions = ItemVersionRow::among(conn, "item_id", &ids)?;
    versions.sort_by_key(|version| version.version);
    let mut names: HashMap<i64, String> = versions.into_iter().map(|version| (version.item_id, version.name)).collect();
    let labels = ItemRow::among(conn, "id", &ids)?.into_iter().map(|row| {
        let missing = || StorageError::Corrupt(format!("item {} has no version", row.id));
        let name = names.remove(&row.id).ok_or_else(missing)?;
        Ok((row.id, (row.code, name)))
    });
    labels.collect()
}

/// The codes of some sites, by row id.
pub fn site_codes(conn: &mut AnyConnection, ids: &[i64]) -> Result<HashMap<i64, String>, StorageError> {
    let sites = SiteRow::among(conn, "id", &distinct(ids))?;
    Ok(sites.into_iter().map(|site| (site.id, site.code)).collect())
}

/// The codes of some partners, by row id.
pub fn partner_codes(conn: &mut AnyConnection, ids: &[i64]) -> Result<HashMap<i64, String>, StorageError> {
    let partners = PartnerRow::among(conn, "id", &distinct(ids))?;
    Ok(partners.into_iter().map(|partner| (partner.id, partner.code)).collect())
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
    let rows = BatchRow::among(conn, "id", &distinct(ids))?;
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
    let versions = RecipeVersionRow::among(conn, "id", &distinct(ids))?;
    let recipe_ids: Vec<i64> = versions.iter().map(|version| version.recipe_id).collect();
    let recipes = RecipeRow::among(conn, "id", &distinct(&recipe_ids))?;
    let codes: HashMap<i64, String> = recipes.into_iter().map(|recipe| (recipe.id, recipe.code)).collect();
    let named = versions.into_iter();
    Ok(named.filter_map(|version| Some((version.id, (codes.get(&version.recipe_id)?.clone(), version.name)))).collect())
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
