//! Contacts worked out from what ran on a piece of equipment.

use crate::BatchIx;
use crate::adjacency::insert_tight;

/// What ran on one piece of equipment and when it was cleaned, kept in order of time, and the contacts that follow.
///
/// All times are microseconds on one clock. Facts may be written down late, in any order.
///
/// - A run without an end ends when it began; so does one whose end is before its beginning.
/// - Two runs overlap if each begins before the other ends, or if they begin together. One that begins in the moment in
///   which another ends does not overlap it.
/// - A run is touched by the run that began just before it (of those that begin together, the one with the lower id),
///   and by every run that overlaps it. Overlapping runs therefore touch both ways.
/// - Between runs that overlap, everything carries over. Otherwise everything does but what the cleans cleared that
///   were made when the earlier had ended and the later not begun; both of those moments count.
/// - A clean strictly between the beginning and the end of any run clears nothing: nobody cleans a machine while it
///   runs.
/// - Where nothing carries over there is no contact, and a batch is in no contact with itself. Several runs of the same
///   two batches make one contact, which carries what any of them carries.
///
/// Only neighbours touch: what ran two before gets here by way of the run between, if it does.
#[derive(Clone, Default, Debug)]
pub struct Timeline {
    /// In order of beginning, then id.
    runs: Vec<Held>,
    /// By run, the latest end of it and all before it.
    latest: Vec<i64>,
    /// In order of time, then id.
    cleans: Vec<Clean>,
    /// When each batch ran, in order of batch, then time.
    begun: Vec<Begun>,
}

/// A batch on the equipment for some time.
#[derive(Copy, Clone, PartialEq, Eq, Hash, Debug)]
pub struct Run {
    /// What ran.
    pub batch: BatchIx,
    /// When it began, microseconds.
    pub from: i64,
    /// When it ended, microseconds, if that is known.
    pub until: Option<i64>,
    /// Its number, which no other run of this timeline has.
    pub id: i64,
}

/// A cleaning of the equipment.
#[derive(Copy, Clone, PartialEq, Eq, Hash, Debug)]
pub struct Clean {
    /// When it was done, microseconds.
    pub at: i64,
    /// The substances it removes, one bit each.
    pub clears: u64,
    /// Its number, which no other clean of this timeline has.
    pub id: i64,
}

/// A contact that began, ended, or carries something else than before.
#[derive(Copy, Clone, PartialEq, Eq, Hash, Debug)]
pub struct ContactChange {
    /// The batch from which something may have got over.
    pub before: BatchIx,
    /// The batch into which it may have got.
    pub after: BatchIx,
    /// The substances that may now have got over; 0 if there is no contact any longer.
    pub carries: u64,
}

#[derive(Copy, Clone, Debug)]
struct Held {
    from: i64,
    /// Not before `from`.
    end: i64,
    id: i64,
    batch: BatchIx,
}

#[derive(Copy, Clone, PartialEq, Eq, Debug)]
#[repr(C, packed(4))]
struct Begun {
    batch: BatchIx,
    from: i64,
}

/// What carries over where nobody cleaned.
const EVERYTHING: u64 = u64::MAX;

/// The contacts into one batch: the batches before it, in order, and what each carries.
type Into = Vec<(BatchIx, u64)>;

impl Timeline {
    /// One on which all of this happened, each run and each clean once.
    pub fn of(runs: impl IntoIterator<Item = Run>, cleans: impl IntoIterator<Item = Clean>) -> Self {
        let mut runs: Vec<Held> = runs.into_iter().map(Held::new).collect();
        runs.sort_unstable_by_key(|run| (run.from, run.id));
        let mut cleans: Vec<Clean> = cleans.into_iter().collect();
        cleans.sort_unstable_by_key(|clean| (clean.at, clean.id));
        let mut begun: Vec<Begun> = runs.iter().map(|run| run.begun()).collect();
        begun.sort_unstable_by_key(|begun| begun.key());
        let latest = runs.iter().scan(i64::MIN, |latest, run| {
            *latest = run.end.max(*latest);
            Some(*latest)
        });
        Self { latest: latest.collect(), runs, cleans, begun }
    }

    /// Writes down a run. Gives what contacts change by it, in order of the batches after and before.
    pub fn add_run(&mut self, run: Run) -> Vec<ContactChange> {
        let run = Held::new(run);
        self.alter(self.near(run), |timeline| timeline.insert(run))
    }

    /// Takes back the run of that id, and gives what contacts change by it. None if there is no such run.
    pub fn remove_run(&mut self, id: i64) -> Option<Vec<ContactChange>> {
        let at = self.find_run(id)?;
        Some(self.alter(self.near(self.runs[at]), |timeline| timeline.take(at)))
    }

    /// Says that the run of that id ended at `until`, or that its end is not known, and gives what contacts change by
    /// it. None if there is no such run.
    pub fn set_until(&mut self, id: i64, until: Option<i64>) -> Option<Vec<ContactChange>> {
        let at = self.find_run(id)?;
        let old = self.runs[at];
        let new = Held { end: until.map_or(old.from, |until| until.max(old.from)), ..old };
        let mut near = self.near(old);
        near.append(&mut self.near(new));
        let change = |timeline: &mut Self| {
            timeline.runs[at].end = new.end;
            timeline.update_latest(at, false);
        };
        Some(self.alter(near, change))
    }

