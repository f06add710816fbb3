//! A graph from all its facts at once.

use crate::adjacency::Adjacency;
use crate::bits::Bits;
use crate::content::Declared;
use crate::graph::{RECEIVED, check_mass, sum};
use crate::index::narrow;
use crate::yields::Yields;
use crate::{BatchIx, Contact, Content, Graph, Loop, LotIx, Scratch};

/// All the facts of a graph.
#[derive(Default)]
pub struct Whole {
    /// How many batches there are.
    pub batches: usize,
    /// Every lot, in order.
    pub lots: WholeLots,
    /// The live uses, in the order they were recorded.
    pub uses: Vec<Use>,
    /// What went into batches without a lot: the batch and the milligrams.
    pub untracked: Vec<(BatchIx, i64)>,
    /// What was declared of batches.
    pub declared: Vec<(BatchIx, Content)>,
    /// The contacts, each once.
    pub contacts: Vec<WholeContact>,
}

/// So much of a lot went into a batch.
#[derive(Copy, Clone, PartialEq, Eq, Debug)]
pub struct Use {
    /// The lot.
    pub lot: LotIx,
    /// The batch.
    pub batch: BatchIx,
    /// Milligrams.
    pub mass_mg: i64,
}

/// Something of a batch may have got into another.
#[derive(Copy, Clone, PartialEq, Eq, Debug)]
pub struct WholeContact {
    /// The batch that came before.
    pub before: BatchIx,
    /// The batch that came after.
    pub after: BatchIx,
    /// The substances that may have got over, one bit each; never none.
    pub carries: u64,
    /// What it happened on.
    pub via: u32,
}

/// Every lot of a graph, by column.
#[derive(Default)]
pub struct WholeLots {
    mass: Vec<i64>,
    maker: Vec<u32>,
    own: Declared,
}

impl WholeLots {
    /// Adds the next lot: the batch that yielded it, unless it was received; its mass in milligrams; and what was declared
    /// of it, everything being unknown of a received lot and nothing added by a made one where nobody said anything.
    ///
    /// # Panics
    ///
    /// On a negative mass.
    pub fn add(&mut self, made_by: Option<BatchIx>, mass_mg: i64, own: Content) -> LotIx {
        check_mass(mass_mg);
        let lot = LotIx(narrow(self.mass.len()));
        self.mass.push(mass_mg);
        self.maker.push(made_by.map_or(RECEIVED, |batch| batch.0));
        self.own.add(own);
        lot
    }

    /// How many there are.
    pub fn len(&self) -> usize {
        self.mass.len()
    }

    /// Whether there is none.
    pub fn is_empty(&self) -> bool {
        self.mass.is_empty()
    }
}

impl std::fmt::Debug for WholeLots {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_struct("WholeLots").field("lots", &self.len()).finish_non_exhaustive()
    }
}

impl std::fmt::Debug for Whole {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        let mut out = f.debug_struct("Whole");
        out.field("lots", &self.lots).field("batches", &self.batches).field("uses", &self.uses.len());
        out.finish_non_exhaustive()
    }
}

impl Graph {
    /// The graph of all these facts: the same as if each had been recorded by itself.
    ///
    /// # Errors
    ///
    /// [`Loop`] when a lot would contain itself.
    ///
    /// # Panics
    ///
    /// Like any method of a graph, on lots and batches that there are not, and on masses that add up to too much.
    pub fn of(whole: Whole) -> Result<Self, Loop> {
        let Whole { batches, lots, uses, untracked, declared, contacts } = whole;
        let WholeLots { mut mass, mut maker, own: mut lot_own } = lots;
        mass.shrink_to_fit();
        maker.shrink_to_fit();
        lot_own.shrink();
        let mut graph = Self { mass, maker, lot_own, live_uses: uses.len(), ..Self::default() };
        graph.join(batches, &uses);
        drop(uses);
        graph.refuse_circles()?;
        for (batch, mg) in untracked {
            graph.add_untracked(batch, mg);
        }
        graph.meet(&contacts);
        for (batch, own) in declared {
            graph.batch_own.set(batch.0, own);
        }
        graph.fill();
        Ok(graph)
    }

    /// Everything that follows from the lots and the uses alone.
    fn join(&mut self, batches: usize, uses: &[Use]) {
        let lots = self.mass.len();
        let (mass, maker) = (&self.mass, &self.maker);
        let by_lot = || {
            let entries = uses.iter().map(|one| (one.lot.0, one.batch, one.mass_mg));
            let used_in = Adjacency::whole(lots, entries);
            let ever_used: Bits = (0..narrow(lots)).filter(|lot| !used_in.of(*lot).is_empty()).collect();
            (used_in, ever_used, added(lots, uses.iter().map(|one| (one.lot.0, one.mass_mg))))
        };
        let by_batch = || {
            let entries = uses.iter().map(|one| (one.batch.0, one.lot, one.mass_mg));
            (Adjacency::whole(batches, entries), added(batches, uses.iter().map(|one| (one.batch.0, one.mass_mg))))
        };
        let yielded = || {
            let made = (0_u32..).zip(maker).filter(|(_, maker)| **maker != RECEIVED);
            let outputs = Yields::whole(batches, made.clone().map(|(lot, maker)| (*maker, LotIx(lot))));
            (outputs, added(batches, made.map(|(lot, maker)| (*maker, mass[lot as usize]))))
        };
        let (of_lots, of_batches, of_yields) = std::thread::scope(|scope| {
            let by_lot = scope.spawn(by_lot);
            let rest = (by_batch(), yielded());
            let by_lot = by_lot.join().unwrap_or_else(|panic| std::panic::resume_unwind(panic));
            (by_lot, rest.0, rest.1)
        });
        (self.used_in, self.ever_used, self.used) = of_lots;
        (self.uses_in, self.input) = of_batches;
        (self.outputs, self.output) = of_yields;
        self.untracked = vec![0; batches];
        self.content = vec![Content::NOTHING; batches];
        (0..batches).for_each(|_| self.batch_own.add_nothing());
        self.batch_own.shrink();
    }

