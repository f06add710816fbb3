//! Lists of what is where: stock on hand, its sums, and what is on the way or on hold, by the sites one may see.
//!
//! Row ids and days are written into the statements: they are numbers and dates of ours, never text of a request.

use std::fmt::Write as _;

use chrono::{NaiveDate, NaiveDateTime};
use diesel::prelude::*;
use diesel::sql_query;
use diesel::sql_types::{BigInt, Integer, Nullable, Text, Timestamp};

use crate::ids::listed;
use crate::stock::{HoldRow, TransferRow};
use crate::{AnyConnection, StorageError};

/// A last day that is asked for, and of what.
#[derive(Clone, Debug)]
pub struct LastDay {
    /// Up to this one.
    pub day: NaiveDate,
    /// The row ids of the sites where it is meant.
    pub sites: Vec<i64>,
    /// Of which items it is meant.
    pub items: Meant,
}

/// Items, by row id.
#[derive(Clone, Debug)]
pub enum Meant {
    /// Every one.
    All,
    /// These.
    Of(Vec<i64>),
    /// All but these.
    AllBut(Vec<i64>),
}

/// Which stock to list; absent fields do not narrow.
#[derive(Clone, Debug, Default)]
pub struct StockFilter {
    /// At one of these sites.
    pub sites: Option<Vec<i64>>,
    /// Of this item.
    pub item_id: Option<i64>,
    /// Of this lot.
    pub lot_id: Option<i64>,
    /// Of this kind of lot.
    pub kind: Option<&'static str>,
    /// In this state, one of those on hand.
    pub state: Option<&'static str>,
    /// With one of these last days: what is "in three days" depends on where, and what is "soon" on what it is.
    pub expires_by: Option<Vec<LastDay>>,
}

/// Where a list of stock goes on: after this site, state and lot.
#[derive(Clone, Debug, Default)]
pub struct StockKey {
    /// Site row id.
    pub site_id: i64,
    /// State word.
    pub state: String,
    /// Lot row id.
    pub lot_id: i64,
}

/// Stock of a lot in one place.
#[derive(Clone, Debug, PartialEq, Eq, QueryableByName)]
pub struct OnHandRow {
    /// Which lot.
    #[diesel(sql_type = BigInt)]
    pub lot_id: i64,
    /// Where.
    #[diesel(sql_type = BigInt)]
    pub site_id: i64,
    /// In which state.
    #[diesel(sql_type = Text)]
    pub state: String,
    /// How much.
    #[diesel(sql_type = BigInt)]
    pub mass_mg: i64,
}

const ON_HAND: &str = "b.mass_mg > 0 AND b.state IN ('available', 'open', 'in_transit')";

/// The next places that hold something, in order of site, state and lot.
pub fn on_hand_after(
    conn: &mut AnyConnection,
    filter: &StockFilter,
    after: &StockKey,
    limit: i64,
) -> Result<Vec<OnHandRow>, StorageError> {
    let mut query = format!(
        "SELECT b.lot_id, b.site_id, b.state, b.mass_mg FROM balances b JOIN lots l ON l.id = b.lot_id \
         WHERE {ON_HAND} AND (b.site_id, b.state, b.lot_id) > ($1, $2, $3) AND ($4 = 0 OR l.item_id = $4) \
         AND ($5 = 0 OR b.lot_id = $5) AND ($6 = '' OR l.kind = $6) AND ($7 = '' OR b.state = $7)"
    );
    narrow(&mut query, "b.site_id", filter.sites.as_deref());
    if let Some(days) = &filter.expires_by {
        let each = days.iter().map(|LastDay { day, sites, items }| {
            let of = match items {
                Meant::All => String::new(),
                Meant::Of(items) => format!(" AND l.item_id IN ({})", listed(items)),
                Meant::AllBut(items) => format!(" AND l.item_id NOT IN ({})", listed(items)),
            };
            format!("(l.expires_on <= '{day}' AND b.site_id IN ({}){of})", listed(sites))
        });
        let either: Vec<_> = each.chain(["1 = 0".to_owned()]).collect();
        let _ = write!(query, " AND ({})", either.join(" OR "));
    }
    query.push_str(" ORDER BY b.site_id, b.state, b.lot_id LIMIT $8");
    Ok(sql_query(query)
        .bind::<BigInt, _>(after.site_id)
        .bind::<Text, _>(after.state.clone())
        .bind::<BigInt, _>(after.lot_id)
        .bind::<BigInt, _>(filter.item_id.unwrap_or(0))
        .bind::<BigInt, _>(filter.lot_id.unwrap_or(0))
        .bind::<Text, _>(filter.kind.unwrap_or(""))
        .bind::<Text, _>(filter.state.unwrap_or(""))
        .bind::<BigInt, _>(limit)
        .load(conn)?)
}

