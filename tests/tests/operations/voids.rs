//! Uses that did not happen, and temperatures that were not as written.

use tubtrail_operations::completions::OutputKind::{Base, Tub};
use tubtrail_operations::readings::{NewReading, NewReadings, Reading, ReadingVoid, Readings, Step};
use tubtrail_operations::sites::SiteKind;
use tubtrail_operations::trace::Direction;
use tubtrail_operations::uses::BatchUse;
use tubtrail_operations::voids::UseVoid;
use tubtrail_operations::{OperationError, Request, Role};
use tubtrail_tests::batches::{because, of, out, refused};
use tubtrail_tests::house::{KITCHEN, day, site};
use tubtrail_tests::{Backend, TestHouse, on_both};

on_both!(
    a_voided_use_is_back_on_the_shelf,
    a_void_leaves_enough_for_what_came_out,
    who_may_not_void_does_not,
    a_mistyped_temperature_is_put_right,
    who_may_not_void_a_reading_does_not
);

fn void(house: &TestHouse, who: &Request, id: i64, reason: &str) -> Result<BatchUse, OperationError> {
    Ok(house.tubtrail.void_use(who, id, UseVoid { reason: reason.into() })?.answer)
}

fn with_recipes(backend: Backend) -> TestHouse {
    let house = TestHouse::new(backend);
    house.recipe("white", "white-base", &[("milk", 1000)], 900);
    house.recipe("pistachio-10", "pistachio", &[("white-base", 900)], 900);
    house
}

// The base of 600 milk and 400 cream went into a tub; the cream was never in it.
fn a_voided_use_is_back_on_the_shelf(backend: Backend) {
    let house = with_recipes(backend);
    let (milk, cream) = (house.receive("dairy", "milk", "M-1", 1000), house.receive("dairy", "cream", "C-1", 1000));
    let made = house.make("white", vec![of(&milk, 600), of(&cream, 400)], vec![out(Base, 500)]);
    house.clock.set(day(3, 8));
    let tub =
        house.make("pistachio-10", vec![of(&made.outputs[0].lot, 500)], vec![out(Tub, 480)]).outputs[0].lot.clone();
    let holds_cream = || {
        let trace = house.tubtrail.trace_lot(&Request::system(), &cream, Direction::Forward, "", 10).expect("a trace");
        trace.lots.iter().any(|lot| lot.lot == tub)
    };
    assert!(holds_cream());

    let owner = Request::system();
    let id = made.uses[1].id;
    let (word, field, _) = refused(void(&house, &owner, id, "  "));
    assert_eq!((word, field.as_str()), ("needs-reason", "reason"));
    let voided = void(&house, &owner, id, "the carton beside it was scanned").expect("voided");
    assert_eq!(voided.voided.expect("it says so").reason, "the carton beside it was scanned");
    assert!(!holds_cream(), "nothing descends from it any more");
    assert_eq!((house.on_shelf(&milk), house.on_shelf(&cream)), (400, 1000));
    let batch = house.batch(made.id);
    assert_eq!((batch.uses.len(), batch.in_grams.mg()), (2, 600_000), "the fact stays, its mass does not");
    assert_eq!(refused(void(&house, &owner, id, "again")).0, "already-voided");
    assert_eq!(house.on_shelf(&cream), 1000);
}

// 600 + 300 + 100 went in and 900 came out: the 100 may be voided, and after that nothing.
fn a_void_leaves_enough_for_what_came_out(backend: Backend) {
    let house = with_recipes(backend);
    let milk = house.receive("dairy", "milk", "M-1", 2000);
    let made = house.make("white", vec![of(&milk, 600), of(&milk, 300), of(&milk, 100)], vec![out(Base, 900)]);
    let owner = Request::system();
    let [first, second, third] = [0, 1, 2].map(|at| made.uses[at].id);
    assert_eq!(refused(void(&house, &owner, second, "not used")).0, "more-out-than-in");
    void(&house, &owner, third, "not used").expect("900 are left");
    assert_eq!(refused(void(&house, &owner, first, "not used")).0, "more-out-than-in");
    assert_eq!(house.on_shelf(&milk), 1100);
    house.add(made.id, vec![because("another sack", of(&milk, 600))]).expect("added late");
    void(&house, &owner, first, "another sack").expect("what went in instead is written down");
    assert_eq!((house.on_shelf(&milk), house.batch(made.id).in_grams.mg()), (1100, 900_000));

    // In an open batch nothing has come out yet.
    let open = house.start("white");
    let used = house.add(open, vec![of(&milk, 1100)]).expect("added").uses[0].id;
    void(&house, &owner, used, "wrong batch").expect("voided");
    assert_eq!((house.on_shelf(&milk), house.batch(open).in_grams.mg()), (1100, 0));
}

