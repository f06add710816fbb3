//! What a recall would reach, before anybody decides on one; and the traces a recall begins with. Reads only.

use serde::{Deserialize, Serialize};
use tubtrail_lineage::{LotIx, Reach};
use tubtrail_storage::recalls::seeds_of;
use tubtrail_storage::{AnyConnection, Follower as _};
use utoipa::ToSchema;

use super::case::Tally;
use super::outline::Outline;
use super::{CAUTION, RecallMass, RecallSite, SeedAsked, addressed, consignees, seeds};
use crate::error::Result;
use crate::index::lots_of_seeds;
use crate::reach::{self, Request};
use crate::trace::TraceStream;
use crate::tubtrail::{Tubtrail, at_once};

/// What a recall would begin with.
#[derive(Clone, Debug, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(example = json!({"with_contact": false,
    "seeds": [{"by": "supplier_lots", "supplier": "hollow-farm", "codes": ["24-118"]}]}))]
pub struct SeedsAsked {
    /// What it would begin with; each of them must fit at least one lot.
    #[schema(min_items = 1, max_items = 100)]
    pub seeds: Vec<SeedAsked>,
    /// Batches that ran on equipment after one it reaches would be reached too.
    #[serde(default)]
    pub with_contact: bool,
}

/// What a recall would reach, as things stand.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, ToSchema)]
#[schema(example = json!({"journal_position": 9131, "seed_lots": 1, "reached_lots": 3, "by_contact_lots": 0,
    "mass": {"received_grams": 10000, "found_grams": 0, "available_grams": 5500, "open_grams": 1600,
        "in_transit_grams": 0, "served_grams": 400, "consigned_grams": 1600, "discarded_grams": 500, "returned_grams": 0,
        "count_difference_grams": 0, "in_open_batches_grams": 0, "lost_grams": 400, "in_seeds_grams": 0,
        "unaccounted_grams": 0},
    "sites": [{"site": "harbour-shop", "name": "Harbour", "lots": 1, "lots_on_hand": 1, "on_hand_grams": 4000,
        "served_grams": 1000, "open_lines": 1, "overdue_lines": 0}],
    "consignees": 1, "caution": "This is what was recorded."}))]
pub struct RecallOutlook {
    /// The last journal entry it takes into account.
    pub journal_position: i64,
    /// How many lots it would begin with.
    pub seed_lots: usize,
    /// How many lots it would reach, those among them.
    pub reached_lots: usize,
    /// How many of them by contact alone.
    pub by_contact_lots: usize,
    /// Where what it would begin with is now.
    pub mass: RecallMass,
    /// What each site has and had of it; its open lines are what it would have to confirm.
    pub sites: Vec<RecallSite>,
    /// How many customers were handed any of it.
    pub consignees: usize,
    /// What it does not say.
    pub caution: String,
}

impl Tubtrail {
    /// What a recall that begins with this would reach, as things stand. Nothing is written down, and nothing held.
    pub fn foresee_recall(&self, request: &Request, asked: &SeedsAsked) -> Result<RecallOutlook> {
        request.actor.may_anywhere(&reach::FORESEE_RECALL)?;
        self.read(|conn| {
            let (lots, _) = self.lots_asked(conn, asked)?;
            let outline = self.current_index(conn)?.look(|inside, scratch| {
                let reach = Reach::of(&inside.graph, &lots, asked.with_contact);
                Outline::of(inside, scratch, &reach)
            });
            at_once(conn, |conn| foreseen(conn, &outline))
        })
    }

    /// Traces what a recall would begin with, all of it together, forward.
    pub fn stream_seeds_trace(&self, request: &Request, asked: &SeedsAsked) -> Result<TraceStream> {
        request.actor.may_anywhere(&reach::FORESEE_RECALL)?;
        let lots = self.read(|conn| Ok(self.lots_asked(conn, asked)?.0))?;
        self.stream_trace_of(request, &lots)
    }

    /// Traces what a recall begins with, all of it together, forward: what it reaches by use, with the way it took.
    pub fn stream_recall_trace(&self, request: &Request, id: i64) -> Result<TraceStream> {
        request.actor.may_anywhere(&reach::DRAW_RECALL)?;
        let lots = self.read(|conn| {
            let row = addressed(conn, id)?;
            let seeds = seeds_of(conn, row.id)?;
            let position = self.current_index(conn)?.position();
            Ok(lots_of_seeds(conn, &seeds, position)?)
        })?;
        self.stream_trace_of(request, &lots)
    }

    /// The lots that this stands for up to where the index is, which is said too.
    fn lots_asked(&self, conn: &mut AnyConnection, asked: &SeedsAsked) -> Result<(Vec<LotIx>, i64)> {
        let position = self.current_index(conn)?.position();
        let seeds = seeds::check(conn, &asked.seeds)?;
        Ok((seeds::fitting(conn, &seeds, position)?, position))
    }
}

fn foreseen(conn: &mut AnyConnection, outline: &Outline) -> Result<RecallOutlook> {
    // Nobody has confirmed anything of a recall that is none yet.
    let tally = Tally::of(conn, 0, outline)?;
    let mut customers: Vec<i64> = consignees::handed(conn, outline)?.into_iter().map(|(partner, _)| partner).collect();
    customers.dedup();
    Ok(RecallOutlook {
        journal_position: outline.position,
        seed_lots: outline.seeds,
        reached_lots: outline.lots.len(),
        by_contact_lots: outline.lots.iter().filter(|lot| lot.by_contact).count(),
        mass: tally.mass(outline),
        sites: tally.sites(conn, false)?,
        consignees: customers.len(),
        caution: CAUTION.to_string(),
    })
}