/// How much of an item some sites hold, by state.
#[derive(Clone, Debug, PartialEq, Eq, QueryableByName)]
pub struct ItemSum {
    /// Of what.
    #[diesel(sql_type = BigInt)]
    pub item_id: i64,
    /// On the shelf.
    #[diesel(sql_type = BigInt)]
    pub available_mg: i64,
    /// In the case.
    #[diesel(sql_type = BigInt)]
    pub open_mg: i64,
    /// Sent from these sites and not yet received.
    #[diesel(sql_type = BigInt)]
    pub in_transit_mg: i64,
}

/// What some sites (`None`: all) hold, summed by item, the next items after a row id.
pub fn sums_by_item(
    conn: &mut AnyConnection,
    sites: Option<&[i64]>,
    after_item_id: i64,
    limit: i64,
) -> Result<Vec<ItemSum>, StorageError> {
    let sum = |state: &str| {
        format!("CAST(SUM(CASE WHEN b.state = '{state}' THEN b.mass_mg ELSE 0 END) AS BIGINT) AS {state}_mg")
    };
    let (available, open, in_transit) = (sum("available"), sum("open"), sum("in_transit"));
    let mut query = format!(
        "SELECT l.item_id, {available}, {open}, {in_transit} FROM balances b JOIN lots l ON l.id = b.lot_id \
         WHERE {ON_HAND} AND l.item_id > $1"
    );
    narrow(&mut query, "b.site_id", sites);
    query.push_str(" GROUP BY l.item_id ORDER BY l.item_id LIMIT $2");
    Ok(sql_query(query).bind::<BigInt, _>(after_item_id).bind::<BigInt, _>(limit).load(conn)?)
}

/// Which end of a transfer.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum End {
    /// It left there.
    From,
    /// It goes there.
    To,
}

/// Which transfers to list; absent fields do not narrow.
#[derive(Clone, Debug, Default)]
pub struct TransferFilter {
    /// From or to one of these sites.
    pub sites: Option<Vec<i64>>,
    /// With this end at this site.
    pub end: Option<(Option<End>, i64)>,
    /// Not yet received.
    pub on_the_way: bool,
}

#[derive(QueryableByName)]
struct TransferFound {
    #[diesel(sql_type = BigInt)]
    id: i64,
    #[diesel(sql_type = BigInt)]
    entry: i64,
    #[diesel(sql_type = BigInt)]
    from_site_id: i64,
    #[diesel(sql_type = BigInt)]
    to_site_id: i64,
    #[diesel(sql_type = Timestamp)]
    dispatched_at: NaiveDateTime,
    #[diesel(sql_type = Nullable<Text>)]
    note: Option<String>,
}

