//! The lot graph in memory, kept up with the journal. It can be dropped and rebuilt at any time.

mod batches;
mod beside;
pub mod cases;
pub mod contents;
mod kept;
pub mod names;
mod numbers;
pub mod particulars;
mod places;
mod recalled;
pub mod stated;
mod whole;

use std::collections::BTreeMap;

use parking_lot::{Mutex, RwLock};
use tubtrail_lineage::{BatchIx, ContactChange, Graph, LotIx, Scratch};
use tubtrail_storage::contents::{CONTENTS, ContentChanges, StatedLot, content_changes};
use tubtrail_storage::graph_changes::{GRAPH, GraphChanges, GraphLot, GraphUse, graph_changes};
use tubtrail_storage::journal::Touched;
use tubtrail_storage::stock::counted_masses;
use tubtrail_storage::{AnyConnection, Database, Follower, StorageError, journal};

use self::batches::Batches;
pub(crate) use self::beside::{Answered, Unanswered, Unread};
use self::beside::{Beside, BesideNews};
use self::contents::Contents;
use self::recalled::{Grown, News};
pub(crate) use self::recalled::{Recalls, lots_of_seeds};
use self::whole::Sources;

/// The graph and how far it has followed the journal.
#[derive(Default)]
pub struct Index {
    inside: RwLock<Inside>,
    // Only one at a time reads the news.
    following: Mutex<()>,
    scratch: Mutex<Vec<Scratch>>,
    listeners: Mutex<Vec<Listener>>,
}

/// Is told each new position of the index, on the thread that brought it there; it must not wait for anything.
pub(crate) type Listener = Box<dyn Fn(i64) + Send + Sync>;

/// What the index holds at one position of the journal.
#[derive(Default)]
pub struct Inside {
    /// The graph; a lot's index is its row id less one.
    pub graph: Graph,
    /// The last journal entry it holds.
    pub position: i64,
    /// What is stated of lots, and what ran on equipment.
    pub contents: Contents,
    /// Which lots are under recall.
    pub recalls: Recalls,
    batches: Batches,
    /// What is kept beside the graph.
    pub beside: Beside,
}

impl Index {
    /// Looks into the graph with a scratchpad of one's own. Do not read the database meanwhile: writers wait.
    pub fn look<T>(&self, look: impl FnOnce(&Inside, &mut Scratch) -> T) -> T {
        let mut scratch = self.scratch.lock().pop().unwrap_or_default();
        let answer = look(&self.inside.read(), &mut scratch);
        self.scratch.lock().push(scratch);
        answer
    }

    /// The last journal entry it holds, and the last by which someone may have become another, or have other roles.
    pub(crate) fn people(&self) -> (i64, i64) {
        let inside = self.inside.read();
        (inside.position, inside.beside.people)
    }

    /// Tells `listener` of every new position from now on.
    pub(crate) fn tell(&self, listener: Listener) {
        self.listeners.lock().push(listener);
    }
}

impl Follower for Index {
    fn position(&self) -> i64 {
        self.inside.read().position
    }

    fn catch_up(&self, conn: &mut AnyConnection) -> Result<(), StorageError> {
        let until = journal::position(conn)?;
        self.follow(conn, until)
    }

    fn go_on(
        &self,
        conn: &mut AnyConnection,
        (after, until): (i64, i64),
        touched: &Touched,
    ) -> Result<(), StorageError> {
        let following = self.following.lock();
        if after > 0 && self.position() == after {
            self.take_news(conn, (after, until), touched)?;
            self.say(until);
            return Ok(());
        }
        drop(following);
        // It is empty, or somebody who asked has taken this in already, or it fell behind and has more to take in.
        self.catch_up(conn)
    }
}

impl Index {
    /// Takes in all that a database holds, by two connections at once.
    pub(crate) fn build(database: &Database) -> Result<Self, StorageError> {
        let (mut first, mut second) = (database.reader()?, database.reader()?);
        let index = Self::default();
        let until = journal::position(&mut first)?;
        index.take(Sources { first: &mut first, second: Some(&mut second) }, until)?;
        Ok(index)
    }

    /// Takes in the journal up to an entry.
    pub(crate) fn follow(&self, conn: &mut AnyConnection, until: i64) -> Result<(), StorageError> {
        self.take(Sources { first: conn, second: None }, until)
    }

    fn take(&self, sources: Sources<'_>, until: i64) -> Result<(), StorageError> {
        let _one_at_a_time = self.following.lock();
        self.take_alone(sources, until)
    }

