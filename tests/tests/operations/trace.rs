//! Tracing a day that was worked out on paper.
//!
//! Milk, sugar and water make a base; the base makes pistachio and, with what was left of that, hazelnut. What a batch
//! loses it loses in proportion. In grams:
//!
//! ```text
//! batch         in                                    out                                lost
//! white base    milk 6000, sugar 1500, water 500      base 7200                          10 %
//! pistachio     base 3600, pistachio paste 400        tubs 1800 + 1800, rework 200        5 %
//! hazelnut      base 1800, hazelnut paste 100,        tub 1900                            5 %
//!               rework 100
//!
//! milk in the base       6000 * 7200/8000                          = 5400
//! milk into pistachio    5400 * 3600/7200                          = 2700
//! milk in each tub       2700 * 1800/4000                          = 1215
//! milk in the rework     2700 *  200/4000                          =  135
//! milk into hazelnut     5400 * 1800/7200 + 135 * 100/200          = 1417.5
//! milk in its tub        1417.5 * 1900/2000                        = 1346.625
//! ```

// Answers are rounded to the microgram, so a figure from paper is met or it is not.
#![allow(clippy::float_cmp)]

use std::collections::BTreeMap;

use tubtrail_operations::completions::OutputKind;
use tubtrail_operations::counts::{NewCount, NewCountLine};
use tubtrail_operations::known::Origin;
use tubtrail_operations::lots::LotKind;
use tubtrail_operations::reach::Role;
use tubtrail_operations::trace::{CAUTION, Direction, Trace, TracedLot};
use tubtrail_operations::{Request, Tubtrail};
use tubtrail_tests::house::{KITCHEN, OTHER_SHOP, SHOP, day, grams, line};
use tubtrail_tests::{Backend, TestHouse, on_both};

use crate::bench::{add, begin, complete, everywhere, someone, try_to_add_water, try_to_use, try_to_void};

on_both!(
    milk_is_found_in_everything_made_of_it,
    what_is_in_a_tub_is_found_down_to_the_sacks,
    a_late_use_counts_from_the_beginning_and_a_voided_one_not_at_all,
    an_open_batch_holds_what_went_in,
    a_mistyped_count_that_was_put_right_leaves_nothing_behind,
    the_way_is_told_in_plain_words,
    pages_and_the_stream_say_the_same,
    a_page_of_another_trace_is_refused,
    a_delivery_is_traced_as_a_whole,
    whoever_reaches_the_lot_sees_the_whole_trace,
    a_number_that_is_none_is_refused,
);

/// The day on paper.
struct Day {
    house: TestHouse,
    milk: String,
    sugar: String,
    pistachio: String,
    hazelnut: String,
    base: String,
    tubs: Vec<String>,
    rework: String,
    last: String,
    batches: [i64; 3],
}

impl Day {
    fn new(backend: Backend) -> Self {
        let house = TestHouse::new(backend);
        house.recipe("white-base-60", "white-base", &[("milk", 6000), ("sugar", 1500), ("water", 500)], 7200);
        house.recipe("pistachio-5", "pistachio", &[("white-base", 3600), ("pistachio-paste", 400)], 3800);
        house.recipe("hazelnut-2", "hazelnut", &[("white-base", 1800), ("hazelnut-paste", 100)], 1900);
        let milk = house.receive("dairy", "milk", "24-118", 8000);
        let sugar = house.receive("dairy", "sugar", "S-1", 2000);
        let pistachio = house.receive("nut-mill", "pistachio-paste", "P-1", 1000);
        let hazelnut = house.receive("nut-mill", "hazelnut-paste", "H-1", 1000);
        let first = begin(&house, "white-base-60");
        add(&house, first, &milk, 6000);
        add(&house, first, &sugar, 1500);
        try_to_add_water(&house, first, 500, None).unwrap();
        let base = complete(&house, first, &[(OutputKind::Base, 7200)]).remove(0);
        house.clock.set(day(3, 6));
        let second = begin(&house, "pistachio-5");
        add(&house, second, &base, 3600);
        add(&house, second, &pistachio, 400);
        let outputs = [(OutputKind::Tub, 1800), (OutputKind::Tub, 1800), (OutputKind::Rework, 200)];
        let mut tubs = complete(&house, second, &outputs);
        let rework = tubs.pop().unwrap();
        // What a recipe makes may have to rest; the rework is used a day later.
        house.clock.set(day(4, 6));
        let third = begin(&house, "hazelnut-2");
        add(&house, third, &base, 1800);
        add(&house, third, &hazelnut, 100);
        add(&house, third, &rework, 100);
        let last = complete(&house, third, &[(OutputKind::Tub, 1900)]).remove(0);
        Self { house, milk, sugar, pistachio, hazelnut, base, tubs, rework, last, batches: [first, second, third] }
    }

