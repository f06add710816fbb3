//! Why a lot is said to contain something.

use crate::content::mask;
use crate::index::narrow;
use crate::scratch::Mark;
use crate::{Answer, BatchIx, Content, Graph, LotIx, Scratch};

/// By which chain a substance came into a lot, or may have.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct Evidence {
    /// Whose own declaration is the cause.
    pub source: Source,
    /// The chain from the source to the lot that was asked about, both included. A lot stands before the batch it went
    /// into, a batch before the lot that came out of it, and a contact between its two batches.
    pub nodes: Vec<Node>,
}

/// What was declared to have a substance in it.
#[derive(Copy, Clone, PartialEq, Eq, Hash, Debug)]
pub enum Source {
    /// A lot, received or made.
    Lot(LotIx),
    /// A batch, by something in it that no lot is kept of.
    Batch(BatchIx),
}

/// One link of the chain.
#[derive(Copy, Clone, PartialEq, Eq, Hash, Debug)]
pub enum Node {
    /// A lot: it came out of the batch before it in the chain, and went into the one after it.
    Lot(LotIx),
    /// A batch: the lot before it in the chain went into it, and the lot after it came out of it.
    Batch(BatchIx),
    /// The two batches next to it in the chain met on the equipment `via`.
    Contact {
        /// The batch from which something may have got over.
        before: BatchIx,
        /// The batch into which it may have got.
        after: BatchIx,
        /// What it happened on, as the caller called it.
        via: u32,
    },
}

/// A batch on the way back from a lot.
#[derive(Copy, Clone)]
pub(crate) struct Hop {
    batch: BatchIx,
    /// Whether a contact lies between here and the lot.
    over_contact: bool,
    /// The place of the hop it was reached from; the first is its own.
    from: u32,
    link: Link,
}

/// What joins a batch to the one it was reached from, or the first to the lot asked about.
#[derive(Copy, Clone)]
enum Link {
    Lot(LotIx),
    Contact(u32),
}

/// What is looked for.
#[derive(Copy, Clone)]
struct Sought {
    answer: Answer,
    mask: u64,
}

impl Sought {
    /// Whether `content` accounts for it, on this side of any contact or `over_contact`, where what is certain becomes
    /// possible.
    fn is_in(self, content: Content, over_contact: bool) -> bool {
        let set = match self.answer {
            Answer::Contains => content.contains,
            Answer::MayContain if over_contact => content.contains | content.may_contain,
            Answer::MayContain => content.may_contain,
            Answer::Unknown => content.unknown,
            Answer::NotRecorded => 0,
        };
        set & self.mask != 0
    }
}

impl Graph {
    /// A shortest chain that explains why the substance of `bit` is among what `lot` contains, may contain or has
    /// unknown, whichever `answer` says, even if something worse is also true of it. None if it is not, and always for
    /// [`Answer::NotRecorded`].
    ///
    /// What a lot contains came by uses alone; what it may contain, from something that may contain it, or over a
    /// contact from something that contains it.
    ///
    /// # Panics
    ///
    /// If `bit` is not below 64.
    pub fn evidence(&self, scratch: &mut Scratch, lot: LotIx, bit: u32, answer: Answer) -> Option<Evidence> {
        let sought = Sought { answer, mask: mask(bit) };
        if sought.is_in(self.declared_of_lot(lot), false) {
            return Some(Evidence { source: Source::Lot(lot), nodes: vec![Node::Lot(lot)] });
        }
        let maker = self.made_by(lot)?;
        let mut search = Search::new(self, scratch, sought);
        search.enter(Hop { batch: maker, over_contact: false, from: 0, link: Link::Lot(lot) });
        search.run()
    }
}

/// A search back from a lot, one batch further at a time.
struct Search<'a> {
    graph: &'a Graph,
    scratch: &'a mut Scratch,
    sought: Sought,
    /// What marks a batch reached by uses alone, and one reached over a contact.
    epochs: (u32, u32),
}

impl<'a> Search<'a> {
    fn new(graph: &'a Graph, scratch: &'a mut Scratch, sought: Sought) -> Self {
        let epochs = scratch.begin_batches(graph);
        scratch.hops.clear();
        Self { graph, scratch, sought, epochs }
    }

    fn run(&mut self) -> Option<Evidence> {
        let mut level = 0..self.scratch.hops.len();
        while !level.is_empty() {
            // A batch that is itself the source makes a shorter chain than any lot that went into one as near.
            for at in level.clone() {
                let Hop { batch, over_contact, .. } = self.scratch.hops[at];
                if self.sought.is_in(self.graph.batch_own.of(batch.0), over_contact) {
                    return Some(Evidence { source: Source::Batch(batch), nodes: self.chain(at, None) });
                }
            }
            for at in level.clone() {
                if let Some(lot) = self.go_back(at) {
                    return Some(Evidence { source: Source::Lot(lot), nodes: self.chain(at, Some(lot)) });
                }
            }
            level = level.end..self.scratch.hops.len();
        }
        None
    }

    /// Looks at what went into the batch at `at` and at its contacts: a lot that is the source, if there is one.
    fn go_back(&mut self, at: usize) -> Option<LotIx> {
        let graph = self.graph;
        let Hop { batch, over_contact, .. } = self.scratch.hops[at];
        let from = narrow(at);
        for &lot in graph.uses_in.of(batch.0) {
            if self.sought.is_in(graph.lot_own.of(lot.0), over_contact) {
                return Some(lot);
            }
            if let Some(batch) = graph.made_by(lot) {
                self.enter(Hop { batch, over_contact, from, link: Link::Lot(lot) });
            }
        }
        if self.sought.answer == Answer::Contains {
            return None;
        }
        for contact in graph.contacts_before.of(batch.0) {
            if contact.carries & self.sought.mask != 0 {
                self.enter(Hop { batch: contact.other, over_contact: true, from, link: Link::Contact(contact.via) });
            }
        }
        None
    }

    /// Remembers a batch to go on from, unless the way back from it leads nowhere or was taken already.
    fn enter(&mut self, hop: Hop) {
        if !self.sought.is_in(self.graph.content[hop.batch.0 as usize], hop.over_contact) {
            return;
        }
        let (by_uses, over_contact) = self.epochs;
        let mark = &mut self.scratch.batch_marks[hop.batch.0 as usize];
        // Whatever explains a batch reached by uses alone explains it over a contact too, but not the other way round.
        let taken = mark.epoch == over_contact || mark.epoch == by_uses && !hop.over_contact;
        if !taken {
            *mark = Mark { epoch: if hop.over_contact { over_contact } else { by_uses }, at: 0 };
            self.scratch.hops.push(hop);
        }
    }

    /// The chain from `source`, or from the batch of the hop at `at` itself, to the lot that was asked about.
    fn chain(&self, mut at: usize, source: Option<LotIx>) -> Vec<Node> {
        let mut nodes: Vec<Node> = source.map(Node::Lot).into_iter().collect();
        loop {
            let hop = self.scratch.hops[at];
            let next = self.scratch.hops[hop.from as usize];
            nodes.push(Node::Batch(hop.batch));
            nodes.push(match hop.link {
                Link::Lot(lot) => Node::Lot(lot),
                Link::Contact(via) => Node::Contact { before: hop.batch, after: next.batch, via },
            });
            if at == 0 {
                return nodes;
            }
            at = hop.from as usize;
        }
    }
}
