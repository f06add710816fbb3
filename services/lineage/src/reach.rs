//! What a recall reaches, kept while the graph grows.

use crate::bits::Bits;
use crate::{BatchIx, Graph, LotIx};

/// The lots and batches that hold any of some seeds, or may by contact.
///
/// There are two layers: what the uses alone lead to, and what is led to only over at least one contact. It follows the
/// graph as that grows, at the cost of what is added; after anything is taken away it must be built anew.
#[derive(Clone, Default, Debug)]
pub struct Reach {
    seeds: Vec<LotIx>,
    with_contact: bool,
    /// What is reached at all.
    lots: Bits,
    batches: Bits,
    /// What is reached by uses alone.
    lots_by_use: Bits,
    batches_by_use: Bits,
    len: usize,
    /// Lots newly reached by uses, not yet followed; empty between calls.
    used: Vec<LotIx>,
    /// Batches newly reached in any way, not yet followed; empty between calls.
    touched: Vec<BatchIx>,
}

impl Reach {
    /// All that `graph` leads to from the `seeds`, over contacts too if `with_contact`, whatever they carry.
    pub fn of(graph: &Graph, seeds: &[LotIx], with_contact: bool) -> Self {
        let mut reach = Self { with_contact, ..Self::default() };
        reach.add_seeds(graph, seeds);
        reach
    }

    /// Whether `lot` is reached in any way.
    pub fn holds(&self, lot: LotIx) -> bool {
        self.lots.holds(lot.0)
    }

    /// Whether `lot` is reached, but by no chain of uses alone.
    pub fn by_contact_only(&self, lot: LotIx) -> bool {
        self.lots.holds(lot.0) && !self.lots_by_use.holds(lot.0)
    }

    /// Whether anything reached went into `batch`, or may have got into it.
    pub fn holds_batch(&self, batch: BatchIx) -> bool {
        self.batches.holds(batch.0)
    }

    /// The lots reached, the seeds among them, in order of their index.
    pub fn lots(&self) -> impl Iterator<Item = LotIx> {
        self.lots.iter().map(LotIx)
    }

    /// How many lots are reached.
    pub fn len(&self) -> usize {
        self.len
    }

    /// Whether no lot is reached, that is, whether there is no seed.
    pub fn is_empty(&self) -> bool {
        self.len == 0
    }

    /// The seeds, each once, in the order they were added.
    pub fn seeds(&self) -> &[LotIx] {
        &self.seeds
    }

    /// Whether contacts are followed.
    pub fn with_contact(&self) -> bool {
        self.with_contact
    }

    /// Adds seeds, and all that `graph` leads to from them.
    pub fn add_seeds(&mut self, graph: &Graph, seeds: &[LotIx]) {
        for &seed in seeds {
            graph.check_lot(seed);
            if !self.seeds.contains(&seed) {
                self.seeds.push(seed);
            }
            self.enter_lot_by_use(seed);
        }
        self.follow(graph);
    }

    /// Follows what was added to `graph` since it last stood still: uses, made lots, and contacts from the first batch
    /// to the second. What was not reached before and is not now may be named too.
    pub fn grow(
        &mut self,
        graph: &Graph,
        new_uses: &[(LotIx, BatchIx)],
        new_lots: &[LotIx],
        new_contacts: &[(BatchIx, BatchIx)],
    ) {
        for &(lot, batch) in new_uses {
            if self.lots_by_use.holds(lot.0) {
                self.enter_batch_by_use(graph, batch);
            } else if self.lots.holds(lot.0) {
                self.enter_batch(batch);
            }
        }
        for &lot in new_lots {
            let Some(maker) = graph.made_by(lot) else { continue };
            if self.batches_by_use.holds(maker.0) {
                self.enter_lot_by_use(lot);
            } else if self.batches.holds(maker.0) {
                self.enter_lot(graph, lot);
            }
        }
        for &(before, after) in new_contacts {
            if self.with_contact && self.batches.holds(before.0) {
                self.enter_batch(after);
            }
        }
        self.follow(graph);
    }

    /// Follows whatever is newly reached to its end.
    fn follow(&mut self, graph: &Graph) {
        loop {
            // Uses first, so that hardly anything is entered by contact and then again by use.
            if let Some(lot) = self.used.pop() {
                for batch in graph.used_in.of(lot.0) {
                    self.enter_batch_by_use(graph, *batch);
                }
            } else if let Some(batch) = self.touched.pop() {
                graph.outputs.of(batch.0).for_each(|lot| self.enter_lot(graph, lot));
                if self.with_contact {
                    graph.contacts_after.of(batch.0).iter().for_each(|contact| self.enter_batch(contact.other));
                }
            } else {
                return;
            }
        }
    }

    fn enter_lot_by_use(&mut self, lot: LotIx) {
        if self.lots_by_use.insert(lot.0) {
            self.len += usize::from(self.lots.insert(lot.0));
            self.used.push(lot);
        }
    }

    fn enter_batch_by_use(&mut self, graph: &Graph, batch: BatchIx) {
        if self.batches_by_use.insert(batch.0) {
            graph.outputs.of(batch.0).for_each(|lot| self.enter_lot_by_use(lot));
            self.enter_batch(batch);
        }
    }

    fn enter_lot(&mut self, graph: &Graph, lot: LotIx) {
        if self.lots.insert(lot.0) {
            self.len += 1;
            graph.used_in.of(lot.0).iter().for_each(|batch| self.enter_batch(*batch));
        }
    }

    fn enter_batch(&mut self, batch: BatchIx) {
        if self.batches.insert(batch.0) {
            self.touched.push(batch);
        }
    }
}
