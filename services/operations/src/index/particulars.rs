//! What lots and batches are, where they came from and where all of it lies: what answers say of them, besides the graph.
//!
//! It is kept in pages of lots that came to be known one after another. A page is read when it is first asked for, in one
//! go and in order, and from then on follows the journal; one that begins with a new lot is never read.

use std::collections::{BTreeMap, BTreeSet};

use chrono::{DateTime, Days, NaiveDate, NaiveDateTime, TimeDelta};
use tubtrail_domain::lot_number::LotNumber;
use tubtrail_domain::place::Place;
use tubtrail_lineage::{BatchIx, Graph, LotIx};
use tubtrail_storage::particulars::{
    BatchParticulars, LotParticulars, Moved, batches_between, lots_between, places_between,
};
use tubtrail_storage::stock::{BalanceRow, place};
use tubtrail_storage::{AnyConnection, StorageError};

use super::numbers::{Numbers, Run};
use super::places::{Lying, NOWHERE, Places, Table, carry};
use super::{lot_ix, lot_row};
use crate::deliveries::{Expiry, ExpiryKind};
use crate::lots::LotKind;

/// Lots, or batches, of a page.
pub const PAGE: u32 = 1024;

/// What is kept of lots and batches.
#[derive(Debug, Default)]
pub struct Particulars {
    lots: Vec<Option<LotPage>>,
    sorts: Table<Sort>,
    numbers: Numbers,
    places: Places,
    batches: Vec<Option<BatchPage>>,
    runs: Table<(i64, i64)>,
}

/// What many lots have in common.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub struct Sort {
    /// Of what.
    pub item_id: i64,
    /// Where it came to be.
    pub site_id: i64,
    /// What sort of lot it is.
    pub kind: LotKind,
    /// From whom, if received.
    pub supplier_id: Option<i64>,
    /// The meaning of its last day, and how many days after its own that is.
    expiry: Option<(ExpiryKind, i64)>,
    /// How long after it came to be it may be used, if it matures.
    rest: Option<TimeDelta>,
}

/// Where a received lot came from.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Brought<'a> {
    /// With which delivery.
    pub delivery_id: i64,
    /// The supplier's own code for it.
    pub supplier_lot_code: &'a str,
}

/// What a lot is.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct LotCard<'a> {
    /// Its index.
    pub lot: LotIx,
    /// Its number.
    pub number: LotNumber,
    /// What it has in common with others.
    pub sort: &'a Sort,
    /// How it came, if received.
    pub brought: Option<Brought<'a>>,
    mark: u16,
}

/// What a batch is.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct BatchCard {
    /// Of which version of a recipe.
    pub recipe_version_id: i64,
    /// Where.
    pub site_id: i64,
    /// When it began.
    pub started_at: NaiveDateTime,
}

#[derive(Debug, Default)]
struct LotPage {
    sorts: Vec<u32>,
    marks: Vec<u16>,
    numbers: Vec<Run>,
    moments: Vec<Moment>,
    arrivals: Vec<Arrival>,
    /// The suppliers' own codes of all that arrived, one after another.
    codes: String,
}

/// When a lot came to be, and those after it until the next of these: the lots of a batch or a delivery did so together.
#[derive(Clone, Copy, Debug)]
struct Moment {
    lot: u32,
    /// Microseconds since 1970.
    came_to_be_at: i64,
}

/// A lot that was received.
#[derive(Clone, Copy, Debug)]
struct Arrival {
    lot: u32,
    /// Where its code ends among the codes.
    code_until: u32,
    delivery_id: i64,
}

#[derive(Debug, Default)]
struct BatchPage {
    runs: Vec<u32>,
    started_at: Vec<i64>,
}

/// A page that was read.
pub enum ReadPage {
    /// Of lots, and where they lie.
    Lots(u32, Vec<LotParticulars>, Vec<BalanceRow>),
    /// Of batches.
    Batches(u32, Vec<BatchParticulars>),
}

/// What new facts mean for what is kept, read before the graph takes them in.
#[derive(Default)]
pub(super) struct ParticularsNews {
    lots: Vec<LotParticulars>,
    batches: Vec<BatchParticulars>,
}

