//! What happened to lots, found by its time or by the lots it happened to: what records for others are made from.
//!
//! Row ids of sites are written into the statements: they are numbers of ours, never text of a request.

use std::collections::{HashMap, HashSet};
use std::fmt::Write as _;

use chrono::NaiveDateTime;
use diesel::prelude::*;
use diesel::sql_query;
use diesel::sql_types::{BigInt, Timestamp};
use tubtrail_domain::place::State;

use crate::journal::journal;
use crate::lots::{
    BatchRow, CompletionRow, DeliveryLineRow, DeliveryRow, batches, completions, deliveries, delivery_lines, uses,
};
use crate::stock::{
    CountLineRow, CountRow, MovementRow, ReceiptLineRow, ReceiptRow, TransferLineRow, TransferRow, count_lines, counts,
    movements, receipt_lines, receipts, transfer_lines, transfers,
};
use crate::{AnyConnection, StorageError};

/// Values in one statement; SQLite bounds them.
const CHUNK: usize = 500;

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

    /// Where its rows, their times and their sites are read. What is gone is found by the index `movements_gone`, which
    /// serves where its condition stands word for word.
    const fn read(self) -> Read {
        match self {
            Self::Deliveries => Read { from: "deliveries t", at: "t.arrived_at", site: "t.site_id", only: "" },
            Self::Completions => Read {
                from: "completions t JOIN batches b ON b.id = t.batch_id",
                at: "t.completed_at",
                site: "b.site_id",
                only: "",
            },
            Self::Transfers => Read { from: "transfers t", at: "t.dispatched_at", site: "t.from_site_id", only: "" },
            Self::Receipts => Read {
                from: "receipts t JOIN transfers s ON s.id = t.transfer_id",
                at: "t.received_at",
                site: "s.to_site_id",
                only: "",
            },
            Self::Gone => Read {
                from: "movements t",
                at: "t.occurred_at",
                site: "t.to_site_id",
                only: " AND to_state IN ('consigned', 'discarded', 'supplier')",
            },
            Self::CountLines => Read {
                from: "counts c JOIN count_lines t ON t.count_id = c.id",
                at: "c.counted_at",
                site: "c.site_id",
                only: "",
            },
        }
    }
}

struct Read {
    from: &'static str,
    at: &'static str,
    site: &'static str,
    only: &'static str,
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
    let Read { from, at, site, only } = source.read();
    // The first condition alone bounds the index; the second leaves out what was read of the same moment.
    let mut query = format!(
        "SELECT {at} AS at, t.id FROM {from} WHERE {at} >= $1 AND {at} < $2 AND ({at} > $1 OR t.id > $3){only}"
    );
    if let Some(sites) = &span.sites {
        let sites: Vec<String> = sites.iter().map(ToString::to_string).chain(["-1".to_owned()]).collect();
        // The plus keeps SQLite from going by the site, for it would read all of five years to sort a page of it.
        let _ = write!(query, " AND +{site} IN ({})", sites.join(", "));
    }
    let _ = write!(query, " ORDER BY {at}, t.id LIMIT $4");
    let Key { at, id } = after.unwrap_or(Key { at: span.from, id: 0 });
    Ok(sql_query(query)
        .bind::<Timestamp, _>(at)
        .bind::<Timestamp, _>(span.until)
        .bind::<BigInt, _>(id)
        .bind::<BigInt, _>(limit)
        .load(conn)?)
}

/// The rows of a source that happened to some lots. Of completions those of batches that used them, if they are asked for
/// (`uses_too`), besides those that made them.
pub fn keys_of(
    conn: &mut AnyConnection,
    source: Source,
    lot_ids: &[i64],
    uses_too: bool,
) -> Result<HashSet<Key>, StorageError> {
    let mut found = HashSet::new();
    for chunk in lot_ids.chunks(CHUNK) {
        let ids = match source {
            Source::Deliveries => deliveries_of(conn, chunk)?,
            Source::Completions => completions_of(conn, chunk, uses_too)?,
            Source::Transfers | Source::Receipts => transfers_of(conn, source, chunk)?,
            Source::Gone => gone_of(conn, chunk)?,
            Source::CountLines => counted_of(conn, chunk)?,
        };
        found.extend(ids.into_iter().map(|(at, id)| Key { at, id }));
    }
    Ok(found)
}

