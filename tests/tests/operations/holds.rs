//! Holds and rejections.

use tubtrail_operations::consignments::Consignment;
use tubtrail_operations::discards::Discard;
use tubtrail_operations::holds::{Because, Hold, HoldsAsked, Returned};
use tubtrail_operations::transfers::{NewTransfer, NewTransferLine};
use tubtrail_operations::tubs::Opening;
use tubtrail_operations::uses::{NewUse, NewUses};
use tubtrail_operations::{Actor, Grams, OperationError, Request, Role};
use tubtrail_tests::house::{KITCHEN, OTHER_SHOP, SHOP, day, grams};
use tubtrail_tests::{Backend, TestHouse, on_both};

use crate::shelf::{
    all_as_sent, assert_places, bring, done, house, kinds, number, parcel, problem, refused, send, someone, tub,
};

on_both!(
    a_lot_is_free_when_every_hold_is_released,
    a_held_lot_goes_into_no_batch,
    holds_are_listed_within_reach,
    whoever_ever_had_it_may_hold_it,
    a_rejected_lot_goes_back_and_stays_away,
    a_rejection_keeps_to_the_reach,
    a_hold_on_what_lies_nowhere_is_released_where_it_came_to_be,
    holds_and_rejections_need_a_reason,
);

fn because(reason: &str) -> Because {
    Because { reason: Some(reason.into()) }
}

fn hold(house: &TestHouse, lot: &str, reason: &str) -> Hold {
    done(house.tubtrail.hold_lot(&Request::system(), lot, because(reason)))
}

fn asked() -> HoldsAsked {
    HoldsAsked { site: None, released_too: false, after: String::new(), limit: 100 }
}

/// What using, sending, opening and consigning a lot comes to.
fn tried(house: &TestHouse, lot: &str, batch: i64) -> Vec<(&'static str, String)> {
    let system = Request::system();
    let used = NewUse { lot: Some(lot.into()), item: None, quantity: grams(10), used_at: None, reason: None };
    let consignment =
        Consignment { customer: "bistro".into(), site: None, quantity: None, document: None, consigned_at: None };
    let word = |error: Option<OperationError>| error.map_or(("done", String::new()), |error| refused::<()>(Err(error)));
    vec![
        word(house.tubtrail.add_uses(&system, batch, NewUses { uses: vec![used] }).err()),
        word(house.tubtrail.dispatch_transfer(&system, parcel(SHOP, &[lot])).err()),
        word(house.tubtrail.consign_lot(&system, lot, consignment).err()),
    ]
}

fn batch(house: &TestHouse) -> i64 {
    let new = tubtrail_operations::batches::NewBatch {
        recipe: "gianduja".into(),
        site: KITCHEN.into(),
        started_at: None,
        note: None,
    };
    done(house.tubtrail.start_batch(&Request::system(), new)).id
}

fn a_lot_is_free_when_every_hold_is_released(backend: Backend) {
    let house = house(backend);
    let system = Request::system();
    let lot = tub(&house, 5000);
    let first = hold(&house, &lot, "a smell");
    house.clock.set(day(2, 7));
    let second = hold(&house, &lot, "the supplier called");
    let open = || house.tubtrail.open_tub(&system, &lot, Opening::default());
    let error = open().unwrap_err();
    assert!(error.detail.to_string().contains("a smell"), "the oldest one is named: {error}");
    assert_eq!(error.lots, [lot.as_str()]);

    let released = done(house.tubtrail.release_hold(&system, first.id, because("it was the drain")));
    let release = released.release.expect("it is released");
    assert_eq!((release.reason.as_str(), release.released_by.as_str()), ("it was the drain", "system"));
    assert_eq!((release.released_at, released.held_at), (day(2, 7), day(2, 6)));
    assert!(open().unwrap_err().detail.to_string().contains("the supplier called"));
    let again = house.tubtrail.release_hold(&system, first.id, because("again"));
    assert_eq!(refused(again), problem("already-released", ""));
    done(house.tubtrail.release_hold(&system, second.id, because("another lot was meant")));
    done(open());
}

