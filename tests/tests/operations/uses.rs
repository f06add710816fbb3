//! What may go into a batch, and what may not.

use std::sync::atomic::{AtomicUsize, Ordering};

use tubtrail_operations::completions::NewCompletion;
use tubtrail_operations::completions::OutputKind::{Base, Rework, Tub};
use tubtrail_operations::deliveries::{Decision, NewDelivery};
use tubtrail_operations::holds::Because;
use tubtrail_operations::items::{CountedBy, Item, ItemKind, Keeping};
use tubtrail_operations::quantities::Amount;
use tubtrail_operations::sites::{Site, SiteKind};
use tubtrail_operations::trace::Direction;
use tubtrail_operations::transfers::{NewTransfer, NewTransferLine};
use tubtrail_operations::tubs::Opening;
use tubtrail_operations::uses::{NewUse, NewUses};
use tubtrail_operations::{QuantityEntered, Request, Role, Tubtrail};
use tubtrail_tests::batches::{because, of, out, refused, sheet, untracked};
use tubtrail_tests::house::{KITCHEN, SHOP, day, grams, item, line, site};
use tubtrail_tests::{Backend, TestHouse, on_both};

on_both!(
    a_lot_that_runs_out_is_followed_by_another,
    all_of_a_request_or_nothing,
    any_unit_of_the_item_will_do,
    an_item_outside_the_recipe_is_flagged,
    a_base_is_not_used_before_it_is_mature,
    a_lot_past_its_date_is_refused_by_the_day_of_the_site,
    a_lot_put_aside_is_refused,
    a_lot_on_hold_rejected_or_elsewhere_is_refused,
    a_tub_is_used_whole_or_not_once_it_is_open,
    what_was_not_there_yet_was_not_used,
    what_came_to_another_site_was_not_here_yet,
    a_late_use_went_in_before_the_batch_was_completed,
    a_late_use_needs_a_reason_and_reaches_what_was_made,
    a_lot_never_contains_itself,
    sixteen_hands_reach_for_the_last_kilogram,
    hands_that_add_while_one_completes,
    a_batch_takes_a_thousand_uses,
);

fn with_recipes(backend: Backend) -> TestHouse {
    let house = TestHouse::new(backend);
    house.recipe("white", "white-base", &[("milk", 6000), ("sugar", 1500), ("water", 500)], 7900);
    house.recipe("pistachio-10", "pistachio", &[("white-base", 9000), ("pistachio-paste", 900)], 9700);
    house
}

// On paper: 700 of the first lot, which is then empty, and 500 of the next: 1200 in; 300 left of the next.
fn a_lot_that_runs_out_is_followed_by_another(backend: Backend) {
    let house = with_recipes(backend);
    let first = house.receive("dairy", "milk", "M-1", 700);
    let next = house.receive("dairy", "milk", "M-2", 800);
    let batch = house.start("white");
    house.add(batch, vec![of(&first, 700), of(&next, 500)]).expect("added");
    assert_eq!((house.on_shelf(&first), house.on_shelf(&next)), (0, 300));
    assert_eq!(house.batch(batch).in_grams.mg(), 1_200_000);
    let word = refused(house.add(batch, vec![of(&first, 1)]));
    assert_eq!(word, ("not-enough", "uses[0].quantity.amount".into(), vec![first]));
}

// Two uses of one lot count together: 600 + 500 of 1000 are 100 too many.
fn all_of_a_request_or_nothing(backend: Backend) {
    let house = with_recipes(backend);
    let milk = house.receive("dairy", "milk", "M-1", 1000);
    let batch = house.start("white");
    let outcome = house.add(batch, vec![of(&milk, 600), untracked("water", 100), of(&milk, 500)]);
    assert_eq!(refused(outcome), ("not-enough", "uses[2].quantity.amount".into(), vec![milk.clone()]));
    assert_eq!((house.on_shelf(&milk), house.batch(batch).in_grams.mg()), (1000, 0));
    house.add(batch, vec![of(&milk, 600), of(&milk, 400)]).expect("the whole of it, in two goes");
    let (word, field, _) = refused(house.add(batch, Vec::new()));
    assert_eq!((word, field.as_str()), ("invalid", "uses"));
}

