//! What was written down, as plain lists, and every answer worked out from it the slow way.

use petgraph::graph::{DiGraph, NodeIndex};
use tubtrail_lineage::{Balance, BatchIx, Content, Graph, Loop, LotIx, Use as WholeUse, Whole, WholeLots};

#[derive(Clone, Debug)]
pub struct Lot {
    pub mass: i64,
    pub maker: Option<usize>,
}

#[derive(Copy, Clone, PartialEq, Debug)]
pub struct Use {
    pub lot: usize,
    pub batch: usize,
    pub mass: i64,
}

#[derive(Clone, Default, Debug)]
pub struct Facts {
    pub lots: Vec<Lot>,
    /// By batch, the untracked mass.
    pub batches: Vec<i64>,
    pub uses: Vec<Use>,
}

pub fn lot(index: usize) -> LotIx {
    LotIx::from_index(u32::try_from(index).unwrap())
}

pub fn batch(index: usize) -> BatchIx {
    BatchIx::from_index(u32::try_from(index).unwrap())
}

pub fn at(lot: LotIx) -> usize {
    lot.index() as usize
}

/// A mass as a number; the tests stay far below 2^53 mg.
#[expect(clippy::cast_precision_loss, reason = "test masses are small")]
pub fn mg(mass: i64) -> f64 {
    mass as f64
}

/// Equal within a thousand-millionth of the larger, or of one milligram.
#[track_caller]
pub fn assert_close(found: f64, expected: f64, what: &str) {
    let allowed = 1e-9 * found.abs().max(expected.abs()).max(1.0);
    assert!((found - expected).abs() <= allowed, "{what}: {found} instead of {expected}");
}

#[track_caller]
pub fn assert_balance(found: Balance, expected: Balance) {
    assert_close(found.input_mg, expected.input_mg, "input");
    let slack = 1e-9 * expected.input_mg.max(1.0);
    for (found, expected, what) in [
        (found.held_mg, expected.held_mg, "held"),
        (found.in_batches_mg, expected.in_batches_mg, "in batches"),
        (found.lost_mg, expected.lost_mg, "lost"),
        (found.in_seeds_mg, expected.in_seeds_mg, "in seeds"),
    ] {
        assert!((found - expected).abs() <= slack, "{what}: {found} instead of {expected}");
    }
    let Balance { input_mg, held_mg, in_batches_mg, lost_mg, in_seeds_mg } = found;
    let account = held_mg + in_batches_mg + lost_mg + in_seeds_mg;
    assert!((account - input_mg).abs() <= slack, "{found:?} adds up to {account}");
}

impl Facts {
    /// The graph of these facts, each kind written down in its turn.
    pub fn graph(&self) -> Graph {
        let mut graph = Graph::new();
        for &untracked in &self.batches {
            let added = graph.add_batch();
            graph.add_untracked(added, untracked);
        }
        for Lot { mass, maker } in &self.lots {
            match maker {
                Some(maker) => graph.add_made_lot(batch(*maker), *mass),
                None => graph.add_received_lot(*mass),
            };
        }
        for used in &self.uses {
            graph.add_use(lot(used.lot), batch(used.batch), used.mass).unwrap();
        }
        graph
    }

    /// The graph of these facts, built from all of them at once.
    pub fn whole(&self) -> Result<Graph, Loop> {
        let mut lots = WholeLots::default();
        for (at, Lot { mass, maker }) in self.lots.iter().enumerate() {
            let own = if maker.is_none() { Content::UNKNOWN } else { Content::NOTHING };
            assert_eq!(lots.add(maker.map(batch), *mass, own), lot(at));
        }
        let uses = self.uses.iter();
        let uses = uses.map(|one| WholeUse { lot: lot(one.lot), batch: batch(one.batch), mass_mg: one.mass }).collect();
        let untracked = self.batches.iter().enumerate().map(|(at, mg)| (batch(at), *mg)).collect();
        Graph::of(Whole { batches: self.batches.len(), lots, uses, untracked, ..Whole::default() })
    }

    /// Lots as the first nodes, batches as the others.
    pub fn petgraph(&self) -> DiGraph<(), ()> {
        let mut graph = DiGraph::with_capacity(self.lots.len() + self.batches.len(), self.uses.len());
        for _ in 0..self.lots.len() + self.batches.len() {
            graph.add_node(());
        }
        for (at, made) in self.lots.iter().enumerate() {
            if let Some(maker) = made.maker {
                graph.add_edge(self.batch_node(maker), NodeIndex::new(at), ());
            }
        }
        for used in &self.uses {
            graph.add_edge(NodeIndex::new(used.lot), self.batch_node(used.batch), ());
        }
        graph
    }

