//! The case of a recall as a whole: how long it took, where everything is, and whether it adds up.

use std::collections::BTreeSet;

use chrono::{DateTime, NaiveDateTime, Utc};
use serde::{Deserialize, Serialize};
use tubtrail_storage::recalls::{RecallRow, last_confirmation};
use tubtrail_storage::search::authors;
use tubtrail_storage::{AnyConnection, StorageError};
use utoipa::ToSchema;

use super::reading::is_late;
use super::survey::Survey;
use super::{CAUTION, Recall, addressed, consignees, one};
use crate::error::Result;
use crate::fields;
use crate::quantities::Grams;
use crate::reach::{self, Request};
use crate::tubtrail::Tubtrail;

/// A recall with all that is known of it.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, ToSchema)]
#[schema(example = json!({"recall": 5810, "kind": "real", "class": 1, "hazard": "listeria", "with_contact": false,
    "holds": true, "seeds": [{"by": "supplier_lots", "supplier": "hollow-farm", "codes": ["24-118"]}],
    "noticed_at": "2026-11-25T09:00:00Z", "begun_at": "2026-11-25T09:05:00Z", "begun_by": "user:ines",
    "due_at": "2026-11-26T09:00:00Z", "entry": 9120, "journal_position": 9131, "seed_lots": 1, "reached_lots": 3,
    "by_contact_lots": 0,
    "mass": {"received_grams": 10000, "found_grams": 0, "available_grams": 5500, "open_grams": 1600,
        "in_transit_grams": 0, "served_grams": 400, "consigned_grams": 1600, "discarded_grams": 500, "returned_grams": 0,
        "count_difference_grams": 0, "in_open_batches_grams": 0, "lost_grams": 400, "in_seeds_grams": 0,
        "unaccounted_grams": 0},
    "sites": [{"site": "harbour-shop", "name": "Harbour", "lots": 1, "lots_on_hand": 1, "on_hand_grams": 4000,
        "served_grams": 1000, "open_lines": 1, "open_grams": 4000, "confirmed_lines": 0, "not_found_lines": 0,
        "overdue_lines": 0}],
    "open_lines": 2, "overdue_lines": 0, "consignees": 1, "open_replies": 1, "overdue_replies": 0,
    "times": {"notice_to_trace_seconds": 300}, "caution": "This is what was recorded."}))]
pub struct RecallCase {
    /// The recall.
    #[serde(flatten)]
    pub recall: Recall,
    /// What it comes to.
    #[serde(flatten)]
    pub sums: RecallSums,
    /// Lines still to be confirmed.
    pub open_lines: usize,
    /// Those of them that should have been by now.
    pub overdue_lines: usize,
    /// Lots handed to a customer who has not answered for them.
    pub open_replies: usize,
    /// Those of them that should have been answered for by now.
    pub overdue_replies: usize,
    /// How long it took.
    pub times: RecallTimes,
    /// What it does not say.
    pub caution: String,
}

/// What a recall comes to, or would.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct RecallSums {
    /// The last journal entry it takes into account.
    pub journal_position: i64,
    /// How many lots it begins with.
    pub seed_lots: usize,
    /// How many lots it reaches, those among them.
    pub reached_lots: usize,
    /// How many of them by contact alone.
    pub by_contact_lots: usize,
    /// Where what it begins with is now.
    pub mass: RecallMass,
    /// What each site has and had of it. Of a recall that is not begun, the open lines are what would have to be confirmed.
    pub sites: Vec<RecallSite>,
    /// How many customers were handed any of it.
    pub consignees: usize,
}

/// Where what a recall begins with is now. The first two together are the sum of all the others, to the milligram.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub struct RecallMass {
    /// What came to be of the lots it begins with.
    pub received_grams: Grams,
    /// What counts found of them beyond what they missed.
    pub found_grams: Grams,
    /// On the shelf, in lots that hold it.
    pub available_grams: Grams,
    /// Open in a case.
    pub open_grams: Grams,
    /// On the way between sites.
    pub in_transit_grams: Grams,
    /// Served.
    pub served_grams: Grams,
    /// Handed to customers as a whole.
    pub consigned_grams: Grams,
    /// Thrown away.
    pub discarded_grams: Grams,
    /// Gone back to the supplier.
    pub returned_grams: Grams,
    /// Missing at counts.
    pub count_difference_grams: Grams,
    /// In batches that have yielded nothing yet.
    pub in_open_batches_grams: Grams,
    /// Lost in the making.
    pub lost_grams: Grams,
    /// Gone from lots it begins with into others it begins with: it stands twice in the first.
    pub in_seeds_grams: Grams,
    /// What the records do not account for; rounding is no part of it.
    pub unaccounted_grams: Grams,
}

