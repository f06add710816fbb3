//! Webhooks: someone outside is told of holds and recalls, in the form of Standard Webhooks 1.0.0
//! (github.com/standard-webhooks/standard-webhooks, `spec/standard-webhooks.md`).
//!
//! Each webhook is told in the order of the journal and at least once; what it did not take is sent again after growing
//! waits ([`tubtrail_domain::webhooks`]), and after the last attempt nothing more is sent until the owner says so. How far it
//! is follows from the rows of what was sent.

mod address;
mod events;
mod secrets;
mod sending;
mod tried;

use chrono::{DateTime, Utc};
use serde::{Deserialize, Serialize};
use tubtrail_domain::say;
use tubtrail_domain::saying::Quoted;
use tubtrail_domain::webhooks::Event;
use tubtrail_storage::search::author;
use tubtrail_storage::webhooks::{
    Webhook as Stored, WebhookRow, WebhookSecretRow, WebhookSwitchRow, WebhookTestRow, all_webhooks, secrets_of,
    webhook_by_code, webhooks_page,
};
use tubtrail_storage::{AnyConnection, StorageError, WriteTx};
use utoipa::ToSchema;

pub use self::address::{Outgoing, Resolve};
pub use self::events::{RecallTold, Tested, WebhookData, WebhookMessage};
pub use self::sending::{Delivery, Desk, Due, Outcome, stop_reason};
pub use self::tried::WebhookAttempt;
use crate::error::{OperationError, Result};
use crate::holds::Because;
use crate::master_data::{MOST, Page};
use crate::reach::{self, Request};
use crate::tubtrail::{Answered, Tubtrail};
use crate::{fields, problems};
pub use tubtrail_storage::turn::Turn;

/// Most webhooks that something is sent to.
const MOST_WEBHOOKS: usize = 20;

/// What a webhook can be told of.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize, ToSchema)]
pub enum WebhookEvent {
    /// A lot was put on hold; `data` is the hold.
    #[serde(rename = "hold.placed")]
    HoldPlaced,
    /// A hold was lifted; `data` is the hold with its release.
    #[serde(rename = "hold.released")]
    HoldReleased,
    /// A recall or a drill was begun; `data` is the recall, with how many lots it reached then.
    #[serde(rename = "recall.begun")]
    RecallBegun,
    /// It was closed: what is left of it stays on hold; `data` is the recall with its ending.
    #[serde(rename = "recall.closed")]
    RecallClosed,
    /// It was withdrawn: nothing is on hold by it any more; `data` is the recall with its ending.
    #[serde(rename = "recall.withdrawn")]
    RecallWithdrawn,
    /// It was found to reach other lots than before: more, as a rule, or others after something was put right; `data` is the
    /// recall with how many it reaches and how many it did.
    #[serde(rename = "recall.reach_changed")]
    RecallReachChanged,
}

impl WebhookEvent {
    const fn event(self) -> Event {
        match self {
            Self::HoldPlaced => Event::HoldPlaced,
            Self::HoldReleased => Event::HoldReleased,
            Self::RecallBegun => Event::RecallBegun,
            Self::RecallClosed => Event::RecallClosed,
            Self::RecallWithdrawn => Event::RecallWithdrawn,
            Self::RecallReachChanged => Event::RecallReachChanged,
        }
    }

    const fn of(event: Event) -> Self {
        match event {
            Event::HoldPlaced => Self::HoldPlaced,
            Event::HoldReleased => Self::HoldReleased,
            Event::RecallBegun => Self::RecallBegun,
            Event::RecallClosed => Self::RecallClosed,
            Event::RecallWithdrawn => Self::RecallWithdrawn,
            Event::RecallReachChanged => Self::RecallReachChanged,
        }
    }
}

/// A new webhook.
#[derive(Clone, Debug, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(example = json!({"code": "bistro-screen", "name": "Screen at the bistro",
    "url": "https://bistro.northquay.example/tubtrail", "events": ["hold.placed", "recall.begun"]}))]
pub struct NewWebhook {
    /// Its code; it never changes.
    #[schema(max_length = 40, pattern = "^[a-z0-9][a-z0-9-]*$")]
    pub code: String,
    /// As shown.
    #[schema(max_length = 120)]
    pub name: String,
    /// Where to send: an https address outside, without a name and password in it. It is no secret: whoever may see
    /// webhooks sees it.
    #[schema(max_length = 500, pattern = r"^https?://\S+$")]
    pub url: String,
    /// What to tell of.
    #[schema(min_items = 1, max_items = 6)]
    pub events: Vec<WebhookEvent>,
}