fn a_held_lot_goes_into_no_batch(backend: Backend) {
    let house = house(backend);
    let batch = batch(&house);
    let paste = house.receive("nut-mill", "hazelnut-paste", "H-1", 1000);
    let held = hold(&house, &paste, "the supplier called");
    assert_eq!(tried(&house, &paste, batch).iter().map(|(word, _)| *word).collect::<Vec<_>>(), ["lot-on-hold"; 3]);
    assert_places(&house, &paste, &[(KITCHEN, "available", 1000.0), (KITCHEN, "production", 0.0)]);
    done(house.tubtrail.release_hold(&Request::system(), held.id, because("another lot was meant")));
    let used = NewUse { lot: Some(paste.clone()), item: None, quantity: grams(10), used_at: None, reason: None };
    done(house.tubtrail.add_uses(&Request::system(), batch, NewUses { uses: vec![used] }));
    assert_places(&house, &paste, &[(KITCHEN, "available", 990.0), (KITCHEN, "production", 10.0)]);
}

fn holds_are_listed_within_reach(backend: Backend) {
    let house = house(backend);
    let (near, far) = (tub(&house, 5000), tub(&house, 4000));
    bring(&house, SHOP, &[&far]);
    let kitchen_only = hold(&house, &near, "a smell");
    let both = hold(&house, &far, "recalled");
    let gone = hold(&house, &far, "a mistake");
    done(house.tubtrail.release_hold(&Request::system(), gone.id, because("a mistake")));
    let list = |request: &Request, asked: HoldsAsked| -> Vec<i64> {
        house.tubtrail.list_holds(request, &asked).unwrap().items.iter().map(|hold| hold.id).collect()
    };
    let system = Request::system();
    let shop = someone(&house, Role::Shop, SHOP);
    assert_eq!(list(&system, asked()), [kitchen_only.id, both.id]);
    assert_eq!(list(&system, HoldsAsked { released_too: true, ..asked() }), [kitchen_only.id, both.id, gone.id]);
    assert_eq!(list(&shop, asked()), [both.id]);
    assert_eq!(list(&shop, HoldsAsked { released_too: true, ..asked() }), [both.id, gone.id]);
    assert!(list(&someone(&house, Role::Shop, OTHER_SHOP), asked()).is_empty());
    assert_eq!(list(&system, HoldsAsked { site: Some(SHOP.into()), ..asked() }), [both.id]);
    let first = house.tubtrail.list_holds(&system, &HoldsAsked { limit: 1, ..asked() }).unwrap();
    assert_eq!(first.items, [kitchen_only], "as it was answered");
    assert_eq!(list(&system, HoldsAsked { after: first.next.unwrap(), ..asked() }), [both.id]);
    let wrong = HoldsAsked { after: "next".into(), ..asked() };
    assert_eq!(refused(house.tubtrail.list_holds(&system, &wrong)), problem("invalid", "after"));
    let elsewhere = HoldsAsked { site: Some(KITCHEN.into()), ..asked() };
    assert_eq!(refused(house.tubtrail.list_holds(&shop, &elsewhere)), problem("not-found", "site"));
    let device = someone(&house, Role::Device, SHOP);
    assert_eq!(refused(house.tubtrail.list_holds(&device, &asked())), problem("forbidden", ""));
}

fn whoever_ever_had_it_may_hold_it(backend: Backend) {
    let house = house(backend);
    let lot = tub(&house, 5000);
    bring(&house, SHOP, &[&lot]);
    let hold_as =
        |role, site: &str| house.tubtrail.hold_lot(&someone(&house, role, site), &lot, because("the supplier called"));
    assert_eq!(refused(hold_as(Role::Shop, OTHER_SHOP)), problem("not-found", ""));
    assert_eq!(refused(hold_as(Role::Inspector, SHOP)), problem("forbidden", ""));
    let held = done(hold_as(Role::Kitchen, KITCHEN));
    assert_eq!(held.held_by, "user:kitchen-kitchen", "the kitchen made it");
    done(hold_as(Role::Shop, SHOP));

    let release = |role, site: &str| {
        house.tubtrail.release_hold(&someone(&house, role, site), held.id, because("another lot was meant"))
    };
    assert_eq!(refused(release(Role::Kitchen, KITCHEN)), problem("forbidden", ""));
    assert_eq!(refused(release(Role::Owner, OTHER_SHOP)), problem("not-found", ""));
    assert_eq!(refused(release(Role::Owner, KITCHEN)), problem("forbidden", ""), "it is at the shop now");
    done(release(Role::Owner, SHOP));
    let none = house.tubtrail.release_hold(&Request::system(), 1, because("x"));
    assert_eq!(refused(none), problem("not-found", ""));
}

