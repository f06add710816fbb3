//! What must hold of every database at the end of every test.

use std::fmt::Write as _;

use diesel::sql_types::{BigInt, Text};
use diesel::{QueryableByName, RunQueryDsl, sql_query};
use tubtrail_storage::{AnyConnection, Database, StorageError, audit, connection};

/// Each finds rows that must not be there. Written in SQL of their own, so that they share no mistake with the program.
const NONE_OF_THESE: [(&str, &str); 3] = [
    (
        "a balance below zero",
        "SELECT lot_id, site_id, state, mass_mg AS found_mg, CAST(0 AS BIGINT) AS due_mg FROM balances \
         WHERE mass_mg < 0 AND state NOT IN ('supplier', 'production', 'count_difference')",
    ),
    (
        "a lot whose balances do not add up to nothing",
        "SELECT lot_id, CAST(0 AS BIGINT) AS site_id, 'everywhere' AS state, CAST(SUM(mass_mg) AS BIGINT) AS found_mg, \
         CAST(0 AS BIGINT) AS due_mg \
         FROM balances GROUP BY lot_id HAVING SUM(mass_mg) <> 0",
    ),
    (
        "a balance that is not the sum of its movements",
        "SELECT lot_id, site_id, state, CAST(SUM(booked) AS BIGINT) AS found_mg, CAST(SUM(moved) AS BIGINT) AS due_mg \
         FROM (SELECT lot_id, site_id, state, mass_mg AS booked, 0 AS moved FROM balances \
         UNION ALL SELECT lot_id, to_site_id, to_state, 0, mass_mg FROM movements \
         UNION ALL SELECT lot_id, from_site_id, from_state, 0, -mass_mg FROM movements) AS sides \
         GROUP BY lot_id, site_id, state HAVING SUM(booked) <> SUM(moved)",
    ),
];

#[derive(QueryableByName)]
struct Bad {
    #[diesel(sql_type = BigInt)]
    lot_id: i64,
    #[diesel(sql_type = BigInt)]
    site_id: i64,
    #[diesel(sql_type = Text)]
    state: String,
    #[diesel(sql_type = BigInt)]
    found_mg: i64,
    #[diesel(sql_type = BigInt)]
    due_mg: i64,
}

/// Panics if anything is wrong, naming it.
#[track_caller]
pub fn check(database: &Database) {
    let mut reader = database.reader().expect("a reading connection");
    let wrong = connection::snapshot(&mut reader, wrong).expect("the database can be read");
    assert!(wrong.is_empty(), "the database is not whole:\n{wrong}");
}

fn wrong(conn: &mut AnyConnection) -> Result<String, StorageError> {
    let mut text = String::new();
    if let Some(wrong) = audit::check(conn)?.wrong {
        let _ = writeln!(text, "the audit names {wrong:?}");
    }
    for (what, query) in NONE_OF_THESE {
        for Bad { lot_id, site_id, state, found_mg, due_mg } in sql_query(query).load(conn)? {
            let _ = writeln!(
                text,
                "{what}: lot row {lot_id}, site row {site_id}, {state}: {found_mg} mg, should be {due_mg} mg"
            );
        }
    }
    Ok(text)
}
