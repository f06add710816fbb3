//! How the last drills went: the figures of a recall, drill by drill.

use chrono::{DateTime, Utc};
use serde::{Deserialize, Serialize};
use tubtrail_domain::say;
use tubtrail_storage::recalls::{RecallFilter, recalls_page};
use utoipa::{IntoParams, ToSchema};

use super::{CAUTION, EndingWay, RecallCase, RecallMass, RecallTimes};
use crate::error::{OperationError, Result};
use crate::reach::{self, Request};
use crate::tubtrail::Tubtrail;

/// Most drills reported at a time.
const MOST_DRILLS: u32 = 50;

/// Which drills.
#[derive(Clone, Copy, Debug, Deserialize, IntoParams)]
#[serde(deny_unknown_fields)]
#[into_params(parameter_in = Query)]
pub struct DrillsAsked {
    /// How many of the last, 1 to 50.
    #[param(minimum = 1, maximum = 50)]
    #[serde(default = "usual")]
    pub last: u32,
}

const fn usual() -> u32 {
    10
}

/// How the last drills went.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, ToSchema)]
#[schema(example = json!({"drills": [{"recall": 5810, "hazard": "listeria", "begun_at": "2026-11-25T09:05:00Z",
    "begun_by": "user:ines", "holds": true, "seed_lots": 1, "reached_lots": 3,
    "mass": {"received_grams": 10000, "found_grams": 0, "available_grams": 5500, "open_grams": 1600,
        "in_transit_grams": 0, "served_grams": 400, "consigned_grams": 1600, "discarded_grams": 500, "returned_grams": 0,
        "count_difference_grams": 0, "in_open_batches_grams": 0, "lost_grams": 400, "in_seeds_grams": 0,
        "unaccounted_grams": 0},
    "open_lines": 0, "open_replies": 0,
    "times": {"notice_to_trace_seconds": 300, "last_confirmation_at": "2026-11-25T10:05:00Z",
        "trace_to_last_confirmation_seconds": 3600},
    "in_time": true, "ended": "closed", "journal_position": 9190}], "caution": "This is what was recorded."}))]
pub struct DrillReport {
    /// The last first.
    pub drills: Vec<DrillReported>,
    /// What it does not say.
    pub caution: String,
}

/// How a drill went.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct DrillReported {
    /// The recall's number.
    pub recall: i64,
    /// What was practised.
    pub hazard: String,
    /// When it began.
    pub begun_at: DateTime<Utc>,
    /// By whom.
    pub begun_by: String,
    /// It held what it reached.
    pub holds: bool,
    /// How many lots it began with.
    pub seed_lots: usize,
    /// How many lots it reached.
    pub reached_lots: usize,
    /// Where what it began with was.
    pub mass: RecallMass,
    /// Lines nobody confirmed.
    pub open_lines: usize,
    /// Lots no customer answered for.
    pub open_replies: usize,
    /// How long it took.
    pub times: RecallTimes,
    /// Everything that was confirmed was confirmed in time.
    pub in_time: bool,
    /// How it ended, once it has.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub ended: Option<EndingWay>,
    /// The last journal entry it takes into account.
    pub journal_position: i64,
}

impl Tubtrail {
    /// How the last drills went.
    pub fn show_drill_report(&self, request: &Request, asked: DrillsAsked) -> Result<DrillReport> {
        request.actor.may_anywhere(&reach::SHOW_DRILL_REPORT)?;
        if !(1..=MOST_DRILLS).contains(&asked.last) {
            return Err(OperationError::invalid(
                "last",
                say!("a report covers 1 to {most} drills", most = MOST_DRILLS),
            ));
        }
        let last = i64::from(asked.last);
        let filter = RecallFilter { is_drill: Some(true), ..RecallFilter::default() };
        let rows = self.read(|conn| Ok(recalls_page(conn, &filter, last)?))?;
        let drills = rows.iter().map(|row| Ok(report(self.case(request, row)?))).collect::<Result<_>>()?;
        Ok(DrillReport { drills, caution: CAUTION.to_string() })
    }
}

fn report(case: RecallCase) -> DrillReported {
    let in_time = case.times.last_confirmation_at.is_none_or(|at| at <= case.recall.due_at);
    DrillReported {
        recall: case.recall.recall,
        hazard: case.recall.hazard,
        begun_at: case.recall.begun_at,
        begun_by: case.recall.begun_by,
        holds: case.recall.holds,
        seed_lots: case.sums.seed_lots,
        reached_lots: case.sums.reached_lots,
        mass: case.sums.mass,
        open_lines: case.open_lines,
        open_replies: case.open_replies,
        in_time: in_time && case.overdue_lines == 0 && case.overdue_replies == 0,
        times: case.times,
        ended: case.recall.ending.map(|ending| ending.way),
        journal_position: case.sums.journal_position,
    }
}
