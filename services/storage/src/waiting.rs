//! Rows that wait for the end of their transaction, to be written together: of tables to which no row refers that is written
//! without reading first.

use crate::kept::{Value, insert};
use crate::stock::{HoldRow, MovementRow};
use crate::{AnyConnection, Fact, StorageError};

/// What was recorded and is not in the database yet, in order.
#[derive(Default)]
pub(crate) struct Waiting {
    holds: Vec<HoldRow>,
    movements: Vec<MovementRow>,
}

/// How much was waiting at a moment.
#[derive(Clone, Copy, Debug, Default)]
pub(crate) struct Mark {
    holds: usize,
    movements: usize,
}

impl Waiting {
    /// What waits now.
    pub fn mark(&self) -> Mark {
        Mark { holds: self.holds.len(), movements: self.movements.len() }
    }

    /// Forgets what came after a moment.
    pub fn take_back(&mut self, to: Mark) {
        self.holds.truncate(to.holds);
        self.movements.truncate(to.movements);
    }

    /// Takes in a hold.
    pub fn hold(&mut self, row: HoldRow) {
        self.holds.push(row);
    }

    /// Takes in a movement.
    pub fn movement(&mut self, row: MovementRow) {
        self.movements.push(row);
    }

    /// Writes what waited at a moment; what came after it goes on waiting. Whether there was anything.
    pub fn write(&mut self, conn: &mut AnyConnection, until: Mark) -> Result<bool, StorageError> {
        write(conn, &mut self.holds, until.holds, |row| {
            vec![(&row.id).into(), (&row.entry).into(), (&row.lot_id).into(), (&row.reason).into()]
        })?;
        write(conn, &mut self.movements, until.movements, |row| {
            vec![
                (&row.id).into(),
                (&row.entry).into(),
                (&row.lot_id).into(),
                (&row.kind).into(),
                (&row.from_site_id).into(),
                (&row.from_state).into(),
                (&row.to_site_id).into(),
                (&row.to_state).into(),
                (&row.mass_mg).into(),
                (&row.occurred_at).into(),
                (&row.reason).into(),
                (&row.use_id).into(),
                (&row.transfer_id).into(),
                (&row.count_id).into(),
                (&row.partner_id).into(),
                (&row.document).into(),
            ]
        })?;
        Ok(until.holds + until.movements > 0)
    }
}

fn write<F: Fact>(
    conn: &mut AnyConnection,
    rows: &mut Vec<F>,
    until: usize,
    values: impl Fn(&F) -> Vec<Value<'_>>,
) -> Result<(), StorageError> {
    insert(conn, F::TABLE, F::COLUMNS, &rows[..until], values)?;
    rows.drain(..until);
    Ok(())
}
