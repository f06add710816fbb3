//! Lists of neighbours, all of one kind in one pool.
//!
//! What is kept beside each neighbour, such as a mass, has a pool of its own in the same order: whoever only follows the
//! lists does not read it.

use crate::index::narrow;

/// A growable list of `T` for each of many nodes, and a `B` beside each entry.
///
/// A million small `Vec`s would cost 24 bytes and an allocation each, and scatter a trace over the heap. Here every
/// list is a run in one pool, with room for a power of two. A full run at the end of the pool grows where it is (the
/// usual case while a day is written down in order); any other moves to a larger run, and the one it leaves is kept for
/// the next list that needs that size. Lists that were made all at once have no room to spare until something is added.
pub(crate) struct Adjacency<T, B = ()> {
    runs: Vec<Run>,
    /// By node: 0 for no run, [`TIGHT`] for one that is full, otherwise one more than the binary logarithm of the room in
    /// its run. Apart from `runs`, because a trace never reads it.
    classes: Vec<u8>,
    pool: Vec<T>,
    /// As long as `pool`.
    beside: Vec<B>,
    /// By class: where the abandoned runs of that size begin.
    vacant: Vec<Vec<u32>>,
}

/// The class of a run that is full, of whatever length.
const TIGHT: u8 = u8::MAX;

#[derive(Copy, Clone)]
struct Run {
    start: u32,
    len: u32,
}

impl Run {
    fn start(self) -> usize {
        self.start as usize
    }

    fn end(self) -> usize {
        self.start as usize + self.len as usize
    }
}

impl<T, B> Default for Adjacency<T, B> {
    fn default() -> Self {
        Self { runs: Vec::new(), classes: Vec::new(), pool: Vec::new(), beside: Vec::new(), vacant: Vec::new() }
    }
}

impl<T: Copy, B: Copy> Adjacency<T, B> {
    /// The lists of so many nodes, with all their entries: the node, the entry and what is beside it, in the order of adding.
    /// They are gone through twice.
    pub(crate) fn whole(nodes: usize, entries: impl Iterator<Item = (u32, T, B)> + Clone) -> Self {
        let mut runs = vec![Run { start: 0, len: 0 }; nodes];
        for (node, ..) in entries.clone() {
            runs[node as usize].len += 1;
        }
        let (mut end, mut classes) = (0, vec![0; nodes]);
        for (run, class) in runs.iter_mut().zip(&mut classes) {
            *class = if run.len == 0 { 0 } else { TIGHT };
            run.start = narrow(end);
            end += run.len as usize;
            run.len = 0;
        }
        narrow(end);
        let (mut pool, mut beside) = (Vec::new(), Vec::new());
        if let Some((_, filler, beside_it)) = entries.clone().next() {
            (pool, beside) = (vec![filler; end], vec![beside_it; end]);
        }
        for (node, entry, beside_it) in entries {
            let run = &mut runs[node as usize];
            pool[run.end()] = entry;
            beside[run.end()] = beside_it;
            run.len += 1;
        }
        Self { runs, classes, pool, beside, vacant: Vec::new() }
    }

    pub(crate) fn nodes(&self) -> usize {
        self.runs.len()
    }

    /// Adds a node with an empty list; nodes are numbered from 0.
    pub(crate) fn add_node(&mut self) {
        push_tight(&mut self.runs, Run { start: 0, len: 0 });
        push_tight(&mut self.classes, 0);
    }

    /// The list of `node`, in the order of adding.
    pub(crate) fn of(&self, node: u32) -> &[T] {
        let run = self.runs[node as usize];
        &self.pool[run.start()..run.end()]
    }

    /// What is beside each entry of the list of `node`.
    pub(crate) fn beside(&self, node: u32) -> &[B] {
        let run = self.runs[node as usize];
        &self.beside[run.start()..run.end()]
    }

    /// The list of `node`, each entry with what is beside it.
    pub(crate) fn both(&self, node: u32) -> impl ExactSizeIterator<Item = (T, B)> {
        self.of(node).iter().copied().zip(self.beside(node).iter().copied())
    }

    /// Appends `entry` to the list of `node`, and `beside` beside it.
    pub(crate) fn push(&mut self, node: u32, entry: T, beside: B) {
        let run = self.runs[node as usize];
        let class = self.classes[node as usize];
        if class == TIGHT || run.len == room(class) {
            self.enlarge(node, entry, beside);
        }
        let run = &mut self.runs[node as usize];
        self.pool[run.end()] = entry;
        self.beside[run.end()] = beside;
        run.len += 1;
    }

    /// Puts `entry` in the place of the one at `position` in the list of `node`.
    pub(crate) fn set(&mut self, node: u32, position: usize, entry: T) {
        let run = self.runs[node as usize];
        self.pool[run.start()..run.end()][position] = entry;
    }

    /// Takes the entry at `position` out of the list of `node`, keeping the order of the others.
    pub(crate) fn remove(&mut self, node: u32, position: usize) {
        let run = self.runs[node as usize];
        let gap = run.start() + position;
        self.pool.copy_within(gap + 1..run.end(), gap);
        self.beside.copy_within(gap + 1..run.end(), gap);
        let left = run.len - 1;
        self.runs[node as usize].len = left;
        match self.classes[node as usize] {
            // Its last place, so that it is full again.
            TIGHT => self.vacate(1, run.start + left),
            class if left == 0 => self.vacate(class, run.start),
            _ => return,
        }
        if left == 0 {
            self.classes[node as usize] = 0;
        }
    }

