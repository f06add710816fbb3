//! How much of one lot is in another.

use crate::graph::Totals;
use crate::index::narrow;
use crate::{Graph, LotIx, Scratch};

/// How much of something is in a lot, or of a lot in something.
#[derive(Copy, Clone, PartialEq, Debug)]
pub struct Share {
    /// The lot.
    pub lot: LotIx,
    /// Milligrams.
    pub mg: f64,
}

/// Where the mass of some seeds is now: an account of [`Graph::shares`] that comes out even.
///
/// `input_mg = held_mg + in_batches_mg + lost_mg + in_seeds_mg`, but for rounding.
#[derive(Copy, Clone, PartialEq, Default, Debug)]
pub struct Balance {
    /// The mass of the seeds, milligrams.
    pub input_mg: f64,
    /// What lies in lots (the seeds included) and has not gone into any batch, milligrams.
    pub held_mg: f64,
    /// What lies in batches that have yielded nothing yet, milligrams.
    pub in_batches_mg: f64,
    /// What was lost in the making, milligrams: batches that yielded less than went in.
    pub lost_mg: f64,
    /// What went from seeds into other seeds, milligrams. It stands twice in `input_mg`, once in the mass of each, and
    /// is followed further only as part of the latter. Zero unless one seed was made from another.
    pub in_seeds_mg: f64,
}

impl Graph {
    /// How much of the `seeds` each lot was made with that holds any: the lots of [`Graph::forward`] in the same order.
    ///
    /// The share of a seed is its own mass, even if it was made from another seed. A use takes its part of what the lot
    /// holds; should the uses of a lot exceed its mass, they divide among them what there is. A batch mixes evenly, and
    /// what it loses it loses in proportion.
    pub fn shares<'s>(&self, scratch: &'s mut Scratch, seeds: &[LotIx]) -> &'s [Share] {
        self.divide(scratch, seeds);
        &scratch.shares
    }

    /// Where the mass of the `seeds` is now, over all the lots and batches it reached.
    pub fn balance(&self, scratch: &mut Scratch, seeds: &[LotIx]) -> Balance {
        let seeds = self.divide(scratch, seeds);
        let mut balance = Balance::default();
        for share in &scratch.shares[..seeds] {
            balance.input_mg += share.mg;
        }
        for share in &scratch.shares {
            balance.held_mg += share.mg * self.lot_totals(share.lot).rest();
        }
        for found in &scratch.batches {
            let outputs = self.outputs.of(found.batch.0);
            let totals = self.batch_totals(found.batch);
            if outputs.is_empty() {
                balance.in_batches_mg += found.mg;
                continue;
            }
            balance.lost_mg += found.mg * totals.rest();
            if found.yields_seed {
                let of_seeds = outputs.filter(|lot| scratch.is_seed(*lot));
                balance.in_seeds_mg += of_seeds.map(|lot| totals.divide(found.mg) * mg(self.mass(lot))).sum::<f64>();
            }
        }
        balance
    }

    /// How much of every lot that is in `lot` is in it: the lots of [`Graph::backward`] in the same order. `lot` itself
    /// has its whole mass; received lots are where the tracing ends.
    ///
    /// A lot is made of what went into its batch, evenly mixed. Here the masses of the uses count as they were written
    /// down, even where the uses of a lot exceed its mass: this is what the records say the lot was made of.
    pub fn origins<'s>(&self, scratch: &'s mut Scratch, lot: LotIx) -> &'s [Share] {
        self.find_backward(scratch, lot, |_| false);
        let Scratch { lot_marks, batch_marks, lots, batches, pending, ready, shares, .. } = scratch;
        shares.clear();
        shares.extend(lots.iter().map(|&lot| Share { lot, mg: 0.0 }));
        shares[0].mg = mg(self.mass(lot));
        ready.push(0);
        // A lot is ready once every found batch it went into has been settled, a batch once all its found lots have.
        while let Some(at) = ready.pop() {
            let share = shares[at as usize];
            let Some(batch) = self.made_by(share.lot) else { continue };
            let found = &mut batches[batch_marks[batch.0 as usize].at as usize];
            found.mg += share.mg;
            found.pending -= 1;
            if found.pending > 0 {
                continue;
            }
            let part = self.batch_totals(batch).divide(found.mg);
            for (used, used_mg) in self.uses_in.both(batch.0) {
                let at = lot_marks[used.0 as usize].at;
                shares[at as usize].mg += part * mg(used_mg);
                pending[at as usize] -= 1;
                if pending[at as usize] == 0 {
                    ready.push(at);
                }
            }
        }
        shares
    }

    /// Fills `shares` going forward, and `mg` of the batches found; gives the number of seeds, which stand first.
    fn divide(&self, scratch: &mut Scratch, seeds: &[LotIx]) -> usize {
        let seeds = self.find_forward::<true>(scratch, seeds);
        let reached = scratch.epoch;
        let Scratch { lot_marks, batch_marks, lots, batches, ready, shares, .. } = scratch;
        shares.clear();
        shares.extend(lots[..seeds].iter().map(|&lot| Share { lot, mg: mg(self.mass(lot)) }));
        shares.extend(lots[seeds..].iter().map(|&lot| Share { lot, mg: 0.0 }));
        ready.extend(0..narrow(seeds));
        // A lot is ready once its maker has been settled, a batch once all the found lots that went into it have.
        while let Some(at) = ready.pop() {
            let share = shares[at as usize];
            let part = self.lot_totals(share.lot).divide(share.mg);
            for (into, used_mg) in self.used_in.both(share.lot.0) {
                let found = &mut batches[batch_marks[into.0 as usize].at as usize];
                found.mg += part * mg(used_mg);
                found.pending -= 1;
                if found.pending > 0 {
                    continue;
                }
                let part = self.batch_totals(found.batch).divide(found.mg);
                let mut at = found.first;
                for output in self.outputs.of(found.batch.0) {
                    if found.yields_seed && lot_marks[output.0 as usize].epoch == reached {
                        continue;
                    }
                    shares[at as usize].mg = part * mg(self.mass(output));
                    ready.push(at);
                    at += 1;
                }
            }
        }
        seeds
    }
}

impl Totals {
    /// `amount` for each milligram of the whole; nothing where the whole is nothing, and so is every part of it.
    fn divide(self, amount: f64) -> f64 {
        if self.whole == 0 { 0.0 } else { amount / mg(self.whole) }
    }

    /// What fraction of the whole is not in the part.
    fn rest(self) -> f64 {
        if self.whole == 0 { 1.0 } else { mg(self.whole - self.part) / mg(self.whole) }
    }
}

/// A mass as a number to divide. Exact up to nine thousand tonnes, 2^53 mg; beyond that rounded.
#[expect(clippy::cast_precision_loss, reason = "no lot of gelato weighs nine thousand tonnes")]
fn mg(mass: i64) -> f64 {
    mass as f64
}
