//! What the graph tells of a lot for its label: everything that was made on the way to it, and what is declared.

use std::collections::{HashMap, HashSet};

use tubtrail_domain::allergens::Declared;
use tubtrail_lineage::BatchIx;
use tubtrail_storage::StorageError;

use crate::index::contents::declares;
use crate::index::{Inside, lot_ix, lot_row};

/// A batch on the way: what went into it and how much came of that, in milligrams.
pub(super) struct Made {
    /// Its row.
    pub batch: i64,
    /// All the lots it yielded together, with what counts found.
    pub weight_mg: i64,
    /// The lots that went in, by row.
    pub uses: Vec<(i64, i64)>,
}

/// What the graph tells of a lot.
pub(super) struct Outline {
    /// Its mass in milligrams, with what counts found.
    pub mass_mg: i64,
    /// What is in it by all that is recorded.
    pub content: Declared,
    /// The batches on the way to it, each after all that went into it; none of a received lot.
    pub making: Vec<Made>,
    /// What is declared of each lot itself, by row.
    pub declared: HashMap<i64, Declared>,
}

impl Outline {
    /// Draws it, without recursion: chains of batches have no bound.
    pub(super) fn draw(inside: &Inside, lot_id: i64) -> Result<Self, StorageError> {
        let graph = &inside.graph;
        let target = lot_ix(lot_id)?;
        let mut outline = Self {
            mass_mg: graph.mass(target),
            content: declares(graph.content(target)),
            making: Vec::new(),
            declared: HashMap::from([(lot_id, declares(graph.declared_of_lot(target)))]),
        };
        let mut seen: HashSet<BatchIx> = HashSet::new();
        let mut waiting: Vec<(BatchIx, bool)> = graph.made_by(target).map(|batch| (batch, false)).into_iter().collect();
        while let Some((batch, is_ready)) = waiting.pop() {
            if is_ready {
                outline.take(inside, batch);
            } else if seen.insert(batch) {
                waiting.push((batch, true));
                let makers = graph.uses_in(batch).filter_map(|(lot, _)| graph.made_by(lot));
                waiting.extend(makers.filter(|maker| !seen.contains(maker)).map(|maker| (maker, false)));
            }
        }
        Ok(outline)
    }

    fn take(&mut self, inside: &Inside, batch: BatchIx) {
        let graph = &inside.graph;
        let mut uses: Vec<(i64, i64)> = Vec::new();
        for (lot, mg) in graph.uses_in(batch) {
            let row = lot_row(lot);
            self.declared.entry(row).or_insert_with(|| declares(graph.declared_of_lot(lot)));
            match uses.iter_mut().find(|(used, _)| *used == row) {
                Some((_, so_far)) => *so_far += mg,
                None => uses.push((row, mg)),
            }
        }
        let weight_mg = graph.outputs(batch).map(|lot| graph.mass(lot)).sum();
        self.making.push(Made { batch: inside.batch_row(batch), weight_mg, uses });
    }

    /// The rows of the batches.
    pub(super) fn batches(&self) -> Vec<i64> {
        self.making.iter().map(|made| made.batch).collect()
    }

    /// The rows of the lots.
    pub(super) fn lots(&self) -> Vec<i64> {
        self.declared.keys().copied().collect()
    }
}