// Whole milk here weighs 1032 g a litre: 2.5 l are 2580 g. A dozen eggs of 50 g are 600 g, half an egg is 25 g.
fn any_unit_of_the_item_will_do(backend: Backend) {
    let house = with_recipes(backend);
    let density_kg_per_m3 = Amount("1032".into());
    house.put(Item {
        counted: CountedBy::Volume { density_kg_per_m3 },
        ..item("whole-milk", ItemKind::Ingredient, true)
    });
    let piece_grams = tubtrail_operations::Grams::from_mg(50_000);
    house.put(Item { counted: CountedBy::Piece { piece_grams }, ..item("egg", ItemKind::Ingredient, true) });
    let (milk, eggs) = (house.receive("dairy", "whole-milk", "M-1", 3000), house.receive("dairy", "egg", "E-1", 1000));
    let entered = |lot: &str, amount: &str, unit: &str| {
        let quantity = QuantityEntered { amount: Amount(amount.into()), unit: unit.into() };
        NewUse { quantity, ..of(lot, 1) }
    };
    let batch = house.start("white");
    let uses = vec![entered(&milk, "2.5", "l"), entered(&eggs, "1", "dozen"), entered(&eggs, "0.5", "piece")];
    let added = house.add(batch, uses).expect("added");
    assert_eq!(added.uses.iter().map(|one| one.grams.mg()).collect::<Vec<_>>(), [2_580_000, 600_000, 25_000]);
    assert_eq!((added.uses[0].quantity.amount.0.as_str(), added.uses[0].quantity.unit.as_str()), ("2.5", "l"));
    assert_eq!((house.on_shelf(&milk), house.on_shelf(&eggs)), (420, 375));
}

fn an_item_outside_the_recipe_is_flagged(backend: Backend) {
    let house = with_recipes(backend);
    let milk = house.receive("dairy", "milk", "M-1", 1000);
    let paste = house.receive("nut-mill", "hazelnut-paste", "H-1", 1000);
    let batch = house.start("white");
    let added = house.add(batch, vec![of(&milk, 10), of(&paste, 10), untracked("water", 10)]).expect("added");
    assert_eq!(added.uses.iter().map(|one| one.in_recipe).collect::<Vec<_>>(), [true, false]);
    assert!(added.untracked[0].in_recipe);
    house.put(item("ice", ItemKind::Ingredient, false));
    let added = house.add(batch, vec![untracked("ice", 10)]).expect("added");
    assert!(!added.untracked[0].in_recipe);
}

// Made at 06:00, mature twelve hours on (common practice, no source).
fn a_base_is_not_used_before_it_is_mature(backend: Backend) {
    let house = with_recipes(backend);
    let milk = house.receive("dairy", "milk", "M-1", 1000);
    let base = house.make("white", vec![of(&milk, 1000)], vec![out(Base, 1000)]).outputs[0].lot.clone();
    let batch = house.start("pistachio-10");
    house.clock.set(day(2, 17));
    let error = house.add(batch, vec![of(&base, 100)]).expect_err("too soon");
    assert_eq!((error.problem.word, error.field.as_deref()), ("not-mature", Some("uses[0].lot")));
    assert!(error.detail.to_string().contains("2026-11-02 18:00 (Europe/Lisbon)"), "{}", error.detail);

    let young = NewUses { uses: vec![because("the guests are waiting", of(&base, 100))] };
    let kitchen = house.someone(Role::Kitchen, Some(KITCHEN));
    let by_kitchen = house.tubtrail.add_uses(&kitchen, batch, young.clone());
    assert_eq!(refused(by_kitchen), ("forbidden", "uses[0].lot".into(), vec![base.clone()]));
    assert_eq!(house.on_shelf(&base), 1000);
    let owner = house.someone(Role::Owner, Some(KITCHEN));
    let added = house.tubtrail.add_uses(&owner, batch, young).expect("an owner may say so").answer;
    assert_eq!(added.uses[0].reason.as_deref(), Some("the guests are waiting"));

    house.clock.set(day(2, 18));
    let mature = NewUses { uses: vec![of(&base, 100)] };
    house.tubtrail.add_uses(&kitchen, batch, mature).expect("it is mature");
    // What counts is when it was used, not when that was written down.
    let written_late = NewUse { used_at: Some(day(2, 17)), ..of(&base, 100) };
    assert_eq!(refused(house.add(batch, vec![written_late])).0, "not-mature");
}

