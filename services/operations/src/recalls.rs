//! Recalls: what they begin with, what they reach, who was told, what was found of it, and how they ended.
//!
//! Nothing of what a recall reaches is written down: it is asked of the index, so that a lot that is made or becomes known
//! later is under the recall from the commit that brings it. Who may see a recall sees the whole of it, like a trace.

mod apportion;
mod browse;
mod case;
mod consignees;
mod contacts;
mod drills;
mod endings;
mod lines;
mod news;
mod notice_text;
mod outline;
mod outlook;
mod places;
mod pull;
mod reading;
mod seeds;
mod survey;
mod work;

use std::collections::HashMap;

use chrono::{DateTime, Duration, Utc};
use serde::{Deserialize, Serialize};
use tubtrail_domain::recall::RecallClass;
use tubtrail_domain::say;
use tubtrail_domain::saying::Saying;
use tubtrail_lineage::Reach;
use tubtrail_storage::recalls::{RecallEndingRow, RecallFilter, RecallRow, endings_of, recall, recalls_page, seeds_of};
use tubtrail_storage::search::authors;
use tubtrail_storage::{AnyConnection, StorageError, WriteTx};
use utoipa::{IntoParams, ToSchema};

pub use self::browse::{LineStand, LinesFound, LinesWanted};
pub use self::case::{RecallCase, RecallMass, RecallSite, RecallSums, RecallTimes};
pub use self::consignees::{
    ConsigneeLot, NewNotice, NewReplies, NewReply, Notice, RecallConsignee, RecallConsignees, Replies, Reply,
};
pub use self::contacts::ReachedByContact;
pub use self::drills::{DrillReport, DrillReported, DrillsAsked};
pub use self::endings::{Closing, Ending, EndingWay};
pub use self::lines::{
    ConfirmationShown, ConsignedTo, RecallLine, RecallLines, RecallLinesHead, RecallPlace, RecallStream, ReceivedFrom,
};
pub use self::news::RecallSeen;
pub use self::outlook::{RecallOutlook, SeedsAsked};
pub use self::pull::PullList;
pub use self::seeds::{SeedAsked, SeedShown};
pub(crate) use self::survey::Surveys;
pub use self::work::{Confirmed, LineOutcome, NewConfirmation, NewConfirmations};
use crate::discards::Standpoint;
use crate::error::{OperationError, Result};
use crate::fields;
use crate::master_data::{MOST, Page};
use crate::reach::{self, Request};
use crate::tubtrail::{Answered, Tubtrail};

/// What stands beside every recall.
pub const CAUTION: Saying = say!(
    "This is what was recorded. What was not written down, or written down wrongly, is not in it; \
    that a lot is missing from it clears nothing. Local rules and the responsible person decide what must be done."
);

/// How long a recall may take unless it says: the law usually wants records within 24 hours (21 CFR 1.1455(c)(1): "no
/// later than 24 hours", from memory).
const USUALLY_DUE: Duration = Duration::hours(24);
/// Most days a recall may be given.
const MOST_DAYS: i64 = 365;

/// Meant or practised.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum RecallKind {
    /// Meant.
    Real,
    /// Practised.
    Drill,
}

/// A recall is begun.
#[derive(Clone, Debug, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(example = json!({"kind": "drill", "class": 1, "hazard": "listeria", "with_contact": false, "holds": false,
    "seeds": [{"by": "supplier_lots", "supplier": "hollow-farm", "codes": ["24-118"]}],
    "instructions": "Put it aside, unopened, and mark it."}))]
pub struct NewRecall {
    /// Meant or practised.
    pub kind: RecallKind,
    /// 1, 2 or 3, as the authority says: 1 the gravest.
    #[schema(minimum = 1, maximum = 3)]
    pub class: u8,
    /// What may be wrong with it, in a few words; the till says it too.
    #[schema(max_length = 100)]
    pub hazard: String,
    /// What it begins with; each of them must fit at least one lot. What fits later, joins later.
    #[schema(min_items = 1, max_items = 100)]
    pub seeds: Vec<SeedAsked>,
    /// Batches that ran on equipment after one it reaches, with no clean between that clears everything, are reached too.
    #[serde(default)]
    pub with_contact: bool,
    /// What it reaches is on hold: always, but for a drill that says no.
    #[serde(default)]
    pub holds: Option<bool>,
    /// When the house heard of it; now, if absent.
    #[serde(default)]
    pub noticed_at: Option<DateTime<Utc>>,
    /// Until when everything is to be confirmed; 24 hours after it was heard of, if absent.
    #[serde(default)]
    pub due_at: Option<DateTime<Utc>>,
    /// What to do, for sites and consignees.
    #[serde(default)]
    #[schema(max_length = 2000)]
    pub instructions: Option<String>,
}

