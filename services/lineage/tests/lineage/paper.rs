//! One small production day, worked out by hand.
//!
//! All in grams, as on paper:
//!
//! ```text
//! received  milk 10000, sugar 2000, pistachio paste 600
//! cooking   milk 8000 + sugar 2000               -> base 9500             500 lost
//! pistachio base 4000 + paste 500                -> tub one 2200, two 2200   100 lost
//! rework    base 3000 + tub one 2200 (melted)    -> tub three 5000        200 lost
//! sorbet    paste 100 + water 900 (not tracked)  -> tub four 1000
//! freezer   base 1000                            -> nothing yet
//! ```

use tubtrail_lineage::{Balance, BatchIx, Graph, LotIx, Scratch, Share, Step};

use crate::facts::{assert_balance, assert_close};

const GRAM: i64 = 1_000;

struct Day {
    graph: Graph,
    milk: LotIx,
    sugar: LotIx,
    paste: LotIx,
    base: LotIx,
    tubs: [LotIx; 4],
    cooking: BatchIx,
    pistachio: BatchIx,
    rework: BatchIx,
}

fn day() -> Day {
    let mut graph = Graph::new();
    let milk = graph.add_received_lot(10_000 * GRAM);
    let sugar = graph.add_received_lot(2_000 * GRAM);
    let paste = graph.add_received_lot(600 * GRAM);
    let [cooking, pistachio, rework, sorbet, freezer] = std::array::from_fn(|_| graph.add_batch());
    graph.add_use(milk, cooking, 8_000 * GRAM).unwrap();
    graph.add_use(sugar, cooking, 2_000 * GRAM).unwrap();
    let base = graph.add_made_lot(cooking, 9_500 * GRAM);
    graph.add_use(base, pistachio, 4_000 * GRAM).unwrap();
    graph.add_use(paste, pistachio, 500 * GRAM).unwrap();
    let one = graph.add_made_lot(pistachio, 2_200 * GRAM);
    let two = graph.add_made_lot(pistachio, 2_200 * GRAM);
    graph.add_use(base, rework, 3_000 * GRAM).unwrap();
    graph.add_use(one, rework, 2_200 * GRAM).unwrap();
    let three = graph.add_made_lot(rework, 5_000 * GRAM);
    graph.add_use(paste, sorbet, 100 * GRAM).unwrap();
    graph.add_untracked(sorbet, 900 * GRAM);
    let four = graph.add_made_lot(sorbet, 1_000 * GRAM);
    graph.add_use(base, freezer, 1_000 * GRAM).unwrap();
    Day { graph, milk, sugar, paste, base, tubs: [one, two, three, four], cooking, pistachio, rework }
}

#[track_caller]
fn assert_grams(found: &[Share], expected: &[(LotIx, f64)]) {
    let lots: Vec<_> = found.iter().map(|share| share.lot).collect();
    assert_eq!(lots, expected.iter().map(|(lot, _)| *lot).collect::<Vec<_>>());
    for (share, (lot, grams)) in found.iter().zip(expected) {
        assert_close(share.mg, grams * 1_000.0, &format!("{lot:?}"));
    }
}

#[test]
fn where_the_milk_went() {
    let Day { graph, milk, base, tubs: [one, two, three, _], .. } = day();
    let mut scratch = Scratch::new();
    // Four fifths of the base is milk, if nothing were lost: 8000 of the 10000 g cooked. Of each tub of pistachio
    // 4000 of 4500 g is base. Into the rework went 3000 g of base, that is 2400 g of milk, and all the milk of tub one;
    // 5000 of 5200 g came out.
    let in_base = 8_000.0 * 9_500.0 / 10_000.0;
    let in_tub = 3_200.0 * 2_200.0 / 4_500.0;
    let in_rework = (2_400.0 + in_tub) * 5_000.0 / 5_200.0;
    let expected = [(milk, 10_000.0), (base, in_base), (one, in_tub), (two, in_tub), (three, in_rework)];
    assert_grams(graph.shares(&mut scratch, &[milk]), &expected);
    assert_close(in_tub, 14_080.0 / 9.0, "tub one");
    assert_close(in_rework, 3_811.965_811_965_812, "tub three");

    assert_eq!(graph.forward(&mut scratch, &[milk]), [milk, base, one, two, three]);
    let found = graph.balance(&mut scratch, &[milk]);
    let expected = Balance {
        input_mg: 10_000_000.0,
        // 2000 g never poured; of the base 1500 g left; the tubs, but for tub one, which was melted.
        held_mg: (2_000.0 + 0.8 * 1_500.0 + in_tub + in_rework) * 1_000.0,
        // 1000 g of base in the freezer.
        in_batches_mg: 800_000.0,
        // Cooking, pistachio, rework.
        lost_mg: (400.0 + 3_200.0 * 100.0 / 4_500.0 + (2_400.0 + in_tub) * 200.0 / 5_200.0) * 1_000.0,
        in_seeds_mg: 0.0,
    };
    assert_balance(found, expected);
}

#[test]
fn water_thins_and_traces_to_nothing() {
    let Day { graph, paste, tubs: [one, two, three, four], .. } = day();
    let mut scratch = Scratch::new();
    let in_tub = 500.0 * 2_200.0 / 4_500.0;
    let expected = [(paste, 600.0), (one, in_tub), (two, in_tub), (four, 100.0), (three, in_tub * 5_000.0 / 5_200.0)];
    assert_grams(graph.shares(&mut scratch, &[paste]), &expected);
    assert_grams(graph.origins(&mut scratch, four), &[(four, 1_000.0), (paste, 100.0)]);
}

