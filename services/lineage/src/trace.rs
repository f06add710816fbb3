//! Which lots are in which.

use crate::index::narrow;
use crate::scratch::{Found, Mark};
use crate::yields::Yielded;
use crate::{BatchIx, Graph, LotIx, Scratch};

/// One lot on the way from one lot to another.
#[derive(Copy, Clone, PartialEq, Eq, Hash, Debug)]
pub struct Step {
    /// The lot.
    pub lot: LotIx,
    /// The batch it went into on the way to the next lot; none at the end of the way.
    pub batch: Option<BatchIx>,
}

impl Graph {
    /// Every lot that holds any of the `seeds`: the seeds themselves first, each once, then what was made from them
    /// directly, then what was made from that, and so on.
    ///
    /// A use of 0 mg counts: something was written down, and a recall had better look at it.
    pub fn forward<'s>(&self, scratch: &'s mut Scratch, seeds: &[LotIx]) -> &'s [LotIx] {
        self.find_forward::<false>(scratch, seeds);
        &scratch.lots
    }

    /// Every lot that is in `lot`: itself first, then what it was made from directly, and so on.
    pub fn backward<'s>(&self, scratch: &'s mut Scratch, lot: LotIx) -> &'s [LotIx] {
        self.find_backward(scratch, lot, |_| false);
        &scratch.lots
    }

    /// A shortest chain by which `from` got into `to`, both included, as evidence; none if it did not.
    pub fn path(&self, scratch: &mut Scratch, from: LotIx, to: LotIx) -> Option<Vec<Step>> {
        self.check_lot(from);
        // Backward, because one tub is made from far fewer lots than one lot of milk ends up in.
        let found = self.find_backward(scratch, to, |lot| lot == from)?;
        let batch_after = |at: u32| (at != 0).then(|| BatchIx(self.maker[scratch.after(at).index() as usize]));
        Some(scratch.chain(found).map(|at| Step { lot: scratch.lots[at as usize], batch: batch_after(at) }).collect())
    }

    /// Fills `lots` with what holds any of the seeds, and `batches` too if these are to be `COUNTED`: `pending` of each is then
    /// the number of uses of found lots in it, and their marks lead to their positions. Gives the number of seeds, each
    /// counted once.
    ///
    /// A lot has one maker and a batch is entered once, so no lot is met twice and none needs a mark, except the
    /// seeds: they stand first in any case. The batches that yielded one are marked with the lower number beforehand.
    pub(crate) fn find_forward<const COUNTED: bool>(&self, scratch: &mut Scratch, seeds: &[LotIx]) -> usize {
        let (yields_seed, reached) = scratch.begin(self);
        let Scratch { lot_marks, batch_marks, lots, batches, ready, .. } = scratch;
        for &seed in seeds {
            let maker = self.made_by(seed);
            if lot_marks[seed.0 as usize].epoch == reached {
                continue;
            }
            lot_marks[seed.0 as usize].epoch = reached;
            lots.push(seed);
            if self.ever_used.holds(seed.0) {
                ready.push(seed.0);
            }
            if let Some(maker) = maker {
                batch_marks[maker.0 as usize].epoch = yields_seed;
            }
        }
        let seeds = lots.len();
        let mut next = 0;
        while let Some(lot) = ready.get(next) {
            next += 1;
            for &batch in self.used_in.of(*lot) {
                let mark = &mut batch_marks[batch.0 as usize];
                if mark.epoch == reached {
                    if COUNTED {
                        batches[mark.at as usize].pending += 1;
                    }
                    continue;
                }
                let yields_seed = mark.epoch == yields_seed;
                *mark = Mark { epoch: reached, at: narrow(batches.len()) };
                if COUNTED {
                    batches.push(Found { batch, first: narrow(lots.len()), pending: 1, yields_seed, mg: 0.0 });
                }
                let outputs = self.outputs.of(batch.0);
                if yields_seed {
                    let new = outputs.filter(|lot| lot_marks[lot.0 as usize].epoch != reached);
                    new.for_each(|lot| Yielded::List(&[lot]).append_to(lots, &self.ever_used, ready));
                } else {
                    outputs.append_to(lots, &self.ever_used, ready);
                }
            }
        }
        ready.clear();
        seeds
    }

    /// Fills `lots` and `batches` with what is in `lot`, up to the first lot that is `wanted`, whose position it gives.
    /// Without such a lot, `pending` of each lot is afterwards the number of its uses in found batches, and `pending`
    /// of each batch the number of found lots it yielded.
    pub(crate) fn find_backward(
        &self,
        scratch: &mut Scratch,
        lot: LotIx,
        wanted: impl Fn(LotIx) -> bool,
    ) -> Option<u32> {
        self.check_lot(lot);
        let (_, reached) = scratch.begin(self);
        let Scratch { lot_marks, batch_marks, lots, batches, pending, via, .. } = scratch;
        lot_marks[lot.0 as usize] = Mark { epoch: reached, at: 0 };
        lots.push(lot);
        pending.push(0);
        via.push(0);
        if wanted(lot) {
            return Some(0);
        }
        let mut next = 0;
        while let Some(&lot) = lots.get(next as usize) {
            let from = next;
            next += 1;
            let Some(batch) = self.made_by(lot) else { continue };
            let mark = &mut batch_marks[batch.0 as usize];
            if mark.epoch == reached {
                batches[mark.at as usize].pending += 1;
                continue;
            }
            *mark = Mark { epoch: reached, at: narrow(batches.len()) };
            batches.push(Found { batch, first: 0, pending: 1, yields_seed: false, mg: 0.0 });
            for &used in self.uses_in.of(batch.0) {
                let mark = &mut lot_marks[used.0 as usize];
                if mark.epoch == reached {
                    pending[mark.at as usize] += 1;
                    continue;
                }
                let at = narrow(lots.len());
                *mark = Mark { epoch: reached, at };
                lots.push(used);
                pending.push(1);
                via.push(from);
                if wanted(used) {
                    return Some(at);
                }
            }
        }
        None
    }
}

impl Scratch {
    /// The positions from the lot at `found` to the one that was searched from, in order of making.
    pub(crate) fn chain(&self, found: u32) -> impl Iterator<Item = u32> {
        std::iter::successors(Some(found), |at| (*at != 0).then(|| self.via[*at as usize]))
    }

    /// The next lot on the chain after the one at position `at`.
    fn after(&self, at: u32) -> LotIx {
        self.lots[self.via[at as usize] as usize]
    }
}
