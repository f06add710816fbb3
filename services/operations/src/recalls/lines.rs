//! The lines of a recall: a lot at a site, what became of it there, and who confirmed it.

use std::ops::Range;

use chrono::{DateTime, Utc};
use serde::{Deserialize, Serialize};
use tubtrail_storage::recalls::RecallRow;
use utoipa::ToSchema;

use super::outline::Outline;
use super::reading::show;
use super::work::LineOutcome;
use super::{CAUTION, addressed};
use crate::error::Result;
use crate::known::Origin;
use crate::lot_pages::{self, Begins};
use crate::lots::LotKind;
use crate::master_data::MOST;
use crate::quantities::Grams;
use crate::reach::{self, Request};
use crate::tubtrail::{Tubtrail, at_once};

/// Lots read at a time.
pub(super) const CHUNK: usize = 500;

/// What the lines of a recall say as a whole.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub struct RecallLinesHead {
    /// The recall's number.
    pub recall: i64,
    /// The last journal entry that says which lots are reached; where they lie now may be newer.
    pub journal_position: i64,
    /// How many lots are reached, on all pages together.
    pub total_lots: usize,
    /// What it does not say.
    pub caution: String,
}

/// A page of the lines of a recall.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, ToSchema)]
#[schema(example = json!({"recall": 5810, "journal_position": 9131, "total_lots": 1,
    "caution": "This is what was recorded.",
    "lines": [{"lot": "261125-0051-7", "item": "pistachio", "name": "Pistachio", "kind": "tub",
        "came_from": {"by": "batch", "batch": 12, "recipe": "pistachio", "name": "Pistachio",
            "started_at": "2026-11-25T07:30:00Z"},
        "came_to_be_at": "2026-11-25T09:30:00Z", "came_to_be_at_site": "Quay kitchen",
        "site": "harbour-shop", "site_name": "Harbour", "is_seed": false, "by_contact": false,
        "places": [{"state": "open", "grams": 4590, "seed_grams": 459},
            {"state": "served", "grams": 160, "seed_grams": 16}],
        "served_from": "2026-11-25T10:05:00Z", "served_until": "2026-11-25T10:12:00Z", "open": true,
        "overdue": false}]}))]
pub struct RecallLines {
    /// What they say as a whole.
    #[serde(flatten)]
    pub head: RecallLinesHead,
    /// In order of the lots' coming to be known; the lines of a lot are on one page.
    pub lines: Vec<RecallLine>,
    /// Send this as `after` for the next page; absent on the last.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub next: Option<String>,
}

/// A lot at a site.
#[expect(clippy::struct_excessive_bools, reason = "each is asked for by itself, as a field of JSON")]
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct RecallLine {
    /// Our number for the lot.
    pub lot: String,
    /// The item's code.
    pub item: String,
    /// The item's name.
    pub name: String,
    /// What sort of lot it is.
    pub kind: LotKind,
    /// Where it came from.
    pub came_from: Origin,
    /// Who brought it, and with which paper, where it was received.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub received_from: Option<ReceivedFrom>,
    /// When it was received or made.
    pub came_to_be_at: DateTime<Utc>,
    /// The name of the site where it was received or made.
    pub came_to_be_at_site: String,
    /// The site's code.
    pub site: String,
    /// The site's name.
    pub site_name: String,
    /// The site's Global Location Number.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub site_gln: Option<String>,
    /// The recall begins with it.
    pub is_seed: bool,
    /// It is reached by contact alone: nobody knows how much of what is recalled is in it.
    pub by_contact: bool,
    /// What became of it here.
    pub places: Vec<RecallPlace>,
    /// From when it was served here, if it was.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub served_from: Option<DateTime<Utc>>,
    /// When it was last served here.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub served_until: Option<DateTime<Utc>>,
    /// To whom it was handed from here.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub consigned_to: Vec<ConsignedTo>,
    /// What was last found of it here.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub confirmation: Option<ConfirmationShown>,
    /// Some of it is here by the book, and nobody has confirmed it since it came.
    pub open: bool,
    /// It is open, and should have been confirmed by now.
    pub overdue: bool,
}