/// The next transfers after a row id, oldest first.
pub fn transfers_after(
    conn: &mut AnyConnection,
    filter: &TransferFilter,
    after: i64,
    limit: i64,
) -> Result<Vec<TransferRow>, StorageError> {
    let mut query = "SELECT t.id, t.entry, t.from_site_id, t.to_site_id, t.dispatched_at, t.note FROM transfers t \
                     WHERE t.id > $1"
        .to_owned();
    if let Some(sites) = &filter.sites {
        let sites = listed(sites);
        let _ = write!(query, " AND (t.from_site_id IN ({sites}) OR t.to_site_id IN ({sites}))");
    }
    if let Some((end, site)) = filter.end {
        let _ = match end {
            Some(End::From) => write!(query, " AND t.from_site_id = {site}"),
            Some(End::To) => write!(query, " AND t.to_site_id = {site}"),
            None => write!(query, " AND (t.from_site_id = {site} OR t.to_site_id = {site})"),
        };
    }
    if filter.on_the_way {
        query.push_str(" AND NOT EXISTS (SELECT 1 FROM receipts r WHERE r.transfer_id = t.id)");
    }
    query.push_str(" ORDER BY t.id LIMIT $2");
    let found: Vec<TransferFound> = sql_query(query).bind::<BigInt, _>(after).bind::<BigInt, _>(limit).load(conn)?;
    let row = |TransferFound { id, entry, from_site_id, to_site_id, dispatched_at, note }| TransferRow {
        id,
        entry,
        from_site_id,
        to_site_id,
        dispatched_at,
        note,
    };
    Ok(found.into_iter().map(row).collect())
}

#[derive(QueryableByName)]
struct HoldFound {
    #[diesel(sql_type = BigInt)]
    id: i64,
    #[diesel(sql_type = BigInt)]
    entry: i64,
    #[diesel(sql_type = BigInt)]
    lot_id: i64,
    #[diesel(sql_type = Text)]
    reason: String,
}

/// The next holds after a row id, oldest first, on lots that came to be at, or ever were at, one of some sites (`None`:
/// on all lots); those released too, if asked.
pub fn holds_after(
    conn: &mut AnyConnection,
    sites: Option<&[i64]>,
    released_too: bool,
    after: i64,
    limit: i64,
) -> Result<Vec<HoldRow>, StorageError> {
    let mut query = "SELECT h.id, h.entry, h.lot_id, h.reason FROM holds h WHERE h.id > $1".to_owned();
    if let Some(sites) = sites {
        let _ = write!(
            query,
            " AND EXISTS (SELECT 1 FROM balances b WHERE b.lot_id = h.lot_id AND b.site_id IN ({}))",
            listed(sites)
        );
    }
    if !released_too {
        query.push_str(" AND NOT EXISTS (SELECT 1 FROM hold_releases r WHERE r.hold_id = h.id)");
    }
    query.push_str(" ORDER BY h.id LIMIT $2");
    let found: Vec<HoldFound> = sql_query(query).bind::<BigInt, _>(after).bind::<BigInt, _>(limit).load(conn)?;
    Ok(found.into_iter().map(|HoldFound { id, entry, lot_id, reason }| HoldRow { id, entry, lot_id, reason }).collect())
}

#[derive(QueryableByName)]
struct WarnDays {
    #[diesel(sql_type = BigInt)]
    item_id: i64,
    #[diesel(sql_type = Integer)]
    warn_days: i32,
}

/// The items that say how many days before its last day a lot of them expires soon, by row id.
pub fn warn_days(conn: &mut AnyConnection) -> Result<Vec<(i64, i32)>, StorageError> {
    let query = "SELECT v.item_id, v.warn_days FROM item_versions v WHERE v.warn_days IS NOT NULL AND v.version = \
         (SELECT MAX(n.version) FROM item_versions n WHERE n.item_id = v.item_id) ORDER BY v.item_id";
    let rows: Vec<WarnDays> = sql_query(query).load(conn)?;
    Ok(rows.into_iter().map(|row| (row.item_id, row.warn_days)).collect())
}

fn narrow(query: &mut String, column: &str, sites: Option<&[i64]>) {
    if let Some(sites) = sites {
        let _ = write!(query, " AND {column} IN ({})", listed(sites));
    }
}