/// A recall.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, ToSchema)]
#[schema(example = json!({"recall": 5810, "kind": "real", "class": 1, "hazard": "listeria", "with_contact": true,
    "holds": true, "seeds": [{"by": "supplier_lots", "supplier": "hollow-farm", "codes": ["24-118"]}],
    "noticed_at": "2026-11-25T09:00:00Z", "begun_at": "2026-11-25T09:05:00Z", "begun_by": "user:ines",
    "due_at": "2026-11-26T09:00:00Z", "entry": 9120}))]
pub struct Recall {
    /// Its number.
    pub recall: i64,
    /// Meant or practised.
    pub kind: RecallKind,
    /// 1, 2 or 3.
    pub class: u8,
    /// What may be wrong.
    pub hazard: String,
    /// Contacts are followed too.
    pub with_contact: bool,
    /// What it reaches is on hold.
    pub holds: bool,
    /// What it begins with.
    pub seeds: Vec<SeedShown>,
    /// What to do.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub instructions: Option<String>,
    /// When the house heard of it.
    pub noticed_at: DateTime<Utc>,
    /// When it was written down: from then on everything it reaches was on hold.
    pub begun_at: DateTime<Utc>,
    /// By whom.
    pub begun_by: String,
    /// Until when everything is to be confirmed.
    pub due_at: DateTime<Utc>,
    /// How it ended, once it has.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub ending: Option<Ending>,
    /// The journal entry that brought it.
    pub entry: i64,
}

/// A recall just begun.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct Begun {
    /// The recall.
    #[serde(flatten)]
    pub recall: Recall,
    /// How many lots it begins with.
    pub seed_lots: usize,
    /// How many lots it reaches, those among them.
    pub reached_lots: usize,
    /// What it does not say.
    pub caution: String,
}

/// Which recalls to list.
#[derive(Clone, Debug, Deserialize, IntoParams)]
#[serde(deny_unknown_fields)]
#[into_params(parameter_in = Query)]
pub struct RecallsAsked {
    /// Only real ones, or only drills.
    #[param(inline)]
    #[serde(default)]
    pub kind: Option<RecallKind>,
    /// Only those neither closed nor withdrawn (true), or only those that are (false).
    #[serde(default)]
    pub open: Option<bool>,
    /// The `next` of the page before.
    #[param(max_length = 100)]
    #[serde(default)]
    pub after: String,
    /// Most rows on the page, 1 to 500.
    #[param(minimum = 1, maximum = 500)]
    #[serde(default = "fields::usual_page", deserialize_with = "crate::master_data::limit")]
    pub limit: u32,
}

impl Tubtrail {
    /// Begins a recall: from its commit on everything it reaches is on hold, wherever it is, also what is made or found out
    /// later.
    pub fn begin_recall(&self, request: &Request, new: NewRecall) -> Result<Answered<Begun>> {
        request.actor.may_everywhere(&reach::BEGIN_RECALL)?;
        let actor = request.actor.name.clone();
        self.write_with_graph(request, &reach::BEGIN_RECALL, move |tx, index| {
            let row = check(tx, &new)?;
            let seeds = seeds::check(tx.conn()?, &new.seeds)?;
            let entry = tx.entry();
            let lots = seeds::fitting(tx.conn()?, &seeds, entry)?;
            tx.record(&row)?;
            seeds.of_recall(tx, row.id).iter().try_for_each(|seed| tx.record(seed))?;
            let reached = index.look(|inside, _| Reach::of(&inside.graph, &lots, row.with_contact).len());
            // The entry is written once the command is through.
            let written = Written::from([(row.entry, (actor, tx.now()))]);
            let recall = show_one(tx.conn()?, None, row, &written)?;
            Ok(Begun { recall, seed_lots: lots.len(), reached_lots: reached, caution: CAUTION.to_string() })
        })
    }

    /// Recalls, the last begun first.
    pub fn list_recalls(&self, request: &Request, asked: &RecallsAsked) -> Result<Page<Recall>> {
        request.actor.may_anywhere(&reach::LIST_RECALLS)?;
        let limit = asked.limit.clamp(1, MOST);
        let before_id = Some(fields::after_id("after", &asked.after)?).filter(|id| *id > 0);
        let is_drill = asked.kind.map(|kind| kind == RecallKind::Drill);
        let filter = RecallFilter { is_drill, is_open: asked.open, before_id };
        self.read_at_once(|conn| {
            let rows = recalls_page(conn, &filter, i64::from(limit) + 1)?;
            let page = Page::cut(rows, limit as usize, |row| row.id.to_string());
            Ok(Page { items: show(conn, page.items)?, next: page.next })
        })
    }
}

