//! The case of a recall as a whole: how long it took, where everything is, and whether it adds up.

use std::collections::{BTreeMap, HashMap};

use chrono::{DateTime, NaiveDateTime, Utc};
use serde::{Deserialize, Serialize};
use tubtrail_storage::lots::lots_by_ids;
use tubtrail_storage::recall_lines::brought_in;
use tubtrail_storage::recalls::{RecallConfirmationRow, RecallRow, confirmations_of, last_confirmation};
use tubtrail_storage::search::authors;
use tubtrail_storage::stock::{BalanceRow, balances_of};
use tubtrail_storage::{AnyConnection, StorageError};
use utoipa::ToSchema;

use super::consignees;
use super::lines::{CHUNK, is_late, is_open};
use super::outline::{Outline, Reached};
use super::places::parts;
use super::{CAUTION, Recall, addressed, one};
use crate::error::Result;
use crate::fields;
use crate::lots::number;
use crate::names::Names;
use crate::quantities::Grams;
use crate::reach::{self, Request};
use crate::tubtrail::{Tubtrail, at_once};

/// How often a case is drawn anew where something moved between the look at the graph and the look at the book.
const ATTEMPTS: usize = 3;

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
        "served_grams": 1000, "open_lines": 1, "overdue_lines": 0}],
    "open_lines": 2, "overdue_lines": 0, "consignees": 1, "open_replies": 1, "overdue_replies": 0,
    "times": {"notice_to_trace_seconds": 300}, "caution": "This is what was recorded."}))]
pub struct RecallCase {
    /// The recall.
    #[serde(flatten)]
    pub recall: Recall,
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
    /// What each site has and had of it.
    pub sites: Vec<RecallSite>,
    /// Lines still to be confirmed.
    pub open_lines: usize,
    /// Those of them that should have been by now.
    pub overdue_lines: usize,
    /// How many customers were handed any of it.
    pub consignees: usize,
    /// Lots handed to a customer who has not answered for them.
    pub open_replies: usize,
    /// Those of them that should have been answered for by now.
    pub overdue_replies: usize,
    /// How long it took.
    pub times: RecallTimes,
    /// What it does not say.
    pub caution: String,
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
        self.read(|conn| {
            let row = addressed(conn, id)?;
            self.case(conn, &row)
        })
    }

    pub(super) fn case(&self, conn: &mut AnyConnection, row: &RecallRow) -> Result<RecallCase> {
        for _ in 1..ATTEMPTS {
            let case = self.draw_case(conn, row)?;
            if case.mass.unaccounted_grams == Grams::default() {
                return Ok(case);
            }
        }
        self.draw_case(conn, row)
    }

    fn draw_case(&self, conn: &mut AnyConnection, row: &RecallRow) -> Result<RecallCase> {
        let outline = self.outline_of(conn, row)?;
        let now = (self.clock)();
        at_once(conn, |conn| draw(conn, row, &outline, now))
    }
}

fn draw(conn: &mut AnyConnection, row: &RecallRow, outline: &Outline, now: NaiveDateTime) -> Result<RecallCase> {
    let tally = Tally::of(conn, row.id, outline)?;
    let late = is_late(conn, row, now)?;
    let overdue = |open: usize| if late { open } else { 0 };
    let handed = consignees::handed(conn, outline)?;
    let open_replies = consignees::unanswered(conn, row, &handed)?.len();
    let consignees: std::collections::BTreeSet<i64> = handed.iter().map(|(partner, _)| *partner).collect();
    Ok(RecallCase {
        recall: one(conn, row.clone())?,
        journal_position: outline.position,
        seed_lots: outline.seeds,
        reached_lots: outline.lots.len(),
        by_contact_lots: outline.lots.iter().filter(|lot| lot.by_contact).count(),
        mass: tally.mass(outline),
        open_lines: tally.open.len(),
        overdue_lines: overdue(tally.open.len()),
        sites: tally.sites(conn, late)?,
        consignees: consignees.len(),
        open_replies,
        overdue_replies: overdue(open_replies),
        times: times(conn, row)?,
        caution: CAUTION.to_string(),
    })
}

/// What all the lines of a recall come to.
#[derive(Default)]
pub(super) struct Tally {
    received_mg: i64,
    placed_mg: i64,
    /// Milligrams of the seeds by word of the place.
    seed_mg: BTreeMap<&'static str, i64>,
    sites: BTreeMap<i64, SiteTally>,
    /// Lot and site of the lines still to be confirmed, with the lot's number.
    pub open: Vec<(i64, i64, String)>,
}