fn who_may_not_void_does_not(backend: Backend) {
    let house = with_recipes(backend);
    house.put(site("other-kitchen", SiteKind::Kitchen));
    let milk = house.receive("dairy", "milk", "M-1", 2000);
    let id = house.add(house.start("white"), vec![of(&milk, 100)]).expect("added").uses[0].id;
    for (role, at, word) in [
        (Role::Kitchen, "other-kitchen", "not-found"),
        (Role::Shop, KITCHEN, "forbidden"),
        (Role::Inspector, KITCHEN, "forbidden"),
    ] {
        assert_eq!(refused(void(&house, &house.someone(role, Some(at)), id, "not used")).0, word, "{role:?} at {at}");
    }
    assert_eq!(refused(void(&house, &Request::system(), id + 1000, "not used")).0, "not-found");
    void(&house, &house.someone(Role::Kitchen, Some(KITCHEN)), id, "not used").expect("a kitchen may");
}

fn read(house: &TestHouse, batch: i64, celsius: f64) -> i64 {
    let (step, held_seconds, taken_at) = (Step::Heating, Some(40), Some(day(2, 6)));
    let new = NewReadings { readings: vec![NewReading { step, temperature_celsius: celsius, held_seconds, taken_at }] };
    let kept = house.tubtrail.add_readings(&Request::system(), batch, new).expect("kept").answer;
    kept.readings.iter().map(|reading| reading.id).max().expect("one at least")
}

fn void_reading(
    house: &TestHouse,
    who: &Request,
    id: i64,
    reason: &str,
    truly: Option<f64>,
) -> Result<Readings, OperationError> {
    let new = ReadingVoid { reason: reason.into(), temperature_celsius: truly };
    Ok(house.tubtrail.void_reading(who, id, new)?.answer)
}

// 8.5 °C was written down for 85.2 °C; another was not taken at all. Both are told, and neither counts.
fn a_mistyped_temperature_is_put_right(backend: Backend) {
    let house = with_recipes(backend);
    let batch = house.start("white");
    let (mistyped, never_taken) = (read(&house, batch, 8.5), read(&house, batch, 86.0));
    let owner = Request::system();
    for (reason, truly, word, field) in
        [(" ", None, "needs-reason", "reason"), ("typed", Some(301.0), "invalid", "temperature_celsius")]
    {
        let (said, at, _) = refused(void_reading(&house, &owner, mistyped, reason, truly));
        assert_eq!((said, at.as_str()), (word, field));
    }
    void_reading(&house, &owner, mistyped, "the point is in the wrong place", Some(85.2)).expect("put right");
    let kept = void_reading(&house, &owner, never_taken, "that was the other vat", None).expect("voided");
    assert_eq!((kept.batch, &kept.readings), (batch, &house.batch(batch).readings));
    let told = |reading: &Reading| (reading.temperature_celsius, reading.voided.clone());
    let told: Vec<_> = kept.readings.iter().map(told).collect();
    let because = |reason: &str| Some(reason.to_owned());
    assert_eq!(
        told,
        [(8.5, because("the point is in the wrong place")), (86.0, because("that was the other vat")), (85.2, None)]
    );
    let truly = &kept.readings[2];
    assert_eq!((truly.step, truly.held_seconds, truly.taken_at), (Step::Heating, Some(40), day(2, 6)));
    assert_eq!(refused(void_reading(&house, &owner, mistyped, "again", None)).0, "already-voided");

    // What is done can be put right as well, and what was put right wrongly.
    let milk = house.receive("dairy", "milk", "M-1", 1000);
    let done = house.make("white", vec![of(&milk, 1000)], vec![out(Base, 900)]);
    let reading = read(&house, done.id, 8.5);
    let kept = void_reading(&house, &owner, reading, "mistyped", Some(58.0)).expect("put right");
    void_reading(&house, &owner, kept.readings[1].id, "mistyped again", Some(85.0)).expect("put right again");
    let celsius: Vec<f64> = house.batch(done.id).readings.iter().map(|one| one.temperature_celsius).collect();
    assert_eq!(celsius, [8.5, 58.0, 85.0]);
    assert_eq!(refused(void_reading(&house, &owner, reading + 1000, "mistyped", None)).0, "not-found");
}

fn who_may_not_void_a_reading_does_not(backend: Backend) {
    let house = with_recipes(backend);
    house.put(site("other-kitchen", SiteKind::Kitchen));
    let batch = house.start("white");
    let id = read(&house, batch, 8.5);
    for (role, at, word) in [
        (Role::Kitchen, "other-kitchen", "not-found"),
        (Role::Shop, KITCHEN, "forbidden"),
        (Role::Inspector, KITCHEN, "forbidden"),
        (Role::Device, KITCHEN, "forbidden"),
    ] {
        let refusal = refused(void_reading(&house, &house.someone(role, Some(at)), id, "mistyped", None));
        assert_eq!(refusal.0, word, "{role:?} at {at}");
    }
    assert_eq!(house.batch(batch).readings[0].voided, None);
    void_reading(&house, &house.someone(Role::Kitchen, Some(KITCHEN)), id, "mistyped", None).expect("a kitchen may");
}
