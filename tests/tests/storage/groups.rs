//! Commands that share a commit do not touch each other.

use std::sync::atomic::{AtomicUsize, Ordering};
use std::sync::mpsc::channel;
use std::sync::{Arc, Mutex};
use std::time::Duration;

use tubtrail_domain::place::State;
use tubtrail_storage::Done;
use tubtrail_storage::journal::JournalFilter;
use tubtrail_storage::lots::BatchRow;
use tubtrail_storage::recalls::{RecallRow, RecallSeedRow};
use tubtrail_storage::stock::{MovementRow, balances_of};
use tubtrail_storage::write::{Asks, EntryHeader};
use tubtrail_storage::{AnyConnection, Fact, Follower, StorageError, WriteTx, journal};
use tubtrail_tests::{Backend, Dice, TestDatabase, on_both};

use crate::every_fact;
use crate::house::{House, header, now, numbers, open_site, positions, sites};

on_both!(
    refusals_and_panics_leave_no_trace,
    a_panic_alone_leaves_no_trace,
    a_command_the_database_refuses_touches_no_neighbour,
    entries_have_no_gaps,
    too_little_is_refused_with_the_figures,
    commands_that_ask_share_a_commit_unless_the_graph_changed_between,
);

/// Counts commits: it hears of each one.
#[derive(Default)]
struct Commits(AtomicUsize);

impl Follower for Commits {
    fn position(&self) -> i64 {
        i64::MAX
    }

    fn catch_up(&self, _: &mut AnyConnection) -> Result<(), StorageError> {
        self.0.fetch_add(1, Ordering::SeqCst);
        Ok(())
    }
}

/// A movement of a lot that `every_fact` has left in the kitchen: some of it goes off.
fn throw_away(tx: &mut WriteTx<'_>, mass_mg: i64) -> Result<(), StorageError> {
    moved(tx, mass_mg, State::Available, State::Discarded)
}

/// Some of it turns up.
fn put_back(tx: &mut WriteTx<'_>, mass_mg: i64) -> Result<(), StorageError> {
    moved(tx, mass_mg, State::CountDifference, State::Available)
}

fn moved(tx: &mut WriteTx<'_>, mass_mg: i64, from: State, to: State) -> Result<(), StorageError> {
    let movement = MovementRow {
        id: tx.id(),
        entry: tx.entry(),
        lot_id: 1,
        kind: "discard".into(),
        from_site_id: 1,
        from_state: from.word().into(),
        to_site_id: 1,
        to_state: to.word().into(),
        mass_mg,
        occurred_at: now(),
        reason: None,
        use_id: None,
        transfer_id: None,
        count_id: None,
        partner_id: None,
        document: None,
    };
    tx.move_mass(&movement)
}

/// What becomes of a command in a group.
#[derive(Clone, Copy, Debug, PartialEq)]
enum Fate {
    Done,
    Refused,
    Panics,
    /// The database itself refuses its last row.
    Breaks,
}

/// A command that writes a row, moves a gram and then meets its fate.
fn command(tx: &mut WriteTx<'_>, number: usize, fate: Fate) -> Result<i64, StorageError> {
    if !number.is_multiple_of(3) {
        see_the_journal(tx, number)?;
    }
    let site_id = open_site(tx, format!("site-{number:03}"))?;
    throw_away(tx, 1000)?;
    match fate {
        Fate::Done => Ok(site_id),
        Fate::Refused => Err(StorageError::Corrupt("refused".into())),
        Fate::Panics => panic!("a command of a test panics on purpose"),
        Fate::Breaks => open_site(tx, format!("site-{number:03}")),
    }
}

/// Every third command leaves the journal alone, and every third sees to it by itself that it can be read.
fn see_the_journal(tx: &mut WriteTx<'_>, number: usize) -> Result<(), StorageError> {
    if number % 3 == 1 {
        tx.write_journal()?;
    }
    let newest = journal::entries(tx.conn()?, &JournalFilter::default(), 1)?.remove(0);
    assert_eq!(newest.seq + 1, tx.entry(), "what was written before stands in the journal");
    Ok(())
}

fn numbered(number: usize) -> EntryHeader {
    EntryHeader { leaves_journal: number % 3 != 2, ..header() }
}

