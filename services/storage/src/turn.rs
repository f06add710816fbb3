//! Whose turn it is to do what one process does for all that serve a database.

use diesel::prelude::*;
use diesel::sql_types::{BigInt, Bool};

use crate::{AnyConnection, Database, DatabaseUrl, StorageError};

/// The advisory lock of those who send webhooks; the letters of "webhooks".
const SENDING: i64 = 0x7765_6268_6f6f_6b73;

/// The turn to send webhooks. It is given up when this is dropped and when the process ends, however it ends.
pub struct Turn {
    database: Database,
    // On PostgreSQL the lock lasts as long as the connection. One process serves a SQLite file, and it is always its turn.
    conn: Option<AnyConnection>,
    is_taken: bool,
}

#[derive(diesel::QueryableByName)]
struct Taken {
    #[diesel(sql_type = Bool)]
    taken: bool,
}

impl Turn {
    /// Nobody's yet.
    pub fn to_send(database: &Database) -> Self {
        Self { database: database.clone(), conn: None, is_taken: false }
    }

    /// Whether it is ours; takes it, if nobody has it. With its connection it is lost.
    pub fn is_ours(&mut self) -> Result<bool, StorageError> {
        if !self.is_shared() {
            return Ok(true);
        }
        let asked = self.ask();
        if asked.is_err() {
            self.conn = None;
            self.is_taken = false;
        }
        asked
    }

    /// Whether others may have it, and may commit what is to be sent.
    pub fn is_shared(&self) -> bool {
        matches!(self.database.url(), DatabaseUrl::Postgres(_))
    }

    fn ask(&mut self) -> Result<bool, StorageError> {
        let conn = match &mut self.conn {
            Some(conn) => conn,
            none => none.insert(self.database.connect()?),
        };
        if self.is_taken {
            diesel::sql_query("SELECT 1").execute(conn)?;
        } else {
            let query = diesel::sql_query("SELECT pg_try_advisory_lock($1) AS taken").bind::<BigInt, _>(SENDING);
            self.is_taken = query.get_result::<Taken>(conn)?.taken;
        }
        Ok(self.is_taken)
    }
}