impl LotPage {
    fn brought(&self, lot: u32) -> Option<Brought<'_>> {
        let at = self.arrivals.binary_search_by_key(&lot, |arrival| arrival.lot).ok()?;
        let from = at.checked_sub(1).map_or(0, |before| self.arrivals[before].code_until);
        let Arrival { code_until, delivery_id, .. } = self.arrivals[at];
        let supplier_lot_code = self.codes.get(from as usize..code_until as usize)?;
        Some(Brought { delivery_id, supplier_lot_code })
    }

    fn came_to_be_at(&self, lot: u32) -> Option<NaiveDateTime> {
        let begun = self.moments.partition_point(|moment| moment.lot <= lot);
        moment(self.moments[..begun].last()?.came_to_be_at)
    }

    /// Gives back the room that it does not need: it is full, or grows slowly.
    fn tighten(&mut self) {
        self.sorts.shrink_to_fit();
        self.marks.shrink_to_fit();
        self.numbers.shrink_to_fit();
        self.moments.shrink_to_fit();
        self.arrivals.shrink_to_fit();
        self.codes.shrink_to_fit();
    }
}

impl LotCard<'_> {
    /// Its last day.
    pub fn expiry(&self) -> Option<Expiry> {
        let (kind, days) = self.sort.expiry?;
        let day = self.number.day();
        let on = if days < 0 {
            day.checked_sub_days(Days::new(days.unsigned_abs()))
        } else {
            day.checked_add_days(Days::new(days.unsigned_abs()))
        };
        on.map(|on| Expiry { kind, on })
    }
}