    /// Writes down a clean, and gives what contacts change by it.
    pub fn add_clean(&mut self, clean: Clean) -> Vec<ContactChange> {
        let change = |timeline: &mut Self| {
            let at = late_point(&timeline.cleans, |other| (other.at, other.id) < (clean.at, clean.id));
            insert_tight(&mut timeline.cleans, at, clean);
        };
        self.alter(self.around(clean.at), change)
    }

    /// Takes back the clean of that id, and gives what contacts change by it. None if there is no such clean.
    pub fn remove_clean(&mut self, id: i64) -> Option<Vec<ContactChange>> {
        let at = self.cleans.iter().rposition(|clean| clean.id == id)?;
        let change = |timeline: &mut Self| {
            timeline.cleans.remove(at);
        };
        Some(self.alter(self.around(self.cleans[at].at), change))
    }

    /// All the contacts there are: what is before, what is after, and what carries over (never nothing). In order of
    /// the batches after and before.
    pub fn contacts(&self) -> impl Iterator<Item = (BatchIx, BatchIx, u64)> {
        let mut all = Vec::with_capacity(self.runs.len());
        let mut into = Into::new();
        for (at, run) in self.runs.iter().enumerate() {
            self.before_run(at, &mut into);
            all.extend(into.drain(..).map(|(before, carries)| (run.batch, before, carries)));
        }
        all.retain(|(after, before, carries)| after != before && *carries != 0);
        all.sort_unstable();
        all.dedup_by(|next, kept| {
            let same = (next.0, next.1) == (kept.0, kept.1);
            kept.2 |= if same { next.2 } else { 0 };
            same
        });
        all.into_iter().map(|(after, before, carries)| (before, after, carries))
    }

    /// The runs of `batch`, in order of beginning: from when until when, the latter where it is later.
    pub fn runs_of(&self, batch: BatchIx) -> Vec<(i64, i64)> {
        let first = late_point(&self.begun, |begun| begun.batch < batch);
        let mut found = Vec::new();
        for begun in self.begun[first..].iter().take_while(|begun| begun.batch == batch) {
            let from = begun.from;
            let first = late_point(&self.runs, |run| run.from < from);
            let together = self.runs[first..].iter().take_while(|run| run.from == from);
            found.extend(together.filter(|run| run.batch == batch).map(|run| (run.id, run.from, run.end)));
        }
        // Two that begin together were found twice.
        found.sort_unstable_by_key(|(id, from, _)| (*from, *id));
        found.dedup();
        found.into_iter().map(|(_, from, end)| (from, end)).collect()
    }

    /// Makes a change, of which no other batches feel anything than those `near`, and gives what came of it.
    fn alter(&mut self, mut near: Vec<BatchIx>, change: impl FnOnce(&mut Self)) -> Vec<ContactChange> {
        near.sort_unstable();
        near.dedup();
        let old: Vec<Into> = near.iter().map(|batch| self.before_batch(*batch)).collect();
        change(self);
        let mut changes = Vec::new();
        for (after, old) in near.into_iter().zip(old) {
            differ(&old, &self.before_batch(after), |before, carries| {
                changes.push(ContactChange { before, after, carries });
            });
        }
        changes
    }

    /// The batches that would be touched otherwise if `run` were there, or were not: its own, those that overlap it,
    /// and those that follow these (a clean in between may have been made while `run` ran).
    fn near(&self, run: Held) -> Vec<BatchIx> {
        let at = self.place(run);
        let mut near = vec![run.batch];
        near.extend(self.runs.get(at..).unwrap_or_default().iter().take(2).map(|next| next.batch));
        self.overlaps(run, at, |other| near.extend(self.runs[other..].iter().take(2).map(|run| run.batch)));
        near
    }

    /// The batches that a clean at `at` may stand before.
    fn around(&self, at: i64) -> Vec<BatchIx> {
        let first = late_point(&self.runs, |run| run.from < at);
        let later = self.runs[first..].iter().take_while(|run| run.from == at).count();
        self.runs[first..].iter().take(later + 1).map(|run| run.batch).collect()
    }

    /// The contacts into `batch`, by all its runs.
    fn before_batch(&self, batch: BatchIx) -> Into {
        let first = late_point(&self.begun, |begun| begun.batch < batch);
        let mut into = Into::new();
        for begun in self.begun[first..].iter().take_while(|begun| begun.batch == batch) {
            let from = begun.from;
            let first = late_point(&self.runs, |run| run.from < from);
            for at in first..self.runs.len() {
                let run = self.runs[at];
                if run.from > from {
                    break;
                }
                if run.batch == batch {
                    self.before_run(at, &mut into);
                }
            }
        }
        into.retain(|(before, carries)| *before != batch && *carries != 0);
        into.sort_unstable();
        into.dedup_by(|next, kept| {
            let same = next.0 == kept.0;
            kept.1 |= if same { next.1 } else { 0 };
            same
        });
        into
    }

