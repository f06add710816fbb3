//! The writer: one thread that runs waiting commands in one transaction, a savepoint each, and answers when the commit
//! is durable and the index holds it.

use std::panic::{AssertUnwindSafe, catch_unwind};
use std::sync::Arc;
use std::sync::atomic::{AtomicI64, Ordering};
use std::sync::mpsc::{Receiver, RecvError, SyncSender, TrySendError, sync_channel};
use std::thread::JoinHandle;

use chrono::NaiveDateTime;
use diesel::Connection;
use diesel::connection::{AnsiTransactionManager, TransactionManager};
use parking_lot::Mutex;
use serde::Serialize;
use serde::de::DeserializeOwned;

use crate::journal::{self, Head};
use crate::write::{self, EntryHeader, WriteTx};
use crate::{AnyConnection, Database, StorageError};

/// Most commands in one commit.
const GROUP: usize = 128;
/// Most commands waiting; more are told to come back.
const QUEUE: usize = 4096;

/// What gives the time, UTC.
pub type Clock = Arc<dyn Fn() -> NaiveDateTime + Send + Sync>;

/// Whoever must hear of every commit: the index in memory.
pub trait Follower: Send + Sync {
    /// The last journal entry it holds.
    fn position(&self) -> i64;
    /// Takes in everything committed since.
    fn catch_up(&self, conn: &mut AnyConnection) -> Result<(), StorageError>;
}

/// What a command came to.
#[derive(Clone, Debug)]
pub struct Done<T> {
    /// Its answer.
    pub answer: T,
    /// The journal entry it made, now or the first time.
    pub entry: i64,
    /// It had been done before under the same key; nothing was done now.
    pub replayed: bool,
}

/// The handle to the writer thread. Dropping it finishes what waits and stops.
pub struct Writer {
    queue: Option<SyncSender<Box<dyn Job>>>,
    committed: Arc<AtomicI64>,
    thread: Mutex<Option<JoinHandle<()>>>,
}

impl Writer {
    /// Starts the thread with a connection of its own.
    pub fn start(database: &Database, clock: Clock, follower: Arc<dyn Follower>) -> Result<Self, StorageError> {
        let mut conn = database.connect()?;
        let (queue, waiting) = sync_channel(QUEUE);
        let committed = Arc::new(AtomicI64::new(journal::position(&mut conn)?));
        let state = State { database: database.clone(), conn, clock, follower, committed: Arc::clone(&committed) };
        let thread = std::thread::Builder::new()
            .name("writer".into())
            .spawn(move || state.serve(&waiting))
            .map_err(|error| StorageError::WriterStopped(error.to_string()))?;
        Ok(Self { queue: Some(queue), committed, thread: Mutex::new(Some(thread)) })
    }

    /// The last entry this writer committed or found. Others may have committed more since, on PostgreSQL.
    pub fn committed(&self) -> i64 {
        self.committed.load(Ordering::Acquire)
    }

    /// Refuses if the thread is gone: nothing can be written any more.
    pub fn check(&self) -> Result<(), StorageError> {
        match &*self.thread.lock() {
            Some(thread) if !thread.is_finished() => Ok(()),
            _ => Err(StorageError::WriterStopped("the thread is gone".into())),
        }
    }

