//! The audit finds nothing in a world that was written, and names whatever was tampered with.

use diesel::connection::SimpleConnection;
use diesel::result::Error;
use diesel::{Connection, RunQueryDsl, sql_query};
use tubtrail_storage::audit::{self, Report, Wrong};
use tubtrail_storage::{AnyConnection, StorageError};
use tubtrail_tests::{Backend, TestDatabase, on_both};

use crate::every_fact;
use crate::house::{House, numbers, open_site, texts};
use crate::schema::{self, fact_tables};

on_both!(
    a_written_world_is_clean,
    an_empty_database_is_clean,
    a_missing_trigger_is_named,
    every_column_of_every_fact_is_covered,
    a_deleted_fact_is_missed,
    an_added_fact_is_noticed,
    every_column_of_the_journal_is_covered,
    a_removed_entry_is_missed,
    the_head_is_compared,
    balances_are_recomputed,
);

/// A written world, and a connection that may spoil it.
struct Tamperer {
    conn: AnyConnection,
    // Gone when the test ends, and not before.
    _database: TestDatabase,
}

impl Tamperer {
    fn new(backend: Backend) -> Self {
        let database = TestDatabase::new(backend);
        every_fact::write(&House::open(&database));
        assert_eq!(beside(&database).wrong, None, "it begins whole");
        let mut conn = database.connect();
        disarm(&mut conn);
        database.spoiled();
        Self { conn, _database: database }
    }

    /// What the audit says while some statements are in force; they are taken back.
    fn wrong_after(&mut self, sql: &str) -> Option<Wrong> {
        let mut found = None;
        let _ = self.conn.transaction::<(), Error, _>(|conn| {
            conn.batch_execute(sql).unwrap_or_else(|error| panic!("{sql}: {error}"));
            found = Some(audit::check(conn).unwrap_or_else(|error| panic!("{sql}: {error}")));
            Err(Error::RollbackTransaction)
        });
        found.unwrap().wrong
    }

    #[track_caller]
    fn names(&mut self, sql: &str, table: &str, row: &str) -> Wrong {
        let wrong = self.wrong_after(sql).unwrap_or_else(|| panic!("the audit does not see: {sql}"));
        assert_eq!((wrong.table.as_str(), wrong.row.as_str()), (table, row), "{sql}: {wrong:?}");
        wrong
    }

    fn tables(&mut self) -> Vec<String> {
        fact_tables(&mut self.conn)
    }
}

/// Takes away what the database itself has against tampering: triggers, foreign keys, checks.
fn disarm(conn: &mut AnyConnection) {
    match conn {
        AnyConnection::Sqlite(_) => {
            for drop in texts(conn, "SELECT 'DROP TRIGGER ' || name AS text FROM sqlite_master WHERE type = 'trigger'")
            {
                conn.batch_execute(&drop).unwrap();
            }
            conn.batch_execute("PRAGMA foreign_keys = OFF; PRAGMA ignore_check_constraints = ON").unwrap();
        }
        AnyConnection::Postgres(_) => {
            let checks = "SELECT format('ALTER TABLE %s DROP CONSTRAINT %I', conrelid::regclass, conname) AS text \
                          FROM pg_constraint WHERE contype = 'c' AND connamespace = current_schema()::regnamespace";
            for drop in texts(conn, checks) {
                conn.batch_execute(&drop).unwrap();
            }
            conn.batch_execute("SET session_replication_role = replica").unwrap();
        }
    }
}

fn beside(database: &TestDatabase) -> Report {
    audit::check(&mut database.connect()).unwrap()
}

fn a_written_world_is_clean(backend: Backend) {
    let database = TestDatabase::new(backend);
    every_fact::write(&House::open(&database));
    let mut conn = database.connect();
    let rows: i64 = fact_tables(&mut conn)
        .iter()
        .map(|table| numbers(&mut conn, &format!("SELECT COUNT(*) AS number FROM {table}"))[0])
        .sum();
    let balances = numbers(&mut conn, "SELECT COUNT(*) AS number FROM balances")[0];
    let report = beside(&database);
    assert_eq!(report.wrong, None);
    assert_eq!(report.entries, u64::try_from(every_fact::ENTRIES).unwrap());
    assert_eq!(report.rows, u64::try_from(rows).unwrap(), "every row was read");
    assert_eq!(report.balances, u64::try_from(balances).unwrap(), "every balance was recomputed");
}

