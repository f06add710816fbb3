//! What is in the tubs of one small day, as on paper.
//!
//! ```text
//! received  milk (milk), sugar (nothing but what it is), paste (pistachio; may have almond), cones (nobody said)
//! cooking   milk + sugar                 -> base
//! pistachio base + paste                 -> tubs one, two
//! sorbet    sugar + water                -> tub three
//! rework    base + tub one (melted)      -> tub four
//! ```

use tubtrail_lineage::{Answer, BatchIx, Changed, Content, Evidence, Graph, LotIx, Node, Scratch, Source};

const MILK: u32 = 0;
const PISTACHIO: u32 = 1;
const ALMOND: u32 = 2;
const EGG: u32 = 63;

const GRAM: i64 = 1_000;

fn bits(list: &[u32]) -> u64 {
    list.iter().map(|bit| 1 << bit).sum()
}

fn contains(list: &[u32]) -> Content {
    Content { contains: bits(list), ..Content::NOTHING }
}

struct Day {
    graph: Graph,
    milk: LotIx,
    sugar: LotIx,
    paste: LotIx,
    base: LotIx,
    tubs: [LotIx; 4],
    cooking: BatchIx,
    pistachio: BatchIx,
    sorbet: BatchIx,
    rework: BatchIx,
}

fn day() -> Day {
    let mut graph = Graph::new();
    let [milk, sugar, paste] = [(); 3].map(|()| graph.add_received_lot(10_000 * GRAM));
    graph.declare_lot(milk, contains(&[MILK]));
    graph.declare_lot(sugar, Content::NOTHING);
    graph.declare_lot(paste, Content { may_contain: bits(&[ALMOND]), ..contains(&[PISTACHIO]) });
    let [cooking, pistachio, sorbet, rework] = [(); 4].map(|()| graph.add_batch());
    graph.add_use(milk, cooking, 8_000 * GRAM).unwrap();
    graph.add_use(sugar, cooking, 2_000 * GRAM).unwrap();
    let base = graph.add_made_lot(cooking, 9_500 * GRAM);
    graph.add_use(base, pistachio, 4_000 * GRAM).unwrap();
    graph.add_use(paste, pistachio, 500 * GRAM).unwrap();
    let one = graph.add_made_lot(pistachio, 2_200 * GRAM);
    let two = graph.add_made_lot(pistachio, 2_200 * GRAM);
    graph.add_use(sugar, sorbet, 100 * GRAM).unwrap();
    let three = graph.add_made_lot(sorbet, 1_000 * GRAM);
    graph.add_use(base, rework, 3_000 * GRAM).unwrap();
    graph.add_use(one, rework, 2_200 * GRAM).unwrap();
    let four = graph.add_made_lot(rework, 5_000 * GRAM);
    Day { graph, milk, sugar, paste, base, tubs: [one, two, three, four], cooking, pistachio, sorbet, rework }
}

#[track_caller]
fn assert_answers(graph: &Graph, lot: LotIx, expected: [Answer; 4]) {
    let content = graph.content(lot);
    assert_eq!([MILK, PISTACHIO, ALMOND, EGG].map(|bit| content.answer(bit)), expected, "{lot:?}");
}

use Answer::{Contains, MayContain, NotRecorded, Unknown};

#[test]
fn the_worst_that_is_said_is_the_answer() {
    let content = Content { contains: 0b0001, may_contain: 0b0011, unknown: 0b0111 };
    assert_eq!([0, 1, 2, 3].map(|bit| content.answer(bit)), [Contains, MayContain, Unknown, NotRecorded]);
    assert!(Contains < MayContain && MayContain < Unknown && Unknown < NotRecorded);
    assert_eq!(Content::UNKNOWN.answer(63), Unknown);
    assert_eq!(Content::NOTHING.answer(63), NotRecorded);
    let both = content.union(Content { contains: 0b1000, may_contain: 0, unknown: 0b1000 });
    assert_eq!(both, Content { contains: 0b1001, may_contain: 0b0011, unknown: 0b1111 });
}

