//! The house itself: the database, its writer, the index, the clock.

use std::sync::Arc;

use parking_lot::Mutex;
use tubtrail_storage::connection::{Reader, snapshot};
use tubtrail_storage::write::{Asks, EntryHeader};
use tubtrail_storage::{AnyConnection, Database, DatabaseUrl, Done, Follower, StorageError, WriteTx, Writer};

use crate::clock::Clock;
use crate::error::{OperationError, Result};
use crate::index::Index;
use crate::lots;
use crate::passwords::Passwords;
use crate::reach::{self, Operation, Request};
use crate::recalls::Surveys;
use crate::sessions::People;

/// Connections that read, and one that is asked again and again for the last commit.
const READERS: u32 = 9;

/// An open Tubtrail. Cheap to share behind an [`Arc`]; every method blocks its thread while the database works.
pub struct Tubtrail {
    pub(crate) database: Database,
    pub(crate) index: Arc<Index>,
    pub(crate) clock: Clock,
    pub(crate) passwords: Passwords,
    pub(crate) people: People,
    pub(crate) surveys: Surveys,
    asked: Mutex<Option<Reader>>,
    writer: Writer,
}

/// What a command came to.
#[derive(Clone, Debug)]
pub struct Answered<T> {
    /// Its answer.
    pub answer: T,
    /// The journal entry that holds it.
    pub entry: i64,
    /// Nothing was done now: this is the answer given the first time.
    pub replayed: bool,
}

/// A command that was handed in to the writer. It is run whether or not anybody waits for it.
pub struct HandedIn<T>(tubtrail_storage::HandedIn<T, OperationError>);

impl<T> HandedIn<T> {
    /// Waits for its commit; blocks.
    pub fn wait(self) -> Result<Answered<T>> {
        Ok(self.0.wait()?.into())
    }

    /// The same, and blocks nobody.
    pub async fn outcome(self) -> Result<Answered<T>> {
        Ok(self.0.outcome().await?.into())
    }
}

impl<T> From<Done<T>> for Answered<T> {
    fn from(Done { answer, entry, replayed }: Done<T>) -> Self {
        Self { answer, entry, replayed }
    }
}

impl Tubtrail {
    /// Opens the database (making it if need be), brings the tables up to date, and builds the index from the facts.
    pub fn open(url: &DatabaseUrl, clock: Clock) -> Result<Self> {
        Self::open_by(url, clock, Writer::start)
    }

    /// The same, but each command is committed by itself: to measure what sharing a commit brings.
    pub fn open_apart(url: &DatabaseUrl, clock: Clock) -> Result<Self> {
        Self::open_by(url, clock, |database, clock, index| Writer::start_in_groups_of(1, database, clock, index))
    }

    fn open_by(
        url: &DatabaseUrl,
        clock: Clock,
        start: impl FnOnce(&Database, Clock, Arc<dyn Follower>) -> std::result::Result<Writer, StorageError>,
    ) -> Result<Self> {
        let database = Database::open(url, READERS)?;
        let index = Arc::new(Index::build(&database)?);
        let writer = start(&database, Arc::clone(&clock), Arc::clone(&index) as Arc<dyn Follower>)?;
        let (passwords, people) = (Passwords::default(), People::default());
        let surveys = Surveys::default();
        Ok(Self { database, index, clock, passwords, people, surveys, asked: Mutex::default(), writer })
    }

    /// Reads. What the index holds is at least as new as anything the closure reads after asking for it.
    pub(crate) fn read<T>(&self, work: impl FnOnce(&mut AnyConnection) -> Result<T>) -> Result<T> {
        work(&mut *self.database.reader()?)
    }

    /// Reads in one snapshot: what is committed meanwhile, it does not see.
    pub(crate) fn read_at_once<T>(&self, work: impl FnOnce(&mut AnyConnection) -> Result<T>) -> Result<T> {
        self.read(|conn| at_once(conn, work))
    }

    /// The index, brought up to the journal's last entry as this connection sees it.
    pub(crate) fn current_index(&self, conn: &mut AnyConnection) -> Result<&Index> {
        if self.index.position() < tubtrail_storage::journal::position(conn)? {
            self.index.catch_up(conn)?;
        }
        Ok(&self.index)
    }

