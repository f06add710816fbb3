//! What the graph says of a trace, copied out of it at one moment: which lots, how much, how many steps away. Rows are read
//! afterwards, so that nobody waits for the database while the graph is held.

use std::collections::{HashMap, HashSet};
use std::ops::Range;

use tubtrail_lineage::{Balance, BatchIx, Graph, LotIx, Share};

use super::Direction;
use crate::index::{Index, Inside, lot_row};

/// Most uses on one page; a page with as many ends early.
const MOST_USES: usize = 10_000;

/// A trace without its rows.
pub(super) struct Outline {
    /// The journal entry it was drawn at.
    pub position: i64,
    /// Every lot it comes to, in order.
    pub lots: Vec<Traced>,
    /// Where the mass of the seeds is, forward only.
    pub balance: Option<Balance>,
    details: Details,
}

/// A lot of a trace.
pub(super) struct Traced {
    /// Which.
    pub lot: LotIx,
    /// Milligrams of the seeds in it, or of it in the lot that was traced back.
    pub mg: f64,
    /// How many batches away it is, by the shortest way.
    pub generation: u32,
}

/// More of some lots of a trace: those on the page.
struct Details {
    range: Range<usize>,
    mass_mg: Vec<i64>,
    /// Where the uses of each lot end.
    ends: Vec<usize>,
    /// Batch row and milligrams.
    uses: Vec<(i64, i64)>,
}

/// Which part of the answer is asked for.
#[derive(Clone, Copy)]
pub(super) enum Part {
    /// So many lots from this one on.
    Page { from: usize, most: usize },
    /// All of it.
    Whole,
}

impl Outline {
    /// Draws it: forward from the seeds, or backward from the first of them.
    pub fn draw(index: &Index, direction: Direction, seeds: &[LotIx], part: Part) -> Self {
        index.look(|inside, scratch| {
            let graph = &inside.graph;
            let (shares, balance) = match (direction, seeds.first()) {
                (_, None) => (Vec::new(), Some(Balance::default())),
                (Direction::Forward, Some(_)) => {
                    (graph.shares(scratch, seeds).to_vec(), Some(graph.balance(scratch, seeds)))
                }
                (Direction::Backward, Some(lot)) => (graph.origins(scratch, *lot).to_vec(), None),
            };
            let (generations, batches) = match direction {
                Direction::Forward => steps_forward(graph, &shares, seeds),
                Direction::Backward => steps_backward(graph, &shares),
            };
            let details = Details::copy(inside, &shares, &batches, part);
            let lots = shares.iter().zip(generations).map(|(share, generation)| Traced {
                lot: share.lot,
                mg: share.mg,
                generation,
            });
            Self { position: inside.position, lots: lots.collect(), balance, details }
        })
    }

    /// The lots of which more is known: the page, or all.
    pub fn detailed(&self) -> Range<usize> {
        self.details.range.clone()
    }

    /// The mass of the lot at a detailed position, with what counts found later, in milligrams.
    pub fn mass_mg(&self, at: usize) -> i64 {
        self.details.mass_mg[at - self.details.range.start]
    }

    /// The uses by which the lot at a detailed position takes part in the trace: batch row and milligrams.
    pub fn uses(&self, at: usize) -> &[(i64, i64)] {
        let at = at - self.details.range.start;
        let begin = if at == 0 { 0 } else { self.details.ends[at - 1] };
        &self.details.uses[begin..self.details.ends[at]]
    }

    /// Its lots by row, in order.
    pub fn rows(&self) -> impl ExactSizeIterator<Item = i64> {
        self.lots.iter().map(|lot| lot_row(lot.lot))
    }
}

impl Details {
    fn copy(inside: &Inside, shares: &[Share], batches: &HashSet<BatchIx>, part: Part) -> Self {
        let (from, most, most_uses) = match part {
            Part::Page { from, most } => (from.min(shares.len()), most, MOST_USES),
            Part::Whole => (0, shares.len(), usize::MAX),
        };
        let mut details = Self { range: from..from, mass_mg: Vec::new(), ends: Vec::new(), uses: Vec::new() };
        for share in shares[from..].iter().take(most) {
            if details.uses.len() >= most_uses {
                break;
            }
            let uses = inside.graph.uses_of(share.lot).filter(|(batch, _)| batches.contains(batch));
            details.uses.extend(uses.map(|(batch, mg)| (inside.batch_row(batch), mg)));
            details.ends.push(details.uses.len());
            details.mass_mg.push(inside.graph.mass(share.lot));
            details.range.end += 1;
        }
        details
    }
}

/// How many batches each lot is away from the seeds, and the batches on the way. The lots come in order of distance.
fn steps_forward(graph: &Graph, shares: &[Share], seeds: &[LotIx]) -> (Vec<u32>, HashSet<BatchIx>) {
    let seeds: HashSet<LotIx> = seeds.iter().copied().collect();
    let mut reached: HashMap<BatchIx, u32> = HashMap::new();
    let mut steps = Vec::with_capacity(shares.len());
    for share in shares {
        let made_by = if seeds.contains(&share.lot) { None } else { graph.made_by(share.lot) };
        let here = made_by.and_then(|batch| reached.get(&batch).copied()).unwrap_or(0);
        for (batch, _) in graph.uses_of(share.lot) {
            reached.entry(batch).or_insert(here + 1);
        }
        steps.push(here);
    }
    (steps, reached.into_keys().collect())
}

/// How many batches each lot is away from the first, and the batches on the way.
fn steps_backward(graph: &Graph, shares: &[Share]) -> (Vec<u32>, HashSet<BatchIx>) {
    let mut reached: HashMap<LotIx, u32> = HashMap::new();
    let mut batches = HashSet::new();
    let mut steps = Vec::with_capacity(shares.len());
    for share in shares {
        let here = reached.get(&share.lot).copied().unwrap_or(0);
        if let Some(batch) = graph.made_by(share.lot)
            && batches.insert(batch)
        {
            for (lot, _) in graph.uses_in(batch) {
                reached.entry(lot).or_insert(here + 1);
            }
        }
        steps.push(here);
    }
    (steps, batches)
}