type Found = Vec<(NaiveDateTime, i64)>;

fn deliveries_of(conn: &mut AnyConnection, lot_ids: &[i64]) -> Result<Found, StorageError> {
    use crate::lots::lots;
    let ids: Vec<Option<i64>> = lots::table
        .filter(lots::id.eq_any(lot_ids.to_vec()))
        .filter(lots::delivery_id.is_not_null())
        .select(lots::delivery_id)
        .distinct()
        .load(conn)?;
    let ids: Vec<i64> = ids.into_iter().flatten().collect();
    Ok(deliveries::table
        .filter(deliveries::id.eq_any(ids))
        .select((deliveries::arrived_at, deliveries::id))
        .load(conn)?)
}

fn completions_of(conn: &mut AnyConnection, lot_ids: &[i64], uses_too: bool) -> Result<Found, StorageError> {
    use crate::lots::lots;
    let made: Vec<Option<i64>> = lots::table
        .filter(lots::id.eq_any(lot_ids.to_vec()))
        .filter(lots::batch_id.is_not_null())
        .select(lots::batch_id)
        .distinct()
        .load(conn)?;
    let mut batch_ids: Vec<i64> = made.into_iter().flatten().collect();
    if uses_too {
        let used = uses::table.filter(uses::lot_id.eq_any(lot_ids.to_vec())).select(uses::batch_id).distinct();
        batch_ids.extend(used.load::<i64>(conn)?);
    }
    let mut found = Vec::new();
    for chunk in batch_ids.chunks(CHUNK) {
        let completed = completions::table.filter(completions::batch_id.eq_any(chunk.to_vec()));
        found
            .extend(completed.select((completions::completed_at, completions::id)).load::<(NaiveDateTime, i64)>(conn)?);
    }
    Ok(found)
}

fn transfers_of(conn: &mut AnyConnection, source: Source, lot_ids: &[i64]) -> Result<Found, StorageError> {
    let ids: Vec<Option<i64>> = movements::table
        .filter(movements::lot_id.eq_any(lot_ids.to_vec()))
        .filter(movements::transfer_id.is_not_null())
        .select(movements::transfer_id)
        .distinct()
        .load(conn)?;
    let ids: Vec<i64> = ids.into_iter().flatten().collect();
    let mut found = Vec::new();
    for chunk in ids.chunks(CHUNK) {
        found.extend(if source == Source::Transfers {
            let sent = transfers::table.filter(transfers::id.eq_any(chunk.to_vec()));
            sent.select((transfers::dispatched_at, transfers::id)).load::<(NaiveDateTime, i64)>(conn)?
        } else {
            let arrived = receipts::table.filter(receipts::transfer_id.eq_any(chunk.to_vec()));
            arrived.select((receipts::received_at, receipts::id)).load::<(NaiveDateTime, i64)>(conn)?
        });
    }
    Ok(found)
}

fn gone_of(conn: &mut AnyConnection, lot_ids: &[i64]) -> Result<Found, StorageError> {
    let gone = [State::Consigned, State::Discarded, State::Supplier].map(State::word);
    Ok(movements::table
        .filter(movements::lot_id.eq_any(lot_ids.to_vec()))
        .filter(movements::to_state.eq_any(gone.to_vec()))
        .select((movements::occurred_at, movements::id))
        .load(conn)?)
}