// In November Lisbon keeps UTC and Auckland is 13 hours ahead (IANA time zone database): on the 4th at 11:00 UTC the 5th
// begins there.
fn a_lot_past_its_date_is_refused_by_the_day_of_the_site(backend: Backend) {
    let house = with_recipes(backend);
    house.put(Site { time_zone: "Pacific/Auckland".into(), ..site("far-kitchen", SiteKind::Kitchen) });
    let mut milk = line("milk", "M-1", 1000);
    milk.expiry =
        milk.expiry.map(|expiry| tubtrail_operations::deliveries::Expiry { on: day(4, 0).date_naive(), ..expiry });
    let at = |site: &str| {
        let delivery = NewDelivery {
            supplier: "dairy".into(),
            site: site.into(),
            document: "DN".into(),
            arrived_at: None,
            note: None,
            lines: vec![milk.clone()],
        };
        house.tubtrail.receive_delivery(&Request::system(), delivery)
    };
    let here = at(KITCHEN).expect("received").answer.lines[0].lot.clone().expect("a lot");
    milk.supplier_lot_code = "M-2".into();
    let there = house.tubtrail.receive_delivery(
        &Request::system(),
        NewDelivery {
            supplier: "dairy".into(),
            site: "far-kitchen".into(),
            document: "DN-2".into(),
            arrived_at: None,
            note: None,
            lines: vec![milk],
        },
    );
    let there = there.expect("received").answer.lines[0].lot.clone().expect("a lot");
    let makes = |site: &str, lot: &str, used_at| {
        let use_it = NewUse { used_at: Some(used_at), ..of(lot, 10) };
        let sheet = tubtrail_operations::write_ups::NewWriteUp {
            site: site.into(),
            started_at: Some(used_at),
            ..sheet("white", vec![use_it], vec![out(Base, 9)])
        };
        house.tubtrail.write_up_batch(&Request::system(), sheet)
    };
    house.clock.set(day(5, 9));
    makes(KITCHEN, &here, day(4, 23)).expect("it was its last day, and is written down the day after");
    assert_eq!(refused(makes(KITCHEN, &here, day(5, 0))), ("lot-expired", "uses[0].lot".into(), vec![here]));
    makes("far-kitchen", &there, day(4, 10)).expect("it was the last hours of its last day there");
    assert_eq!(refused(makes("far-kitchen", &there, day(4, 11))).0, "lot-expired");
}

// Chilled goods arrive at 5 °C at most (FDA Food Code 3-202.11); at 9 °C they are put aside.
fn a_lot_put_aside_is_refused(backend: Backend) {
    let house = with_recipes(backend);
    house.put(Item { kept: Keeping::Chilled, ..item("yolk", ItemKind::Ingredient, true) });
    let mut warm = line("yolk", "Y-1", 1000);
    warm.temperature_celsius = Some(9.0);
    let delivery = house.deliver("dairy", vec![warm]).expect("received");
    assert_eq!(delivery.lines[0].decision, Decision::PutAside);
    let yolk = delivery.lines[0].lot.clone().expect("a lot");
    let batch = house.start("white");
    let error = house.add(batch, vec![of(&yolk, 10)]).expect_err("on hold");
    assert_eq!((error.problem.word, error.field.as_deref()), ("lot-on-hold", Some("uses[0].lot")));
    assert!(error.detail.to_string().contains("it arrived at 9 °C"), "it says why: {}", error.detail);
}

