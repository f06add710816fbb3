//! No lot may contain itself, and a mistaken use can be taken back.

use tubtrail_lineage::{BatchIx, Graph, Loop, LotIx, NoSuchUse, Scratch, Share};

/// Milk into base, base into mix, mix into two tubs, each step by its own batch.
fn chain() -> (Graph, [BatchIx; 3], [LotIx; 5]) {
    let mut graph = Graph::new();
    let milk = graph.add_received_lot(1_000);
    let batches = [(); 3].map(|()| graph.add_batch());
    graph.add_use(milk, batches[0], 1_000).unwrap();
    let base = graph.add_made_lot(batches[0], 900);
    graph.add_use(base, batches[1], 900).unwrap();
    let mix = graph.add_made_lot(batches[1], 800);
    graph.add_use(mix, batches[2], 800).unwrap();
    let tubs = [(); 2].map(|()| graph.add_made_lot(batches[2], 400));
    (graph, batches, [milk, base, mix, tubs[0], tubs[1]])
}

#[test]
fn a_loop_is_refused_and_its_lots_are_named_in_order_of_making() {
    let (mut graph, [cooking, mixing, freezing], [milk, base, mix, tub, other]) = chain();
    for (lot, batch, lots) in [
        (tub, freezing, vec![tub]),
        (tub, mixing, vec![mix, tub]),
        (other, cooking, vec![base, mix, other]),
        (mix, cooking, vec![base, mix]),
        (base, cooking, vec![base]),
    ] {
        let found = Loop { lots };
        assert_eq!(graph.would_loop(&mut Scratch::new(), lot, batch), Some(found.clone()));
        assert_eq!(graph.add_use(lot, batch, 10), Err(found));
    }
    // Nothing was written down by the refusals.
    assert_eq!(graph.uses(), 3);
    assert_eq!(graph.uses_of(tub).len(), 0);
    assert_eq!(graph.uses_in(cooking).collect::<Vec<_>>(), [(milk, 1_000)]);
    // Late uses that go with the grain are fine.
    graph.add_use(milk, freezing, 1).unwrap();
    graph.add_use(base, freezing, 1).unwrap();
    let refused = graph.add_use(other, cooking, 10).unwrap_err();
    assert_eq!(refused.lots, [base, other], "a shortest chain");
    assert_eq!(refused.to_string(), "the lot was itself made from what this batch yielded, through lots 1, 4",);
}

#[test]
fn voiding_a_use_that_is_not_there_is_an_error() {
    let (mut graph, [cooking, mixing, _], [milk, base, ..]) = chain();
    for (lot, batch, mass_mg) in [(milk, cooking, 999), (milk, mixing, 1_000), (base, cooking, 900)] {
        assert_eq!(graph.void_use(lot, batch, mass_mg), Err(NoSuchUse { lot, batch, mass_mg }));
    }
    assert_eq!(graph.uses(), 3);
    graph.void_use(milk, cooking, 1_000).unwrap();
    let missing = graph.void_use(milk, cooking, 1_000).unwrap_err();
    assert_eq!(missing.to_string(), "lot 0 has no live use of 1000 mg in batch 0");
    assert_eq!(graph.forward(&mut Scratch::new(), &[milk]), [milk]);
}

#[test]
fn one_of_several_uses_alike_is_voided() {
    let (mut graph, [_, mixing, _], [milk, ..]) = chain();
    for mass in [5, 7, 5] {
        graph.add_use(milk, mixing, mass).unwrap();
    }
    graph.void_use(milk, mixing, 5).unwrap();
    let mut left: Vec<_> = graph.uses_in(mixing).filter(|(lot, _)| *lot == milk).map(|(_, mass)| mass).collect();
    left.sort_unstable();
    assert_eq!(left, [5, 7]);
    assert_eq!(graph.uses(), 5);
}

#[test]
fn what_would_have_looped_goes_in_once_the_use_between_is_voided() {
    let (mut graph, [cooking, mixing, _], [_, base, mix, tub, other]) = chain();
    graph.add_use(tub, cooking, 10).unwrap_err();
    graph.void_use(base, mixing, 900).unwrap();
    graph.add_use(tub, cooking, 10).unwrap();
    assert_eq!(graph.forward(&mut Scratch::new(), &[mix]), [mix, tub, other, base]);
    // And now the voided use would close the loop.
    let refused = graph.add_use(base, mixing, 900).unwrap_err();
    assert_eq!(refused.lots, [mix, tub, base]);
}

#[test]
fn a_chain_of_a_hundred_thousand_lots_is_followed_to_its_end() {
    let mut graph = Graph::new();
    let first = graph.add_received_lot(1_000);
    let mut last = first;
    for _ in 0..100_000 {
        let batch = graph.add_batch();
        graph.add_use(last, batch, 1_000).unwrap();
        last = graph.add_made_lot(batch, 1_000);
    }
    let mut scratch = Scratch::new();
    assert_eq!(graph.shares(&mut scratch, &[first]).last(), Some(&Share { lot: last, mg: 1_000.0 }));
    assert_eq!(graph.origins(&mut scratch, last).last(), Some(&Share { lot: first, mg: 1_000.0 }));
    assert_eq!(graph.path(&mut scratch, first, last).map(|path| path.len()), Some(100_001));
    let refused = graph.add_use(last, BatchIx::from_index(0), 1).unwrap_err();
    assert_eq!(refused.lots.len(), 100_000);
}

#[test]
#[should_panic(expected = "lot 9 is not of this graph, which has 5")]
fn a_lot_of_another_graph_is_a_mistake() {
    chain().0.forward(&mut Scratch::new(), &[LotIx::from_index(9)]);
}

#[test]
#[should_panic(expected = "batch 3 is not of this graph, which has 3")]
fn a_batch_of_another_graph_is_a_mistake() {
    chain().0.add_made_lot(BatchIx::from_index(3), 1);
}

#[test]
#[should_panic(expected = "a mass of -1 mg is negative")]
fn a_negative_mass_is_a_mistake() {
    let (mut graph, [cooking, ..], [milk, ..]) = chain();
    graph.add_use(milk, cooking, -1).unwrap();
}
