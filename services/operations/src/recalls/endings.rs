//! How a recall ends: closed once everything is confirmed or explained, or withdrawn because it was none. What a closed one
//! still holds stays on hold until it is withdrawn after all; a drill that is closed frees what it held.

use chrono::{DateTime, Utc};
use serde::{Deserialize, Serialize};
use tubtrail_domain::say;
use tubtrail_storage::recalls::{CLOSED, RecallEndingRow, RecallRow, WITHDRAWN, ending_of};
use tubtrail_storage::{StorageError, WriteTx};
use utoipa::ToSchema;

use super::survey::Draft;
use super::{Written, addressed, consignees};
use crate::error::{OperationError, Result};
use crate::index::Index;
use crate::lots::number;
use crate::reach::{self, Request};
use crate::tubtrail::{Answered, Tubtrail};
use crate::{fields, problems};

/// How many lots a refusal names.
const NAMED: usize = 5;

/// How a recall ended.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum EndingWay {
    /// All is accounted for; what is left of it stays on hold. A drill holds nothing any more.
    Closed,
    /// It was no recall after all; nothing is on hold by it any more.
    Withdrawn,
}

/// A recall is over.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[schema(example = json!({"way": "closed", "name": "Ines Owner", "reason": "all destroyed",
    "at": "2026-11-25T15:00:00Z", "by": "user:ines", "entry": 9190}))]
pub struct Ending {
    /// How.
    pub way: EndingWay,
    /// Who says so, by name.
    pub name: String,
    /// Why.
    pub reason: String,
    /// When.
    pub at: DateTime<Utc>,
    /// Who wrote it down.
    pub by: String,
    /// The journal entry that holds it.
    pub entry: i64,
}

/// A recall is to end.
#[derive(Clone, Debug, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(example = json!({"name": "Ines Owner", "reason": "all of it was destroyed"}))]
pub struct Closing {
    /// Who says so, by name.
    #[schema(max_length = 100)]
    pub name: String,
    /// Why it may end.
    #[schema(max_length = 2000)]
    pub reason: String,
}

impl Ending {
    pub(super) fn show(row: RecallEndingRow, written: &Written) -> Result<Self> {
        let corrupt = || StorageError::Corrupt(format!("recall ending {}: {:?} or its entry", row.id, row.way));
        let (by, at) = written.get(&row.entry).cloned().ok_or_else(corrupt)?;
        let way = match row.way.as_str() {
            CLOSED => EndingWay::Closed,
            WITHDRAWN => EndingWay::Withdrawn,
            _ => return Err(corrupt().into()),
        };
        Ok(Self { way, name: row.ended_by, reason: row.reason, at: fields::utc(at), by, entry: row.entry })
    }
}

impl Tubtrail {
    /// Closes a recall in which every line is confirmed or explained and every customer has answered. What is left of it stays
    /// on hold; what a drill held is free again.
    pub fn close_recall(&self, request: &Request, id: i64, new: Closing) -> Result<Answered<Ending>> {
        request.actor.may_everywhere(&reach::CLOSE_RECALL)?;
        let actor = request.actor.name.clone();
        // What the command asks of the index is read before it has its turn.
        let row = self.read(|conn| addressed(conn, id))?;
        self.survey(request, &row)?;
        self.write_with_graph(request, &reach::CLOSE_RECALL, move |tx, index| {
            let recall = addressed(tx.conn()?, id)?;
            let ending = check(tx, &recall, &new, CLOSED)?;
            refuse_open_lines(tx, index, &recall)?;
            record(tx, ending, actor)
        })
    }

    /// Withdraws a recall that was none, closed or not: nothing is on hold by it any more.
    pub fn withdraw_recall(&self, request: &Request, id: i64, new: Closing) -> Result<Answered<Ending>> {
        request.actor.may_everywhere(&reach::WITHDRAW_RECALL)?;
        let actor = request.actor.name.clone();
        self.write(request, &reach::WITHDRAW_RECALL, move |tx| {
            let recall = addressed(tx.conn()?, id)?;
            let ending = check(tx, &recall, &new, WITHDRAWN)?;
            record(tx, ending, actor)
        })
    }
}

fn check(tx: &mut WriteTx<'_>, recall: &RecallRow, new: &Closing, way: &str) -> Result<RecallEndingRow> {
    let ended_by = fields::name("name", &new.name)?;
    let reason = fields::reason("reason", Some(&new.reason))?;
    let is_freeing_a_closed_one = |ending: &RecallEndingRow| way == WITHDRAWN && !recall.is_freed_by(ending);
    if let Some(ending) = ending_of(tx.conn()?, recall.id)?.filter(|ending| !is_freeing_a_closed_one(ending)) {
        let (recall, reason) = (recall.id, ending.reason);
        let detail = if ending.way == WITHDRAWN {
            say!("recall {recall} was already withdrawn: {reason}", recall, reason)
        } else {
            say!("recall {recall} was already closed: {reason}", recall, reason)
        };
        return Err(OperationError::new(&problems::RECALL_ENDED, detail));
    }
    Ok(RecallEndingRow { id: tx.id(), entry: tx.entry(), recall_id: recall.id, way: way.to_owned(), ended_by, reason })
}

fn record(tx: &mut WriteTx<'_>, row: RecallEndingRow, actor: String) -> Result<Ending> {
    tx.record(&row)?;
    let written = Written::from([(row.entry, (actor, tx.now()))]);
    Ending::show(row, &written)
}

fn refuse_open_lines(tx: &mut WriteTx<'_>, index: &Index, recall: &RecallRow) -> Result<()> {
    let survey = Draft::within(tx.conn()?, index, recall)?.settle(tx.conn()?, Some(recall.id))?;
    let open: Vec<i64> = survey.open().map(|line| survey.outline.lots[line.at].row).collect();
    let handed = consignees::handed(tx.conn()?, &survey)?;
    let unanswered = consignees::unanswered(tx.conn()?, recall, &handed)?;
    if open.is_empty() && unanswered.is_empty() {
        return Ok(());
    }
    let mut ids: Vec<i64> = open.iter().copied().chain(unanswered.iter().map(|(_, lot)| *lot)).collect();
    ids.dedup();
    ids.truncate(NAMED);
    let rows = tubtrail_storage::lots::lots_by_ids(tx.conn()?, &ids)?;
    let lots = rows.iter().map(|lot| Ok(number(lot)?.to_string())).collect::<Result<Vec<_>>>()?;
    let detail = say!(
        "{lines} lines are still to be confirmed or explained, and {answers} lots to be answered for by customers; first {lots}",
        lines = open.len(),
        answers = unanswered.len(),
        lots = lots.join(", ")
    );
    Err(OperationError::new(&problems::RECALL_OPEN_LINES, detail).about(lots))
}
