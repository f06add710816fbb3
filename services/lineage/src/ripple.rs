//! How a change of what is in one batch runs through all that comes after it.

use crate::index::narrow;
use crate::proof::Proof;
use crate::scratch::Mark;
use crate::{BatchIx, Content, Graph, LotIx, Scratch};

/// How many batches are each looked at closely before anything is taken away from them. It ends most changes within a
/// few; one that goes on beyond has so much in its way that gathering anew is cheaper.
const PROOFS: usize = 4_096;

/// Declarations to reckon with instead of those in the graph, each list in order of its index.
#[derive(Copy, Clone, Default)]
pub(crate) struct Supposed<'a> {
    pub(crate) lots: &'a [(LotIx, Content)],
    pub(crate) batches: &'a [(BatchIx, Content)],
}

/// A batch that a change came to.
pub(crate) struct Touched {
    pub(crate) batch: BatchIx,
    /// What is in it by now.
    pub(crate) now: Content,
    /// What it is to lose, not yet looked into.
    losing: Content,
    /// Whether it waits for its turn.
    queued: bool,
}

/// The contents of a graph after a change, laid over those before.
///
/// Contacts may run in a circle, so no order of batches is the right one to go by. What is added is pushed forward until
/// nothing grows. What is taken away is first taken away from everything that might have had it from there, even if it
/// had it from elsewhere too (two machines used crosswise would otherwise go on vouching for each other); then each
/// batch that lost something gathers again what its uses and contacts still bring.
pub(crate) struct Ripple<'a> {
    pub(crate) graph: &'a Graph,
    scratch: &'a mut Scratch,
    epoch: u32,
    supposed: Supposed<'a>,
}

impl<'a> Ripple<'a> {
    pub(crate) fn new(graph: &'a Graph, scratch: &'a mut Scratch, supposed: Supposed<'a>) -> Self {
        let (_, epoch) = scratch.begin_batches(graph);
        scratch.touched.clear();
        Self { graph, scratch, epoch, supposed }
    }

    /// Works out what follows from the supposed declarations.
    pub(crate) fn declare(&mut self) {
        let (graph, Supposed { lots, batches }) = (self.graph, self.supposed);
        for &(lot, own) in lots {
            let less = graph.lot_own.of(lot.0).minus(own);
            graph.used_in.of(lot.0).iter().for_each(|into| self.lose(*into, less));
        }
        for &(batch, own) in batches {
            self.lose(batch, graph.batch_own.of(batch.0).minus(own));
        }
        self.settle();
        for &(lot, own) in lots {
            graph.used_in.of(lot.0).iter().for_each(|into| self.gain(*into, own));
        }
        for &(batch, own) in batches {
            self.gain(batch, own);
        }
        self.spread();
    }

    pub(crate) fn gain_and_spread(&mut self, batch: BatchIx, more: Content) {
        self.gain(batch, more);
        self.spread();
    }

    pub(crate) fn lose_and_settle(&mut self, batch: BatchIx, less: Content) {
        self.lose(batch, less);
        self.settle();
    }

    /// The batches in which there is now something else than before.
    pub(crate) fn changed_batches(&self) -> impl Iterator<Item = BatchIx> {
        let before = |batch: BatchIx| self.graph.content[batch.0 as usize];
        let changed = self.scratch.touched.iter().filter(move |touched| touched.now != before(touched.batch));
        changed.map(|touched| touched.batch)
    }

    /// What is now in `lot`.
    pub(crate) fn lot_content(&self, lot: LotIx) -> Content {
        let own = self.lot_own(lot);
        self.graph.made_by(lot).map_or(own, |batch| own.union(self.now(batch)))
    }

    pub(crate) fn lot_own(&self, lot: LotIx) -> Content {
        let lots = self.supposed.lots;
        match lots.binary_search_by_key(&lot, |(lot, _)| *lot) {
            Ok(at) => lots[at].1,
            Err(_) => self.graph.lot_own.of(lot.0),
        }
    }

    pub(crate) fn batch_own(&self, batch: BatchIx) -> Content {
        let batches = self.supposed.batches;
        match batches.binary_search_by_key(&batch, |(batch, _)| *batch) {
            Ok(at) => batches[at].1,
            Err(_) => self.graph.batch_own.of(batch.0),
        }
    }

