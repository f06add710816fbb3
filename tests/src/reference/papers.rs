//! Papers of the reference world: what the records for others are made from and nothing else needs.

use diesel::connection::SimpleConnection;
use diesel::{RunQueryDsl, sql_query};
use tubtrail_storage::{AnyConnection, StorageError};

/// Adds what the records for others are made from and nothing else needs: the lines of deliveries, transfers and receipts, and a
/// journal that says when each entry was committed, and no more.
///
/// # Errors
/// If the database refuses.
pub fn add_papers(conn: &mut AnyConnection) -> Result<(), StorageError> {
    conn.batch_execute(match conn {
        AnyConnection::Sqlite(_) => "PRAGMA synchronous = OFF; BEGIN",
        AnyConnection::Postgres(_) => "SET statement_timeout = 0; BEGIN",
    })?;
    // Above all ids that the world has by now, and will have while it is measured.
    let mut next: i64 = 1_000_000_000;
    for (name, sql) in PAPERS {
        let rows = sql_query(sql.replace("{row}", &next.to_string())).execute(conn)?;
        eprintln!("  {rows:>9} {name}");
        next += i64::try_from(rows).unwrap_or(i64::MAX - next);
    }
    conn.batch_execute("COMMIT")?;
    if let AnyConnection::Postgres(conn) = conn {
        conn.batch_execute("VACUUM ANALYZE")?;
    }
    Ok(())
}

/// Statements that make papers, with `{row}` for the last row id given out.
const PAPERS: [(&str, &str); 4] = [
    (
        "lines of deliveries",
        "INSERT INTO delivery_lines (id, entry, delivery_id, line, item_id, supplier_lot_code, entered_amount, entered_unit, \
         mass_mg, expires_on, expiry_kind, decision, lot_id) SELECT {row} + ROW_NUMBER() OVER (ORDER BY id), entry, delivery_id, \
         1, item_id, supplier_lot_code, CAST(mass_mg / 1000 AS TEXT), 'g', mass_mg, expires_on, expiry_kind, 'accepted', id \
         FROM lots WHERE delivery_id IS NOT NULL",
    ),
    (
        "lines of transfers",
        "INSERT INTO transfer_lines (id, entry, transfer_id, lot_id, mass_mg) \
         SELECT {row} + ROW_NUMBER() OVER (ORDER BY id), entry, transfer_id, lot_id, mass_mg FROM movements \
         WHERE kind = 'dispatched'",
    ),
    (
        "lines of receipts",
        "INSERT INTO receipt_lines (id, entry, receipt_id, lot_id, sent_mg, received_mg, damaged_mg) \
         SELECT {row} + ROW_NUMBER() OVER (ORDER BY l.id), l.entry, r.id, l.lot_id, l.mass_mg, l.mass_mg, 0 \
         FROM transfer_lines l JOIN receipts r ON r.transfer_id = l.transfer_id",
    ),
    (
        "entries",
        "INSERT INTO journal (seq, recorded_at, actor, operation, changes, digests, previous_hash, hash) \
         SELECT entry, at, 'system', 'reference', '[]', '', '', \
         SUBSTR('0000000000000000000000000000000000000000000000000000000000000000' || entry, 1 + LENGTH(CAST(entry AS TEXT))) \
         FROM (SELECT entry, arrived_at AS at FROM deliveries UNION ALL SELECT b.entry, c.completed_at FROM completions c \
         JOIN batches b ON b.id = c.batch_id) AS happened WHERE entry NOT IN (SELECT seq FROM journal)",
    ),
];
