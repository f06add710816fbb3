//! Customers that were handed recalled lots: what each got, what they are told, and what they answered.

use std::collections::{BTreeMap, HashMap, HashSet};

use chrono::{DateTime, NaiveDateTime, Utc};
use serde::{Deserialize, Serialize};
use tubtrail_domain::recall::Outcome;
use tubtrail_domain::say;
use tubtrail_domain::saying::Saying;
use tubtrail_storage::lots::{LotRow, lots_by_ids};
use tubtrail_storage::recall_lines::consigned_of;
use tubtrail_storage::recalls::{RecallNoticeRow, RecallReplyRow, RecallRow, notices_of, replies_of};
use tubtrail_storage::stock::MovementRow;
use tubtrail_storage::{AnyConnection, StorageError, WriteTx};
use utoipa::ToSchema;

use super::notice_text::notice_text;
use super::reading::is_late;
use super::survey::Survey;
use super::work::{LineOutcome, refuse_freed};
use super::{CAUTION, addressed};
use crate::error::{OperationError, Result};
use crate::index::{Index, lot_ix};
use crate::lots;
use crate::names::Names;
use crate::quantities::Grams;
use crate::reach::{self, Request};
use crate::tubtrail::{Answered, Tubtrail};
use crate::{fields, problems};

/// Most lots answered for in one command.
const MOST_REPLIES: usize = 500;

/// All customers that were handed lots of a recall.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, ToSchema)]
#[schema(example = json!({"recall": 5810, "journal_position": 9131, "consignees": [{"customer": "old-mill-bistro",
    "name": "Old Mill Bistro", "contact": "Bruno, 555 0100", "lots": [{"lot": "261125-0052-5", "item": "pistachio",
        "name": "Pistachio", "grams": 4000, "at": "2026-11-25T12:00:00Z", "documents": ["DN-311"]}],
    "notice_text": "RECALL 5810, class 1: listeria", "told": [], "open": 1, "overdue": false}],
    "caution": "This is what was recorded."}))]
pub struct RecallConsignees {
    /// The recall's number.
    pub recall: i64,
    /// The last journal entry that says which lots are reached.
    pub journal_position: i64,
    /// Who got any, in order of code.
    pub consignees: Vec<RecallConsignee>,
    /// What it does not say.
    pub caution: String,
}

/// A customer that was handed lots of a recall.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct RecallConsignee {
    /// The customer's code.
    pub customer: String,
    /// Their name.
    pub name: String,
    /// How to reach them.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub contact: Option<String>,
    /// What they were handed.
    pub lots: Vec<ConsigneeLot>,
    /// What to tell them, to read out or to send.
    #[schema(value_type = String)]
    pub notice_text: Saying,
    /// How they were told so far.
    pub told: Vec<Notice>,
    /// Lots they have not answered for.
    pub open: usize,
    /// They should have been told, and have answered for all of it, by now.
    pub overdue: bool,
}

/// A lot that a customer was handed.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct ConsigneeLot {
    /// Our number for it.
    pub lot: String,
    /// The item's code.
    pub item: String,
    /// The item's name.
    pub name: String,
    /// How much, in all.
    pub grams: Grams,
    /// When it was first handed over.
    pub at: DateTime<Utc>,
    /// The numbers of the papers it went with.
    pub documents: Vec<String>,
    /// What they last answered for it.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub reply: Option<Reply>,
}

/// A customer was told.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[schema(example = json!({"customer": "old-mill-bistro", "way": "by telephone", "told_by": "Ines Owner",
    "told_at": "2026-11-25T09:20:00Z", "entry": 9122}))]
pub struct Notice {
    /// The customer's code.
    pub customer: String,
    /// How.
    pub way: String,
    /// By whom, by name.
    pub told_by: String,
    /// When.
    pub told_at: DateTime<Utc>,
    /// The journal entry that holds it.
    pub entry: i64,
}

/// What a customer answered for a lot.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub struct Reply {
    /// What became of it.
    pub outcome: LineOutcome,
    /// Who says so, by name.
    pub replied_by: String,
    /// When.
    pub replied_at: DateTime<Utc>,
    /// Remarks, or the explanation.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub note: Option<String>,
    /// The journal entry that holds it.
    pub entry: i64,
}

