//! What happened to lots, found by its time or by the lots it happened to: what records for others are made from. The rows
//! themselves are read by their ids.
//!
//! Row ids of sites are written into the statements: they are numbers of ours, never text of a request.

mod rows;

use std::collections::{BTreeSet, HashSet};
use std::fmt::Write as _;

use chrono::NaiveDateTime;
use diesel::prelude::*;
use diesel::sql_query;
use diesel::sql_types::{BigInt, Timestamp};

pub use self::rows::{
    Arrived, commits, completions_with_batches, count_lines_with_counts, deliveries_with_lines, movements_by_ids,
    receipts_with_lines, transfers_with_lines,
};
use crate::ids::{CHUNK, listed};
use crate::lots::{lots, untracked_inputs, uses};
use crate::stock::movements;
use crate::{AnyConnection, StorageError};

/// A table whose rows are each something that happened.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Source {
    /// A supplier brought something.
    Deliveries,
    /// A batch was completed.
    Completions,
    /// Stock left for another site.
    Transfers,
    /// Stock arrived from another site.
    Receipts,
    /// Something left for good: to a customer, back to its supplier, into the bin.
    Gone,
    /// A lot was counted.
    CountLines,
}

impl Source {
    /// All of them, in the order in which a lot goes through them.
    pub const ALL: [Self; 6] =
        [Self::Deliveries, Self::Completions, Self::Transfers, Self::Receipts, Self::Gone, Self::CountLines];

    /// The name of the table.
    pub const fn table(self) -> &'static str {
        match self {
            Self::Deliveries => "deliveries",
            Self::Completions => "completions",
            Self::Transfers => "transfers",
            Self::Receipts => "receipts",
            Self::Gone => "movements",
            Self::CountLines => "count_lines",
        }
    }

    /// Where its rows, what links them to lots, their times, their sites and their lines are read. What is gone is found by the index
    /// `movements_gone`, which serves where its condition stands word for word.
    const fn read(self) -> Read {
        match self {
            Self::Deliveries => Read {
                from: "deliveries t",
                link: "t.id",
                at: "t.arrived_at",
                site: "t.site_id",
                only: "",
                lines: " JOIN delivery_lines l ON l.delivery_id = t.id",
            },
            Self::Completions => Read {
                from: "completions t JOIN batches b ON b.id = t.batch_id",
                link: "t.batch_id",
                at: "t.completed_at",
                site: "b.site_id",
                only: "",
                lines: "",
            },
            Self::Transfers => Read {
                from: "transfers t",
                link: "t.id",
                at: "t.dispatched_at",
                site: "t.from_site_id",
                only: "",
                lines: " JOIN transfer_lines l ON l.transfer_id = t.id",
            },
            Self::Receipts => Read {
                from: "receipts t JOIN transfers s ON s.id = t.transfer_id",
                link: "t.transfer_id",
                at: "t.received_at",
                site: "s.to_site_id",
                only: "",
                lines: " JOIN receipt_lines l ON l.receipt_id = t.id",
            },
            Self::Gone => Read {
                from: "movements t",
                link: "t.lot_id",
                at: "t.occurred_at",
                site: "t.to_site_id",
                only: " AND to_state IN ('consigned', 'discarded', 'supplier')",
                lines: "",
            },
            Self::CountLines => Read {
                from: "counts c JOIN count_lines t ON t.count_id = c.id",
                link: "t.lot_id",
                at: "c.counted_at",
                site: "c.site_id",
                only: "",
                lines: "",
            },
        }
    }

    /// The condition that a row lies at the sites of a span.
    fn at_sites(self, span: &Span) -> String {
        let Some(sites) = &span.sites else { return String::new() };
        // The plus keeps SQLite from going by the site, for it would read all of five years to sort a page of it.
        format!(" AND +{} IN ({})", self.read().site, listed(sites))
    }
}

struct Read {
    from: &'static str,
    link: &'static str,
    at: &'static str,
    site: &'static str,
    only: &'static str,
    lines: &'static str,
}

