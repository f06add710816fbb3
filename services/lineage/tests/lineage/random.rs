//! Grown at random, with everything written down late or wrong, and compared with the plain lists all the while.

use std::collections::BTreeSet;

use petgraph::algo::{dijkstra, is_cyclic_directed, toposort};
use petgraph::graph::NodeIndex;
use petgraph::visit::Reversed;
use tubtrail_lineage::{Graph, Loop, LotIx, Scratch};

use crate::dice::Dice;
use crate::facts::{Facts, Lot, Use, assert_balance, assert_close, at, batch, lot};

/// A graph, the facts it was told, and the dice it is grown by.
pub struct World {
    pub graph: Graph,
    pub facts: Facts,
    pub refused: usize,
    pub voided: usize,
    scratch: Scratch,
}

impl World {
    pub fn new() -> Self {
        Self { graph: Graph::new(), facts: Facts::default(), refused: 0, voided: 0, scratch: Scratch::new() }
    }

    pub fn step(&mut self, dice: &mut Dice) {
        if dice.one_in(25) {
            // As after a new start: from then on it grows like any other.
            self.graph = self.facts.whole().unwrap();
        }
        match dice.below(20) {
            0..3 => {
                let mass = dice.mass();
                assert_eq!(self.graph.add_received_lot(mass), lot(self.facts.lots.len()));
                self.facts.lots.push(Lot { mass, maker: None });
            }
            3..5 => {
                assert_eq!(self.graph.add_batch(), batch(self.facts.batches.len()));
                self.facts.batches.push(0);
            }
            5..9 if !self.facts.batches.is_empty() => {
                let (mass, maker) = (dice.mass(), dice.recent(self.facts.batches.len()));
                assert_eq!(self.graph.add_made_lot(batch(maker), mass), lot(self.facts.lots.len()));
                self.facts.lots.push(Lot { mass, maker: Some(maker) });
            }
            9..17 if !self.facts.batches.is_empty() && !self.facts.lots.is_empty() => {
                let (from, into) = (dice.recent(self.facts.lots.len()), dice.recent(self.facts.batches.len()));
                self.add_use(Use { lot: from, batch: into, mass: dice.mass() / 4 });
            }
            17 if !self.facts.uses.is_empty() => {
                let Use { lot: from, batch: into, mass } =
                    self.facts.uses.swap_remove(dice.below(self.facts.uses.len()));
                self.graph.void_use(lot(from), batch(into), mass).unwrap();
                self.voided += 1;
            }
            18 if !self.facts.lots.is_empty() => {
                let (counted, mass) = (dice.below(self.facts.lots.len()), dice.mass());
                self.graph.set_mass(lot(counted), mass);
                self.facts.lots[counted].mass = mass;
            }
            19 if !self.facts.batches.is_empty() => {
                let (thinner, mass) = (dice.below(self.facts.batches.len()), dice.mass());
                self.graph.add_untracked(batch(thinner), mass);
                self.facts.batches[thinner] += mass;
            }
            _ => {}
        }
    }

    /// Takes the use if it closes no loop by petgraph's reckoning, and holds the graph to the same.
    fn add_use(&mut self, used: Use) {
        let mut graph = self.facts.petgraph();
        graph.add_edge(NodeIndex::new(used.lot), self.facts.batch_node(used.batch), ());
        let foretold = self.graph.would_loop(&mut self.scratch, lot(used.lot), batch(used.batch));
        let done = self.graph.add_use(lot(used.lot), batch(used.batch), used.mass);
        assert_eq!(done.is_err(), is_cyclic_directed(&graph), "{used:?}");
        assert_eq!(foretold.as_ref(), done.as_ref().err());
        let Err(refused) = done else {
            self.facts.uses.push(used);
            return;
        };
        self.facts.uses.push(used);
        self.check_circle(self.facts.whole().unwrap_err());
        self.facts.uses.pop();
        self.refused += 1;
        let chain = refused.lots;
        assert_eq!(self.facts.lots[at(chain[0])].maker, Some(used.batch));
        assert_eq!(chain.last(), Some(&lot(used.lot)));
        for pair in chain.windows(2) {
            let maker = self.facts.lots[at(pair[1])].maker.expect("made");
            assert!(self.facts.uses.iter().any(|used| used.lot == at(pair[0]) && used.batch == maker), "{pair:?}");
        }
        let distances = dijkstra(&graph, self.facts.batch_node(used.batch), None, |_| 1);
        assert_eq!(chain.len(), distances[&NodeIndex::new(used.lot)] / 2 + 1, "a shortest chain");
    }

    /// Every lot of the circle went into the batch that yielded the next, and the last into the one that yielded the first.
    fn check_circle(&self, found: Loop) {
        let circle = found.lots;
        for (at, lot) in circle.iter().enumerate() {
            let next = circle[(at + 1) % circle.len()];
            let maker = self.facts.lots[next.index() as usize].maker.expect("made");
            let is_used = |used: &Use| used.lot == lot.index() as usize && used.batch == maker;
            assert!(self.facts.uses.iter().any(is_used), "{circle:?}");
        }
    }

    fn check(&mut self, dice: &mut Dice) {
        let (graph, facts) = (&self.graph, &self.facts);
        assert_eq!((graph.lots(), graph.batches()), (facts.lots.len(), facts.batches.len()));
        assert_eq!(graph.uses(), facts.uses.len());
        assert!(toposort(&facts.petgraph(), None).is_ok());
        self.check_lists();
        let seeds: Vec<usize> = (0..=dice.below(4)).map(|_| dice.below(self.facts.lots.len())).collect();
        self.check_forward(&seeds);
        let end = dice.recent(self.facts.lots.len());
        self.check_backward(end, dice);
    }

