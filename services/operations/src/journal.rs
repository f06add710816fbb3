//! The journal as people read it: a list of what was committed, and the news of it.
//!
//! Owner and inspector only, and only with a role at every site: an entry may concern any of them.

use std::collections::HashMap;

use chrono::{DateTime, Utc};
use serde::{Deserialize, Deserializer, Serialize};
use serde_json::Value;
use tubtrail_domain::say;
use tubtrail_storage::journal::{JournalFilter, JournalRow, entries, entries_after, position};
use tubtrail_storage::search::site_codes;
use tubtrail_storage::{AnyConnection, StorageError};
use utoipa::ToSchema;

use crate::error::{OperationError, Result};
use crate::fields;
use crate::reach::{self, Request};
use crate::tubtrail::Tubtrail;

/// Most entries of one page; an answer may be long.
const MOST: u32 = 200;

/// Most characters of an actor that is asked for.
const LONGEST_ACTOR: usize = 100;
/// Most characters of an operation that is asked for.
const LONGEST_OPERATION: usize = 60;

/// Reads how many entries a page shall have.
///
/// # Errors
/// If it is no such number.
pub fn limit<'de, D: Deserializer<'de>>(deserializer: D) -> std::result::Result<u32, D::Error> {
    let limit = u32::deserialize(deserializer)?;
    if (1..=MOST).contains(&limit) {
        return Ok(limit);
    }
    Err(serde::de::Error::custom(format_args!("a page has 1 to {MOST} entries")))
}

/// A command that was committed.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, ToSchema)]
#[schema(example = json!({"seq": 812, "recorded_at": "2026-11-25T06:12:31.204511Z", "actor": "user:ines",
    "operation": "receive_delivery", "site": "quay-kitchen", "request_id": "0d8f5a0e-8a0e-4a44-9d5c-5b7a1c1f7c52",
    "changes": [{"table": "deliveries", "first": 9001, "count": 1}, {"table": "lots", "first": 311, "count": 1}],
    "answer": {"id": 9001, "document": "DN-20417"},
    "previous_hash": "5f1c0c6e4d6f2f7f0a4c4f3f6d0c6d6b7f0f3f1d9d2a0b6c7e8f9a0b1c2d3e4f",
    "hash": "a3b1c2d3e4f5061728394a5b6c7d8e9f00112233445566778899aabbccddeeff"}))]
pub struct JournalEntry {
    /// Its position; the first is 1, and there are no gaps.
    pub seq: i64,
    /// When it was committed.
    pub recorded_at: DateTime<Utc>,
    /// By whom: `user:LOGIN`, `device:CODE` or `system`.
    pub actor: String,
    /// Which operation.
    pub operation: String,
    /// The code of the site it happened at, where it has one.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub site: Option<String>,
    /// The request it came with.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub request_id: Option<String>,
    /// The rows it brought, in order.
    pub changes: Vec<JournalChange>,
    /// The answer that was given; absent where it held a secret, for then it was not kept.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schema(value_type = Option<Object>)]
    pub answer: Option<Value>,
    /// The hash of the entry before.
    pub previous_hash: String,
    /// SHA-256 over this entry, its rows and the hash before it.
    pub hash: String,
}

/// Rows of one table that an entry brought, with ids that follow each other.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub struct JournalChange {
    /// The table.
    pub table: String,
    /// The id of the first row.
    pub first: i64,
    /// How many.
    pub count: i64,
}

/// A page of the journal.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct JournalPage {
    /// The entries, newest first.
    pub items: Vec<JournalEntry>,
    /// Send this as `before` for the next page; absent on the last.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub next: Option<i64>,
}

/// Which entries to list; absent fields do not narrow.
#[derive(Clone, Debug, Default)]
pub struct JournalSearch {
    /// Before this one.
    pub before: Option<i64>,
    /// By whom, exactly as stored.
    pub actor: Option<String>,
    /// Which operation.
    pub operation: Option<String>,
    /// At which site, by code.
    pub site: Option<String>,
    /// Only what was committed before this moment.
    pub until: Option<DateTime<Utc>>,
}