fn a_lot_on_hold_rejected_or_elsewhere_is_refused(backend: Backend) {
    let house = with_recipes(backend);
    let system = Request::system();
    let because_of = |reason: &str| Because { reason: Some(reason.into()) };
    let batch = house.start("white");
    let milk = house.receive("dairy", "milk", "M-1", 1000);
    let refused_at_lot = |word: &str, says: &str| {
        let error = house.add(batch, vec![of(&milk, 10)]).expect_err("it is refused");
        assert_eq!(
            (error.problem.word, error.field.as_deref(), error.lots),
            (word, Some("uses[0].lot"), vec![milk.clone()])
        );
        assert!(error.detail.to_string().contains(says), "{}", error.detail);
    };
    let hold = house.tubtrail.hold_lot(&system, &milk, because_of("the supplier called")).expect("held").answer.id;
    refused_at_lot("lot-on-hold", "the supplier called");
    house.tubtrail.release_hold(&system, hold, because_of("another lot was meant")).expect("released");
    house.add(batch, vec![of(&milk, 10)]).expect("it may be used again");

    let sent = NewTransfer {
        from: KITCHEN.into(),
        to: SHOP.into(),
        lines: vec![NewTransferLine { lot: milk.clone(), quantity: Some(grams(600)) }],
        dispatched_at: None,
        note: None,
    };
    house.tubtrail.dispatch_transfer(&system, sent.clone()).expect("a part is sent");
    let short = refused(house.add(batch, vec![of(&milk, 400)]));
    assert_eq!((short.0, short.1.as_str()), ("not-enough", "uses[0].quantity.amount"), "990 - 600 are here");
    let rest = vec![NewTransferLine { lot: milk.clone(), quantity: None }];
    let second =
        house.tubtrail.dispatch_transfer(&system, NewTransfer { lines: rest, ..sent }).expect("the rest is sent");
    refused_at_lot("lot-elsewhere", "on its way from kitchen");
    let arrived = serde_json::from_value(serde_json::json!({"all_as_sent": true})).expect("the form is right");
    house.tubtrail.receive_transfer(&system, second.answer.id, arrived).expect("it arrived");
    refused_at_lot("lot-elsewhere", "on its way from kitchen and at harbour-shop");
    // Whoever reaches the kitchen alone is not told where it went.
    let kitchen = house.someone(Role::Kitchen, Some(KITCHEN));
    let error = house.tubtrail.add_uses(&kitchen, batch, NewUses { uses: vec![of(&milk, 1)] }).expect_err("elsewhere");
    assert!(
        error.detail.to_string().contains("on its way from kitchen") && !error.detail.to_string().contains(SHOP),
        "{}",
        error.detail
    );

    let cream = house.receive("dairy", "cream", "C-1", 1000);
    house.tubtrail.reject_lot(&system, &cream, because_of("it had turned")).expect("rejected");
    let error = house.add(batch, vec![of(&cream, 10)]).expect_err("it is refused");
    assert_eq!((error.problem.word, error.field.as_deref()), ("lot-rejected", Some("uses[0].lot")));
    assert!(error.detail.to_string().contains("it had turned"), "{}", error.detail);
}

// Two tubs of 500: one goes back into another batch, the other stands open in the case.
fn a_tub_is_used_whole_or_not_once_it_is_open(backend: Backend) {
    let house = with_recipes(backend);
    let paste = house.receive("nut-mill", "pistachio-paste", "P-1", 1000);
    let made = house.make("pistachio-10", vec![of(&paste, 1000)], vec![out(Tub, 500), out(Tub, 500)]);
    let [closed, open] = [0, 1].map(|at| made.outputs[at].lot.clone());
    house.tubtrail.open_tub(&Request::system(), &open, Opening::default()).expect("opened");
    let batch = house.start("pistachio-10");
    house.add(batch, vec![of(&closed, 500)]).expect("a closed tub may be melted down");
    let error = house.add(batch, vec![of(&open, 100)]).expect_err("it is open");
    assert_eq!((error.problem.word, error.field.as_deref()), ("already-open", Some("uses[0].lot")));
    assert_eq!(refused(house.add(batch, vec![of(&closed, 1)])).0, "not-enough", "nothing is left of it anywhere");
}