fn an_empty_database_is_clean(backend: Backend) {
    let database = TestDatabase::new(backend);
    drop(database.open());
    assert_eq!(beside(&database), Report::default());
}

/// Another value for a column, in SQL: a different one of its type, whatever it was.
fn other_value(column: &str, kind: &str) -> String {
    match kind {
        "bigint" | "integer" => format!("COALESCE({column}, 0) + 1000"),
        "text" => format!("COALESCE({column}, '') || 'x'"),
        "boolean" => format!("NOT {column}"),
        "timestamp" => "'2001-02-03 04:05:06.000007'".into(),
        "date" => "'2001-02-03'".into(),
        _ => panic!("a new type: {kind}"),
    }
}

/// Each column of each table in turn: another value, and where it may be, none.
fn every_column_of_every_fact_is_covered(backend: Backend) {
    let mut tamperer = Tamperer::new(backend);
    let mut schema = schema::tables(&mut tamperer.conn);
    for table in tamperer.tables() {
        let columns = schema.remove(&table).unwrap().columns;
        let ids = numbers(&mut tamperer.conn, &format!("SELECT id AS number FROM {table} ORDER BY id"));
        for (column, (kind, nullable)) in columns {
            if column == "id" {
                continue;
            }
            for id in [ids[0], ids[ids.len() - 1]] {
                let row = id.to_string();
                let other = other_value(&column, &kind);
                tamperer.names(&format!("UPDATE {table} SET {column} = {other} WHERE id = {id}"), &table, &row);
                let is_null = format!("SELECT COUNT(*) AS number FROM {table} WHERE id = {id} AND {column} IS NULL");
                if nullable && numbers(&mut tamperer.conn, &is_null) == [0] {
                    tamperer.names(&format!("UPDATE {table} SET {column} = NULL WHERE id = {id}"), &table, &row);
                }
            }
        }
        // Given another id, it is missed under its own.
        let id = ids[0];
        let sql = format!("UPDATE {table} SET id = id + 100000 WHERE id = {id}");
        tamperer.names(&sql, &table, &id.to_string());
    }
}

fn a_deleted_fact_is_missed(backend: Backend) {
    let mut tamperer = Tamperer::new(backend);
    for table in tamperer.tables() {
        for id in numbers(&mut tamperer.conn, &format!("SELECT id AS number FROM {table}")) {
            let entry = numbers(&mut tamperer.conn, &format!("SELECT entry AS number FROM {table} WHERE id = {id}"))[0];
            let wrong = tamperer.names(&format!("DELETE FROM {table} WHERE id = {id}"), &table, &id.to_string());
            assert_eq!(wrong.entry, Some(entry));
            assert_eq!(wrong.what, "the row is missing");
        }
    }
}

/// A copy of the last row under an id of no command's: after all others, between them, and below them all.
fn an_added_fact_is_noticed(backend: Backend) {
    let mut tamperer = Tamperer::new(backend);
    let mut schema = schema::tables(&mut tamperer.conn);
    for table in tamperer.tables() {
        let columns = schema.remove(&table).unwrap();
        let last = numbers(&mut tamperer.conn, &format!("SELECT MAX(id) AS number FROM {table}"))[0];
        let taken = numbers(&mut tamperer.conn, &format!("SELECT id AS number FROM {table} ORDER BY id"));
        let between = (taken[0]..last).find(|id| !taken.contains(id));
        assert_eq!(between.is_none(), table == "lots", "lots are dense, and only they");
        for id in [100_000, i64::MAX, -1, i64::MIN].into_iter().chain(between) {
            for entry in [1, every_fact::ENTRIES, every_fact::ENTRIES + 1] {
                let names: Vec<&String> = columns.columns.keys().collect();
                let values: Vec<String> = columns
                    .columns
                    .iter()
                    .map(|(name, (kind, _))| match name.as_str() {
                        "id" => id.to_string(),
                        "entry" => entry.to_string(),
                        _ if columns.unique.iter().flatten().any(|unique| unique == name) && kind != "date" => {
                            other_value(name, kind)
                        }
                        _ => name.clone(),
                    })
                    .collect();
                let sql = format!(
                    "INSERT INTO {table} ({}) SELECT {} FROM {table} WHERE id = {last}",
                    names.iter().map(|name| name.as_str()).collect::<Vec<_>>().join(", "),
                    values.join(", ")
                );
                let wrong = tamperer.names(&sql, &table, &id.to_string());
                assert_eq!(wrong.what, "no command wrote it", "{sql}");
            }
        }
    }
}