/// What a command does.
pub type Work = Box<dyn FnOnce(&mut WriteTx<'_>) -> Result<i64, StorageError> + Send>;

fn together(house: &House, fates: &[Fate]) -> Vec<Result<Done<i64>, StorageError>> {
    let commands = fates.iter().copied().enumerate().map(|(number, fate)| {
        let work: Work = Box::new(move |tx| command(tx, number, fate));
        (numbered(number), work)
    });
    submit_together(house, commands.collect())
}

/// Submits commands so that they wait together: while the writer is busy with another. What became of them, in order.
pub fn submit_together(house: &House, commands: Vec<(EntryHeader, Work)>) -> Vec<Result<Done<i64>, StorageError>> {
    let (busy, is_busy) = channel();
    let (go_on, goes_on) = channel::<()>();
    let outcomes = Mutex::new(Vec::new());
    std::thread::scope(|scope| {
        scope.spawn(|| {
            let hold_up = move |_: &mut WriteTx<'_>| {
                busy.send(()).unwrap();
                goes_on.recv().unwrap();
                Err::<(), _>(StorageError::Corrupt("only held up the others".into()))
            };
            house.writer.submit(header(), hold_up).unwrap_err();
        });
        is_busy.recv().unwrap();
        for (number, (header, work)) in commands.into_iter().enumerate() {
            let outcomes = &outcomes;
            scope.spawn(move || {
                let outcome = house.writer.submit(header, work);
                outcomes.lock().unwrap().push((number, outcome));
            });
        }
        std::thread::sleep(Duration::from_millis(200));
        go_on.send(()).unwrap();
    });
    let mut outcomes = outcomes.into_inner().unwrap();
    outcomes.sort_by_key(|(number, _)| *number);
    outcomes.into_iter().map(|(_, outcome)| outcome).collect()
}

/// Submits a mixed group and sees that exactly the good ones are there, however they came to stand.
fn check_group(backend: Backend, fates: &[Fate]) {
    // Threads may be late to submit; what counts is a run in which they were not.
    for _ in 0..5 {
        let database = TestDatabase::new(backend);
        let commits = Arc::new(Commits::default());
        let house = House::followed_by(&database, commits.clone());
        every_fact::write(&house);
        let before = commits.0.load(Ordering::SeqCst);
        let (sites_before, gone_before) = (sites(&mut database.connect()), discarded(&database));

        let outcomes = together(&house, fates);
        let grouped = commits.0.load(Ordering::SeqCst) - before == 1;

        let mut entries = Vec::new();
        let mut expected_sites = sites_before;
        for (number, (fate, outcome)) in fates.iter().zip(&outcomes).enumerate() {
            match (fate, outcome) {
                (Fate::Done, Ok(done)) => {
                    entries.push(done.entry);
                    expected_sites.push(format!("site-{number:03}"));
                }
                (Fate::Refused, Err(StorageError::Corrupt(_)))
                | (Fate::Panics, Err(StorageError::WriterStopped(_)))
                | (Fate::Breaks, Err(StorageError::Query(_))) => {}
                _ => panic!("{number} should be {fate:?} and is {outcome:?}"),
            }
        }
        let good = i64::try_from(entries.len()).unwrap();
        entries.sort_unstable();
        let first = every_fact::ENTRIES + 1;
        assert_eq!(entries, (first..first + good).collect::<Vec<_>>(), "each good command has an entry of its own");
        expected_sites.sort();
        assert_eq!(sites(&mut database.connect()), expected_sites);
        assert_eq!(discarded(&database) - gone_before, 1000 * good);

        // The next one follows on, and is there for others to see.
        let next = house.command(|tx| open_site(tx, "the-next")).unwrap();
        assert_eq!(next.entry, first + good);
        assert!(sites(&mut database.connect()).contains(&"the-next".to_owned()));
        database.check();
        if grouped {
            return;
        }
    }
    panic!("the commands never shared a commit");
}

fn discarded(database: &TestDatabase) -> i64 {
    let query = "SELECT CAST(COALESCE(SUM(mass_mg), 0) AS BIGINT) AS number FROM balances WHERE state = 'discarded'";
    numbers(&mut database.connect(), query)[0]
}

fn refusals_and_panics_leave_no_trace(backend: Backend) {
    use Fate::{Breaks, Done, Panics, Refused};
    let mut fates = [Done, Refused, Done, Panics, Panics, Done, Breaks, Done, Refused, Panics, Breaks, Done];
    Dice::roll().shuffle(&mut fates);
    eprintln!("{fates:?}");
    check_group(backend, &fates);
}

