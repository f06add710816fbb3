//! What happened, as it is told.

use chrono::{DateTime, Utc};
use serde::Serialize;
use tubtrail_domain::saying::Saying;
use tubtrail_domain::webhooks::Event;
use tubtrail_storage::recalls::{CLOSED, RecallEndingRow, RecallRow, WITHDRAWN, ending_after, recall, recall_after};
use tubtrail_storage::search::author;
use tubtrail_storage::stock::{HoldReleaseRow, HoldRow, hold_after, release_after};
use tubtrail_storage::webhooks::{RecallReachRow, TEST, WebhookTestRow, reach_after};
use tubtrail_storage::{AnyConnection, StorageError, journal};
use utoipa::ToSchema;

use crate::error::Result;
use crate::fields;
use crate::holds::{self, Hold};
use crate::recalls::{self, CAUTION, Recall};

/// What is sent to a webhook: the body of the request.
#[derive(Clone, Debug, Serialize, ToSchema)]
#[schema(example = json!({"type": "hold.placed", "timestamp": "2026-11-25T09:00:00Z", "data": {"id": 5401,
    "lot": "261125-0003-1", "item": "pistachio-paste", "entry": 8210, "reason": "the supplier called: do not use",
    "held_at": "2026-11-25T09:00:00Z", "held_by": "user:ines"}}))]
pub struct WebhookMessage {
    /// Which event; `test` where it is only to be tried.
    #[serde(rename = "type")]
    pub kind: String,
    /// When it happened: when it was written down.
    pub timestamp: DateTime<Utc>,
    /// What happened.
    pub data: WebhookData,
}

/// What happened.
#[derive(Clone, Debug, Serialize, ToSchema)]
#[serde(untagged)]
pub enum WebhookData {
    /// Of a hold: as it was placed or released.
    Hold(Hold),
    /// Of a recall: as it was begun, as it ended, or what it reaches by now.
    Recall(Box<RecallTold>),
    /// Of a test.
    Test(Tested),
}

/// A recall as a webhook is told of it.
#[derive(Clone, Debug, Serialize, ToSchema)]
pub struct RecallTold {
    /// The recall.
    #[serde(flatten)]
    pub recall: Recall,
    /// How many lots it reaches: when it was begun, or when the change was found.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub reached_lots: Option<i64>,
    /// How many it was known to reach before.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub reached_before: Option<i64>,
    /// What it does not say.
    #[schema(value_type = String)]
    pub caution: Saying,
}

/// A test as a webhook is told of it.
#[derive(Clone, Debug, Serialize, ToSchema)]
#[schema(example = json!({"webhook": "bistro-screen"}))]
pub struct Tested {
    /// The webhook's code.
    pub webhook: String,
}

/// The `webhook-id` of an event: of the row that it is, whoever is told and however often.
pub fn message_id(event_id: i64) -> String {
    format!("msg_{event_id}")
}

/// Something that happened: the row that says so.
pub enum Happened {
    Placed(HoldRow),
    Released(HoldReleaseRow),
    Begun(RecallRow),
    Ended(RecallEndingRow),
    ReachChanged(RecallReachRow),
    Tested(WebhookTestRow, String),
}

impl Happened {
    /// The first of some events after a row.
    pub fn next(conn: &mut AnyConnection, events: &[Event], after: i64) -> Result<Option<(Self, Event)>> {
        let mut first: Option<(Self, Event)> = None;
        for event in events {
            let found = match event {
                Event::HoldPlaced => hold_after(conn, after)?.map(Self::Placed),
                Event::HoldReleased => release_after(conn, after)?.map(Self::Released),
                Event::RecallBegun => recall_after(conn, after)?.map(Self::Begun),
                Event::RecallClosed => ending_after(conn, CLOSED, after)?.map(Self::Ended),
                Event::RecallWithdrawn => ending_after(conn, WITHDRAWN, after)?.map(Self::Ended),
                Event::RecallReachChanged => reach_after(conn, after)?.map(Self::ReachChanged),
            };
            if let Some(found) = found
                && first.as_ref().is_none_or(|(first, _)| found.id() < first.id())
            {
                first = Some((found, *event));
            }
        }
        Ok(first)
    }

    /// The row's id; ids grow with the journal.
    pub const fn id(&self) -> i64 {
        match self {
            Self::Placed(row) => row.id,
            Self::Released(row) => row.id,
            Self::Begun(row) => row.id,
            Self::Ended(row) => row.id,
            Self::ReachChanged(row) => row.id,
            Self::Tested(row, _) => row.id,
        }
    }

    const fn entry(&self) -> i64 {
        match self {
            Self::Placed(row) => row.entry,
            Self::Released(row) => row.entry,
            Self::Begun(row) => row.entry,
            Self::Ended(row) => row.entry,
            Self::ReachChanged(row) => row.entry,
            Self::Tested(row, _) => row.entry,
        }
    }

    /// The body that tells of it: the same whenever it is made.
    pub fn body(self, conn: &mut AnyConnection, event: Option<Event>) -> Result<String> {
        let (_, at) = author(conn, self.entry())?;
        let kind = event.map_or(TEST, Event::word).to_owned();
        let message = WebhookMessage { kind, timestamp: fields::utc(at), data: self.data(conn)? };
        Ok(serde_json::to_string(&message).map_err(StorageError::from)?)
    }

    fn data(self, conn: &mut AnyConnection) -> Result<WebhookData> {
        Ok(match self {
            Self::Placed(row) => WebhookData::Hold(holds::placed(conn, row)?),
            Self::Released(row) => WebhookData::Hold(holds::released(conn, row)?),
            Self::Begun(row) => {
                let reached = reached_at_first(conn, &row)?;
                told(conn, row, None, reached, None)?
            }
            Self::Ended(row) => {
                let recall = of_row(conn, row.recall_id)?;
                told(conn, recall, Some(row), None, None)?
            }
            Self::ReachChanged(row) => {
                let recall = of_row(conn, row.recall_id)?;
                told(conn, recall, None, Some(row.reached_lots), Some(row.reached_before))?
            }
            Self::Tested(_, webhook) => WebhookData::Test(Tested { webhook }),
        })
    }
}

fn told(
    conn: &mut AnyConnection,
    row: RecallRow,
    ending: Option<RecallEndingRow>,
    reached_lots: Option<i64>,
    reached_before: Option<i64>,
) -> Result<WebhookData> {
    let recall = recalls::told(conn, row, ending)?;
    Ok(WebhookData::Recall(Box::new(RecallTold { recall, reached_lots, reached_before, caution: CAUTION })))
}

fn of_row(conn: &mut AnyConnection, id: i64) -> Result<RecallRow> {
    Ok(recall(conn, id)?.ok_or_else(|| StorageError::Corrupt(format!("recall {id} is missing")))?)
}

/// How many lots a recall reached when it was begun, as its answer said.
pub fn reached_at_first(conn: &mut AnyConnection, row: &RecallRow) -> Result<Option<i64>> {
    let answer = journal::entry(conn, row.entry)?.and_then(|entry| entry.answer);
    let answer: Option<serde_json::Value> =
        answer.map(|answer| serde_json::from_str(&answer)).transpose().map_err(StorageError::from)?;
    Ok(answer.and_then(|answer| answer["reached_lots"].as_i64()))
}