/// All but those that say which rows are the entry's: what is wrong with those is told of the rows.
fn every_column_of_the_journal_is_covered(backend: Backend) {
    let mut tamperer = Tamperer::new(backend);
    let columns = schema::tables(&mut tamperer.conn).remove("journal").unwrap().columns;
    for seq in [1, 4, every_fact::ENTRIES] {
        for (column, (kind, nullable)) in &columns {
            let other = match column.as_str() {
                "seq" | "changes" | "digests" => continue,
                _ => other_value(column, kind),
            };
            let sql = format!("UPDATE journal SET {column} = {other} WHERE seq = {seq}");
            tamperer.names(&sql, "journal", &seq.to_string());
            let is_null = format!("SELECT COUNT(*) AS number FROM journal WHERE seq = {seq} AND {column} IS NULL");
            if *nullable && numbers(&mut tamperer.conn, &is_null) == [0] {
                tamperer.names(
                    &format!("UPDATE journal SET {column} = NULL WHERE seq = {seq}"),
                    "journal",
                    &seq.to_string(),
                );
            }
        }
        for (column, value) in [("changes", "'['"), ("digests", "'!'"), ("digests", "digests || 'AAAAAAAA'")] {
            let sql = format!("UPDATE journal SET {column} = {value} WHERE seq = {seq}");
            tamperer.names(&sql, "journal", &seq.to_string());
        }
        let sql = format!("UPDATE journal SET changes = '[[\"sites\",9223372036854775807,5]]' WHERE seq = {seq}");
        tamperer.names(&sql, "journal", &seq.to_string());
        // It claims rows that are not there; however many, the first is named.
        let sql = format!("UPDATE journal SET changes = '[[\"sites\",700,9223372036854775000]]' WHERE seq = {seq}");
        tamperer.names(&sql, "sites", "700");
    }
}

fn a_removed_entry_is_missed(backend: Backend) {
    let mut tamperer = Tamperer::new(backend);
    for seq in 1..=8 {
        let wrong = tamperer.names(&format!("DELETE FROM journal WHERE seq = {seq}"), "journal", &seq.to_string());
        assert_eq!((wrong.what.as_str(), wrong.entry), ("the entry is missing", Some(seq)));
    }
    // With all its rows.
    let tables = tamperer.tables();
    let mut gone = vec!["DELETE FROM journal WHERE seq = 4".to_owned()];
    gone.extend(tables.iter().map(|table| format!("DELETE FROM {table} WHERE entry = 4")));
    tamperer.names(&gone.join("; "), "journal", "4");
    tamperer.names("DELETE FROM journal", "journal", "1");
    // Two entries change places.
    let sql = "UPDATE journal SET seq = 1006 WHERE seq = 6; UPDATE journal SET seq = 6 WHERE seq = 5; \
               UPDATE journal SET seq = 5 WHERE seq = 1006";
    tamperer.names(sql, "journal", "5");
}

fn the_head_is_compared(backend: Backend) {
    let mut tamperer = Tamperer::new(backend);
    for change in [
        "seq = seq + 1",
        "seq = seq - 1",
        "seq = 0",
        "hash = hash || 'x'",
        "hash = (SELECT hash FROM journal WHERE seq = 7)",
        // The last numbers given out: were they lower, numbers would be given out twice, and lots left unchecked.
        "last_id = last_id - 1",
        "last_lot_id = last_lot_id - 1",
        "last_lot_id = 0",
        "last_lot_id = last_lot_id + 1",
    ] {
        tamperer.names(&format!("UPDATE journal_head SET {change}"), "journal_head", "1");
    }
    let gone = tamperer.conn.transaction::<(), StorageError, _>(|conn| {
        sql_query("DELETE FROM journal_head").execute(conn)?;
        audit::check(conn).map(|_| ())
    });
    assert!(gone.is_err(), "without a head there is nothing to compare with");
}

