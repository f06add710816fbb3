//! What happened to lots, as records for others tell it: one event after another, of a lot's whole trace, of a recall, or of a
//! span of days.
//!
//! What is served by the portion is no event: it goes to whoever eats it. A batch is told of when it is completed, one put right
//! later once for each way it was written down.

mod batches;
mod cursor;
mod loading;
mod scope;
mod told;
mod transfers;

use std::sync::Arc;

use chrono::{DateTime, NaiveDate, Utc};
use serde::Serialize;
use tubtrail_storage::journal;

use self::cursor::Cursors;
use self::loading::Loader;
use self::scope::{Scope, scope};
use crate::deliveries::Expiry;
use crate::error::Result;
use crate::quantities::Grams;
use crate::reach::{Operation, Request};
use crate::tubtrail::Tubtrail;

/// Rows read at a time; each may hold some hundred lots.
const PAGE: usize = 100;
/// Rows read at a time where lots of some items only are told: a batch is the most of which all is. Chosen, not measured by itself.
const PAGE_OF_ITEMS: usize = 400;

/// What is asked for. A lot or a recall stands alone.
#[derive(Clone, Debug, Default)]
pub struct EventsAsked {
    /// The number of a lot: what is in it and where it went.
    pub lot: Option<String>,
    /// The number of a recall: all that it reaches, and what that was made from.
    pub recall: Option<i64>,
    /// That happened on this day or later, as the days are counted at the site.
    pub day_from: Option<NaiveDate>,
    /// That happened on this day or earlier, as the days are counted at the site.
    pub day_to: Option<NaiveDate>,
    /// At this site, by code.
    pub site: Option<String>,
    /// That concern one of these items, by code; all, if there are none.
    pub items: Vec<String>,
}

/// What sort of thing happened.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum EventKind {
    /// A supplier brought it.
    Received,
    /// A batch turned the goods into what was made.
    Transformed,
    /// It was put together with all that leaves in the same transfer.
    Packed,
    /// It left for another site.
    Dispatched,
    /// It arrived from another site.
    Arrived,
    /// It was taken out of a transfer that arrived.
    Unpacked,
    /// It was sent, and did not arrive.
    Missed,
    /// It was handed to a customer.
    Consigned,
    /// It went back to its supplier.
    Returned,
    /// It was thrown away.
    Destroyed,
    /// It was counted.
    Counted,
}

/// Whose a place is.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum PartyKind {
    /// A site of ours.
    Site,
    /// A supplier's or a customer's.
    Partner,
}

/// A site or a partner, as it stands now.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct Party {
    /// Whose it is.
    pub kind: PartyKind,
    /// Its code.
    pub code: String,
    /// Its name.
    pub name: String,
    /// Its GS1 location number.
    pub gln: Option<String>,
    /// Street and town.
    pub address: Option<String>,
}

/// So much of a lot, or of something that is kept without lots.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct Goods {
    /// Our number for the lot.
    pub lot: Option<String>,
    /// The item's code.
    pub item: Arc<str>,
    /// The item's name.
    pub name: Arc<str>,
    /// The number of the article in fourteen digits, where one and no other is known for it.
    pub gtin: Option<String>,
    /// The supplier's own code for the lot.
    pub supplier_lot_code: Option<String>,
    /// Who gave the lot its code: the supplier who brought it, or the site that made it.
    pub source: Option<Arc<Party>>,
    /// The day it was received or made, where it was.
    pub since: Option<NaiveDate>,
    /// Its last day.
    pub expiry: Option<Expiry>,
    /// How much.
    pub grams: Grams,
}

/// What sort of paper something goes with.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum PaperKind {
    /// The supplier's delivery note.
    Delivery,
    /// A batch sheet of ours.
    Batch,
    /// A transfer of ours.
    Transfer,
    /// The note that went with it to the customer.
    Consignment,
}

/// The paper something went with.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct Paper {
    /// What sort.
    pub kind: PaperKind,
    /// Its number, as its issuer writes it.
    pub number: String,
}

/// An event did not happen as it is told.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct Withdrawn {
    /// When that was written down.
    pub at: DateTime<Utc>,
    /// The event that tells it as it was; none if it did not happen at all.
    pub instead: Option<String>,
    /// Why, in the words of whoever put it right.
    pub reason: Option<String>,
}