    fn trace(&self, lot: &str, direction: Direction) -> Trace {
        trace(&self.house.tubtrail, lot, direction)
    }
}

/// Counts a lot at the kitchen.
#[track_caller]
fn count(house: &TestHouse, lot: &str, found: u32) {
    let line = NewCountLine { lot: lot.into(), state: None, found: grams(found), reason: Some("weighed".into()) };
    let (site, lines) = (KITCHEN.into(), vec![line]);
    let new = NewCount { site, counted_at: None, lines, complete: false, reason: None, note: None };
    house.tubtrail.count_site(&Request::system(), new).unwrap_or_else(|error| panic!("{lot}: {error}"));
}

#[track_caller]
fn trace(tubtrail: &Tubtrail, lot: &str, direction: Direction) -> Trace {
    let trace = tubtrail.trace_lot(&Request::system(), lot, direction, "", 500);
    let trace = trace.unwrap_or_else(|error| panic!("{lot}: {error}"));
    assert_eq!((trace.lots.len(), trace.next.as_deref()), (trace.head.total, None), "one page holds it");
    trace
}

fn grams_of(trace: &Trace) -> BTreeMap<&str, f64> {
    trace.lots.iter().map(|lot| (lot.lot.as_str(), lot.grams)).collect()
}

fn find<'a>(trace: &'a Trace, number: &str) -> &'a TracedLot {
    trace.lots.iter().find(|lot| lot.lot == number).unwrap_or_else(|| panic!("{number} is not in {trace:?}"))
}

fn milk_is_found_in_everything_made_of_it(backend: Backend) {
    let day = Day::new(backend);
    let trace = day.trace(&day.milk, Direction::Forward);
    let expected = BTreeMap::from([
        (day.milk.as_str(), 8000.0),
        (day.base.as_str(), 5400.0),
        (day.tubs[0].as_str(), 1215.0),
        (day.tubs[1].as_str(), 1215.0),
        (day.rework.as_str(), 135.0),
        (day.last.as_str(), 1346.625),
    ]);
    assert_eq!(grams_of(&trace), expected);
    let generations: Vec<u32> = trace.lots.iter().map(|lot| lot.generation).collect();
    assert_eq!(generations, [0, 1, 2, 2, 2, 2], "the base went straight into hazelnut too");
    // Not used: milk 2000; base 5400 * 1800/7200; both tubs; half the rework; the last tub.
    let held = 2000.0 + 1350.0 + 2430.0 + 67.5 + 1346.625;
    // A tenth of 6000, a twentieth of 2700 and of 1417.5.
    let lost = 600.0 + 135.0 + 70.875;
    let balance = trace.head.balance.unwrap();
    assert_eq!((balance.seed_grams, balance.held_grams, balance.lost_grams), (8000.0, held, lost));
    assert_eq!((balance.in_open_batches_grams, balance.in_seeds_grams), (0.0, 0.0));
    assert!((held + lost - 8000.0).abs() < 1e-9, "the paper adds up");
    let base = find(&trace, &day.base);
    let used: Vec<_> = base.used_in.iter().map(|one| (one.batch, one.grams.mg())).collect();
    assert_eq!(used, [(day.batches[1], 3_600_000), (day.batches[2], 1_800_000)]);
    assert_eq!((base.kind, base.mass_grams.mg(), base.item.as_str()), (LotKind::Base, 7_200_000, "white-base"));
    let Origin::Batch { batch, recipe, .. } = &base.came_from else { panic!("{base:?}") };
    assert_eq!((*batch, recipe.as_str()), (day.batches[0], "white-base-60"));
    let places: Vec<_> =
        base.places.iter().map(|place| (place.site.as_str(), place.state.as_str(), place.grams.mg())).collect();
    assert_eq!(places, [(KITCHEN, "available", 1_800_000)]);
    assert_eq!(trace.head.caution, CAUTION.to_string());
    assert!(!CAUTION.to_string().to_lowercase().contains("safe"));
    let recounted = day.house.tubtrail.recount().unwrap().forward(std::slice::from_ref(&day.milk));
    assert_eq!(recounted.len(), trace.lots.len());
}