    fn meet(&mut self, contacts: &[WholeContact]) {
        let real = contacts.iter().filter(|one| one.before != one.after && one.carries != 0);
        let end = |other, one: &WholeContact| Contact { other, carries: one.carries, via: one.via };
        let before = real.clone().map(|one| (one.after.0, end(one.before, one), ()));
        self.contacts_before = Adjacency::whole(self.batches(), before);
        self.contacts_after = Adjacency::whole(self.batches(), real.map(|one| (one.before.0, end(one.after, one), ())));
    }

    /// Works out what is in every batch: once forward through all, in the order they were recorded in, then through those
    /// that got something from a later one, until nothing grows.
    fn fill(&mut self) {
        for batch in 0..narrow(self.batches()) {
            let used = self.uses_in.of(batch).iter();
            let own = used.fold(self.batch_own.of(batch), |sum, lot| sum.union(self.lot_own.of(lot.0)));
            self.content[batch as usize] = own;
        }
        let (mut again, mut queued) = (Vec::new(), vec![false; self.batches()]);
        for batch in 0..narrow(self.batches()) {
            self.hand_on(batch, |grown| {
                if grown <= batch && !std::mem::replace(&mut queued[grown as usize], true) {
                    again.push(grown);
                }
            });
        }
        while let Some(batch) = again.pop() {
            queued[batch as usize] = false;
            self.hand_on(batch, |grown| {
                if !std::mem::replace(&mut queued[grown as usize], true) {
                    again.push(grown);
                }
            });
        }
    }

    /// Gives what is in a batch to those after it, and says which got something new.
    fn hand_on(&mut self, batch: u32, mut grown: impl FnMut(u32)) {
        let now = self.content[batch as usize];
        let mut give = |to: u32, more: Content| {
            let there = &mut self.content[to as usize];
            let next = there.union(more);
            if next != *there {
                *there = next;
                grown(to);
            }
        };
        for lot in self.outputs.of(batch) {
            self.used_in.of(lot.0).iter().for_each(|into| give(into.0, now));
        }
        for contact in self.contacts_after.of(batch) {
            give(contact.other.0, now.carried(contact.carries));
        }
    }

    /// Finds the lot that would contain itself, if there is one. What was written down in the order it happened cannot
    /// have one, and is only looked over.
    fn refuse_circles(&self) -> Result<(), Loop> {
        let maker_of = |lot: &LotIx| self.maker[lot.0 as usize];
        let is_late =
            |batch: u32| self.uses_in.of(batch).iter().any(|lot| maker_of(lot) != RECEIVED && maker_of(lot) >= batch);
        let batches = narrow(self.batches());
        let Some(first) = (0..batches).find(|batch| is_late(*batch)) else { return Ok(()) };
        // Batch by batch, each once all that it is made of came before.
        let made_of = |batch: u32| self.uses_in.of(batch).iter().filter(|lot| maker_of(lot) != RECEIVED).count();
        let mut left: Vec<usize> = (0..batches).map(made_of).collect();
        let mut ready: Vec<u32> = (0..batches).filter(|batch| left[*batch as usize] == 0).collect();
        let mut settled = ready.len();
        while let Some(batch) = ready.pop() {
            let uses = self.outputs.of(batch).flat_map(|lot| self.used_in.of(lot.0));
            for into in uses {
                let left = &mut left[into.0 as usize];
                *left -= 1;
                if *left == 0 {
                    ready.push(into.0);
                    settled += 1;
                }
            }
        }
        if settled == self.batches() {
            return Ok(());
        }
        let unsettled = (first..batches).filter(|batch| left[*batch as usize] > 0);
        let mut uses = unsettled.flat_map(|batch| self.uses_in.of(batch).iter().map(move |lot| (*lot, batch)));
        let mut scratch = Scratch::new();
        Err(uses
            .find_map(|(lot, batch)| self.would_loop(&mut scratch, lot, BatchIx(batch)))
            .unwrap_or_else(|| Loop { lots: Vec::new() }))
    }
}

/// The sums of what is added to each of so many.
fn added(nodes: usize, entries: impl Iterator<Item = (u32, i64)>) -> Vec<i64> {
    let mut sums = vec![0; nodes];
    for (node, mass_mg) in entries {
        check_mass(mass_mg);
        let place = &mut sums[node as usize];
        *place = sum(*place, mass_mg);
    }
    sums
}