fn what_was_not_there_yet_was_not_used(backend: Backend) {
    let house = with_recipes(backend);
    let milk = house.receive("dairy", "milk", "M-1", 1000);
    let batch = house.start("white");
    let early = NewUse { used_at: Some(day(2, 5)), ..of(&milk, 10) };
    assert_eq!(refused(house.add(batch, vec![early])), ("out-of-order", "uses[0].used_at".into(), vec![milk.clone()]));
    let tomorrow = NewUse { used_at: Some(day(3, 5)), ..of(&milk, 10) };
    assert_eq!(refused(house.add(batch, vec![tomorrow])).0, "in-the-future");
}

// Received at the kitchen on the 2nd at 6, sent to the other kitchen at 8 and there since 10.
fn what_came_to_another_site_was_not_here_yet(backend: Backend) {
    let house = with_recipes(backend);
    let system = Request::system();
    house.put(site("other-kitchen", SiteKind::Kitchen));
    let milk = house.receive("dairy", "milk", "M-1", 1000);
    house.clock.set(day(2, 8));
    let sent = NewTransfer {
        from: KITCHEN.into(),
        to: "other-kitchen".into(),
        lines: vec![NewTransferLine { lot: milk.clone(), quantity: None }],
        dispatched_at: None,
        note: None,
    };
    let sent = house.tubtrail.dispatch_transfer(&system, sent).expect("sent").answer.id;
    house.clock.set(day(2, 10));
    let arrived = serde_json::from_value(serde_json::json!({"all_as_sent": true})).expect("the form is right");
    house.tubtrail.receive_transfer(&system, sent, arrived).expect("it arrived");
    house.clock.set(day(2, 12));
    let new = tubtrail_operations::batches::NewBatch {
        recipe: "white".into(),
        site: "other-kitchen".into(),
        started_at: None,
        note: None,
    };
    let batch = house.tubtrail.start_batch(&system, new).expect("begun").answer.id;
    let used_at = |hour| house.add(batch, vec![NewUse { used_at: Some(day(2, hour)), ..of(&milk, 10) }]);
    assert_eq!(refused(used_at(9)), ("out-of-order", "uses[0].used_at".into(), vec![milk.clone()]));
    used_at(10).expect("weighed out before the batch began");
}

// Begun at 6 and completed at 8; at noon it is remembered what else went in. The cream came at 9.
fn a_late_use_went_in_before_the_batch_was_completed(backend: Backend) {
    let house = with_recipes(backend);
    let milk = house.receive("dairy", "milk", "M-1", 1000);
    let batch = house.start("white");
    house.add(batch, vec![of(&milk, 100)]).expect("added");
    house.clock.set(day(2, 8));
    house.complete(batch, vec![out(Base, 90)]).expect("completed");
    house.clock.set(day(2, 9));
    let cream = house.receive("dairy", "cream", "C-1", 1000);
    house.clock.set(day(2, 12));
    let late = |one: NewUse| house.add(batch, vec![because("found on the sheet", one)]);
    assert_eq!(
        late(of(&milk, 10)).expect("added late").uses[0].used_at,
        day(2, 8),
        "when it was done, unless it is said"
    );
    let said = |hour| late(NewUse { used_at: Some(day(2, hour)), ..of(&milk, 10) });
    assert_eq!(said(7).expect("added late").uses[0].used_at, day(2, 7));
    assert_eq!(refused(said(9)), ("out-of-order", "uses[0].used_at".into(), vec![milk.clone()]));
    let too_young = ("out-of-order", "uses[0].used_at".into(), vec![cream.clone()]);
    assert_eq!(refused(late(of(&cream, 10))), too_young, "it came after the batch was completed");
    assert_eq!(house.on_shelf(&cream), 1000);
}

