//! The writer: one thread that runs waiting commands in one transaction, each of which can be taken back by itself, and
//! answers when the commit is durable and the index holds it.

use std::collections::VecDeque;
use std::panic::{AssertUnwindSafe, catch_unwind};
use std::sync::Arc;
use std::sync::atomic::{AtomicI64, Ordering};
use std::sync::mpsc::{Receiver, SyncSender, TrySendError, sync_channel};
use std::thread::JoinHandle;

use chrono::NaiveDateTime;
use diesel::connection::{AnsiTransactionManager, TransactionManager};
use parking_lot::Mutex;
use serde::Serialize;
use serde::de::DeserializeOwned;
use tubtrail_domain::lot_number::LotNumber;

use crate::answering::{Answering, Answers};
use crate::checkpoints::Checkpoints;
use crate::group::Group;
use crate::handed_in::{Done, HandedIn, Reply};
use crate::journal;
use crate::recalls;
use crate::write::{Asks, EntryHeader, Key, Touched, WriteTx};
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
    /// The same, right after the entries in `(after, until]`, which wrote to these, and were committed by whoever had seen to it that
    /// the one before them was held.
    fn go_on(
        &self,
        conn: &mut AnyConnection,
        (_after, _until): (i64, i64),
        _touched: &journal::Touched,
    ) -> Result<(), StorageError> {
        self.catch_up(conn)
    }
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
        Self::start_in_groups_of(GROUP, database, clock, follower)
    }

    /// The same, with so many commands in one commit at most: with one alone in each, to measure what sharing a commit brings.
    pub fn start_in_groups_of(
        most: usize,
        database: &Database,
        clock: Clock,
        follower: Arc<dyn Follower>,
    ) -> Result<Self, StorageError> {
        let mut conn = database.connect_to_write()?;
        let (queue, waiting) = sync_channel(QUEUE);
        let committed = Arc::new(AtomicI64::new(journal::position(&mut conn)?));
        let state = State {
            most,
            checkpoints: Checkpoints::beside(&mut conn, database)?,
            database: database.clone(),
            conn,
            clock,
            follower,
            committed: Arc::clone(&committed),
            answers: Answering::start()?,
        };
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

    /// Hands in `work`, which becomes one journal entry. Does not block.
    ///
    /// A refusal (`Err` from `work`) leaves no trace and does not touch its neighbours in the group. With a key that was
    /// used before for the same request, nothing runs and the first answer comes back.
    pub fn hand_in<T, E, F>(&self, header: EntryHeader, work: F) -> Result<HandedIn<T, E>, StorageError>
    where
        T: Serialize + DeserializeOwned + Send + 'static,
        E: From<StorageError> + Send + 'static,
        F: FnOnce(&mut WriteTx<'_>) -> Result<T, E> + Send + 'static,
    {
        let (reply, handed_in) = HandedIn::new();
        let job = Box::new(Pending { header: Some(header), work: Some(work), outcome: None, reply });
        let queue = self.queue.as_ref().ok_or_else(|| StorageError::WriterStopped("stopping".into()))?;
        queue.try_send(job).map_err(|error| match error {
            TrySendError::Full(_) => StorageError::Busy,
            TrySendError::Disconnected(_) => StorageError::WriterStopped("the thread is gone".into()),
        })?;
        Ok(handed_in)
    }

    /// The same, and waits for its commit.
    pub fn submit<T, E, F>(&self, header: EntryHeader, work: F) -> Result<Done<T>, E>
    where
        T: Serialize + DeserializeOwned + Send + 'static,
        E: From<StorageError> + Send + 'static,
        F: FnOnce(&mut WriteTx<'_>) -> Result<T, E> + Send + 'static,
    {
        self.hand_in(header, work)?.wait()
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

/// The entries of a group, and which tables they wrote to.
struct Wrote {
    after: i64,
    until: i64,
    touched: journal::Touched,
}

struct State {
    /// Commands in one commit.
    most: usize,
    checkpoints: Option<Checkpoints>,
    database: Database,
    conn: AnyConnection,
    clock: Clock,
    follower: Arc<dyn Follower>,
    committed: Arc<AtomicI64>,
    answers: Answering,
}

impl State {
    fn serve(mut self, waiting: &Receiver<Box<dyn Job>>) {
        let mut group = VecDeque::new();
        while let Some(first) = group.pop_front().or_else(|| waiting.recv().ok()) {
            group.push_front(first);
            group.extend(waiting.try_iter().take(self.most - group.len()));
            let (ran, outcome) = self.commit(&mut group);
            let outcome = outcome.map_err(|error| {
                tracing::error!(%error, commands = ran, "a group of commands was not committed");
                error.to_string()
            });
            self.answers.give(Answers { jobs: group.drain(..ran).collect(), outcome });
            if let Some(checkpoints) = &self.checkpoints {
                checkpoints.between_commits(&mut self.conn);
            }
        }
    }

    /// One transaction for as many of the group, from its beginning, as may share it: how many that were, and whether
    /// they were committed. `Err` means that none of them was.
    fn commit(&mut self, group: &mut VecDeque<Box<dyn Job>>) -> (usize, Result<(), StorageError>) {
        if let Err(error) = self.begin() {
            return (group.len(), Err(error));
        }
        match self.run(group) {
            Ok((ran, Some(wrote))) => {
                if let Err(error) = commit(&mut self.conn) {
                    return (ran, Err(error));
                }
                self.committed.store(wrote.until, Ordering::Release);
                // The commit stands whatever happens here: a reader that finds the index behind catches up by itself.
                let entries = (wrote.after, wrote.until);
                if let Err(error) = self.follower.go_on(&mut self.conn, entries, &wrote.touched) {
                    tracing::error!(%error, "the index could not take in a commit");
                }
                (ran, Ok(()))
            }
            Ok((ran, None)) => (ran, rollback(&mut self.conn)),
            Err(error) => {
                if let Err(error) = rollback(&mut self.conn) {
                    tracing::warn!(%error, "rolling back failed too");
                }
                (group.len(), Err(error))
            }
        }
    }

    /// Runs one command after the other, up to the first that must see what an earlier one did to the graph: that one
    /// begins the next group. How many were run; what they wrote, if any of them did.
    fn run(&mut self, jobs: &mut VecDeque<Box<dyn Job>>) -> Result<(usize, Option<Wrote>), StorageError> {
        let head = journal::lock_head(&mut self.conn)?;
        if self.follower.position() < head.seq {
            self.follower.catch_up(&mut self.conn)?;
        }
        let before = head.seq;
        let mut group = Group::at(head, jobs.len() == 1);
        let keys: Vec<_> = jobs.iter().filter_map(|job| job.key()).collect();
        group.look_up(&mut self.conn, &keys)?;
        let lots: Vec<_> = jobs.iter().filter_map(|job| job.lot()).collect();
        group.look_up_lots(&mut self.conn, &lots)?;
        let (mut ran, mut touched, mut waits) = (0, Touched::default(), Waits::default());
        for job in jobs.iter_mut() {
            if waits.must(&mut self.conn, job.asks(), &touched)? {
                break;
            }
            ran += 1;
            group.begin();
            if let Some(wrote) = job.run(&mut self.conn, &mut group, (self.clock)())? {
                touched.add(&wrote);
            }
        }
        if group.head.seq == before {
            return Ok((ran, None));
        }
        group.write_rows(&mut self.conn)?;
        group.write_journal(&mut self.conn)?;
        journal::store_head(&mut self.conn, &group.head)?;
        #[allow(clippy::cast_precision_loss)] // A group is small.
        metrics::histogram!("tubtrail_commands_per_commit").record(ran as f64);
        Ok((ran, Some(Wrote { after: before, until: group.head.seq, touched: group.into_touched() })))
    }

    /// Begins the transaction; a connection that was lost since the last one is made anew, once.
    fn begin(&mut self) -> Result<(), StorageError> {
        if begin(&mut self.conn).is_err() {
            self.conn = self.database.connect_to_write()?;
            begin(&mut self.conn)?;
        }
        Ok(())
    }
}

/// Whether a command must wait for the commit of what earlier ones of its group wrote; what was asked of the database is
/// remembered, for it stays so until a recall begins or ends, and then all wait that ask.
#[derive(Default)]
struct Waits {
    any_in_force: Option<bool>,
    watched_at: Option<(NaiveDateTime, bool)>,
}

impl Waits {
    /// Whether what earlier commands wrote may change what this one is told when it asks; the index holds only what was
    /// committed.
    fn must(&mut self, conn: &mut AnyConnection, asks: Asks, touched: &Touched) -> Result<bool, StorageError> {
        Ok(match asks {
            Asks::Nothing => false,
            Asks::Graph => touched.graph || touched.recalls,
            // Without a recall nothing is recalled, whatever joins the graph.
            Asks::Recalls if touched.recalls => true,
            Asks::Recalls if touched.graph => self.any_in_force(conn)?,
            Asks::Recalls => match touched.brought_in_at {
                Some(at) => self.watched_at(conn, at)?,
                None => false,
            },
        })
    }

    fn any_in_force(&mut self, conn: &mut AnyConnection) -> Result<bool, StorageError> {
        match self.any_in_force {
            Some(known) => Ok(known),
            None => Ok(*self.any_in_force.insert(recalls::is_any_in_force(conn)?)),
        }
    }

    fn watched_at(&mut self, conn: &mut AnyConnection, at: NaiveDateTime) -> Result<bool, StorageError> {
        match self.watched_at {
            Some((then, known)) if then == at => Ok(known),
            _ => Ok(self.watched_at.insert((at, recalls::is_any_place_watched(conn, at)?)).1),
        }
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
pub(crate) trait Job: Send {
    fn asks(&self) -> Asks;
    /// Who sent it and under which key, where it has one.
    fn key(&self) -> Option<(&str, &Key)>;
    /// The lot it names, where it names one.
    fn lot(&self) -> Option<LotNumber>;
    /// Runs, and is taken back where it is refused; what it touched, where it wrote. `Err`: nothing of the group can stand.
    fn run(
        &mut self,
        conn: &mut AnyConnection,
        group: &mut Group,
        now: NaiveDateTime,
    ) -> Result<Option<Touched>, StorageError>;
    /// Sends the outcome to whoever waits.
    fn answer(self: Box<Self>, committed: Result<(), String>);
}

struct Pending<T, E, F> {
    header: Option<EntryHeader>,
    work: Option<F>,
    outcome: Option<Result<Done<T>, E>>,
    reply: Reply<T, E>,
}

impl<T, E, F> Job for Pending<T, E, F>
where
    T: Serialize + DeserializeOwned + Send,
    E: From<StorageError> + Send,
    F: FnOnce(&mut WriteTx<'_>) -> Result<T, E> + Send,
{
    fn asks(&self) -> Asks {
        self.header.as_ref().map_or(Asks::Nothing, |header| header.asks)
    }

    fn key(&self) -> Option<(&str, &Key)> {
        let header = self.header.as_ref()?;
        Some((&header.actor, header.key.as_ref()?))
    }

    fn lot(&self) -> Option<LotNumber> {
        self.header.as_ref()?.lot
    }

    fn run(
        &mut self,
        conn: &mut AnyConnection,
        group: &mut Group,
        now: NaiveDateTime,
    ) -> Result<Option<Touched>, StorageError> {
        let Some((header, work)) = self.header.take().zip(self.work.take()) else { return Ok(None) };
        let attempt = || run_once(conn, group, now, header, work);
        let result = catch_unwind(AssertUnwindSafe(attempt))
            .unwrap_or_else(|_| Err(StorageError::WriterStopped("the command panicked".into()).into()));
        let (outcome, touched) = match result {
            Ok((done, touched)) => (Ok(done), touched),
            Err(refusal) => {
                group.take_back(conn)?;
                (Err(refusal), None)
            }
        };
        self.outcome = Some(outcome);
        Ok(touched)
    }

    fn answer(self: Box<Self>, committed: Result<(), String>) {
        let outcome = match (self.outcome, committed) {
            (Some(Err(refusal)), _) => Err(refusal),
            (Some(Ok(done)), Ok(())) => Ok(done),
            (_, Err(reason)) => Err(StorageError::WriterStopped(reason).into()),
            (None, Ok(())) => Err(StorageError::WriterStopped("the command did not run".into()).into()),
        };
        self.reply.say(outcome);
    }
}

fn run_once<T, E, F>(
    conn: &mut AnyConnection,
    group: &mut Group,
    now: NaiveDateTime,
    header: EntryHeader,
    work: F,
) -> Result<(Done<T>, Option<Touched>), E>
where
    T: Serialize + DeserializeOwned,
    E: From<StorageError>,
    F: FnOnce(&mut WriteTx<'_>) -> Result<T, E>,
{
    if let Some(done) = replay(group, &header)? {
        return Ok((done, None));
    }
    if !header.leaves_journal {
        group.ready(conn)?;
        group.write_journal(conn)?;
    }
    let mut tx = WriteTx::new(conn, group, now);
    let answer = work(&mut tx)?;
    let (entry, touched) = tx.finish(header, &answer)?;
    Ok((Done { answer, entry, replayed: false }, Some(touched)))
}

/// The first answer, where the command was done before under this key.
fn replay<T: DeserializeOwned>(group: &Group, header: &EntryHeader) -> Result<Option<Done<T>>, StorageError> {
    let Some(key) = &header.key else { return Ok(None) };
    let Some(row) = group.made_under(&header.actor, key) else { return Ok(None) };
    if row.request_hash.as_deref() != Some(&key.request_hash) {
        return Err(StorageError::KeyReused);
    }
    let answer = row.answer.as_deref().ok_or(StorageError::AnswerNotKept)?;
    Ok(Some(Done { answer: serde_json::from_str(answer)?, entry: row.seq, replayed: true }))
}