impl Particulars {
    /// What a lot is; none if that was not read yet.
    pub fn lot(&self, lot: LotIx) -> Option<LotCard<'_>> {
        let page = self.lots.get(page_of(lot.index()) as usize)?.as_ref()?;
        let at = (lot.index() % PAGE) as usize;
        let sort = self.sorts.get(*page.sorts.get(at)?);
        let runs = page.numbers.partition_point(|run| run.at <= lot.index());
        let run = page.numbers[..runs].last()?;
        // It is read from a number that the table holds.
        let number = LotNumber::new(run.day, run.serial_of(lot.index())).ok()?;
        Some(LotCard { lot, number, sort, brought: page.brought(lot.index()), mark: page.marks[at] })
    }

    /// When a lot was received or made, and from when it may be used, if it matures; none if it was not read yet.
    pub fn moments(&self, card: &LotCard<'_>) -> Option<(NaiveDateTime, Option<NaiveDateTime>)> {
        let page = self.lots.get(page_of(card.lot.index()) as usize)?.as_ref()?;
        let came_to_be_at = page.came_to_be_at(card.lot.index())?;
        Some((came_to_be_at, card.sort.rest.map(|rest| came_to_be_at + rest)))
    }

    /// Where all of a lot lies, by site and then by the word of the state.
    pub fn places(&self, graph: &Graph, card: &LotCard<'_>) -> impl Iterator<Item = (Place, i64)> {
        self.places.of(graph, card.lot, card.mark)
    }

    /// What a batch is; none if that was not read yet.
    pub fn batch(&self, batch: BatchIx) -> Option<BatchCard> {
        let page = self.batches.get(page_of(batch.index()) as usize)?.as_ref()?;
        let at = (batch.index() % PAGE) as usize;
        let (recipe_version_id, site_id) = *self.runs.get(*page.runs.get(at)?);
        Some(BatchCard { recipe_version_id, site_id, started_at: moment(page.started_at[at])? })
    }

    /// The lot with a number; none if there is no such lot, or if it was not read yet.
    pub fn find(&self, number: LotNumber) -> Option<LotIx> {
        self.numbers.find(number)
    }

    /// The pages of so many lots and batches that were not read yet.
    pub fn unread(&self, lots: usize, batches: usize) -> (BTreeSet<u32>, BTreeSet<u32>) {
        let pages = |count: usize| 0..u32::try_from(count.div_ceil(PAGE as usize)).unwrap_or(u32::MAX);
        (
            pages(lots).filter(|page| !is_read(&self.lots, *page)).collect(),
            pages(batches).filter(|page| !is_read(&self.batches, *page)).collect(),
        )
    }

    /// Keeps a page that was read, at the position of the graph.
    pub fn keep(&mut self, graph: &Graph, read: ReadPage) -> Result<(), StorageError> {
        match read {
            ReadPage::Lots(page, rows, balances) => {
                if !begin(&mut self.lots, page) {
                    return Ok(());
                }
                let mut lying: BTreeMap<i64, Lying> = BTreeMap::new();
                for row in balances {
                    lying.entry(row.lot_id).or_default().push((row.place()?, row.mass_mg));
                }
                for row in &rows {
                    self.add_lot(row)?;
                    let lot = lot_ix(row.id)?;
                    self.lie(graph, lot, lying.remove(&row.id).unwrap_or_default());
                }
                self.lots[page as usize].iter_mut().for_each(LotPage::tighten);
            }
            ReadPage::Batches(page, rows) => {
                if !begin(&mut self.batches, page) {
                    return Ok(());
                }
                for row in &rows {
                    self.add_batch(page, row);
                }
            }
        }
        Ok(())
    }

    /// Where the lots that moved lay before, and lie now; those of pages that were not read are left out.
    pub(super) fn lift(
        &self,
        graph: &Graph,
        moved: &[Moved],
        news: &ParticularsNews,
    ) -> Result<BTreeMap<LotIx, Lying>, StorageError> {
        let is_new = |id: i64| news.lots.binary_search_by_key(&id, |row| row.id).is_ok();
        let mut lifted: BTreeMap<LotIx, Lying> = BTreeMap::new();
        for one in moved {
            let lot = lot_ix(one.lot_id)?;
            if self.lot(lot).is_none() && !is_new(one.lot_id) {
                continue;
            }
            let lying = lifted.entry(lot).or_insert_with(|| match self.lot(lot) {
                Some(card) => self.places(graph, &card).collect(),
                None => Lying::new(),
            });
            let (from, to) = (place(one.from_site_id, &one.from_state)?, place(one.to_site_id, &one.to_state)?);
            carry(lying, from, to, one.mass_mg);
        }
        Ok(lifted)
    }

    /// Takes in new lots and batches, and puts down what was lifted; the graph has taken in the same.
    pub(super) fn take_in(
        &mut self,
        graph: &Graph,
        news: &ParticularsNews,
        lifted: BTreeMap<LotIx, Lying>,
        batch: impl Fn(i64) -> Result<BatchIx, StorageError>,
    ) -> Result<(), StorageError> {
        for row in &news.batches {
            let page = page_of(batch(row.id)?.index());
            begin(&mut self.batches, page);
            self.add_batch(page, row);
        }
        for row in &news.lots {
            let page = page_of(lot_ix(row.id)?.index());
            begin(&mut self.lots, page);
            self.add_lot(row)?;
        }
        for (lot, lying) in lifted {
            self.lie(graph, lot, lying);
        }
        Ok(())
    }

    /// The first lot or batch of which both keep something, and not the same: table, row id, what.
    pub(super) fn first_difference(&self, other: &Self, graph: &Graph, theirs: &Graph) -> Option<(u32, &'static str)> {
        graph.every_lot().find_map(|lot| {
            let (one, another) = (self.lot(lot)?, other.lot(lot)?);
            // Marks are numbers of each one's own.
            if (LotCard { mark: NOWHERE, ..one }) != (LotCard { mark: NOWHERE, ..another }) {
                return Some((lot.index(), "what is written of it differs"));
            }
            if self.moments(&one) != other.moments(&another) {
                return Some((lot.index(), "when it came to be differs"));
            }
            if self.find(one.number) != Some(lot) || other.find(one.number) != Some(lot) {
                return Some((lot.index(), "its number leads to another"));
            }
            let lies_alike = self.places(graph, &one).eq(other.places(theirs, &another));
            (!lies_alike).then_some((lot.index(), "where it lies differs"))
        })
    }

    /// Whether a lot's page was read, or begins with it.
    fn follows(&self, lot: LotIx) -> bool {
        is_read(&self.lots, page_of(lot.index())) || lot.index().is_multiple_of(PAGE)
    }

    fn add_lot(&mut self, row: &LotParticulars) -> Result<(), StorageError> {
        let at = lot_ix(row.id)?.index();
        let sort = self.sorts.number(&sort(row)?);
        let serial = u32::try_from(row.serial).map_err(|_| corrupt(row, "serial"))?;
        LotNumber::new(row.day, serial).map_err(|_| corrupt(row, "number"))?;
        let run = Run { at, serial, day: row.day };
        self.numbers.add(run);
        let Some(page) = self.lots.get_mut(page_of(at) as usize).and_then(Option::as_mut) else { return Ok(()) };
        if page.sorts.len() != (at % PAGE) as usize {
            return Err(corrupt(row, "place in the index"));
        }
        page.sorts.push(sort);
        page.marks.push(NOWHERE);
        if !page.numbers.last().is_some_and(|last| last.goes_on_with(run)) {
            page.numbers.push(run);
        }
        let came_to_be_at = micros(row.came_to_be_at);
        if page.moments.last().is_none_or(|last| last.came_to_be_at != came_to_be_at) {
            page.moments.push(Moment { lot: at, came_to_be_at });
        }
        if let (Some(delivery_id), Some(code)) = (row.delivery_id, &row.supplier_lot_code) {
            page.codes.push_str(code);
            let code_until = u32::try_from(page.codes.len()).map_err(|_| corrupt(row, "supplier's lot code"))?;
            page.arrivals.push(Arrival { lot: at, code_until, delivery_id });
        }
        Ok(())
    }

    fn add_batch(&mut self, page: u32, row: &BatchParticulars) {
        let run = self.runs.number(&(row.recipe_version_id, row.site_id));
        if let Some(page) = self.batches.get_mut(page as usize).and_then(Option::as_mut) {
            page.runs.push(run);
            page.started_at.push(micros(row.started_at));
        }
    }

    fn lie(&mut self, graph: &Graph, lot: LotIx, lying: Lying) {
        let mark = self.places.keep(graph, lot, lying);
        if let Some(page) = self.lots.get_mut(page_of(lot.index()) as usize).and_then(Option::as_mut) {
            page.marks[(lot.index() % PAGE) as usize] = mark;
        }
    }
}