/// 10 kg came; 2 kg are at the shop, 1 kg was used, 3 kg are on the way when it is rejected.
fn a_rejected_lot_goes_back_and_stays_away(backend: Backend) {
    let house = house(backend);
    let system = Request::system();
    let batch = batch(&house);
    let paste = house.receive("nut-mill", "hazelnut-paste", "H-1", 10_000);
    let used = NewUse { lot: Some(paste.clone()), item: None, quantity: grams(1000), used_at: None, reason: None };
    done(house.tubtrail.add_uses(&system, batch, NewUses { uses: vec![used] }));
    let part = |mass| {
        let line = NewTransferLine { lot: paste.clone(), quantity: Some(grams(mass)) };
        done(house.tubtrail.dispatch_transfer(&system, NewTransfer { lines: vec![line], ..parcel(SHOP, &[]) })).id
    };
    let first = part(2000);
    done(house.tubtrail.receive_transfer(&system, first, all_as_sent()));
    let second = part(3000);
    hold(&house, &paste, "it is rancid");

    let rejection = done(house.tubtrail.reject_lot(&system, &paste, because("it is rancid")));
    let back = |site: &str, mass: i64| Returned { site: site.into(), grams: Grams::from_mg(mass * 1000) };
    assert_eq!(rejection.returned, [back(KITCHEN, 4000), back(SHOP, 2000)]);
    assert_places(
        &house,
        &paste,
        &[
            (KITCHEN, "available", 0.0),
            (KITCHEN, "supplier", -6000.0),
            (KITCHEN, "in_transit", 3000.0),
            (KITCHEN, "production", 1000.0),
            (SHOP, "available", 0.0),
            (SHOP, "supplier", 2000.0),
        ],
    );
    assert_eq!(kinds(&house, &paste).iter().filter(|kind| *kind == "returned").count(), 2);

    let again = house.tubtrail.reject_lot(&system, &paste, because("again"));
    assert_eq!(refused(again), problem("lot-rejected", ""), "what is on the way cannot be sent back yet");

    // What was on the way arrives, and is good for nothing but the bin and the supplier.
    done(house.tubtrail.receive_transfer(&system, second, all_as_sent()));
    let words: Vec<_> = tried(&house, &paste, batch).into_iter().map(|(word, _)| word).collect();
    assert_eq!(words[1..], ["lot-rejected"; 2]);
    // A batch names the hold first.
    assert_eq!(words[0], "lot-on-hold");
    let bin = Discard {
        site: None,
        state: None,
        quantity: Some(grams(100)),
        reason: Some("a sample for the laboratory".into()),
        discarded_at: None,
    };
    done(house.tubtrail.discard_lot(&system, &paste, bin));
    let rest = done(house.tubtrail.reject_lot(&system, &paste, because("the rest of it came")));
    assert_eq!((rest.returned, rest.reason.as_str()), (vec![back(SHOP, 2900)], "the rest of it came"));
    assert!(rest.entry > rejection.entry);
    assert_places(&house, &paste, &[(SHOP, "available", 0.0), (SHOP, "discarded", 100.0), (SHOP, "supplier", 4900.0)]);
    let again = house.tubtrail.reject_lot(&system, &paste, because("again"));
    assert_eq!(refused(again), problem("lot-rejected", ""), "nothing is left");
    assert_eq!(number(&house, "SELECT COUNT(*) AS number FROM lot_rejections"), 1, "it was rejected once");

    let made = tub(&house, 5000);
    let made = house.tubtrail.reject_lot(&system, &made, because("it melted"));
    assert_eq!(refused(made), problem("wrong-kind", ""), "what we made goes back to nobody");
}