/// Who brought a lot.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub struct ReceivedFrom {
    /// The supplier's name.
    pub name: String,
    /// How to reach them.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub contact: Option<String>,
    /// The supplier's paper.
    pub document: String,
}

/// So much of a lot in a place.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub struct RecallPlace {
    /// available, open, `in_transit`, used, served, consigned, discarded, returned or `count_difference`.
    pub state: String,
    /// How much; below zero where a count found more than it missed.
    pub grams: Grams,
    /// How much of what the recall begins with is in that. Absent where it is reached by contact alone, for the amount is not
    /// known, and of what was used, for that is in what was made of it.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub seed_grams: Option<Grams>,
}

/// Something of a lot was handed to a customer.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub struct ConsignedTo {
    /// The customer's code.
    pub customer: String,
    /// Their name.
    pub name: String,
    /// How to reach them.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub contact: Option<String>,
    /// How much.
    pub grams: Grams,
    /// The number of the paper it went with.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub document: Option<String>,
    /// When.
    pub at: DateTime<Utc>,
}

/// What was found of a lot at a site.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub struct ConfirmationShown {
    /// What.
    pub outcome: LineOutcome,
    /// How much it speaks of.
    pub grams: Grams,
    /// Who says so.
    pub name: String,
    /// When.
    pub at: DateTime<Utc>,
    /// Remarks, or the explanation.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub note: Option<String>,
    /// The journal entry that holds it.
    pub entry: i64,
}

/// All the lines of a recall, read a piece at a time.
pub struct RecallStream {
    /// What they say as a whole. A reader that got fewer lots than its total did not get all.
    pub head: RecallLinesHead,
    recall: RecallRow,
    outline: Outline,
    at: usize,
}

impl Tubtrail {
    /// The lines of a recall, a page of lots at a time.
    pub fn list_recall_lines(&self, request: &Request, id: i64, after: &str, limit: u32) -> Result<RecallLines> {
        request.actor.may_anywhere(&reach::LIST_RECALL_LINES)?;
        self.read(|conn| {
            let row = addressed(conn, id)?;
            let outline = self.outline_of(conn, &row)?;
            let begins = Begins::read(after)?;
            begins.check(outline.rows())?;
            let until = (begins.at + limit.clamp(1, MOST) as usize).min(outline.lots.len());
            // The snapshot begins after the graph was looked at, so it holds every lot that was found there.
            let now = (self.clock)();
            let lines = at_once(conn, |conn| show(conn, &row, &outline.lots[begins.at..until], now))?;
            let next = lot_pages::next(until, outline.rows());
            Ok(RecallLines { head: head(&row, &outline), lines, next })
        })
    }

    /// The lines of a recall, all of them.
    pub fn stream_recall_lines(&self, request: &Request, id: i64) -> Result<RecallStream> {
        request.actor.may_anywhere(&reach::LIST_RECALL_LINES)?;
        self.read(|conn| {
            let recall = addressed(conn, id)?;
            let outline = self.outline_of(conn, &recall)?;
            Ok(RecallStream { head: head(&recall, &outline), recall, outline, at: 0 })
        })
    }

    /// The next lines of a stream; none at its end.
    pub fn more_recall_lines(&self, stream: &mut RecallStream) -> Result<Vec<RecallLine>> {
        let range = stream.next_range();
        let now = (self.clock)();
        self.read_at_once(|conn| show(conn, &stream.recall, &stream.outline.lots[range], now))
    }
}

impl RecallStream {
    /// How many of its lots were read.
    pub const fn read(&self) -> usize {
        self.at
    }

    /// Whether all of it was read.
    pub fn is_at_its_end(&self) -> bool {
        self.at >= self.outline.lots.len()
    }

    fn next_range(&mut self) -> Range<usize> {
        let until = (self.at + CHUNK).min(self.outline.lots.len());
        let range = self.at..until;
        self.at = until;
        range
    }
}

pub(super) fn head(row: &RecallRow, outline: &Outline) -> RecallLinesHead {
    RecallLinesHead {
        recall: row.id,
        journal_position: outline.position,
        total_lots: outline.lots.len(),
        caution: CAUTION.to_string(),
    }
}