    /// The same, by whoever sees to it that nobody else does meanwhile.
    fn take_alone(&self, sources: Sources<'_>, until: i64) -> Result<(), StorageError> {
        let after = self.position();
        if until <= after {
            return Ok(());
        }
        if after == 0 {
            self.begin(sources, until)?;
        } else {
            let touched = journal::touched(sources.first, after, until)?;
            self.take_news(sources.first, (after, until), &touched)?;
        }
        self.say(until);
        Ok(())
    }

    fn say(&self, until: i64) {
        for listener in self.listeners.lock().iter() {
            listener(until);
        }
    }

    /// Builds all of it.
    fn begin(&self, Sources { first, second }: Sources<'_>, until: i64) -> Result<(), StorageError> {
        let recalled = News::read(first, &Recalls::default(), &Touched::anything(), 0, until)?;
        let beside =
            BesideNews::read(first, &Inside::default(), &Touched::anything(), (0, until), &GraphChanges::default())?;
        let (mut whole, inputs) = Inside::whole(Sources { first, second }, until)?;
        whole.recalls.take_in(&whole.graph, recalled, &Grown::default());
        whole.take_in_beside(beside, BTreeMap::new(), &inputs)?;
        whole.position = until;
        *self.inside.write() = whole;
        Ok(())
    }

    /// Takes in what the entries in `(after, until]` brought, which wrote to these.
    fn take_news(
        &self,
        conn: &mut AnyConnection,
        (after, until): (i64, i64),
        touched: &Touched,
    ) -> Result<(), StorageError> {
        // Most commits are a serving: what none of them touched is not asked for.
        let mut changes = GraphChanges::default();
        if touched.any(&GRAPH) {
            changes = graph_changes(conn, after, until)?;
        }
        let beside = BesideNews::read(conn, &self.inside.read(), touched, (after, until), &changes)?;
        let mut counted = Vec::new();
        if beside.is_counted() {
            counted = counted_masses(conn, after, until)?;
        }
        let mut contents = ContentChanges::default();
        if touched.any(&CONTENTS) {
            contents = content_changes(conn, after, until)?;
        }
        // Nobody waits for this: only one at a time follows, and nobody else writes.
        let recalled = News::read(conn, &self.inside.read().recalls, touched, after, until)?;
        let mut inside = self.inside.write();
        // Taken out meanwhile: what fails halfway leaves an empty index, which is built anew, and never half a change.
        let mut next = std::mem::take(&mut *inside);
        let lifted = next.lift(&beside)?;
        let contacts = next.take_in(&changes, &counted, &contents)?;
        next.recall(&changes, &contacts, recalled)?;
        next.take_in_beside(beside, lifted, &contents.untracked)?;
        next.position = until;
        *inside = next;
        Ok(())
    }
}

impl Inside {
    /// The index of a batch's row.
    pub fn batch(&self, row: i64) -> Result<BatchIx, StorageError> {
        self.batches.find(row)
    }

    /// The row of a batch.
    pub fn batch_row(&self, batch: BatchIx) -> i64 {
        self.batches.row(batch)
    }

    /// The first lot or batch in which another index, at the same position, is not like this one: table, row id, what.
    pub fn first_difference(&self, other: &Self) -> Option<(&'static str, i64, &'static str)> {
        let batches = self.batches.rows().iter().zip(other.batches.rows()).find(|(one, other)| one != other);
        if let Some((row, _)) = batches {
            return Some(("batches", *row, "it stands at another place of the graph"));
        }
        if self.graph.lots() != other.graph.lots() || self.graph.batches() != other.graph.batches() {
            return Some(("lots", 0, "one graph has more lots or batches than the other"));
        }
        let lot = self.graph.every_lot().find_map(|lot| Some((lot_row(lot), self.lot_differs(other, lot)?)));
        if let Some((row, what)) = lot {
            return Some(("lots", row, what));
        }
        let mut batches = self.graph.every_batch();
        let batch = batches.find_map(|batch| Some((self.batch_row(batch), self.batch_differs(other, batch)?)));
        if let Some((batch, what)) = batch {
            return Some(("batches", batch, what));
        }
        let recall = self.recalls.first_difference(&other.recalls).map(|(row, what)| ("recalls", row, what));
        recall.or_else(|| self.beside_differs(other))
    }

    /// Lets the recalls follow what the graph has taken in.
    fn recall(&mut self, changes: &GraphChanges, contacts: &[ContactChange], news: News) -> Result<(), StorageError> {
        let grown = Grown::of(changes, contacts, |row| self.batch(row))?;
        self.recalls.take_in(&self.graph, news, &grown);
        Ok(())
    }

