//! What each batch yielded.

use std::ops::Range;

use crate::LotIx;
use crate::adjacency::{Adjacency, push_tight};
use crate::bits::Bits;
use crate::index::narrow;

/// A growable list of lots for each of many batches.
///
/// What a batch yields is mostly written down at once, so that its lots are numbered one after the other: of such a row
/// only the ends are kept, and a trace goes on without having read the list. A batch that yielded other lots in between
/// has its list in a pool.
#[derive(Default)]
pub(crate) struct Yields {
    rows: Vec<Row>,
    scattered: Adjacency<LotIx>,
}

#[derive(Copy, Clone)]
struct Row {
    /// The first lot, or if the row is [`SCATTERED`] the place of its list.
    first: u32,
    len: u32,
}

/// Stands for the length of what is no row.
const SCATTERED: u32 = u32::MAX;

impl Row {
    const NOTHING: Self = Self { first: 0, len: 0 };

    fn lots(self) -> Range<u32> {
        self.first..self.first + self.len
    }
}

impl Yields {
    /// What so many batches yielded: the batch and the lot, in the order of lots.
    pub(crate) fn whole(batches: usize, entries: impl Iterator<Item = (u32, LotIx)>) -> Self {
        let mut yields = Self { rows: vec![Row::NOTHING; batches], scattered: Adjacency::default() };
        for (batch, lot) in entries {
            yields.push(batch, lot);
        }
        yields
    }

    /// Adds a batch that yielded nothing yet; batches are numbered from 0.
    pub(crate) fn add_batch(&mut self) {
        push_tight(&mut self.rows, Row::NOTHING);
    }

    /// What `batch` yielded, in the order of adding.
    pub(crate) fn of(&self, batch: u32) -> Yielded<'_> {
        let row = self.rows[batch as usize];
        if row.len == SCATTERED { Yielded::List(self.scattered.of(row.first)) } else { Yielded::Row(row.lots()) }
    }

    /// Appends `lot` to what `batch` yielded.
    pub(crate) fn push(&mut self, batch: u32, lot: LotIx) {
        let row = &mut self.rows[batch as usize];
        if row.len == SCATTERED {
            self.scattered.push(row.first, lot, ());
        } else if row.len == 0 {
            *row = Row { first: lot.0, len: 1 };
        } else if row.lots().end == lot.0 {
            row.len += 1;
        } else {
            self.scatter(batch, lot);
        }
    }

    /// Makes a list of the row of `batch`, which `lot` does not continue.
    fn scatter(&mut self, batch: u32, lot: LotIx) {
        let place = narrow(self.scattered.nodes());
        self.scattered.add_node();
        let row = std::mem::replace(&mut self.rows[batch as usize], Row { first: place, len: SCATTERED });
        for lot in row.lots().map(LotIx).chain([lot]) {
            self.scattered.push(place, lot, ());
        }
    }
}

/// The lots that one batch yielded, each once.
#[derive(Clone)]
pub(crate) enum Yielded<'a> {
    Row(Range<u32>),
    List(&'a [LotIx]),
}

impl Yielded<'_> {
    /// Appends all of them to `lots`, and those that are among the `used` to `ready`: for a row without looking at each.
    #[inline]
    pub(crate) fn append_to(self, lots: &mut Vec<LotIx>, used: &Bits, ready: &mut Vec<u32>) {
        match self {
            Self::Row(row) => {
                ready.extend(used.among(row.clone()));
                lots.extend(row.map(LotIx));
            }
            Self::List(list) => {
                ready.extend(list.iter().map(|lot| lot.0).filter(|lot| used.holds(*lot)));
                lots.extend_from_slice(list);
            }
        }
    }

    pub(crate) fn is_empty(&self) -> bool {
        self.len() == 0
    }
}

impl Iterator for Yielded<'_> {
    type Item = LotIx;

    fn next(&mut self) -> Option<LotIx> {
        match self {
            Self::Row(row) => row.next().map(LotIx),
            Self::List(list) => list.split_off_first().copied(),
        }
    }

    fn size_hint(&self) -> (usize, Option<usize>) {
        match self {
            Self::Row(row) => row.size_hint(),
            Self::List(list) => (list.len(), Some(list.len())),
        }
    }
}

impl ExactSizeIterator for Yielded<'_> {}

#[cfg(test)]
mod tests {
    use super::{Yielded, Yields};
    use crate::LotIx;
    use crate::bits::Bits;

    /// Which batch each lot is of: rows, rows that are broken off and gone on with, and lots by turns.
    const MAKERS: [u32; 16] = [0, 0, 0, 1, 2, 1, 1, 0, 3, 3, 3, 2, 1, 5, 5, 0];

    #[test]
    fn rows_and_lists_hold_what_was_yielded_in_order() {
        let entries = (0..).map(LotIx).zip(MAKERS).map(|(lot, batch)| (batch, lot));
        let mut one_by_one = Yields::default();
        (0..7).for_each(|_| one_by_one.add_batch());
        for (count, (batch, lot)) in (1..).zip(entries.clone()) {
            one_by_one.push(batch, lot);
            assert_holds(&one_by_one, &MAKERS[..count]);
        }
        assert_holds(&Yields::whole(7, entries), &MAKERS);
        assert!(matches!(one_by_one.of(3), Yielded::Row(_)), "what came at once takes no list");
        assert!(matches!(one_by_one.of(0), Yielded::List(_)));
    }

    fn assert_holds(yields: &Yields, makers: &[u32]) {
        for batch in 0..7 {
            let expected: Vec<LotIx> =
                (0..).map(LotIx).zip(makers).filter(|(_, maker)| **maker == batch).map(|(lot, _)| lot).collect();
            assert_eq!(yields.of(batch).collect::<Vec<_>>(), expected, "batch {batch} of {makers:?}");
            assert_eq!(yields.of(batch).len(), expected.len());
            assert_eq!(yields.of(batch).is_empty(), expected.is_empty());
            let (mut lots, mut ready) = (vec![LotIx(99)], vec![99]);
            let even: Bits = (0..16).step_by(2).collect();
            yields.of(batch).append_to(&mut lots, &even, &mut ready);
            assert_eq!(lots[1..], expected);
            let evens: Vec<u32> = expected.iter().map(|lot| lot.0).filter(|lot| lot % 2 == 0).collect();
            assert_eq!(ready[1..], evens);
        }
    }
}