/// In the last tub of 1900 g: base 1800 * 0.95 = 1710 and 95 g of rework, of which base 85.5 and pistachio 9.5.
fn what_is_in_a_tub_is_found_down_to_the_sacks(backend: Backend) {
    let day = Day::new(backend);
    let trace = day.trace(&day.last, Direction::Backward);
    let base = 1710.0 + 85.5;
    let expected = BTreeMap::from([
        (day.last.as_str(), 1900.0),
        (day.base.as_str(), base),
        (day.rework.as_str(), 95.0),
        (day.hazelnut.as_str(), 95.0),
        (day.pistachio.as_str(), 9.5),
        (day.milk.as_str(), 1346.625),
        (day.sugar.as_str(), base * 1500.0 / 8000.0),
    ]);
    // To the microgram: 336.65625 g of sugar are written with six decimals.
    assert_eq!(grams_of(&trace), expected);
    assert_eq!(trace.head.balance, None, "what went in is no seed that could be found again");
    let steps = |lot: &str| find(&trace, lot).generation;
    assert_eq!((steps(&day.last), steps(&day.base), steps(&day.milk), steps(&day.pistachio)), (0, 1, 2, 2));
    let milk = find(&trace, &day.milk);
    let Origin::Delivery { supplier, supplier_lot_code, .. } = &milk.came_from else { panic!("{milk:?}") };
    assert_eq!((supplier.as_str(), supplier_lot_code.as_str()), ("dairy", "24-118"));
    let received: Vec<_> = trace.lots.iter().filter(|lot| lot.kind == LotKind::Received).map(|lot| &lot.lot).collect();
    assert_eq!(received.len(), 4, "the sacks are the answer, the rest the way: {received:?}");
    // The other tubs of pistachio are not in it, and neither are uses that led elsewhere.
    assert!(trace.lots.iter().all(|lot| !day.tubs.contains(&lot.lot)));
}

/// 300 g of another sugar, that arrived that morning, found on the sheet two days later, make 8300 g of what went into the base.
fn a_late_use_counts_from_the_beginning_and_a_voided_one_not_at_all(backend: Backend) {
    let day = Day::new(backend);
    let before = day.trace(&day.milk, Direction::Forward);
    let delivery = tubtrail_operations::deliveries::NewDelivery {
        supplier: "dairy".into(),
        site: KITCHEN.into(),
        document: "DN-S-2".into(),
        arrived_at: Some(tubtrail_tests::house::day(2, 5)),
        note: None,
        lines: vec![line("sugar", "S-2", 1000)],
    };
    let delivery = day.house.tubtrail.receive_delivery(&Request::system(), delivery).unwrap().answer;
    let sugar = delivery.lines[0].lot.clone().unwrap();
    let late = try_to_use(&day.house, day.batches[0], &sugar, 300, Some("it was on the sheet")).unwrap().uses[0].id;
    let milk = day.trace(&day.milk, Direction::Forward);
    let microgram = |grams: f64| (grams * 1e6).round() / 1e6;
    assert_eq!(find(&milk, &day.base).grams, microgram(6000.0 * 7200.0 / 8300.0));
    let added = day.trace(&sugar, Direction::Forward);
    assert_eq!(find(&added, &day.base).grams, microgram(300.0 * 7200.0 / 8300.0));
    assert_eq!(added.head.total, 6, "it is in all that the milk is in");
    try_to_void(&day.house, late).unwrap();
    assert_eq!(day.trace(&sugar, Direction::Forward).head.total, 1, "nothing was made of it after all");
    let after = day.trace(&day.milk, Direction::Forward);
    assert_eq!(grams_of(&after), grams_of(&before));
    assert!(after.head.journal_position > before.head.journal_position);
    assert_eq!(day.house.tubtrail.verify().unwrap().wrong, None);
}

fn an_open_batch_holds_what_went_in(backend: Backend) {
    let day = Day::new(backend);
    let open = begin(&day.house, "hazelnut-2");
    add(&day.house, open, &day.milk, 1200);
    let trace = day.trace(&day.milk, Direction::Forward);
    let balance = trace.head.balance.unwrap();
    assert_eq!(balance.in_open_batches_grams, 1200.0);
    assert_eq!(balance.held_grams, 800.0 + 1350.0 + 2430.0 + 67.5 + 1346.625);
    let used: Vec<_> = find(&trace, &day.milk).used_in.iter().map(|one| one.batch).collect();
    assert_eq!(used, [day.batches[0], open]);
    assert_eq!(trace.head.total, 6, "it yielded nothing yet");
}