    pub fn batch_node(&self, batch: usize) -> NodeIndex {
        NodeIndex::new(self.lots.len() + batch)
    }

    fn outputs(&self, batch: usize) -> impl Iterator<Item = usize> {
        (0..self.lots.len()).filter(move |&lot| self.lots[lot].maker == Some(batch))
    }

    fn used(&self, lot: usize) -> i64 {
        self.uses.iter().filter(|used| used.lot == lot).map(|used| used.mass).sum()
    }

    /// By batch: all that went in, and all that came out.
    fn totals(&self) -> Vec<(i64, i64)> {
        let mut totals: Vec<_> = self.batches.iter().map(|&untracked| (untracked, 0)).collect();
        for used in &self.uses {
            totals[used.batch].0 += used.mass;
        }
        for made in &self.lots {
            if let Some(maker) = made.maker {
                totals[maker].1 += made.mass;
            }
        }
        totals
    }

    /// Shares by lot and contents by batch, by putting every fact through the rules again and again until nothing
    /// changes any more.
    fn contents(&self, seeds: &[usize]) -> (Vec<f64>, Vec<f64>) {
        let totals = self.totals();
        let used: Vec<i64> = (0..self.lots.len()).map(|lot| self.used(lot)).collect();
        let mut shares = vec![0.0; self.lots.len()];
        loop {
            let mut batches = vec![0.0; self.batches.len()];
            for entry in &self.uses {
                let whole = self.lots[entry.lot].mass.max(used[entry.lot]);
                if whole > 0 {
                    batches[entry.batch] += shares[entry.lot] * mg(entry.mass) / mg(whole);
                }
            }
            let mut next = vec![0.0; self.lots.len()];
            for (lot, made) in self.lots.iter().enumerate() {
                if seeds.contains(&lot) {
                    next[lot] = mg(made.mass);
                } else if let Some(maker) = made.maker
                    && made.mass > 0
                {
                    next[lot] = batches[maker] * mg(made.mass) / mg(totals[maker].0.max(totals[maker].1));
                }
            }
            if next == shares {
                return (shares, batches);
            }
            shares = next;
        }
    }

    pub fn shares(&self, seeds: &[usize]) -> Vec<f64> {
        self.contents(seeds).0
    }

    pub fn balance(&self, seeds: &[usize]) -> Balance {
        let (shares, batches) = self.contents(seeds);
        let mut balance = Balance::default();
        for (lot, made) in self.lots.iter().enumerate() {
            let unused = (made.mass - self.used(lot)).max(0);
            if made.mass > 0 {
                balance.held_mg += shares[lot] * mg(unused) / mg(made.mass);
            }
            if seeds.contains(&lot) {
                balance.input_mg += mg(made.mass);
            }
        }
        for (batch, (input, output)) in self.totals().into_iter().enumerate() {
            if self.outputs(batch).next().is_none() {
                balance.in_batches_mg += batches[batch];
            } else if input.max(output) > 0 {
                let each = batches[batch] / mg(input.max(output));
                balance.lost_mg += each * mg((input - output).max(0));
                let seeds = self.outputs(batch).filter(|lot| seeds.contains(lot));
                balance.in_seeds_mg += seeds.map(|lot| each * mg(self.lots[lot].mass)).sum::<f64>();
            }
        }
        balance
    }

    /// By lot, how much of it is in `lot`, in the same way.
    pub fn origins(&self, lot: usize) -> Vec<f64> {
        let totals = self.totals();
        let mut weights = vec![0.0; self.lots.len()];
        loop {
            let mut next = vec![0.0; self.lots.len()];
            next[lot] = mg(self.lots[lot].mass);
            let mut batches = vec![0.0; self.batches.len()];
            for (made, weight) in self.lots.iter().zip(&weights) {
                if let Some(maker) = made.maker {
                    batches[maker] += weight;
                }
            }
            for used in &self.uses {
                let (input, output) = totals[used.batch];
                if input.max(output) > 0 {
                    next[used.lot] += batches[used.batch] * mg(used.mass) / mg(input.max(output));
                }
            }
            if next == weights {
                return weights;
            }
            weights = next;
        }
    }
}