/// When something happened, and the row that says so.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, QueryableByName)]
pub struct Key {
    /// When.
    #[diesel(sql_type = Timestamp)]
    pub at: NaiveDateTime,
    /// Row id.
    #[diesel(sql_type = BigInt)]
    pub id: i64,
}

/// Lots that went along with transfers: the row ids of a transfer and of a lot of it.
pub type Carried = BTreeSet<(i64, i64)>;

/// Which lines are wanted of what happened to several lots.
#[derive(Clone, Debug, Default)]
pub struct Wanted {
    /// Those of these items; all, if there are none.
    pub item_ids: Vec<i64>,
    /// All lots of the items that ever went along with a transfer, where they were looked up.
    pub carried: Option<Carried>,
}

/// From when until just before when, and where.
#[derive(Clone, Debug)]
pub struct Span {
    /// The first moment.
    pub from: NaiveDateTime,
    /// The first moment after it.
    pub until: NaiveDateTime,
    /// At these sites; at all, if absent.
    pub sites: Option<Vec<i64>>,
}

/// The next rows of a span after a key, in order of time and row id.
pub fn keys_in(
    conn: &mut AnyConnection,
    source: Source,
    span: &Span,
    after: Option<Key>,
    limit: i64,
) -> Result<Vec<Key>, StorageError> {
    let Read { from, at, only, .. } = source.read();
    // The first condition alone bounds the index; the second leaves out what was read of the same moment.
    let mut query = format!(
        "SELECT {at} AS at, t.id FROM {from} WHERE {at} >= $1 AND {at} < $2 AND ({at} > $1 OR t.id > $3){only}"
    );
    query += &source.at_sites(span);
    let _ = write!(query, " ORDER BY {at}, t.id LIMIT $4");
    let Key { at, id } = after.unwrap_or(Key { at: span.from, id: 0 });
    Ok(sql_query(query)
        .bind::<Timestamp, _>(at)
        .bind::<Timestamp, _>(span.until)
        .bind::<BigInt, _>(id)
        .bind::<BigInt, _>(limit)
        .load(conn)?)
}

/// How many rows of a source lie within a span, or lines of them where they have lines, counted no farther than `most`.
pub fn count_in(conn: &mut AnyConnection, source: Source, span: &Span, most: i64) -> Result<i64, StorageError> {
    let Read { from, at, only, lines, .. } = source.read();
    let query = format!(
        "SELECT COUNT(*) AS found FROM \
         (SELECT 1 FROM {from}{lines} WHERE {at} >= $1 AND {at} < $2{only} LIMIT $3) AS them"
    );
    let counted: Counted = sql_query(query)
        .bind::<Timestamp, _>(span.from)
        .bind::<Timestamp, _>(span.until)
        .bind::<BigInt, _>(most)
        .get_result(conn)?;
    Ok(counted.found)
}

/// How many lots there are of some items, and how many times something of them went into a batch without a lot.
pub fn count_of_items(conn: &mut AnyConnection, item_ids: &[i64]) -> Result<i64, StorageError> {
    let kept: i64 = lots::table.filter(lots::item_id.eq_any(item_ids.to_vec())).count().get_result(conn)?;
    let loose = untracked_inputs::table.filter(untracked_inputs::item_id.eq_any(item_ids.to_vec()));
    Ok(kept + loose.count().get_result::<i64>(conn)?)
}

/// The lots of some items.
pub fn lots_of_items(conn: &mut AnyConnection, item_ids: &[i64]) -> Result<Vec<i64>, StorageError> {
    Ok(lots::table.filter(lots::item_id.eq_any(item_ids.to_vec())).select(lots::id).load(conn)?)
}

#[derive(QueryableByName)]
struct Counted {
    #[diesel(sql_type = BigInt)]
    found: i64,
}

/// The rows of a source within a span that happened to some lots. Of completions those of batches that used them, if they are
/// asked for (`uses_too`), besides those that made them.
pub fn keys_of(
    conn: &mut AnyConnection,
    source: Source,
    span: &Span,
    lot_ids: &[i64],
    uses_too: bool,
) -> Result<HashSet<Key>, StorageError> {
    let mut ids = BTreeSet::new();
    for chunk in lot_ids.chunks(CHUNK) {
        ids.extend(match source {
            Source::Deliveries => deliveries_of(conn, chunk)?,
            Source::Completions => batches_of(conn, chunk, uses_too)?,
            Source::Transfers | Source::Receipts => transfers_of(&carried(conn, chunk)?).into_iter().collect(),
            Source::Gone | Source::CountLines => chunk.to_vec(),
        });
    }
    keys_linked(conn, source, span, ids)
}

