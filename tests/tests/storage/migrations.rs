//! Migrations up, up again, down and up.

use std::collections::BTreeSet;
use std::path::{Path, PathBuf};

use diesel::connection::SimpleConnection;
use diesel_migrations::{FileBasedMigrations, MigrationHarness};
use tubtrail_storage::{AnyConnection, Database, StorageError, audit, migrations};
use tubtrail_tests::{Backend, TestDatabase, on_both};

use crate::house::{House, numbers, open_site};
use crate::{every_fact, schema};

on_both!(
    a_second_run_applies_nothing,
    down_and_up_again,
    balances_are_the_same_however_they_are_kept,
    a_written_world_stands_a_second_start,
    a_database_without_its_tables_is_not_read,
    an_unknown_migration_is_noticed,
);

fn folder(backend: Backend) -> PathBuf {
    let name = match backend {
        Backend::Sqlite => "sqlite",
        Backend::Postgres => "postgres",
    };
    Path::new(env!("CARGO_MANIFEST_DIR")).join("../migrations").join(name)
}

fn names(backend: Backend) -> BTreeSet<String> {
    let entries = std::fs::read_dir(folder(backend)).unwrap();
    entries.map(|entry| entry.unwrap().file_name().into_string().unwrap()).collect()
}

#[test]
fn both_backends_have_migrations_of_the_same_names() {
    assert_eq!(names(Backend::Sqlite), names(Backend::Postgres));
}

fn a_second_run_applies_nothing(backend: Backend) {
    let database = TestDatabase::new(backend);
    let mut conn = database.connect();
    assert!(!migrations::is_current(&mut conn).unwrap());
    assert_eq!(migrations::run(&mut conn).unwrap().len(), names(backend).len());
    assert!(migrations::is_current(&mut conn).unwrap());
    assert_eq!(migrations::run(&mut conn).unwrap(), Vec::<String>::new());
    assert!(migrations::is_current(&mut conn).unwrap());
}

fn down_and_up_again(backend: Backend) {
    let database = TestDatabase::new(backend);
    let mut conn = database.connect();
    migrations::run(&mut conn).unwrap();
    let before = schema::tables(&mut conn);
    let files = FileBasedMigrations::from_path(folder(backend)).unwrap();
    let reverted = match &mut conn {
        AnyConnection::Sqlite(conn) => conn.revert_all_migrations(files).map(|gone| gone.len()),
        AnyConnection::Postgres(conn) => conn.revert_all_migrations(files).map(|gone| gone.len()),
    };
    assert_eq!(reverted.unwrap(), names(backend).len());
    assert!(schema::tables(&mut conn).is_empty(), "something is left: {:?}", schema::tables(&mut conn).keys());
    if backend == Backend::Postgres {
        let query = "SELECT COUNT(*) AS number FROM pg_proc WHERE pronamespace = current_schema()::regnamespace";
        assert_eq!(numbers(&mut conn, query), [0], "functions are left");
    }
    migrations::run(&mut conn).unwrap();
    assert_eq!(schema::tables(&mut conn), before);
}

fn balances_are_the_same_however_they_are_kept(backend: Backend) {
    let database = TestDatabase::new(backend);
    every_fact::write(&House::open(&database));
    let mut conn = database.connect();
    let before = audit::check(&mut conn).unwrap();
    assert!(before.wrong.is_none() && before.balances > 0, "{before:?}");
    for way in ["down.sql", "up.sql"] {
        let sql = std::fs::read_to_string(folder(backend).join("0019_balances_by_lot").join(way)).unwrap();
        conn.batch_execute(&sql).unwrap();
        assert_eq!(audit::check(&mut conn).unwrap(), before, "{way}");
    }
}

fn a_written_world_stands_a_second_start(backend: Backend) {
    let database = TestDatabase::new(backend);
    every_fact::write(&House::open(&database));
    let house = House::open(&database);
    let entry = house.command(|tx| open_site(tx, "one-more")).unwrap().entry;
    assert_eq!(entry, every_fact::ENTRIES + 1, "the first start left its entries");
}

fn a_database_without_its_tables_is_not_read(backend: Backend) {
    let database = TestDatabase::new(backend);
    drop(database.connect());
    assert!(matches!(Database::open_beside(&database.address()), Err(StorageError::Migrate(_))));
}

fn an_unknown_migration_is_noticed(backend: Backend) {
    let database = TestDatabase::new(backend);
    let mut conn = database.connect();
    migrations::run(&mut conn).unwrap();
    conn.batch_execute("INSERT INTO __diesel_schema_migrations (version) VALUES ('9999')").unwrap();
    assert!(!migrations::is_current(&mut conn).unwrap(), "a newer program made these tables");
    database.spoiled();
}