/// A customer is told.
#[derive(Clone, Debug, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(example = json!({"customer": "old-mill-bistro", "way": "by telephone", "told_by": "Ines Owner"}))]
pub struct NewNotice {
    /// The customer's code.
    #[schema(max_length = 40)]
    pub customer: String,
    /// How, in a few words.
    #[schema(max_length = 100)]
    pub way: String,
    /// By whom, by name.
    #[schema(max_length = 100)]
    pub told_by: String,
    /// When; now, if absent.
    #[serde(default)]
    pub told_at: Option<DateTime<Utc>>,
}

/// What a customer answers.
#[derive(Clone, Debug, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(example = json!({"customer": "old-mill-bistro", "replied_by": "Bruno Mill",
    "lots": [{"lot": "261125-0042-7", "outcome": "destroyed"}]}))]
pub struct NewReplies {
    /// The customer's code.
    #[schema(max_length = 40)]
    pub customer: String,
    /// Who says so, by name.
    #[schema(max_length = 100)]
    pub replied_by: String,
    /// When; now, if absent.
    #[serde(default)]
    pub replied_at: Option<DateTime<Utc>>,
    /// One a lot.
    #[schema(min_items = 1, max_items = 500)]
    pub lots: Vec<NewReply>,
}

/// What a customer answers for a lot.
#[derive(Clone, Debug, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct NewReply {
    /// Our number for it.
    #[schema(max_length = 40)]
    pub lot: String,
    /// What became of it.
    pub outcome: LineOutcome,
    /// Remarks; the explanation, where that is the outcome.
    #[serde(default)]
    #[schema(max_length = 2000)]
    pub note: Option<String>,
}

/// What a customer answered.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[schema(example = json!({"recall": 5810, "customer": "old-mill-bistro", "lots": 1, "open": 0, "entry": 9141}))]
pub struct Replies {
    /// The recall's number.
    pub recall: i64,
    /// The customer's code.
    pub customer: String,
    /// How many lots were answered for now.
    pub lots: usize,
    /// How many of theirs are still to be answered for.
    pub open: usize,
    /// The journal entry that holds it.
    pub entry: i64,
}

impl Tubtrail {
    /// Who was handed lots of a recall, what to tell them, and what they answered.
    pub fn list_recall_consignees(&self, request: &Request, id: i64) -> Result<RecallConsignees> {
        request.actor.may_anywhere(&reach::LIST_RECALL_CONSIGNEES)?;
        let row = self.read(|conn| addressed(conn, id))?;
        let survey = self.survey(request, &row)?;
        let now = (self.clock)();
        let consignees = self.read_at_once(|conn| show(conn, &row, &survey, now))?;
        let journal_position = survey.outline.position;
        Ok(RecallConsignees { recall: id, journal_position, consignees, caution: CAUTION.to_string() })
    }

    /// Writes down that a customer was told.
    pub fn note_recall_notice(&self, request: &Request, id: i64, new: NewNotice) -> Result<Answered<Notice>> {
        request.actor.may_everywhere(&reach::NOTE_RECALL_NOTICE)?;
        self.write_with_recalls(request, &reach::NOTE_RECALL_NOTICE, move |tx, index| {
            let recall = addressed(tx.conn()?, id)?;
            let partner_id = fields::filter_partner(tx.conn()?, "customer", &new.customer)?;
            let way = fields::name("way", &new.way)?;
            let told_by = fields::name("told_by", &new.told_by)?;
            let told_at = fields::occurred_at("told_at", new.told_at, tx.now())?;
            refuse_freed(tx, &recall)?;
            lots_of(tx, index, &recall, partner_id, &new.customer)?;
            let row = RecallNoticeRow {
                id: tx.id(),
                entry: tx.entry(),
                recall_id: recall.id,
                partner_id,
                way,
                told_by,
                told_at,
            };
            tx.record(&row)?;
            Ok(show_notice(&new.customer, row))
        })
    }

