//! The numbers of articles, and the items they stand for.

use tubtrail_operations::gtins::{ItemGtin, NewGtinWithdrawal, NewItemGtin};
use tubtrail_operations::{Grams, OperationError, Request, Role};
use tubtrail_tests::house::{SHOP, day};
use tubtrail_tests::{Backend, TestHouse, on_both};

on_both!(
    the_newest_item_of_a_number_counts,
    a_number_is_taken_from_another_item_only_with_a_reason,
    bad_numbers_are_refused,
    a_withdrawn_number_stands_for_nothing,
    each_role_does_what_is_its_to_do,
);

/// GS1's prefix for demonstrations.
const BOTTLE: &str = "9520123456788";

fn new(gtin: &str) -> NewItemGtin {
    NewItemGtin { gtin: gtin.into(), supplier: None, grams_per_unit: None, since: None, reason: None }
}

fn add(house: &TestHouse, item: &str, new: NewItemGtin) -> Result<ItemGtin, OperationError> {
    Ok(house.tubtrail.add_item_gtin(&Request::system(), item, new)?.answer)
}

#[track_caller]
fn refused(house: &TestHouse, item: &str, new: NewItemGtin, word: &str, field: &str) {
    let before = house.tubtrail.is_ready().expect("the house stands");
    let what = format!("{new:?}");
    let error = add(house, item, new).expect_err(&what);
    assert_eq!((error.problem.word, error.field.as_deref().unwrap_or("")), (word, field), "{what}: {error}");
    assert_eq!(house.tubtrail.is_ready().expect("the house stands"), before, "a refusal leaves no entry: {what}");
}

fn the_newest_item_of_a_number_counts(backend: Backend) {
    let house = TestHouse::new(backend);
    let get = |gtin: &str| house.tubtrail.get_gtin(&Request::system(), gtin);
    assert_eq!(get(BOTTLE).expect_err("nobody gave it").problem.word, "not-found");

    let ten_kilos = Some(Grams::from_mg(10_000_000));
    let first = NewItemGtin { supplier: Some("dairy".into()), grams_per_unit: ten_kilos, ..new(BOTTLE) };
    let first = add(&house, "milk", first).expect("it is free");
    assert_eq!((first.gtin.as_str(), first.printed.as_str()), ("09520123456788", BOTTLE));
    assert_eq!((first.supplier.as_deref(), first.grams_per_unit), (Some("dairy"), ten_kilos));
    assert_eq!(first.since, day(2, 6), "now, if it is not said");
    // The same number in eight, twelve, thirteen or fourteen digits is the same.
    assert_eq!(get("09520123456788").expect("in fourteen"), first);
    assert_eq!(get(BOTTLE).expect("in thirteen"), first);

    // The package grew; what was said of an earlier day is written down, and does not count any more.
    house.clock.set(day(3, 6));
    let eleven_kilos = Some(Grams::from_mg(11_000_000));
    let second =
        add(&house, "milk", NewItemGtin { grams_per_unit: eleven_kilos, ..new(BOTTLE) }).expect("the same item");
    let late = NewItemGtin { since: Some(day(1, 6)), grams_per_unit: ten_kilos, ..new(BOTTLE) };
    add(&house, "milk", late).expect("a late entry");
    assert_eq!(get(BOTTLE).expect("it stands"), second);
}