fn a_command_the_database_refuses_touches_no_neighbour(backend: Backend) {
    check_group(backend, &[Fate::Breaks, Fate::Done, Fate::Breaks, Fate::Done, Fate::Done, Fate::Breaks]);
}

fn a_panic_alone_leaves_no_trace(backend: Backend) {
    let database = TestDatabase::new(backend);
    let house = House::open(&database);
    let outcome = house.command(|tx| {
        open_site(tx, "half-done")?;
        assert!(tx.entry() > 1, "a command of a test panics on purpose");
        Ok(())
    });
    assert!(matches!(outcome, Err(StorageError::WriterStopped(_))), "{outcome:?}");
    assert_eq!(sites(&mut database.connect()), Vec::<String>::new());

    let done = house.command(|tx| open_site(tx, "whole")).unwrap();
    assert_eq!((done.entry, done.answer), (1, 1));
    // Another connection sees it: it is committed, not only answered.
    assert_eq!(sites(&mut database.connect()), ["whole"]);
}

fn entries_have_no_gaps(backend: Backend) {
    let database = TestDatabase::new(backend);
    let house = House::open(&database);
    every_fact::write(&house);
    let dice = Dice::roll();
    let entries = Mutex::new(Vec::new());
    std::thread::scope(|scope| {
        for thread in 0..6 {
            let (house, entries, mut dice) = (&house, &entries, dice.fork(thread));
            scope.spawn(move || {
                for round in 0..25 {
                    let number = usize::try_from(thread).unwrap() * 100 + round;
                    let fate = match dice.u8(0..10) {
                        0 => Fate::Refused,
                        1 => Fate::Panics,
                        2 => Fate::Breaks,
                        _ => Fate::Done,
                    };
                    let outcome = house.writer.submit(numbered(number), move |tx| command(tx, number, fate));
                    assert_eq!(outcome.is_ok(), fate == Fate::Done, "{fate:?}: {outcome:?}");
                    entries.lock().unwrap().extend(outcome.ok().map(|done| done.entry));
                }
            });
        }
    });
    let mut entries = entries.into_inner().unwrap();
    entries.sort_unstable();
    let all: Vec<i64> = (1..=every_fact::ENTRIES).chain(entries.iter().copied()).collect();
    assert_eq!(all, (1..=every_fact::ENTRIES + i64::try_from(entries.len()).unwrap()).collect::<Vec<_>>());
    let mut conn = database.connect();
    assert_eq!(positions(&mut conn), all);
    assert_eq!(journal::head(&mut conn).unwrap().seq, *all.last().unwrap());
}

fn too_little_is_refused_with_the_figures(backend: Backend) {
    let database = TestDatabase::new(backend);
    let house = House::open(&database);
    every_fact::write(&house);
    let mut conn = database.connect();
    let before = balances_of(&mut conn, &[1]).unwrap();
    let outcome = house.command(|tx| {
        throw_away(tx, 8_000_000)?;
        throw_away(tx, 1)
    });
    match outcome {
        Err(StorageError::Short { lot_id: 1, site_id: 1, state: State::Available, on_hand_mg: 0, wanted_mg: 1 }) => {}
        other => panic!("{other:?}"),
    }
    assert_eq!(balances_of(&mut conn, &[1]).unwrap(), before);
    house.command(|tx| throw_away(tx, 8_000_000)).unwrap();
    assert_eq!(balances_of(&mut conn, &[1]).unwrap().iter().find(|row| row.state == "available"), None);
}

/// A command in a group that asks: what it asks, and what it writes.
#[derive(Clone, Copy)]
struct Asking(Asks, Writes);

#[derive(Clone, Copy)]
enum Writes {
    /// Something is served or thrown away: the graph stays as it was.
    AServing,
    /// A batch begins: it is a part of the graph.
    ABatch,
    /// Something comes to stand on the shelf.
    AnArrival,
    /// A recall begins that watches a place.
    ARecall,
}

fn asked(tx: &mut WriteTx<'_>, writes: Writes) -> Result<(), StorageError> {
    match writes {
        Writes::AServing => throw_away(tx, 1),
        Writes::ABatch => begin_batch(tx),
        Writes::AnArrival => put_back(tx, 1),
        Writes::ARecall => watch_a_place(tx),
    }
}

/// Another batch like the first.
fn begin_batch(tx: &mut WriteTx<'_>) -> Result<(), StorageError> {
    let first = BatchRow::page(tx.conn()?, 0, 1)?.remove(0);
    let row = BatchRow { id: tx.id(), entry: tx.entry(), ..first };
    tx.record(&row)
}

