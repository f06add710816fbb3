//! The chain that explains an answer, in rows: out of the index, for the database to name.

use tubtrail_domain::allergens::Substance;
use tubtrail_lineage::{Node, Scratch, Source};

use crate::allergen_words::Answer;
use crate::error::Result;
use crate::index::{Inside, lot_ix, lot_row};

/// How something got into a lot, from what was declared to the lot itself.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) struct Chain {
    pub source: ChainSource,
    /// What the source's own declaration says: worse than what came of it over a contact.
    pub stated: Answer,
    pub links: Vec<Link>,
}

/// Whose own declaration is the cause.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum ChainSource {
    /// A lot's.
    Lot(i64),
    /// Something kept without lots in a batch.
    Batch(i64),
}

/// A link of the chain.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Link {
    /// A lot.
    Lot(i64),
    /// A batch.
    Batch(i64),
    /// Two batches met on equipment.
    Contact { before: i64, after: i64, equipment: i64 },
}

/// A shortest chain for an answer about a lot; none where nothing put the substance there.
pub(super) fn chain(
    inside: &Inside,
    scratch: &mut Scratch,
    lot_id: i64,
    substance: Substance,
    answer: Answer,
) -> Result<Option<Chain>> {
    let bit = substance.bit().trailing_zeros();
    let Some(found) = inside.graph.evidence(scratch, lot_ix(lot_id)?, bit, answer.in_graph()) else { return Ok(None) };
    let links = found.nodes.iter().map(|node| match *node {
        Node::Lot(lot) => Link::Lot(lot_row(lot)),
        Node::Batch(batch) => Link::Batch(inside.batch_row(batch)),
        Node::Contact { before, after, via } => Link::Contact {
            before: inside.batch_row(before),
            after: inside.batch_row(after),
            equipment: inside.contents.equipment_row(via),
        },
    });
    let (source, declared) = match found.source {
        Source::Lot(lot) => (ChainSource::Lot(lot_row(lot)), inside.graph.declared_of_lot(lot)),
        Source::Batch(batch) => (ChainSource::Batch(inside.batch_row(batch)), inside.graph.declared_of_batch(batch)),
    };
    let over_contact = found.nodes.iter().any(|node| matches!(node, Node::Contact { .. }));
    // Over a contact, what is certain at the source explains what is possible at the end.
    let mask = substance.bit();
    let stated = if answer == Answer::MayContain && over_contact && declared.contains & mask != 0 {
        Answer::Contains
    } else {
        answer
    };
    Ok(Some(Chain { source, stated, links: links.collect() }))
}
