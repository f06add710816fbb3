//! Verifying finds nothing where nothing is wrong, and names the row where something is.

use diesel::connection::SimpleConnection;
use diesel::sql_types::Text;
use diesel::{QueryableByName, RunQueryDsl, sql_query};
use tubtrail_operations::completions::OutputKind;
use tubtrail_operations::verify::{Verified, verify};
use tubtrail_storage::AnyConnection;
use tubtrail_tests::{Backend, TestHouse, on_both};

use crate::bench::{add, begin, complete, try_to_add_water, try_to_use, try_to_void};

on_both!(
    a_day_of_work_verifies,
    an_empty_house_verifies,
    a_fact_that_was_changed_is_named,
    a_balance_that_was_changed_is_named,
    a_fact_that_was_removed_is_named,
);

fn worked(backend: Backend) -> TestHouse {
    let house = TestHouse::new(backend);
    house.recipe("white-base-60", "white-base", &[("milk", 6000)], 5900);
    let milk = house.receive("dairy", "milk", "24-118", 8000);
    let sugar = house.receive("dairy", "sugar", "S-1", 500);
    let batch = begin(&house, "white-base-60");
    add(&house, batch, &milk, 6000);
    let wrong = add(&house, batch, &milk, 10);
    try_to_void(&house, wrong).unwrap();
    try_to_add_water(&house, batch, 100, None).unwrap();
    complete(&house, batch, &[(OutputKind::Base, 5900)]);
    // What is written down or voided after the completion does not change what it said.
    let late = try_to_use(&house, batch, &sugar, 50, Some("on the sheet")).unwrap().uses[0].id;
    try_to_void(&house, late).unwrap();
    try_to_use(&house, batch, &sugar, 60, Some("on the sheet")).unwrap();
    begin(&house, "white-base-60");
    house
}

fn beside(house: &TestHouse) -> Verified {
    verify(&house.database().address()).unwrap_or_else(|error| panic!("{error:?}"))
}

fn a_day_of_work_verifies(backend: Backend) {
    let house = worked(backend);
    let verified = beside(&house);
    assert_eq!(verified.wrong, None);
    assert_eq!((verified.lots, verified.completions), (3, 1));
    assert_eq!((verified.graph_lots, verified.graph_batches, verified.graph_uses), (3, 2, 2));
    assert_eq!(verified.shares, 2, "two lots were received");
    assert!(verified.entries > 15 && verified.rows > verified.entries && verified.balances >= 6, "{verified:?}");
    assert_eq!(house.tubtrail.verify().unwrap(), verified, "and the index that is running is like it");
}

fn an_empty_house_verifies(backend: Backend) {
    let house = TestHouse::new(backend);
    assert_eq!((beside(&house).wrong, beside(&house).lots), (None, 0));
}

/// What the database itself has against tampering is taken away first: triggers, keys, checks.
fn tamper(house: &TestHouse, sql: &str) -> (String, String) {
    #[derive(QueryableByName)]
    struct Name {
        #[diesel(sql_type = Text)]
        text: String,
    }
    house.database().spoiled();
    let mut conn = house.database().connect();
    if let AnyConnection::Sqlite(_) = conn {
        let triggers = "SELECT 'DROP TRIGGER ' || name AS text FROM sqlite_master WHERE type = 'trigger'";
        for drop in sql_query(triggers).load::<Name>(&mut conn).unwrap() {
            conn.batch_execute(&drop.text).unwrap();
        }
        conn.batch_execute("PRAGMA foreign_keys = OFF").unwrap();
    } else {
        conn.batch_execute("SET session_replication_role = replica").unwrap();
    }
    conn.batch_execute(sql).unwrap_or_else(|error| panic!("{sql}: {error}"));
    let wrong = beside(house).wrong.unwrap_or_else(|| panic!("nobody noticed: {sql}"));
    (wrong.table, wrong.row)
}

fn a_fact_that_was_changed_is_named(backend: Backend) {
    let house = worked(backend);
    let named = tamper(&house, "UPDATE lots SET supplier_lot_code = '24-119' WHERE id = 1");
    assert_eq!(named, ("lots".into(), "1".into()));
}

fn a_balance_that_was_changed_is_named(backend: Backend) {
    let house = worked(backend);
    let (table, row) =
        tamper(&house, "UPDATE balances SET mass_mg = mass_mg + 1 WHERE lot_id = 2 AND state = 'available'");
    assert_eq!(table, "balances");
    assert!(row.starts_with("lot 2,") && row.ends_with("available"), "{row}");
}

fn a_fact_that_was_removed_is_named(backend: Backend) {
    let house = worked(backend);
    let (table, _) = tamper(&house, "DELETE FROM use_voids WHERE id = (SELECT MIN(id) FROM use_voids)");
    assert_eq!(table, "use_voids");
}
