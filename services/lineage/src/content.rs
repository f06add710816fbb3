//! What is said to be in a lot.

use crate::adjacency::push_tight;
use crate::index::narrow;
use crate::ripple::{Ripple, Supposed};
use crate::{BatchIx, Graph, LotIx, Scratch};

/// What is said to be in a lot or a batch, one bit a substance; which bit stands for which is for the caller to know.
///
/// The three sets are kept apart: a lot may contain a substance for certain by one of its ingredients and by another
/// perhaps. [`Content::answer`] picks the worst.
#[derive(Copy, Clone, PartialEq, Eq, Hash, Default, Debug)]
pub struct Content {
    /// What it is known to contain.
    pub contains: u64,
    /// What it may contain: declared so, or met on a piece of equipment.
    pub may_contain: u64,
    /// What nobody has said anything about.
    pub unknown: u64,
}

/// What the records say about one substance in one lot, the worst first.
#[derive(Copy, Clone, PartialEq, Eq, Hash, Ord, PartialOrd, Debug)]
pub enum Answer {
    /// It is in there.
    Contains,
    /// It may be in there.
    MayContain,
    /// Nobody said whether it is in there.
    Unknown,
    /// Nothing on record puts it there. That is not to say that it is absent.
    NotRecorded,
}

/// A lot whose content would be another if something else were declared.
#[derive(Copy, Clone, PartialEq, Eq, Debug)]
pub struct Changed {
    /// The lot.
    pub lot: LotIx,
    /// Its content as it is.
    pub before: Content,
    /// Its content as it would be.
    pub after: Content,
}

impl Content {
    /// Nothing recorded of any substance.
    pub const NOTHING: Self = Self { contains: 0, may_contain: 0, unknown: 0 };

    /// Every substance unknown.
    pub const UNKNOWN: Self = Self { contains: 0, may_contain: 0, unknown: u64::MAX };

    /// What is in the two together.
    #[must_use]
    pub const fn union(self, other: Self) -> Self {
        Self {
            contains: self.contains | other.contains,
            may_contain: self.may_contain | other.may_contain,
            unknown: self.unknown | other.unknown,
        }
    }

    /// The worst that is said about the substance of `bit`.
    ///
    /// # Panics
    ///
    /// If `bit` is not below 64.
    pub fn answer(self, bit: u32) -> Answer {
        let mask = mask(bit);
        if self.contains & mask != 0 {
            Answer::Contains
        } else if self.may_contain & mask != 0 {
            Answer::MayContain
        } else if self.unknown & mask != 0 {
            Answer::Unknown
        } else {
            Answer::NotRecorded
        }
    }

    /// What of this is not in `other`.
    pub(crate) const fn minus(self, other: Self) -> Self {
        Self {
            contains: self.contains & !other.contains,
            may_contain: self.may_contain & !other.may_contain,
            unknown: self.unknown & !other.unknown,
        }
    }

    /// What of this is in `other` too.
    pub(crate) const fn common(self, other: Self) -> Self {
        Self {
            contains: self.contains & other.contains,
            may_contain: self.may_contain & other.may_contain,
            unknown: self.unknown & other.unknown,
        }
    }

    /// What comes over a contact that carries the substances `carries`: nothing of it for certain.
    pub(crate) const fn carried(self, carries: u64) -> Self {
        Self { contains: 0, may_contain: (self.contains | self.may_contain) & carries, unknown: self.unknown & carries }
    }

    pub(crate) fn is_nothing(self) -> bool {
        self == Self::NOTHING
    }
}

/// The substance of `bit` alone.
pub(crate) fn mask(bit: u32) -> u64 {
    assert!(bit < u64::BITS, "substance {bit} is beyond the last, {}", u64::BITS - 1);
    1 << bit
}

/// What was declared of each of many nodes. Hardly any made lot or batch has anything of its own, and most received
/// lots are alike in being unknown, so four bytes stand for those, and only the others take a [`Content`].
#[derive(Default)]
pub(crate) struct Declared {
    slots: Vec<u32>,
    contents: Vec<Content>,
}

/// For how many batches a graph keeps room from one change to the next.
const KEPT_ROOM: usize = 1 << 14;

const NOTHING: u32 = u32::MAX;
const UNKNOWN: u32 = u32::MAX - 1;

impl Declared {
    /// Adds a node of which nothing is recorded.
    pub(crate) fn add_nothing(&mut self) {
        push_tight(&mut self.slots, NOTHING);
    }

    /// Adds a node of which everything is unknown.
    pub(crate) fn add_unknown(&mut self) {
        push_tight(&mut self.slots, UNKNOWN);
    }

    /// Adds a node of which this is declared.
    pub(crate) fn add(&mut self, content: Content) {
        self.add_nothing();
        if content != Content::NOTHING {
            self.set(narrow(self.slots.len() - 1), content);
        }
    }

    /// Makes the room of what will not grow for a while no larger than it must be.
    pub(crate) fn shrink(&mut self) {
        self.slots.shrink_to_fit();
        self.contents.shrink_to_fit();
    }

    pub(crate) fn of(&self, node: u32) -> Content {
        match self.slots[node as usize] {
            NOTHING => Content::NOTHING,
            UNKNOWN => Content::UNKNOWN,
            slot => self.contents[slot as usize],
        }
    }