// On paper: 9500 of milk in, 9300 of base out; then 100 of hazelnut paste are remembered, so 9600 went in.
//   flavour in 9000 base + 900 paste = 9900, out 2 x 4800
//   hazelnut in a tub: 100 x 9300/9600 x 9000/9300 x 4800/9900 = 45.454545 g
fn a_late_use_needs_a_reason_and_reaches_what_was_made(backend: Backend) {
    let house = with_recipes(backend);
    let milk = house.receive("dairy", "milk", "M-1", 9500);
    let pistachio = house.receive("nut-mill", "pistachio-paste", "P-1", 900);
    let hazelnut = house.receive("nut-mill", "hazelnut-paste", "H-1", 1000);
    let made = house.make("white", vec![of(&milk, 9500)], vec![out(Base, 9300)]);
    house.clock.set(day(3, 8));
    let base = of(&made.outputs[0].lot, 9000);
    let tubs = house.make("pistachio-10", vec![base, of(&pistachio, 900)], vec![out(Tub, 4800), out(Tub, 4800)]);
    house.clock.set(day(3, 9));

    let without = house.add(made.id, vec![because("left out", of(&hazelnut, 1)), of(&hazelnut, 100)]);
    assert_eq!(refused(without), ("needs-reason", "uses[1].reason".into(), vec![]));
    let water = house.add(made.id, vec![untracked("water", 100)]);
    assert_eq!(refused(water).1, "uses[0].reason");
    assert_eq!(reached(&house.tubtrail, &hazelnut).len(), 1, "it is in nothing yet");

    let yesterday = NewUse { used_at: Some(day(2, 6)), ..of(&hazelnut, 100) };
    let added = house.add(made.id, vec![because("the jar was not scanned", yesterday)]).expect("added late");
    assert_eq!((added.in_grams.mg(), added.uses[0].in_recipe), (9_600_000, false));
    let batch = house.batch(made.id);
    assert_eq!(batch.loss_grams.map(tubtrail_operations::Grams::mg), Some(300_000), "as known now");
    assert_eq!(batch.completion.expect("completed").loss_grams.mg(), 200_000, "as written down then");
    let reached = reached(&house.tubtrail, &hazelnut);
    for tub in &tubs.outputs {
        let share = reached.iter().find(|(lot, _)| *lot == tub.lot).expect("the tub holds it").1;
        assert!((share - 45.454_545).abs() < 0.000_001, "{share}");
    }
}

/// Every lot that holds some of a lot, itself too, and how many grams.
fn reached(tubtrail: &Tubtrail, lot: &str) -> Vec<(String, f64)> {
    let trace = tubtrail.trace_lot(&Request::system(), lot, Direction::Forward, "", 100).expect("a trace");
    trace.lots.into_iter().map(|lot| (lot.lot, lot.grams)).collect()
}

// The first base goes into a flavour, which leaves rework. Neither may go into the batch that made the base.
fn a_lot_never_contains_itself(backend: Backend) {
    let house = with_recipes(backend);
    let milk = house.receive("dairy", "milk", "M-1", 9000);
    let first = house.make("white", vec![of(&milk, 4000)], vec![out(Base, 4000)]);
    let other = house.make("white", vec![of(&milk, 4000)], vec![out(Base, 4000)]);
    let [base, other] = [&first, &other].map(|batch| batch.outputs[0].lot.clone());
    // All in one hour, so that no time speaks against it before the graph does.
    let flavour = house.make(
        "pistachio-10",
        vec![because("the guests are waiting", of(&base, 3000))],
        vec![out(Tub, 2400), out(Rework, 500)],
    );
    let rework = flavour.outputs[1].lot.clone();

    let into_first =
        |lots: &[&str]| house.add(first.id, lots.iter().map(|lot| because("left over", of(lot, 100))).collect());
    assert_eq!(refused(into_first(&[&base])), ("would-loop", "uses[0].lot".into(), vec![base.clone()]));
    let chain = vec![base.clone(), rework.clone()];
    assert_eq!(refused(into_first(&[&milk, &rework])), ("would-loop", "uses[1].lot".into(), chain));
    assert_eq!(house.batch(first.id).uses.len(), 1, "none of it was written down");
    into_first(&[&other]).expect("what does not descend from it may go in");

    // It was the other base that went into the flavour: then the rework may.
    house.add(flavour.id, vec![because("the other tank was open", of(&other, 3000))]).expect("added");
    assert_eq!(refused(into_first(&[&rework])).0, "would-loop");
    let void = tubtrail_operations::voids::UseVoid { reason: "that tank was not touched".into() };
    house.tubtrail.void_use(&Request::system(), flavour.uses[0].id, void).expect("voided");
    into_first(&[&rework]).expect("it no longer descends from it");
    assert_eq!(house.on_shelf(&rework), 400);
    let into_other = house.add(flavour.id, vec![because("again", of(&base, 10))]);
    assert_eq!(
        refused(into_other),
        ("would-loop", "uses[0].lot".into(), vec![rework, base]),
        "now it is the other way round"
    );
}