    /// Writes down what a customer answered for lots they were handed.
    pub fn note_recall_replies(&self, request: &Request, id: i64, new: NewReplies) -> Result<Answered<Replies>> {
        request.actor.may_everywhere(&reach::NOTE_RECALL_REPLIES)?;
        self.write_with_recalls(request, &reach::NOTE_RECALL_REPLIES, move |tx, index| {
            let recall = addressed(tx.conn()?, id)?;
            let partner_id = fields::filter_partner(tx.conn()?, "customer", &new.customer)?;
            let replied_by = fields::name("replied_by", &new.replied_by)?;
            let replied_at = fields::occurred_at("replied_at", new.replied_at, tx.now())?;
            fields::between("lots", new.lots.len(), 1, MOST_REPLIES)?;
            refuse_freed(tx, &recall)?;
            let theirs = lots_of(tx, index, &recall, partner_id, &new.customer)?;
            let mut seen = HashSet::new();
            for (position, reply) in new.lots.iter().enumerate() {
                let under = |error: OperationError| error.in_list("lots", position);
                let (lot_id, note) = check_reply(tx, &recall, &theirs, reply).map_err(under)?;
                if !seen.insert(lot_id) {
                    let detail = say!("lot {lot} stands on two lines", lot = reply.lot);
                    return Err(under(OperationError::new(&problems::REPEATED, detail).at("lot")));
                }
                let row = RecallReplyRow {
                    id: tx.id(),
                    entry: tx.entry(),
                    recall_id: recall.id,
                    partner_id,
                    lot_id,
                    outcome: reply.outcome.word().to_owned(),
                    replied_by: replied_by.clone(),
                    replied_at,
                    note,
                };
                tx.record(&row)?;
            }
            let handed: Vec<(i64, i64)> = theirs.iter().map(|lot| (partner_id, *lot)).collect();
            let open = unanswered(tx.conn()?, &recall, &handed)?.len();
            let (lots, entry) = (new.lots.len(), tx.entry());
            Ok(Replies { recall: recall.id, customer: new.customer.clone(), lots, open, entry })
        })
    }
}

fn check_reply(
    tx: &mut WriteTx<'_>,
    recall: &RecallRow,
    theirs: &HashSet<i64>,
    reply: &NewReply,
) -> Result<(i64, Option<String>)> {
    let lot = lots::named(tx.conn()?, "lot", &reply.lot)?;
    if !theirs.contains(&lot.id) {
        let detail =
            say!("they were handed no lot {lot} that recall {recall} reaches", lot = reply.lot, recall = recall.id);
        return Err(OperationError::new(&problems::NOT_RECALLED, detail).at("lot").about([reply.lot.clone()]));
    }
    let note = match reply.outcome {
        LineOutcome::Explained => Some(fields::reason("note", reply.note.as_deref())?),
        _ => fields::optional_note("note", reply.note.as_deref())?,
    };
    Ok((lot.id, note))
}

/// The lots of a recall that a customer was handed; refuses where there are none.
fn lots_of(
    tx: &mut WriteTx<'_>,
    index: &Index,
    recall: &RecallRow,
    partner_id: i64,
    code: &str,
) -> Result<HashSet<i64>> {
    let handed = tubtrail_storage::recall_lines::consigned_to(tx.conn()?, partner_id)?;
    let lots = handed.iter().map(|lot| Ok((lot_ix(*lot)?, *lot))).collect::<Result<Vec<_>>>()?;
    let theirs: HashSet<i64> = index.look(|inside, _| {
        let Some(recalled) = inside.recalls.get(recall.id) else { return HashSet::new() };
        lots.into_iter().filter(|(lot, _)| recalled.reach.holds(*lot)).map(|(_, row)| row).collect()
    });
    if theirs.is_empty() {
        let detail = say!("{code} was handed nothing that recall {recall} reaches", code, recall = recall.id);
        return Err(OperationError::new(&problems::NOT_RECALLED, detail).at("customer"));
    }
    Ok(theirs)
}

/// The customers and lots of a recall that were handed over by the time of its survey, each pair once, in order.
pub(super) fn handed(conn: &mut AnyConnection, survey: &Survey) -> Result<Vec<(i64, i64)>> {
    Ok(consigned(conn, survey)?.into_keys().collect())
}

fn consigned(conn: &mut AnyConnection, survey: &Survey) -> Result<BTreeMap<(i64, i64), Vec<MovementRow>>> {
    let until = survey.outline.position;
    let mut found: BTreeMap<(i64, i64), Vec<MovementRow>> = BTreeMap::new();
    for row in consigned_of(conn, &survey.consigned)?.into_iter().filter(|row| row.entry <= until) {
        let missing = || StorageError::Corrupt(format!("movement {}: its customer is missing", row.id));
        found.entry((row.partner_id.ok_or_else(missing)?, row.lot_id)).or_default().push(row);
    }
    Ok(found)
}

/// Those of some customers and lots for which no answer came.
pub(super) fn unanswered(
    conn: &mut AnyConnection,
    recall: &RecallRow,
    handed: &[(i64, i64)],
) -> Result<Vec<(i64, i64)>> {
    let answered: HashSet<(i64, i64)> =
        replies_of(conn, recall.id)?.into_iter().map(|row| (row.partner_id, row.lot_id)).collect();
    Ok(handed.iter().filter(|pair| !answered.contains(pair)).copied().collect())
}

