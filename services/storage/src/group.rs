//! Commands that share a transaction: where each may be taken back to, and their journal entries, which are written together.

use std::collections::HashMap;

use diesel::connection::SimpleConnection;

use crate::journal::{self, Head, JournalRow};
use crate::write::Key;
use crate::{AnyConnection, StorageError};

/// What the commands of a transaction have come to so far.
pub(crate) struct Group {
    /// The journal's head after the last command that stands.
    pub head: Head,
    /// Entries of commands that stand, not in the database yet.
    waiting: Vec<JournalRow>,
    /// Those that were written down by the command that runs: with it, they may be taken back.
    in_doubt: Vec<JournalRow>,
    /// Entries by actor and key: those looked up, and those of this group.
    known: HashMap<(String, String), JournalRow>,
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
    pub fn at(head: Head) -> Self {
        Self { head, waiting: Vec::new(), in_doubt: Vec::new(), known: HashMap::new(), saved: Saved::Never }
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

    /// Makes sure that what comes now can be taken back without what came before.
    pub fn save(&mut self, conn: &mut AnyConnection) -> Result<(), StorageError> {
        // Both in one round trip.
        match self.saved {
            Saved::Here => return Ok(()),
            Saved::Never => conn.batch_execute("SAVEPOINT command")?,
            Saved::Before => conn.batch_execute("RELEASE SAVEPOINT command; SAVEPOINT command")?,
        }
        self.saved = Saved::Here;
        self.in_doubt.clear();
        Ok(())
    }

    /// A command stands.
    pub fn keep(&mut self, row: JournalRow, head: Head) {
        self.head = head;
        self.in_doubt.clear();
        if row.idempotency_key.is_some() {
            self.know(row.clone());
        }
        self.waiting.push(row);
        if self.saved == Saved::Here {
            self.saved = Saved::Before;
        }
    }

    /// Takes a command back. One that has no savepoint is alone, and goes with the transaction.
    pub fn take_back(&mut self, conn: &mut AnyConnection) -> Result<(), StorageError> {
        if self.saved == Saved::Here {
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