fn counted_of(conn: &mut AnyConnection, lot_ids: &[i64]) -> Result<Found, StorageError> {
    let lines: Vec<(i64, i64)> = count_lines::table
        .filter(count_lines::lot_id.eq_any(lot_ids.to_vec()))
        .select((count_lines::id, count_lines::count_id))
        .load(conn)?;
    let counted_at = counted_at(conn, &lines.iter().map(|(_, count)| *count).collect::<Vec<_>>())?;
    let at = |count: &i64| counted_at.get(count).map(|row| row.counted_at);
    Ok(lines.iter().filter_map(|(line, count)| Some((at(count)?, *line))).collect())
}

fn counted_at(conn: &mut AnyConnection, ids: &[i64]) -> Result<HashMap<i64, CountRow>, StorageError> {
    let mut found = HashMap::new();
    for chunk in ids.chunks(CHUNK) {
        let rows: Vec<CountRow> = counts::table.filter(counts::id.eq_any(chunk.to_vec())).load(conn)?;
        found.extend(rows.into_iter().map(|row| (row.id, row)));
    }
    Ok(found)
}

/// Some deliveries with their lines, by row id.
pub fn deliveries_with_lines(
    conn: &mut AnyConnection,
    ids: &[i64],
) -> Result<HashMap<i64, (DeliveryRow, Vec<DeliveryLineRow>)>, StorageError> {
    let mut found = HashMap::new();
    for chunk in ids.chunks(CHUNK) {
        let rows: Vec<DeliveryRow> = deliveries::table.filter(deliveries::id.eq_any(chunk.to_vec())).load(conn)?;
        found.extend(rows.into_iter().map(|row| (row.id, (row, Vec::new()))));
        let lines: Vec<DeliveryLineRow> = delivery_lines::table
            .filter(delivery_lines::delivery_id.eq_any(chunk.to_vec()))
            .order((delivery_lines::delivery_id, delivery_lines::line))
            .load(conn)?;
        for line in lines {
            if let Some((_, of_it)) = found.get_mut(&line.delivery_id) {
                of_it.push(line);
            }
        }
    }
    Ok(found)
}

/// Some completions with their batches, by row id of the completion.
pub fn completions_with_batches(
    conn: &mut AnyConnection,
    ids: &[i64],
) -> Result<HashMap<i64, (CompletionRow, BatchRow)>, StorageError> {
    let mut found = HashMap::new();
    for chunk in ids.chunks(CHUNK) {
        let rows: Vec<CompletionRow> = completions::table.filter(completions::id.eq_any(chunk.to_vec())).load(conn)?;
        let batch_ids: Vec<i64> = rows.iter().map(|row| row.batch_id).collect();
        let of_them: Vec<BatchRow> = batches::table.filter(batches::id.eq_any(batch_ids)).load(conn)?;
        let mut of_them: HashMap<i64, BatchRow> = of_them.into_iter().map(|batch| (batch.id, batch)).collect();
        for row in rows {
            let missing = || StorageError::Corrupt(format!("completion {} names a missing batch", row.id));
            let batch = of_them.remove(&row.batch_id).ok_or_else(missing)?;
            found.insert(row.id, (row, batch));
        }
    }
    Ok(found)
}

/// Some transfers with their lines, by row id.
pub fn transfers_with_lines(
    conn: &mut AnyConnection,
    ids: &[i64],
) -> Result<HashMap<i64, (TransferRow, Vec<TransferLineRow>)>, StorageError> {
    let mut found = HashMap::new();
    for chunk in ids.chunks(CHUNK) {
        let rows: Vec<TransferRow> = transfers::table.filter(transfers::id.eq_any(chunk.to_vec())).load(conn)?;
        found.extend(rows.into_iter().map(|row| (row.id, (row, Vec::new()))));
        let lines: Vec<TransferLineRow> = transfer_lines::table
            .filter(transfer_lines::transfer_id.eq_any(chunk.to_vec()))
            .order(transfer_lines::id)
            .load(conn)?;
        for line in lines {
            if let Some((_, of_it)) = found.get_mut(&line.transfer_id) {
                of_it.push(line);
            }
        }
    }
    Ok(found)
}

