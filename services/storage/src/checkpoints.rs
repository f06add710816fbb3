//! Copying what was committed from SQLite's log into its file. By itself SQLite does so within the commit that makes the log a
//! thousand pages long, and all who wait for that commit wait for the copying; here a thread of its own does.
//!
//! SQLite begins its log anew only where all of it is copied as a commit begins. Under load the thread never comes to that end: each
//! copying leaves what was committed meanwhile. And a log that grows is slower to look anything up in. So when it is long, the thread
//! stands aside, and the writer copies the rest, which is little, between two commits.
//!
//! Seldom is better: a page that many commits changed is copied once, and the writer meets the rest as seldom. When it is quiet all
//! is copied, and whoever reads need not look into the log at all.

use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::mpsc::{Receiver, RecvTimeoutError, SyncSender, sync_channel};
use std::thread::JoinHandle;
use std::time::Duration;

use diesel::connection::SimpleConnection;
use diesel::prelude::*;
use diesel::sql_query;
use diesel::sql_types::Integer;
use diesel::sqlite::SqliteConnection;

use crate::{AnyConnection, Database, StorageError};

/// Pages of 4 KiB that are worth copying while more are being written; tried, no source.
const ENOUGH: i32 = 16_000;
/// As many, when it is quiet.
const ANY: i32 = 1;
/// How long to wait for more of them; tried, no source.
const PAUSE: Duration = Duration::from_millis(20);
/// It is quiet when nothing was committed for so long.
const QUIET: Duration = Duration::from_secs(1);
/// So long the log grows, in pages, before the writer copies the rest. 250 MiB; tried, no source.
const LONG: i32 = 4 * ENOUGH;
/// So long, should the thread be gone: then the writer copies by itself, whatever that takes.
const LONGEST: i32 = 4 * LONG;

const STAYS: &str = "what was committed stays in the log for now";
/// Waits for nobody who reads.
const COPY: &str = "PRAGMA wal_checkpoint(PASSIVE)";

/// The thread, on SQLite. Dropping it stops it.
pub(crate) struct Checkpoints {
    commits: Option<SyncSender<()>>,
    thread: Option<JoinHandle<()>>,
    is_due: Arc<AtomicBool>,
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
        let is_due = Arc::new(AtomicBool::new(false));
        let due = Arc::clone(&is_due);
        let thread = std::thread::Builder::new()
            .name("checkpoints".into())
            .spawn(move || copy_after(&heard, conn, &due))
            .map_err(|error| StorageError::WriterStopped(error.to_string()))?;
        Ok(Some(Self { commits: Some(commits), thread: Some(thread), is_due }))
    }

    /// Something may have been committed by the writer, which has nothing begun.
    pub fn between_commits(&self, writer: &mut AnyConnection) {
        if self.is_due.load(Ordering::Acquire) {
            if let Err(error) = writer.batch_execute(COPY) {
                tracing::warn!(%error, "{STAYS}");
            }
            // Only now may the thread copy again: one at a time can.
            self.is_due.store(false, Ordering::Release);
        }
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

fn copy_after(commits: &Receiver<()>, mut conn: SqliteConnection, is_due: &AtomicBool) {
    let mut worth = ENOUGH;
    loop {
        // After quiet nothing is to be done until the next commit.
        let heard = if worth == ANY { commits.recv().map_err(Into::into) } else { commits.recv_timeout(QUIET) };
        worth = match heard {
            Ok(()) => ENOUGH,
            Err(RecvTimeoutError::Timeout) => ANY,
            Err(RecvTimeoutError::Disconnected) => return,
        };
        std::thread::sleep(PAUSE);
        // The writer will, after its next commit; when it is quiet there is none.
        if worth == ENOUGH && is_due.load(Ordering::Acquire) {
            continue;
        }
        match copy(&mut conn, worth) {
            Ok(is_long) => is_due.store(is_long, Ordering::Release),
            Err(error) => tracing::warn!(%error, "{STAYS}"),
        }
    }
}

/// Copies what is there, if it is so many pages; whether the log is long now.
fn copy(conn: &mut SqliteConnection, worth: i32) -> Result<bool, StorageError> {
    let Log { log, checkpointed } = sql_query("PRAGMA wal_checkpoint(NOOP)").get_result(conn)?;
    if log - checkpointed < worth {
        return Ok(false);
    }
    let Log { log, .. } = sql_query(COPY).get_result(conn)?;
    Ok(log >= LONG)
}
