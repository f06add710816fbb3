//! What is to be sent, and what came of it.

use std::collections::{HashMap, HashSet};
use std::time::Duration;

use chrono::{DateTime, NaiveDateTime, TimeDelta, Utc};
use tubtrail_domain::say;
use tubtrail_domain::saying::Saying;
use tubtrail_domain::webhooks::{ATTEMPTS, Event, LONGEST_WAIT, next_attempt, wait};
use tubtrail_lineage::LotIx;
use tubtrail_storage::turn::Turn;
use tubtrail_storage::webhooks::{
    RecallReachRow, TEST, Webhook as Stored, WebhookAttemptRow, WebhookSwitchRow, all_webhooks, done_until,
    last_attempt_at, last_reach, test_to_send,
};
use tubtrail_storage::{AnyConnection, WriteTx};

use super::events::{Happened, message_id, reached_at_first};
use super::{Outgoing, events_of, secrets};
use crate::digest::sha256_hex;
use crate::error::Result;
use crate::fields;
use crate::random;
use crate::reach::{Operation, Request};
use crate::recalls;
use crate::tubtrail::Tubtrail;

/// As the journal calls it when something was sent. No one may ask for it.
static DELIVER_WEBHOOK: Operation = Operation { id: "deliver_webhook", roles: &[] };
/// As the journal calls it when a recall was found to reach other lots.
static NOTE_RECALL_REACH: Operation = Operation { id: "note_recall_reach", roles: &[] };

/// Characters of an answer that are kept.
const KEPT: usize = 200;
/// "I want no more of this."
const GONE: u16 = 410;

/// Something to send.
#[derive(Clone)]
pub struct Delivery {
    /// To whom, by row id.
    pub webhook: i64,
    /// To whom, by code: for the log, which never has the address.
    pub code: String,
    /// Where.
    pub url: String,
    /// Which sort of event.
    pub event: &'static str,
    /// The header `webhook-id`.
    pub message_id: String,
    /// The header `webhook-timestamp`: now, in seconds.
    pub timestamp: i64,
    /// The header `webhook-signature`; none where the secret cannot be made again.
    pub signatures: Option<String>,
    /// The body.
    pub body: String,
    event_id: i64,
    at: NaiveDateTime,
}

/// What came of it.
#[derive(Clone, Debug)]
pub struct Outcome {
    /// How long it took.
    pub took: Duration,
    /// The status of the answer, if there was one.
    pub status: Option<u16>,
    /// The beginning of the answer, or why there was none.
    pub said: String,
    /// How long the other side asks to be left alone (`Retry-After`, RFC 9110, 10.2.3).
    pub asks_to_wait: Option<Duration>,
}

impl Outcome {
    fn is_delivered(&self) -> bool {
        self.status.is_some_and(|status| (200..300).contains(&status))
    }
}

/// What there is to do.
#[derive(Default)]
pub struct Due {
    /// What is to be sent now, at most one thing a webhook.
    pub deliveries: Vec<Delivery>,
    /// When the next is to be sent again, unless something happens before.
    pub next_at: Option<DateTime<Utc>>,
}

/// Whoever looks for what is to be sent; remembers what it has looked at, which can be forgotten at any time.
#[derive(Default)]
pub struct Desk {
    looked_at: i64,
    reaches: HashMap<i64, String>,
}

impl Desk {
    /// What is to be sent now, but for webhooks that something is being sent to.
    pub fn look(&mut self, tubtrail: &Tubtrail, outgoing: &Outgoing, busy: &HashSet<i64>) -> Result<Due> {
        let webhooks = tubtrail.read(|conn| Ok(all_webhooks(conn)?))?;
        let mut wants = webhooks.iter().filter(|webhook| webhook.is_on());
        if wants.any(|webhook| webhook.row.events.contains(Event::RecallReachChanged.word())) {
            self.note_reaches(tubtrail)?;
        }
        let now = (tubtrail.clock)();
        let mut due = Due::default();
        for webhook in webhooks.into_iter().filter(|webhook| !busy.contains(&webhook.row.id)) {
            tubtrail.read_at_once(|conn| due.add(conn, outgoing, &webhook, now))?;
        }
        Ok(due)
    }