/// A receipt, its transfer, and its lines.
pub type Arrived = (ReceiptRow, TransferRow, Vec<ReceiptLineRow>);

/// Some receipts with their transfers and their lines, by row id of the receipt.
pub fn receipts_with_lines(conn: &mut AnyConnection, ids: &[i64]) -> Result<HashMap<i64, Arrived>, StorageError> {
    let mut found = HashMap::new();
    for chunk in ids.chunks(CHUNK) {
        let rows: Vec<ReceiptRow> = receipts::table.filter(receipts::id.eq_any(chunk.to_vec())).load(conn)?;
        let transfer_ids: Vec<i64> = rows.iter().map(|row| row.transfer_id).collect();
        let sent: Vec<TransferRow> = transfers::table.filter(transfers::id.eq_any(transfer_ids)).load(conn)?;
        let mut sent: HashMap<i64, TransferRow> = sent.into_iter().map(|row| (row.id, row)).collect();
        for row in rows {
            let missing = || StorageError::Corrupt(format!("receipt {} names a missing transfer", row.id));
            let transfer = sent.remove(&row.transfer_id).ok_or_else(missing)?;
            found.insert(row.id, (row, transfer, Vec::new()));
        }
        let lines: Vec<ReceiptLineRow> = receipt_lines::table
            .filter(receipt_lines::receipt_id.eq_any(chunk.to_vec()))
            .order(receipt_lines::id)
            .load(conn)?;
        for line in lines {
            if let Some((_, _, of_it)) = found.get_mut(&line.receipt_id) {
                of_it.push(line);
            }
        }
    }
    Ok(found)
}

/// Some movements, by row id.
pub fn movements_by_ids(conn: &mut AnyConnection, ids: &[i64]) -> Result<HashMap<i64, MovementRow>, StorageError> {
    let mut found = HashMap::new();
    for chunk in ids.chunks(CHUNK) {
        let rows: Vec<MovementRow> = movements::table.filter(movements::id.eq_any(chunk.to_vec())).load(conn)?;
        found.extend(rows.into_iter().map(|row| (row.id, row)));
    }
    Ok(found)
}

/// Some lines of counts with their counts, by row id of the line.
pub fn count_lines_with_counts(
    conn: &mut AnyConnection,
    ids: &[i64],
) -> Result<HashMap<i64, (CountLineRow, CountRow)>, StorageError> {
    let mut lines: Vec<CountLineRow> = Vec::new();
    for chunk in ids.chunks(CHUNK) {
        let rows = count_lines::table.filter(count_lines::id.eq_any(chunk.to_vec()));
        lines.extend(rows.load::<CountLineRow>(conn)?);
    }
    let of_them = counted_at(conn, &lines.iter().map(|line| line.count_id).collect::<Vec<_>>())?;
    let with_count = lines.into_iter().map(|line| {
        let missing = || StorageError::Corrupt(format!("count line {} names a missing count", line.id));
        let count = of_them.get(&line.count_id).cloned().ok_or_else(missing)?;
        Ok((line.id, (line, count)))
    });
    with_count.collect()
}

/// When some journal entries were committed, and their hashes, which no other house's entries have; by position.
pub fn commits(
    conn: &mut AnyConnection,
    entries: &[i64],
) -> Result<HashMap<i64, (NaiveDateTime, String)>, StorageError> {
    let mut distinct = entries.to_vec();
    distinct.sort_unstable();
    distinct.dedup();
    let mut found = HashMap::new();
    for chunk in distinct.chunks(CHUNK) {
        let rows: Vec<(i64, NaiveDateTime, String)> = journal::table
            .filter(journal::seq.eq_any(chunk.to_vec()))
            .select((journal::seq, journal::recorded_at, journal::hash))
            .load(conn)?;
        found.extend(rows.into_iter().map(|(seq, at, hash)| (seq, (at, hash))));
    }
    Ok(found)
}
