//! What may get from one batch into another on the equipment, as on paper.

use tubtrail_lineage::{Answer, BatchIx, Contact, Content, Evidence, Graph, LotIx, Node, Reach, Scratch, Source};

const MILK: u32 = 0;
const HAZELNUT: u32 = 1;
const EVERYTHING: u64 = u64::MAX;
/// What the rinse between two batches leaves behind: all but milk.
const AFTER_RINSE: u64 = !(1 << MILK);

const CHURN: u32 = 7;
const FILLER: u32 = 8;

/// A batch of one lot received for it, which contains `bits`, and the tub it yielded.
fn flavour(graph: &mut Graph, bits: &[u32]) -> (LotIx, BatchIx, LotIx) {
    let lot = graph.add_received_lot(1_000);
    graph.declare_lot(lot, Content { contains: bits.iter().map(|bit| 1 << bit).sum(), ..Content::NOTHING });
    let batch = graph.add_batch();
    graph.add_use(lot, batch, 1_000).unwrap();
    (lot, batch, graph.add_made_lot(batch, 1_000))
}

#[track_caller]
fn assert_answers(graph: &Graph, lot: LotIx, milk: Answer, hazelnut: Answer) {
    let content = graph.content(lot);
    assert_eq!([MILK, HAZELNUT].map(|bit| content.answer(bit)), [milk, hazelnut], "{lot:?}");
}

use Answer::{Contains, MayContain, NotRecorded, Unknown};

#[test]
fn the_sorbet_after_the_hazelnut_may_contain_it() {
    let mut graph = Graph::new();
    let (_, hazelnut, first) = flavour(&mut graph, &[MILK, HAZELNUT]);
    let (_, lemon, second) = flavour(&mut graph, &[]);
    let (_, mango, third) = flavour(&mut graph, &[]);
    graph.add_contact(hazelnut, lemon, AFTER_RINSE, CHURN);
    graph.add_contact(lemon, mango, EVERYTHING, CHURN);
    assert_answers(&graph, first, Contains, Contains);
    assert_answers(&graph, second, NotRecorded, MayContain);
    assert_answers(&graph, third, NotRecorded, MayContain);
    // The rinse turns out not to have been done.
    graph.add_contact(hazelnut, lemon, EVERYTHING, CHURN);
    assert_answers(&graph, third, MayContain, MayContain);
    let expected = Contact { other: hazelnut, carries: EVERYTHING, via: CHURN };
    assert_eq!(graph.contacts_before(lemon).collect::<Vec<_>>(), [expected]);
    let expected = Contact { other: lemon, carries: EVERYTHING, via: CHURN };
    assert_eq!(graph.contacts_after(hazelnut).collect::<Vec<_>>(), [expected]);
    // Or to have been a thorough wash.
    assert!(graph.remove_contact(hazelnut, lemon, CHURN));
    assert!(!graph.remove_contact(hazelnut, lemon, CHURN));
    assert_answers(&graph, third, NotRecorded, NotRecorded);
    assert_eq!(graph.contacts_before(lemon).len() + graph.contacts_after(hazelnut).len(), 0);
}

#[test]
fn two_machines_are_two_contacts() {
    let mut graph = Graph::new();
    let (_, hazelnut, _) = flavour(&mut graph, &[HAZELNUT]);
    let (_, lemon, tub) = flavour(&mut graph, &[]);
    graph.add_contact(hazelnut, lemon, EVERYTHING, CHURN);
    graph.add_contact(hazelnut, lemon, EVERYTHING, FILLER);
    assert_eq!(graph.contacts_after(hazelnut).len(), 2);
    assert!(graph.remove_contact(hazelnut, lemon, CHURN));
    assert_answers(&graph, tub, NotRecorded, MayContain);
    // A contact that carries nothing is none, and a batch meets not itself.
    graph.add_contact(hazelnut, lemon, 0, FILLER);
    graph.add_contact(lemon, lemon, EVERYTHING, CHURN);
    assert_answers(&graph, tub, NotRecorded, NotRecorded);
    assert_eq!(graph.contacts_after(hazelnut).len() + graph.contacts_after(lemon).len(), 0);
}