fn balances_are_recomputed(backend: Backend) {
    let mut tamperer = Tamperer::new(backend);
    let rows = texts(
        &mut tamperer.conn,
        "SELECT CAST(lot_id AS TEXT) || ',' || CAST(site_id AS TEXT) || ',' || state AS text FROM balances",
    );
    assert!(rows.len() > 10);
    for row in rows {
        let [lot, site, state] = row.split(',').collect::<Vec<_>>().try_into().unwrap();
        let place = format!("lot {lot}, site {site}, {state}");
        let filter = format!("WHERE lot_id = {lot} AND site_id = {site} AND state = '{state}'");
        tamperer.names(&format!("UPDATE balances SET mass_mg = mass_mg + 1 {filter}"), "balances", &place);
        tamperer.names(&format!("UPDATE balances SET mass_mg = mass_mg - 1 {filter}"), "balances", &place);
        tamperer.names(&format!("DELETE FROM balances {filter}"), "balances", &place);
        // Moved to another site, either end may be named first: both are wrong.
        let wrong = tamperer.wrong_after(&format!("UPDATE balances SET site_id = 999 {filter}")).expect(&place);
        assert_eq!(wrong.table, "balances");
    }
    for (lot, place) in [(1, "lot 1, site 1, open"), (0, "lot 0, site 1, open"), (-7, "lot -7, site 1, open")] {
        tamperer.names(&format!("INSERT INTO balances VALUES ({lot}, 1, 'open', 5)"), "balances", place);
    }
    tamperer.names("INSERT INTO balances VALUES (900, 1, 'open', 5)", "balances", "lot 900, site 1, open");
    // With nothing changed, only the triggers are missing that were taken away for this.
    let wrong = tamperer.wrong_after("SELECT 1");
    assert!(wrong.as_ref().is_none_or(|wrong| wrong.row.starts_with("trigger ")), "{wrong:?}");
}

/// More rows than the audit reads at a time, in tables that take turns.
#[test]
fn a_world_of_many_pages_is_clean_and_its_last_row_named() {
    let database = TestDatabase::new(Backend::Sqlite);
    let house = House::open(&database);
    for round in 0..5 {
        house
            .command(move |tx| (0..1000).try_for_each(|site| open_site(tx, format!("{round}-{site}")).map(|_| ())))
            .unwrap();
        house.command(move |tx| open_site(tx, format!("{round}-alone"))).unwrap();
    }
    let report = beside(&database);
    assert_eq!((report.wrong, report.entries, report.rows), (None, 10, 5005));
    let mut conn = database.connect();
    disarm(&mut conn);
    conn.batch_execute("UPDATE sites SET code = 'x' WHERE id = 5005").unwrap();
    assert_eq!(beside(&database).wrong.map(|wrong| (wrong.table, wrong.row)), Some(("sites".into(), "5005".into())));
    database.spoiled();
}

/// Facts that are whole, but that could now be changed.
fn a_missing_trigger_is_named(backend: Backend) {
    let database = TestDatabase::new(backend);
    every_fact::write(&House::open(&database));
    database.spoiled();
    let (sql, trigger) = match backend {
        Backend::Sqlite => ("DROP TRIGGER movements_refuse_delete", "movements_refuse_delete"),
        Backend::Postgres => {
            ("ALTER TABLE movements DISABLE TRIGGER movements_refuse_change", "movements_refuse_change")
        }
    };
    assert_eq!(beside(&database).wrong, None);
    database.connect().batch_execute(sql).unwrap();
    let wrong = beside(&database).wrong.expect("it is seen");
    assert_eq!((wrong.table.as_str(), wrong.row), ("movements", format!("trigger {trigger}")));
}