fn the_way_is_told_in_plain_words(backend: Backend) {
    let day = Day::new(backend);
    let path = day.house.tubtrail.show_path(&Request::system(), &day.milk, &day.last).unwrap();
    assert!(path.found);
    let words = format!(
        "6000 g of lot {} (milk) went into batch {} (white-base-60, 2 Nov 2026), which made lot {base} (white-base). \
         1800 g of lot {base} (white-base) went into batch {} (hazelnut-2, 4 Nov 2026), which made lot {} (hazelnut).",
        day.milk,
        day.batches[0],
        day.batches[2],
        day.last,
        base = day.base,
    );
    assert_eq!(path.in_words.to_string(), words, "the shortest way, not the one through the rework");
    assert_eq!(path.steps.iter().map(|step| step.grams.mg()).collect::<Vec<_>>(), [6_000_000, 1_800_000]);
    let back = day.house.tubtrail.show_path(&Request::system(), &day.last, &day.milk).unwrap();
    assert!(!back.found && back.steps.is_empty());
    assert!(back.in_words.to_string().contains("no way") && back.caution == CAUTION.to_string(), "{}", back.in_words);
    let itself = day.house.tubtrail.show_path(&Request::system(), &day.base, &day.base).unwrap();
    assert!(itself.found && itself.in_words.to_string().contains("itself"), "{}", itself.in_words);
    let unknown = day.house.tubtrail.show_path(&Request::system(), &day.base, "261125-0042-0").unwrap_err();
    assert_eq!((unknown.problem.word, unknown.field.as_deref()), ("bad-lot-number", Some("to")));
}

fn pages_and_the_stream_say_the_same(backend: Backend) {
    let day = Day::new(backend);
    let tubtrail = &day.house.tubtrail;
    for (lot, direction) in [(&day.milk, Direction::Forward), (&day.last, Direction::Backward)] {
        let whole = day.trace(lot, direction);
        for limit in [1, 2, 5, u32::try_from(whole.head.total).unwrap()] {
            let (mut lots, mut after) = (Vec::new(), String::new());
            loop {
                let page = tubtrail.trace_lot(&Request::system(), lot, direction, &after, limit).unwrap();
                assert!(page.lots.len() <= limit as usize && page.head == whole.head);
                lots.extend(page.lots);
                let Some(next) = page.next else { break };
                after = next;
            }
            assert_eq!(lots, whole.lots, "in pages of {limit}");
        }
        let mut stream = tubtrail.stream_lot_trace(&Request::system(), lot, direction).unwrap();
        // What is written down while it is read does not change it.
        let open = begin(&day.house, "hazelnut-2");
        add(&day.house, open, &day.milk, 1);
        let mut lots = Vec::new();
        loop {
            let piece = tubtrail.more_of_trace(&mut stream).unwrap();
            if piece.is_empty() {
                break;
            }
            lots.extend(piece);
        }
        assert_eq!((&stream.head, lots.len()), (&whole.head, whole.lots.len()));
        for (streamed, paged) in lots.iter().zip(&whole.lots) {
            assert_eq!((&streamed.lot, streamed.grams, &streamed.used_in), (&paged.lot, paged.grams, &paged.used_in));
        }
    }
}

fn a_page_of_another_trace_is_refused(backend: Backend) {
    let day = Day::new(backend);
    let tubtrail = &day.house.tubtrail;
    let page = |after: &str| tubtrail.trace_lot(&Request::system(), &day.milk, Direction::Forward, after, 4);
    let next = page("").unwrap().next.unwrap();
    // A tub more from the first batch of milk comes before the tubs of the second.
    let batch = begin(&day.house, "white-base-60");
    add(&day.house, batch, &day.milk, 100);
    let moved = |after: &str| {
        let refused = page(after).unwrap_err();
        (refused.problem.word, refused.field)
    };
    assert_eq!(page(&next).unwrap().lots.len(), 2, "an open batch changes nothing of what was read");
    complete(&day.house, batch, &[(OutputKind::Base, 90)]);
    assert_eq!(moved(&next), ("trace-moved", Some("after".into())));
    assert_eq!(moved("7000.00"), ("trace-moved", Some("after".into())));
    assert_eq!(moved("7"), ("invalid", Some("after".into())));
    assert_eq!(moved("x.y"), ("invalid", Some("after".into())));
}