/// A webhook as it stands.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, ToSchema)]
#[schema(example = json!({"code": "bistro-screen", "name": "Screen at the bistro",
    "url": "https://bistro.northquay.example/tubtrail", "events": ["hold.placed", "recall.begun"], "active": true,
    "created_at": "2026-11-25T06:00:00Z", "created_by": "user:olga", "secret_since": "2026-11-25T06:00:00Z",
    "entry": 8300}))]
pub struct Webhook {
    /// Its code.
    pub code: String,
    /// As shown.
    pub name: String,
    /// Where to.
    pub url: String,
    /// What it is told of.
    pub events: Vec<WebhookEvent>,
    /// Whether anything is sent.
    pub active: bool,
    /// Why nothing is sent any more.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub stopped_because: Option<String>,
    /// Since when there is one.
    pub created_at: DateTime<Utc>,
    /// Who said so.
    pub created_by: String,
    /// Since when it has its secret.
    pub secret_since: DateTime<Utc>,
    /// The last time that anything was sent.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub last_attempt: Option<WebhookAttempt>,
    /// When what was not taken is sent again.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub next_attempt_at: Option<DateTime<Utc>>,
    /// The journal entry that brought it.
    pub entry: i64,
}

/// A webhook with its secret.
#[derive(Clone, Serialize, Deserialize, ToSchema)]
#[schema(example = json!({"code": "bistro-screen", "name": "Screen at the bistro",
    "url": "https://bistro.northquay.example/tubtrail", "events": ["hold.placed", "recall.begun"], "active": true,
    "created_at": "2026-11-25T06:00:00Z", "created_by": "user:olga", "secret_since": "2026-11-25T06:00:00Z",
    "entry": 8300, "secret": "whsec_MfKQ9r8GKYqrTwjUPD8ILPZIo2LaLaSwMfKQ9r8GKYo="}))]
pub struct WebhookWithSecret {
    /// The webhook.
    #[serde(flatten)]
    pub webhook: Webhook,
    /// What its deliveries are signed with: shown this once.
    pub secret: String,
}

/// A new secret is asked for.
#[derive(Clone, Debug, Default, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(example = json!({"at_once": false}))]
pub struct NewSecret {
    /// The secret before it has leaked: it signs nothing any more. Otherwise deliveries carry the signatures of both for a
    /// day, so that none is missed while the other side changes over.
    #[serde(default)]
    pub at_once: bool,
}

/// Sending is to go on.
#[derive(Clone, Debug, Default, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(example = json!({"reason": "the screen is back", "skip_missed": false}))]
pub struct Resumption {
    /// Why.
    #[serde(default)]
    #[schema(max_length = 2000)]
    pub reason: Option<String>,
    /// Leave out what happened meanwhile; otherwise all of it is sent, from where it stopped.
    #[serde(default)]
    pub skip_missed: bool,
}

/// A test delivery is asked for; there is nothing more to say.
#[derive(Clone, Debug, Default, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(example = json!({}))]
pub struct NewTest {}

/// A test delivery that was asked for: it is sent at once, before all else, and only this once.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, ToSchema)]
#[schema(example = json!({"message_id": "msg_9310", "entry": 8310}))]
pub struct WebhookTest {
    /// Its `webhook-id`; what came of it stands among the attempts.
    pub message_id: String,
    /// The journal entry that holds it.
    pub entry: i64,
}

impl Tubtrail {
    /// Webhooks, by code.
    pub fn list_webhooks(&self, request: &Request, after: &str, limit: u32) -> Result<Page<Webhook>> {
        request.actor.may_everywhere(&reach::LIST_WEBHOOKS)?;
        fields::after_code("after", after)?;
        let limit = limit.clamp(1, MOST);
        self.read_at_once(|conn| {
            let rows = webhooks_page(conn, after, i64::from(limit) + 1)?;
            let page = Page::cut(rows, limit as usize, |webhook| webhook.row.code.clone());
            let items = page.items.into_iter().map(|webhook| show(conn, webhook)).collect::<Result<_>>()?;
            Ok(Page { items, next: page.next })
        })
    }