#[test]
fn what_went_in_is_in_the_tubs() {
    let Day { graph, milk, base, tubs: [one, two, three, four], pistachio, .. } = day();
    assert_answers(&graph, milk, [Contains, NotRecorded, NotRecorded, NotRecorded]);
    assert_answers(&graph, base, [Contains, NotRecorded, NotRecorded, NotRecorded]);
    for tub in [one, two, four] {
        assert_answers(&graph, tub, [Contains, Contains, MayContain, NotRecorded]);
    }
    assert_answers(&graph, three, [NotRecorded; 4]);
    assert_eq!(graph.batch_content(pistachio), graph.content(one));
}

#[test]
fn a_lot_nobody_spoke_for_is_unknown_in_all_that_holds_it() {
    let Day { mut graph, sorbet, tubs: [_, _, three, four], .. } = day();
    let cones = graph.add_received_lot(500 * GRAM);
    assert_answers(&graph, cones, [Unknown; 4]);
    // A use of no weight is a use.
    graph.add_use(cones, sorbet, 0).unwrap();
    assert_answers(&graph, three, [Unknown; 4]);
    assert_answers(&graph, four, [Contains, Contains, MayContain, NotRecorded]);
    // The supplier answers at last: egg, and of almond they cannot say.
    graph.declare_lot(cones, Content { unknown: bits(&[ALMOND]), ..contains(&[EGG]) });
    assert_answers(&graph, three, [NotRecorded, NotRecorded, Unknown, Contains]);
    graph.void_use(cones, sorbet, 0).unwrap();
    assert_answers(&graph, three, [NotRecorded; 4]);
}

#[test]
fn a_declaration_taken_back_leaves_the_tubs_it_alone_accounted_for() {
    let Day { mut graph, milk, sugar, paste, base, tubs: [one, _, three, four], .. } = day();
    graph.declare_lot(sugar, contains(&[MILK, EGG]));
    assert_answers(&graph, three, [Contains, NotRecorded, NotRecorded, Contains]);
    graph.declare_lot(sugar, Content::NOTHING);
    // The base still has its milk from the milk.
    assert_answers(&graph, base, [Contains, NotRecorded, NotRecorded, NotRecorded]);
    assert_answers(&graph, three, [NotRecorded; 4]);
    graph.declare_lot(paste, contains(&[PISTACHIO]));
    assert_answers(&graph, four, [Contains, Contains, NotRecorded, NotRecorded]);
    graph.declare_lot(milk, Content::UNKNOWN);
    assert_answers(&graph, four, [Unknown, Contains, Unknown, Unknown]);
    assert_answers(&graph, one, [Unknown, Contains, Unknown, Unknown]);
    assert_eq!(graph.declared_of_lot(milk), Content::UNKNOWN);
}

#[test]
fn a_late_use_reaches_what_was_made_long_ago() {
    let Day { mut graph, tubs: [one, two, three, four], cooking, .. } = day();
    let yolk = graph.add_received_lot(300 * GRAM);
    graph.declare_lot(yolk, contains(&[EGG]));
    graph.add_use(yolk, cooking, 300 * GRAM).unwrap();
    for tub in [one, two, four] {
        assert_answers(&graph, tub, [Contains, Contains, MayContain, Contains]);
    }
    assert_answers(&graph, three, [NotRecorded; 4]);
    graph.void_use(yolk, cooking, 300 * GRAM).unwrap();
    assert_answers(&graph, four, [Contains, Contains, MayContain, NotRecorded]);
}

#[test]
fn a_tub_and_a_batch_may_have_something_of_their_own() {
    let Day { mut graph, tubs: [one, two, three, four], sorbet, rework, .. } = day();
    // Tub one was topped with something that holds egg; tub four was made from it.
    graph.declare_lot(one, contains(&[EGG]));
    assert_answers(&graph, one, [Contains, Contains, MayContain, Contains]);
    assert_answers(&graph, two, [Contains, Contains, MayContain, NotRecorded]);
    assert_answers(&graph, four, [Contains, Contains, MayContain, Contains]);
    // The water of the sorbet ran through the nut mill.
    graph.declare_batch(sorbet, Content { may_contain: bits(&[ALMOND]), ..Content::NOTHING });
    assert_answers(&graph, three, [NotRecorded, NotRecorded, MayContain, NotRecorded]);
    graph.declare_lot(one, Content::NOTHING);
    assert_answers(&graph, four, [Contains, Contains, MayContain, NotRecorded]);
    graph.declare_batch(rework, contains(&[EGG]));
    assert_eq!(graph.declared_of_batch(rework), contains(&[EGG]));
    assert_answers(&graph, four, [Contains, Contains, MayContain, Contains]);
}

