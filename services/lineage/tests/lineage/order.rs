//! The same facts in another order are the same facts.

use std::collections::BTreeMap;

use tubtrail_lineage::{BatchIx, Graph, LotIx, Scratch, Share};

use crate::dice::Dice;
use crate::facts::{Facts, assert_balance, assert_close, at, lot};
use crate::random::World;

#[derive(Copy, Clone)]
enum Fact {
    Batch(usize),
    Untracked(usize, i64),
    Lot(usize),
    Found(usize, i64),
    Use(usize),
}

/// A graph told some facts, which of its lots and batches stand for which, and the mistakes in it.
#[derive(Default)]
struct Retold {
    graph: Graph,
    lots: BTreeMap<usize, LotIx>,
    batches: BTreeMap<usize, BatchIx>,
    mistakes: Vec<(LotIx, BatchIx, i64)>,
}

impl Retold {
    /// Tells all the facts in a random order in which every lot and batch is there before it is spoken of, the mass of
    /// lots and of water in two parts, with mistaken uses now and then, which are taken back later.
    fn new(facts: &Facts, dice: &mut Dice) -> Self {
        let mut told = Self::default();
        let mut untold: Vec<Fact> = (0..facts.batches.len()).map(Fact::Batch).collect();
        untold.extend((0..facts.lots.len()).map(Fact::Lot));
        untold.extend((0..facts.uses.len()).map(Fact::Use));
        while !untold.is_empty() {
            let choice = dice.below(untold.len());
            if let Some(rest) = told.tell(facts, untold[choice]) {
                untold.swap_remove(choice);
                untold.extend(rest);
                if dice.one_in(10) {
                    told.err(dice);
                }
            }
        }
        told.take_back();
        told
    }

    /// Tells one fact, if what it speaks of is there, and gives what remains to be told of it.
    fn tell(&mut self, facts: &Facts, fact: Fact) -> Option<Vec<Fact>> {
        match fact {
            Fact::Batch(at) => {
                let batch = self.graph.add_batch();
                self.batches.insert(at, batch);
                let first = facts.batches[at] / 3;
                self.graph.add_untracked(batch, first);
                return Some(vec![Fact::Untracked(at, facts.batches[at] - first)]);
            }
            Fact::Untracked(at, mass) => self.graph.add_untracked(self.batches[&at], mass),
            Fact::Lot(at) => {
                let first = facts.lots[at].mass / 3;
                let lot = match facts.lots[at].maker {
                    Some(maker) => self.graph.add_made_lot(*self.batches.get(&maker)?, first),
                    None => self.graph.add_received_lot(first),
                };
                self.lots.insert(at, lot);
                return Some(vec![Fact::Found(at, facts.lots[at].mass - first)]);
            }
            Fact::Found(at, mass) => {
                let lot = self.lots[&at];
                self.graph.set_mass(lot, self.graph.mass(lot) + mass);
            }
            Fact::Use(at) => {
                let used = facts.uses[at];
                let (lot, batch) = (*self.lots.get(&used.lot)?, *self.batches.get(&used.batch)?);
                if self.graph.add_use(lot, batch, used.mass).is_err() {
                    // A mistake stands in the way; the truth on its own has no loop.
                    self.take_back();
                    self.graph.add_use(lot, batch, used.mass).unwrap();
                }
            }
        }
        Some(Vec::new())
    }

    /// Writes down a use that never was, unless it is refused.
    fn err(&mut self, dice: &mut Dice) {
        let (lots, batches): (Vec<_>, Vec<_>) = (self.lots.values().collect(), self.batches.values().collect());
        if lots.is_empty() || batches.is_empty() {
            return;
        }
        let (lot, batch) = (*lots[dice.below(lots.len())], *batches[dice.below(batches.len())]);
        let mass = dice.mass();
        if self.graph.add_use(lot, batch, mass).is_ok() {
            self.mistakes.push((lot, batch, mass));
        }
    }

    fn take_back(&mut self) {
        for (lot, batch, mass) in self.mistakes.drain(..) {
            self.graph.void_use(lot, batch, mass).unwrap();
        }
    }

    /// Some shares by the numbers that the lots have in `facts`.
    fn by_fact(&self, shares: &[Share]) -> Vec<(usize, f64)> {
        let numbers: BTreeMap<LotIx, usize> = self.lots.iter().map(|(at, lot)| (*lot, *at)).collect();
        let mut list: Vec<_> = shares.iter().map(|share| (numbers[&share.lot], share.mg)).collect();
        list.sort_by_key(|(lot, _)| *lot);
        list
    }
}

#[track_caller]
fn assert_alike(found: &[(usize, f64)], expected: &[(usize, f64)]) {
    assert!(found.iter().map(|(lot, _)| lot).eq(expected.iter().map(|(lot, _)| lot)), "other lots");
    for ((lot, found), (_, expected)) in found.iter().zip(expected) {
        assert_close(*found, *expected, &format!("lot {lot}"));
    }
}

#[test]
fn the_order_of_telling_changes_no_answer() {
    for seed in 101..=106 {
        let mut dice = Dice::new(seed);
        let mut world = World::new();
        for _ in 0..1_000 {
            world.step(&mut dice);
        }
        let facts = &world.facts;
        let mut scratch = Scratch::new();
        let mut tellings = vec![
            Retold::new(facts, &mut dice),
            Retold::new(facts, &mut dice),
            Retold {
                graph: world.graph,
                lots: (0..facts.lots.len()).map(|at| (at, lot(at))).collect(),
                ..Retold::default()
            },
        ];
        let straight = facts.graph();
        let numbered = |shares: &[Share]| {
            let mut list: Vec<_> = shares.iter().map(|share| (at(share.lot), share.mg)).collect();
            list.sort_by_key(|(lot, _)| *lot);
            list
        };
        for _ in 0..40 {
            let seeds = [(); 3].map(|()| dice.below(facts.lots.len()));
            let shares = numbered(straight.shares(&mut scratch, &seeds.map(lot)));
            let balance = straight.balance(&mut scratch, &seeds.map(lot));
            let origins = numbered(straight.origins(&mut scratch, lot(seeds[0])));
            let chain = straight.path(&mut scratch, lot(seeds[1]), lot(seeds[0])).map(|path| path.len());
            for told in &mut tellings {
                let theirs = seeds.map(|seed| told.lots[&seed]);
                assert_alike(&told.by_fact(told.graph.shares(&mut scratch, &theirs)), &shares);
                assert_balance(told.graph.balance(&mut scratch, &theirs), balance);
                assert_alike(&told.by_fact(told.graph.origins(&mut scratch, theirs[0])), &origins);
                let path = told.graph.path(&mut scratch, theirs[1], theirs[0]);
                assert_eq!(path.map(|path| path.len()), chain);
            }
        }
    }
}