    /// One webhook.
    pub fn get_webhook(&self, request: &Request, code: &str) -> Result<Webhook> {
        request.actor.may_everywhere(&reach::GET_WEBHOOK)?;
        self.read_at_once(|conn| {
            let webhook = addressed(conn, code)?;
            show(conn, webhook)
        })
    }

    /// Tells someone outside of what happens from now on; the secret is answered this once. Looks the address up.
    pub fn create_webhook(
        &self,
        request: &Request,
        new: NewWebhook,
        outgoing: &Outgoing,
    ) -> Result<Answered<WebhookWithSecret>> {
        request.actor.may_everywhere(&reach::CREATE_WEBHOOK)?;
        let url = outgoing.check("url", &new.url)?;
        let recipe = secrets::Recipe::new(outgoing)?;
        let actor = request.actor.name.clone();
        self.write_secret(request, &reach::CREATE_WEBHOOK, move |tx| {
            let row = record(tx, &new, url)?;
            let secret = recipe.record(tx, row.id, true)?;
            let (webhook, now) = (Stored { row, switch: None }, fields::utc(tx.now()));
            let webhook = answer(tx.conn()?, webhook, (actor, now), now)?;
            Ok(WebhookWithSecret { webhook, secret })
        })
    }

    /// Gives a webhook another secret, which is answered this once.
    pub fn rotate_webhook_secret(
        &self,
        request: &Request,
        code: &str,
        new: &NewSecret,
        outgoing: &Outgoing,
    ) -> Result<Answered<WebhookWithSecret>> {
        request.actor.may_everywhere(&reach::ROTATE_WEBHOOK_SECRET)?;
        let recipe = secrets::Recipe::new(outgoing)?;
        let (code, at_once) = (code.to_owned(), new.at_once);
        self.write_secret(request, &reach::ROTATE_WEBHOOK_SECRET, move |tx| {
            let stored = addressed(tx.conn()?, &code)?;
            let secret = recipe.record(tx, stored.row.id, at_once)?;
            let created = created(tx.conn()?, &stored.row)?;
            let now = fields::utc(tx.now());
            let webhook = answer(tx.conn()?, stored, created, now)?;
            Ok(WebhookWithSecret { webhook, secret })
        })
    }

    /// Sends a webhook nothing any more.
    pub fn stop_webhook(&self, request: &Request, code: &str, because: Because) -> Result<Answered<Webhook>> {
        request.actor.may_everywhere(&reach::STOP_WEBHOOK)?;
        let code = code.to_owned();
        self.write(request, &reach::STOP_WEBHOOK, move |tx| {
            let stored = addressed(tx.conn()?, &code)?;
            let reason = fields::reason("reason", because.reason.as_deref())?;
            if !stored.is_on() {
                return Err(OperationError::of(&problems::WEBHOOK_STOPPED));
            }
            switch(tx, stored, false, reason, false)
        })
    }

    /// Lets sending go on: with what was not taken, or with what happens from now on.
    pub fn resume_webhook(&self, request: &Request, code: &str, new: Resumption) -> Result<Answered<Webhook>> {
        request.actor.may_everywhere(&reach::RESUME_WEBHOOK)?;
        let code = code.to_owned();
        self.write(request, &reach::RESUME_WEBHOOK, move |tx| {
            let stored = addressed(tx.conn()?, &code)?;
            let reason = fields::reason("reason", new.reason.as_deref())?;
            if stored.is_on() {
                return Err(OperationError::of(&problems::WEBHOOK_RUNNING));
            }
            refuse_too_many(tx.conn()?)?;
            switch(tx, stored, true, reason, new.skip_missed)
        })
    }

    /// Sends something to try it, once, also where sending has stopped.
    pub fn test_webhook(&self, request: &Request, code: &str) -> Result<Answered<WebhookTest>> {
        request.actor.may_everywhere(&reach::TEST_WEBHOOK)?;
        let code = code.to_owned();
        self.write(request, &reach::TEST_WEBHOOK, move |tx| {
            let webhook_id = addressed(tx.conn()?, &code)?.row.id;
            let row = WebhookTestRow { id: tx.id(), entry: tx.entry(), webhook_id };
            tx.record(&row)?;
            Ok(WebhookTest { message_id: events::message_id(row.id), entry: row.entry })
        })
    }
}