#[test]
fn what_would_change_is_told_and_nothing_changes() {
    let Day { graph, sugar, milk, base, tubs: [one, two, three, four], sorbet, .. } = day();
    let mut scratch = Scratch::new();
    let now = [sugar, base, one, two, three, four].map(|lot| graph.content(lot));
    let egg = contains(&[EGG]);
    let lots = [(sugar, contains(&[MILK])), (sugar, egg)];
    let found = graph.would_change(&mut scratch, &lots, &[(sorbet, contains(&[ALMOND]))]);
    let changed = |lot, more: Content| {
        let before = graph.content(lot);
        Changed { lot, before, after: before.union(more) }
    };
    let expected = [
        changed(sugar, egg),
        changed(base, egg),
        changed(one, egg),
        changed(two, egg),
        changed(three, contains(&[EGG, ALMOND])),
        changed(four, egg),
    ];
    assert_eq!(found, expected);
    assert_eq!([sugar, base, one, two, three, four].map(|lot| graph.content(lot)), now);
    // Without the milk being milk, the pistachio tubs would have none.
    let found = graph.would_change(&mut scratch, &[(milk, Content::NOTHING)], &[]);
    assert_eq!(found.iter().map(|changed| changed.lot).collect::<Vec<_>>(), [milk, base, one, two, four]);
    assert!(found.iter().all(|changed| changed.before.minus_milk() == changed.after));
    assert_eq!(graph.would_change(&mut scratch, &[(milk, contains(&[MILK]))], &[]), []);
}

trait MinusMilk {
    fn minus_milk(self) -> Self;
}

impl MinusMilk for Content {
    fn minus_milk(self) -> Self {
        Self { contains: self.contains & !bits(&[MILK]), ..self }
    }
}

#[test]
fn the_chain_that_explains_an_answer() {
    let Day { mut graph, milk, paste, base, tubs: [one, _, three, four], cooking, pistachio, sorbet, rework, .. } =
        day();
    let mut scratch = Scratch::new();
    let explain = |graph: &Graph, scratch: &mut Scratch, lot, bit, answer| graph.evidence(scratch, lot, bit, answer);
    // Straight from the base, not by way of tub one.
    let expected = Evidence {
        source: Source::Lot(milk),
        nodes: vec![Node::Lot(milk), Node::Batch(cooking), Node::Lot(base), Node::Batch(rework), Node::Lot(four)],
    };
    assert_eq!(explain(&graph, &mut scratch, four, MILK, Contains), Some(expected));
    let way = vec![Node::Lot(paste), Node::Batch(pistachio), Node::Lot(one), Node::Batch(rework), Node::Lot(four)];
    let expected = Evidence { source: Source::Lot(paste), nodes: way };
    assert_eq!(explain(&graph, &mut scratch, four, ALMOND, MayContain), Some(expected.clone()));
    assert_eq!(explain(&graph, &mut scratch, four, PISTACHIO, Contains), Some(expected));
    for (lot, bit, answer) in
        [(four, MILK, MayContain), (four, MILK, Unknown), (four, EGG, NotRecorded), (three, MILK, Contains)]
    {
        assert_eq!(explain(&graph, &mut scratch, lot, bit, answer), None);
    }
    assert_eq!(
        explain(&graph, &mut scratch, milk, MILK, Contains),
        Some(Evidence { source: Source::Lot(milk), nodes: vec![Node::Lot(milk)] })
    );
    graph.declare_batch(sorbet, Content::UNKNOWN);
    assert_eq!(
        explain(&graph, &mut scratch, three, EGG, Unknown),
        Some(Evidence { source: Source::Batch(sorbet), nodes: vec![Node::Batch(sorbet), Node::Lot(three)] })
    );
}

#[test]
#[should_panic(expected = "substance 64 is beyond the last, 63")]
fn a_substance_beyond_the_last_is_a_mistake() {
    Content::NOTHING.answer(64);
}
