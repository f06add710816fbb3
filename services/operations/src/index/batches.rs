//! Which batch of the graph a row is.

use tubtrail_lineage::BatchIx;
use tubtrail_storage::StorageError;

/// The rows of the batches, in order: the place of a row is the index of its batch.
#[derive(Default)]
pub(super) struct Batches {
    rows: Vec<i64>,
}

impl Batches {
    /// Of rows in order of id.
    pub fn of(mut rows: Vec<i64>) -> Self {
        rows.shrink_to_fit();
        Self { rows }
    }

    /// Adds the next one.
    pub fn add(&mut self, row: i64) -> Result<(), StorageError> {
        if self.rows.last().is_some_and(|last| *last >= row) {
            return Err(StorageError::Corrupt(format!("batch {row} is not the last one")));
        }
        self.rows.push(row);
        Ok(())
    }

    pub fn len(&self) -> usize {
        self.rows.len()
    }

    /// The index of a row.
    pub fn find(&self, row: i64) -> Result<BatchIx, StorageError> {
        self.rows.binary_search(&row).map(index).map_err(|_| unknown(row))
    }

    /// The row of a batch.
    pub fn row(&self, batch: BatchIx) -> i64 {
        self.rows[batch.index() as usize]
    }

    /// All of them.
    pub fn rows(&self) -> &[i64] {
        &self.rows
    }

    /// Finds one after the other; fast where they come in order.
    pub fn finder(&self) -> Finder<'_> {
        Finder { rows: &self.rows, last: 0 }
    }
}

/// Remembers where the last one was.
pub(super) struct Finder<'b> {
    rows: &'b [i64],
    last: usize,
}

impl Finder<'_> {
    /// The index of a row.
    pub fn find(&mut self, row: i64) -> Result<BatchIx, StorageError> {
        for at in [self.last, self.last + 1] {
            if self.rows.get(at) == Some(&row) {
                self.last = at;
                return Ok(index(at));
            }
        }
        self.last = self.rows.binary_search(&row).map_err(|_| unknown(row))?;
        Ok(index(self.last))
    }
}

fn index(at: usize) -> BatchIx {
    // The graph has fewer: it counts them by the same number.
    BatchIx::from_index(u32::try_from(at).unwrap_or(u32::MAX))
}

fn unknown(row: i64) -> StorageError {
    StorageError::Corrupt(format!("batch {row} is unknown"))
}