/// A webhook in an address.
fn addressed(conn: &mut AnyConnection, code: &str) -> Result<Stored> {
    webhook_by_code(conn, code)?.ok_or_else(|| OperationError::not_found(say!("webhook"), code))
}

fn record(tx: &mut WriteTx<'_>, new: &NewWebhook, url: String) -> Result<WebhookRow> {
    fields::code("code", &new.code)?;
    let name = fields::name("name", &new.name)?;
    fields::between("events", new.events.len(), 1, Event::ALL.len())?;
    let mut events = new.events.clone();
    events.sort_unstable();
    events.dedup();
    if events.len() < new.events.len() {
        return Err(OperationError::new(&problems::REPEATED, say!("an event is named twice")).at("events"));
    }
    if webhook_by_code(tx.conn()?, &new.code)?.is_some() {
        let detail = say!("there is a webhook {code} already", code = Quoted(&new.code));
        return Err(OperationError::new(&problems::CODE_TAKEN, detail).at("code"));
    }
    refuse_too_many(tx.conn()?)?;
    let events: Vec<_> = events.into_iter().map(|event| event.event().word()).collect();
    let (id, entry) = (tx.id(), tx.entry());
    let row = WebhookRow { id, entry, code: new.code.clone(), name, url, events: events.join(" ") };
    tx.record(&row)?;
    Ok(row)
}

/// Each has a connection of its own while something is sent to it.
fn refuse_too_many(conn: &mut AnyConnection) -> Result<()> {
    if all_webhooks(conn)?.iter().filter(|webhook| webhook.is_on()).count() < MOST_WEBHOOKS {
        return Ok(());
    }
    let detail = say!("{most} webhooks are served already; stop one first", most = MOST_WEBHOOKS);
    Err(OperationError::new(&problems::TOO_MANY_WEBHOOKS, detail))
}

fn switch(tx: &mut WriteTx<'_>, stored: Stored, is_on: bool, reason: String, skips: bool) -> Result<Webhook> {
    let (id, entry) = (tx.id(), tx.entry());
    let skipped_to = skips.then_some(id);
    let row = WebhookSwitchRow { id, entry, webhook_id: stored.row.id, is_on, reason, skipped_to };
    tx.record(&row)?;
    show(tx.conn()?, Stored { switch: Some(row), ..stored })
}

/// The events a row names.
fn events_of(row: &WebhookRow) -> Result<Vec<Event>> {
    let corrupt = |word: &str| StorageError::Corrupt(format!("webhooks row {}: the event {word:?}", row.id));
    let read = |word: &str| Event::from_word(word).ok_or_else(|| corrupt(word).into());
    row.events.split(' ').map(read).collect()
}

/// Who made a webhook, and when.
fn created(conn: &mut AnyConnection, row: &WebhookRow) -> Result<(String, DateTime<Utc>)> {
    let (actor, at) = author(conn, row.entry)?;
    Ok((actor, fields::utc(at)))
}

fn show(conn: &mut AnyConnection, stored: Stored) -> Result<Webhook> {
    let missing = || StorageError::Corrupt(format!("webhooks row {}: it has no secret", stored.row.id));
    let newest: WebhookSecretRow = secrets_of(conn, stored.row.id)?.into_iter().next().ok_or_else(missing)?;
    let (_, since) = author(conn, newest.entry)?;
    let created = created(conn, &stored.row)?;
    answer(conn, stored, created, fields::utc(since))
}

fn answer(
    conn: &mut AnyConnection,
    stored: Stored,
    (created_by, created_at): (String, DateTime<Utc>),
    secret_since: DateTime<Utc>,
) -> Result<Webhook> {
    let last = tried::last(conn, &stored)?;
    let next_attempt_at = last.as_ref().filter(|_| stored.is_on()).and_then(|last| last.again_at(&stored));
    Ok(Webhook {
        events: events_of(&stored.row)?.into_iter().map(WebhookEvent::of).collect(),
        active: stored.is_on(),
        stopped_because: stored.switch.filter(|switch| !switch.is_on).map(|switch| switch.reason),
        code: stored.row.code,
        name: stored.row.name,
        url: stored.row.url,
        created_at,
        created_by,
        secret_since,
        last_attempt: last,
        next_attempt_at,
        entry: stored.row.entry,
    })
}
