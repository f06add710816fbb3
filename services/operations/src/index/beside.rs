//! All that the index keeps beside the graph, so that what is asked often is answered without the database: how it follows the
//! journal, how what was not read yet is read, and how two of them are compared.

use std::collections::{BTreeMap, BTreeSet};

use chrono::NaiveDate;
use tubtrail_domain::place::State;
use tubtrail_lineage::{BatchIx, LotIx};
use tubtrail_storage::contents::{StatedInput, StatedLot};
use tubtrail_storage::graph_changes::GraphChanges;
use tubtrail_storage::journal::{self, Touched};
use tubtrail_storage::master_data::SiteRow;
use tubtrail_storage::particulars::{Moved, moved_between};
use tubtrail_storage::{AnyConnection, StorageError};

use super::cases::{CaseNews, Cases, ReadCase};
use super::kept::{Kept, KeptNews};
use super::names::{NameNews, Names, Reading};
use super::particulars::{BatchCard, LotCard, Particulars, ParticularsNews, ReadPage, page_of};
use super::places::Lying;
use super::whole::Sources;
use super::{Index, Inside, lot_row};
use crate::error::OperationError;
use crate::fields;
use crate::known::{Holding, Origin};
use crate::lots::HoldShown;
use crate::quantities::Grams;

/// What is kept beside the graph.
#[derive(Default)]
pub struct Beside {
    /// What lots and batches are.
    pub particulars: Particulars,
    /// What things are called.
    pub names: Names,
    /// Holds and the like.
    pub kept: Kept,
    /// What stands open.
    pub cases: Cases,
    /// The last journal entry by which someone may have become another, or have other roles.
    pub people: i64,
    /// What went into batches without lots, in order of batch.
    inputs: Vec<Input>,
}

/// An item that went into a batch without a lot, and the day by which it is known which statement holds for it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
struct Input {
    batch: BatchIx,
    item_id: i64,
    day: NaiveDate,
}

/// What new facts mean for it, read before the graph takes them in.
#[derive(Default)]
pub(super) struct BesideNews {
    moved: Vec<Moved>,
    particulars: ParticularsNews,
    names: NameNews,
    kept: KeptNews,
    cases: CaseNews,
    people: Option<i64>,
}

/// What says who people and devices are.
const PEOPLE: [&str; 5] = ["users", "user_versions", "user_roles", "devices", "device_revocations"];

/// A part of the index that is read when it is first asked for.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Unread {
    /// A page of lots.
    Lots(u32),
    /// A page of batches.
    Batches(u32),
    /// The case of a site.
    Case(i64),
}

impl Unread {
    /// What must be read to know what a lot is.
    pub const fn of_lot(lot: LotIx) -> Self {
        Self::Lots(page_of(lot.index()))
    }

    /// What must be read to know what a batch is.
    pub const fn of_batch(batch: BatchIx) -> Self {
        Self::Batches(page_of(batch.index()))
    }
}

/// Why the index gives no answer.
#[derive(Debug)]
pub enum Unanswered {
    /// These must be read first.
    Unread(BTreeSet<Unread>),
    /// A lot that is asked for is not where it should be, or not there at all: the database knows why.
    NotHere,
    /// It was refused, or something is wrong.
    Refused(Box<OperationError>),
}

/// An answer of the index.
pub type Answered<T> = Result<T, Unanswered>;

impl From<Unread> for Unanswered {
    fn from(part: Unread) -> Self {
        Self::Unread(BTreeSet::from([part]))
    }
}

impl From<OperationError> for Unanswered {
    fn from(error: OperationError) -> Self {
        Self::Refused(Box::new(error))
    }
}

impl From<StorageError> for Unanswered {
    fn from(error: StorageError) -> Self {
        OperationError::from(error).into()
    }
}

