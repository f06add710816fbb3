//! Statements: what suppliers and the maker say is in an item, or in one lot of it.

use std::collections::{HashMap, HashSet};
use std::fmt::Write as _;

use chrono::NaiveDate;
use diesel::prelude::*;
use diesel::sql_query;
use diesel::sql_types::BigInt;

use crate::ids::listed;
use crate::{AnyConnection, Fact, StorageError};

fact! {
    /// What is said to be in an item from a day on, or in a single lot.
    statements => StatementRow {
        /// Of what.
        item_id: i64 => BigInt,
        /// By which supplier, of what that supplier brings; none: by the maker.
        supplier_id: Option<i64> => Nullable<BigInt>,
        /// Of this lot alone.
        lot_id: Option<i64> => Nullable<BigInt>,
        /// Of lots that came to be on this day or later, where they came to be; none: of a single lot.
        in_force_from: Option<NaiveDate> => Nullable<Date>,
        /// The lists it answers to, comma-separated: eu, us, ca.
        lists: String => Text,
        /// Words of substances and groups, comma-separated.
        contains: String => Text,
        /// Words of substances and groups, comma-separated.
        may_contain: String => Text,
        /// As written by the person, milligrams of SO2 in a kilogram.
        sulphites_ppm: Option<String> => Nullable<Text>,
        /// As written by the person, per cent by volume.
        alcohol_percent_vol: Option<String> => Nullable<Text>,
        /// The paper it stands on.
        document: String => Text,
        /// Remarks.
        note: Option<String> => Nullable<Text>,
        /// The statement it stands in for; that one no longer counts.
        corrects_id: Option<i64> => Nullable<BigInt>,
        /// Why that one was wrong.
        reason: Option<String> => Nullable<Text>,
    }
}

fact! {
    /// How much protein of a substance is in what a statement speaks of.
    statement_proteins => StatementProteinRow {
        /// Which statement.
        statement_id: i64 => BigInt,
        /// The word of the substance.
        substance: String => Text,
        /// As written by the person: grams in a hundred.
        percent: String => Text,
    }
}

/// A statement by row id.
pub fn statement(conn: &mut AnyConnection, id: i64) -> Result<Option<StatementRow>, StorageError> {
    Ok(statements::table.find(id).first(conn).optional()?)
}

/// Statements by row id, in order of id.
pub(crate) fn statements_by_ids(conn: &mut AnyConnection, ids: &[i64]) -> Result<Vec<StatementRow>, StorageError> {
    let mut found = StatementRow::among(conn, "id", ids)?;
    found.sort_by_key(|row| row.id);
    Ok(found)
}

/// The statement that stands in for each of some, by the one it corrects.
pub fn corrections_of(conn: &mut AnyConnection, ids: &[i64]) -> Result<HashMap<i64, i64>, StorageError> {
    let found = StatementRow::among(conn, "corrects_id", ids)?;
    Ok(found.into_iter().filter_map(|row| Some((row.corrects_id?, row.id))).collect())
}

/// What some statements tell of protein, in the order in which it was written down.
pub fn proteins_of(conn: &mut AnyConnection, ids: &[i64]) -> Result<Vec<StatementProteinRow>, StorageError> {
    let mut found = StatementProteinRow::among(conn, "statement_id", ids)?;
    found.sort_by_key(|row| row.id);
    Ok(found)
}

/// Which statements to list; absent fields do not narrow.
#[derive(Clone, Debug, Default)]
pub struct StatementFilter {
    /// About this item, or a lot of it.
    pub item_id: Option<i64>,
    /// By this supplier.
    pub supplier_id: Option<i64>,
    /// About this lot alone.
    pub lot_id: Option<i64>,
    /// About single lots only where these came to be at, or ever were at, one of these sites.
    pub sites: Option<Vec<i64>>,
    /// Not corrected.
    pub counting_only: bool,
}

/// The next statements after a row id, oldest first.
pub fn statements_after(
    conn: &mut AnyConnection,
    filter: &StatementFilter,
    after: i64,
    limit: i64,
) -> Result<Vec<StatementRow>, StorageError> {
    // Row ids are numbers of ours.
    let mut query = "SELECT s.id FROM statements s WHERE s.id > $1".to_owned();
    let narrow = [("item_id", filter.item_id), ("supplier_id", filter.supplier_id), ("lot_id", filter.lot_id)];
    for (column, id) in narrow.into_iter().filter_map(|(column, id)| Some((column, id?))) {
        let _ = write!(query, " AND s.{column} = {id}");
    }
    if let Some(sites) = &filter.sites {
        let _ = write!(
            query,
            " AND (s.lot_id IS NULL OR EXISTS (SELECT 1 FROM balances b WHERE b.lot_id = s.lot_id AND b.site_id IN ({})))",
            listed(sites)
        );
    }
    if filter.counting_only {
        query.push_str(" AND NOT EXISTS (SELECT 1 FROM statements c WHERE c.corrects_id = s.id)");
    }
    query.push_str(" ORDER BY s.id LIMIT $2");
    let ids: Vec<StatementId> = sql_query(query).bind::<BigInt, _>(after).bind::<BigInt, _>(limit).load(conn)?;
    statements_by_ids(conn, &ids.into_iter().map(|row| row.id).collect::<Vec<_>>())
}

#[derive(QueryableByName)]
struct StatementId {
    #[diesel(sql_type = BigInt)]
    id: i64,
}

/// Statements about items, not corrected, that were in force by a day.
pub fn items_stated_by(conn: &mut AnyConnection, day: NaiveDate) -> Result<HashSet<i64>, StorageError> {
    // A day is a date of ours, never text of a request.
    let query = format!(
        "SELECT DISTINCT s.item_id AS id FROM statements s WHERE s.lot_id IS NULL AND s.in_force_from <= '{day}' \
         AND NOT EXISTS (SELECT 1 FROM statements c WHERE c.corrects_id = s.id)"
    );
    Ok(sql_query(query).load::<StatementId>(conn)?.into_iter().map(|row| row.id).collect())
}