fn sixteen_hands_reach_for_the_last_kilogram(backend: Backend) {
    let house = with_recipes(backend);
    for (each, served) in [(250, 4), (1000, 1), (300, 3), (63, 15)] {
        let milk = house.receive("dairy", "milk", &format!("M-{each}"), 1000);
        let batch = house.start("white");
        let outcomes = at_once(16, || {
            let uses = vec![of(&milk, each)];
            house.tubtrail.add_uses(&Request::system(), batch, NewUses { uses }).map(|done| done.answer.in_grams)
        });
        let (done, short): (Vec<_>, Vec<_>) = outcomes.into_iter().partition(Result::is_ok);
        assert_eq!(done.len(), served, "{each} g each of 1 kg");
        for outcome in short {
            assert_eq!(refused(outcome), ("not-enough", "uses[0].quantity.amount".into(), vec![milk.clone()]));
        }
        let taken = i64::from(each) * i64::try_from(served).expect("a few");
        assert_eq!((house.on_shelf(&milk), house.batch(batch).in_grams.mg()), (1000 - taken, taken * 1000));
    }
}

// 15 hands add 10 g each without a reason while one completes: what comes before counts as gone in, what comes after is refused.
fn hands_that_add_while_one_completes(backend: Backend) {
    let house = with_recipes(backend);
    let milk = house.receive("dairy", "milk", "M-1", 10_000);
    for round in 0..4 {
        let batch = house.start("white");
        house.add(batch, vec![of(&milk, 1000)]).expect("added");
        let turn = AtomicUsize::new(0);
        let outcomes = at_once(16, || {
            if turn.fetch_add(1, Ordering::SeqCst) == round * 5 {
                let new = NewCompletion { completed_at: None, outputs: vec![out(Base, 1000)], note: None };
                house.tubtrail.complete_batch(&Request::system(), batch, new).map(|done| Some(done.answer))
            } else {
                let uses = vec![of(&milk, 10)];
                house.tubtrail.add_uses(&Request::system(), batch, NewUses { uses }).map(|_| None)
            }
        });
        let added = outcomes.iter().filter(|outcome| matches!(outcome, Ok(None))).count();
        let completion = outcomes.iter().find_map(|outcome| outcome.as_ref().ok()?.as_ref()).expect("it is completed");
        let in_mg = 1_000_000 + 10_000 * i64::try_from(added).expect("a few");
        assert_eq!((completion.completion.in_grams.mg(), house.batch(batch).in_grams.mg()), (in_mg, in_mg));
        for refusal in outcomes.into_iter().filter_map(Result::err) {
            assert!(["needs-reason", "version-moved"].contains(&refusal.problem.word), "{refusal:?}");
        }
        let again = at_once(4, || {
            let new = NewCompletion { completed_at: None, outputs: vec![out(Base, 1)], note: None };
            house.tubtrail.complete_batch(&Request::system(), batch, new).is_err()
        });
        assert_eq!(again, [true; 4]);
    }
}

fn a_batch_takes_a_thousand_uses(backend: Backend) {
    let house = with_recipes(backend);
    let batch = house.start("white");
    for _ in 0..10 {
        house.add(batch, vec![untracked("water", 1); 100]).expect("added");
    }
    assert_eq!(refused(house.add(batch, vec![untracked("water", 1)])), ("invalid", "uses".into(), vec![]));
    assert_eq!(house.batch(batch).in_grams.mg(), 1_000_000);
}

/// Does the same on so many threads that begin together.
fn at_once<T: Send>(threads: usize, work: impl Fn() -> T + Send + Sync + Copy) -> Vec<T> {
    let together = std::sync::Barrier::new(threads);
    let begin = || {
        together.wait();
        work()
    };
    std::thread::scope(|scope| {
        let hands: Vec<_> = (0..threads).map(|_| scope.spawn(begin)).collect();
        hands.into_iter().map(|hand| hand.join().expect("no panic")).collect()
    })
}