impl Inside {
    /// What a lot is.
    pub fn lot_card(&self, lot: LotIx) -> Answered<LotCard<'_>> {
        let card = self.beside.particulars.lot(lot);
        card.ok_or_else(|| Unread::of_lot(lot).into())
    }

    /// What a batch is.
    pub fn batch_card(&self, batch: BatchIx) -> Answered<BatchCard> {
        let card = self.beside.particulars.batch(batch);
        card.ok_or_else(|| Unread::of_batch(batch).into())
    }

    /// What decides which statement holds for a lot.
    pub fn stated_lot(&self, lot: LotIx) -> Answered<StatedLot> {
        let card = self.lot_card(lot)?;
        Ok(StatedLot {
            id: lot_row(lot),
            item_id: card.sort.item_id,
            supplier_id: card.sort.supplier_id,
            batch_id: self.graph.made_by(lot).map(|batch| self.batch_row(batch)),
            day: card.number.day(),
        })
    }

    /// What must be read to know what some lots are, and what made them.
    pub fn unread_of(&self, lots: impl Iterator<Item = LotIx>) -> BTreeSet<Unread> {
        let mut unread = BTreeSet::new();
        for lot in lots {
            let made_by = self.graph.made_by(lot);
            if self.beside.particulars.lot(lot).is_none() {
                unread.insert(Unread::of_lot(lot));
            }
            unread.extend(made_by.filter(|batch| self.batch_card(*batch).is_err()).map(Unread::of_batch));
        }
        unread
    }

    /// Where a lot came from, as answers show it.
    pub fn origin_of(&self, card: &LotCard<'_>) -> Answered<Origin> {
        let names = &self.beside.names;
        if let Some(batch) = self.graph.made_by(card.lot) {
            let made = self.batch_card(batch)?;
            let (recipe, name) = names.recipe_version(made.recipe_version_id)?;
            return Ok(Origin::Batch {
                batch: self.batch_row(batch),
                recipe: recipe.to_owned(),
                name: name.to_owned(),
                started_at: fields::utc(made.started_at),
            });
        }
        let missing = || StorageError::Corrupt(format!("lot row {}: where it came from", lot_row(card.lot)));
        let brought = card.brought.ok_or_else(missing)?;
        Ok(Origin::Delivery {
            delivery: brought.delivery_id,
            supplier: names.partner(card.sort.supplier_id.ok_or_else(missing)?)?.to_owned(),
            supplier_lot_code: brought.supplier_lot_code.to_string(),
        })
    }

    /// Where all of a lot lies, and what became of what is gone, as answers show it.
    pub fn holdings_of(&self, card: &LotCard<'_>) -> Answered<Vec<Holding>> {
        let lying = self.beside.particulars.places(&self.graph, card);
        let shown = lying.map(|(place, mg)| {
            Ok(Holding {
                site: self.beside.names.site_code(place.site_id)?.to_owned(),
                state: place.state.word().to_owned(),
                grams: Grams::from_mg(mg),
            })
        });
        shown.collect()
    }

    /// The hold that keeps a lot, if one does, as answers show it.
    pub fn hold_shown(&self, lot_id: i64) -> Option<HoldShown> {
        let hold = self.beside.kept.hold(lot_id)?;
        Some(HoldShown { hold: hold.id, reason: hold.reason.clone() })
    }

    /// The numbers of the recalls that keep a lot.
    pub fn recalls_keeping(&self, lot: LotIx) -> Vec<i64> {
        self.recalls.holding(lot).map(|recalled| recalled.row.id).collect()
    }

    /// The items that went into a batch without lots, each with the day by which it is known which statement holds for it.
    pub fn inputs_of(&self, batch: BatchIx) -> impl Iterator<Item = (i64, NaiveDate)> {
        let inputs = &self.beside.inputs;
        let first = inputs.partition_point(|input| input.batch < batch);
        inputs[first..].iter().take_while(move |input| input.batch == batch).map(|input| (input.item_id, input.day))
    }

    /// Everything that was not read yet.
    pub fn unread(&self) -> BTreeSet<Unread> {
        let beside = &self.beside;
        let (lots, batches) = beside.particulars.unread(self.graph.lots(), self.graph.batches());
        let cases = beside.names.sites().filter(|site| beside.cases.of(*site).is_none());
        let pages = lots.into_iter().map(Unread::Lots).chain(batches.into_iter().map(Unread::Batches));
        pages.chain(cases.map(Unread::Case)).collect()
    }

    /// Where the lots that moved lay, before the graph takes in why they did.
    pub(super) fn lift(&self, news: &BesideNews) -> Result<BTreeMap<LotIx, Lying>, StorageError> {
        self.beside.particulars.lift(&self.graph, &news.moved, &news.particulars)
    }

    /// Takes in what is new beside the graph, which holds it already.
    pub(super) fn take_in_beside(
        &mut self,
        news: BesideNews,
        lifted: BTreeMap<LotIx, Lying>,
        inputs: &[StatedInput],
    ) -> Result<(), StorageError> {
        let mut beside = std::mem::take(&mut self.beside);
        beside.names.take_in(news.names)?;
        beside.kept.take_in(news.kept);
        beside.people = news.people.unwrap_or(beside.people);
        beside.cases.forget();
        beside.cases.take_in(&news.moved, news.cases);
        beside.particulars.take_in(&self.graph, &news.particulars, lifted, |row| self.batch(row))?;
        for input in inputs {
            let batch = self.batch(input.batch_id)?;
            let day = self.contents.day_of_input(input)?;
            let after = beside.inputs.partition_point(|other| other.batch <= batch);
            beside.inputs.insert(after, Input { batch, item_id: input.item_id, day });
        }
        self.beside = beside;
        Ok(())
    }

    /// The first thing beside the graph that another index, at the same position, has otherwise: table, row id, what.
    pub(super) fn beside_differs(&self, other: &Self) -> Option<(&'static str, i64, &'static str)> {
        let (one, another) = (&self.beside, &other.beside);
        if let Some((table, row)) = one.names.first_difference(&another.names) {
            return Some((table, row, "what it is called differs"));
        }
        if let Some((table, row)) = one.kept.first_difference(&another.kept) {
            return Some((table, row, "what is kept of it differs"));
        }
        if let Some(site) = one.cases.first_difference(&another.cases) {
            return Some(("sites", site, "what stands open in its case differs"));
        }
        if one.inputs != another.inputs {
            return Some(("untracked_inputs", 0, "what went in without lots differs"));
        }
        let found = one.particulars.first_difference(&another.particulars, &self.graph, &other.graph);
        found.map(|(lot, what)| ("lots", i64::from(lot) + 1, what)).or_else(|| self.batch_cards_differ(other))
    }

    fn batch_cards_differ(&self, other: &Self) -> Option<(&'static str, i64, &'static str)> {
        self.graph.every_batch().find_map(|batch| {
            let one = self.beside.particulars.batch(batch)?;
            let another = other.beside.particulars.batch(batch)?;
            (one != another).then(|| ("batches", self.batch_row(batch), "what is written of it differs"))
        })
    }
}

