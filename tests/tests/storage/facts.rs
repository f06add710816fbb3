//! Facts only grow, and nothing goes below zero: the database itself says so.

use diesel::connection::SimpleConnection;
use diesel::result::Error;
use diesel::{Connection, RunQueryDsl, sql_query};
use tubtrail_domain::place::State;
use tubtrail_storage::AnyConnection;
use tubtrail_tests::{Backend, TestDatabase, on_both};

use crate::every_fact;
use crate::house::{House, numbers};
use crate::schema::{self, fact_tables};

on_both!(
    every_table_has_rows_to_test_with,
    update_and_delete_are_refused,
    replacing_is_refused,
    a_negative_balance_is_refused,
    a_movement_of_nothing_is_refused,
);

/// Runs one statement and takes it back; the message it was refused with, or how many rows it touched.
pub fn attempt(conn: &mut AnyConnection, sql: &str) -> Result<usize, String> {
    let mut outcome = Ok(0);
    let _ = conn.transaction::<(), Error, _>(|conn| {
        outcome = sql_query(sql).execute(conn).map_err(|error| error.to_string());
        Err(Error::RollbackTransaction)
    });
    outcome
}

fn written(backend: Backend) -> (TestDatabase, AnyConnection) {
    let database = TestDatabase::new(backend);
    every_fact::write(&House::open(&database));
    let conn = database.connect();
    (database, conn)
}

/// If this fails for a new table: give `every_fact` a row of it in each of its two rounds.
fn every_table_has_rows_to_test_with(backend: Backend) {
    let (_database, mut conn) = written(backend);
    for table in fact_tables(&mut conn) {
        let rows = numbers(&mut conn, &format!("SELECT COUNT(*) AS number FROM {table}"))[0];
        assert!(rows >= 2, "{table} has {rows} rows");
    }
}

fn update_and_delete_are_refused(backend: Backend) {
    let (_database, mut conn) = written(backend);
    let schema = schema::tables(&mut conn);
    for (table, described) in schema.iter().filter(|(table, _)| !["balances", "journal_head"].contains(&table.as_str()))
    {
        for column in described.columns.keys() {
            let refused = attempt(&mut conn, &format!("UPDATE {table} SET {column} = {column}")).unwrap_err();
            assert_eq!(refused, format!("facts only grow: UPDATE on {table} is refused"));
        }
        let refused = attempt(&mut conn, &format!("DELETE FROM {table}")).unwrap_err();
        assert_eq!(refused, format!("facts only grow: DELETE on {table} is refused"));
        if backend == Backend::Postgres {
            let refused = attempt(&mut conn, &format!("TRUNCATE {table} CASCADE")).unwrap_err();
            assert_eq!(refused, format!("facts only grow: TRUNCATE on {table} is refused"));
        }
    }
}

/// The ways to write over a row that are not called UPDATE.
fn replacing_is_refused(backend: Backend) {
    let (_database, mut conn) = written(backend);
    let upsert = "INSERT INTO sites SELECT * FROM sites WHERE id = 1 ON CONFLICT (id) DO UPDATE SET code = 'x'";
    assert_eq!(attempt(&mut conn, upsert).unwrap_err(), "facts only grow: UPDATE on sites is refused");
    if backend == Backend::Sqlite {
        // Of a row that no other names, so that it is not the foreign keys that refuse.
        let replace = "INSERT OR REPLACE INTO lot_rejections SELECT id, entry, lot_id, 'x' FROM lot_rejections";
        let refused = attempt(&mut conn, replace).expect_err("OR REPLACE deletes a fact without a trace");
        assert_eq!(refused, "facts only grow: DELETE on lot_rejections is refused");
    }
}

fn a_negative_balance_is_refused(backend: Backend) {
    let (database, mut conn) = written(backend);
    conn.batch_execute("DELETE FROM balances").unwrap();
    for state in State::ALL {
        let sql = |mass_mg: i64| format!("INSERT INTO balances VALUES (1, 1, '{}', {mass_mg})", state.word());
        let negative = attempt(&mut conn, &sql(-1));
        let may_give = [State::Supplier, State::Production, State::CountDifference].contains(&state);
        if may_give {
            assert_eq!(negative, Ok(1), "{state}");
        } else {
            let refused = negative.expect_err(state.word());
            assert!(refused.to_lowercase().contains("check constraint"), "{state}: {refused}");
        }
        assert_eq!(attempt(&mut conn, &sql(0)), Ok(1), "{state}");
        assert_eq!(attempt(&mut conn, &sql(1)), Ok(1), "{state}");
    }
    let refused = attempt(&mut conn, "INSERT INTO balances VALUES (1, 1, 'lent', 1)").unwrap_err();
    assert!(refused.to_lowercase().contains("check constraint"), "{refused}");
    database.spoiled();
}

fn a_movement_of_nothing_is_refused(backend: Backend) {
    let (_database, mut conn) = written(backend);
    for mass_mg in [0, -1] {
        let columns = "lot_id, kind, from_site_id, from_state, to_site_id, to_state";
        let sql = format!(
            "INSERT INTO movements (id, entry, {columns}, mass_mg, occurred_at) \
             SELECT 9999, 1, {columns}, {mass_mg}, occurred_at FROM movements WHERE id = (SELECT MIN(id) FROM movements)"
        );
        let refused = attempt(&mut conn, &sql).unwrap_err();
        assert!(refused.to_lowercase().contains("check constraint"), "{mass_mg}: {refused}");
        assert_eq!(attempt(&mut conn, &sql.replace(&format!("{mass_mg}, occurred"), "1, occurred")), Ok(1));
    }
}
