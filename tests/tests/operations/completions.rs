//! What comes out of a batch.

use chrono::NaiveDate;
use tubtrail_operations::completions::OutputKind::{Base, Component, Remainder, Rework, Tub};
use tubtrail_operations::completions::{NewCompletion, NewOutput, OutputKind};
use tubtrail_operations::deliveries::{Expiry, ExpiryKind};
use tubtrail_operations::items::{Item, ItemKind};
use tubtrail_operations::uses::NewUse;
use tubtrail_operations::{OperationError, Request};
use tubtrail_tests::batches::{because, of, out, refused, untracked};
use tubtrail_tests::house::{day, item};
use tubtrail_tests::{Backend, TestHouse, on_both};

on_both!(
    no_more_comes_out_than_went_in,
    a_batch_is_completed_once,
    nothing_may_come_out_if_it_is_said_why,
    a_recipe_yields_what_it_makes,
    a_lot_keeps_as_long_as_its_item_or_as_it_is_given,
    it_is_not_done_before_the_last_went_in,
    five_hundred_tubs,
);

fn with_recipes(backend: Backend) -> (TestHouse, String) {
    let house = TestHouse::new(backend);
    house.recipe("white", "white-base", &[("milk", 1000)], 900);
    house.recipe("crunch", "praline", &[("milk", 1000)], 900);
    house.recipe("pistachio-10", "pistachio", &[("milk", 1000)], 900);
    let milk = house.receive("dairy", "milk", "M-1", 500_000);
    (house, milk)
}

// 1000 of milk and 200 of water are 1200; one of two uses was voided, so 1200 it stays.
fn no_more_comes_out_than_went_in(backend: Backend) {
    let (house, milk) = with_recipes(backend);
    let batch = house.start("white");
    assert_eq!(refused(house.complete(batch, vec![out(Base, 1)])).0, "more-out-than-in");
    let added = house.add(batch, vec![of(&milk, 1000), untracked("water", 200), of(&milk, 300)]).expect("added");
    let void = tubtrail_operations::voids::UseVoid { reason: "scanned twice".into() };
    house.tubtrail.void_use(&Request::system(), added.uses[1].id, void).expect("voided");
    let error = house.complete(batch, vec![out(Base, 1000), out(Remainder, 201)]).expect_err("1 g too much");
    assert_eq!((error.problem.word, error.field.as_deref()), ("more-out-than-in", Some("outputs")));
    assert!(
        error.detail.to_string().contains("1201 g came out") && error.detail.to_string().contains("1200 g went in"),
        "{}",
        error.detail
    );
    assert!(house.batch(batch).completion.is_none());
    let done = house.complete(batch, vec![out(Base, 1000), out(Remainder, 200)]).expect("nothing is lost");
    assert_eq!((done.completion.in_grams.mg(), done.completion.loss_grams.mg()), (1_200_000, 0));
}

fn a_batch_is_completed_once(backend: Backend) {
    let (house, milk) = with_recipes(backend);
    let batch = house.make("white", vec![of(&milk, 1000)], vec![out(Base, 400)]).id;
    assert_eq!(refused(house.complete(batch, vec![out(Base, 400)])).0, "batch-completed");
    assert_eq!(house.batch(batch).out_grams.mg(), 400_000);
    assert_eq!(refused(house.complete(batch + 1000, vec![])).0, "not-found");
}

fn nothing_may_come_out_if_it_is_said_why(backend: Backend) {
    let (house, milk) = with_recipes(backend);
    let batch = house.start("white");
    house.add(batch, vec![of(&milk, 1000)]).expect("added");
    assert_eq!(refused(house.complete(batch, vec![])), ("needs-reason", "note".into(), vec![]));
    let burnt = NewCompletion { completed_at: None, outputs: vec![], note: Some("burnt".into()) };
    let done = house.tubtrail.complete_batch(&Request::system(), batch, burnt).expect("completed").answer;
    assert_eq!((done.completion.loss_grams.mg(), done.outputs.len()), (1_000_000, 0));
    house.add(batch, vec![because("the second can", of(&milk, 5))]).expect("a late use closes no loop");
}