impl BesideNews {
    /// Reads what the entries in `(after, until]` mean for what is known at `after`.
    pub fn read(
        conn: &mut AnyConnection,
        inside: &Inside,
        touched: &Touched,
        (after, until): (i64, i64),
        changes: &GraphChanges,
    ) -> Result<Self, StorageError> {
        let beside = &inside.beside;
        let names = NameNews::read(conn, touched, after, until)?;
        let kept = KeptNews::read(conn, touched, after, until)?;
        let people = touched.any(&PEOPLE).then_some(until);
        if after == 0 {
            // Nothing was read yet that could follow.
            return Ok(Self { names, kept, people, ..Self::default() });
        }
        let moved = if touched.any(&["movements"]) { moved_between(conn, after, until)? } else { Vec::new() };
        let lots = changes.lots.first().zip(changes.lots.last()).map(|(first, last)| (first.id, last.id));
        let next = u32::try_from(inside.graph.batches()).unwrap_or(u32::MAX);
        let batches = changes.batches.first().zip(changes.batches.last()).map(|(first, last)| (next, *first, *last));
        let sites: Vec<SiteRow> = Reading { conn, touched, after, until }.rows()?;
        Ok(Self {
            names,
            kept,
            people,
            particulars: ParticularsNews::read(conn, &beside.particulars, lots, batches)?,
            cases: CaseNews::read(conn, &beside.cases, &moved, sites.iter().map(|row| row.id).collect(), until)?,
            moved,
        })
    }

    /// Whether counts or receipts found or missed something, by all that moved.
    pub fn is_counted(&self) -> bool {
        let word = State::CountDifference.word();
        self.moved.iter().any(|one| one.from_state == word || one.to_state == word)
    }
}

impl Index {
    /// Reads parts that were not read yet, and brings the index up to the last entry meanwhile. Runs in one snapshot, which the
    /// caller began and read nothing in before: what is read must be as of the entry that the index then stands at.
    pub(crate) fn read_in(&self, conn: &mut AnyConnection, parts: &BTreeSet<Unread>) -> Result<(), StorageError> {
        let _one_at_a_time = self.following.lock();
        let until = journal::position(conn)?;
        self.take_alone(Sources { first: conn, second: None }, until)?;
        for part in parts {
            // Only whoever holds the lock above changes what is inside.
            match *part {
                Unread::Case(site) => {
                    let read = ReadCase::of(conn, site, until)?;
                    self.inside.write().beside.cases.keep(read);
                }
                Unread::Lots(page) => {
                    let read = ReadPage::of_lots(conn, page, &self.inside.read().graph)?;
                    self.keep(read)?;
                }
                Unread::Batches(page) => {
                    let read = ReadPage::of_batches(conn, page, self.inside.read().batches.rows())?;
                    self.keep(read)?;
                }
            }
        }
        Ok(())
    }

    fn keep(&self, read: ReadPage) -> Result<(), StorageError> {
        let mut inside = self.inside.write();
        let Inside { graph, beside, .. } = &mut *inside;
        beside.particulars.keep(graph, read)
    }
}