    pub(crate) fn now(&self, batch: BatchIx) -> Content {
        let mark = self.scratch.batch_marks[batch.0 as usize];
        if mark.epoch == self.epoch {
            self.scratch.touched[mark.at as usize].now
        } else {
            self.graph.content[batch.0 as usize]
        }
    }

    /// The place of `batch` among the touched, where it has its turn coming.
    fn queue(&mut self, batch: BatchIx) -> &mut Touched {
        let Scratch { batch_marks, touched, ready, .. } = &mut *self.scratch;
        let mark = &mut batch_marks[batch.0 as usize];
        if mark.epoch != self.epoch {
            *mark = Mark { epoch: self.epoch, at: narrow(touched.len()) };
            let now = self.graph.content[batch.0 as usize];
            touched.push(Touched { batch, now, losing: Content::NOTHING, queued: false });
        }
        let place = &mut touched[mark.at as usize];
        if !place.queued {
            place.queued = true;
            ready.push(mark.at);
        }
        place
    }

    fn gain(&mut self, batch: BatchIx, more: Content) {
        let now = self.now(batch);
        let next = now.union(more);
        if next != now {
            self.queue(batch).now = next;
        }
    }

    fn lose(&mut self, batch: BatchIx, less: Content) {
        let less = less.common(self.now(batch));
        if !less.is_nothing() {
            let place = self.queue(batch);
            place.losing = place.losing.union(less);
        }
    }

    /// Pushes forward what the queued batches have.
    fn spread(&mut self) {
        let graph = self.graph;
        let mut next = 0;
        while let Some(&at) = self.scratch.ready.get(next) {
            next += 1;
            let place = &mut self.scratch.touched[at as usize];
            place.queued = false;
            let (batch, now) = (place.batch, place.now);
            for lot in graph.outputs.of(batch.0) {
                let uses = graph.used_in.of(lot.0);
                if !uses.is_empty() {
                    let content = now.union(self.lot_own(lot));
                    for into in uses {
                        self.gain(*into, content);
                    }
                }
            }
            for contact in graph.contacts_after.of(batch.0) {
                self.gain(contact.other, now.carried(contact.carries));
            }
        }
        self.scratch.ready.clear();
    }

    /// Takes away what the queued batches are to lose, then gives back what is still accounted for.
    fn settle(&mut self) {
        let graph = self.graph;
        let mut next = 0;
        while let Some(&at) = self.scratch.ready.get(next) {
            next += 1;
            let place = &mut self.scratch.touched[at as usize];
            place.queued = false;
            let (batch, losing) = (place.batch, std::mem::take(&mut place.losing).common(place.now));
            let still = if next <= PROOFS { Proof::of(self, batch, losing) } else { self.declared(batch) };
            let lost = losing.minus(still);
            if lost.is_nothing() {
                continue;
            }
            let place = &mut self.scratch.touched[at as usize];
            place.now = place.now.minus(lost);
            for lot in graph.outputs.of(batch.0) {
                graph.used_in.of(lot.0).iter().for_each(|into| self.lose(*into, lost));
            }
            for contact in graph.contacts_after.of(batch.0) {
                self.lose(contact.other, lost.carried(contact.carries));
            }
        }
        self.scratch.ready.clear();
        for at in 0..self.scratch.touched.len() {
            let batch = self.scratch.touched[at].batch;
            self.gain(batch, self.gathered(batch));
        }
        self.spread();
    }

    /// What is in `batch` by declarations of it and of what went into it, whatever becomes of the batches before it.
    fn declared(&self, batch: BatchIx) -> Content {
        let mut sum = self.batch_own(batch);
        for lot in self.graph.uses_in.of(batch.0) {
            sum = sum.union(self.lot_own(*lot));
        }
        sum
    }

    /// What is in `batch` by all that is now in what went into it and in what it was in contact with.
    fn gathered(&self, batch: BatchIx) -> Content {
        let mut sum = self.batch_own(batch);
        for lot in self.graph.uses_in.of(batch.0) {
            sum = sum.union(self.lot_content(*lot));
        }
        for contact in self.graph.contacts_before.of(batch.0) {
            sum = sum.union(self.now(contact.other).carried(contact.carries));
        }
        sum
    }
}
