//! Which batches touched on one machine, as on paper and against the rules applied to every pair of runs.

use std::collections::BTreeMap;

use tubtrail_lineage::{BatchIx, Clean, ContactChange, Run, Timeline};

use crate::dice::Dice;
use crate::facts::batch;

const MILK: u64 = 1;
const NUTS: u64 = 2;
const ALL: u64 = u64::MAX;

/// Minutes of the day as microseconds.
fn clock(hour: i64, minute: i64) -> i64 {
    (hour * 60 + minute) * 60_000_000
}

fn run(id: i64, ran: usize, from: i64, until: i64) -> Run {
    Run { batch: batch(ran), from, until: Some(until), id }
}

fn change(before: usize, after: usize, carries: u64) -> ContactChange {
    ContactChange { before: batch(before), after: batch(after), carries }
}

fn all(timeline: &Timeline) -> Vec<(usize, usize, u64)> {
    let number = |batch: BatchIx| batch.index() as usize;
    timeline.contacts().map(|(before, after, carries)| (number(before), number(after), carries)).collect()
}

#[test]
fn a_morning_at_the_churn() {
    let mut churn = Timeline::default();
    assert_eq!(churn.add_run(run(1, 0, clock(8, 0), clock(8, 20))), []);
    assert_eq!(churn.add_run(run(2, 1, clock(8, 30), clock(8, 50))), [change(0, 1, ALL)]);
    assert_eq!(churn.add_run(run(3, 2, clock(9, 0), clock(9, 20))), [change(1, 2, ALL)]);
    // A rinse that takes the milk, then a wash that takes everything.
    assert_eq!(churn.add_clean(Clean { at: clock(8, 25), clears: MILK, id: 1 }), [change(0, 1, !MILK)]);
    assert_eq!(churn.add_clean(Clean { at: clock(8, 55), clears: ALL, id: 2 }), [change(1, 2, 0)]);
    assert_eq!(all(&churn), [(0, 1, !MILK)]);
    // Two rinses take what either takes.
    assert_eq!(churn.add_clean(Clean { at: clock(8, 20), clears: NUTS, id: 3 }), [change(0, 1, !(MILK | NUTS))]);
    assert_eq!(churn.remove_clean(1), Some(vec![change(0, 1, !NUTS)]));
    assert_eq!(churn.remove_clean(1), None);
    assert_eq!(churn.remove_clean(2), Some(vec![change(1, 2, ALL)]));
    assert_eq!(churn.remove_run(2), Some(vec![change(0, 1, 0), change(0, 2, !NUTS), change(1, 2, 0)]));
    assert_eq!(churn.remove_run(2), None);
    assert_eq!(all(&churn), [(0, 2, !NUTS)]);
}

#[test]
fn a_run_written_down_late_comes_between() {
    let mut churn = Timeline::default();
    churn.add_run(run(1, 0, clock(8, 0), clock(8, 20)));
    churn.add_run(run(2, 1, clock(9, 0), clock(9, 20)));
    assert_eq!(all(&churn), [(0, 1, ALL)]);
    let changes = churn.add_run(run(3, 2, clock(8, 30), clock(8, 40)));
    assert_eq!(changes, [change(0, 1, 0), change(2, 1, ALL), change(0, 2, ALL)]);
}

#[test]
fn runs_that_overlap_touch_both_ways_and_nobody_cleans_between() {
    let mut churn = Timeline::default();
    churn.add_run(run(1, 0, clock(8, 0), clock(9, 0)));
    churn.add_clean(Clean { at: clock(8, 30), clears: ALL, id: 1 });
    assert_eq!(churn.add_run(run(2, 1, clock(8, 30), clock(8, 40))), [change(1, 0, ALL), change(0, 1, ALL)]);
    // One that begins as another ends only follows it.
    assert_eq!(churn.add_run(run(3, 2, clock(9, 0), clock(9, 10))), [change(1, 2, ALL)]);
    // Of two that begin together nobody knows which was first.
    assert_eq!(churn.add_run(run(4, 3, clock(9, 0), clock(9, 0))), [change(3, 2, ALL), change(2, 3, ALL)]);
}

#[test]
fn a_clean_while_the_machine_ran_clears_nothing() {
    let mut churn = Timeline::default();
    churn.add_run(run(1, 0, clock(8, 0), clock(8, 10)));
    churn.add_run(run(2, 1, clock(9, 0), clock(9, 10)));
    assert_eq!(churn.add_clean(Clean { at: clock(8, 30), clears: ALL, id: 1 }), [change(0, 1, 0)]);
    // A run that began before both went on until half past nine, as it turns out: nobody can have cleaned.
    let found = churn.add_run(Run { batch: batch(2), from: clock(7, 50), until: None, id: 3 });
    assert_eq!(found, [change(2, 0, ALL)]);
    let found = churn.set_until(3, Some(clock(9, 30))).unwrap();
    assert_eq!(found, [change(0, 1, ALL), change(2, 1, ALL), change(0, 2, ALL), change(1, 2, ALL)]);
    let found = churn.set_until(3, Some(clock(8, 30))).unwrap();
    assert_eq!(found, [change(0, 1, 0), change(2, 1, 0), change(1, 2, 0)]);
    assert_eq!(churn.set_until(9, None), None);
}

