//! What the graph says of a recall, copied out of it at one moment. Rows are read afterwards, so that nobody waits for the
//! database while the graph is held.

use std::collections::{HashMap, HashSet};

use tubtrail_lineage::{Graph, LotIx, Reach, Scratch};
use tubtrail_storage::AnyConnection;
use tubtrail_storage::recalls::{RecallRow, seeds_of};

use super::apportion::apportion;
use crate::error::Result;
use crate::index::{Index, Inside, lot_row, lots_of_seeds};
use crate::tubtrail::Tubtrail;

/// How far the parts may be from the whole by rounding of doubles, as a part of the whole.
const TOLERANCE: f64 = 1e-9;

/// A recall without its rows.
pub(super) struct Outline {
    /// The journal entry it was drawn at.
    pub position: i64,
    /// Every lot it reaches, in order of row.
    pub lots: Vec<Reached>,
    /// How many of them it begins with.
    pub seeds: usize,
    /// What it begins with, as the graph has it: what came to be, and what counts found beyond that, in milligrams.
    pub seed_mg: i64,
    /// What of the seeds was lost in the making, in milligrams.
    pub lost_mg: i64,
    /// What lies in batches that have yielded nothing yet, in milligrams.
    pub in_open_batches_mg: i64,
    /// What went from seeds into other seeds and stands twice in `seed_mg`, in milligrams.
    pub in_seeds_mg: i64,
    /// What the records do not account for, in milligrams; rounding is no part of it.
    pub difference_mg: i64,
}

/// A lot that a recall reaches.
#[derive(Clone, Copy)]
pub(super) struct Reached {
    /// Row id.
    pub row: i64,
    /// Milligrams of the seeds that are in it and went into no batch, wherever it is.
    pub seed_mg: i64,
    /// It is reached by contact alone, so that nobody knows how much is in it.
    pub by_contact: bool,
    /// The recall begins with it.
    pub is_seed: bool,
}

impl Tubtrail {
    /// Draws a recall from an index that holds everything up to now.
    pub(super) fn outline_of(&self, conn: &mut AnyConnection, row: &RecallRow) -> Result<Outline> {
        let index = self.current_index(conn)?;
        Outline::draw(conn, index, row)
    }
}

impl Outline {
    /// Draws a recall as it is now.
    pub fn draw(conn: &mut AnyConnection, index: &Index, row: &RecallRow) -> Result<Self> {
        let known = index.look(|inside, scratch| {
            let recalled = inside.recalls.get(row.id)?;
            Some(Self::of(inside, scratch, &recalled.reach))
        });
        if let Some(outline) = known {
            return Ok(outline);
        }
        // One that holds nothing any more is not kept up with the graph.
        let seeds = seeds_of(conn, row.id)?;
        let position = index.look(|inside, _| inside.position);
        let lots = lots_of_seeds(conn, &seeds, position)?;
        Ok(index.look(|inside, scratch| {
            let reach = Reach::of(&inside.graph, &lots, row.with_contact);
            Self::of(inside, scratch, &reach)
        }))
    }

    /// Draws what some lots reach.
    pub fn of(inside: &Inside, scratch: &mut Scratch, reach: &Reach) -> Self {
        let (graph, seeds) = (&inside.graph, reach.seeds());
        let mut outline = Self {
            position: inside.position,
            lots: Vec::with_capacity(reach.len()),
            seeds: seeds.len(),
            seed_mg: seeds.iter().map(|lot| graph.mass(*lot)).sum(),
            lost_mg: 0,
            in_open_batches_mg: 0,
            in_seeds_mg: 0,
            difference_mg: 0,
        };
        if seeds.is_empty() {
            return outline;
        }
        let held: HashMap<LotIx, f64> =
            graph.shares(scratch, seeds).iter().map(|share| (share.lot, share.mg * rest(graph, share.lot))).collect();
        let balance = graph.balance(scratch, seeds);
        let is_seed: HashSet<LotIx> = seeds.iter().copied().collect();
        outline.lots.extend(reach.lots().map(|lot| Reached {
            row: lot_row(lot),
            seed_mg: 0,
            by_contact: reach.by_contact_only(lot),
            is_seed: is_seed.contains(&lot),
        }));
        let weights: Vec<f64> = reach.lots().map(|lot| held.get(&lot).copied().unwrap_or(0.0)).collect();
        outline.divide(&weights, [balance.lost_mg, balance.in_batches_mg, balance.in_seeds_mg]);
        outline
    }

    /// Makes whole milligrams of the shares, which together are all that it begins with.
    #[expect(clippy::cast_possible_truncation, clippy::cast_precision_loss, reason = "milligrams are far below 2^53")]
    fn divide(&mut self, held: &[f64], gone: [f64; 3]) {
        let weights: Vec<f64> = held.iter().chain(&gone).copied().collect();
        let missing = self.seed_mg as f64 - weights.iter().sum::<f64>();
        if missing.abs() > 1.0 + TOLERANCE * self.seed_mg as f64 {
            self.difference_mg = missing.round() as i64;
        }
        let parts = apportion(self.seed_mg - self.difference_mg, &weights);
        let (held, gone) = parts.split_at(held.len());
        for (lot, seed_mg) in self.lots.iter_mut().zip(held) {
            lot.seed_mg = *seed_mg;
        }
        if let [lost, in_batches, in_seeds] = *gone {
            (self.lost_mg, self.in_open_batches_mg, self.in_seeds_mg) = (lost, in_batches, in_seeds);
        }
    }

    /// Its lots by row, in order.
    pub fn rows(&self) -> impl ExactSizeIterator<Item = i64> {
        self.lots.iter().map(|lot| lot.row)
    }
}

/// What fraction of a lot went into no batch.
#[expect(clippy::cast_precision_loss, reason = "milligrams are far below 2^53")]
fn rest(graph: &Graph, lot: LotIx) -> f64 {
    let used: i64 = graph.uses_of(lot).map(|(_, mg)| mg).sum();
    let whole = graph.mass(lot).max(used);
    if whole == 0 { 1.0 } else { (whole - used) as f64 / whole as f64 }
}