    /// What touches the run at `at`.
    fn before_run(&self, at: usize, into: &mut Into) {
        let run = self.runs[at];
        if let Some(before) = at.checked_sub(1).map(|before| self.runs[before])
            && !before.overlaps(run)
        {
            into.push((before.batch, EVERYTHING & !self.cleared(before.end, run.from)));
        }
        self.overlaps(run, at, |other| into.push((self.runs[other].batch, EVERYTHING)));
    }

    /// Calls `found` with the place of every run that overlaps `run`, which stands at `at` or would; not with its own.
    fn overlaps(&self, run: Held, at: usize, mut found: impl FnMut(usize)) {
        for before in (0..at).rev() {
            let other = self.runs[before];
            if other.overlaps(run) {
                found(before);
            } else if self.latest[before] <= run.from {
                break;
            }
        }
        for after in at..self.runs.len() {
            let other = self.runs[after];
            if other.id == run.id && other.from == run.from {
                continue;
            }
            if !other.overlaps(run) {
                break;
            }
            found(after);
        }
    }

    /// What the cleans from `end` to `from` removed, both moments included.
    fn cleared(&self, end: i64, from: i64) -> u64 {
        let first = late_point(&self.cleans, |clean| clean.at < end);
        let between = self.cleans[first..].iter().take_while(|clean| clean.at <= from);
        between.filter(|clean| !self.runs_at(clean.at)).fold(0, |cleared, clean| cleared | clean.clears)
    }

    /// Whether anything had begun before `at` and not yet ended then.
    fn runs_at(&self, at: i64) -> bool {
        let begun = late_point(&self.runs, |run| run.from < at);
        begun.checked_sub(1).is_some_and(|last| self.latest[last] > at)
    }

    /// Where `run` stands in the order, or would.
    fn place(&self, run: Held) -> usize {
        late_point(&self.runs, |other| (other.from, other.id) < (run.from, run.id))
    }

    /// From the end, since it is the late runs that are changed.
    fn find_run(&self, id: i64) -> Option<usize> {
        self.runs.iter().rposition(|run| run.id == id)
    }

    fn insert(&mut self, run: Held) {
        let at = self.place(run);
        insert_tight(&mut self.runs, at, run);
        insert_tight(&mut self.latest, at, i64::MIN);
        self.update_latest(at, true);
        let begun = run.begun();
        let place = late_point(&self.begun, |other| other.key() < begun.key());
        insert_tight(&mut self.begun, place, begun);
    }

    fn take(&mut self, at: usize) {
        let begun = self.runs.remove(at).begun();
        self.latest.remove(at);
        self.update_latest(at, false);
        let place = late_point(&self.begun, |other| other.key() < begun.key());
        self.begun.remove(place);
    }

    /// Works out the latest ends anew from place `at` on, until one is as it was. The one at `at` itself may be `new`.
    fn update_latest(&mut self, at: usize, new: bool) {
        let mut latest = at.checked_sub(1).map_or(i64::MIN, |before| self.latest[before]);
        for place in at..self.runs.len() {
            latest = latest.max(self.runs[place].end);
            if self.latest[place] == latest && !(new && place == at) {
                return;
            }
            self.latest[place] = latest;
        }
    }
}

impl Held {
    fn new(run: Run) -> Self {
        let Run { batch, from, until, id } = run;
        Self { from, end: until.map_or(from, |until| until.max(from)), id, batch }
    }

    fn overlaps(self, other: Self) -> bool {
        self.from == other.from || self.from < other.end && other.from < self.end
    }

    fn begun(self) -> Begun {
        Begun { batch: self.batch, from: self.from }
    }
}

impl Begun {
    fn key(self) -> (BatchIx, i64) {
        (self.batch, self.from)
    }
}

/// Calls `found` with what is in `new` otherwise than in `old`, with 0 for what is not in it at all.
fn differ(old: &[(BatchIx, u64)], new: &[(BatchIx, u64)], mut found: impl FnMut(BatchIx, u64)) {
    let (mut old, mut new) = (old.iter().peekable(), new.iter().peekable());
    loop {
        match (old.peek(), new.peek()) {
            (None, None) => return,
            (Some(&&(gone, _)), next) if next.is_none_or(|&&(batch, _)| gone < batch) => {
                found(gone, 0);
                old.next();
            }
            (Some(&&was), Some(&&is)) if was.0 == is.0 => {
                if was.1 != is.1 {
                    found(is.0, is.1);
                }
                old.next();
                new.next();
            }
            (_, _) => new.next().into_iter().for_each(|&(batch, carries)| found(batch, carries)),
        }
    }
}

/// What `partition_point` gives, faster for a place near the end: most of what is written down has just happened.
fn late_point<T>(list: &[T], is_before: impl Fn(&T) -> bool) -> usize {
    let mut step = 1;
    while step < list.len() && !is_before(&list[list.len() - step]) {
        step *= 2;
    }
    let first = list.len().saturating_sub(step);
    first + list[first..].partition_point(is_before)
}