#[test]
fn the_same_batch_again_is_no_contact_with_itself() {
    let mut churn = Timeline::default();
    churn.add_run(run(1, 0, clock(8, 0), clock(8, 10)));
    assert_eq!(churn.add_run(run(2, 0, clock(8, 20), clock(8, 30))), []);
    churn.add_clean(Clean { at: clock(8, 30), clears: NUTS, id: 1 });
    assert_eq!(churn.add_run(run(3, 1, clock(8, 40), clock(8, 50))), [change(0, 1, !NUTS)]);
    churn.add_run(run(4, 0, clock(9, 0), clock(9, 10)));
    churn.add_clean(Clean { at: clock(9, 10), clears: MILK, id: 2 });
    // The second time milk was cleared and nuts were not: the two together carry everything.
    assert_eq!(churn.add_run(run(5, 1, clock(9, 20), clock(9, 30))), [change(0, 1, ALL)]);
    assert_eq!(churn.remove_run(5), Some(vec![change(0, 1, !NUTS)]));
}

/// The rules applied to every pair of runs.
fn by_the_rules(runs: &[Run], cleans: &[Clean]) -> BTreeMap<(BatchIx, BatchIx), u64> {
    let end = |run: &Run| run.until.map_or(run.from, |until| until.max(run.from));
    let mut contacts = BTreeMap::new();
    for after in runs {
        let sooner = runs.iter().filter(|run| (run.from, run.id) < (after.from, after.id));
        let last = sooner.max_by_key(|run| (run.from, run.id)).map(|run| run.id);
        for before in runs.iter().filter(|before| before.id != after.id) {
            let overlap = before.from == after.from || before.from < end(after) && after.from < end(before);
            if before.batch == after.batch || !(overlap || last == Some(before.id)) {
                continue;
            }
            let mut carries = ALL;
            for clean in cleans.iter().filter(|clean| !overlap && end(before) <= clean.at && clean.at <= after.from) {
                if !runs.iter().any(|run| run.from < clean.at && clean.at < end(run)) {
                    carries &= !clean.clears;
                }
            }
            *contacts.entry((before.batch, after.batch)).or_insert(0) |= carries;
        }
    }
    contacts.retain(|_, carries| *carries != 0);
    contacts
}

/// A machine's book in which anything may be written down, changed or struck out at any time.
#[derive(Default)]
struct Book {
    timeline: Timeline,
    runs: Vec<Run>,
    cleans: Vec<Clean>,
    /// What the changes add up to.
    contacts: BTreeMap<(BatchIx, BatchIx), u64>,
    next: i64,
}

impl Book {
    fn step(&mut self, dice: &mut Dice) {
        let time = |dice: &mut Dice, span| i64::try_from(dice.below(span)).unwrap();
        if dice.one_in(10) {
            // As after a new start: from then on it is written in like any other.
            self.timeline = Timeline::of(self.runs.iter().copied(), self.cleans.iter().copied());
        }
        self.next += 1;
        let id = self.next * 7 % 1_000;
        let changes = match dice.below(10) {
            0..4 => {
                let from = time(dice, 60);
                let longest = if dice.one_in(5) { 30 } else { 5 };
                let until = (!dice.one_in(3)).then(|| from - 1 + time(dice, longest));
                let run = Run { batch: batch(dice.below(12)), from, until, id };
                self.runs.push(run);
                self.timeline.add_run(run)
            }
            4..6 => {
                let clears = if dice.one_in(3) { ALL } else { 1 << dice.below(3) };
                let clean = Clean { at: time(dice, 60), clears, id };
                self.cleans.push(clean);
                self.timeline.add_clean(clean)
            }
            6..8 if !self.runs.is_empty() => {
                let run = self.runs.swap_remove(dice.below(self.runs.len()));
                self.timeline.remove_run(run.id).unwrap()
            }
            8 if !self.cleans.is_empty() => {
                let clean = self.cleans.swap_remove(dice.below(self.cleans.len()));
                self.timeline.remove_clean(clean.id).unwrap()
            }
            9 if !self.runs.is_empty() => {
                let run = dice.below(self.runs.len());
                let run = &mut self.runs[run];
                run.until = (!dice.one_in(4)).then(|| run.from + time(dice, 20));
                self.timeline.set_until(run.id, run.until).unwrap()
            }
            _ => Vec::new(),
        };
        assert!(changes.is_sorted_by_key(|change| (change.after, change.before)));
        for ContactChange { before, after, carries } in changes {
            let was = if carries == 0 {
                self.contacts.remove(&(before, after))
            } else {
                self.contacts.insert((before, after), carries)
            };
            assert_ne!(was.unwrap_or(0), carries, "nothing changed from {before:?} to {after:?}");
        }
    }
}

#[test]
fn a_random_book_agrees_with_the_rules() {
    for seed in 301..=312 {
        let mut dice = Dice::new(seed);
        let mut book = Book::default();
        let mut most = 0;
        for _ in 0..400 {
            book.step(&mut dice);
            let expected = by_the_rules(&book.runs, &book.cleans);
            assert_eq!(book.contacts, expected);
            let whole = book.timeline.contacts();
            let whole: Vec<_> = whole.map(|(before, after, carries)| ((before, after), carries)).collect();
            assert!(whole.is_sorted_by_key(|((before, after), _)| (after, before)));
            assert_eq!(whole.into_iter().collect::<BTreeMap<_, _>>(), expected);
            most = most.max(expected.len());
        }
        assert!(most > 20, "{most} contacts at most");
    }
}