#[test]
fn what_the_reworked_tub_was_made_from() {
    let Day { graph, milk, sugar, paste, base, tubs: [one, _, three, _], .. } = day();
    let mut scratch = Scratch::new();
    // 5000 g of 5200 g in: base 3000, tub one 2200; of the latter base 4000 and paste 500 parts in 4500.
    let melted = 2_200.0 * 5_000.0 / 5_200.0;
    let in_base = 3_000.0 * 5_000.0 / 5_200.0 + melted * 4_000.0 / 4_500.0;
    let expected = [
        (three, 5_000.0),
        (base, in_base),
        (one, melted),
        (milk, in_base * 0.8),
        (sugar, in_base * 0.2),
        (paste, melted * 500.0 / 4_500.0),
    ];
    assert_grams(graph.origins(&mut scratch, three), &expected);
    assert_eq!(graph.backward(&mut scratch, three), [three, base, one, milk, sugar, paste]);
    // Nothing was untracked here, so what was received makes up the whole tub.
    assert_close(in_base + melted * 500.0 / 4_500.0, 5_000.0, "the whole");
}

#[test]
fn a_seed_made_from_a_seed_counts_once() {
    let Day { graph, milk, base, tubs: [one, two, three, _], .. } = day();
    let mut scratch = Scratch::new();
    // With the whole base suspect the milk adds nothing to it: base 9500 g, and what was made from 4000 and 3000 of it.
    let in_tub = 4_000.0 * 2_200.0 / 4_500.0;
    let in_rework = (3_000.0 + in_tub) * 5_000.0 / 5_200.0;
    let expected = [(milk, 10_000.0), (base, 9_500.0), (one, in_tub), (two, in_tub), (three, in_rework)];
    assert_grams(graph.shares(&mut scratch, &[milk, base, milk]), &expected);
    let found = graph.balance(&mut scratch, &[milk, base, milk]);
    assert_close(found.input_mg, 19_500_000.0, "both");
    assert_close(found.in_seeds_mg, 7_600_000.0, "the milk in the base");
    let account = found.held_mg + found.in_batches_mg + found.lost_mg + found.in_seeds_mg;
    assert_close(account, 19_500_000.0, "the account");
}

#[test]
fn the_way_of_the_milk() {
    let Day { graph, milk, paste, base, tubs: [one, two, three, four], cooking, pistachio, rework, .. } = day();
    let mut scratch = Scratch::new();
    let step = |lot, batch| Step { lot, batch };
    // Straight from the base, not by way of tub one.
    let expected = vec![step(milk, Some(cooking)), step(base, Some(rework)), step(three, None)];
    assert_eq!(graph.path(&mut scratch, milk, three), Some(expected));
    let expected = vec![step(paste, Some(pistachio)), step(one, Some(rework)), step(three, None)];
    assert_eq!(graph.path(&mut scratch, paste, three), Some(expected));
    assert_eq!(graph.path(&mut scratch, two, two), Some(vec![step(two, None)]));
    assert_eq!(graph.path(&mut scratch, milk, four), None);
    assert_eq!(graph.path(&mut scratch, three, milk), None);
}

#[test]
fn uses_beyond_the_mass_divide_what_there_is() {
    let mut graph = Graph::new();
    let milk = graph.add_received_lot(1_000);
    let [small, large] = [(); 2].map(|()| graph.add_batch());
    graph.add_use(milk, small, 500).unwrap();
    graph.add_use(milk, large, 1_500).unwrap();
    let from_small = graph.add_made_lot(small, 500);
    let from_large = graph.add_made_lot(large, 1_500);
    let mut scratch = Scratch::new();
    let shares = |graph: &Graph, scratch: &mut Scratch| {
        graph.shares(scratch, &[milk]).iter().map(|share| (share.lot, share.mg)).collect::<Vec<_>>()
    };
    assert_eq!(shares(&graph, &mut scratch), [(milk, 1_000.0), (from_small, 250.0), (from_large, 750.0)]);
    // The count finds that there was more milk all along.
    graph.set_mass(milk, 4_000);
    assert_eq!(shares(&graph, &mut scratch), [(milk, 4_000.0), (from_small, 500.0), (from_large, 1_500.0)]);
    // And that the small batch yielded twice what went in: it is no more milk for that.
    graph.set_mass(from_small, 1_000);
    assert_eq!(graph.mass(from_small), 1_000);
    assert_eq!(shares(&graph, &mut scratch), [(milk, 4_000.0), (from_small, 500.0), (from_large, 1_500.0)]);
    assert_eq!(graph.origins(&mut scratch, from_small)[1], Share { lot: milk, mg: 500.0 });
}

#[test]
fn nothing_divided_is_nothing() {
    let mut graph = Graph::new();
    let none = graph.add_received_lot(0);
    let batch = graph.add_batch();
    graph.add_use(none, batch, 0).unwrap();
    let tub = graph.add_made_lot(batch, 0);
    let mut scratch = Scratch::new();
    let expected = [Share { lot: none, mg: 0.0 }, Share { lot: tub, mg: 0.0 }];
    assert_eq!(graph.shares(&mut scratch, &[none]), expected);
    assert_eq!(graph.balance(&mut scratch, &[none]), Balance::default());
    assert_eq!(graph.origins(&mut scratch, tub), [expected[1], expected[0]]);
    assert_eq!(graph.shares(&mut scratch, &[]), []);
}
