//! Many threads, several writers, and who may have a database.

use std::sync::{Arc, Barrier, Mutex};

use tubtrail_storage::{Database, StorageError, Writer, journal};
use tubtrail_tests::{Backend, TestDatabase, on_both};

use crate::house::{House, Nobody, clock, header, open_site, positions, sites};

on_both!(threads_submit_at_once, what_waits_is_finished_before_the_writer_stops);

fn threads_submit_at_once(backend: Backend) {
    let database = TestDatabase::new(backend);
    let house = House::open(&database);
    let start = Barrier::new(32);
    let entries = Mutex::new(Vec::new());
    std::thread::scope(|scope| {
        for thread in 0..32 {
            let (house, start, entries) = (&house, &start, &entries);
            scope.spawn(move || {
                start.wait();
                for round in 0..5 {
                    let code = format!("site-{thread}-{round}");
                    let done = house.command(move |tx| Ok((tx.entry(), open_site(tx, code)?))).unwrap();
                    assert_eq!(done.answer.0, done.entry, "the entry it was told while it ran");
                    assert_eq!(done.answer.1, done.entry, "one row an entry");
                    // Answered is durable: another connection reads it at once.
                    assert!(journal::position(&mut house.database.reader().unwrap()).unwrap() >= done.entry);
                    entries.lock().unwrap().push(done.entry);
                }
            });
        }
    });
    let mut entries = entries.into_inner().unwrap();
    entries.sort_unstable();
    assert_eq!(entries, (1..=160).collect::<Vec<_>>());
    let mut conn = database.connect();
    assert_eq!(positions(&mut conn), entries);
    assert_eq!(sites(&mut conn).len(), 160);
}

fn what_waits_is_finished_before_the_writer_stops(backend: Backend) {
    let database = TestDatabase::new(backend);
    let opened = database.open();
    let writer = Writer::start(&opened, clock(), Arc::new(Nobody)).unwrap();
    writer.submit(header(), |tx| open_site(tx, "a")).unwrap();
    drop(writer);
    assert_eq!(sites(&mut database.connect()), ["a"]);
    let writer = Writer::start(&opened, clock(), Arc::new(Nobody)).unwrap();
    assert_eq!(writer.submit(header(), |tx| open_site(tx, "b")).unwrap().entry, 2);
}

/// As two servers on one PostgreSQL: each decides on what the other has committed.
#[test]
fn two_writers_interleave_without_gaps() {
    let database = TestDatabase::new(Backend::Postgres);
    let houses = [House::open(&database), House::open(&database)];
    let entries = Mutex::new(Vec::new());
    let start = Barrier::new(4);
    std::thread::scope(|scope| {
        for thread in 0..4 {
            let (house, start, entries) = (&houses[thread % 2], &start, &entries);
            scope.spawn(move || {
                start.wait();
                for round in 0..40 {
                    let code = format!("site-{thread}-{round}");
                    let done = house.command(move |tx| open_site(tx, code)).unwrap();
                    entries.lock().unwrap().push((done.entry, thread % 2));
                }
            });
        }
    });
    let mut entries = entries.into_inner().unwrap();
    entries.sort_unstable();
    let turns = entries.windows(2).filter(|pair| pair[0].1 != pair[1].1).count();
    let entries: Vec<i64> = entries.into_iter().map(|(entry, _)| entry).collect();
    assert_eq!(entries, (1..=160).collect::<Vec<_>>());
    assert!(turns > 1, "the writers really took turns");
    let mut conn = database.connect();
    assert_eq!(positions(&mut conn), entries);
    assert_eq!(sites(&mut conn).len(), 160);
}

/// As two servers that are started together on an empty PostgreSQL.
#[test]
fn two_may_open_an_empty_postgres_at_once() {
    for _ in 0..3 {
        let database = TestDatabase::new(Backend::Postgres);
        let start = Barrier::new(4);
        std::thread::scope(|scope| {
            for _ in 0..4 {
                scope.spawn(|| {
                    start.wait();
                    Database::open(&database.address(), 2).map(|_| ()).unwrap();
                });
            }
        });
        House::open(&database).command(|tx| open_site(tx, "a")).unwrap();
    }
}

#[test]
fn a_sqlite_file_has_one_server() {
    let database = TestDatabase::new(Backend::Sqlite);
    let house = House::open(&database);
    match Database::open(&database.address(), 2).map(|_| ()) {
        Err(StorageError::InUse(path)) => assert!(path.ends_with("tubtrail.db"), "{path}"),
        other => panic!("{other:?}"),
    }
    // Beside it one may read, and it still serves.
    let beside = Database::open_beside(&database.address()).unwrap();
    house.command(|tx| open_site(tx, "a")).unwrap();
    assert_eq!(sites(&mut beside.reader().unwrap()), ["a"]);

    // A clone is the same server; only when the last is gone may another come.
    let clone = house.database.clone();
    drop(house);
    assert!(matches!(Database::open(&database.address(), 2).map(|_| ()), Err(StorageError::InUse(_))));
    drop(clone);
    assert_eq!(House::open(&database).command(|tx| open_site(tx, "b")).unwrap().entry, 2);
}

/// Under another name it is the same file.
#[test]
fn a_sqlite_file_has_one_server_under_any_name() {
    let database = TestDatabase::new(Backend::Sqlite);
    let _house = House::open(&database);
    let link = database.folder().join("link.db");
    std::os::unix::fs::symlink(database.folder().join("tubtrail.db"), &link).unwrap();
    let address = tubtrail_storage::DatabaseUrl::Sqlite(link);
    assert!(matches!(Database::open(&address, 2).map(|_| ()), Err(StorageError::InUse(_))));
}
