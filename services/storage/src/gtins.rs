//! What numbers of GS1's stand for: articles that are items of ours, places that are sites of ours.

use chrono::NaiveDateTime;
use diesel::prelude::*;

use crate::ids::CHUNK;
use crate::master_data::{Noun, Partner, Site, partner_versions, site_versions};
use crate::{AnyConnection, StorageError};

fact! {
    /// The number of an article that is an item of ours, from a moment on.
    item_gtins => ItemGtinRow {
        /// Fourteen digits.
        gtin: String => Text,
        /// Which item.
        item_id: i64 => BigInt,
        /// Who brings it.
        supplier_id: Option<i64> => Nullable<BigInt>,
        /// What is in one package.
        unit_mg: Option<i64> => Nullable<BigInt>,
        /// From when.
        since: NaiveDateTime => Timestamp,
        /// Why it is another item's from then on.
        reason: Option<String> => Nullable<Text>,
    }
}

fact! {
    /// The number of an article stands for nothing any more, from a moment on.
    gtin_withdrawals => GtinWithdrawalRow {
        /// Fourteen digits.
        gtin: String => Text,
        /// From when.
        since: NaiveDateTime => Timestamp,
        /// Why.
        reason: String => Text,
    }
}

/// What an article's number, in fourteen digits, stands for now: the newest counts, and nothing if it was withdrawn since.
pub fn gtin_in_force(conn: &mut AnyConnection, gtin: &str) -> Result<Option<ItemGtinRow>, StorageError> {
    let newest: Option<ItemGtinRow> = item_gtins::table
        .filter(item_gtins::gtin.eq(gtin))
        .order((item_gtins::since.desc(), item_gtins::id.desc()))
        .first(conn)
        .optional()?;
    let withdrawn: Option<GtinWithdrawalRow> = gtin_withdrawals::table
        .filter(gtin_withdrawals::gtin.eq(gtin))
        .order((gtin_withdrawals::since.desc(), gtin_withdrawals::id.desc()))
        .first(conn)
        .optional()?;
    let counts = |row: &ItemGtinRow| withdrawn.is_none_or(|gone| (gone.since, gone.id) < (row.since, row.id));
    Ok(newest.filter(counts))
}

/// Everything said of the numbers that an item ever had, by whichever item they were, the oldest first.
pub fn gtins_once_of(conn: &mut AnyConnection, item_id: i64) -> Result<Vec<ItemGtinRow>, StorageError> {
    let once: Vec<String> =
        item_gtins::table.filter(item_gtins::item_id.eq(item_id)).select(item_gtins::gtin).distinct().load(conn)?;
    let mut found: Vec<ItemGtinRow> = Vec::new();
    for chunk in once.chunks(CHUNK) {
        found.extend(item_gtins::table.filter(item_gtins::gtin.eq_any(chunk.to_vec())).load::<ItemGtinRow>(conn)?);
    }
    found.sort_by_key(|row| (row.since, row.id));
    Ok(found)
}

/// The partner whose location number this is now; of several the first.
pub fn partner_with_gln(conn: &mut AnyConnection, gln: &str) -> Result<Option<Partner>, StorageError> {
    let once: Vec<i64> = partner_versions::table
        .filter(partner_versions::gln.eq(gln))
        .select(partner_versions::partner_id)
        .distinct()
        .order(partner_versions::partner_id)
        .load(conn)?;
    for partner_id in once {
        let partner = Partner::by_id(conn, partner_id)?;
        if let Some(partner) = partner.filter(|partner| partner.current.gln.as_deref() == Some(gln)) {
            return Ok(Some(partner));
        }
    }
    Ok(None)
}

/// The site whose location number this is now; of several the first.
pub fn site_with_gln(conn: &mut AnyConnection, gln: &str) -> Result<Option<Site>, StorageError> {
    let once: Vec<i64> = site_versions::table
        .filter(site_versions::gln.eq(gln))
        .select(site_versions::site_id)
        .distinct()
        .order(site_versions::site_id)
        .load(conn)?;
    for site_id in once {
        if let Some(site) = Site::by_id(conn, site_id)?.filter(|site| site.current.gln.as_deref() == Some(gln)) {
            return Ok(Some(site));
        }
    }
    Ok(None)
}
