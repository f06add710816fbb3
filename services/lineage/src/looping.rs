//! Keeping a lot from containing itself.

use crate::graph::RECEIVED;
use crate::scratch::Mark;
use crate::{BatchIx, Graph, Loop, LotIx, Scratch};

impl Graph {
    /// The loop that using `lot` in `batch` would close, if it would: whether `lot` is, or was made from, something
    /// that `batch` yielded.
    ///
    /// It costs nothing for a batch that has yielded nothing yet, or for a lot that was received: in other words, for
    /// whatever is written down in the order it happened.
    pub fn would_loop(&self, scratch: &mut Scratch, lot: LotIx, batch: BatchIx) -> Option<Loop> {
        self.check_lot(lot);
        self.check_batch(batch);
        if !self.descends(scratch, lot, batch) {
            return None;
        }
        // Known to be there, so this second search is paid for only by the rare refusal.
        let found = self.find_backward(scratch, lot, |lot| self.maker[lot.0 as usize] == batch.0)?;
        Some(Loop { lots: scratch.chain(found).map(|at| scratch.lots[at as usize]).collect() })
    }

    /// Whether `lot` was made, at any remove, by `batch`.
    ///
    /// Searches down from `batch` and up from the maker of `lot` by turns, always on the side that has looked at less,
    /// until they meet or either runs out. A tub has few ancestors and the latest batches few descendants, so one of
    /// the sides is short even where the other is half the graph.
    fn descends(&self, scratch: &mut Scratch, lot: LotIx, batch: BatchIx) -> bool {
        let maker = self.maker[lot.0 as usize];
        if maker == RECEIVED || self.outputs.of(batch.0).is_empty() {
            return false;
        }
        if maker == batch.0 {
            return true;
        }
        let (below, above) = scratch.begin_batches(self);
        let Scratch { batch_marks, ready: down, ready_up: up, .. } = scratch;
        batch_marks[batch.0 as usize] = Mark { epoch: below, at: 0 };
        batch_marks[maker as usize] = Mark { epoch: above, at: 0 };
        down.push(batch.0);
        up.push(maker);
        let (mut seen_down, mut seen_up) = (0, 0);
        loop {
            if seen_up <= seen_down {
                let Some(batch) = up.pop() else { return false };
                let uses = self.uses_in.of(batch);
                seen_up += 1 + uses.len();
                for used in uses {
                    let maker = self.maker[used.0 as usize];
                    if maker != RECEIVED && enter(&mut batch_marks[maker as usize], above, below, maker, up) {
                        return true;
                    }
                }
            } else {
                let Some(batch) = down.pop() else { return false };
                let outputs = self.outputs.of(batch);
                seen_down += 1 + outputs.len();
                for output in outputs {
                    let uses = self.used_in.of(output.0);
                    seen_down += uses.len();
                    for into in uses {
                        if enter(&mut batch_marks[into.0 as usize], below, above, into.0, down) {
                            return true;
                        }
                    }
                }
            }
        }
    }
}

/// Marks a batch as seen from this side, to be looked into if it is new. True if the other side has been there.
fn enter(mark: &mut Mark, this: u32, other: u32, batch: u32, ready: &mut Vec<u32>) -> bool {
    if mark.epoch == other {
        return true;
    }
    if mark.epoch != this {
        mark.epoch = this;
        ready.push(batch);
    }
    false
}
