//! Addresses, readers that only read, and connections that are lost.

use diesel::connection::SimpleConnection;
use tubtrail_storage::{AnyConnection, Database, DatabaseUrl, StorageError, connection};
use tubtrail_tests::{Backend, TestDatabase, on_both};

use crate::house::{House, numbers, open_site, positions, sites};

on_both!(readers_cannot_write, a_snapshot_does_not_see_later_commits);

fn readers_cannot_write(backend: Backend) {
    let database = TestDatabase::new(backend);
    let house = House::open(&database);
    let mut reader = house.database.reader().unwrap();
    for sql in ["INSERT INTO sites VALUES (1, 1, 'a')", "UPDATE journal_head SET seq = 1", "CREATE TABLE x (y TEXT)"] {
        let refused = reader.batch_execute(sql).unwrap_err().to_string();
        assert!(refused.contains("readonly") || refused.contains("read-only"), "{sql}: {refused}");
    }
}

fn a_snapshot_does_not_see_later_commits(backend: Backend) {
    let database = TestDatabase::new(backend);
    let house = House::open(&database);
    house.command(|tx| open_site(tx, "a")).unwrap();
    let mut reader = house.database.reader().unwrap();
    connection::snapshot::<_, StorageError>(&mut reader, |conn| {
        assert_eq!(positions(conn), [1]);
        house.command(|tx| open_site(tx, "b")).unwrap();
        assert_eq!(positions(conn), [1]);
        assert_eq!(sites(conn), ["a"]);
        Ok(())
    })
    .unwrap();
    assert_eq!(sites(&mut reader), ["a", "b"]);
}

#[test]
fn addresses() {
    let good = |text: &str| DatabaseUrl::parse(text).unwrap_or_else(|error| panic!("{text}: {error}"));
    assert_eq!(good("sqlite:a/b.db"), DatabaseUrl::Sqlite("a/b.db".into()));
    assert_eq!(good("sqlite:///var/a.db"), DatabaseUrl::Sqlite("/var/a.db".into()));
    for text in [
        "postgres://u:p@h:1/d",
        "postgresql://h/d",
        "postgres://h/d?sslmode=disable",
        "postgres://h/d?connect_timeout=3&sslmode=prefer",
    ] {
        assert_eq!(good(text), DatabaseUrl::Postgres(text.into()));
    }
    for text in [
        "",
        "tubtrail.db",
        "sqlite:",
        "sqlite://",
        "mysql://h/d",
        "POSTGRES",
        "postgres://h/d?sslmode=require",
        "postgres://h/d?sslmode=verify-full&connect_timeout=3",
        "postgresql://h/d?connect_timeout=3&sslmode=verify-ca",
        "postgres://h/d?sslmode=",
    ] {
        assert!(matches!(DatabaseUrl::parse(text), Err(StorageError::Address(_))), "{text:?}");
    }
}

#[test]
fn a_missing_file_is_not_made_by_reading_it() {
    let database = TestDatabase::new(Backend::Sqlite);
    assert!(matches!(Database::open_beside(&database.address()), Err(StorageError::Connect(_))));
    assert_eq!(std::fs::read_dir(database.folder()).unwrap().count(), 0);
}

/// Ends every other connection to the database, as a restart of PostgreSQL would.
fn terminate_others(conn: &mut AnyConnection) -> usize {
    let query = "SELECT CAST(pg_terminate_backend(pid, 10000) AS INTEGER)::BIGINT AS number FROM pg_stat_activity \
                 WHERE datname = current_database() AND pid <> pg_backend_pid() AND backend_type = 'client backend'";
    numbers(conn, query).len()
}

#[test]
fn the_writer_comes_back_after_losing_its_connection() {
    let database = TestDatabase::new(Backend::Postgres);
    let house = House::open(&database);
    house.command(|tx| open_site(tx, "a")).unwrap();
    assert!(terminate_others(&mut database.connect()) >= 1, "there was a connection to end");
    assert_eq!(house.command(|tx| open_site(tx, "b")).unwrap().entry, 2);
    assert_eq!(sites(&mut house.database.reader().unwrap()), ["a", "b"]);
}

#[test]
fn losing_the_connection_in_a_command_loses_that_command_only() {
    let database = TestDatabase::new(Backend::Postgres);
    let house = House::open(&database);
    house.command(|tx| open_site(tx, "a")).unwrap();
    let address = database.address();
    let lost = house.command(move |tx| {
        open_site(tx, "lost")?;
        terminate_others(&mut connection::connect(&address)?);
        Ok(())
    });
    assert!(lost.is_err(), "it was not committed: {lost:?}");
    assert_eq!(sites(&mut database.connect()), ["a"]);
    assert_eq!(house.command(|tx| open_site(tx, "b")).unwrap().entry, 2);
    assert_eq!(sites(&mut house.database.reader().unwrap()), ["a", "b"]);
}