    /// Writes down which recalls reach other lots than was known.
    fn note_reaches(&mut self, tubtrail: &Tubtrail) -> Result<()> {
        let reaches = tubtrail.read(|conn| {
            let index = tubtrail.current_index(conn)?;
            Ok(index.look(|inside, _| {
                let moved = inside.position != self.looked_at;
                self.looked_at = inside.position;
                let recalls = inside.recalls.all().filter(|_| moved);
                recalls.map(|(id, recalled)| (id, recalled.reach.lots().map(LotIx::index).collect())).collect()
            }))
        })?;
        let reaches: Vec<(i64, Vec<u32>)> = reaches;
        let mut changed = Vec::new();
        for (recall_id, lots) in reaches {
            let digest = digest_of(&lots);
            if self.reaches.get(&recall_id) == Some(&digest) {
                continue;
            }
            let reached_lots = i64::try_from(lots.len()).unwrap_or(i64::MAX);
            let reached_before = tubtrail.read(|conn| reached_before(conn, recall_id, reached_lots, &digest))?;
            match reached_before {
                Some(reached_before) => changed.push((recall_id, reached_lots, reached_before, digest)),
                None => drop(self.reaches.insert(recall_id, digest)),
            }
        }
        if changed.is_empty() {
            return Ok(());
        }
        let noted = changed.clone();
        tubtrail.write(&Request::system(), &NOTE_RECALL_REACH, move |tx| {
            noted.into_iter().try_for_each(|(recall_id, reached_lots, reached_before, digest)| {
                let (id, entry) = (tx.id(), tx.entry());
                tx.record(&RecallReachRow { id, entry, recall_id, reached_lots, reached_before, digest })
            })?;
            Ok(())
        })?;
        self.reaches.extend(changed.into_iter().map(|(recall_id, .., digest)| (recall_id, digest)));
        Ok(())
    }
}

/// SHA-256 of which lots they are, hex.
fn digest_of(lots: &[u32]) -> String {
    let lots: Vec<u8> = lots.iter().flat_map(|lot| lot.to_be_bytes()).collect();
    sha256_hex(&lots)
}

/// How many lots a recall was last known to reach, unless they are the ones it reaches. Which they were at its beginning was
/// not noted: as many are taken for the same.
fn reached_before(conn: &mut AnyConnection, recall_id: i64, reached: i64, digest: &str) -> Result<Option<i64>> {
    if let Some(last) = last_reach(conn, recall_id)? {
        return Ok((last.digest != digest).then_some(last.reached_lots));
    }
    let recall = recalls::addressed(conn, recall_id)?;
    Ok(reached_at_first(conn, &recall)?.filter(|before| *before != reached))
}

impl Due {
    fn add(
        &mut self,
        conn: &mut AnyConnection,
        outgoing: &Outgoing,
        webhook: &Stored,
        now: NaiveDateTime,
    ) -> Result<()> {
        let id = webhook.row.id;
        if let Some(test) = test_to_send(conn, id)? {
            let happened = Happened::Tested(test, webhook.row.code.clone());
            self.deliveries.push(deliver(conn, outgoing, webhook, (happened, None), now)?);
            return Ok(());
        }
        if !webhook.is_on() {
            return Ok(());
        }
        let done = done_until(conn, id)?;
        let Some((happened, event)) = Happened::next(conn, &events_of(&webhook.row)?, done)? else { return Ok(()) };
        if let Some(next) = again_at(conn, webhook, happened.id())?.filter(|next| *next > now) {
            let next = fields::utc(next);
            self.next_at = Some(self.next_at.map_or(next, |first| first.min(next)));
            return Ok(());
        }
        self.deliveries.push(deliver(conn, outgoing, webhook, (happened, Some(event)), now)?);
        Ok(())
    }
}

/// When an event that was tried before is to be tried again.
fn again_at(conn: &mut AnyConnection, webhook: &Stored, event_id: i64) -> Result<Option<NaiveDateTime>> {
    let last = last_attempt_at(conn, webhook.row.id, event_id, webhook.counts_since())?;
    Ok(last.and_then(|last| due_again(&last)))
}

/// When what an attempt was of is tried again: after the wait that stands beside it, or after the usual one.
fn due_again(last: &WebhookAttemptRow) -> Option<NaiveDateTime> {
    let usual = next_attempt(u32::try_from(last.number).unwrap_or(ATTEMPTS), last.attempted_at)?;
    Some(last.wait_ms.map_or(usual, |wait| last.attempted_at + TimeDelta::milliseconds(wait.into())))
}

