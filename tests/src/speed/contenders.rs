//! The same world in memory three times: our graph, static compressed rows, and petgraph.

use petgraph::Direction;
use petgraph::graph::{DiGraph, NodeIndex};
use tubtrail_lineage::{BatchIx, Graph, LotIx};

use crate::reference::{Batch, Listener, Made, Received, Size, Use, tell};

/// What was told of a world, as far as it concerns the graph. Lots and batches are numbered from 0.
#[derive(Default)]
pub struct Told {
    /// By lot: which batch made it, and milligrams.
    pub lots: Vec<(Option<u32>, i64)>,
    /// By lot received: day and ingredient.
    pub received: Vec<(u32, u32, u32)>,
    /// Tubs.
    pub tubs: Vec<u32>,
    /// Lot, batch and milligrams.
    pub uses: Vec<(u32, u32, i64)>,
    /// How many batches.
    pub batches: u32,
}

impl Told {
    /// Listens to the story of a world.
    pub fn of(size: Size, seed: u64) -> Self {
        let mut told = Self::default();
        tell(size, seed, &mut told);
        told
    }

    /// So many received lots, picked at random.
    pub fn some_received(&self, count: usize, dice: &mut fastrand::Rng) -> Vec<u32> {
        (0..count).map(|_| self.received[dice.usize(..self.received.len())].0).collect()
    }

    /// So many tubs, picked at random.
    pub fn some_tubs(&self, count: usize, dice: &mut fastrand::Rng) -> Vec<u32> {
        (0..count).map(|_| self.tubs[dice.usize(..self.tubs.len())]).collect()
    }

    /// The edges of the graph, lots first and batches after them: into a batch, and out of it.
    pub fn edges(&self) -> impl Iterator<Item = (u32, u32)> + Clone + '_ {
        let first_batch = self.first_batch();
        let into = self.uses.iter().map(move |(lot, batch, _)| (*lot, first_batch + batch));
        let made = (0..).zip(&self.lots).filter_map(move |(lot, (maker, _))| Some((first_batch + (*maker)?, lot)));
        into.chain(made)
    }

    /// Lots and batches together.
    pub fn nodes(&self) -> usize {
        self.lots.len() + self.batches as usize
    }

    /// The node of the first batch.
    pub fn first_batch(&self) -> u32 {
        u32::try_from(self.lots.len()).unwrap_or(u32::MAX)
    }

    /// Our graph, one fact after the other. What a server makes of all at once when it starts is a little quicker to trace.
    pub fn graph(&self) -> Graph {
        let mut graph = Graph::new();
        for _ in 0..self.batches {
            graph.add_batch();
        }
        for (maker, mass_mg) in &self.lots {
            match maker {
                Some(batch) => graph.add_made_lot(BatchIx::from_index(*batch), *mass_mg),
                None => graph.add_received_lot(*mass_mg),
            };
        }
        for (lot, batch, mass_mg) in &self.uses {
            let added = graph.add_use(LotIx::from_index(*lot), BatchIx::from_index(*batch), *mass_mg);
            assert!(added.is_ok(), "the story has no loops");
        }
        graph
    }
}

impl Listener for Told {
    fn received(&mut self, received: Received) {
        self.lots.push((None, received.mass_mg));
        self.received.push((received.lot - 1, received.day, received.ingredient));
    }

    fn batch(&mut self, batch: Batch) {
        self.batches = batch.batch;
    }

    fn used(&mut self, used: Use) {
        self.uses.push((used.lot - 1, self.batches - 1, used.mass_mg));
    }

    fn made(&mut self, made: Made) {
        self.lots.push((Some(self.batches - 1), made.mass_mg));
        if made.kind == "tub" {
            self.tubs.push(made.lot - 1);
        }
    }
}

/// The neighbours of each node in one array, and where those of each begin: as compact as it gets, and it cannot grow.
pub struct Rows {
    begins: Vec<u32>,
    neighbours: Vec<u32>,
}

impl Rows {
    /// From the edges, which are gone through twice.
    pub fn of(nodes: usize, edges: impl Iterator<Item = (u32, u32)> + Clone) -> Self {
        let mut begins = vec![0_u32; nodes + 1];
        for (from, _) in edges.clone() {
            begins[from as usize + 1] += 1;
        }
        for node in 0..nodes {
            begins[node + 1] += begins[node];
        }
        let mut free = begins.clone();
        let mut neighbours = vec![0; begins[nodes] as usize];
        for (from, to) in edges {
            neighbours[free[from as usize] as usize] = to;
            free[from as usize] += 1;
        }
        Self { begins, neighbours }
    }

    fn of_node(&self, node: u32) -> &[u32] {
        &self.neighbours[self.begins[node as usize] as usize..self.begins[node as usize + 1] as usize]
    }
}

/// Breadth-first search with marks that need no clearing.
#[derive(Default)]
pub struct Search {
    marks: Vec<u32>,
    mark: u32,
    queue: Vec<u32>,
}

impl Search {
    /// For a graph of so many nodes.
    pub fn new(nodes: usize) -> Self {
        Self { marks: vec![0; nodes], ..Self::default() }
    }

    /// Every node that can be reached in static rows from any of some, each of which is named once.
    pub fn in_rows(&mut self, rows: &Rows, from: &[u32]) -> &[u32] {
        self.go(from, |node| rows.of_node(node).iter().copied())
    }

    /// Every node that can be reached in petgraph.
    pub fn in_petgraph(&mut self, graph: &DiGraph<(), ()>, from: u32, direction: Direction) -> &[u32] {
        self.go(&[from], |node| graph.neighbors_directed(NodeIndex::new(node as usize), direction).map(narrow))
    }

    fn go<I: Iterator<Item = u32>>(&mut self, from: &[u32], neighbours: impl Fn(u32) -> I) -> &[u32] {
        self.mark += 1;
        self.queue.clear();
        self.queue.extend_from_slice(from);
        for node in from {
            self.marks[*node as usize] = self.mark;
        }
        let mut next = 0;
        while let Some(node) = self.queue.get(next) {
            next += 1;
            for neighbour in neighbours(*node) {
                let mark = &mut self.marks[neighbour as usize];
                if *mark != self.mark {
                    *mark = self.mark;
                    self.queue.push(neighbour);
                }
            }
        }
        &self.queue
    }
}

fn narrow(node: NodeIndex) -> u32 {
    u32::try_from(node.index()).unwrap_or(u32::MAX)
}

/// The same edges in petgraph.
pub fn petgraph(nodes: usize, edges: impl Iterator<Item = (u32, u32)>) -> DiGraph<(), ()> {
    let mut graph = DiGraph::with_capacity(nodes, 0);
    for _ in 0..nodes {
        graph.add_node(());
    }
    for (from, to) in edges {
        graph.add_edge(NodeIndex::new(from as usize), NodeIndex::new(to as usize), ());
    }
    graph
}