    /// Runs `work` as one journal entry and waits for its commit.
    ///
    /// A refusal (`Err` from `work`) leaves no trace and does not touch its neighbours in the group. With a key that was
    /// used before for the same request, nothing runs and the first answer comes back.
    pub fn submit<T, E, F>(&self, header: EntryHeader, work: F) -> Result<Done<T>, E>
    where
        T: Serialize + DeserializeOwned + Send + 'static,
        E: From<StorageError> + Send + 'static,
        F: FnOnce(&mut WriteTx<'_>) -> Result<T, E> + Send + 'static,
    {
        let (reply, answer) = sync_channel(1);
        let job = Box::new(Pending { header: Some(header), work: Some(work), outcome: None, reply });
        let queue = self.queue.as_ref().ok_or_else(|| StorageError::WriterStopped("stopping".into()))?;
        queue.try_send(job).map_err(|error| match error {
            TrySendError::Full(_) => StorageError::Busy,
            TrySendError::Disconnected(_) => StorageError::WriterStopped("the thread is gone".into()),
        })?;
        answer.recv().map_err(|RecvError| StorageError::WriterStopped("no answer".into()))?
    }
}

impl Drop for Writer {
    fn drop(&mut self) {
        self.queue = None;
        if let Some(thread) = self.thread.lock().take()
            && thread.join().is_err()
        {
            tracing::error!("the writer thread had panicked");
        }
    }
}

struct State {
    database: Database,
    conn: AnyConnection,
    clock: Clock,
    follower: Arc<dyn Follower>,
    committed: Arc<AtomicI64>,
}

impl State {
    fn serve(mut self, waiting: &Receiver<Box<dyn Job>>) {
        let mut next = None;
        while let Some(first) = next.take().or_else(|| waiting.recv().ok()) {
            let mut group = vec![first];
            while group.len() < GROUP {
                match waiting.try_recv() {
                    Ok(job) if job.asks_the_graph() => {
                        next = Some(job);
                        break;
                    }
                    Ok(job) => group.push(job),
                    Err(_) => break,
                }
            }
            let outcome = self.commit(&mut group).map_err(|error| {
                tracing::error!(%error, commands = group.len(), "a group of commands was not committed");
                error.to_string()
            });
            for job in group {
                job.answer(outcome.clone());
            }
        }
    }

    /// One transaction for the whole group; `Err` means that none of it was committed.
    fn commit(&mut self, group: &mut [Box<dyn Job>]) -> Result<(), StorageError> {
        self.begin()?;
        match self.run(group) {
            Ok(Some(position)) => {
                commit(&mut self.conn)?;
                self.committed.store(position, Ordering::Release);
            }
            Ok(None) => return rollback(&mut self.conn),
            Err(error) => {
                if let Err(error) = rollback(&mut self.conn) {
                    tracing::warn!(%error, "rolling back failed too");
                }
                return Err(error);
            }
        }
        // The commit stands whatever happens here: a reader that finds the index behind catches up by itself.
        if let Err(error) = self.follower.catch_up(&mut self.conn) {
            tracing::error!(%error, "the index could not take in a commit");
        }
        Ok(())
    }

    /// Runs each command in a savepoint; the last entry, if any of them wrote.
    fn run(&mut self, group: &mut [Box<dyn Job>]) -> Result<Option<i64>, StorageError> {
        let before = write::lock_head(&mut self.conn)?;
        if self.follower.position() < before.seq {
            self.follower.catch_up(&mut self.conn)?;
        }
        let mut head = before.clone();
        for job in group.iter_mut() {
            if let Some(after) = job.run(&mut self.conn, &head, (self.clock)()) {
                head = after;
            }
        }
        if head == before {
            return Ok(None);
        }
        write::store_head(&mut self.conn, &head)?;
        #[allow(clippy::cast_precision_loss)] // A group is small.
        metrics::histogram!("tubtrail_commands_per_commit").record(group.len() as f64);
        Ok(Some(head.seq))
    }