fn a_withdrawn_number_stands_for_nothing(backend: Backend) {
    let house = TestHouse::new(backend);
    let system = Request::system();
    let get = || house.tubtrail.get_gtin(&system, BOTTLE);
    let because = |reason: &str| NewGtinWithdrawal { reason: Some(reason.into()) };
    let withdraw = |new: NewGtinWithdrawal| house.tubtrail.withdraw_gtin(&system, BOTTLE, new);
    assert_eq!(withdraw(because("gone")).expect_err("nobody gave it").problem.word, "not-found");
    add(&house, "milk", new(BOTTLE)).expect("it is free");

    let unexplained = withdraw(NewGtinWithdrawal::default()).expect_err("it says no reason");
    assert_eq!((unexplained.problem.word, unexplained.field.as_deref()), ("needs-reason", Some("reason")));
    let misread = house.tubtrail.withdraw_gtin(&system, "9520123456789", because("gone")).expect_err("misread");
    assert_eq!((misread.problem.word, misread.field.as_deref()), ("invalid", Some("gtin")));
    house.clock.set(day(3, 6));
    let gone = withdraw(because("the dairy gave up this carton")).expect("it stands for milk").answer;
    assert_eq!((gone.printed.as_str(), gone.item.as_str(), gone.since), (BOTTLE, "milk", day(3, 6)));
    assert_eq!(get().expect_err("it stands for nothing").problem.word, "not-found");
    assert_eq!(withdraw(because("again")).expect_err("it stands for nothing").problem.word, "not-found");

    // What is said late of a day before does not count; given anew it needs no reason, whoever's it was.
    add(&house, "milk", NewItemGtin { since: Some(day(2, 7)), ..new(BOTTLE) }).expect("a late entry");
    assert_eq!(get().expect_err("it was withdrawn since").problem.word, "not-found");
    assert_eq!(add(&house, "cream", new(BOTTLE)).expect("it is free").item, "cream");
    assert_eq!(get().expect("it stands").item, "cream");
}

fn a_number_is_taken_from_another_item_only_with_a_reason(backend: Backend) {
    let house = TestHouse::new(backend);
    add(&house, "milk", new(BOTTLE)).expect("it is free");
    refused(&house, "cream", new(BOTTLE), "needs-reason", "reason");
    let because = NewItemGtin { reason: Some("mistyped at first".into()), ..new(BOTTLE) };
    let cream = add(&house, "cream", because).expect("a reason is given");
    let found = house.tubtrail.get_gtin(&Request::system(), BOTTLE).expect("it stands");
    assert_eq!((found.item.as_str(), &found), ("cream", &cream));
}

fn bad_numbers_are_refused(backend: Backend) {
    let house = TestHouse::new(backend);
    for gtin in ["", "9520123456789", "952012345678", "952012345678O", "9520123456788\0", "00000095201234567880"] {
        refused(&house, "milk", new(gtin), "invalid", "gtin");
        let error = house.tubtrail.get_gtin(&Request::system(), gtin).expect_err(gtin);
        assert_eq!((error.problem.word, error.field.as_deref()), ("invalid", Some("gtin")));
    }
    refused(&house, "nothing", new(BOTTLE), "not-found", "");
    refused(&house, "milk", NewItemGtin { supplier: Some("nobody".into()), ..new(BOTTLE) }, "unknown-code", "supplier");
    refused(&house, "milk", NewItemGtin { supplier: Some("bistro".into()), ..new(BOTTLE) }, "wrong-kind", "supplier");
    refused(
        &house,
        "pistachio",
        NewItemGtin { supplier: Some("dairy".into()), ..new(BOTTLE) },
        "wrong-kind",
        "supplier",
    );
    for mg in [0, -1, 1_000_000_000_001] {
        let grams_per_unit = Some(Grams::from_mg(mg));
        refused(&house, "milk", NewItemGtin { grams_per_unit, ..new(BOTTLE) }, "invalid", "grams_per_unit");
    }
    refused(&house, "milk", NewItemGtin { since: Some(day(3, 6)), ..new(BOTTLE) }, "in-the-future", "since");
    refused(&house, "milk", NewItemGtin { reason: Some("a\0b".into()), ..new(BOTTLE) }, "invalid", "reason");
}

fn each_role_does_what_is_its_to_do(backend: Backend) {
    let house = TestHouse::new(backend);
    for role in Role::ALL {
        let request = house.someone(role, Some(SHOP));
        let added = house.tubtrail.add_item_gtin(&request, "milk", new(BOTTLE)).map(|done| done.answer);
        assert_eq!(added.is_ok(), matches!(role, Role::Owner | Role::Kitchen), "{}", role.word());
        assert!(house.tubtrail.get_gtin(&request, BOTTLE).is_ok(), "{}", role.word());
    }
}
