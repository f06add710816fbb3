//! What was sent to a webhook, and what came back.

use chrono::{DateTime, TimeDelta, Utc};
use serde::{Deserialize, Serialize};
use tubtrail_domain::webhooks::next_attempt;
use tubtrail_storage::AnyConnection;
use tubtrail_storage::webhooks::{TEST, Webhook as Stored, WebhookAttemptRow, attempts_before};
use utoipa::ToSchema;

use super::{addressed, events};
use crate::error::Result;
use crate::fields;
use crate::master_data::{MOST, Page};
use crate::reach::{self, Request};
use crate::tubtrail::Tubtrail;

/// Something was sent.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[schema(example = json!({"id": 9312, "event": "hold.placed", "message_id": "msg_9300", "number": 1,
    "attempted_at": "2026-11-25T06:00:01Z", "took_ms": 48, "status": 503, "said": "closed until seven",
    "delivered": false, "wait_ms": 5213, "entry": 8312}))]
pub struct WebhookAttempt {
    /// Its number.
    pub id: i64,
    /// Which sort of event; `test` is the one that was only to be tried.
    pub event: String,
    /// The `webhook-id` it was sent with: the same whenever the same event is sent again.
    pub message_id: String,
    /// How often this event was tried, this time among them; anew after a stop.
    pub number: u32,
    /// When.
    pub attempted_at: DateTime<Utc>,
    /// How long it took, in milliseconds.
    pub took_ms: u32,
    /// The status of the answer; absent where there was none.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub status: Option<u16>,
    /// The beginning of the answer, 200 characters at most; why there was none, where there was none.
    pub said: String,
    /// It was taken: the status was 200 to 299.
    pub delivered: bool,
    /// How long is waited until it is sent again, in milliseconds, counted from `attempted_at`: differs by chance, and is at least
    /// what the other side asks for (`Retry-After`, a day at most). Absent where it is not sent again.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub wait_ms: Option<u32>,
    /// The journal entry that holds it.
    pub entry: i64,
}

impl WebhookAttempt {
    fn of(row: WebhookAttemptRow) -> Result<Self> {
        let corrupt = || tubtrail_storage::StorageError::Corrupt(format!("webhook_attempts row {}", row.id));
        Ok(Self {
            id: row.id,
            message_id: events::message_id(row.event_id),
            event: row.event,
            number: u32::try_from(row.number).map_err(|_| corrupt())?,
            attempted_at: fields::utc(row.attempted_at),
            took_ms: u32::try_from(row.took_ms).map_err(|_| corrupt())?,
            status: row.status.map(u16::try_from).transpose().map_err(|_| corrupt())?,
            said: row.said,
            delivered: row.delivered,
            wait_ms: row.wait_ms.map(u32::try_from).transpose().map_err(|_| corrupt())?,
            entry: row.entry,
        })
    }

    /// When the same is sent again.
    pub(super) fn again_at(&self, webhook: &Stored) -> Option<DateTime<Utc>> {
        if self.delivered || self.event == TEST || self.id < webhook.counts_since() {
            return None;
        }
        let usual = next_attempt(self.number, self.attempted_at.naive_utc()).map(fields::utc)?;
        Some(self.wait_ms.map_or(usual, |wait| self.attempted_at + TimeDelta::milliseconds(wait.into())))
    }
}

impl Tubtrail {
    /// What was sent to a webhook, the last first.
    pub fn list_webhook_attempts(
        &self,
        request: &Request,
        code: &str,
        after: &str,
        limit: u32,
    ) -> Result<Page<WebhookAttempt>> {
        request.actor.may_everywhere(&reach::LIST_WEBHOOK_ATTEMPTS)?;
        let before = Some(fields::after_id("after", after)?).filter(|id| *id > 0);
        let limit = limit.clamp(1, MOST);
        self.read_at_once(|conn| {
            let webhook_id = addressed(conn, code)?.row.id;
            let rows = attempts_before(conn, webhook_id, before, i64::from(limit) + 1)?;
            let page = Page::cut(rows, limit as usize, |row| row.id.to_string());
            let items = page.items.into_iter().map(WebhookAttempt::of).collect::<Result<_>>()?;
            Ok(Page { items, next: page.next })
        })
    }
}

/// The last time that anything was sent to a webhook.
pub(super) fn last(conn: &mut AnyConnection, webhook: &Stored) -> Result<Option<WebhookAttempt>> {
    let last = attempts_before(conn, webhook.row.id, None, 1)?.into_iter().next();
    last.map(WebhookAttempt::of).transpose()
}
