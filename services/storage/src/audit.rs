//! Recomputes what can be recomputed, and names the first row that is wrong.

mod balances;
mod tables;

use std::collections::HashSet;

use base64::Engine as _;
use base64::engine::general_purpose::URL_SAFE_NO_PAD;
use diesel::prelude::*;
use sha2::{Digest, Sha256};

use self::tables::Tables;
use crate::journal::{self, JournalRow};
use crate::write::{ROW_DIGEST_BYTES, entry_hash};
use crate::{AnyConnection, StorageError, documents};

/// Rows read at a time.
const PAGE: i64 = 2000;

/// What an audit found.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Report {
    /// Journal entries read.
    pub entries: u64,
    /// Fact rows read.
    pub rows: u64,
    /// Balances recomputed.
    pub balances: u64,
    /// The first thing that is wrong.
    pub wrong: Option<Wrong>,
}

/// A row that is not what it should be.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Wrong {
    /// Its table.
    pub table: String,
    /// Its row id, or the lot, site and state of a balance.
    pub row: String,
    /// The journal entry it belongs to, where it has one.
    pub entry: Option<i64>,
    /// What is wrong with it.
    pub what: String,
}

impl Wrong {
    fn row(table: &str, id: i64, entry: i64, what: impl Into<String>) -> Self {
        Self { table: table.into(), row: id.to_string(), entry: Some(entry), what: what.into() }
    }
}

/// Recomputes the chain over every fact, then the balances from the movements, then the hashes of files; then looks whether
/// changes would still be refused. Read it within one snapshot.
pub fn check(conn: &mut AnyConnection) -> Result<Report, StorageError> {
    let mut report = Report::default();
    report.wrong = check_chain(conn, &mut report)?;
    if report.wrong.is_none() {
        report.wrong = balances::check(conn, &mut report)?;
    }
    if report.wrong.is_none() {
        report.wrong = documents::check(conn)?;
    }
    if report.wrong.is_none() {
        report.wrong = check_guards(conn)?;
    }
    Ok(report)
}

/// The first table whose triggers no longer refuse changes.
fn check_guards(conn: &mut AnyConnection) -> Result<Option<Wrong>, StorageError> {
    #[derive(diesel::QueryableByName)]
    struct Trigger {
        #[diesel(sql_type = diesel::sql_types::Text)]
        name: String,
    }
    let (of_each_table, listed): (&[&str], _) = match conn {
        AnyConnection::Sqlite(_) => {
            (&["refuse_update", "refuse_delete"], "SELECT name FROM sqlite_master WHERE type = 'trigger'")
        }
        AnyConnection::Postgres(_) => {
            let listed = "SELECT tgname::text AS name FROM pg_trigger WHERE NOT tgisinternal AND tgenabled <> 'D'";
            (&["refuse_change"], listed)
        }
    };
    let there: HashSet<String> =
        diesel::sql_query(listed).load::<Trigger>(conn)?.into_iter().map(|trigger| trigger.name).collect();
    let tables = Tables::new();
    let guarded = ["journal", documents::PIECES].into_iter().chain(tables.names());
    let missing = guarded
        .flat_map(|table| of_each_table.iter().map(move |kind| (table, format!("{table}_{kind}"))))
        .find(|(_, trigger)| !there.contains(trigger));
    Ok(missing.map(|(table, trigger)| Wrong {
        table: table.into(),
        row: format!("trigger {trigger}"),
        entry: None,
        what: "it is missing or switched off: changes would no longer be refused".into(),
    }))
}

fn check_chain(conn: &mut AnyConnection, report: &mut Report) -> Result<Option<Wrong>, StorageError> {
    let head = journal::head(conn)?;
    let mut tables = Tables::new();
    let mut previous_hash = "0".repeat(64);
    let mut seq = 0;
    loop {
        let page = journal::entries_after(conn, seq, PAGE)?;
        if page.is_empty() {
            break;
        }
        for entry in page {
            if entry.seq != seq + 1 {
                return Ok(Some(Wrong::row("journal", seq + 1, seq + 1, "the entry is missing")));
            }
            if entry.previous_hash != previous_hash {
                return Ok(Some(Wrong::row("journal", entry.seq, entry.seq, "it does not follow the entry before it")));
            }
            if let Some(wrong) = check_entry(conn, &mut tables, &entry, report)? {
                return Ok(Some(wrong));
            }
            report.entries += 1;
            seq = entry.seq;
            previous_hash = entry.hash;
        }
    }
    if let Some((table, id, entry)) = tables.first_left(conn)? {
        if seq < entry && entry <= head.seq {
            return Ok(Some(Wrong::row("journal", seq + 1, seq + 1, "the entry is missing")));
        }
        return Ok(Some(Wrong::row(table, id, entry, "no command wrote it")));
    }
    // Ids may be given out and not used; lots are dense.
    if head.last_id < tables.last_id || head.last_lot_id != tables.last_lot_id {
        return Ok(Some(Wrong::row("journal_head", 1, head.seq, "it does not name the last row ids")));
    }
    if head.seq != seq || head.hash != previous_hash {
        return Ok(Some(Wrong::row("journal_head", 1, head.seq, "it does not name the last entry")));
    }
    Ok(None)
}

fn check_entry(
    conn: &mut AnyConnection,
    tables: &mut Tables,
    entry: &JournalRow,
    report: &mut Report,
) -> Result<Option<Wrong>, StorageError> {
    let Ok(changes) = serde_json::from_str::<Vec<(String, i64, i64)>>(&entry.changes) else {
        return Ok(Some(Wrong::row("journal", entry.seq, entry.seq, "its list of changes cannot be read")));
    };
    let Ok(digests) = URL_SAFE_NO_PAD.decode(&entry.digests) else {
        return Ok(Some(Wrong::row("journal", entry.seq, entry.seq, "its digests cannot be read")));
    };
    let mut rows = tables.rows_of(conn, entry.seq)?;
    let mut digests = digests.chunks(ROW_DIGEST_BYTES);
    let mut facts = Sha256::new();
    for (table, first, count) in changes {
        let Some(end) = first.checked_add(count) else {
            return Ok(Some(Wrong::row("journal", entry.seq, entry.seq, "its list of changes cannot be read")));
        };
        for id in first..end {
            let Some(bytes) = rows.remove(&(table.clone(), id)) else {
                if let Some((before, its_entry)) = tables.slipped_in_before(conn, &table, id)? {
                    return Ok(Some(Wrong::row(&table, before, its_entry, "no command wrote it")));
                }
                return Ok(Some(Wrong::row(&table, id, entry.seq, "the row is missing")));
            };
            let digest = Sha256::digest(bytes);
            if digests.next() != Some(&digest[..ROW_DIGEST_BYTES]) {
                return Ok(Some(Wrong::row(&table, id, entry.seq, "the row is not as it was written")));
            }
            facts.update(digest);
            tables.saw(&table, id);
            report.rows += 1;
        }
    }
    if let Some((table, id)) = rows.keys().min() {
        return Ok(Some(Wrong::row(table, *id, entry.seq, "no command wrote it")));
    }
    if entry_hash(entry, &facts.finalize())? != entry.hash {
        return Ok(Some(Wrong::row("journal", entry.seq, entry.seq, "the entry is not as it was written")));
    }
    Ok(None)
}