    /// Runs a command as one journal entry.
    pub(crate) fn write<T, F>(&self, request: &Request, operation: &'static Operation, work: F) -> Result<Answered<T>>
    where
        T: serde::Serialize + serde::de::DeserializeOwned + Send + 'static,
        F: FnOnce(&mut WriteTx<'_>) -> Result<T> + Send + 'static,
    {
        self.submit(header(request, operation), work)
    }

    /// Runs a command whose answer must not be kept: it holds a secret.
    pub(crate) fn write_secret<T, F>(
        &self,
        request: &Request,
        operation: &'static Operation,
        work: F,
    ) -> Result<Answered<T>>
    where
        T: serde::Serialize + serde::de::DeserializeOwned + Send + 'static,
        F: FnOnce(&mut WriteTx<'_>) -> Result<T> + Send + 'static,
    {
        self.submit(EntryHeader { answer_is_secret: true, ..header(request, operation) }, work)
    }

    /// Runs a command that asks which lots are recalled before it decides, and nothing else of the index.
    pub(crate) fn write_with_recalls<T, F>(
        &self,
        request: &Request,
        operation: &'static Operation,
        work: F,
    ) -> Result<Answered<T>>
    where
        T: serde::Serialize + serde::de::DeserializeOwned + Send + 'static,
        F: FnOnce(&mut WriteTx<'_>, &Index) -> Result<T> + Send + 'static,
    {
        self.submit_asking(EntryHeader { asks: Asks::Recalls, ..header(request, operation) }, work)
    }

    /// Runs a command that asks the lot graph before it decides; the index then holds all that was written before it.
    pub(crate) fn write_with_graph<T, F>(
        &self,
        request: &Request,
        operation: &'static Operation,
        work: F,
    ) -> Result<Answered<T>>
    where
        T: serde::Serialize + serde::de::DeserializeOwned + Send + 'static,
        F: FnOnce(&mut WriteTx<'_>, &Index) -> Result<T> + Send + 'static,
    {
        self.submit_asking(EntryHeader { asks: Asks::Graph, ..header(request, operation) }, work)
    }

    /// Hands in a command that asks how a lot stands before it decides; that is looked up for a whole group at once. Does not
    /// block.
    pub(crate) fn hand_in_on_lot<T, F>(
        &self,
        request: &Request,
        (operation, asks): (&'static Operation, Asks),
        lot: &str,
        work: F,
    ) -> Result<HandedIn<T>>
    where
        T: serde::Serialize + serde::de::DeserializeOwned + Send + 'static,
        F: FnOnce(&mut WriteTx<'_>, &Index) -> Result<T> + Send + 'static,
    {
        // What is no number is refused by the command.
        let lot = lots::parse(lot).ok();
        self.hand_in_asking(EntryHeader { asks, lot, ..header(request, operation) }, work)
    }

    fn submit_asking<T, F>(&self, header: EntryHeader, work: F) -> Result<Answered<T>>
    where
        T: serde::Serialize + serde::de::DeserializeOwned + Send + 'static,
        F: FnOnce(&mut WriteTx<'_>, &Index) -> Result<T> + Send + 'static,
    {
        self.hand_in_asking(header, work)?.wait()
    }

    fn submit<T, F>(&self, header: EntryHeader, work: F) -> Result<Answered<T>>
    where
        T: serde::Serialize + serde::de::DeserializeOwned + Send + 'static,
        F: FnOnce(&mut WriteTx<'_>) -> Result<T> + Send + 'static,
    {
        self.hand_in(header, work)?.wait()
    }

    fn hand_in_asking<T, F>(&self, header: EntryHeader, work: F) -> Result<HandedIn<T>>
    where
        T: serde::Serialize + serde::de::DeserializeOwned + Send + 'static,
        F: FnOnce(&mut WriteTx<'_>, &Index) -> Result<T> + Send + 'static,
    {
        let index = Arc::clone(&self.index);
        self.hand_in(header, move |tx| work(tx, &index))
    }

    fn hand_in<T, F>(&self, header: EntryHeader, work: F) -> Result<HandedIn<T>>
    where
        T: serde::Serialize + serde::de::DeserializeOwned + Send + 'static,
        F: FnOnce(&mut WriteTx<'_>) -> Result<T> + Send + 'static,
    {
        Ok(HandedIn(self.writer.hand_in::<T, OperationError, F>(header, work)?))
    }

    /// The last entry anybody committed, where that is known without asking: one process serves a SQLite file.
    pub(crate) fn last_commit_of_all(&self) -> Option<i64> {
        matches!(self.database.url(), DatabaseUrl::Sqlite(_)).then(|| self.writer.committed())
    }

    /// The same, for whoever must not block.
    pub fn last_commit_at_hand(&self) -> Option<i64> {
        self.last_commit_of_all()
    }

    /// The last entry anybody committed, which the index then holds. Blocks.
    pub fn last_commit(&self) -> Result<i64> {
        if let Some(last) = self.last_commit_of_all()
            && last <= self.index.position()
        {
            return Ok(last);
        }
        let mut kept = self.asked.lock();
        // One that sat idle may have been closed meanwhile: then once more on another.
        if let Some(mut conn) = kept.take()
            && let Ok(index) = self.current_index(&mut conn)
        {
            let last = index.position();
            *kept = Some(conn);
            return Ok(last);
        }
        let mut conn = self.database.reader()?;
        let last = self.current_index(&mut conn)?.position();
        *kept = Some(conn);
        Ok(last)
    }

    /// Whether the writer is at work, the database answers and the index holds its last entry.
    pub fn is_ready(&self) -> Result<i64> {
        self.writer.check()?;
        self.read(|conn| Ok(self.current_index(conn)?.position()))
    }
}

/// Runs `work` in one snapshot of a connection that is already borrowed.
pub(crate) fn at_once<T>(conn: &mut AnyConnection, work: impl FnOnce(&mut AnyConnection) -> Result<T>) -> Result<T> {
    let mut outcome = None;
    let ended: std::result::Result<(), StorageError> = snapshot(conn, |conn| {
        outcome = Some(work(conn));
        Ok(())
    });
    match (outcome, ended) {
        (Some(Err(error)), _) => Err(error),
        (Some(answer), Ok(())) => answer,
        (_, Err(error)) => Err(error.into()),
        (None, Ok(())) => Err(StorageError::Corrupt("a snapshot did not run".into()).into()),
    }
}

fn header(request: &Request, operation: &'static Operation) -> EntryHeader {
    EntryHeader {
        actor: request.actor.name.clone(),
        operation: operation.id,
        request_id: request.request_id.clone(),
        key: request.key.clone(),
        answer_is_secret: false,
        asks: Asks::Nothing,
        lot: None,
        leaves_journal: reach::LEAVE_JOURNAL.iter().any(|one| one.id == operation.id),
    }
}