/// A recall of whatever lies at the first site.
fn watch_a_place(tx: &mut WriteTx<'_>) -> Result<(), StorageError> {
    let (entry, recall) = (tx.entry(), tx.id());
    tx.record(&RecallRow {
        id: recall,
        entry,
        is_drill: false,
        class: 1,
        hazard: "a cooler failed".into(),
        with_contact: false,
        holds: true,
        noticed_at: now(),
        due_at: now(),
        instructions: None,
    })?;
    let seed = RecallSeedRow {
        id: tx.id(),
        entry,
        recall_id: recall,
        kind: "place".into(),
        lot_id: None,
        supplier_id: None,
        item_id: None,
        code_from: None,
        code_until: None,
        day_from: None,
        day_until: None,
        equipment_id: None,
        site_id: Some(1),
        state: None,
        time_from: None,
        time_until: None,
    };
    tx.record(&seed)
}

/// How many commits some commands that wait together, in this order, take.
fn commits_of(backend: Backend, recalled: bool, commands: &[Asking]) -> usize {
    for _ in 0..5 {
        let database = TestDatabase::new(backend);
        let commits = Arc::new(Commits::default());
        let house = House::followed_by(&database, commits.clone());
        every_fact::write_without_recalls(&house);
        if recalled {
            house.command(watch_a_place).unwrap();
        }
        let before = commits.0.load(Ordering::SeqCst);
        let in_order = wait_together(&house, commands);
        let taken = commits.0.load(Ordering::SeqCst) - before;
        database.check();
        if in_order {
            return taken;
        }
    }
    panic!("the commands never waited in order");
}

/// Submits them one after the other while the writer is busy; whether they were run in this order.
fn wait_together(house: &House, commands: &[Asking]) -> bool {
    let (busy, is_busy) = channel();
    let (go_on, goes_on) = channel::<()>();
    let entries = Mutex::new(Vec::new());
    std::thread::scope(|scope| {
        scope.spawn(|| {
            let hold_up = move |_: &mut WriteTx<'_>| {
                busy.send(()).unwrap();
                goes_on.recv().unwrap();
                Err::<(), _>(StorageError::Corrupt("only held up the others".into()))
            };
            house.writer.submit(header(), hold_up).unwrap_err();
        });
        is_busy.recv().unwrap();
        for (number, Asking(asks, writes)) in commands.iter().copied().enumerate() {
            let entries = &entries;
            scope.spawn(move || {
                let header = EntryHeader { asks, ..header() };
                let done = house.writer.submit::<_, StorageError, _>(header, move |tx| asked(tx, writes)).unwrap();
                entries.lock().unwrap().push((number, done.entry));
            });
            std::thread::sleep(Duration::from_millis(40));
        }
        go_on.send(()).unwrap();
    });
    let mut entries = entries.into_inner().unwrap();
    entries.sort_unstable();
    entries.windows(2).all(|pair| pair[0].1 + 1 == pair[1].1)
}

fn commands_that_ask_share_a_commit_unless_the_graph_changed_between(backend: Backend) {
    use Asks::{Graph, Nothing, Recalls};
    use Writes::{ABatch, ARecall, AServing, AnArrival};
    let serve = Asking(Recalls, AServing);
    assert_eq!(commits_of(backend, true, &[serve; 5]), 1, "servings change nothing that others ask for");
    let make = Asking(Recalls, ABatch);
    assert_eq!(commits_of(backend, false, &[make, serve, make, serve]), 1, "without a recall nothing is recalled");
    assert_eq!(commits_of(backend, true, &[serve, make, serve, serve]), 2, "what is made may be recalled");
    assert_eq!(commits_of(backend, true, &[make, Asking(Nothing, ABatch), Asking(Nothing, AServing)]), 1);
    let loops = Asking(Graph, ABatch);
    assert_eq!(commits_of(backend, false, &[serve, loops, loops, serve]), 2, "a loop may be closed by the one before");
    let arrive = Asking(Recalls, AnArrival);
    assert_eq!(commits_of(backend, false, &[arrive, serve]), 1);
    assert_eq!(commits_of(backend, true, &[arrive, serve]), 2, "what arrives at a place that is watched is recalled");
    let recall = Asking(Graph, ARecall);
    assert_eq!(commits_of(backend, false, &[serve, recall, serve]), 2, "none is served after the recall");
}