impl ParticularsNews {
    /// Reads what is new of the pages that are kept: of the lots from one to another, and of the batches.
    pub(super) fn read(
        conn: &mut AnyConnection,
        known: &Particulars,
        lots: Option<(i64, i64)>,
        batches: Option<(u32, i64, i64)>,
    ) -> Result<Self, StorageError> {
        let mut news = Self::default();
        if let Some((first, last)) = lots {
            news.lots = lots_between(conn, first, last)?;
            let mut begun = BTreeSet::new();
            news.lots.retain(|row| {
                let Ok(lot) = lot_ix(row.id) else { return false };
                let page = page_of(lot.index());
                let kept = known.follows(lot) || begun.contains(&page);
                begun.extend(kept.then_some(page));
                kept
            });
        }
        if let Some((at, first, last)) = batches {
            let mut begun = BTreeSet::new();
            let rows = batches_between(conn, first, last)?;
            news.batches = (at..)
                .zip(rows)
                .filter_map(|(at, row)| {
                    let page = page_of(at);
                    let kept = is_read(&known.batches, page) || at.is_multiple_of(PAGE) || begun.contains(&page);
                    begun.extend(kept.then_some(page));
                    kept.then_some(row)
                })
                .collect();
        }
        Ok(news)
    }
}

impl ReadPage {
    /// Reads a page of lots, as far as the graph goes.
    pub fn of_lots(conn: &mut AnyConnection, page: u32, graph: &Graph) -> Result<Self, StorageError> {
        let first = lot_row(LotIx::from_index(page * PAGE));
        let last = (first + i64::from(PAGE) - 1).min(i64::try_from(graph.lots()).unwrap_or(i64::MAX));
        Ok(Self::Lots(page, lots_between(conn, first, last)?, places_between(conn, first, last)?))
    }

    /// Reads a page of batches, whose rows are these.
    pub fn of_batches(conn: &mut AnyConnection, page: u32, rows: &[i64]) -> Result<Self, StorageError> {
        let from = (page * PAGE) as usize;
        let rows = &rows[from.min(rows.len())..(from + PAGE as usize).min(rows.len())];
        let (Some(first), Some(last)) = (rows.first(), rows.last()) else { return Ok(Self::Batches(page, Vec::new())) };
        Ok(Self::Batches(page, batches_between(conn, *first, *last)?))
    }
}

/// The page of a lot or batch.
pub const fn page_of(at: u32) -> u32 {
    at / PAGE
}

fn is_read<T>(pages: &[Option<T>], page: u32) -> bool {
    pages.get(page as usize).is_some_and(Option::is_some)
}

/// Begins a page, unless it is there; whether it was begun.
fn begin<T: Default>(pages: &mut Vec<Option<T>>, page: u32) -> bool {
    let page = page as usize;
    if pages.len() <= page {
        pages.resize_with(page + 1, || None);
    }
    let is_new = pages[page].is_none();
    if is_new {
        pages[page] = Some(T::default());
    }
    is_new
}

fn sort(row: &LotParticulars) -> Result<Sort, StorageError> {
    let kind = LotKind::from_word(&row.kind).ok_or_else(|| corrupt(row, "kind"))?;
    let expiry = match (row.expires_on, row.expiry_kind.as_deref()) {
        (Some(on), Some(kind)) => ExpiryKind::from_word(kind).map(|kind| (kind, days_after(row.day, on))),
        _ => None,
    };
    let rest = row.mature_at.map(|mature_at| mature_at - row.came_to_be_at);
    Ok(Sort { item_id: row.item_id, site_id: row.site_id, kind, supplier_id: row.supplier_id, expiry, rest })
}

fn micros(at: NaiveDateTime) -> i64 {
    at.and_utc().timestamp_micros()
}

fn moment(micros: i64) -> Option<NaiveDateTime> {
    Some(DateTime::from_timestamp_micros(micros)?.naive_utc())
}

fn days_after(day: NaiveDate, on: NaiveDate) -> i64 {
    on.signed_duration_since(day).num_days()
}

fn corrupt(row: &LotParticulars, what: &str) -> StorageError {
    StorageError::Corrupt(format!("lot row {}: its {what}", row.id))
}
