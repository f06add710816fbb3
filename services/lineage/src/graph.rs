//! The graph and what may be written into it.

use std::fmt;

use crate::adjacency::{Adjacency, push_tight};
use crate::bits::Bits;
use crate::content::Declared;
use crate::index::narrow;
use crate::yields::Yields;
use crate::{BatchIx, Contact, Content, Loop, LotIx, NoSuchUse, Scratch};

/// Stands for "no batch" in the column of makers: this lot was received.
pub(crate) const RECEIVED: u32 = u32::MAX;

/// Lots, batches, and the uses that join them.
///
/// What each lot was used in, what each batch used and what each batch yielded are kept as three lists of neighbours,
/// never as pairs of lots: a batch of ten lots in and a hundred tubs out costs 110 entries and not a thousand.
///
/// # Panics
///
/// A [`LotIx`] or [`BatchIx`] beyond the ones this graph has handed out, a negative mass, and a sum of masses beyond
/// `i64::MAX` milligrams (nine thousand million tonnes) are mistakes of the caller: every method panics on them, saying
/// which, and the graph stays as it was.
#[derive(Default)]
pub struct Graph {
    /// By lot, milligrams.
    pub(crate) mass: Vec<i64>,
    /// By lot, the sum of its live uses in milligrams.
    pub(crate) used: Vec<i64>,
    /// By lot, the batch that yielded it, or [`RECEIVED`].
    pub(crate) maker: Vec<u32>,
    /// By batch, live uses and untracked together, milligrams.
    pub(crate) input: Vec<i64>,
    /// By batch, milligrams.
    pub(crate) untracked: Vec<i64>,
    /// By batch, the mass of all the lots it yielded, milligrams.
    pub(crate) output: Vec<i64>,
    /// By lot, the batches it went into, and milligrams.
    pub(crate) used_in: Adjacency<BatchIx, i64>,
    /// The lots of which something was ever used. Most never are, and a trace passes by these without looking further.
    pub(crate) ever_used: Bits,
    /// By batch, the lots that went into it, and milligrams.
    pub(crate) uses_in: Adjacency<LotIx, i64>,
    /// By batch, the lots it yielded.
    pub(crate) outputs: Yields,
    /// By batch, those it was in contact with that came before it.
    pub(crate) contacts_before: Adjacency<Contact>,
    /// By batch, those it was in contact with that came after it.
    pub(crate) contacts_after: Adjacency<Contact>,
    /// By lot, what was declared of it.
    pub(crate) lot_own: Declared,
    /// By batch, what was declared of it.
    pub(crate) batch_own: Declared,
    /// By batch, what is in it by all that is recorded: always the least that satisfies every use and contact. All the
    /// lots of a batch have it in them, so it is not kept for each.
    pub(crate) content: Vec<Content>,
    pub(crate) live_uses: usize,
    /// For the loop check of [`Graph::add_use`] and for changes of contents, so that recording need not allocate.
    pub(crate) scratch: Scratch,
}

impl Graph {
    /// A graph without lots or batches.
    pub fn new() -> Self {
        Self::default()
    }

    /// How many lots there are.
    pub fn lots(&self) -> usize {
        self.mass.len()
    }

    /// How many batches there are.
    pub fn batches(&self) -> usize {
        self.input.len()
    }

    /// Every lot, in the order in which they were added.
    pub fn every_lot(&self) -> impl Iterator<Item = LotIx> {
        (0..narrow(self.lots())).map(LotIx)
    }

    /// Every batch, in the order in which they were added.
    pub fn every_batch(&self) -> impl Iterator<Item = BatchIx> {
        (0..narrow(self.batches())).map(BatchIx)
    }

    /// How many uses there are, voided ones not counted.
    pub fn uses(&self) -> usize {
        self.live_uses
    }

    /// Adds a batch that has used and yielded nothing yet.
    pub fn add_batch(&mut self) -> BatchIx {
        let batch = BatchIx(narrow(self.batches()));
        push_tight(&mut self.input, 0);
        push_tight(&mut self.untracked, 0);
        push_tight(&mut self.output, 0);
        self.uses_in.add_node();
        self.outputs.add_batch();
        self.contacts_before.add_node();
        self.contacts_after.add_node();
        self.batch_own.add_nothing();
        push_tight(&mut self.content, Content::NOTHING);
        batch
    }

