//! The rows of what happened, by their ids, with the lines that belong to them.

use std::collections::HashMap;

use chrono::NaiveDateTime;
use diesel::dsl::sql;
use diesel::expression::SqlLiteral;
use diesel::prelude::*;
use diesel::sql_types::Bool;

use super::Wanted;
use crate::ids::{CHUNK, listed};
use crate::journal::journal;
use crate::lots::{BatchRow, CompletionRow, DeliveryLineRow, DeliveryRow, delivery_lines};
use crate::stock::{
    CountLineRow, CountRow, MovementRow, ReceiptLineRow, ReceiptRow, TransferLineRow, TransferRow, receipt_lines,
    transfer_lines,
};
use crate::{AnyConnection, Fact, StorageError};

/// The condition that an item is one of these; true if there are none.
fn one_of(item: &str, item_ids: &[i64]) -> String {
    if item_ids.is_empty() { "1 = 1".to_owned() } else { format!("{item} IN ({})", listed(item_ids)) }
}

/// Some deliveries with their lines, by row id; the wanted lines only.
pub fn deliveries_with_lines(
    conn: &mut AnyConnection,
    ids: &[i64],
    wanted: &Wanted,
) -> Result<HashMap<i64, (DeliveryRow, Vec<DeliveryLineRow>)>, StorageError> {
    let rows = DeliveryRow::among(conn, "id", ids)?.into_iter();
    let mut found: HashMap<_, _> = rows.map(|row| (row.id, (row, Vec::new()))).collect();
    for chunk in ids.chunks(CHUNK) {
        let lines: Vec<DeliveryLineRow> = delivery_lines::table
            .filter(delivery_lines::delivery_id.eq_any(chunk.to_vec()))
            .filter(sql::<Bool>(&one_of("delivery_lines.item_id", &wanted.item_ids)))
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
    let rows = CompletionRow::among(conn, "id", ids)?;
    let batch_ids: Vec<i64> = rows.iter().map(|row| row.batch_id).collect();
    let batches = BatchRow::among(conn, "id", &batch_ids)?;
    let mut batches: HashMap<i64, BatchRow> = batches.into_iter().map(|batch| (batch.id, batch)).collect();
    let with_batch = rows.into_iter().map(|row| {
        let missing = || StorageError::Corrupt(format!("completion {} names a missing batch", row.id));
        let batch = batches.remove(&row.batch_id).ok_or_else(missing)?;
        Ok((row.id, (row, batch)))
    });
    with_batch.collect()
}

/// The condition that a line is wanted, and belongs to one of some rows, each given with the transfer it is of.
///
/// What a line is of is asked of each by itself: a join, which some planners make of it, may go through all lots of the item
/// instead. Of a flavour that nearly every transfer takes along with forty others that is a question too many: where it is known
/// what they carried, these lines alone are read.
fn wanted_lines(table: &str, owner: &str, rows: &[(i64, i64)], wanted: &Wanted) -> SqlLiteral<Bool> {
    let Some(carried) = &wanted.carried else {
        let item = format!("(SELECT l.item_id FROM lots l WHERE l.id = {table}.lot_id)");
        let ids: Vec<i64> = rows.iter().map(|(row, _)| *row).collect();
        return sql(&format!("{table}.{owner} IN ({}) AND {}", listed(&ids), one_of(&item, &wanted.item_ids)));
    };
    let lots_of = |transfer: i64| carried.range((transfer, i64::MIN)..=(transfer, i64::MAX)).map(|(_, lot)| lot);
    let lines = rows.iter().flat_map(|(row, transfer)| lots_of(*transfer).map(move |lot| format!("({row}, {lot})")));
    let lines: Vec<String> = lines.collect();
    if lines.is_empty() {
        return sql("1 = 0");
    }
    // Pair by pair through the index of both: of `(a, b) IN (VALUES ...)` SQLite goes through all the table.
    sql(&format!(
        "{table}.id IN (SELECT w.id FROM (VALUES {}) AS pair CROSS JOIN {table} w \
         WHERE w.{owner} = pair.column1 AND w.lot_id = pair.column2)",
        lines.join(", ")
    ))
}

/// Some transfers with their lines, by row id; the wanted lines only.
pub fn transfers_with_lines(
    conn: &mut AnyConnection,
    ids: &[i64],
    wanted: &Wanted,
) -> Result<HashMap<i64, (TransferRow, Vec<TransferLineRow>)>, StorageError> {
    let rows = TransferRow::among(conn, "id", ids)?.into_iter();
    let mut found: HashMap<_, _> = rows.map(|row| (row.id, (row, Vec::new()))).collect();
    let rows: Vec<(i64, i64)> = ids.iter().map(|id| (*id, *id)).collect();
    for chunk in rows.chunks(CHUNK) {
        let lines: Vec<TransferLineRow> = transfer_lines::table
            .filter(wanted_lines("transfer_lines", "transfer_id", chunk, wanted))
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

/// Some receipts with their transfers and their lines, by row id of the receipt; the wanted lines only.
pub fn receipts_with_lines(
    conn: &mut AnyConnection,
    ids: &[i64],
    wanted: &Wanted,
) -> Result<HashMap<i64, Arrived>, StorageError> {
    let rows = ReceiptRow::among(conn, "id", ids)?;
    let transfer_ids: Vec<i64> = rows.iter().map(|row| row.transfer_id).collect();
    let sent = TransferRow::among(conn, "id", &transfer_ids)?;
    let mut sent: HashMap<i64, TransferRow> = sent.into_iter().map(|row| (row.id, row)).collect();
    let mut found = HashMap::with_capacity(rows.len());
    for row in rows {
        let missing = || StorageError::Corrupt(format!("receipt {} names a missing transfer", row.id));
        let transfer = sent.remove(&row.transfer_id).ok_or_else(missing)?;
        found.insert(row.id, (row, transfer, Vec::new()));
    }
    let rows: Vec<(i64, i64)> = found.values().map(|(row, ..)| (row.id, row.transfer_id)).collect();
    for chunk in rows.chunks(CHUNK) {
        let lines: Vec<ReceiptLineRow> = receipt_lines::table
            .filter(wanted_lines("receipt_lines", "receipt_id", chunk, wanted))
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
    Ok(MovementRow::among(conn, "id", ids)?.into_iter().map(|row| (row.id, row)).collect())
}

/// Some lines of counts with their counts, by row id of the line.
pub fn count_lines_with_counts(
    conn: &mut AnyConnection,
    ids: &[i64],
) -> Result<HashMap<i64, (CountLineRow, CountRow)>, StorageError> {
    let lines = CountLineRow::among(conn, "id", ids)?;
    let mut count_ids: Vec<i64> = lines.iter().map(|line| line.count_id).collect();
    count_ids.sort_unstable();
    count_ids.dedup();
    let counts = CountRow::among(conn, "id", &count_ids)?;
    let counts: HashMap<i64, CountRow> = counts.into_iter().map(|count| (count.id, count)).collect();
    let with_count = lines.into_iter().map(|line| {
        let missing = || StorageError::Corrupt(format!("count line {} names a missing count", line.id));
        let count = counts.get(&line.count_id).cloned().ok_or_else(missing)?;
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
