//! What a site has of a recall, as a list to go through the rooms with.

use chrono::{DateTime, NaiveDateTime, Utc};
use serde::{Deserialize, Serialize};
use tubtrail_domain::place::State;
use tubtrail_storage::recalls::RecallRow;
use tubtrail_storage::{AnyConnection, StorageError};
use utoipa::ToSchema;

use super::browse::LineStand;
use super::lines::RecallLine;
use super::outline::Reached;
use super::reading::show_at;
use super::survey::{Line, Survey};
use super::{CAUTION, addressed};
use crate::error::Result;
use crate::fields;
use crate::names::Names;
use crate::reach::{self, Request};
use crate::tubtrail::Tubtrail;

/// Most lots of which a site is given its list at once.
const MOST: usize = 5000;

/// What a site has to pull.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, ToSchema)]
#[schema(example = json!({"recall": 5810, "hazard": "listeria", "is_drill": false, "due_at": "2026-11-26T09:00:00Z",
    "site": "harbour-shop", "journal_position": 9131, "lines": [], "open": 0, "more": false,
    "caution": "This is what was recorded."}))]
pub struct PullList {
    /// The recall's number.
    pub recall: i64,
    /// What may be wrong.
    pub hazard: String,
    /// Only practised.
    pub is_drill: bool,
    /// What to do.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub instructions: Option<String>,
    /// Until when.
    pub due_at: DateTime<Utc>,
    /// The site's code.
    pub site: String,
    /// The last journal entry it takes into account.
    pub journal_position: i64,
    /// What is here by the book, open lines first; of each only what stands here.
    pub lines: Vec<RecallLine>,
    /// How many of them are still to be confirmed.
    pub open: usize,
    /// More lots are here than a list holds: confirm these and ask again, or read the lines of the recall.
    pub more: bool,
    /// What it does not say.
    pub caution: String,
}

impl Tubtrail {
    /// What a site has of a recall, as a list to go through the rooms with.
    pub fn show_pull_list(&self, request: &Request, id: i64, site: &str) -> Result<PullList> {
        request.actor.may_anywhere(&reach::SHOW_PULL_LIST)?;
        let (row, site_id) = self.read(|conn| {
            let row = addressed(conn, id)?;
            let asked = fields::sites_asked(conn, Some(site), &request.actor, &reach::SHOW_PULL_LIST)?;
            let site_id = asked.and_then(|sites| sites.first().copied());
            Ok((row, site_id.ok_or_else(|| StorageError::Corrupt("a site that was named has no row".into()))?))
        })?;
        let survey = self.survey(request, &row)?;
        let now = (self.clock)();
        self.read_at_once(|conn| pull_list(conn, &row, &survey, site_id, now))
    }
}

fn pull_list(
    conn: &mut AnyConnection,
    row: &RecallRow,
    survey: &Survey,
    site_id: i64,
    now: NaiveDateTime,
) -> Result<PullList> {
    let mut here: Vec<&Line> =
        survey.lines.iter().filter(|line| line.site_id == site_id && line.is_on_hand()).collect();
    here.sort_by_key(|line| line.stand != LineStand::Open);
    let more = here.len() > MOST;
    here.truncate(MOST);
    let lots: Vec<Reached> = here.iter().map(|line| survey.outline.lots[line.at]).collect();
    let mut lines = show_at(conn, row, &lots, now, |_, site| site == site_id)?;
    // What went away since, or was confirmed.
    lines.retain(is_on_hand);
    lines.sort_by_key(|line| !line.open);
    Ok(PullList {
        recall: row.id,
        hazard: row.hazard.clone(),
        is_drill: row.is_drill,
        instructions: row.instructions.clone(),
        due_at: fields::utc(row.due_at),
        site: Names::default().site_code(conn, site_id)?,
        journal_position: survey.outline.position,
        open: lines.iter().filter(|line| line.open).count(),
        lines,
        more,
        caution: CAUTION.to_string(),
    })
}

fn is_on_hand(line: &RecallLine) -> bool {
    line.places.iter().any(|place| State::from_word(&place.state).is_some_and(State::is_on_hand))
}
