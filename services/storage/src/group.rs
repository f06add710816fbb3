//! Commands that share a transaction: where each may be taken back to, what is known of the lots they name, and what of them
//! is written together: their journal entries, and rows that can wait.

use std::collections::HashMap;

use diesel::connection::SimpleConnection;
use tubtrail_domain::lot_number::LotNumber;

use crate::journal::{self, Head, JournalRow, Touched};
use crate::standing::{self, StandingRow};
use crate::waiting::{Mark, Waiting};
use crate::write::Key;
use crate::{AnyConnection, StorageError};

/// What the commands of a transaction have come to so far.
pub(crate) struct Group {
    /// The journal's head after the last command that stands.
    pub head: Head,
    /// What the commands that stand wrote to.
    touched: Touched,
    /// Entries of commands that stand, not in the database yet.
    waiting: Vec<JournalRow>,
    /// Those that were written down by the command that runs: with it, they may be taken back.
    in_doubt: Vec<JournalRow>,
    /// Entries by actor and key: those looked up, and those of this group.
    known: HashMap<(String, String), JournalRow>,
    /// The standings of lots that the commands name, as long as nobody wrote anything of them.
    standings: HashMap<LotNumber, StandingRow>,
    /// Rows that can wait.
    pub rows: Waiting,
    /// What waited when the command that runs began.
    began: Mark,
    /// It is alone: what becomes of it becomes of the transaction.
    alone: bool,
    /// The command that runs has a savepoint of its own before it.
    is_saved: bool,
    saved: Saved,
}

/// Where a command may be taken back to.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Saved {
    /// Only the beginning of the transaction.
    Never,
    /// A savepoint, with a command that stands after it.
    Before,
    /// A savepoint, with nothing after it.
    Here,
}

impl Group {
    /// Begins one at a head.
    pub fn at(head: Head, alone: bool) -> Self {
        Self {
            head,
            touched: Touched::default(),
            waiting: Vec::new(),
            in_doubt: Vec::new(),
            known: HashMap::new(),
            standings: HashMap::new(),
            rows: Waiting::default(),
            began: Mark::default(),
            alone,
            is_saved: false,
            saved: Saved::Never,
        }
    }

    /// Looks up which of these commands were done before.
    pub fn look_up(&mut self, conn: &mut AnyConnection, keys: &[(&str, &Key)]) -> Result<(), StorageError> {
        let keys: Vec<_> = keys.iter().map(|(actor, key)| (*actor, key.key.as_str())).collect();
        for row in journal::by_keys(conn, &keys)? {
            self.know(row);
        }
        Ok(())
    }

    /// The entry that an actor made under a key, if any; it must have been looked up.
    pub fn made_under(&self, actor: &str, key: &Key) -> Option<&JournalRow> {
        self.known.get(&(actor.to_owned(), key.key.clone()))
    }

    /// Looks up how the lots stand that the commands name.
    pub fn look_up_lots(&mut self, conn: &mut AnyConnection, lots: &[LotNumber]) -> Result<(), StorageError> {
        for standing in standing::by_numbers(conn, lots)? {
            self.standings.insert(standing.lot.number()?, standing);
        }
        Ok(())
    }

    /// How a lot stands, where that was looked up and nobody has written anything of it since.
    pub fn standing(&self, lot: LotNumber) -> Option<&StandingRow> {
        self.standings.get(&lot)
    }

    /// Something of a lot was written down.
    pub fn forget(&mut self, lot_id: i64) {
        self.standings.retain(|_, standing| standing.lot.id != lot_id);
    }

    /// Something was written down that may be of any lot.
    pub fn forget_all(&mut self) {
        self.standings.clear();
    }

    /// A command begins.
    pub fn begin(&mut self) {
        self.began = self.rows.mark();
        self.is_saved = false;
        self.in_doubt.clear();
    }

    /// Makes the connection ready for the command that runs: all rows are there, and what it does can be taken back without
    /// what came before.
    pub fn ready(&mut self, conn: &mut AnyConnection) -> Result<(), StorageError> {
        if !self.is_saved && !self.alone {
            if self.rows.write(conn, self.began)? && self.saved == Saved::Here {
                self.saved = Saved::Before;
            }
            self.began = Mark::default();
            self.save(conn)?;
        }
        self.write_rows(conn)
    }

    /// Writes down the rows that wait.
    pub fn write_rows(&mut self, conn: &mut AnyConnection) -> Result<(), StorageError> {
        self.rows.write(conn, self.rows.mark())?;
        Ok(())
    }

    fn save(&mut self, conn: &mut AnyConnection) -> Result<(), StorageError> {
        // Both in one round trip.
        match self.saved {
            Saved::Here => (),
            Saved::Never => conn.batch_execute("SAVEPOINT command")?,
            Saved::Before => conn.batch_execute("RELEASE SAVEPOINT command; SAVEPOINT command")?,
        }
        self.saved = Saved::Here;
        self.is_saved = true;
        Ok(())
    }

    /// What the commands that stand wrote to.
    pub fn into_touched(self) -> Touched {
        self.touched
    }

    /// A command stands, with the rows it wrote: table, first, how many.
    pub fn keep(&mut self, row: JournalRow, head: Head, changes: &[(&str, i64, i64)]) {
        for (table, first, count) in changes {
            self.touched.add(table, *first, *count);
        }
        self.head = head;
        if row.idempotency_key.is_some() {
            self.know(row.clone());
        }
        self.waiting.push(row);
        if self.is_saved {
            self.saved = Saved::Before;
        }
    }

    /// Takes a command back. One that is alone goes with the transaction.
    pub fn take_back(&mut self, conn: &mut AnyConnection) -> Result<(), StorageError> {
        self.rows.take_back(self.began);
        if self.is_saved {
            conn.batch_execute("ROLLBACK TO SAVEPOINT command")?;
        }
        let after = std::mem::take(&mut self.waiting);
        self.waiting = std::mem::take(&mut self.in_doubt);
        self.waiting.extend(after);
        Ok(())
    }

    /// Writes down the entries that wait.
    pub fn write_journal(&mut self, conn: &mut AnyConnection) -> Result<(), StorageError> {
        journal::insert(conn, &self.waiting)?;
        self.in_doubt.append(&mut self.waiting);
        Ok(())
    }

    fn know(&mut self, row: JournalRow) {
        if let Some(key) = &row.idempotency_key {
            self.known.insert((row.actor.clone(), key.clone()), row);
        }
    }
}