/// The transfers or receipts within a span of what some lots went along with.
pub fn keys_of_carried(
    conn: &mut AnyConnection,
    source: Source,
    span: &Span,
    carried: &Carried,
) -> Result<HashSet<Key>, StorageError> {
    keys_linked(conn, source, span, transfers_of(carried))
}

/// The completions within a span of batches that took something of some items that is kept without lots.
pub fn keys_of_untracked(
    conn: &mut AnyConnection,
    span: &Span,
    item_ids: &[i64],
) -> Result<HashSet<Key>, StorageError> {
    let batch_ids: Vec<i64> = untracked_inputs::table
        .filter(untracked_inputs::item_id.eq_any(item_ids.to_vec()))
        .select(untracked_inputs::batch_id)
        .load(conn)?;
    keys_linked(conn, Source::Completions, span, batch_ids.into_iter().collect())
}

/// The rows of a source within a span by what links them to lots: a delivery, a batch, a transfer, or the lot itself.
fn keys_linked(
    conn: &mut AnyConnection,
    source: Source,
    span: &Span,
    linked: BTreeSet<i64>,
) -> Result<HashSet<Key>, StorageError> {
    let Read { from, at, link, only, .. } = source.read();
    let linked: Vec<i64> = linked.into_iter().collect();
    let mut found = HashSet::new();
    for chunk in linked.chunks(CHUNK) {
        let query = format!(
            "SELECT {at} AS at, t.id FROM {from} WHERE {link} IN ({}) AND {at} >= $1 AND {at} < $2{only}{}",
            listed(chunk),
            source.at_sites(span)
        );
        let rows = sql_query(query).bind::<Timestamp, _>(span.from).bind::<Timestamp, _>(span.until);
        found.extend(rows.load::<Key>(conn)?);
    }
    Ok(found)
}

fn deliveries_of(conn: &mut AnyConnection, lot_ids: &[i64]) -> Result<Vec<i64>, StorageError> {
    let ids: Vec<Option<i64>> = lots::table
        .filter(lots::id.eq_any(lot_ids.to_vec()))
        .filter(lots::delivery_id.is_not_null())
        .select(lots::delivery_id)
        .load(conn)?;
    Ok(ids.into_iter().flatten().collect())
}

fn batches_of(conn: &mut AnyConnection, lot_ids: &[i64], uses_too: bool) -> Result<Vec<i64>, StorageError> {
    let made: Vec<Option<i64>> = lots::table
        .filter(lots::id.eq_any(lot_ids.to_vec()))
        .filter(lots::batch_id.is_not_null())
        .select(lots::batch_id)
        .load(conn)?;
    let mut ids: Vec<i64> = made.into_iter().flatten().collect();
    if uses_too {
        let used = uses::table.filter(uses::lot_id.eq_any(lot_ids.to_vec())).select(uses::batch_id);
        ids.extend(used.load::<i64>(conn)?);
    }
    Ok(ids)
}

/// What some lots ever went along with.
pub fn carried(conn: &mut AnyConnection, lot_ids: &[i64]) -> Result<Carried, StorageError> {
    let mut found = Carried::new();
    for chunk in lot_ids.chunks(CHUNK) {
        let pairs: Vec<(Option<i64>, i64)> = movements::table
            .filter(movements::lot_id.eq_any(chunk.to_vec()))
            .filter(movements::transfer_id.is_not_null())
            .select((movements::transfer_id, movements::lot_id))
            .load(conn)?;
        found.extend(pairs.into_iter().filter_map(|(transfer, lot)| Some((transfer?, lot))));
    }
    Ok(found)
}

fn transfers_of(carried: &Carried) -> BTreeSet<i64> {
    carried.iter().map(|(transfer, _)| *transfer).collect()
}
