//! What a recall reaches by contact alone, and by which batches: for the picture.

use std::collections::BTreeSet;

use tubtrail_lineage::{BatchIx, LotIx, Reach};

use super::{SeedsAsked, addressed};
use crate::error::Result;
use crate::index::{Answered, Inside, Unanswered};
use crate::quantities::Grams;
use crate::reach::{self, Request};
use crate::trace::{TracedLot, TracedUse, show_one};
use crate::tubtrail::Tubtrail;

/// Lots that are reached by contact alone. How much of what is recalled is in them nobody knows.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct ReachedByContact {
    /// The lots; their `grams` say nothing.
    pub lots: Vec<TracedLot>,
    /// Pairs of batches, by number: the second ran after the first on the same equipment, and what it yielded is reached by
    /// contact alone.
    pub contacts: Vec<(i64, i64)>,
}

impl Tubtrail {
    /// What a recall reaches by contact alone.
    pub fn recall_contacts(&self, request: &Request, id: i64) -> Result<ReachedByContact> {
        request.actor.may_anywhere(&reach::DRAW_RECALL)?;
        let row = self.read(|conn| addressed(conn, id))?;
        if !row.with_contact {
            return Ok(ReachedByContact::default());
        }
        let beginning = self.beginning(request, &row)?;
        self.answer_of(request, |inside, _| match inside.recalls.get(row.id) {
            Some(recalled) => by_contact(inside, &recalled.reach),
            None => by_contact(inside, &Reach::of(&inside.graph, &beginning, true)),
        })
    }

    /// What a recall that begins with this would reach by contact alone.
    pub fn seeds_contacts(&self, request: &Request, asked: &SeedsAsked) -> Result<ReachedByContact> {
        request.actor.may_anywhere(&reach::FORESEE_RECALL)?;
        if !asked.with_contact {
            return Ok(ReachedByContact::default());
        }
        let (lots, _) = self.read(|conn| self.lots_asked(conn, asked))?;
        self.answer_of(request, |inside, _| by_contact(inside, &Reach::of(&inside.graph, &lots, true)))
    }
}

fn by_contact(inside: &Inside, reach: &Reach) -> Answered<ReachedByContact> {
    let graph = &inside.graph;
    let touched = || reach.lots().filter(|lot| reach.by_contact_only(*lot));
    let unread = inside.unread_of(touched());
    if !unread.is_empty() {
        return Err(Unanswered::Unread(unread));
    }
    let lots = touched().map(|lot| show_one(inside, lot, uses_of(inside, lot))).collect::<Answered<_>>()?;
    let after: BTreeSet<BatchIx> = touched().filter_map(|lot| graph.made_by(lot)).collect();
    let mut contacts = BTreeSet::new();
    for batch in after {
        let before =
            graph.contacts_before(batch).map(|contact| contact.other).filter(|before| reach.holds_batch(*before));
        contacts.extend(before.map(|before| (inside.batch_row(before), inside.batch_row(batch))));
    }
    Ok(ReachedByContact { lots, contacts: contacts.into_iter().collect() })
}

/// All its uses: what a reached lot went into is reached.
fn uses_of(inside: &Inside, lot: LotIx) -> Vec<TracedUse> {
    let uses = inside.graph.uses_of(lot);
    uses.map(|(batch, mg)| TracedUse { batch: inside.batch_row(batch), grams: Grams::from_mg(mg) }).collect()
}
