//! The working memory of queries.

use crate::evidence::Hop;
use crate::ripple::Touched;
use crate::{BatchIx, Graph, LotIx, Share};

/// Working memory that queries share, so that none of them allocates in proportion to the graph or clears what the one
/// before left behind. Keep one per thread; it serves any graph, and grows to the largest it has seen.
#[derive(Default)]
pub struct Scratch {
    /// The number of the present query. A mark counts only if it bears this number (or the one above, see
    /// [`Scratch::begin`]), so starting a query makes all older marks void at once.
    pub(crate) epoch: u32,
    pub(crate) lot_marks: Vec<Mark>,
    pub(crate) batch_marks: Vec<Mark>,
    /// The lots found, in the order found.
    pub(crate) lots: Vec<LotIx>,
    /// The batches found, in the order found.
    pub(crate) batches: Vec<Found>,
    /// Backward only, by position in `lots`: uses of the lot not yet followed.
    pub(crate) pending: Vec<u32>,
    /// Backward only, by position in `lots`: the position of the lot from which it was found.
    pub(crate) via: Vec<u32>,
    /// Work that can be done now, as positions, lots or batches.
    pub(crate) ready: Vec<u32>,
    /// The same for the other side of a search from both ends.
    pub(crate) ready_up: Vec<u32>,
    pub(crate) shares: Vec<Share>,
    /// The batches a change came to, in the order it did.
    pub(crate) touched: Vec<Touched>,
    /// The batches a search for evidence came to, in the order it did.
    pub(crate) hops: Vec<Hop>,
}

/// Says in which query a lot or batch was found, and at which position of its list.
#[derive(Copy, Clone, Default)]
pub(crate) struct Mark {
    pub(crate) epoch: u32,
    pub(crate) at: u32,
}

/// A batch that a query came to.
pub(crate) struct Found {
    pub(crate) batch: BatchIx,
    /// Position in `lots` of the first lot it yielded; the others follow (forward only).
    pub(crate) first: u32,
    /// How many lots or uses must still be settled before this batch can be.
    pub(crate) pending: u32,
    /// Whether it yielded a seed, which is not in its place after `first` but among the seeds (forward only).
    pub(crate) yields_seed: bool,
    /// What has come together here, milligrams.
    pub(crate) mg: f64,
}

impl Scratch {
    /// Working memory that has not been used yet; it takes what it needs at the first query.
    pub fn new() -> Self {
        Self::default()
    }

    /// Starts a query that marks lots and batches of `graph`. Gives two numbers for it to mark with, no mark bearing
    /// either yet.
    pub(crate) fn begin(&mut self, graph: &Graph) -> (u32, u32) {
        if self.lot_marks.len() < graph.lots() {
            self.lot_marks.resize(graph.lots(), Mark::default());
        }
        self.lots.clear();
        self.batches.clear();
        self.pending.clear();
        self.via.clear();
        self.begin_batches(graph)
    }

    /// The same for a query that marks batches only.
    pub(crate) fn begin_batches(&mut self, graph: &Graph) -> (u32, u32) {
        if self.batch_marks.len() < graph.batches() {
            self.batch_marks.resize(graph.batches(), Mark::default());
        }
        self.ready.clear();
        self.ready_up.clear();
        if self.epoch >= u32::MAX - 2 {
            // After two thousand million queries the numbers begin anew, and no old mark may pass for a new one.
            self.lot_marks.fill(Mark::default());
            self.batch_marks.fill(Mark::default());
            self.epoch = 0;
        }
        self.epoch += 2;
        (self.epoch - 1, self.epoch)
    }

    /// Whether `lot` was a seed of the present query, when that went forward.
    pub(crate) fn is_seed(&self, lot: LotIx) -> bool {
        self.lot_marks[lot.0 as usize].epoch == self.epoch
    }
}

impl std::fmt::Debug for Scratch {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_struct("Scratch").field("epoch", &self.epoch).finish_non_exhaustive()
    }
}

#[cfg(test)]
mod tests {
    use crate::{Graph, LotIx, Scratch};

    #[test]
    fn queries_stay_right_when_the_epochs_run_out() {
        let mut graph = Graph::new();
        let milk = graph.add_received_lot(10);
        let batch = graph.add_batch();
        graph.add_use(milk, batch, 10).unwrap();
        let tub = graph.add_made_lot(batch, 10);
        let ask = |scratch: &mut Scratch, forward: bool| {
            if forward {
                assert_eq!(graph.forward(scratch, &[milk]), [milk, tub]);
            } else {
                assert_eq!(graph.backward(scratch, tub), [tub, milk]);
            }
        };
        for (last, forward) in (u32::MAX - 6..u32::MAX).flat_map(|last| [(last, true), (last, false)]) {
            // This leaves marks that bear the lowest numbers, which come again after the highest.
            let mut scratch = Scratch::new();
            ask(&mut scratch, forward);
            scratch.epoch = last;
            for _ in 0..5 {
                ask(&mut scratch, forward);
            }
            assert!(scratch.epoch < 100, "the numbers began anew");
        }
    }

    #[test]
    fn one_scratch_serves_graphs_of_different_sizes() {
        let mut scratch = Scratch::new();
        for size in [5, 50, 2, 500, 1] {
            let mut graph = Graph::new();
            for _ in 1..=size {
                graph.add_received_lot(1);
            }
            let last = LotIx::from_index(size - 1);
            assert_eq!(graph.forward(&mut scratch, &[last, last]), [last]);
        }
    }
}