/// What a site has and had of a recall.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub struct RecallSite {
    /// The site's code.
    pub site: String,
    /// The site's name.
    pub name: String,
    /// How many lots have a line here: something of them is here, or was used, served, handed over or lost here.
    pub lots: usize,
    /// How many of them are here now.
    pub lots_on_hand: usize,
    /// How much of those lots is here, whole: on the shelf, open, or sent from here and not arrived.
    pub on_hand_grams: Grams,
    /// How much of them was served here.
    pub served_grams: Grams,
    /// Lines still to be confirmed here.
    pub open_lines: usize,
    /// How much of those lots is here.
    pub open_grams: Grams,
    /// Lines of which it was confirmed that the lot was found here, destroyed or explained.
    pub confirmed_lines: usize,
    /// Lines of which it was said that the lot is not to be found here.
    pub not_found_lines: usize,
    /// Those of them that should have been by now.
    pub overdue_lines: usize,
}

/// How long a recall took.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub struct RecallTimes {
    /// From when the house heard of it until everything was found and on hold.
    pub notice_to_trace_seconds: i64,
    /// When the last line was confirmed, once one is.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub last_confirmation_at: Option<DateTime<Utc>>,
    /// From when everything was found until then.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub trace_to_last_confirmation_seconds: Option<i64>,
}

impl Tubtrail {
    /// A recall with where everything is.
    pub fn get_recall(&self, request: &Request, id: i64) -> Result<RecallCase> {
        request.actor.may_anywhere(&reach::GET_RECALL)?;
        let row = self.read(|conn| addressed(conn, id))?;
        self.case(request, &row)
    }

    /// The same, of one that was found. Must not be called with a connection in hand.
    pub(super) fn case(&self, request: &Request, row: &RecallRow) -> Result<RecallCase> {
        let survey = self.survey(request, row)?;
        let now = (self.clock)();
        self.read_at_once(|conn| draw(conn, row, &survey, now))
    }
}

fn draw(conn: &mut AnyConnection, row: &RecallRow, survey: &Survey, now: NaiveDateTime) -> Result<RecallCase> {
    let late = is_late(conn, row, now)?;
    let overdue = |open: usize| if late { open } else { 0 };
    let open_lines = survey.open().count();
    let handed = consignees::handed(conn, survey)?;
    let open_replies = consignees::unanswered(conn, row, &handed)?.len();
    Ok(RecallCase {
        recall: one(conn, row.clone())?,
        sums: RecallSums::of(conn, survey, &handed, late)?,
        open_lines,
        overdue_lines: overdue(open_lines),
        open_replies,
        overdue_replies: overdue(open_replies),
        times: times(conn, row)?,
        caution: CAUTION.to_string(),
    })
}

impl RecallSums {
    /// What a survey comes to, with the customers and lots that were handed over.
    pub(super) fn of(conn: &mut AnyConnection, survey: &Survey, handed: &[(i64, i64)], late: bool) -> Result<Self> {
        let customers: BTreeSet<i64> = handed.iter().map(|(customer, _)| *customer).collect();
        Ok(Self {
            journal_position: survey.outline.position,
            seed_lots: survey.outline.seeds,
            reached_lots: survey.outline.lots.len(),
            by_contact_lots: survey.outline.lots.iter().filter(|lot| lot.by_contact).count(),
            mass: survey.mass(),
            sites: survey.sites(conn, late)?,
            consignees: customers.len(),
        })
    }
}

pub(super) fn times(conn: &mut AnyConnection, row: &RecallRow) -> Result<RecallTimes> {
    let last = last_confirmation(conn, row.id)?;
    let entries: Vec<i64> = [row.entry].into_iter().chain(last.as_ref().map(|last| last.entry)).collect();
    let written = authors(conn, &entries)?;
    let at = |entry: i64| {
        let missing = || StorageError::Corrupt(format!("journal entry {entry} is missing"));
        written.get(&entry).map(|(_, at)| *at).ok_or_else(missing)
    };
    let traced_at = at(row.entry)?;
    let last_at = last.map(|last| at(last.entry)).transpose()?;
    Ok(RecallTimes {
        notice_to_trace_seconds: (traced_at - row.noticed_at).num_seconds(),
        last_confirmation_at: last_at.map(fields::utc),
        trace_to_last_confirmation_seconds: last_at.map(|last| (last - traced_at).num_seconds()),
    })
}
