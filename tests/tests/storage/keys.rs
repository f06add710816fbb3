//! Retrying is harmless.

use std::sync::atomic::{AtomicUsize, Ordering};
use std::sync::{Arc, Mutex};

use tubtrail_storage::Done;
use tubtrail_storage::write::Key;
use tubtrail_storage::{EntryHeader, StorageError};
use tubtrail_tests::{Backend, TestDatabase, on_both};

use crate::house::{House, header, open_site, positions, sites};

on_both!(
    the_same_request_gets_the_first_answer,
    another_request_under_the_key_is_refused,
    a_secret_answer_is_not_kept,
    keys_belong_to_their_actor,
    a_refused_command_does_not_use_up_its_key,
    of_many_retries_at_once_one_is_done,
    the_answer_outlives_the_writer,
);

fn keyed(key: &str, request: &str) -> EntryHeader {
    EntryHeader { key: Some(Key { key: key.into(), request_hash: request.into() }), ..header() }
}

/// Opens a site under a key; the answer is its code and row id. Counts how often it really ran.
fn open_keyed(
    house: &House,
    header: EntryHeader,
    code: &str,
    ran: &Arc<AtomicUsize>,
) -> Result<Done<(String, i64)>, StorageError> {
    let (code, ran) = (code.to_owned(), ran.clone());
    house.writer.submit(header, move |tx| {
        ran.fetch_add(1, Ordering::SeqCst);
        let id = open_site(tx, code.clone())?;
        Ok((code, id))
    })
}

fn the_same_request_gets_the_first_answer(backend: Backend) {
    let database = TestDatabase::new(backend);
    let house = House::open(&database);
    let ran = Arc::default();
    let first = open_keyed(&house, keyed("k1", "open a"), "a", &ran).unwrap();
    assert!(!first.replayed);
    open_keyed(&house, keyed("k2", "open b"), "b", &ran).unwrap();
    // The work differs, so that its answer would show.
    let again = open_keyed(&house, keyed("k1", "open a"), "never", &ran).unwrap();
    assert!(again.replayed);
    assert_eq!((&again.answer, again.entry), (&("a".to_owned(), 1), 1));
    assert_eq!((again.answer, again.entry), (first.answer, first.entry));
    assert_eq!(ran.load(Ordering::SeqCst), 2, "the work ran again");
    let mut conn = database.connect();
    assert_eq!(positions(&mut conn), [1, 2]);
    assert_eq!(sites(&mut conn), ["a", "b"]);
}

fn another_request_under_the_key_is_refused(backend: Backend) {
    let database = TestDatabase::new(backend);
    let house = House::open(&database);
    let ran = Arc::default();
    open_keyed(&house, keyed("k", "open a"), "a", &ran).unwrap();
    let outcome = open_keyed(&house, keyed("k", "open b"), "b", &ran);
    assert!(matches!(outcome, Err(StorageError::KeyReused)), "{outcome:?}");
    assert_eq!(ran.load(Ordering::SeqCst), 1);
    let mut conn = database.connect();
    assert_eq!(positions(&mut conn), [1]);
    assert_eq!(sites(&mut conn), ["a"]);
    assert!(open_keyed(&house, keyed("k", "open a"), "a", &ran).unwrap().replayed, "the first one still stands");
}

fn a_secret_answer_is_not_kept(backend: Backend) {
    let database = TestDatabase::new(backend);
    let house = House::open(&database);
    let ran = Arc::default();
    let header = || EntryHeader { answer_is_secret: true, ..keyed("k", "open") };
    let first = open_keyed(&house, header(), "the-secret", &ran).unwrap();
    assert_eq!(first.answer, ("the-secret".to_owned(), 1), "the first time it is told");
    let again = open_keyed(&house, header(), "the-secret", &ran);
    assert!(matches!(again, Err(StorageError::AnswerNotKept)), "{again:?}");
    let other = open_keyed(&house, EntryHeader { answer_is_secret: true, ..keyed("k", "other") }, "other", &ran);
    assert!(matches!(other, Err(StorageError::KeyReused)), "{other:?}");
    assert_eq!(ran.load(Ordering::SeqCst), 1);
    let query = "SELECT COALESCE(answer, 'none') AS text FROM journal";
    assert_eq!(crate::house::texts(&mut database.connect(), query), ["none"]);
}

fn keys_belong_to_their_actor(backend: Backend) {
    let database = TestDatabase::new(backend);
    let house = House::open(&database);
    let ran = Arc::default();
    let by = |actor: &str| EntryHeader { actor: actor.into(), ..keyed("k", "open") };
    assert!(!open_keyed(&house, by("user:paola"), "a", &ran).unwrap().replayed);
    assert!(!open_keyed(&house, by("device:till"), "b", &ran).unwrap().replayed);
    assert_eq!(open_keyed(&house, by("user:paola"), "c", &ran).unwrap().answer.0, "a");
    assert_eq!(open_keyed(&house, by("device:till"), "c", &ran).unwrap().answer.0, "b");
    // Without a key nothing is ever taken for a retry.
    assert!(!open_keyed(&house, header(), "d", &ran).unwrap().replayed);
    assert!(!open_keyed(&house, header(), "e", &ran).unwrap().replayed);
    assert_eq!(ran.load(Ordering::SeqCst), 4);
}

fn a_refused_command_does_not_use_up_its_key(backend: Backend) {
    let database = TestDatabase::new(backend);
    let house = House::open(&database);
    let refusal = house.writer.submit(keyed("k", "open a"), |tx| {
        open_site(tx, "a")?;
        Err::<(), _>(StorageError::Corrupt("not today".into()))
    });
    assert!(matches!(refusal, Err(StorageError::Corrupt(_))));
    let done = open_keyed(&house, keyed("k", "open a"), "a", &Arc::default()).unwrap();
    assert!(!done.replayed);
    assert_eq!(done.entry, 1);
}

fn of_many_retries_at_once_one_is_done(backend: Backend) {
    let database = TestDatabase::new(backend);
    let house = House::open(&database);
    let ran = Arc::default();
    let outcomes = Mutex::new(Vec::new());
    std::thread::scope(|scope| {
        for thread in 0..16 {
            let (house, ran, outcomes) = (&house, &ran, &outcomes);
            scope.spawn(move || {
                let done = open_keyed(house, keyed("k", "open"), &format!("site-{thread}"), ran).unwrap();
                outcomes.lock().unwrap().push(done);
            });
        }
    });
    let outcomes = outcomes.into_inner().unwrap();
    assert_eq!(ran.load(Ordering::SeqCst), 1);
    assert_eq!(outcomes.iter().filter(|done| !done.replayed).count(), 1);
    assert!(outcomes.iter().all(|done| done.answer == outcomes[0].answer && done.entry == 1));
    assert_eq!(positions(&mut database.connect()), [1]);
}

fn the_answer_outlives_the_writer(backend: Backend) {
    let database = TestDatabase::new(backend);
    let ran = Arc::default();
    open_keyed(&House::open(&database), keyed("k", "open"), "a", &ran).unwrap();
    let again = open_keyed(&House::open(&database), keyed("k", "open"), "b", &ran).unwrap();
    assert!(again.replayed);
    assert_eq!(again.answer, ("a".to_owned(), 1));
}
