//! A look around for what still accounts for the content of a batch.

use crate::ripple::Ripple;
use crate::{BatchIx, Content};

/// How many batches a proof may be looked for in. Where equipment is never cleaned out, everything hangs together over
/// it and hardly a substance has one reason only; the next is found within a few batches, or is not worth the search.
const BATCHES: usize = 48;

/// What is looked for in a batch on the way back.
#[derive(Copy, Clone, Default)]
struct Wanted {
    /// To account for the same sets of the batch that the search began at, by uses alone.
    by_uses: Content,
    /// What is possible there if it is certain or possible here: a contact lies between.
    possible: u64,
}

impl Wanted {
    fn is_nothing(self) -> bool {
        self.by_uses.is_nothing() && self.possible == 0
    }

    /// What of this can come from something with `content` in it.
    fn within(self, content: Content) -> Self {
        let possible = self.possible & (content.contains | content.may_contain);
        Self { by_uses: self.by_uses.common(content), possible }
    }

    fn minus(self, other: Self) -> Self {
        Self { by_uses: self.by_uses.minus(other.by_uses), possible: self.possible & !other.possible }
    }

    /// What of this can come over a contact that carries the substances `carries`.
    fn over(self, carries: u64) -> Self {
        let unknown = self.by_uses.unknown & carries;
        let by_uses = Content { unknown, ..Content::NOTHING };
        Self { by_uses, possible: (self.by_uses.may_contain | self.possible) & carries }
    }

    /// What it accounts for in the batch that the search began at, once it is found.
    fn proves(self) -> Content {
        Content { may_contain: self.by_uses.may_contain | self.possible, ..self.by_uses }
    }
}

/// A search back from a batch for declarations that account for some of what is in it.
///
/// What it proves is true whatever becomes of the contents as they are kept: a chain of uses and contacts leads here
/// from something declared. These only spare it the ways that lead nowhere.
pub(crate) struct Proof<'a, 'g> {
    ripple: &'a Ripple<'g>,
    asked: Vec<(BatchIx, Wanted)>,
    proven: Content,
}

impl<'a, 'g> Proof<'a, 'g> {
    /// What of `content`, which is in `batch` by what is kept, is found to be accounted for still.
    pub(crate) fn of(ripple: &'a Ripple<'g>, batch: BatchIx, content: Content) -> Content {
        let mut proof = Self { ripple, asked: Vec::new(), proven: Content::NOTHING };
        proof.ask(batch, Wanted { by_uses: content, possible: 0 });
        let mut next = 0;
        while let Some(&(batch, wanted)) = proof.asked.get(next)
            && proof.proven != content
        {
            next += 1;
            proof.look(batch, wanted);
        }
        proof.proven
    }

    /// Looks at what a batch was declared to have, at what went into it and at what it was in contact with.
    fn look(&mut self, batch: BatchIx, wanted: Wanted) {
        let ripple = self.ripple;
        self.find(wanted.within(ripple.batch_own(batch)));
        for &lot in ripple.graph.uses_in.of(batch.0) {
            self.find(wanted.within(ripple.lot_own(lot)));
            if let Some(maker) = ripple.graph.made_by(lot) {
                self.ask(maker, wanted);
            }
        }
        for contact in ripple.graph.contacts_before.of(batch.0) {
            self.ask(contact.other, wanted.over(contact.carries));
        }
    }

    fn find(&mut self, found: Wanted) {
        self.proven = self.proven.union(found.proves());
    }

    /// Puts a batch on the list, for what may come from it and was neither found yet nor asked of it before.
    fn ask(&mut self, batch: BatchIx, wanted: Wanted) {
        let found = Wanted { by_uses: self.proven, possible: self.proven.may_contain };
        let mut wanted = wanted.within(self.ripple.now(batch)).minus(found);
        if wanted.is_nothing() || self.asked.len() == BATCHES {
            return;
        }
        for (other, before) in &self.asked {
            if *other == batch {
                wanted = wanted.minus(*before);
            }
        }
        if !wanted.is_nothing() {
            self.asked.push((batch, wanted));
        }
    }
}
