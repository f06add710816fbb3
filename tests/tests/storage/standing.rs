//! How a lot stands is asked for all day, over connections that stay: it must not come to cost more with what is written of other lots.

use diesel::connection::SimpleConnection;
use diesel::prelude::*;
use diesel::sql_query;
use diesel::sql_types::BigInt;
use tubtrail_storage::connection::connect_to_write;
use tubtrail_storage::{AnyConnection, standing};
use tubtrail_tests::{Backend, TestDatabase};

use crate::every_fact;
use crate::house::House;

#[derive(QueryableByName)]
struct Read {
    #[diesel(sql_type = BigInt)]
    rows: i64,
}

/// PostgreSQL makes a plan while there are few holds, and keeps it when there are many.
#[test]
fn the_holds_of_other_lots_are_not_gone_through() {
    let database = TestDatabase::new(Backend::Postgres);
    // Its journal knows nothing of the holds that are put in below.
    database.spoiled();
    every_fact::write(&House::open(&database));
    let mut conn = connect_to_write(&database.address()).unwrap();
    let lot = standing::by_id(&mut conn, 1).unwrap().expect("its first lot").lot.number().unwrap();
    // From the sixth time on a plan is kept.
    for _ in 0..8 {
        standing::by_number(&mut conn, lot).unwrap();
    }
    database
        .connect()
        .batch_execute(
            "INSERT INTO holds (id, entry, lot_id, reason) \
             SELECT 1000000 + g, (SELECT MIN(entry) FROM holds), 2, 'of another lot' FROM generate_series(1, 5000) g",
        )
        .unwrap();
    let read = conn
        .transaction(|conn| {
            standing::by_number(conn, lot).unwrap();
            rows_of_holds(conn)
        })
        .unwrap();
    assert!(read < 100, "{read} rows of holds were read");
}

/// How many this transaction has read so far.
fn rows_of_holds(conn: &mut AnyConnection) -> QueryResult<i64> {
    let read: Read = sql_query(
        "SELECT COALESCE(idx_tup_fetch, 0) + seq_tup_read AS rows FROM pg_stat_xact_user_tables WHERE relname = 'holds'",
    )
    .get_result(conn)?;
    Ok(read.rows)
}
