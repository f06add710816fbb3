//! Copying what was committed from SQLite's log into its file. By itself SQLite does so within the commit that makes the log a
//! thousand pages long, and all who wait for that commit wait for the copying; here a thread of its own does.

use std::sync::mpsc::{Receiver, SyncSender, sync_channel};
use std::thread::JoinHandle;
use std::time::Duration;

use diesel::connection::SimpleConnection;
use diesel::prelude::*;
use diesel::sql_query;
use diesel::sql_types::Integer;
use diesel::sqlite::SqliteConnection;

use crate::{AnyConnection, Database, StorageError};

/// Pages of 4 KiB that are worth copying: as many as SQLite takes by itself.
const ENOUGH: i32 = 1000;
/// How long to wait for more of them; tried, no source.
const PAUSE: Duration = Duration::from_millis(20);
/// So long the log grows, in pages, before the writer copies the rest itself: as long as it writes, only it can begin the log anew.
/// 32 MiB; tried, no source.
const LONGEST: u32 = 8000;

/// The thread, on SQLite. Dropping it stops it.
pub(crate) struct Checkpoints {
    commits: Option<SyncSender<()>>,
    thread: Option<JoinHandle<()>>,
}

#[derive(QueryableByName)]
struct Log {
    /// Pages in it; -1 where there is none yet.
    #[diesel(sql_type = Integer)]
    log: i32,
    /// Of these, how many were copied.
    #[diesel(sql_type = Integer)]
    checkpointed: i32,
}

impl Checkpoints {
    /// Starts the thread beside the one that writes over a connection; PostgreSQL has its own.
    pub fn beside(writer: &mut AnyConnection, database: &Database) -> Result<Option<Self>, StorageError> {
        let AnyConnection::Sqlite(writer) = writer else { return Ok(None) };
        let AnyConnection::Sqlite(conn) = database.connect()? else { return Ok(None) };
        writer.batch_execute(&format!("PRAGMA wal_autocheckpoint = {LONGEST}"))?;
        let (commits, heard) = sync_channel(1);
        let thread = std::thread::Builder::new()
            .name("checkpoints".into())
            .spawn(move || copy_after(&heard, conn))
            .map_err(|error| StorageError::WriterStopped(error.to_string()))?;
        Ok(Some(Self { commits: Some(commits), thread: Some(thread) }))
    }

    /// Something was committed.
    pub fn hear(&self) {
        // Full, it has been told already; gone, the writer copies by itself.
        let _ = self.commits.as_ref().map(|commits| commits.try_send(()));
    }
}

impl Drop for Checkpoints {
    fn drop(&mut self) {
        self.commits = None;
        if let Some(thread) = self.thread.take()
            && thread.join().is_err()
        {
            tracing::error!("the thread that copies the log had panicked");
        }
    }
}

fn copy_after(commits: &Receiver<()>, mut conn: SqliteConnection) {
    while commits.recv().is_ok() {
        std::thread::sleep(PAUSE);
        if let Err(error) = copy(&mut conn) {
            tracing::warn!(%error, "what was committed stays in the log for now");
        }
    }
}

fn copy(conn: &mut SqliteConnection) -> Result<(), StorageError> {
    let Log { log, checkpointed } = sql_query("PRAGMA wal_checkpoint(NOOP)").get_result(conn)?;
    if log - checkpointed >= ENOUGH {
        sql_query("PRAGMA wal_checkpoint(PASSIVE)").get_result::<Log>(conn)?;
    }
    Ok(())
}