    fn lot_differs(&self, all: &Self, lot: LotIx) -> Option<&'static str> {
        let (one, other) = (&self.graph, &all.graph);
        if one.mass(lot) != other.mass(lot) {
            return Some("its mass differs");
        }
        if one.made_by(lot) != other.made_by(lot) {
            return Some("the batch that made it differs");
        }
        if sorted(one.uses_of(lot)) != sorted(other.uses_of(lot)) {
            return Some("its uses differ");
        }
        self.lot_contents_differ(all, lot)
    }

    fn batch_differs(&self, all: &Self, batch: BatchIx) -> Option<&'static str> {
        let (one, other) = (&self.graph, &all.graph);
        if one.untracked(batch) != other.untracked(batch) {
            return Some("what went in without a lot differs");
        }
        if sorted(one.outputs(batch)) != sorted(other.outputs(batch)) {
            return Some("the lots it yielded differ");
        }
        if sorted(one.uses_in(batch)) != sorted(other.uses_in(batch)) {
            return Some("what went in differs");
        }
        self.batch_contents_differ(all, batch)
    }

    /// Answers what came of it between batches on the same equipment.
    fn take_in(
        &mut self,
        changes: &GraphChanges,
        counted: &[(i64, i64)],
        contents: &ContentChanges,
    ) -> Result<Vec<ContactChange>, StorageError> {
        self.contents.take_statements(contents)?;
        for row in &changes.batches {
            self.batches.add(*row)?;
            self.graph.add_batch();
        }
        for lot in &changes.lots {
            self.add_lot(lot)?;
        }
        for (batch, mass_mg) in &changes.untracked {
            let batch = self.batch(*batch)?;
            self.graph.add_untracked(batch, *mass_mg);
        }
        for (lot, mass_mg) in counted {
            self.graph.set_mass(lot_ix(*lot)?, *mass_mg);
        }
        self.add_uses(&changes.uses, &changes.voids)?;
        self.take_in_contents(contents)
    }

    fn add_lot(&mut self, row: &GraphLot) -> Result<(), StorageError> {
        let GraphLot { id, item_id, supplier_id, batch_id, mass_mg, day } = *row;
        let lot = match batch_id {
            Some(batch) => {
                let batch = self.batch(batch)?;
                self.graph.add_made_lot(batch, mass_mg)
            }
            None => self.graph.add_received_lot(mass_mg),
        };
        if lot != lot_ix(id)? {
            return Err(StorageError::Corrupt(format!("lot rows are not dense at {id}")));
        }
        let stated = StatedLot { id, item_id, supplier_id, batch_id, day };
        self.contents.declare_new(&mut self.graph, lot, &stated);
        Ok(())
    }

    /// Uses and voids in the order in which they were written: a use may only be possible because another was voided.
    fn add_uses(&mut self, uses: &[GraphUse], voids: &[(i64, GraphUse)]) -> Result<(), StorageError> {
        let mut voids = voids.iter().peekable();
        for one in uses {
            while let Some((_, voided)) = voids.next_if(|(row, _)| *row < one.id) {
                self.void(voided)?;
            }
            let batch = self.batch(one.batch_id)?;
            self.graph
                .add_use(lot_ix(one.lot_id)?, batch, one.mass_mg)
                .map_err(|_| StorageError::Corrupt(format!("use {} closes a loop", one.id)))?;
        }
        voids.try_for_each(|(_, voided)| self.void(voided))
    }

    fn void(&mut self, voided: &GraphUse) -> Result<(), StorageError> {
        let batch = self.batch(voided.batch_id)?;
        self.graph
            .void_use(lot_ix(voided.lot_id)?, batch, voided.mass_mg)
            .map_err(|_| StorageError::Corrupt(format!("use {} is not in the graph", voided.id)))
    }
}

fn sorted<T: Ord>(list: impl Iterator<Item = T>) -> Vec<T> {
    let mut list: Vec<T> = list.collect();
    list.sort_unstable();
    list
}

/// The index of a lot's row.
pub fn lot_ix(row: i64) -> Result<LotIx, StorageError> {
    u32::try_from(row - 1).map(LotIx::from_index).map_err(|_| StorageError::Corrupt(format!("lot row {row}")))
}

/// The row of a lot.
pub fn lot_row(lot: LotIx) -> i64 {
    i64::from(lot.index()) + 1
}