    pub(crate) fn set(&mut self, node: u32, content: Content) {
        let slot = &mut self.slots[node as usize];
        if let Some(place) = self.contents.get_mut(*slot as usize) {
            *place = content;
        } else if content == Content::NOTHING {
            *slot = NOTHING;
        } else if content == Content::UNKNOWN {
            *slot = UNKNOWN;
        } else {
            // Nodes number less than 2^32 - 1, and a node takes one place at most; the last two are never reached.
            *slot = narrow(self.contents.len());
            push_tight(&mut self.contents, content);
        }
    }
}

impl Graph {
    /// What is in `lot`: what was declared of it, and if it was made, what is in the batch that yielded it. Kept, so
    /// that reading it costs nothing.
    pub fn content(&self, lot: LotIx) -> Content {
        let own = self.declared_of_lot(lot);
        self.made_by(lot).map_or(own, |batch| own.union(self.content[batch.0 as usize]))
    }

    /// What is in `batch`: what was declared of it, the content of every lot that went into it (a use of 0 mg counts),
    /// and what its contacts carry. Kept, so that reading it costs nothing.
    pub fn batch_content(&self, batch: BatchIx) -> Content {
        self.check_batch(batch);
        self.content[batch.0 as usize]
    }

    /// What was last declared of `lot` itself: until then everything is unknown of a received lot, and a made lot adds
    /// nothing to its batch.
    pub fn declared_of_lot(&self, lot: LotIx) -> Content {
        self.check_lot(lot);
        self.lot_own.of(lot.0)
    }

    /// What was last declared of `batch` itself, nothing at first.
    pub fn declared_of_batch(&self, batch: BatchIx) -> Content {
        self.check_batch(batch);
        self.batch_own.of(batch.0)
    }

    /// Says that `own` is in `lot`, instead of whatever was declared of it before. All that is in a received lot is
    /// what is declared of it; a made lot has in it what its batch has besides.
    ///
    /// Before the lot is used anywhere this costs nothing; later, as much as it changes.
    pub fn declare_lot(&mut self, lot: LotIx, own: Content) {
        self.check_lot(lot);
        let declared = [(lot, own)];
        self.declare(Supposed { lots: &declared, batches: &[] });
        self.lot_own.set(lot.0, own);
    }

    /// Says that `own` is in `batch` besides what its uses and contacts bring, instead of whatever was declared of it
    /// before: what is in things no lot is kept of.
    pub fn declare_batch(&mut self, batch: BatchIx, own: Content) {
        self.check_batch(batch);
        let declared = [(batch, own)];
        self.declare(Supposed { lots: &[], batches: &declared });
        self.batch_own.set(batch.0, own);
    }

    /// Which lots would have another content if these were declared instead, in order of their index, and what content.
    /// The graph stays as it is. Of several declarations of the same lot or batch the last counts.
    pub fn would_change(
        &self,
        scratch: &mut Scratch,
        lots: &[(LotIx, Content)],
        batches: &[(BatchIx, Content)],
    ) -> Vec<Changed> {
        for (lot, _) in lots {
            self.check_lot(*lot);
        }
        for (batch, _) in batches {
            self.check_batch(*batch);
        }
        let (lots, batches) = (last_of_each(lots), last_of_each(batches));
        let mut ripple = Ripple::new(self, scratch, Supposed { lots: &lots, batches: &batches });
        ripple.declare();
        let mut found: Vec<LotIx> = lots.iter().map(|(lot, _)| *lot).collect();
        found.extend(ripple.changed_batches().flat_map(|batch| self.outputs.of(batch.0)));
        found.sort_unstable();
        found.dedup();
        let changed = |lot| Changed { lot, before: self.content(lot), after: ripple.lot_content(lot) };
        found.into_iter().map(changed).filter(|changed| changed.before != changed.after).collect()
    }

    /// Puts more into `batch`, and into all that comes after it.
    pub(crate) fn gain(&mut self, batch: BatchIx, more: Content) {
        let now = self.content[batch.0 as usize];
        let next = now.union(more);
        if next == now {
            return;
        }
        if self.outputs.of(batch.0).is_empty() && self.contacts_after.of(batch.0).is_empty() {
            self.content[batch.0 as usize] = next;
            return;
        }
        let mut scratch = std::mem::take(&mut self.scratch);
        Ripple::new(self, &mut scratch, Supposed::default()).gain_and_spread(batch, more);
        self.write_down(scratch);
    }

    /// Takes out of `batch`, and of all that comes after it, what of `less` nothing accounts for any longer.
    pub(crate) fn lose(&mut self, batch: BatchIx, less: Content) {
        let mut scratch = std::mem::take(&mut self.scratch);
        Ripple::new(self, &mut scratch, Supposed::default()).lose_and_settle(batch, less);
        self.write_down(scratch);
    }

    fn declare(&mut self, supposed: Supposed) {
        let mut scratch = std::mem::take(&mut self.scratch);
        Ripple::new(self, &mut scratch, supposed).declare();
        self.write_down(scratch);
    }

    /// Makes a change the truth, and keeps the scratch for the next, but not the room that a very large one took.
    fn write_down(&mut self, mut change: Scratch) {
        for touched in change.touched.drain(..) {
            self.content[touched.batch.0 as usize] = touched.now;
        }
        change.touched.shrink_to(KEPT_ROOM);
        change.ready.shrink_to(KEPT_ROOM);
        self.scratch = change;
    }
}

/// The list in order, with the last of each that is named more than once.
fn last_of_each<T: Copy + Ord>(list: &[(T, Content)]) -> Vec<(T, Content)> {
    let mut sorted: Vec<_> = list.iter().rev().copied().collect();
    sorted.sort_by_key(|(node, _)| *node);
    sorted.dedup_by_key(|(node, _)| *node);
    sorted
}
