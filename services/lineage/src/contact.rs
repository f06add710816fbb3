//! Batches that met on a piece of equipment.

use crate::{BatchIx, Content, Graph};

/// One end of a contact: something of one batch may have got into another, because they ran on the same equipment.
#[derive(Copy, Clone, PartialEq, Eq, Hash, Debug)]
pub struct Contact {
    /// The batch at the other end.
    pub other: BatchIx,
    /// The substances that may have got over, one bit each; never none.
    pub carries: u64,
    /// What it happened on; the graph makes nothing of it.
    pub via: u32,
}

impl Graph {
    /// Records that the substances `carries` may have got from `before` into `after` on the equipment `via`, instead of
    /// what was recorded of those three before. A batch is in no contact with itself, and one that carries nothing is
    /// none; unlike uses, contacts may run in a circle.
    pub fn add_contact(&mut self, before: BatchIx, after: BatchIx, carries: u64, via: u32) {
        self.check_batch(before);
        self.check_batch(after);
        if before == after {
            return;
        }
        let known = self.find_contact(before, after, via);
        if carries == 0 {
            self.remove_contact(before, after, via);
            return;
        }
        let (to, from) = (Contact { other: after, carries, via }, Contact { other: before, carries, via });
        let Some((at_before, at_after)) = known else {
            self.contacts_after.push(before.0, to, ());
            self.contacts_before.push(after.0, from, ());
            self.gain(after, self.content[before.0 as usize].carried(carries));
            return;
        };
        let was = self.contacts_after.of(before.0)[at_before].carries;
        self.contacts_after.set(before.0, at_before, to);
        self.contacts_before.set(after.0, at_after, from);
        self.lose_carried(before, after, was & !carries);
        self.gain(after, self.content[before.0 as usize].carried(carries));
    }

    /// Takes back the contact of `before` with `after` on the equipment `via`; false if there was none.
    pub fn remove_contact(&mut self, before: BatchIx, after: BatchIx, via: u32) -> bool {
        self.check_batch(before);
        self.check_batch(after);
        let Some((at_before, at_after)) = self.find_contact(before, after, via) else { return false };
        let was = self.contacts_after.of(before.0)[at_before].carries;
        self.contacts_after.remove(before.0, at_before);
        self.contacts_before.remove(after.0, at_after);
        self.lose_carried(before, after, was);
        true
    }

    /// The contacts by which something of `batch` may have got into other batches.
    pub fn contacts_after(&self, batch: BatchIx) -> impl ExactSizeIterator<Item = Contact> {
        self.check_batch(batch);
        self.contacts_after.of(batch.0).iter().copied()
    }

    /// The contacts by which something of other batches may have got into `batch`.
    pub fn contacts_before(&self, batch: BatchIx) -> impl ExactSizeIterator<Item = Contact> {
        self.check_batch(batch);
        self.contacts_before.of(batch.0).iter().copied()
    }

    fn lose_carried(&mut self, before: BatchIx, after: BatchIx, carried: u64) {
        let less = self.content[before.0 as usize].carried(carried);
        if less != Content::NOTHING {
            self.lose(after, less);
        }
    }

    /// Where the contact stands in the list of `before` and in that of `after`.
    fn find_contact(&self, before: BatchIx, after: BatchIx, via: u32) -> Option<(usize, usize)> {
        let find = |list: &[Contact], other| list.iter().position(|entry| entry.other == other && entry.via == via);
        Some((find(self.contacts_after.of(before.0), after)?, find(self.contacts_before.of(after.0), before)?))
    }
}
