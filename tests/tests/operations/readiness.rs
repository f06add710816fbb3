//! Whether the house can do its work.

use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};

use tubtrail_operations::installation::Backend as Kept;
use tubtrail_operations::{Request, Tubtrail};
use tubtrail_tests::house::{day, partner};
use tubtrail_tests::{Backend, TestDatabase, on_both};

on_both!(without_its_writer_it_is_not_ready, the_installation_says_what_it_stands_on);

/// A clock that panics takes the writer's thread with it: nothing else is known to.
fn without_its_writer_it_is_not_ready(backend: Backend) {
    let database = TestDatabase::new(backend);
    let stopped = Arc::new(AtomicBool::new(false));
    let stops = Arc::clone(&stopped);
    let clock = Arc::new(move || {
        assert!(!stops.load(Ordering::SeqCst), "the clock has stopped");
        day(2, 6).naive_utc()
    });
    let tubtrail = Tubtrail::open(&database.address(), clock).expect("the house opens");
    tubtrail.create(&Request::system(), partner("dairy", true)).expect("it is new");
    assert_eq!(tubtrail.is_ready().expect("it can write"), 1);
    stopped.store(true, Ordering::SeqCst);
    let error = tubtrail.create(&Request::system(), partner("mill", true)).expect_err("nobody writes it down");
    assert_eq!(error.problem.word, "unavailable");
    // The one who asked hears of it before the thread is quite gone.
    let began = std::time::Instant::now();
    while tubtrail.is_ready().is_ok() {
        assert!(began.elapsed().as_secs() < 30, "it says that it is ready");
        std::thread::sleep(std::time::Duration::from_millis(5));
    }
    let error = tubtrail.is_ready().expect_err("it cannot write");
    assert_eq!(error.problem.word, "unavailable");
    tubtrail.list::<tubtrail_operations::partners::Partner>(&Request::system(), "", 10).expect("it still reads");
}

/// One partner is one entry of the journal.
fn the_installation_says_what_it_stands_on(backend: Backend) {
    let database = TestDatabase::new(backend);
    let clock = Arc::new(|| day(2, 6).naive_utc());
    let tubtrail = Tubtrail::open(&database.address(), clock).expect("the house opens");
    tubtrail.create(&Request::system(), partner("dairy", true)).expect("it is new");
    tubtrail.is_ready().expect("it follows");
    let shown = tubtrail.show_installation(&Request::system()).expect("it is told");
    assert_eq!((shown.journal_position, shown.index_position), (1, 1));
    assert!(shown.migration.is_some_and(|last| last.as_str() >= "0010"), "the tables are those of today");
    match backend {
        Backend::Sqlite => {
            assert_eq!(shown.backend, Kept::Sqlite);
            assert!(shown.database_bytes.is_some_and(|bytes| bytes > 0) && shown.free_bytes.is_some());
        }
        Backend::Postgres => assert_eq!((shown.backend, shown.database_bytes), (Kept::Postgresql, None)),
    }
}
