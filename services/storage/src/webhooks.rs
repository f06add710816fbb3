//! Webhooks: who is told of holds and recalls, and what was sent to them.

use chrono::NaiveDateTime;
use diesel::prelude::*;

use crate::{AnyConnection, StorageError};

fact! {
    /// Someone outside who is told.
    webhooks => WebhookRow {
        /// What it is called in addresses.
        code: String => Text,
        /// As shown.
        name: String => Text,
        /// Where it is sent to.
        url: String => Text,
        /// Of what, in words with blanks between.
        events: String => Text,
    }
}

fact! {
    /// What a secret is made of, together with a key that is not in the database.
    webhook_secrets => WebhookSecretRow {
        /// Whose.
        webhook_id: i64 => BigInt,
        /// Random, base64url.
        nonce: String => Text,
        /// The beginning of the secret's SHA-256, hex: to notice that the key is another.
        fingerprint: String => Text,
        /// The one before signs nothing any more.
        at_once: bool => Bool,
    }
}

fact! {
    /// Sending stops, or goes on.
    webhook_switches => WebhookSwitchRow {
        /// Whose.
        webhook_id: i64 => BigInt,
        /// It goes on.
        is_on: bool => Bool,
        /// Why.
        reason: String => Text,
        /// Events up to this row id are not sent any more.
        skipped_to: Option<i64> => Nullable<BigInt>,
    }
}

fact! {
    /// A delivery was asked for, to try it.
    webhook_tests => WebhookTestRow {
        /// Whose.
        webhook_id: i64 => BigInt,
    }
}

fact! {
    /// Something was sent, and this is what came back.
    webhook_attempts => WebhookAttemptRow {
        /// To whom.
        webhook_id: i64 => BigInt,
        /// The id of the row that the event is.
        event_id: i64 => BigInt,
        /// Which sort of event.
        event: String => Text,
        /// From 1, anew when sending goes on after a stop.
        number: i32 => Integer,
        /// When.
        attempted_at: NaiveDateTime => Timestamp,
        /// How long it took, in milliseconds.
        took_ms: i32 => Integer,
        /// The status of the answer, if there was one.
        status: Option<i32> => Nullable<Integer>,
        /// The beginning of the answer, or why there was none.
        said: String => Text,
        /// It was taken.
        delivered: bool => Bool,
        /// How long is waited until it is sent again, in milliseconds. Left out of the digest where it is not known: older rows had
        /// no such column.
        #[serde(skip_serializing_if = "Option::is_none")]
        wait_ms: Option<i32> => Nullable<Integer>,
    }
}

fact! {
    /// A recall was found to reach other lots than before.
    recall_reaches => RecallReachRow {
        /// Which.
        recall_id: i64 => BigInt,
        /// How many it reaches.
        reached_lots: i64 => BigInt,
        /// How many it reached when that was last noted.
        reached_before: i64 => BigInt,
        /// SHA-256 of which they are, hex.
        digest: String => Text,
    }
}

/// The event that is sent to try a webhook; no other is called so.
pub const TEST: &str = "test";

/// A webhook as it stands now.
#[derive(Clone, Debug)]
pub struct Webhook {
    /// Its row.
    pub row: WebhookRow,
    /// The last time that sending stopped or went on.
    pub switch: Option<WebhookSwitchRow>,
}

impl Webhook {
    /// Whether anything is sent.
    pub fn is_on(&self) -> bool {
        self.switch.as_ref().is_none_or(|switch| switch.is_on)
    }

    /// The row since which attempts count: those before it were made before a stop.
    pub fn counts_since(&self) -> i64 {
        self.switch.as_ref().map_or(self.row.id, |switch| switch.id)
    }
}

/// The next webhooks after a code, by code.
pub fn webhooks_page(conn: &mut AnyConnection, after: &str, limit: i64) -> Result<Vec<Webhook>, StorageError> {
    let rows: Vec<WebhookRow> =
        webhooks::table.filter(webhooks::code.gt(after)).order(webhooks::code).limit(limit).load(conn)?;
    rows.into_iter().map(|row| with_switch(conn, row)).collect()
}

/// Every webhook, the oldest first.
pub fn all_webhooks(conn: &mut AnyConnection) -> Result<Vec<Webhook>, StorageError> {
    let rows: Vec<WebhookRow> = webhooks::table.order(webhooks::id).load(conn)?;
    rows.into_iter().map(|row| with_switch(conn, row)).collect()
}