fn a_rejection_keeps_to_the_reach(backend: Backend) {
    let house = house(backend);
    let milk = house.receive("dairy", "milk", "M-1", 8000);
    let line = NewTransferLine { lot: milk.clone(), quantity: Some(grams(3000)) };
    let new = NewTransfer { lines: vec![line], ..parcel(SHOP, &[]) };
    let transfer = done(house.tubtrail.dispatch_transfer(&Request::system(), new));
    done(house.tubtrail.receive_transfer(&Request::system(), transfer.id, all_as_sent()));
    let reject = |role, site: &str| house.tubtrail.reject_lot(&someone(&house, role, site), &milk, because("sour"));
    assert_eq!(refused(reject(Role::Kitchen, OTHER_SHOP)), problem("not-found", ""));
    assert_eq!(refused(reject(Role::Shop, SHOP)), problem("forbidden", ""));
    assert_eq!(refused(reject(Role::Kitchen, KITCHEN)), problem("forbidden", ""), "3 kg lie at the shop");
    assert_places(&house, &milk, &[(KITCHEN, "available", 5000.0), (SHOP, "available", 3000.0)]);
    let both = Request::of(Actor {
        name: "user:both".into(),
        grants: [KITCHEN, SHOP].iter().flat_map(|site| someone(&house, Role::Kitchen, site).actor.grants).collect(),
    });
    let rejected = done(house.tubtrail.reject_lot(&both, &milk, because("sour")));
    let back = |site: &str, mass| Returned { site: site.into(), grams: Grams::from_mg(mass) };
    assert_eq!(rejected.returned, [back(KITCHEN, 5_000_000), back(SHOP, 3_000_000)]);
    let back = NewTransfer { from: SHOP.into(), to: KITCHEN.into(), ..parcel("", &[&milk]) };
    let back = house.tubtrail.dispatch_transfer(&Request::system(), back);
    assert_eq!(refused(back), problem("lot-rejected", "lines[0].lot"));
}

/// 5 kg of milk: once all of it is thrown away, the kitchen that received it decides, and no shop it passed through.
fn a_hold_on_what_lies_nowhere_is_released_where_it_came_to_be(backend: Backend) {
    let house = house(backend);
    let milk = house.receive("dairy", "milk", "M-1", 5000);
    bring(&house, SHOP, &[&milk]);
    let held = hold(&house, &milk, "sour");
    let bin = Discard { site: None, state: None, quantity: None, reason: Some("sour".into()), discarded_at: None };
    done(house.tubtrail.discard_lot(&Request::system(), &milk, bin));
    let release =
        |site: &str| house.tubtrail.release_hold(&someone(&house, Role::Owner, site), held.id, because("it is gone"));
    assert_eq!(refused(release(SHOP)), problem("forbidden", ""));
    done(release(KITCHEN));
}

fn holds_and_rejections_need_a_reason(backend: Backend) {
    let house = house(backend);
    let system = Request::system();
    let milk = house.receive("dairy", "milk", "M-1", 8000);
    let held = hold(&house, &milk, "sour");
    let needs = problem("needs-reason", "reason");
    let all: [&dyn Fn(Because) -> Result<(), OperationError>; 3] = [
        &|because| house.tubtrail.hold_lot(&system, &milk, because).map(nothing),
        &|because| house.tubtrail.release_hold(&system, held.id, because).map(nothing),
        &|because| house.tubtrail.reject_lot(&system, &milk, because).map(nothing),
    ];
    for operation in all {
        assert_eq!(refused(operation(Because::default())), needs);
        assert_eq!(refused(operation(because(" \n "))), needs);
        assert_eq!(refused(operation(because(&"x".repeat(2001)))), problem("invalid", "reason"));
    }
    let transfer = house.tubtrail.dispatch_transfer(&system, parcel(SHOP, &[&milk]));
    assert_eq!(refused(transfer), problem("lot-on-hold", "lines[0].lot"), "the hold stands");
    done(house.tubtrail.release_hold(&system, held.id, because("it was the jug")));
    send(&house, SHOP, &[&milk]);
}

fn nothing<T>(_: tubtrail_operations::Answered<T>) {}
