//! The journal's own rows and queries.

use std::collections::HashMap;
use std::ops::RangeInclusive;

use chrono::NaiveDateTime;
use diesel::prelude::*;
use serde::Serialize;

use crate::kept::{self, Kept, Value, asked_together, rows};
use crate::{AnyConnection, StorageError};

diesel::table! {
    journal (seq) {
        seq -> BigInt,
        recorded_at -> Timestamp,
        actor -> Text,
        operation -> Text,
        site_id -> Nullable<BigInt>,
        request_id -> Nullable<Text>,
        idempotency_key -> Nullable<Text>,
        request_hash -> Nullable<Text>,
        answer -> Nullable<Text>,
        changes -> Text,
        digests -> Text,
        previous_hash -> Text,
        hash -> Text,
    }
}

diesel::table! {
    journal_head (id) {
        id -> BigInt,
        seq -> BigInt,
        hash -> Text,
        last_id -> BigInt,
        last_lot_id -> BigInt,
    }
}

/// One committed command.
#[derive(Clone, Debug, PartialEq, Queryable, Insertable, Serialize)]
#[diesel(table_name = journal, treat_none_as_default_value = false)]
pub struct JournalRow {
    /// Position; the first is 1, and there are no gaps.
    pub seq: i64,
    /// When the server committed it, UTC.
    pub recorded_at: NaiveDateTime,
    /// `user:LOGIN`, `device:CODE` or `system`.
    pub actor: String,
    /// The operation's id.
    pub operation: String,
    /// The site it happened at, where it has one.
    pub site_id: Option<i64>,
    /// The request it came with.
    pub request_id: Option<String>,
    /// The client's key for retrying.
    pub idempotency_key: Option<String>,
    /// SHA-256 of the request, hex, to tell a retry from another request under the same key.
    pub request_hash: Option<String>,
    /// The answer given, as JSON; absent where it held a secret.
    pub answer: Option<String>,
    /// The rows it brought, in order, as JSON `[[table, first id, how many], ...]`.
    pub changes: String,
    /// The first 48 bits of each of those rows' SHA-256, base64url, in the same order: to name a row that is wrong.
    pub digests: String,
    /// The hash of the entry before.
    pub previous_hash: String,
    /// SHA-256 over this entry, its rows and the hash before it, hex.
    pub hash: String,
}

/// Where the journal stands.
#[derive(Clone, Debug, PartialEq, Eq, Queryable)]
pub struct Head {
    /// Always 1.
    pub id: i64,
    /// The last entry.
    pub seq: i64,
    /// Its hash.
    pub hash: String,
    /// The last row id given out.
    pub last_id: i64,
    /// The last lot id given out.
    pub last_lot_id: i64,
}

/// The head as it stands in this connection's snapshot.
pub fn head(conn: &mut AnyConnection) -> Result<Head, StorageError> {
    Ok(journal_head::table.find(1).first(conn)?)
}

/// The last entry's position.
pub fn position(conn: &mut AnyConnection) -> Result<i64, StorageError> {
    Ok(journal_head::table.find(1).select(journal_head::seq).first(conn)?)
}

/// Entries after `after`, oldest first.
pub fn entries_after(conn: &mut AnyConnection, after: i64, limit: i64) -> Result<Vec<JournalRow>, StorageError> {
    Ok(journal::table.filter(journal::seq.gt(after)).order(journal::seq).limit(limit).load(conn)?)
}

/// One entry.
pub fn entry(conn: &mut AnyConnection, seq: i64) -> Result<Option<JournalRow>, StorageError> {
    Ok(journal::table.find(seq).first(conn).optional()?)
}

/// Which tables some entries wrote to, and from which row to which. None of them, to begin with, wrote to any.
#[derive(Clone, Debug)]
pub struct Touched(Option<HashMap<String, RangeInclusive<i64>>>);

impl Default for Touched {
    fn default() -> Self {
        Self(Some(HashMap::new()))
    }
}

impl Touched {
    /// Adds that an entry wrote so many rows to a table, from this one on.
    pub(crate) fn add(&mut self, table: &str, first: i64, count: i64) {
        let Some(tables) = &mut self.0 else { return };
        let last = first + count - 1;
        match tables.get_mut(table) {
            Some(rows) => *rows = first.min(*rows.start())..=last.max(*rows.end()),
            None => drop(tables.insert(table.to_owned(), first..=last)),
        }
    }

    /// What is not known of.
    pub fn anything() -> Self {
        Self(None)
    }

    /// Whether they may have written to any of these.
    pub fn any(&self, tables: &[&str]) -> bool {
        self.0.as_ref().is_none_or(|touched| tables.iter().any(|table| touched.contains_key(*table)))
    }

    /// Between which row ids all that they wrote to a table lies; none, if they wrote nothing to it.
    pub fn rows(&self, table: &str) -> Option<RangeInclusive<i64>> {
        match &self.0 {
            None => Some(i64::MIN..=i64::MAX),
            Some(touched) => touched.get(table).cloned(),
        }
    }
}

/// Most entries of which it is looked up what they wrote to; more may have written to anything.
const LOOKED_UP: i64 = 500;

/// Which tables the entries in `(after, until]` wrote to: what none of them touched need not be asked for.
pub fn touched(conn: &mut AnyConnection, after: i64, until: i64) -> Result<Touched, StorageError> {
    if until - after > LOOKED_UP {
        return Ok(Touched(None));
    }
    let changes: Vec<String> = journal::table
        .filter(journal::seq.gt(after))
        .filter(journal::seq.le(until))
        .select(journal::changes)
        .load(conn)?;
    if i64::try_from(changes.len()).is_ok_and(|entries| entries < until - after) {
        return Ok(Touched(None));
    }
    let mut touched = Touched::default();
    for text in changes {
        for (table, first, count) in serde_json::from_str::<Vec<(String, i64, i64)>>(&text)? {
            touched.add(&table, first, count);
        }
    }
    Ok(touched)
}