    /// Gives `node`, which is full, room for more: double, or if it was tight, up to the next power of two. `filler` and
    /// `beside` are what fresh room holds until something is pushed there.
    fn enlarge(&mut self, node: u32, filler: T, beside: B) {
        let run = self.runs[node as usize];
        let class = self.classes[node as usize];
        let larger = class_for(run.len + 1);
        let extra =
            if class > 0 && run.end() == self.pool.len() { Some((run.start, room(larger) - run.len)) } else { None };
        let (start, fresh) =
            extra.unwrap_or_else(|| match self.vacant.get_mut(usize::from(larger)).and_then(Vec::pop) {
                Some(start) => (start, 0),
                None => (narrow(self.pool.len()), room(larger)),
            });
        let end = self.pool.len() + fresh as usize;
        narrow(end);
        resize_tight(&mut self.pool, end, filler);
        resize_tight(&mut self.beside, end, beside);
        if start != run.start || class == 0 {
            self.pool.copy_within(run.start()..run.end(), start as usize);
            self.beside.copy_within(run.start()..run.end(), start as usize);
            match class {
                0 => {}
                TIGHT => self.vacate_tight(run),
                class => self.vacate(class, run.start),
            }
        }
        self.runs[node as usize].start = start;
        self.classes[node as usize] = larger;
    }

    /// In pieces of powers of two.
    fn vacate_tight(&mut self, run: Run) {
        let (mut start, mut left) = (run.start, run.len);
        while left > 0 {
            let piece = 1 << left.ilog2();
            self.vacate(class_for(piece), start);
            start += piece;
            left -= piece;
        }
    }

    fn vacate(&mut self, class: u8, start: u32) {
        let class = usize::from(class);
        if self.vacant.len() <= class {
            self.vacant.resize_with(class + 1, Vec::new);
        }
        self.vacant[class].push(start);
    }
}

/// How many entries a run of `class` has room for.
fn room(class: u8) -> u32 {
    if class == 0 { 0 } else { 1 << (class - 1) }
}

/// The smallest class with room for so many entries, which are not none.
fn class_for(entries: u32) -> u8 {
    let log = entries.next_power_of_two().trailing_zeros();
    // At most 32.
    u8::try_from(log + 1).unwrap_or(TIGHT)
}

/// Pushes, growing an eighth at a time: the columns of a large graph are most of the memory there is, and doubling
/// would leave up to half of it empty.
pub(crate) fn push_tight<T>(column: &mut Vec<T>, value: T) {
    reserve_tight(column, 1);
    column.push(value);
}

/// Inserts, growing in the same way.
pub(crate) fn insert_tight<T>(column: &mut Vec<T>, at: usize, value: T) {
    reserve_tight(column, 1);
    column.insert(at, value);
}

fn resize_tight<T: Clone>(column: &mut Vec<T>, len: usize, filler: T) {
    reserve_tight(column, len - column.len());
    column.resize(len, filler);
}

fn reserve_tight<T>(column: &mut Vec<T>, extra: usize) {
    if column.capacity() - column.len() < extra {
        column.reserve_exact(extra.max(column.len() / 8).max(8));
    }
}

#[cfg(test)]
mod tests {
    use super::Adjacency;

    #[test]
    fn lists_stay_apart_while_they_grow_by_turns_and_shrink() {
        let mut lists = Adjacency::default();
        let plain: Vec<Vec<u32>> = vec![Vec::new(); 7];
        for _ in &plain {
            lists.add_node();
        }
        grow_and_shrink(lists, plain);
    }

    #[test]
    fn lists_made_at_once_grow_and_shrink_like_others() {
        for lengths in [[0, 1, 2, 3, 5, 8, 13], [7, 0, 0, 0, 0, 0, 0], [4, 4, 4, 4, 4, 4, 4], [0; 7]] {
            let plain: Vec<Vec<u32>> = lengths.iter().map(|length| (0..*length).collect()).collect();
            // By turns, as they would come.
            let by_turns = (0..13).flat_map(|turn| (0..).zip(&plain).map(move |(node, list)| (node, list.get(turn))));
            let entries = by_turns.filter_map(|(node, entry)| Some((node, *entry?, twice(*entry?))));
            let lists = Adjacency::whole(plain.len(), entries);
            for (node, list) in (0..).zip(&plain) {
                assert_eq!(lists.of(node), list);
                assert!(lists.both(node).eq(list.iter().map(|entry| (*entry, twice(*entry)))));
            }
            grow_and_shrink(lists, plain);
        }
    }

    /// What the tests keep beside an entry.
    fn twice(entry: u32) -> u64 {
        u64::from(entry) * 2
    }

    fn grow_and_shrink(mut lists: Adjacency<u32, u64>, mut plain: Vec<Vec<u32>>) {
        for turn in 0_u32..4_000 {
            let node = turn * turn % 7;
            let list = &mut plain[node as usize];
            if turn % 5 > 2 && !list.is_empty() {
                let position = turn as usize % list.len();
                list.remove(position);
                lists.remove(node, position);
            } else {
                list.push(turn);
                lists.push(node, turn, twice(turn));
            }
            for (node, list) in (0..).zip(&plain) {
                assert_eq!(lists.of(node), list, "list {node} after turn {turn}");
                assert!(lists.both(node).eq(list.iter().map(|entry| (*entry, twice(*entry)))));
            }
        }
    }

    #[test]
    fn a_run_left_behind_is_used_again() {
        let mut lists = Adjacency::default();
        for node in 0..100 {
            lists.add_node();
            lists.push(node, node, ());
        }
        for node in 0..100 {
            lists.remove(node, 0);
        }
        for node in (0..100).rev() {
            lists.push(node, node, ());
            assert_eq!(lists.of(node), [node]);
        }
        assert_eq!(lists.pool.len(), 100);
    }
}