impl Tubtrail {
    /// The journal's entries that match, newest first.
    pub fn list_journal(&self, request: &Request, search: &JournalSearch, limit: u32) -> Result<JournalPage> {
        request.actor.may_everywhere(&reach::LIST_JOURNAL)?;
        let limit = limit.clamp(1, MOST);
        let line = |field: &str, text: &Option<String>, most: usize| -> Result<Option<String>> {
            let Some(text) = text.as_deref() else { return Ok(None) };
            if text.chars().count() > most {
                return Err(OperationError::invalid(field, say!("this is longer than {most} characters", most)));
            }
            fields::name(field, text).map(Some)
        };
        if search.before.is_some_and(|before| before < 1) {
            return Err(OperationError::invalid("before", say!("the journal's first entry is 1")));
        }
        let actor = line("actor", &search.actor, LONGEST_ACTOR)?;
        let operation = line("operation", &search.operation, LONGEST_OPERATION)?;
        self.read_at_once(|conn| {
            let filter = JournalFilter {
                before: search.before,
                actor,
                operation,
                site_id: match &search.site {
                    Some(code) => Some(fields::filter_site(conn, "site", code)?),
                    None => None,
                },
                until: search.until.map(|until| until.naive_utc()),
            };
            let mut rows = entries(conn, &filter, i64::from(limit) + 1)?;
            let more = rows.len() > limit as usize;
            rows.truncate(limit as usize);
            let next = if more { rows.last().map(|row| row.seq) } else { None };
            Ok(JournalPage { items: show(conn, rows)?, next })
        })
    }

    /// The next entries after one, oldest first; none if there is nothing new. Refuses an entry that is still to come.
    pub fn follow_changes(&self, request: &Request, after: i64, limit: u32) -> Result<Vec<JournalEntry>> {
        request.actor.may_everywhere(&reach::FOLLOW_CHANGES)?;
        self.read_at_once(|conn| {
            let last = position(conn)?;
            if !(0..=last).contains(&after) {
                return Err(OperationError::invalid("after", say!("the journal's last entry is {last}", last)));
            }
            let rows = entries_after(conn, after, i64::from(limit.clamp(1, MOST)))?;
            show(conn, rows)
        })
    }

    /// Tells `listener` the journal's position whenever it has moved: at once for what is committed here, and whenever
    /// this process looks for what is committed elsewhere ([`Self::is_ready`] looks). It must not wait for anything.
    pub fn on_commit(&self, listener: impl Fn(i64) + Send + Sync + 'static) {
        self.index.tell(Box::new(listener));
    }
}

fn show(conn: &mut AnyConnection, rows: Vec<JournalRow>) -> Result<Vec<JournalEntry>> {
    let sites = site_codes(conn, &rows.iter().filter_map(|row| row.site_id).collect::<Vec<_>>())?;
    rows.into_iter().map(|row| show_entry(&sites, row)).collect()
}

fn show_entry(sites: &HashMap<i64, String>, row: JournalRow) -> Result<JournalEntry> {
    let corrupt = |what: &str| StorageError::Corrupt(format!("journal entry {}: its {what}", row.seq));
    let site = match row.site_id {
        Some(id) => Some(sites.get(&id).cloned().ok_or_else(|| corrupt("site is missing"))?),
        None => None,
    };
    let changes: Vec<(String, i64, i64)> =
        serde_json::from_str(&row.changes).map_err(|_| corrupt("list of changes"))?;
    let answer = row.answer.as_deref().map(serde_json::from_str).transpose().map_err(|_| corrupt("answer"))?;
    Ok(JournalEntry {
        seq: row.seq,
        recorded_at: fields::utc(row.recorded_at),
        actor: row.actor,
        operation: row.operation,
        site,
        request_id: row.request_id,
        changes: changes.into_iter().map(|(table, first, count)| JournalChange { table, first, count }).collect(),
        answer,
        previous_hash: row.previous_hash,
        hash: row.hash,
    })
}