fn a_recipe_yields_what_it_makes(backend: Backend) {
    let (house, milk) = with_recipes(backend);
    let complete = |recipe: &str, output: NewOutput| -> Result<_, OperationError> {
        let batch = house.start(recipe);
        house.add(batch, vec![of(&milk, 1000)])?;
        house.complete(batch, vec![output])
    };
    let allowed = [
        ("white", [Base, Remainder, Rework].as_slice()),
        ("crunch", &[Component, Remainder, Rework]),
        ("pistachio-10", &[Tub, Remainder, Rework]),
    ];
    for (recipe, kinds) in allowed {
        for kind in [Base, Component, Tub, Remainder, Rework] {
            let outcome = complete(recipe, out(kind, 100));
            if kinds.contains(&kind) {
                assert_eq!(outcome.expect("it may").outputs[0].kind, kind);
            } else {
                assert_eq!(refused(outcome), ("wrong-kind", "outputs[0].kind".into(), vec![]), "{recipe}: {kind:?}");
            }
        }
    }
    let named = |kind: OutputKind, item: &str| NewOutput { item: Some(item.into()), ..out(kind, 100) };
    let made = complete("pistachio-10", named(Rework, "white-base")).expect("rework may be another item");
    assert_eq!(made.outputs[0].item, "white-base");
    complete("pistachio-10", named(Tub, "pistachio")).expect("its own item may be named");
    for (kind, item) in [(Tub, "hazelnut"), (Rework, "milk"), (Remainder, "water")] {
        let outcome = complete("pistachio-10", named(kind, item));
        assert_eq!(refused(outcome), ("wrong-kind", "outputs[0].item".into(), vec![]), "{kind:?} {item}");
    }
}

// Made on the 2nd, kept five days: until the 7th.
fn a_lot_keeps_as_long_as_its_item_or_as_it_is_given(backend: Backend) {
    let (house, milk) = with_recipes(backend);
    house.put(Item { shelf_life_days: Some(5), ..item("gold-base", ItemKind::Base, true) });
    house.recipe("gold", "gold-base", &[("milk", 1000)], 900);
    let on = |day: u32| NaiveDate::from_ymd_opt(2026, 11, day).expect("a day");
    let given = Expiry { kind: ExpiryKind::UseBy, on: on(4) };
    let outputs = vec![out(Base, 100), NewOutput { expiry: Some(given), ..out(Base, 100) }];
    let made = house.make("gold", vec![of(&milk, 1000)], outputs).outputs;
    assert_eq!(made[0].expiry, Some(Expiry { kind: ExpiryKind::BestBefore, on: on(7) }));
    assert_eq!(made[1].expiry, Some(given));
    let made = house.make("white", vec![of(&milk, 1000)], vec![out(Base, 100)]).outputs;
    assert_eq!(made[0].expiry, None, "nobody said how long it keeps");

    let batch = house.start("white");
    house.add(batch, vec![of(&milk, 1000)]).expect("added");
    let past = NewOutput { expiry: Some(Expiry { kind: ExpiryKind::UseBy, on: on(1) }), ..out(Base, 100) };
    let outcome = house.complete(batch, vec![out(Base, 100), past]);
    assert_eq!(refused(outcome), ("invalid", "outputs[1].expiry.on".into(), vec![]));
    assert_eq!(house.batch(batch).outputs, [], "and no lot came of it");
}

fn it_is_not_done_before_the_last_went_in(backend: Backend) {
    let (house, milk) = with_recipes(backend);
    house.clock.set(day(2, 12));
    let batch = house.start("white");
    let at_ten = NewUse { used_at: Some(day(2, 13)), ..of(&milk, 1000) };
    house.clock.set(day(2, 14));
    house.add(batch, vec![at_ten]).expect("added");
    let done_at =
        |hour: u32| NewCompletion { completed_at: Some(day(2, hour)), outputs: vec![out(Base, 100)], note: None };
    for (hour, word) in [(11, "out-of-order"), (12, "out-of-order"), (15, "in-the-future")] {
        let outcome = house.tubtrail.complete_batch(&Request::system(), batch, done_at(hour));
        assert_eq!(refused(outcome), (word, "completed_at".into(), vec![]), "at {hour}");
    }
    let done = house.tubtrail.complete_batch(&Request::system(), batch, done_at(13)).expect("completed").answer;
    assert_eq!(done.completion.completed_at, day(2, 13));
    assert_eq!(done.outputs[0].mature_at, Some(day(3, 1)), "twelve hours from when it was done");
}

fn five_hundred_tubs(backend: Backend) {
    let (house, milk) = with_recipes(backend);
    let batch = house.start("pistachio-10");
    house.add(batch, vec![of(&milk, 500_000)]).expect("added");
    let outcome = house.complete(batch, vec![out(Tub, 950); 501]);
    assert_eq!(refused(outcome), ("invalid", "outputs".into(), vec![]));
    let done = house.complete(batch, vec![out(Tub, 950); 500]).expect("completed");
    let first: Vec<_> = done.outputs.iter().take(2).map(|tub| &tub.lot[..12]).collect();
    assert_eq!((done.outputs.len(), first), (500, vec!["261102-0002-", "261102-0003-"]));
    assert_eq!(done.completion.loss_grams.mg(), 25_000_000);
}