    /// Adds a lot of `mass_mg` milligrams that was bought in, not made. What is in it is unknown until it is declared.
    pub fn add_received_lot(&mut self, mass_mg: i64) -> LotIx {
        let lot = self.add_lot(RECEIVED, mass_mg);
        self.lot_own.add_unknown();
        lot
    }

    /// Adds a lot of `mass_mg` milligrams that `batch` yielded. A new lot is in nothing yet, so this closes no loop.
    pub fn add_made_lot(&mut self, batch: BatchIx, mass_mg: i64) -> LotIx {
        self.check_batch(batch);
        check_mass(mass_mg);
        let output = sum(self.output[batch.0 as usize], mass_mg);
        let lot = self.add_lot(batch.0, mass_mg);
        self.output[batch.0 as usize] = output;
        self.outputs.push(batch.0, lot);
        self.lot_own.add_nothing();
        lot
    }

    /// Adds `mass_mg` milligrams to `batch` of something no lot is kept of, such as water: it thins the shares of
    /// whatever else is in the batch, and traces to nothing.
    pub fn add_untracked(&mut self, batch: BatchIx, mass_mg: i64) {
        self.check_batch(batch);
        check_mass(mass_mg);
        let input = sum(self.input[batch.0 as usize], mass_mg);
        self.input[batch.0 as usize] = input;
        self.untracked[batch.0 as usize] += mass_mg;
    }

    /// Says that `lot` was `mass_mg` milligrams from the beginning, as counts now know: the batch that made it yielded as
    /// much more, or less, too.
    pub fn set_mass(&mut self, lot: LotIx, mass_mg: i64) {
        self.check_lot(lot);
        check_mass(mass_mg);
        if let Some(batch) = self.made_by(lot) {
            let output = &mut self.output[batch.0 as usize];
            *output = sum(*output - self.mass[lot.0 as usize], mass_mg);
        }
        self.mass[lot.0 as usize] = mass_mg;
    }

    /// Records that `mass_mg` milligrams of `lot` went into `batch`. The same lot may go into the same batch several
    /// times, a batch that has already yielded lots may still get uses, and the uses of a lot may exceed its mass (what
    /// is written down is not always what was weighed).
    ///
    /// # Errors
    ///
    /// [`Loop`] when `lot` descends from what `batch` yielded; nothing is recorded then.
    pub fn add_use(&mut self, lot: LotIx, batch: BatchIx, mass_mg: i64) -> Result<(), Loop> {
        check_mass(mass_mg);
        let mut scratch = std::mem::take(&mut self.scratch);
        let found = self.would_loop(&mut scratch, lot, batch);
        self.scratch = scratch;
        if let Some(found) = found {
            return Err(found);
        }
        let used = sum(self.used[lot.0 as usize], mass_mg);
        let input = sum(self.input[batch.0 as usize], mass_mg);
        self.used[lot.0 as usize] = used;
        self.input[batch.0 as usize] = input;
        self.ever_used.insert(lot.0);
        self.used_in.push(lot.0, batch, mass_mg);
        self.uses_in.push(batch.0, lot, mass_mg);
        self.live_uses += 1;
        self.gain(batch, self.content(lot));
        Ok(())
    }

    /// Takes back one live use of `lot` in `batch` of exactly `mass_mg` milligrams, as if it had never been recorded.
    /// Of several alike, one goes. Takes time in proportion to the uses of the lot and of the batch.
    ///
    /// # Errors
    ///
    /// [`NoSuchUse`] when there is none; nothing is changed then.
    pub fn void_use(&mut self, lot: LotIx, batch: BatchIx, mass_mg: i64) -> Result<(), NoSuchUse> {
        self.check_lot(lot);
        self.check_batch(batch);
        let at_lot = self.used_in.both(lot.0).position(|entry| entry == (batch, mass_mg));
        let at_batch = self.uses_in.both(batch.0).position(|entry| entry == (lot, mass_mg));
        let (Some(at_lot), Some(at_batch)) = (at_lot, at_batch) else {
            return Err(NoSuchUse { lot, batch, mass_mg });
        };
        self.used_in.remove(lot.0, at_lot);
        self.uses_in.remove(batch.0, at_batch);
        self.used[lot.0 as usize] -= mass_mg;
        self.input[batch.0 as usize] -= mass_mg;
        self.live_uses -= 1;
        self.lose(batch, self.content(lot));
        Ok(())
    }