    /// What is read back is what was written down, in whatever order.
    fn check_lists(&self) {
        let (graph, facts) = (&self.graph, &self.facts);
        for (index, made) in facts.lots.iter().enumerate() {
            assert_eq!(graph.mass(lot(index)), made.mass);
            assert_eq!(graph.made_by(lot(index)), made.maker.map(batch));
        }
        let mut of_lots: Vec<_> =
            (0..facts.lots.len()).flat_map(|l| graph.uses_of(lot(l)).map(move |(b, m)| (lot(l), b, m))).collect();
        let mut in_batches: Vec<_> = (0..facts.batches.len())
            .flat_map(|b| graph.uses_in(batch(b)).map(move |(l, m)| (l, batch(b), m)))
            .collect();
        let mut expected: Vec<_> =
            facts.uses.iter().map(|used| (lot(used.lot), batch(used.batch), used.mass)).collect();
        for list in [&mut of_lots, &mut in_batches, &mut expected] {
            list.sort_unstable();
        }
        assert_eq!(of_lots, expected);
        assert_eq!(in_batches, expected);
        for (index, untracked) in facts.batches.iter().enumerate() {
            assert_eq!(graph.untracked(batch(index)), *untracked);
            let made = (0..facts.lots.len()).filter(|l| facts.lots[*l].maker == Some(index)).map(lot);
            assert!(graph.outputs(batch(index)).eq(made));
        }
    }

    fn check_forward(&mut self, seeds: &[usize]) {
        let seed_lots: Vec<LotIx> = seeds.iter().copied().map(lot).collect();
        let distinct: BTreeSet<usize> = seeds.iter().copied().collect();
        // One node before all the seeds, so that distances are counted from the nearest.
        let mut before = self.facts.petgraph();
        let start = before.add_node(());
        for seed in &distinct {
            before.add_edge(start, NodeIndex::new(*seed), ());
        }
        let distances = dijkstra(&before, start, None, |_| 1);
        let generation = |lot: &LotIx| distances[&NodeIndex::new(at(*lot))];

        let found = self.graph.forward(&mut self.scratch, &seed_lots).to_vec();
        let reached: BTreeSet<usize> = found.iter().copied().map(at).collect();
        let expected = distances.keys().map(|node| node.index()).filter(|node| *node < self.facts.lots.len());
        assert_eq!(reached, expected.collect());
        assert_eq!(found.len(), reached.len(), "each lot once");
        assert_eq!(found[..distinct.len()].iter().copied().map(at).collect::<BTreeSet<_>>(), distinct);
        assert!(found.is_sorted_by_key(generation), "in order of generation");

        let expected = self.facts.shares(seeds);
        let shares = self.graph.shares(&mut self.scratch, &seed_lots);
        assert!(shares.iter().map(|share| share.lot).eq(found));
        for share in shares {
            assert_close(share.mg, expected[at(share.lot)], &format!("{seeds:?} in {:?}", share.lot));
        }
        assert_balance(self.graph.balance(&mut self.scratch, &seed_lots), self.facts.balance(seeds));
    }

    fn check_backward(&mut self, end: usize, dice: &mut Dice) {
        let whole = self.facts.petgraph();
        let distances = dijkstra(Reversed(&whole), NodeIndex::new(end), None, |_| 1);
        let found = self.graph.backward(&mut self.scratch, lot(end)).to_vec();
        let reached: BTreeSet<usize> = found.iter().copied().map(at).collect();
        let expected = distances.keys().map(|node| node.index()).filter(|node| *node < self.facts.lots.len());
        assert_eq!(reached, expected.collect());
        assert_eq!(found.len(), reached.len(), "each lot once");
        assert_eq!(found[0], lot(end));
        assert!(found.is_sorted_by_key(|lot| distances[&NodeIndex::new(at(*lot))]), "in order of generation");

        let expected = self.facts.origins(end);
        let origins = self.graph.origins(&mut self.scratch, lot(end));
        assert!(origins.iter().map(|share| share.lot).eq(found.iter().copied()));
        for share in origins {
            assert_close(share.mg, expected[at(share.lot)], &format!("{:?} in {end}", share.lot));
        }

        for start in [dice.below(self.facts.lots.len()), at(found[dice.below(found.len())])] {
            let path = self.graph.path(&mut self.scratch, lot(start), lot(end));
            let distance = distances.get(&NodeIndex::new(start));
            assert_eq!(path.as_ref().map(|path| 2 * (path.len() - 1)), distance.copied(), "{start} to {end}");
            let Some(path) = path else { continue };
            assert_eq!((path[0].lot, path[path.len() - 1].lot), (lot(start), lot(end)));
            assert_eq!(path[path.len() - 1].batch, None);
            for pair in path.windows(2) {
                let through = pair[0].batch.expect("the chain goes on");
                assert_eq!(self.graph.made_by(pair[1].lot), Some(through));
                assert!(self.graph.uses_in(through).any(|(used, _)| used == pair[0].lot));
            }
        }
    }
}

#[test]
fn a_random_world_agrees_with_its_facts() {
    for seed in 1..=8 {
        let mut dice = Dice::new(seed);
        let mut world = World::new();
        for step in 1..=2_000 {
            world.step(&mut dice);
            if step % 40 == 0 {
                world.check(&mut dice);
            }
        }
        assert!(world.refused > 30 && world.voided > 30, "{} loops, {} voids", world.refused, world.voided);
    }
}
