//! SQLite's log stays short, however long it is written without a pause, and is copied when nothing is written: whatever is looked up
//! is looked for in it first.

use std::time::{Duration, Instant};

use diesel::sql_types::Integer;
use diesel::{QueryableByName, RunQueryDsl, sql_query};
use tubtrail_storage::WriteTx;
use tubtrail_tests::{Backend, TestDatabase};

use crate::house::{House, open_site};

/// Who writes at the same time.
const CLIENTS: usize = 4;
/// How often each: were the log never begun anew, it came to more than 400 MB.
const TIMES: usize = 500;
/// What each command answers with, which the journal keeps.
const ANSWER: usize = 200_000;
/// As long as the log may become, in bytes: 250 MiB before the writer is asked to copy it, and what is written until it does.
const LONGEST: u64 = 352 << 20;
/// How long the copying may take that begins a second after the last commit.
const PATIENCE: Duration = Duration::from_secs(20);

#[derive(QueryableByName)]
struct Log {
    #[diesel(sql_type = Integer)]
    log: i32,
    #[diesel(sql_type = Integer)]
    checkpointed: i32,
}

#[test]
fn the_log_is_begun_anew_under_load() {
    let database = TestDatabase::new(Backend::Sqlite);
    let house = House::open(&database);
    std::thread::scope(|scope| {
        for client in 0..CLIENTS {
            let house = &house;
            scope.spawn(move || {
                for time in 0..TIMES {
                    let code = format!("site-{client}-{time}");
                    let answer = move |tx: &mut WriteTx<'_>| open_site(tx, code).map(|_| "x".repeat(ANSWER));
                    house.command(answer).unwrap();
                }
            });
        }
    });
    let log = std::fs::read_dir(database.folder()).unwrap().map(|file| file.unwrap());
    let log = log.into_iter().find(|file| file.file_name().to_string_lossy().ends_with("-wal")).expect("it has a log");
    let bytes = log.metadata().unwrap().len();
    assert!(bytes > 0 && bytes < LONGEST, "{bytes}");
}

#[test]
fn what_is_in_the_log_is_copied_when_it_is_quiet() {
    let database = TestDatabase::new(Backend::Sqlite);
    let house = House::open(&database);
    house.command(|tx: &mut WriteTx<'_>| open_site(tx, "quay")).unwrap();
    let mut conn = database.connect();
    let began = Instant::now();
    loop {
        let Log { log, checkpointed } = sql_query("PRAGMA wal_checkpoint(NOOP)").get_result(&mut conn).unwrap();
        assert!(log > 0, "there is no log");
        if checkpointed == log {
            break;
        }
        assert!(began.elapsed() < PATIENCE, "{checkpointed} of {log} pages are copied");
        std::thread::sleep(Duration::from_millis(20));
    }
}
