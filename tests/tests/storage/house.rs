//! A database with a writer, and the smallest commands to give it.

use std::sync::Arc;

use chrono::{NaiveDateTime, SubsecRound};
use diesel::sql_types::{BigInt, Text};
use diesel::{QueryableByName, RunQueryDsl, sql_query};
use tubtrail_storage::Done;
use tubtrail_storage::master_data::SiteRow;
use tubtrail_storage::writer::Clock;
use tubtrail_storage::{AnyConnection, Database, EntryHeader, Fact, Follower, StorageError, WriteTx, Writer};
use tubtrail_tests::TestDatabase;

/// An open database and its writer.
pub struct House {
    pub writer: Writer,
    pub database: Database,
}

impl House {
    pub fn open(database: &TestDatabase) -> Self {
        Self::followed_by(database, Arc::new(Nobody))
    }

    pub fn followed_by(database: &TestDatabase, follower: Arc<dyn Follower>) -> Self {
        let database = database.open();
        let writer = Writer::start(&database, clock(), follower).unwrap();
        Self { writer, database }
    }

    /// Runs a command without a key.
    pub fn command<T, F>(&self, work: F) -> Result<Done<T>, StorageError>
    where
        T: serde::Serialize + serde::de::DeserializeOwned + Send + 'static,
        F: FnOnce(&mut WriteTx<'_>) -> Result<T, StorageError> + Send + 'static,
    {
        self.writer.submit(header(), work)
    }
}

/// A follower that keeps nothing and so is never behind.
pub struct Nobody;

impl Follower for Nobody {
    fn position(&self) -> i64 {
        i64::MAX
    }

    fn catch_up(&self, _: &mut AnyConnection) -> Result<(), StorageError> {
        Ok(())
    }
}

/// The real time, in whole microseconds.
pub fn clock() -> Clock {
    Arc::new(now)
}

pub fn now() -> NaiveDateTime {
    chrono::Utc::now().naive_utc().trunc_subsecs(6)
}

pub fn header() -> EntryHeader {
    EntryHeader { actor: "user:test".into(), operation: "test", ..EntryHeader::default() }
}

/// Records a row under a fresh id, which it returns.
pub fn add<F: Fact>(tx: &mut WriteTx<'_>, row: impl FnOnce(i64) -> F) -> Result<i64, StorageError> {
    let row = row(tx.id());
    tx.record(&row)?;
    Ok(row.id())
}

/// Opens a site; `code` must be new.
pub fn open_site(tx: &mut WriteTx<'_>, code: impl Into<String>) -> Result<i64, StorageError> {
    let entry = tx.entry();
    add(tx, |id| SiteRow { id, entry, code: code.into() })
}

/// The numbers a query gives, in one column named `number`.
pub fn numbers(conn: &mut AnyConnection, query: &str) -> Vec<i64> {
    #[derive(QueryableByName)]
    struct Row {
        #[diesel(sql_type = BigInt)]
        number: i64,
    }
    let rows: Vec<Row> = sql_query(query).load(conn).unwrap_or_else(|error| panic!("{query}: {error}"));
    rows.into_iter().map(|row| row.number).collect()
}

/// The texts a query gives, in one column named `text`.
pub fn texts(conn: &mut AnyConnection, query: &str) -> Vec<String> {
    #[derive(QueryableByName)]
    struct Row {
        #[diesel(sql_type = Text)]
        text: String,
    }
    let rows: Vec<Row> = sql_query(query).load(conn).unwrap_or_else(|error| panic!("{query}: {error}"));
    rows.into_iter().map(|row| row.text).collect()
}

/// The codes of all sites, in order.
pub fn sites(conn: &mut AnyConnection) -> Vec<String> {
    let mut codes = texts(conn, "SELECT code AS text FROM sites");
    codes.sort();
    codes
}

/// The positions in the journal, in order.
pub fn positions(conn: &mut AnyConnection) -> Vec<i64> {
    numbers(conn, "SELECT seq AS number FROM journal ORDER BY seq")
}