fn a_delivery_is_traced_as_a_whole(backend: Backend) {
    let house = TestHouse::new(backend);
    house.recipe("white-base-60", "white-base", &[("milk", 6000), ("cream", 1500)], 7200);
    let delivery = house.deliver("dairy", vec![line("milk", "M-1", 600), line("cream", "C-1", 400)]).unwrap();
    let lots: Vec<String> = delivery.lines.iter().map(|line| line.lot.clone().unwrap()).collect();
    let other = house.receive("dairy", "milk", "M-2", 500);
    let batch = begin(&house, "white-base-60");
    add(&house, batch, &lots[0], 300);
    add(&house, batch, &lots[1], 200);
    add(&house, batch, &other, 500);
    let base = complete(&house, batch, &[(OutputKind::Base, 1000)]).remove(0);
    let trace = house.tubtrail.trace_delivery(&Request::system(), delivery.id, "", 100).unwrap();
    assert_eq!(trace.head.of, lots);
    let expected = BTreeMap::from([(lots[0].as_str(), 600.0), (lots[1].as_str(), 400.0), (base.as_str(), 500.0)]);
    assert_eq!(grams_of(&trace), expected);
    assert_eq!(trace.head.balance.unwrap().seed_grams, 1000.0);
    let refused = house.tubtrail.trace_delivery(&someone(&house, Role::Kitchen, SHOP), delivery.id, "", 100);
    assert_eq!(refused.unwrap_err().problem.word, "not-found");
    let refused = house.tubtrail.trace_delivery(&someone(&house, Role::Shop, KITCHEN), delivery.id, "", 100);
    assert_eq!(refused.unwrap_err().problem.word, "forbidden");
}

fn whoever_reaches_the_lot_sees_the_whole_trace(backend: Backend) {
    let day = Day::new(backend);
    let tubtrail = &day.house.tubtrail;
    let asked = |request: &Request| {
        let traced = tubtrail.trace_lot(request, &day.milk, Direction::Forward, "", 500);
        traced.map(|trace| trace.head.total).map_err(|error| error.problem.word)
    };
    assert_eq!(asked(&someone(&day.house, Role::Kitchen, KITCHEN)), Ok(6));
    assert_eq!(asked(&everywhere(Role::Inspector)), Ok(6));
    assert_eq!(asked(&someone(&day.house, Role::Shop, OTHER_SHOP)), Err("not-found"));
    assert_eq!(asked(&someone(&day.house, Role::Device, KITCHEN)), Err("forbidden"));
    let elsewhere = someone(&day.house, Role::Shop, OTHER_SHOP);
    let refused = tubtrail.show_path(&elsewhere, &day.milk, &day.last).unwrap_err();
    assert_eq!(refused.problem.word, "not-found");
}

fn a_number_that_is_none_is_refused(backend: Backend) {
    let house = TestHouse::new(backend);
    let asked = |lot: &str| {
        house.tubtrail.trace_lot(&Request::system(), lot, Direction::Forward, "", 1).unwrap_err().problem.word
    };
    let lot = house.receive("dairy", "milk", "M-1", 10);
    let mistyped = format!("{}{}", &lot[..lot.len() - 1], (lot.as_bytes()[lot.len() - 1] - b'0' + 1) % 10);
    assert_eq!(asked(&mistyped), "bad-lot-number");
    let other = house.receive("dairy", "milk", "M-2", 10);
    assert_ne!(lot, other);
    let next: tubtrail_domain::lot_number::LotNumber = other.parse().unwrap();
    let next = tubtrail_domain::lot_number::LotNumber::new(next.day(), next.serial() + 1).unwrap();
    assert_eq!(asked(&next.to_string()), "not-found");
}

/// Of milk 2000 g are left and of base 1800. Each is counted ten times as heavy by mistake, and then as it is.
fn a_mistyped_count_that_was_put_right_leaves_nothing_behind(backend: Backend) {
    let day = Day::new(backend);
    let before = day.trace(&day.milk, Direction::Forward);
    count(&day.house, &day.milk, 20_000);
    let mistaken = day.trace(&day.milk, Direction::Forward);
    assert_eq!(find(&mistaken, &day.milk).mass_grams.mg(), 26_000_000, "8000 g, and 18000 more were found");
    count(&day.house, &day.milk, 2000);
    count(&day.house, &day.base, 18_000);
    count(&day.house, &day.base, 1800);
    let after = day.trace(&day.milk, Direction::Forward);
    assert_eq!((after.head.balance, after.lots), (before.head.balance, before.lots));
    let verified = day.house.tubtrail.verify().unwrap();
    assert_eq!(verified.wrong, None, "the index that followed is the one built anew");
}