fn show(
    conn: &mut AnyConnection,
    row: &RecallRow,
    survey: &Survey,
    now: NaiveDateTime,
) -> Result<Vec<RecallConsignee>> {
    let late = is_late(conn, row, now)?;
    let mut names = Names::default();
    let by_partner = lots_by_partner(conn, &mut names, row, survey)?;
    let mut told: HashMap<i64, Vec<RecallNoticeRow>> = HashMap::new();
    for notice in notices_of(conn, row.id)? {
        told.entry(notice.partner_id).or_default().push(notice);
    }
    let mut found = Vec::new();
    for (id, lots) in by_partner {
        let partner = names.partner(conn, id)?;
        let told = told.remove(&id).unwrap_or_default();
        let told: Vec<Notice> = told.into_iter().map(|notice| show_notice(&partner.row.code, notice)).collect();
        let open = lots.iter().filter(|lot| lot.reply.is_none()).count();
        found.push(RecallConsignee {
            notice_text: notice_text(row, &partner.current.name, &lots)?,
            customer: partner.row.code.clone(),
            name: partner.current.name.clone(),
            contact: partner.current.contact.clone(),
            overdue: late && (told.is_empty() || open > 0),
            lots,
            told,
            open,
        });
    }
    found.sort_by(|one, other| one.customer.cmp(&other.customer));
    Ok(found)
}

/// What each customer was handed, with what they last answered for it.
fn lots_by_partner(
    conn: &mut AnyConnection,
    names: &mut Names,
    row: &RecallRow,
    survey: &Survey,
) -> Result<BTreeMap<i64, Vec<ConsigneeLot>>> {
    let consigned = consigned(conn, survey)?;
    let lot_ids: Vec<i64> = consigned.keys().map(|(_, lot)| *lot).collect();
    let lots: HashMap<i64, LotRow> = lots_by_ids(conn, &lot_ids)?.into_iter().map(|lot| (lot.id, lot)).collect();
    let mut replies: HashMap<(i64, i64), RecallReplyRow> =
        replies_of(conn, row.id)?.into_iter().map(|reply| ((reply.partner_id, reply.lot_id), reply)).collect();
    let mut by_partner: BTreeMap<i64, Vec<ConsigneeLot>> = BTreeMap::new();
    for ((partner, lot), movements) in consigned {
        let missing = || StorageError::Corrupt(format!("lot row {lot} is in the graph alone"));
        let lot = lots.get(&lot).ok_or_else(missing)?;
        let reply = replies.remove(&(partner, lot.id)).map(show_reply).transpose()?;
        by_partner.entry(partner).or_default().push(show_lot(conn, names, lot, &movements, reply)?);
    }
    Ok(by_partner)
}

fn show_lot(
    conn: &mut AnyConnection,
    names: &mut Names,
    lot: &LotRow,
    movements: &[MovementRow],
    reply: Option<Reply>,
) -> Result<ConsigneeLot> {
    let item = names.item(conn, lot.item_id)?;
    let first = movements.iter().map(|row| row.occurred_at).min().unwrap_or(lot.came_to_be_at);
    let mut documents: Vec<String> = movements.iter().filter_map(|row| row.document.clone()).collect();
    documents.dedup();
    Ok(ConsigneeLot {
        lot: lots::number(lot)?.to_string(),
        item: item.row.code.clone(),
        name: item.current.name.clone(),
        grams: Grams::from_mg(movements.iter().map(|row| row.mass_mg).sum()),
        at: fields::utc(first),
        documents,
        reply,
    })
}

fn show_notice(customer: &str, row: RecallNoticeRow) -> Notice {
    let (way, told_by, told_at) = (row.way, row.told_by, fields::utc(row.told_at));
    Notice { customer: customer.to_owned(), way, told_by, told_at, entry: row.entry }
}

fn show_reply(row: RecallReplyRow) -> Result<Reply> {
    let corrupt = || StorageError::Corrupt(format!("recall reply {}: outcome {:?}", row.id, row.outcome));
    let outcome = Outcome::from_word(&row.outcome).map(LineOutcome::from).ok_or_else(corrupt)?;
    let (replied_by, replied_at) = (row.replied_by, fields::utc(row.replied_at));
    Ok(Reply { outcome, replied_by, replied_at, note: row.note, entry: row.entry })
}