    /// Begins the transaction; a connection that was lost since the last one is made anew, once.
    fn begin(&mut self) -> Result<(), StorageError> {
        if begin(&mut self.conn).is_err() {
            self.conn = self.database.connect()?;
            begin(&mut self.conn)?;
        }
        Ok(())
    }
}

fn begin(conn: &mut AnyConnection) -> Result<(), StorageError> {
    match conn {
        // A plain BEGIN takes the file only at the first write, and may then find it taken by another.
        AnyConnection::Sqlite(conn) => AnsiTransactionManager::begin_transaction_sql(conn, "BEGIN IMMEDIATE")?,
        AnyConnection::Postgres(conn) => AnsiTransactionManager::begin_transaction(conn)?,
    }
    Ok(())
}

fn commit(conn: &mut AnyConnection) -> Result<(), StorageError> {
    match conn {
        AnyConnection::Sqlite(conn) => AnsiTransactionManager::commit_transaction(conn)?,
        AnyConnection::Postgres(conn) => AnsiTransactionManager::commit_transaction(conn)?,
    }
    Ok(())
}

fn rollback(conn: &mut AnyConnection) -> Result<(), StorageError> {
    match conn {
        AnyConnection::Sqlite(conn) => AnsiTransactionManager::rollback_transaction(conn)?,
        AnyConnection::Postgres(conn) => AnsiTransactionManager::rollback_transaction(conn)?,
    }
    Ok(())
}

/// A command in the queue, its types forgotten.
trait Job: Send {
    fn asks_the_graph(&self) -> bool;
    /// Runs in a savepoint; the head after it, where it wrote.
    fn run(&mut self, conn: &mut AnyConnection, head: &Head, now: NaiveDateTime) -> Option<Head>;
    /// Sends the outcome to whoever waits.
    fn answer(self: Box<Self>, committed: Result<(), String>);
}

struct Pending<T, E, F> {
    header: Option<EntryHeader>,
    work: Option<F>,
    outcome: Option<Result<Done<T>, E>>,
    reply: SyncSender<Result<Done<T>, E>>,
}

/// Why a savepoint is rolled back.
enum Abort<E> {
    Refused(E),
    Storage(StorageError),
}

impl<E> From<diesel::result::Error> for Abort<E> {
    fn from(error: diesel::result::Error) -> Self {
        Self::Storage(error.into())
    }
}

impl<E> From<StorageError> for Abort<E> {
    fn from(error: StorageError) -> Self {
        Self::Storage(error)
    }
}

impl<T, E, F> Job for Pending<T, E, F>
where
    T: Serialize + DeserializeOwned + Send,
    E: From<StorageError> + Send,
    F: FnOnce(&mut WriteTx<'_>) -> Result<T, E> + Send,
{
    fn asks_the_graph(&self) -> bool {
        self.header.as_ref().is_some_and(|header| header.asks_the_graph)
    }

    fn run(&mut self, conn: &mut AnyConnection, head: &Head, now: NaiveDateTime) -> Option<Head> {
        let (header, work) = (self.header.take()?, self.work.take()?);
        // Caught inside the savepoint, so that it is rolled back: unwinding through it would leave it open.
        let result = conn.transaction(|conn| {
            let attempt = || run_once(conn, head, now, header, work);
            catch_unwind(AssertUnwindSafe(attempt))
                .unwrap_or_else(|_| Err(Abort::Storage(StorageError::WriterStopped("the command panicked".into()))))
        });
        let (outcome, after) = match result {
            Ok((done, after)) => (Ok(done), after),
            Err(Abort::Refused(refusal)) => (Err(refusal), None),
            Err(Abort::Storage(error)) => (Err(error.into()), None),
        };
        self.outcome = Some(outcome);
        after
    }

    fn answer(self: Box<Self>, committed: Result<(), String>) {
        let outcome = match (self.outcome, committed) {
            (Some(Err(refusal)), _) => Err(refusal),
            (Some(Ok(done)), Ok(())) => Ok(done),
            (_, Err(reason)) => Err(StorageError::WriterStopped(reason).into()),
            (None, Ok(())) => Err(StorageError::WriterStopped("the command did not run".into()).into()),
        };
        // Whoever asked may have gone away meanwhile; the command stands all the same.
        let _ = self.reply.send(outcome);
    }
}

fn run_once<T, E, F>(
    conn: &mut AnyConnection,
    head: &Head,
    now: NaiveDateTime,
    header: EntryHeader,
    work: F,
) -> Result<(Done<T>, Option<Head>), Abort<E>>
where
    T: Serialize + DeserializeOwned,
    E: From<StorageError>,
    F: FnOnce(&mut WriteTx<'_>) -> Result<T, E>,
{
    if let Some(done) = replay(conn, &header)? {
        return Ok((done, None));
    }
    let mut tx = WriteTx::new(conn, head.clone(), now);
    let answer = work(&mut tx).map_err(Abort::Refused)?;
    let after = tx.finish(header, &answer)?;
    Ok((Done { answer, entry: after.seq, replayed: false }, Some(after)))
}

/// The first answer, where the command was done before under this key.
fn replay<T: DeserializeOwned>(
    conn: &mut AnyConnection,
    header: &EntryHeader,
) -> Result<Option<Done<T>>, StorageError> {
    let Some(key) = &header.key else { return Ok(None) };
    let Some(row) = journal::by_key(conn, &header.actor, &key.key)? else { return Ok(None) };
    if row.request_hash.as_deref() != Some(&key.request_hash) {
        return Err(StorageError::KeyReused);
    }
    let answer = row.answer.ok_or(StorageError::AnswerNotKept)?;
    Ok(Some(Done { answer: serde_json::from_str(&answer)?, entry: row.seq, replayed: true }))
}
