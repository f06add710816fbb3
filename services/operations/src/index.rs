//! The lot graph in memory, kept up with the journal. It can be dropped and rebuilt at any time.

use std::collections::HashMap;

use parking_lot::{Mutex, RwLock};
use tubtrail_lineage::{BatchIx, Graph, LotIx, Scratch};
use tubtrail_storage::lots::{GraphUse, graph_changes};
use tubtrail_storage::stock::found_after;
use tubtrail_storage::{AnyConnection, Follower, StorageError, journal};

/// The graph and how far it has followed the journal.
#[derive(Default)]
pub struct Index {
    inside: RwLock<Inside>,
    // Only one at a time reads the news.
    following: Mutex<()>,
    scratch: Mutex<Vec<Scratch>>,
    listeners: Mutex<Vec<Listener>>,
}

/// Is told each new position of the index, on the thread that brought it there; it must not wait for anything.
pub(crate) type Listener = Box<dyn Fn(i64) + Send + Sync>;

/// What the index holds at one position of the journal.
#[derive(Default)]
pub struct Inside {
    /// The graph; a lot's index is its row id less one.
    pub graph: Graph,
    /// The last journal entry it holds.
    pub position: i64,
    batch_of_row: HashMap<i64, BatchIx>,
    row_of_batch: Vec<i64>,
}

impl Index {
    /// Looks into the graph with a scratchpad of one's own. Do not read the database meanwhile: writers wait.
    pub fn look<T>(&self, look: impl FnOnce(&Inside, &mut Scratch) -> T) -> T {
        let mut scratch = self.scratch.lock().pop().unwrap_or_default();
        let answer = look(&self.inside.read(), &mut scratch);
        self.scratch.lock().push(scratch);
        answer
    }

    /// Tells `listener` of every new position from now on.
    pub(crate) fn tell(&self, listener: Listener) {
        self.listeners.lock().push(listener);
    }
}

impl Follower for Index {
    fn position(&self) -> i64 {
        self.inside.read().position
    }

    fn catch_up(&self, conn: &mut AnyConnection) -> Result<(), StorageError> {
        let _one_at_a_time = self.following.lock();
        let after = self.position();
        let until = journal::position(conn)?;
        if until <= after {
            return Ok(());
        }
        let changes = graph_changes(conn, after, until)?;
        let found = found_after(conn, after, until)?;
        let mut inside = self.inside.write();
        for row in changes.batches {
            inside.add_batch(row);
        }
        for (row, batch, mass_mg) in changes.lots {
            inside.add_lot(row, batch, mass_mg)?;
        }
        for (batch, mass_mg) in changes.untracked {
            let batch = inside.batch(batch)?;
            inside.graph.add_untracked(batch, mass_mg);
        }
        for (lot, mass_mg) in found {
            inside.graph.add_mass(lot_ix(lot)?, mass_mg);
        }
        inside.add_uses(&changes.uses, &changes.voids)?;
        inside.position = until;
        drop(inside);
        for listener in self.listeners.lock().iter() {
            listener(until);
        }
        Ok(())
    }
}

impl Inside {
    /// The index of a batch's row.
    pub fn batch(&self, row: i64) -> Result<BatchIx, StorageError> {
        self.batch_of_row.get(&row).copied().ok_or_else(|| StorageError::Corrupt(format!("batch {row} is unknown")))
    }

    /// The row of a batch.
    pub fn batch_row(&self, batch: BatchIx) -> i64 {
        self.row_of_batch[batch.index() as usize]
    }

    fn add_batch(&mut self, row: i64) {
        let batch = self.graph.add_batch();
        self.batch_of_row.insert(row, batch);
        self.row_of_batch.push(row);
    }

    fn add_lot(&mut self, row: i64, batch: Option<i64>, mass_mg: i64) -> Result<(), StorageError> {
        let lot = match batch {
            Some(batch) => {
                let batch = self.batch(batch)?;
                self.graph.add_made_lot(batch, mass_mg)
            }
            None => self.graph.add_received_lot(mass_mg),
        };
        if lot == lot_ix(row)? {
            Ok(())
        } else {
            Err(StorageError::Corrupt(format!("lot rows are not dense at {row}")))
        }
    }

    /// Uses and voids in the order in which they were written: a use may only be possible because another was voided.
    fn add_uses(&mut self, uses: &[GraphUse], voids: &[(i64, GraphUse)]) -> Result<(), StorageError> {
        let mut voids = voids.iter().peekable();
        for one in uses {
            while let Some((_, voided)) = voids.next_if(|(row, _)| *row < one.id) {
                self.void(voided)?;
            }
            let batch = self.batch(one.batch_id)?;
            self.graph
                .add_use(lot_ix(one.lot_id)?, batch, one.mass_mg)
                .map_err(|_| StorageError::Corrupt(format!("use {} closes a loop", one.id)))?;
        }
        voids.try_for_each(|(_, voided)| self.void(voided))
    }

    fn void(&mut self, voided: &GraphUse) -> Result<(), StorageError> {
        let batch = self.batch(voided.batch_id)?;
        self.graph
            .void_use(lot_ix(voided.lot_id)?, batch, voided.mass_mg)
            .map_err(|_| StorageError::Corrupt(format!("use {} is not in the graph", voided.id)))
    }
}

/// The index of a lot's row.
pub fn lot_ix(row: i64) -> Result<LotIx, StorageError> {
    u32::try_from(row - 1).map(LotIx::from_index).map_err(|_| StorageError::Corrupt(format!("lot row {row}")))
}

/// The row of a lot.
pub fn lot_row(lot: LotIx) -> i64 {
    i64::from(lot.index()) + 1
}