    /// The mass of `lot` in milligrams, with what was found later and without regard to what was used.
    pub fn mass(&self, lot: LotIx) -> i64 {
        self.check_lot(lot);
        self.mass[lot.0 as usize]
    }

    /// What went into batches of `lot`, in milligrams: the sum of its live uses.
    pub fn used(&self, lot: LotIx) -> i64 {
        self.check_lot(lot);
        self.used[lot.0 as usize]
    }

    /// The batch that yielded `lot`; none for a lot that was received.
    pub fn made_by(&self, lot: LotIx) -> Option<BatchIx> {
        self.check_lot(lot);
        Some(self.maker[lot.0 as usize]).filter(|maker| *maker != RECEIVED).map(BatchIx)
    }

    /// The live uses of `lot`: the batch it went into and the milligrams, in the order they were recorded.
    pub fn uses_of(&self, lot: LotIx) -> impl ExactSizeIterator<Item = (BatchIx, i64)> {
        self.check_lot(lot);
        self.used_in.both(lot.0)
    }

    /// The live uses in `batch`: the lot that went in and the milligrams, in the order they were recorded.
    pub fn uses_in(&self, batch: BatchIx) -> impl ExactSizeIterator<Item = (LotIx, i64)> {
        self.check_batch(batch);
        self.uses_in.both(batch.0)
    }

    /// The lots that `batch` yielded, in the order they were added.
    pub fn outputs(&self, batch: BatchIx) -> impl ExactSizeIterator<Item = LotIx> {
        self.check_batch(batch);
        self.outputs.of(batch.0)
    }

    /// The untracked mass in `batch`, in milligrams.
    pub fn untracked(&self, batch: BatchIx) -> i64 {
        self.check_batch(batch);
        self.untracked[batch.0 as usize]
    }

    /// The mass of a lot, and what its uses are parts of: its mass, or all that was used if that is more.
    pub(crate) fn lot_totals(&self, lot: LotIx) -> Totals {
        let used = self.used[lot.0 as usize];
        Totals { part: used, whole: self.mass[lot.0 as usize].max(used) }
    }

    /// What a batch yielded, and what that is a part of: all that went in, or all that came out if that is more.
    pub(crate) fn batch_totals(&self, batch: BatchIx) -> Totals {
        let output = self.output[batch.0 as usize];
        Totals { part: output, whole: self.input[batch.0 as usize].max(output) }
    }

    pub(crate) fn check_lot(&self, lot: LotIx) {
        assert!((lot.0 as usize) < self.lots(), "lot {} is not of this graph, which has {}", lot.0, self.lots());
    }

    pub(crate) fn check_batch(&self, batch: BatchIx) {
        let batches = self.batches();
        assert!((batch.0 as usize) < batches, "batch {} is not of this graph, which has {batches}", batch.0);
    }

    fn add_lot(&mut self, maker: u32, mass_mg: i64) -> LotIx {
        check_mass(mass_mg);
        let lot = LotIx(narrow(self.lots()));
        push_tight(&mut self.mass, mass_mg);
        push_tight(&mut self.used, 0);
        push_tight(&mut self.maker, maker);
        self.used_in.add_node();
        lot
    }
}

impl fmt::Debug for Graph {
    /// The sizes only: a graph of millions of lots has no place in a log.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let mut out = f.debug_struct("Graph");
        out.field("lots", &self.lots()).field("batches", &self.batches()).field("uses", &self.uses());
        out.finish_non_exhaustive()
    }
}

/// A mass in milligrams and the one it is a part of; `part <= whole`.
#[derive(Copy, Clone)]
pub(crate) struct Totals {
    pub(crate) part: i64,
    pub(crate) whole: i64,
}

pub(crate) fn check_mass(mass_mg: i64) {
    assert!(mass_mg >= 0, "a mass of {mass_mg} mg is negative");
}

pub(crate) fn sum(one: i64, other: i64) -> i64 {
    one.checked_add(other).expect("masses add up to less than 2^63 mg")
}