/// One webhook by code.
pub fn webhook_by_code(conn: &mut AnyConnection, code: &str) -> Result<Option<Webhook>, StorageError> {
    // What cannot be a code is none's; and PostgreSQL takes no NUL.
    if tubtrail_domain::text::code(code).is_err() {
        return Ok(None);
    }
    let row: Option<WebhookRow> = webhooks::table.filter(webhooks::code.eq(code)).first(conn).optional()?;
    row.map(|row| with_switch(conn, row)).transpose()
}

fn with_switch(conn: &mut AnyConnection, row: WebhookRow) -> Result<Webhook, StorageError> {
    let switch = webhook_switches::table
        .filter(webhook_switches::webhook_id.eq(row.id))
        .order(webhook_switches::id.desc())
        .first(conn)
        .optional()?;
    Ok(Webhook { row, switch })
}

/// What a webhook's secrets are made of, the newest first.
pub fn secrets_of(conn: &mut AnyConnection, webhook_id: i64) -> Result<Vec<WebhookSecretRow>, StorageError> {
    Ok(webhook_secrets::table
        .filter(webhook_secrets::webhook_id.eq(webhook_id))
        .order(webhook_secrets::id.desc())
        .load(conn)?)
}

/// The last event that a webhook is done with: delivered, or left out when sending went on; its own row, if none is.
pub fn done_until(conn: &mut AnyConnection, webhook_id: i64) -> Result<i64, StorageError> {
    let delivered: Option<i64> = webhook_attempts::table
        .filter(webhook_attempts::webhook_id.eq(webhook_id))
        .filter(webhook_attempts::delivered.eq(true))
        .filter(webhook_attempts::event.ne(TEST))
        .order(webhook_attempts::event_id.desc())
        .select(webhook_attempts::event_id)
        .first(conn)
        .optional()?;
    let skipped: Option<Option<i64>> = webhook_switches::table
        .filter(webhook_switches::webhook_id.eq(webhook_id))
        .filter(webhook_switches::skipped_to.is_not_null())
        .order(webhook_switches::id.desc())
        .select(webhook_switches::skipped_to)
        .first(conn)
        .optional()?;
    Ok([delivered, skipped.flatten()].into_iter().flatten().fold(webhook_id, i64::max))
}

/// The oldest test that was not sent yet.
pub fn test_to_send(conn: &mut AnyConnection, webhook_id: i64) -> Result<Option<WebhookTestRow>, StorageError> {
    let sent: Option<i64> = webhook_attempts::table
        .filter(webhook_attempts::webhook_id.eq(webhook_id))
        .filter(webhook_attempts::event.eq(TEST))
        .order(webhook_attempts::event_id.desc())
        .select(webhook_attempts::event_id)
        .first(conn)
        .optional()?;
    Ok(webhook_tests::table
        .filter(webhook_tests::webhook_id.eq(webhook_id))
        .filter(webhook_tests::id.gt(sent.unwrap_or(0)))
        .order(webhook_tests::id)
        .first(conn)
        .optional()?)
}

/// The last attempt at one event, of those whose rows come after `since`.
pub fn last_attempt_at(
    conn: &mut AnyConnection,
    webhook_id: i64,
    event_id: i64,
    since: i64,
) -> Result<Option<WebhookAttemptRow>, StorageError> {
    Ok(webhook_attempts::table
        .filter(webhook_attempts::webhook_id.eq(webhook_id))
        .filter(webhook_attempts::event_id.eq(event_id))
        .filter(webhook_attempts::id.gt(since))
        .order(webhook_attempts::id.desc())
        .first(conn)
        .optional()?)
}

/// Attempts at a webhook, the last first; only those before a row, where one is given.
pub fn attempts_before(
    conn: &mut AnyConnection,
    webhook_id: i64,
    before: Option<i64>,
    limit: i64,
) -> Result<Vec<WebhookAttemptRow>, StorageError> {
    let mut query = webhook_attempts::table
        .filter(webhook_attempts::webhook_id.eq(webhook_id))
        .order(webhook_attempts::id.desc())
        .limit(limit)
        .into_boxed();
    if let Some(before) = before {
        query = query.filter(webhook_attempts::id.lt(before));
    }
    Ok(query.load(conn)?)
}

/// What was last noted of a recall's reach.
pub fn last_reach(conn: &mut AnyConnection, recall_id: i64) -> Result<Option<RecallReachRow>, StorageError> {
    Ok(recall_reaches::table
        .filter(recall_reaches::recall_id.eq(recall_id))
        .order(recall_reaches::id.desc())
        .first(conn)
        .optional()?)
}

/// The first note of a recall's reach after a row.
pub fn reach_after(conn: &mut AnyConnection, after: i64) -> Result<Option<RecallReachRow>, StorageError> {
    Ok(recall_reaches::table.filter(recall_reaches::id.gt(after)).order(recall_reaches::id).first(conn).optional()?)
}
