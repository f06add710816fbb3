//! The lines of a recall: a lot at a site, what became of it there, and who confirmed it.

use std::collections::{BTreeMap, HashMap};
use std::ops::Range;

use chrono::{DateTime, NaiveDateTime, Utc};
use serde::{Deserialize, Serialize};
use tubtrail_domain::recall::Outcome;
use tubtrail_storage::lots::{LotRow, lots_by_ids};
use tubtrail_storage::master_data::{Noun, Partner};
use tubtrail_storage::recall_lines::{Served, brought_in, consigned_of, servings_of};
use tubtrail_storage::recalls::{RecallConfirmationRow, RecallRow, confirmations_of, ending_of};
use tubtrail_storage::stock::{BalanceRow, MovementRow, balances_of};
use tubtrail_storage::{AnyConnection, StorageError};
use utoipa::ToSchema;

use super::outline::{Outline, Reached};
use super::places::{Fate, Part, parts};
use super::work::LineOutcome;
use super::{CAUTION, addressed};
use crate::error::Result;
use crate::known::{Known, Origin};
use crate::lot_pages::Begins;
use crate::lots::{LotKind, number};
use crate::master_data::MOST;
use crate::names::Names;
use crate::quantities::Grams;
use crate::reach::{self, Request};
use crate::tubtrail::{Tubtrail, at_once};
use crate::{fields, lot_pages};

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

/// What a line of a recall is made of, for many lots at a time.
struct Read {
    lots: HashMap<i64, LotRow>,
    known: Known,
    balances: HashMap<i64, Vec<BalanceRow>>,
    served: HashMap<(i64, i64), Served>,
    consigned: HashMap<(i64, i64), Vec<MovementRow>>,
    confirmed: HashMap<(i64, i64), RecallConfirmationRow>,
    brought_in: HashMap<(i64, i64), i64>,
    names: Names,
    partners: HashMap<i64, Partner>,
    documents: HashMap<i64, String>,
}

impl Read {
    fn of(conn: &mut AnyConnection, recall_id: i64, reached: &[Reached]) -> Result<Self> {
        let ids: Vec<i64> = reached.iter().map(|lot| lot.row).collect();
        let rows = lots_by_ids(conn, &ids)?;
        let known = Known::of(conn, &rows)?;
        let mut balances: HashMap<i64, Vec<BalanceRow>> = HashMap::new();
        for row in balances_of(conn, &ids)? {
            balances.entry(row.lot_id).or_default().push(row);
        }
        let mut consigned: HashMap<(i64, i64), Vec<MovementRow>> = HashMap::new();
        for row in consigned_of(conn, &ids)? {
            consigned.entry((row.lot_id, row.to_site_id)).or_default().push(row);
        }
        let confirmed = confirmations_of(conn, recall_id, &ids)?;
        Ok(Self {
            lots: rows.into_iter().map(|row| (row.id, row)).collect(),
            known,
            balances,
            served: servings_of(conn, &ids)?,
            consigned,
            confirmed: confirmed.into_iter().map(|row| ((row.lot_id, row.site_id), row)).collect(),
            brought_in: brought_in(conn, &ids)?,
            names: Names::default(),
            partners: HashMap::new(),
            documents: HashMap::new(),
        })
    }

    fn received_from(&mut self, conn: &mut AnyConnection, lot: &LotRow) -> Result<Option<ReceivedFrom>> {
        let (Some(supplier), Some(delivery)) = (lot.supplier_id, lot.delivery_id) else { return Ok(None) };
        let missing = || StorageError::Corrupt(format!("lot row {}: its delivery is missing", lot.id));
        let document = match self.documents.get(&delivery) {
            Some(known) => known.clone(),
            None => tubtrail_storage::lots::delivery(conn, delivery)?.ok_or_else(missing)?.document,
        };
        self.documents.insert(delivery, document.clone());
        let partner = partner(conn, &mut self.partners, supplier)?;
        let (name, contact) = (partner.current.name.clone(), partner.current.contact.clone());
        Ok(Some(ReceivedFrom { name, contact, document }))
    }