fn check(tx: &mut WriteTx<'_>, new: &NewRecall) -> Result<RecallRow> {
    let class = RecallClass::from_number(i64::from(new.class));
    let class = class.ok_or_else(|| OperationError::invalid("class", say!("a recall is of class 1, 2 or 3")))?;
    let hazard = fields::name("hazard", &new.hazard)?;
    let is_drill = new.kind == RecallKind::Drill;
    let holds = new.holds.unwrap_or(true);
    if !holds && !is_drill {
        return Err(OperationError::invalid(
            "holds",
            say!("a recall that is meant always holds; only a drill may leave it"),
        ));
    }
    let noticed_at = fields::occurred_at("noticed_at", new.noticed_at, tx.now())?;
    let due_at = match new.due_at {
        Some(due) => crate::clock::to_microseconds(due.naive_utc()),
        None => noticed_at + USUALLY_DUE,
    };
    if due_at <= noticed_at {
        return Err(OperationError::invalid("due_at", say!("this lies before the house heard of it")));
    }
    if due_at > noticed_at + Duration::days(MOST_DAYS) {
        let detail = say!("a recall is to be done within {most} days", most = MOST_DAYS);
        return Err(OperationError::invalid("due_at", detail));
    }
    Ok(RecallRow {
        id: tx.id(),
        entry: tx.entry(),
        is_drill,
        class: i32::from(class.number()),
        hazard,
        with_contact: new.with_contact,
        holds,
        noticed_at,
        due_at,
        instructions: fields::optional_note("instructions", new.instructions.as_deref())?,
    })
}

/// A recall in an address.
pub(crate) fn addressed(conn: &mut AnyConnection, id: i64) -> Result<RecallRow> {
    recall(conn, id)?.ok_or_else(|| OperationError::not_found(say!("recall"), id))
}

/// The lots that a recall reaches, by row id.
pub(crate) fn lots_reached(house: &Tubtrail, conn: &mut AnyConnection, row: &RecallRow) -> Result<Vec<i64>> {
    Ok(house.outline_of(conn, row)?.lots.iter().map(|reached| reached.row).collect())
}

/// A recall as it stood when it was begun, or when it ended.
pub(crate) fn told(conn: &mut AnyConnection, row: RecallRow, ending: Option<RecallEndingRow>) -> Result<Recall> {
    let entries: Vec<i64> = std::iter::once(row.entry).chain(ending.as_ref().map(|ending| ending.entry)).collect();
    let written = authors(conn, &entries)?;
    show_one(conn, ending, row, &written)
}

fn one(conn: &mut AnyConnection, row: RecallRow) -> Result<Recall> {
    let id = row.id;
    let shown = show(conn, vec![row])?.pop();
    Ok(shown.ok_or_else(|| StorageError::Corrupt(format!("recall {id} has no answer")))?)
}

fn show(conn: &mut AnyConnection, rows: Vec<RecallRow>) -> Result<Vec<Recall>> {
    let ids: Vec<i64> = rows.iter().map(|row| row.id).collect();
    let mut endings = endings_of(conn, &ids)?;
    let entries: Vec<i64> =
        rows.iter().map(|row| row.entry).chain(endings.values().map(|ending| ending.entry)).collect();
    let written = authors(conn, &entries)?;
    rows.into_iter().map(|row| show_one(conn, endings.remove(&row.id), row, &written)).collect()
}

type Written = HashMap<i64, (String, chrono::NaiveDateTime)>;

fn show_one(
    conn: &mut AnyConnection,
    ending: Option<RecallEndingRow>,
    row: RecallRow,
    written: &Written,
) -> Result<Recall> {
    let missing = || StorageError::Corrupt(format!("recall {}: its journal entry is missing", row.id));
    let (begun_by, begun_at) = written.get(&row.entry).cloned().ok_or_else(missing)?;
    let seeds = seeds_of(conn, row.id)?;
    let ending = ending.map(|ending| Ending::show(ending, written)).transpose()?;
    Ok(Recall {
        recall: row.id,
        kind: if row.is_drill { RecallKind::Drill } else { RecallKind::Real },
        class: u8::try_from(row.class).map_err(|_| missing())?,
        hazard: row.hazard,
        with_contact: row.with_contact,
        holds: row.holds,
        seeds: seeds::show(conn, &seeds)?,
        instructions: row.instructions,
        noticed_at: fields::utc(row.noticed_at),
        begun_at: fields::utc(begun_at),
        begun_by,
        due_at: fields::utc(row.due_at),
        ending,
        entry: row.entry,
    })
}
