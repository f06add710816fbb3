//! Lists of neighbours, all of one kind in one pool.

use crate::index::narrow;

/// A growable list of `T` for each of many nodes.
///
/// A million small `Vec`s would cost 24 bytes and an allocation each, and scatter a trace over the heap. Here every
/// list is a run in one pool, with room for a power of two. A full run at the end of the pool grows where it is (the
/// usual case while a day is written down in order); any other moves to a larger run, and the one it leaves is kept for
/// the next list that needs that size.
pub(crate) struct Adjacency<T> {
    runs: Vec<Run>,
    /// By node: 0 for no run, otherwise one more than the binary logarithm of the room in its run. Apart from `runs`,
    /// because a trace never reads it.
    classes: Vec<u8>,
    pool: Vec<T>,
    /// By class: where the abandoned runs of that size begin.
    vacant: Vec<Vec<u32>>,
}

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

impl<T> Default for Adjacency<T> {
    fn default() -> Self {
        Self { runs: Vec::new(), classes: Vec::new(), pool: Vec::new(), vacant: Vec::new() }
    }
}

impl<T: Copy> Adjacency<T> {
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

    /// Appends `entry` to the list of `node`.
    pub(crate) fn push(&mut self, node: u32, entry: T) {
        let run = self.runs[node as usize];
        if run.len == room(self.classes[node as usize]) {
            self.enlarge(node, entry);
        }
        let run = &mut self.runs[node as usize];
        self.pool[run.end()] = entry;
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
        self.runs[node as usize].len -= 1;
        if run.len == 1 {
            self.vacate(self.classes[node as usize], run.start);
            self.classes[node as usize] = 0;
        }
    }

    /// Doubles the room of `node`. `filler` is what fresh room holds until something is pushed there.
    fn enlarge(&mut self, node: u32, filler: T) {
        let run = self.runs[node as usize];
        let class = self.classes[node as usize];
        let larger = class + 1;
        let extra = if class > 0 && run.end() == self.pool.len() {
            Some((run.start, room(larger) - room(class)))
        } else {
            None
        };
        let (start, fresh) =
            extra.unwrap_or_else(|| match self.vacant.get_mut(usize::from(larger)).and_then(Vec::pop) {
                Some(start) => (start, 0),
                None => (narrow(self.pool.len()), room(larger)),
            });
        let end = self.pool.len() + fresh as usize;
        narrow(end);
        reserve_tight(&mut self.pool, fresh as usize);
        self.pool.resize(end, filler);
        if start != run.start || class == 0 {
            self.pool.copy_within(run.start()..run.end(), start as usize);
            if class > 0 {
                self.vacate(class, run.start);
            }
        }
        self.runs[node as usize].start = start;
        self.classes[node as usize] = larger;
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
        let mut plain: Vec<Vec<u32>> = vec![Vec::new(); 7];
        for _ in &plain {
            lists.add_node();
        }
        for turn in 0_u32..4_000 {
            let node = turn * turn % 7;
            let list = &mut plain[node as usize];
            if turn % 5 > 2 && !list.is_empty() {
                let position = turn as usize % list.len();
                list.remove(position);
                lists.remove(node, position);
            } else {
                list.push(turn);
                lists.push(node, turn);
            }
            for (node, list) in (0..).zip(&plain) {
                assert_eq!(lists.of(node), list, "list {node} after turn {turn}");
            }
        }
    }

    #[test]
    fn a_run_left_behind_is_used_again() {
        let mut lists = Adjacency::default();
        for node in 0..100 {
            lists.add_node();
            lists.push(node, node);
        }
        for node in 0..100 {
            lists.remove(node, 0);
        }
        for node in (0..100).rev() {
            lists.push(node, node);
            assert_eq!(lists.of(node), [node]);
        }
        assert_eq!(lists.pool.len(), 100);
    }
}