    fn lines(
        &mut self,
        conn: &mut AnyConnection,
        reached: &Reached,
        overdue: bool,
        wanted: impl Fn(i64, i64) -> bool,
        into: &mut Vec<RecallLine>,
    ) -> Result<()> {
        let missing = || StorageError::Corrupt(format!("lot row {} is in the graph alone", reached.row));
        let lot = self.lots.get(&reached.row).cloned().ok_or_else(missing)?;
        let received_from = self.received_from(conn, &lot)?;
        let came_to_be_at_site = self.names.site(conn, lot.site_id)?.current.name.clone();
        let balances = self.balances.get(&lot.id).map_or(&[][..], Vec::as_slice);
        let mut by_site: BTreeMap<i64, Vec<Part>> = BTreeMap::new();
        for part in parts(&lot, reached, balances)? {
            if wanted(lot.id, part.site_id) {
                by_site.entry(part.site_id).or_default().push(part);
            }
        }
        for (site_id, parts) in by_site {
            let at = (lot.id, site_id);
            let confirmation = self.confirmed.get(&at);
            let on_hand = parts.iter().any(|part| part.fate.is_on_hand());
            let open = on_hand && is_open(confirmation, self.brought_in.get(&at));
            let (item, name) = self.known.item(&lot)?;
            let site = self.names.site(conn, site_id)?.clone();
            let served = self.served.get(&at);
            into.push(RecallLine {
                lot: number(&lot)?.to_string(),
                item,
                name,
                kind: LotKind::of(&lot)?,
                came_from: self.known.origin(&lot)?,
                received_from: received_from.clone(),
                came_to_be_at: fields::utc(lot.came_to_be_at),
                came_to_be_at_site: came_to_be_at_site.clone(),
                site: site.row.code,
                site_name: site.current.name,
                site_gln: site.current.gln,
                is_seed: reached.is_seed,
                by_contact: reached.by_contact,
                places: parts.iter().map(|part| show_place(reached, part)).collect(),
                served_from: served.map(|served| fields::utc(served.from)),
                served_until: served.map(|served| fields::utc(served.until)),
                consigned_to: Vec::new(),
                confirmation: confirmation.map(show_confirmation).transpose()?,
                open,
                overdue: open && overdue,
            });
            if let (Some(rows), Some(line)) = (self.consigned.get(&at), into.last_mut()) {
                line.consigned_to = consigned_to(conn, &mut self.partners, rows)?;
            }
        }
        Ok(())
    }
}

/// Whether what is on hand of a lot at a site is still to be confirmed: nobody has since the last of it came there.
pub(super) fn is_open(confirmation: Option<&RecallConfirmationRow>, brought_in: Option<&i64>) -> bool {
    confirmation.is_none_or(|confirmation| brought_in.is_some_and(|entry| *entry > confirmation.entry))
}

/// Whether what is open is late: nothing of a recall that has ended is.
pub(super) fn is_late(conn: &mut AnyConnection, row: &RecallRow, now: NaiveDateTime) -> Result<bool> {
    Ok(now > row.due_at && ending_of(conn, row.id)?.is_none())
}

/// The lines of some lots.
fn show(conn: &mut AnyConnection, row: &RecallRow, reached: &[Reached], now: NaiveDateTime) -> Result<Vec<RecallLine>> {
    show_at(conn, row, reached, now, |_, _| true)
}

/// The lines of some lots at the sites that are wanted, by lot and site.
pub(super) fn show_at(
    conn: &mut AnyConnection,
    row: &RecallRow,
    reached: &[Reached],
    now: NaiveDateTime,
    wanted: impl Fn(i64, i64) -> bool,
) -> Result<Vec<RecallLine>> {
    let overdue = is_late(conn, row, now)?;
    let mut lines = Vec::with_capacity(reached.len());
    for chunk in reached.chunks(CHUNK) {
        let mut read = Read::of(conn, row.id, chunk)?;
        for lot in chunk {
            read.lines(conn, lot, overdue, &wanted, &mut lines)?;
        }
    }
    Ok(lines)
}

fn show_place(reached: &Reached, part: &Part) -> RecallPlace {
    let is_known = !reached.by_contact && part.fate != Fate::Used;
    RecallPlace {
        state: part.fate.word().to_owned(),
        grams: Grams::from_mg(part.mass_mg),
        seed_grams: is_known.then_some(Grams::from_mg(part.seed_mg)),
    }
}

fn show_confirmation(row: &RecallConfirmationRow) -> Result<ConfirmationShown> {
    let corrupt = || StorageError::Corrupt(format!("recall confirmation {}: outcome {:?}", row.id, row.outcome));
    Ok(ConfirmationShown {
        outcome: Outcome::from_word(&row.outcome).map(LineOutcome::from).ok_or_else(corrupt)?,
        grams: Grams::from_mg(row.mass_mg),
        name: row.confirmed_by.clone(),
        at: fields::utc(row.confirmed_at),
        note: row.note.clone(),
        entry: row.entry,
    })
}

fn consigned_to(
    conn: &mut AnyConnection,
    partners: &mut HashMap<i64, Partner>,
    rows: &[MovementRow],
) -> Result<Vec<ConsignedTo>> {
    let mut found = Vec::new();
    for row in rows {
        let missing = || StorageError::Corrupt(format!("movement {}: its customer is missing", row.id));
        let partner = partner(conn, partners, row.partner_id.ok_or_else(missing)?)?;
        found.push(ConsignedTo {
            customer: partner.row.code.clone(),
            name: partner.current.name.clone(),
            contact: partner.current.contact.clone(),
            grams: Grams::from_mg(row.mass_mg),
            document: row.document.clone(),
            at: fields::utc(row.occurred_at),
        });
    }
    Ok(found)
}

fn partner<'a>(conn: &mut AnyConnection, known: &'a mut HashMap<i64, Partner>, id: i64) -> Result<&'a Partner> {
    use std::collections::hash_map::Entry;
    let missing = || StorageError::Corrupt(format!("partner row {id} is named and missing"));
    Ok(match known.entry(id) {
        Entry::Occupied(found) => found.into_mut(),
        Entry::Vacant(gap) => gap.insert(Partner::by_id(conn, id)?.ok_or_else(missing)?),
    })
}
