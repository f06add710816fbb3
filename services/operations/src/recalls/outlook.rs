//! What a recall would reach, before anybody decides on one; and the traces a recall begins with. Reads only.

use serde::{Deserialize, Serialize};
use tubtrail_lineage::{LotIx, Reach};
use tubtrail_storage::recalls::seeds_of;
use tubtrail_storage::{AnyConnection, Follower as _};
use utoipa::ToSchema;

use super::survey::{Draft, Survey};
use super::{CAUTION, RecallSums, SeedAsked, addressed, consignees, seeds};
use crate::error::Result;
use crate::index::lots_of_seeds;
use crate::reach::{self, Request};
use crate::trace::TraceStream;
use crate::tubtrail::Tubtrail;

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
        "served_grams": 1000, "open_lines": 1, "open_grams": 4000, "confirmed_lines": 0, "not_found_lines": 0,
        "overdue_lines": 0}],
    "consignees": 1, "caution": "This is what was recorded."}))]
pub struct RecallOutlook {
    /// What it comes to.
    #[serde(flatten)]
    pub sums: RecallSums,
    /// What it does not say.
    pub caution: String,
}

impl Tubtrail {
    /// What a recall that begins with this would reach, as things stand. Nothing is written down, and nothing held.
    pub fn foresee_recall(&self, request: &Request, asked: &SeedsAsked) -> Result<RecallOutlook> {
        request.actor.may_anywhere(&reach::FORESEE_RECALL)?;
        let (lots, _) = self.read(|conn| self.lots_asked(conn, asked))?;
        let draft = self.answer_of(request, |inside, scratch| {
            Draft::of(inside, scratch, &Reach::of(&inside.graph, &lots, asked.with_contact))
        })?;
        // Nobody has confirmed anything of a recall that is none yet.
        self.read_at_once(|conn| {
            let survey = draft.settle(conn, None)?;
            foreseen(conn, &survey)
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
    pub(super) fn lots_asked(&self, conn: &mut AnyConnection, asked: &SeedsAsked) -> Result<(Vec<LotIx>, i64)> {
        let position = self.current_index(conn)?.position();
        let seeds = seeds::check(conn, &asked.seeds)?;
        Ok((seeds::fitting(conn, &seeds, position)?, position))
    }
}

fn foreseen(conn: &mut AnyConnection, survey: &Survey) -> Result<RecallOutlook> {
    let handed = consignees::handed(conn, survey)?;
    Ok(RecallOutlook { sums: RecallSums::of(conn, survey, &handed, false)?, caution: CAUTION.to_string() })
}