#[derive(Default)]
struct SiteTally {
    lots: usize,
    lots_on_hand: usize,
    on_hand_mg: i64,
    served_mg: i64,
    open: usize,
}

impl Tally {
    /// Goes through all lots, so many at a time.
    pub(super) fn of(conn: &mut AnyConnection, recall_id: i64, outline: &Outline) -> Result<Self> {
        let mut tally = Self::default();
        for chunk in outline.lots.chunks(CHUNK) {
            tally.add(conn, recall_id, chunk)?;
        }
        Ok(tally)
    }

    fn add(&mut self, conn: &mut AnyConnection, recall_id: i64, reached: &[Reached]) -> Result<()> {
        let ids: Vec<i64> = reached.iter().map(|lot| lot.row).collect();
        let mut balances: HashMap<i64, Vec<BalanceRow>> = HashMap::new();
        for row in balances_of(conn, &ids)? {
            balances.entry(row.lot_id).or_default().push(row);
        }
        let mut on_hand = Vec::new();
        for (lot, reached) in lots_by_ids(conn, &ids)?.iter().zip(reached) {
            if lot.id != reached.row {
                return Err(StorageError::Corrupt(format!("lot row {} is in the graph alone", reached.row)).into());
            }
            if reached.is_seed {
                self.received_mg += lot.mass_mg;
            }
            let mut last_site = None;
            for part in parts(lot, reached, balances.get(&lot.id).map_or(&[][..], Vec::as_slice))? {
                self.placed_mg += part.seed_mg;
                *self.seed_mg.entry(part.fate.word()).or_insert(0) += part.seed_mg;
                let site = self.sites.entry(part.site_id).or_default();
                site.lots += usize::from(last_site != Some(part.site_id));
                last_site = Some(part.site_id);
                if part.fate.word() == "served" {
                    site.served_mg += part.mass_mg;
                }
                if part.fate.is_on_hand() {
                    site.on_hand_mg += part.mass_mg;
                    if on_hand.last().is_none_or(|(id, at, _): &(i64, i64, _)| (*id, *at) != (lot.id, part.site_id)) {
                        site.lots_on_hand += 1;
                        on_hand.push((lot.id, part.site_id, number(lot)?));
                    }
                }
            }
        }
        let ids: Vec<i64> = on_hand.iter().map(|(lot, _, _)| *lot).collect();
        let confirmed: HashMap<(i64, i64), RecallConfirmationRow> =
            confirmations_of(conn, recall_id, &ids)?.into_iter().map(|row| ((row.lot_id, row.site_id), row)).collect();
        let brought_in = brought_in(conn, &ids)?;
        for (lot, site, number) in on_hand {
            if is_open(confirmed.get(&(lot, site)), brought_in.get(&(lot, site))) {
                self.sites.entry(site).or_default().open += 1;
                self.open.push((lot, site, number.to_string()));
            }
        }
        Ok(())
    }

    pub(super) fn mass(&self, outline: &Outline) -> RecallMass {
        let of = |word: &str| Grams::from_mg(self.seed_mg.get(word).copied().unwrap_or(0));
        let held_mg: i64 = outline.lots.iter().map(|lot| lot.seed_mg).sum();
        RecallMass {
            received_grams: Grams::from_mg(self.received_mg),
            found_grams: Grams::from_mg(outline.seed_mg - self.received_mg),
            available_grams: of("available"),
            open_grams: of("open"),
            in_transit_grams: of("in_transit"),
            served_grams: of("served"),
            consigned_grams: of("consigned"),
            discarded_grams: of("discarded"),
            returned_grams: of("returned"),
            count_difference_grams: of("count_difference"),
            in_open_batches_grams: Grams::from_mg(outline.in_open_batches_mg),
            lost_grams: Grams::from_mg(outline.lost_mg),
            in_seeds_grams: Grams::from_mg(outline.in_seeds_mg),
            unaccounted_grams: Grams::from_mg(outline.difference_mg + held_mg - self.placed_mg),
        }
    }

    pub(super) fn sites(&self, conn: &mut AnyConnection, late: bool) -> Result<Vec<RecallSite>> {
        let mut names = Names::default();
        let shown = self.sites.iter().map(|(id, site)| {
            let found = names.site(conn, *id)?;
            Ok(RecallSite {
                site: found.row.code.clone(),
                name: found.current.name.clone(),
                lots: site.lots,
                lots_on_hand: site.lots_on_hand,
                on_hand_grams: Grams::from_mg(site.on_hand_mg),
                served_grams: Grams::from_mg(site.served_mg),
                open_lines: site.open,
                overdue_lines: if late { site.open } else { 0 },
            })
        });
        shown.collect()
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