#[test]
fn machines_used_crosswise_do_not_vouch_for_each_other() {
    let mut graph = Graph::new();
    let (nuts, hazelnut, _) = flavour(&mut graph, &[HAZELNUT]);
    let (_, lemon, second) = flavour(&mut graph, &[]);
    let (_, mango, third) = flavour(&mut graph, &[]);
    graph.add_contact(hazelnut, lemon, EVERYTHING, CHURN);
    graph.add_contact(lemon, mango, EVERYTHING, CHURN);
    graph.add_contact(mango, lemon, EVERYTHING, FILLER);
    assert_answers(&graph, third, NotRecorded, MayContain);
    graph.declare_lot(nuts, Content::UNKNOWN);
    assert_answers(&graph, second, Unknown, Unknown);
    assert_answers(&graph, third, Unknown, Unknown);
    graph.remove_contact(hazelnut, lemon, CHURN);
    assert_answers(&graph, second, NotRecorded, NotRecorded);
    assert_answers(&graph, third, NotRecorded, NotRecorded);
}

#[test]
fn the_fewest_hops_explain_what_may_be_there() {
    let mut graph = Graph::new();
    let (nuts, hazelnut, first) = flavour(&mut graph, &[HAZELNUT]);
    let (_, lemon, _) = flavour(&mut graph, &[]);
    let (_, mango, third) = flavour(&mut graph, &[]);
    graph.add_contact(hazelnut, lemon, EVERYTHING, CHURN);
    graph.add_contact(lemon, mango, EVERYTHING, CHURN);
    let mut scratch = Scratch::new();
    let contact = |before, after, via| Node::Contact { before, after, via };
    let nodes = vec![
        Node::Lot(nuts),
        Node::Batch(hazelnut),
        contact(hazelnut, lemon, CHURN),
        Node::Batch(lemon),
        contact(lemon, mango, CHURN),
        Node::Batch(mango),
        Node::Lot(third),
    ];
    let expected = Evidence { source: Source::Lot(nuts), nodes };
    assert_eq!(graph.evidence(&mut scratch, third, HAZELNUT, MayContain), Some(expected));
    assert_eq!(graph.evidence(&mut scratch, third, HAZELNUT, Contains), None);
    assert_eq!(graph.evidence(&mut scratch, first, HAZELNUT, MayContain), None);
    // The filler joins the two directly.
    graph.add_contact(hazelnut, mango, 1 << HAZELNUT, FILLER);
    let nodes = vec![
        Node::Lot(nuts),
        Node::Batch(hazelnut),
        contact(hazelnut, mango, FILLER),
        Node::Batch(mango),
        Node::Lot(third),
    ];
    let expected = Evidence { source: Source::Lot(nuts), nodes };
    assert_eq!(graph.evidence(&mut scratch, third, HAZELNUT, MayContain), Some(expected));
}

#[test]
fn a_recall_reaches_over_the_machine_when_asked_to() {
    let mut graph = Graph::new();
    let (nuts, hazelnut, first) = flavour(&mut graph, &[HAZELNUT]);
    let (_, lemon, second) = flavour(&mut graph, &[]);
    graph.add_contact(hazelnut, lemon, 1 << MILK, CHURN);
    let alone = Reach::of(&graph, &[nuts], false);
    assert_eq!(alone.lots().collect::<Vec<_>>(), [nuts, first]);
    let mut reach = Reach::of(&graph, &[nuts], true);
    assert_eq!(reach.lots().collect::<Vec<_>>(), [nuts, first, second]);
    assert!(reach.by_contact_only(second) && !reach.by_contact_only(first));
    assert_eq!((reach.len(), reach.seeds()), (3, &[nuts][..]));
    // Somebody melted a tub of the hazelnut into the lemon: that is no mere contact.
    graph.add_use(first, lemon, 100).unwrap();
    reach.grow(&graph, &[(first, lemon)], &[], &[]);
    assert!(reach.holds(second) && !reach.by_contact_only(second));
    // And the next batch met the lemon; the tub it yields comes later.
    let mango = graph.add_batch();
    graph.add_contact(lemon, mango, EVERYTHING, CHURN);
    reach.grow(&graph, &[], &[], &[(lemon, mango)]);
    assert!(reach.holds_batch(mango));
    let third = graph.add_made_lot(mango, 1_000);
    assert!(!reach.holds(third));
    reach.grow(&graph, &[], &[third], &[]);
    assert!(reach.by_contact_only(third));
    assert_eq!(reach.len(), 4);
}
