//! What was said to be in things, as plain lists, and every answer worked out from it the slow way.

use std::collections::{BTreeMap, BTreeSet};

use tubtrail_lineage::{Answer, Content, Graph, Use as WholeUse, Whole, WholeContact, WholeLots};

use crate::facts::{batch, lot};

#[derive(Clone, Debug)]
pub struct Lot {
    pub maker: Option<usize>,
    pub own: Content,
}

#[derive(Copy, Clone, PartialEq, Debug)]
pub struct Use {
    pub lot: usize,
    pub batch: usize,
    pub mass: i64,
}

#[derive(Clone, Default, Debug)]
pub struct Said {
    pub lots: Vec<Lot>,
    /// By batch, what it has of its own.
    pub batches: Vec<Content>,
    pub uses: Vec<Use>,
    /// By before, after and equipment, what carries over.
    pub contacts: BTreeMap<(usize, usize, u32), u64>,
}

/// The number of nodes in a shortest chain to each lot and batch; none where there is no chain.
struct Chains {
    lots: Vec<Option<usize>>,
    batches: Vec<Option<usize>>,
}

impl Said {
    /// The graph of all this, each kind written down in its turn.
    pub fn graph(&self) -> Graph {
        let mut graph = Graph::new();
        for own in &self.batches {
            let added = graph.add_batch();
            graph.declare_batch(added, *own);
        }
        for (at, Lot { maker, own }) in self.lots.iter().enumerate() {
            match maker {
                Some(maker) => graph.add_made_lot(batch(*maker), 1),
                None => graph.add_received_lot(1),
            };
            graph.declare_lot(lot(at), *own);
        }
        for used in &self.uses {
            graph.add_use(lot(used.lot), batch(used.batch), used.mass).unwrap();
        }
        for (&(before, after, via), &carries) in &self.contacts {
            graph.add_contact(batch(before), batch(after), carries, via);
        }
        graph
    }

    /// The graph of all this, built at once.
    pub fn whole(&self) -> Graph {
        let mut lots = WholeLots::default();
        for Lot { maker, own } in &self.lots {
            lots.add(maker.map(batch), 1, *own);
        }
        let uses = self.uses.iter();
        let uses = uses.map(|one| WholeUse { lot: lot(one.lot), batch: batch(one.batch), mass_mg: one.mass }).collect();
        let declared = self.batches.iter().enumerate().map(|(at, own)| (batch(at), *own)).collect();
        let contacts = self.contacts.iter().map(|(&(before, after, via), &carries)| WholeContact {
            before: batch(before),
            after: batch(after),
            carries,
            via,
        });
        let contacts = contacts.collect();
        let whole = Whole { batches: self.batches.len(), lots, uses, declared, contacts, ..Whole::default() };
        Graph::of(whole).unwrap()
    }

    /// What is in each lot and in each batch, by putting every fact through the rules again and again until nothing
    /// changes any more.
    pub fn contents(&self) -> (Vec<Content>, Vec<Content>) {
        let mut lots: Vec<Content> = self.lots.iter().map(|lot| lot.own).collect();
        let mut batches = self.batches.clone();
        loop {
            let before = (lots.clone(), batches.clone());
            for used in &self.uses {
                batches[used.batch] = batches[used.batch].union(lots[used.lot]);
            }
            for (&(before, after, _), mask) in &self.contacts {
                let from = batches[before];
                let over = Content {
                    contains: 0,
                    may_contain: (from.contains | from.may_contain) & mask,
                    unknown: from.unknown & mask,
                };
                batches[after] = batches[after].union(over);
            }
            for (content, lot) in lots.iter_mut().zip(&self.lots) {
                if let Some(maker) = lot.maker {
                    *content = content.union(batches[maker]);
                }
            }
            if (&lots, &batches) == (&before.0, &before.1) {
                return before;
            }
        }
    }

    /// By lot, the number of nodes in a shortest chain that explains `answer` for `bit`, going forward from every
    /// source.
    pub fn shortest(&self, bit: u32, answer: Answer) -> Vec<Option<usize>> {
        let mask = 1 << bit;
        let certain = |content: Content| content.contains & mask != 0;
        let found = match answer {
            Answer::Contains => self.chains(mask, certain, None),
            Answer::MayContain => {
                let certain = self.chains(mask, certain, None);
                self.chains(mask, |content| content.may_contain & mask != 0, Some(&certain))
            }
            Answer::Unknown => {
                let nowhere = Chains { lots: Vec::new(), batches: vec![None; self.batches.len()] };
                self.chains(mask, |content| content.unknown & mask != 0, Some(&nowhere))
            }
            Answer::NotRecorded => return vec![None; self.lots.len()],
        };
        found.lots
    }

    /// Chains from what `is_source`, by uses; also over contacts, and from the ends of `others` over a contact, if there
    /// are others.
    fn chains(&self, mask: u64, is_source: impl Fn(Content) -> bool, others: Option<&Chains>) -> Chains {
        let source = |own: Content| is_source(own).then_some(1);
        let mut lots: Vec<_> = self.lots.iter().map(|lot| source(lot.own)).collect();
        let mut batches: Vec<_> = self.batches.iter().map(|own| source(*own)).collect();
        loop {
            let before = (lots.clone(), batches.clone());
            for used in &self.uses {
                shorten(&mut batches[used.batch], lots[used.lot], 1);
            }
            for (&(from, to, _), carries) in &self.contacts {
                if let Some(others) = others
                    && carries & mask != 0
                {
                    let way = batches[from];
                    shorten(&mut batches[to], way, 2);
                    shorten(&mut batches[to], others.batches[from], 2);
                }
            }
            for (found, lot) in lots.iter_mut().zip(&self.lots) {
                if let Some(maker) = lot.maker {
                    shorten(found, batches[maker], 1);
                }
            }
            if (&lots, &batches) == (&before.0, &before.1) {
                return Chains { lots, batches };
            }
        }
    }

    /// The lots and batches that the seeds lead to.
    pub fn reach(&self, seeds: &[usize], with_contact: bool) -> (BTreeSet<usize>, BTreeSet<usize>) {
        let mut lots: BTreeSet<usize> = seeds.iter().copied().collect();
        let mut batches = BTreeSet::new();
        loop {
            let before = (lots.len(), batches.len());
            batches.extend(self.uses.iter().filter(|used| lots.contains(&used.lot)).map(|used| used.batch));
            for (from, to, _) in self.contacts.keys() {
                if with_contact && batches.contains(from) {
                    batches.insert(*to);
                }
            }
            let made = self.lots.iter().enumerate();
            lots.extend(made.filter(|(_, lot)| lot.maker.is_some_and(|m| batches.contains(&m))).map(|(at, _)| at));
            if (lots.len(), batches.len()) == before {
                return (lots, batches);
            }
        }
    }
}

fn shorten(found: &mut Option<usize>, way: Option<usize>, more: usize) {
    if let Some(way) = way
        && found.is_none_or(|found| found > way + more)
    {
        *found = Some(way + more);
    }
}