/// Which entries to list; absent fields do not narrow.
#[derive(Clone, Debug, Default)]
pub struct JournalFilter {
    /// Only entries before this one.
    pub before: Option<i64>,
    /// By whom, exactly as stored.
    pub actor: Option<String>,
    /// Which operation.
    pub operation: Option<String>,
    /// At which site.
    pub site_id: Option<i64>,
    /// Only what was committed before this moment.
    pub until: Option<NaiveDateTime>,
}

/// Entries that match, newest first.
pub fn entries(conn: &mut AnyConnection, filter: &JournalFilter, limit: i64) -> Result<Vec<JournalRow>, StorageError> {
    let mut query = journal::table.order(journal::seq.desc()).limit(limit).into_boxed();
    if let Some(before) = filter.before {
        query = query.filter(journal::seq.lt(before));
    }
    if let Some(actor) = &filter.actor {
        query = query.filter(journal::actor.eq(actor.clone()));
    }
    if let Some(operation) = &filter.operation {
        query = query.filter(journal::operation.eq(operation.clone()));
    }
    if let Some(site_id) = filter.site_id {
        query = query.filter(journal::site_id.eq(site_id));
    }
    if let Some(until) = filter.until {
        query = query.filter(journal::recorded_at.lt(until));
    }
    Ok(query.load(conn)?)
}

/// The entries that some actors made under some keys: actor and key. Key by key through the index of both, which is not left to how
/// SQLite takes `(a, b) IN (VALUES ...)`.
pub(crate) fn by_keys(conn: &mut AnyConnection, keys: &[(&str, &str)]) -> Result<Vec<JournalRow>, StorageError> {
    let mut found = Vec::new();
    for these in asked_together(keys) {
        let values = these.iter().flat_map(|(actor, key)| [Value::Text(actor), Value::Text(key)]).collect();
        found.extend(Kept::<Columns>::new(by_keys_text(these.len()), values).load::<JournalRow>(conn)?);
    }
    Ok(found)
}

fn by_keys_text(keys: usize) -> String {
    format!(
        "SELECT {} FROM (VALUES {}) AS asked CROSS JOIN journal j \
         WHERE j.actor = asked.column1 AND j.idempotency_key = asked.column2",
        COLUMNS.map(|column| format!("j.{column}")).join(", "),
        rows(keys, 2)
    )
}

/// Writes entries down, in order.
pub(crate) fn insert(conn: &mut AnyConnection, entries: &[JournalRow]) -> Result<(), StorageError> {
    Ok(kept::insert(conn, "journal", &COLUMNS, entries, values)?)
}

/// The columns, in the order of the row.
const COLUMNS: [&str; 13] = [
    "seq",
    "recorded_at",
    "actor",
    "operation",
    "site_id",
    "request_id",
    "idempotency_key",
    "request_hash",
    "answer",
    "changes",
    "digests",
    "previous_hash",
    "hash",
];

type Columns = journal::SqlType;

fn values(row: &JournalRow) -> Vec<Value<'_>> {
    vec![
        Value::Number(row.seq),
        Value::Moment(row.recorded_at),
        Value::Text(&row.actor),
        Value::Text(&row.operation),
        Value::MaybeNumber(row.site_id),
        Value::MaybeText(row.request_id.as_deref()),
        Value::MaybeText(row.idempotency_key.as_deref()),
        Value::MaybeText(row.request_hash.as_deref()),
        Value::MaybeText(row.answer.as_deref()),
        Value::Text(&row.changes),
        Value::Text(&row.digests),
        Value::Text(&row.previous_hash),
        Value::Text(&row.hash),
    ]
}

/// Locks the head for this transaction (on SQLite the transaction holds the file already) and reads it.
///
/// # Errors
/// If the database refuses.
pub fn lock_head(conn: &mut AnyConnection) -> Result<Head, StorageError> {
    let text = "UPDATE journal_head SET id = 1 WHERE id = 1 RETURNING id, seq, hash, last_id, last_lot_id";
    Ok(Kept::<HeadColumns>::new(text, Vec::new()).get_result(conn)?)
}

/// Writes the head back at the end of the transaction.
///
/// # Errors
/// If the database refuses.
pub fn store_head(conn: &mut AnyConnection, head: &Head) -> Result<(), StorageError> {
    let text = "UPDATE journal_head SET seq = ?, hash = ?, last_id = ?, last_lot_id = ? WHERE id = 1";
    let values = vec![
        Value::Number(head.seq),
        Value::Text(&head.hash),
        Value::Number(head.last_id),
        Value::Number(head.last_lot_id),
    ];
    Kept::<()>::new(text, values).execute(conn)?;
    Ok(())
}

type HeadColumns = journal_head::SqlType;

#[cfg(test)]
mod tests {
    use super::by_keys_text;
    use crate::kept::tests::sqlite_plan;

    /// However much an actor did before, a key is found by itself.
    #[test]
    fn a_key_is_looked_up_by_both_its_halves() {
        for keys in [1, 2, 64] {
            let plan = sqlite_plan(&by_keys_text(keys));
            assert!(
                plan.contains("SEARCH j USING INDEX sqlite_autoindex_journal_2 (actor=? AND idempotency_key=?)"),
                "{plan}"
            );
        }
    }
}
