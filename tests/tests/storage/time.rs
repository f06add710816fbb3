//! Time is kept to the microsecond.

use chrono::{DateTime, NaiveDateTime};
use diesel::{ExpressionMethods, QueryDsl, RunQueryDsl};
use tubtrail_storage::people::{LoginAttemptRow, UserRow, login_attempts};
use tubtrail_tests::{Backend, Dice, TestDatabase, on_both};

use crate::house::{House, add};

on_both!(time_survives_to_the_microsecond);

fn from_micros(micros: i64) -> NaiveDateTime {
    DateTime::from_timestamp_micros(micros).unwrap().naive_utc()
}

fn time_survives_to_the_microsecond(backend: Backend) {
    let mut dice = Dice::roll();
    // A whole second, each end of one, before 1970, a leap day, and then by chance up to the year 2100.
    let mut times = vec![0, 1, 999_999, 1_000_000, -1, -999_999, 951_782_400_000_010, 1_700_000_000_100_000];
    times.extend((0..200).map(|_| dice.i64(-1_000_000_000_000_000..4_102_444_800_000_000)));
    let database = TestDatabase::new(backend);
    let house = House::open(&database);
    let given = times.clone();
    house
        .command(move |tx| {
            let (user_id, entry) = (tx.id(), tx.entry());
            tx.record(&UserRow { id: user_id, entry, login: "paola".into() })?;
            for micros in given {
                let attempted_at = from_micros(micros);
                add(tx, |id| LoginAttemptRow { id, entry, user_id, attempted_at, succeeded: true })?;
            }
            Ok(())
        })
        .unwrap();
    let mut conn = database.connect();
    let attempted_at = || login_attempts::table.select(login_attempts::attempted_at);
    let found: Vec<NaiveDateTime> = attempted_at().order(login_attempts::id).load(&mut conn).unwrap();
    assert_eq!(found, times.iter().copied().map(from_micros).collect::<Vec<_>>());

    // They also compare as times do: the text SQLite keeps is in their order.
    times.sort_unstable();
    let found: Vec<NaiveDateTime> = attempted_at().order(login_attempts::attempted_at).load(&mut conn).unwrap();
    assert_eq!(found, times.iter().copied().map(from_micros).collect::<Vec<_>>());
    for micros in times.into_iter().step_by(20) {
        let exactly: i64 = login_attempts::table
            .filter(login_attempts::attempted_at.eq(from_micros(micros)))
            .count()
            .get_result(&mut conn)
            .unwrap();
        assert_eq!(exactly, 1, "{}", from_micros(micros));
    }
}
