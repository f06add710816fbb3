//! Uses that did not happen.

use tubtrail_operations::completions::OutputKind::{Base, Tub};
use tubtrail_operations::sites::SiteKind;
use tubtrail_operations::trace::Direction;
use tubtrail_operations::uses::BatchUse;
use tubtrail_operations::voids::UseVoid;
use tubtrail_operations::{OperationError, Request, Role};
use tubtrail_tests::batches::{because, of, out, refused};
use tubtrail_tests::house::{KITCHEN, day, site};
use tubtrail_tests::{Backend, TestHouse, on_both};

on_both!(a_voided_use_is_back_on_the_shelf, a_void_leaves_enough_for_what_came_out, who_may_not_void_does_not);

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