/// Something that happened to lots.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct TrackingEvent {
    /// A UUID of its own, which never changes and is no other house's.
    pub id: String,
    /// What sort of thing.
    pub kind: EventKind,
    /// When it happened.
    pub at: DateTime<Utc>,
    /// How many minutes the site's clock was ahead of UTC then.
    pub offset_minutes: i32,
    /// When it was written down.
    pub recorded_at: DateTime<Utc>,
    /// The journal entry that brought it.
    pub entry: i64,
    /// Where it happened.
    pub site: Arc<Party>,
    /// Where it came from or goes to.
    pub other: Option<Arc<Party>>,
    /// The paper it went with.
    pub paper: Option<Paper>,
    /// What it happened to; of a batch, all that went in.
    pub goods: Vec<Goods>,
    /// What a batch made.
    pub made: Vec<Goods>,
    /// What the book had of a lot that was counted.
    pub expected: Option<Grams>,
    /// Why, where that was asked.
    pub reason: Option<String>,
    /// It did not happen like this.
    pub withdrawn: Option<Withdrawn>,
}

impl TrackingEvent {
    /// The day it happened, where it happened.
    pub fn day(&self) -> NaiveDate {
        (self.at + chrono::Duration::minutes(i64::from(self.offset_minutes))).date_naive()
    }
}

/// Events, read a piece at a time.
pub struct TrackingEvents {
    /// The last journal entry they take into account.
    pub journal_position: i64,
    /// When they were asked for.
    pub asked_at: DateTime<Utc>,
    /// The days they are of, as far as that was said.
    pub days: (Option<NaiveDate>, Option<NaiveDate>),
    /// What they are of, in a few words.
    pub of: String,
    /// What no other house has: the beginning of the hash of the journal's first entry.
    pub house_mark: String,
    cursors: Cursors,
    loader: Loader,
    items: Vec<String>,
}

impl Tubtrail {
    /// Begins to tell what happened, under the operation for which it is asked.
    pub fn tracking_events(
        &self,
        request: &Request,
        operation: &'static Operation,
        asked: &EventsAsked,
    ) -> Result<TrackingEvents> {
        request.actor.may_anywhere(operation)?;
        let asked_at = crate::fields::utc((self.clock)());
        self.read(|conn| {
            let mut item_ids = Vec::new();
            for (at, code) in asked.items.iter().enumerate() {
                item_ids.push(crate::fields::filter_item(conn, &format!("items[{at}]"), code)?);
            }
            let Scope { cursors, wanted, of } = scope(self, conn, &request.actor, operation, asked, item_ids)?;
            let journal_position = journal::position(conn)?;
            let first = journal::entries_after(conn, 0, 1)?;
            let house_mark = first.first().and_then(|entry| entry.hash.get(..16)).unwrap_or("unwritten").to_owned();
            Ok(TrackingEvents {
                journal_position,
                asked_at,
                days: (asked.day_from, asked.day_to),
                of,
                house_mark,
                cursors,
                loader: Loader::new(journal_position, wanted),
                items: asked.items.clone(),
            })
        })
    }

    /// The next events, in the order in which they happened; none at the end.
    pub fn more_tracking_events(&self, events: &mut TrackingEvents) -> Result<Vec<TrackingEvent>> {
        let page = if events.items.is_empty() { PAGE } else { PAGE_OF_ITEMS };
        loop {
            let (is_last, mut found) = self.read_at_once(|conn| {
                let keys = events.cursors.next(conn, page)?;
                Ok((keys.is_empty(), events.loader.load(conn, &keys)?))
            })?;
            found.retain(|event| events.concerns(event));
            for event in &mut found {
                events.narrow(event);
            }
            if is_last || !found.is_empty() {
                return Ok(found);
            }
        }
    }
}

impl TrackingEvents {
    fn concerns(&self, event: &TrackingEvent) -> bool {
        let (from, to) = self.days;
        let day = event.day();
        let is_item = |goods: &Goods| self.is_asked_for(goods);
        from.is_none_or(|from| day >= from)
            && to.is_none_or(|to| day <= to)
            && (self.items.is_empty() || event.goods.iter().chain(&event.made).any(is_item))
    }

    /// Leaves out goods that were not asked for, but for a batch: what else went in belongs to what it made.
    fn narrow(&self, event: &mut TrackingEvent) {
        if !self.items.is_empty() && event.kind != EventKind::Transformed {
            event.goods.retain(|goods| self.is_asked_for(goods));
        }
    }

    fn is_asked_for(&self, goods: &Goods) -> bool {
        self.items.iter().any(|item| **item == *goods.item)
    }

    /// The codes of the items that were asked for; all, if there are none.
    pub fn items(&self) -> &[String] {
        &self.items
    }
}