fn deliver(
    conn: &mut AnyConnection,
    outgoing: &Outgoing,
    webhook: &Stored,
    (happened, event): (Happened, Option<Event>),
    now: NaiveDateTime,
) -> Result<Delivery> {
    let (event_id, timestamp) = (happened.id(), now.and_utc().timestamp());
    let message_id = message_id(event_id);
    let body = happened.body(conn, event)?;
    let secrets = secrets::in_force(conn, outgoing, webhook.row.id, now)?;
    Ok(Delivery {
        webhook: webhook.row.id,
        code: webhook.row.code.clone(),
        url: webhook.row.url.clone(),
        event: event.map_or(TEST, Event::word),
        signatures: secrets.map(|secrets| secrets::sign(&secrets, &message_id, timestamp, &body)).transpose()?,
        message_id,
        timestamp,
        body,
        event_id,
        at: now,
    })
}

impl Tubtrail {
    /// The turn to send, which one process of those that serve the same database has.
    pub fn turn_to_send(&self) -> Turn {
        Turn::to_send(&self.database)
    }

    /// Writes down what came of a delivery; after the last attempt, or where the other side wants no more, sending stops.
    pub fn record_delivery(&self, delivery: &Delivery, outcome: Outcome) -> Result<()> {
        let delivery = delivery.clone();
        let chance = u16::from_ne_bytes(random::bytes()?);
        self.write(&Request::system(), &DELIVER_WEBHOOK, move |tx| {
            let webhooks = all_webhooks(tx.conn()?)?;
            let Some(webhook) = webhooks.into_iter().find(|webhook| webhook.row.id == delivery.webhook) else {
                return Ok(());
            };
            let row = attempt(tx, &webhook, &delivery, &outcome, chance)?;
            tx.record(&row)?;
            if let Some(reason) = stops_because(&webhook, &row, &outcome) {
                let (id, entry) = (tx.id(), tx.entry());
                let webhook_id = webhook.row.id;
                tx.record(&WebhookSwitchRow { id, entry, webhook_id, is_on: false, reason, skipped_to: None })?;
            }
            Ok(())
        })?;
        Ok(())
    }
}

fn attempt(
    tx: &mut WriteTx<'_>,
    webhook: &Stored,
    delivery: &Delivery,
    outcome: &Outcome,
    chance: u16,
) -> Result<WebhookAttemptRow> {
    let before = last_attempt_at(tx.conn()?, webhook.row.id, delivery.event_id, webhook.counts_since())?;
    let number = before.map_or(0, |before| before.number) + 1;
    let asked = outcome.asks_to_wait.map(|asked| TimeDelta::from_std(asked).unwrap_or(LONGEST_WAIT));
    let wait = u32::try_from(number).ok().and_then(|failed| wait(failed, chance, asked));
    // What was only to be tried is not sent again, nor is what was taken.
    let wait = wait.filter(|_| !outcome.is_delivered() && delivery.event != TEST);
    Ok(WebhookAttemptRow {
        id: tx.id(),
        entry: tx.entry(),
        webhook_id: webhook.row.id,
        event_id: delivery.event_id,
        event: delivery.event.to_owned(),
        number,
        attempted_at: delivery.at,
        took_ms: i32::try_from(outcome.took.as_millis()).unwrap_or(i32::MAX),
        status: outcome.status.map(i32::from),
        said: kept(&outcome.said),
        delivered: outcome.is_delivered(),
        wait_ms: wait.and_then(|wait| i32::try_from(wait.num_milliseconds()).ok()),
    })
}

/// Of what was said, as much as is kept: a line without control characters.
fn kept(said: &str) -> String {
    let line = said.chars().map(|character| if character.is_control() { ' ' } else { character });
    line.take(KEPT).collect::<String>().trim().to_owned()
}

fn stops_because(webhook: &Stored, row: &WebhookAttemptRow, outcome: &Outcome) -> Option<String> {
    if row.delivered || row.event == TEST || !webhook.is_on() {
        return None;
    }
    if outcome.status == Some(GONE) {
        return Some(wants_no_more().to_string());
    }
    let is_last = u32::try_from(row.number).is_ok_and(|number| number >= ATTEMPTS);
    is_last.then(|| never_taken(&message_id(row.event_id), &ATTEMPTS.to_string()).to_string())
}

fn wants_no_more() -> Saying {
    say!("the other side answered 410: it wants no more")
}

fn never_taken(message: &str, times: &str) -> Saying {
    say!("{message} was not taken {times} times in three days", message, times)
}

/// Why a webhook was stopped, as it was written down: by what became of its messages, or in a person's own words.
pub fn stop_reason(written: &str) -> Saying {
    let ours = [wants_no_more(), never_taken("", "")];
    ours.iter().find_map(|ours| ours.read_back(written)).unwrap_or_else(|| Saying::as_it_is(written))
}
