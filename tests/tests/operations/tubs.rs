//! Tubs from the churn to the last scoop, and everything that stands in the way.

use tubtrail_operations::completions::OutputKind;
use tubtrail_operations::consignments::Consignment;
use tubtrail_operations::discards::{Discard, Standpoint};
use tubtrail_operations::holds::Because;
use tubtrail_operations::quantities::Amount;
use tubtrail_operations::transfers::{NewTransfer, NewTransferLine};
use tubtrail_operations::tubs::{Emptying, Opening, Serving};
use tubtrail_operations::{Grams, QuantityEntered, Request, Role};
use tubtrail_tests::house::{KITCHEN, OTHER_SHOP, SHOP, day, grams};
use tubtrail_tests::{Backend, TestHouse, on_both};

use crate::shelf::{
    all_as_sent, assert_places, bring, done, house, kinds, make, open_at, output, parcel, problem, refused, send,
    someone, tub,
};

on_both!(
    a_tub_lives_its_life,
    a_half_served_tub_is_thrown_away,
    what_is_not_weighed_is_served_when_it_is_empty,
    a_tub_is_refused_in_the_documented_order,
    a_hold_stops_it_and_a_release_frees_it,
    what_is_held_or_past_its_date_can_be_thrown_away,
    a_customer_takes_a_tub_whole,
    a_lot_at_two_sites_needs_its_site,
    everyone_keeps_to_their_reach,
    nothing_happens_before_it_can,
    bad_input_names_its_field,
    the_last_kilogram_is_served_once,
);

fn of(mass: u32) -> Serving {
    Serving { grams: Some(Grams::from_mg(i64::from(mass) * 1000)), ..Serving::default() }
}

fn because(reason: &str) -> Because {
    Because { reason: Some(reason.into()) }
}

fn discard(reason: &str) -> Discard {
    Discard { site: None, state: None, quantity: None, reason: Some(reason.into()), discarded_at: None }
}

fn to(customer: &str) -> Consignment {
    Consignment { customer: customer.into(), site: None, quantity: None, document: None, consigned_at: None }
}

fn a_tub_lives_its_life(backend: Backend) {
    let house = house(backend);
    let system = Request::system();
    let lot = tub(&house, 5000);
    assert_places(&house, &lot, &[(KITCHEN, "available", 5000.0)]);
    let transfer = send(&house, SHOP, &[&lot]);
    assert_places(&house, &lot, &[(KITCHEN, "available", 0.0), (KITCHEN, "in_transit", 5000.0)]);
    done(house.tubtrail.receive_transfer(&system, transfer.id, all_as_sent()));
    assert_places(&house, &lot, &[(KITCHEN, "in_transit", 0.0), (SHOP, "available", 5000.0)]);

    let opened = done(house.tubtrail.open_tub(&system, &lot, Opening::default()));
    assert_eq!((opened.site.as_str(), opened.kind.as_str(), opened.item.as_str()), (SHOP, "opened", "gianduja"));
    assert_eq!((opened.grams.mg(), opened.available_grams.mg(), opened.open_grams.mg()), (5_000_000, 0, 5_000_000));

    // Two portions of 80 g, 120.5 g off the scale, and a tenth of a kilogram.
    let two = Serving { portions: Some(2), ..Serving::default() };
    assert_eq!(done(house.tubtrail.serve_tub(&system, &lot, two)).grams.mg(), 160_000);
    let weighed = Serving { grams: Some(Grams::from_mg(120_500)), ..Serving::default() };
    assert_eq!(done(house.tubtrail.serve_tub(&system, &lot, weighed)).open_grams.mg(), 4_719_500);
    let tenth = QuantityEntered { amount: Amount("0.1".into()), unit: "kg".into() };
    let tenth = Serving { quantity: Some(tenth), ..Serving::default() };
    assert_eq!(done(house.tubtrail.serve_tub(&system, &lot, tenth)).open_grams.mg(), 4_619_500);
    assert_places(&house, &lot, &[(SHOP, "open", 4619.5), (SHOP, "served", 380.5)]);

    let emptied = done(house.tubtrail.empty_tub(&system, &lot, Emptying::default()));
    assert_eq!((emptied.grams.mg(), emptied.open_grams.mg()), (4_619_500, 0));
    assert_places(&house, &lot, &[(SHOP, "open", 0.0), (SHOP, "served", 5000.0), (KITCHEN, "production", -5000.0)]);
    let life = ["made", "dispatched", "arrived", "opened", "served", "served", "served", "emptied"];
    assert_eq!(kinds(&house, &lot), life);
}

fn a_half_served_tub_is_thrown_away(backend: Backend) {
    let house = house(backend);
    let lot = open_at(&house, SHOP, 4750);
    done(house.tubtrail.serve_tub(&Request::system(), &lot, of(2000)));
    let gone = done(house.tubtrail.discard_lot(&Request::system(), &lot, discard("it melted")));
    assert_eq!((gone.grams.mg(), gone.open_grams.mg(), gone.reason.as_deref()), (2_750_000, 0, Some("it melted")));
    assert_places(&house, &lot, &[(SHOP, "served", 2000.0), (SHOP, "discarded", 2750.0), (SHOP, "open", 0.0)]);
    let again = house.tubtrail.discard_lot(&Request::system(), &lot, discard("again"));
    assert_eq!(refused(again), problem("not-enough", "quantity"), "nothing is left of it");
}

fn what_is_not_weighed_is_served_when_it_is_empty(backend: Backend) {
    let house = house(backend);
    let lot = open_at(&house, SHOP, 3000);
    house.clock.set(day(4, 18));
    let emptied = done(house.tubtrail.empty_tub(&Request::system(), &lot, Emptying::default()));
    assert_eq!((emptied.kind.as_str(), emptied.occurred_at), ("emptied", day(4, 18)));
    assert_places(&house, &lot, &[(SHOP, "served", 3000.0)]);
    let again = house.tubtrail.empty_tub(&Request::system(), &lot, Emptying::default());
    assert_eq!(refused(again), problem("not-enough", ""));
    let served = house.tubtrail.serve_tub(&Request::system(), &lot, of(1));
    assert_eq!(refused(served), problem("not-enough", ""));
}

/// The order of `tubtrail_domain::moving`, which the API's description gives: kind, rejection, hold, date, place.
fn a_tub_is_refused_in_the_documented_order(backend: Backend) {
    let house = house(backend);
    let system = Request::system();
    let open = |lot: &str| refused(house.tubtrail.open_tub(&system, lot, Opening::default()));
    let open_here = |lot: &str, site: &str| {
        let opening = Opening { site: Some(site.into()), ..Opening::default() };
        refused(house.tubtrail.open_tub(&system, lot, opening))
    };

    let milk = house.receive("dairy", "milk", "M-1", 8000);
    done(house.tubtrail.hold_lot(&system, &milk, because("too warm")));
    assert_eq!(open(&milk), problem("not-a-tub", ""), "the kind comes first");

    let lot = tub(&house, 5000);
    assert_eq!(open_here(&lot, SHOP), problem("lot-elsewhere", ""));
    let serve = house.tubtrail.serve_tub(&system, &lot, of(100));
    assert_eq!(refused(serve), problem("not-open", ""), "it stands closed in the kitchen");
    let empty = house.tubtrail.empty_tub(&system, &lot, Emptying::default());
    assert_eq!(refused(empty), problem("not-open", ""));

    // Its last day is 31 December; in Lisbon that ends at midnight UTC.
    let last = chrono::NaiveDate::from_ymd_opt(2026, 12, 31).unwrap();
    house.clock.set(last.and_hms_opt(23, 59, 0).unwrap().and_utc());
    let moved = done(house.tubtrail.open_tub(&system, &tub(&house, 700), Opening::default()));
    assert_eq!(moved.open_grams.mg(), 700_000, "the last day itself counts");
    let open_tub = moved.lot;
    house.clock.set(last.succ_opt().unwrap().and_hms_opt(0, 0, 0).unwrap().and_utc());
    assert_eq!(open_here(&lot, SHOP), problem("lot-expired", ""), "the date comes before the place");
    assert_eq!(refused(house.tubtrail.serve_tub(&system, &open_tub, of(100))), problem("lot-expired", ""));
    assert_eq!(refused(house.tubtrail.consign_lot(&system, &lot, to("bistro"))), problem("lot-expired", ""));
    assert_eq!(open(&open_tub), problem("lot-expired", ""));
    done(house.tubtrail.hold_lot(&system, &lot, because("to be looked at")));
    assert_eq!(open_here(&lot, SHOP), problem("lot-on-hold", ""), "the hold comes before the date");

    let fresh = house.clock.clone();
    fresh.set(day(2, 6));
    let opened = open_at(&house, SHOP, 1000);
    assert_eq!(open(&opened), problem("already-open", ""));
    let sent = house
        .tubtrail
        .dispatch_transfer(&system, NewTransfer { from: SHOP.into(), to: KITCHEN.into(), ..parcel(SHOP, &[&opened]) });
    assert_eq!(refused(sent), problem("already-open", "lines[0].lot"), "an open tub is not moved");
    assert_eq!(refused(house.tubtrail.consign_lot(&system, &opened, to("bistro"))), problem("already-open", ""));
    let over = house.tubtrail.serve_tub(&system, &opened, of(1001));
    assert_eq!(refused(over), problem("not-enough", "grams"));
    let over = house.tubtrail.serve_tub(&system, &opened, Serving { portions: Some(13), ..Serving::default() });
    assert_eq!(refused(over), problem("not-enough", "portions"), "13 portions are 1040 g");
    assert_places(&house, &opened, &[(SHOP, "open", 1000.0)]);
}

fn a_hold_stops_it_and_a_release_frees_it(backend: Backend) {
    let house = house(backend);
    let system = Request::system();
    let closed = tub(&house, 5000);
    let opened = open_at(&house, SHOP, 5000);
    let holds: Vec<i64> =
        [&closed, &opened].map(|lot| done(house.tubtrail.hold_lot(&system, lot, because("a smell"))).id).to_vec();

    let on_hold = problem("lot-on-hold", "");
    assert_eq!(refused(house.tubtrail.open_tub(&system, &closed, Opening::default())), on_hold);
    assert_eq!(refused(house.tubtrail.consign_lot(&system, &closed, to("bistro"))), on_hold);
    let sent = house.tubtrail.dispatch_transfer(&system, parcel(SHOP, &[&closed]));
    assert_eq!(refused(sent), problem("lot-on-hold", "lines[0].lot"));
    assert_eq!(refused(house.tubtrail.serve_tub(&system, &opened, of(80))), on_hold);
    assert_eq!(refused(house.tubtrail.empty_tub(&system, &opened, Emptying::default())), on_hold);
    assert_places(&house, &closed, &[(KITCHEN, "available", 5000.0), (KITCHEN, "in_transit", 0.0)]);
    assert_places(&house, &opened, &[(SHOP, "open", 5000.0), (SHOP, "served", 0.0)]);

    for hold in holds {
        done(house.tubtrail.release_hold(&system, hold, because("it was the drain")));
    }
    bring(&house, SHOP, &[&closed]);
    done(house.tubtrail.consign_lot(&system, &closed, to("bistro")));
    done(house.tubtrail.serve_tub(&system, &opened, of(80)));
    done(house.tubtrail.empty_tub(&system, &opened, Emptying::default()));
    assert_places(&house, &opened, &[(SHOP, "served", 5000.0)]);
}

fn what_is_held_or_past_its_date_can_be_thrown_away(backend: Backend) {
    let house = house(backend);
    let lot = tub(&house, 5000);
    done(house.tubtrail.hold_lot(&Request::system(), &lot, because("recalled")));
    house.clock.set(chrono::TimeZone::with_ymd_and_hms(&chrono::Utc, 2027, 2, 1, 8, 0, 0).unwrap());
    let some = Discard { quantity: Some(grams(1200)), ..discard("a sample for the laboratory") };
    assert_eq!(done(house.tubtrail.discard_lot(&Request::system(), &lot, some)).available_grams.mg(), 3_800_000);
    done(house.tubtrail.discard_lot(&Request::system(), &lot, discard("recalled")));
    assert_places(&house, &lot, &[(KITCHEN, "available", 0.0), (KITCHEN, "discarded", 5000.0)]);
}

fn a_customer_takes_a_tub_whole(backend: Backend) {
    let house = house(backend);
    let system = Request::system();
    let lots = make(&house, vec![output(OutputKind::Tub, 2500), output(OutputKind::Remainder, 900)]);
    let (tub, rest) = (&lots[0], &lots[1]);
    let part = Consignment { quantity: Some(grams(1000)), ..to("bistro") };
    assert_eq!(refused(house.tubtrail.consign_lot(&system, tub, part.clone())), problem("invalid", "quantity"));
    let more = Consignment { quantity: Some(grams(2501)), ..to("bistro") };
    assert_eq!(refused(house.tubtrail.consign_lot(&system, tub, more)), problem("not-enough", "quantity.amount"));
    assert_eq!(refused(house.tubtrail.consign_lot(&system, tub, to("dairy"))), problem("wrong-kind", "customer"));

    let paper = Consignment { document: Some("DN-311".into()), ..to("bistro") };
    let gone = done(house.tubtrail.consign_lot(&system, tub, paper));
    assert_eq!((gone.customer.as_deref(), gone.document.as_deref()), (Some("bistro"), Some("DN-311")));
    assert_places(&house, tub, &[(KITCHEN, "consigned", 2500.0), (KITCHEN, "available", 0.0)]);
    let part = Consignment { quantity: Some(grams(400)), ..part };
    done(house.tubtrail.consign_lot(&system, rest, part));
    assert_places(&house, rest, &[(KITCHEN, "consigned", 400.0), (KITCHEN, "available", 500.0)]);
}

fn a_lot_at_two_sites_needs_its_site(backend: Backend) {
    let house = house(backend);
    let system = Request::system();
    let milk = house.receive("dairy", "milk", "M-1", 8000);
    let half = NewTransferLine { lot: milk.clone(), quantity: Some(grams(3000)) };
    let transfer =
        done(house.tubtrail.dispatch_transfer(&system, NewTransfer { lines: vec![half], ..parcel(SHOP, &[]) }));
    done(house.tubtrail.receive_transfer(&system, transfer.id, all_as_sent()));

    assert_eq!(refused(house.tubtrail.discard_lot(&system, &milk, discard("sour"))), problem("invalid", "site"));
    let there = Discard { site: Some(SHOP.into()), ..discard("sour") };
    done(house.tubtrail.discard_lot(&system, &milk, there));
    assert_places(
        &house,
        &milk,
        &[(KITCHEN, "available", 5000.0), (SHOP, "available", 0.0), (SHOP, "discarded", 3000.0)],
    );
    done(house.tubtrail.discard_lot(&system, &milk, discard("sour here too")));
    assert_places(&house, &milk, &[(KITCHEN, "available", 0.0), (KITCHEN, "discarded", 5000.0)]);
}

fn everyone_keeps_to_their_reach(backend: Backend) {
    let house = house(backend);
    let lot = tub(&house, 5000);
    bring(&house, SHOP, &[&lot]);
    let here = |role| someone(&house, role, SHOP);
    let open = |request: &Request| house.tubtrail.open_tub(request, &lot, Opening::default());

    let not_found = problem("not-found", "");
    assert_eq!(refused(open(&someone(&house, Role::Shop, OTHER_SHOP))), not_found, "of another site");
    assert_eq!(refused(open(&someone(&house, Role::Device, OTHER_SHOP))), not_found);
    let there = Opening { site: Some(SHOP.into()), ..Opening::default() };
    let other = someone(&house, Role::Shop, OTHER_SHOP);
    assert_eq!(refused(house.tubtrail.open_tub(&other, &lot, there)), problem("not-found", "site"));
    let mine = Opening { site: Some(OTHER_SHOP.into()), ..Opening::default() };
    assert_eq!(refused(house.tubtrail.open_tub(&other, &lot, mine)), not_found, "naming their own site helps nobody");
    let forbidden = problem("forbidden", "");
    assert_eq!(refused(open(&here(Role::Inspector))), forbidden);
    assert_eq!(refused(open(&here(Role::Kitchen))), forbidden, "kitchens do not open tubs");

    done(open(&here(Role::Device)));
    done(house.tubtrail.serve_tub(&here(Role::Device), &lot, of(80)));
    let thrown = house.tubtrail.discard_lot(&here(Role::Device), &lot, discard("dropped"));
    assert_eq!(refused(thrown), forbidden, "a device throws nothing away");
    assert_eq!(refused(house.tubtrail.hold_lot(&here(Role::Device), &lot, because("x"))), forbidden);
    done(house.tubtrail.discard_lot(&here(Role::Shop), &lot, discard("dropped")));
    assert_places(&house, &lot, &[(SHOP, "served", 80.0), (SHOP, "discarded", 4920.0)]);
}

fn nothing_happens_before_it_can(backend: Backend) {
    let house = house(backend);
    let system = Request::system();
    house.clock.set(day(3, 10));
    let lot = tub(&house, 5000);
    let early = Opening { opened_at: Some(day(3, 9)), ..Opening::default() };
    assert_eq!(refused(house.tubtrail.open_tub(&system, &lot, early)), problem("out-of-order", "opened_at"));
    house.clock.set(day(4, 20));
    let opening = Opening { opened_at: Some(day(4, 11)), ..Opening::default() };
    done(house.tubtrail.open_tub(&system, &lot, opening));
    let early = Serving { served_at: Some(day(4, 10)), ..of(80) };
    assert_eq!(refused(house.tubtrail.serve_tub(&system, &lot, early)), problem("out-of-order", "served_at"));
    let early = Emptying { emptied_at: Some(day(4, 10)), ..Emptying::default() };
    assert_eq!(refused(house.tubtrail.empty_tub(&system, &lot, early)), problem("out-of-order", "emptied_at"));
    let ahead = Serving { served_at: Some(day(5, 10)), ..of(80) };
    assert_eq!(refused(house.tubtrail.serve_tub(&system, &lot, ahead)), problem("in-the-future", "served_at"));
    let late = Serving { served_at: Some(day(4, 12)), ..of(80) };
    let served = done(house.tubtrail.serve_tub(&system, &lot, late));
    assert_eq!(served.occurred_at, day(4, 12), "what is written down late keeps its time");
}

fn bad_input_names_its_field(backend: Backend) {
    let house = house(backend);
    let system = Request::system();
    let lot = open_at(&house, SHOP, 5000);
    let none = Serving::default;
    let quantity =
        |amount: &str, unit: &str| Some(QuantityEntered { amount: Amount(amount.into()), unit: unit.into() });
    let servings = [
        (none(), "invalid", "grams"),
        (of(0), "invalid", "grams"),
        (Serving { grams: Some(Grams::from_mg(-1)), ..none() }, "invalid", "grams"),
        (Serving { portions: Some(1), ..of(80) }, "invalid", "portions"),
        (Serving { quantity: quantity("1", "g"), ..of(80) }, "invalid", "quantity"),
        (Serving { portions: Some(0), ..none() }, "invalid", "portions"),
        (Serving { portions: Some(1001), ..none() }, "invalid", "portions"),
        (Serving { quantity: quantity("1,5", "kg"), ..none() }, "bad-quantity", "quantity.amount"),
        (Serving { quantity: quantity("1", "scoop"), ..none() }, "bad-quantity", "quantity.unit"),
        (Serving { quantity: quantity("1", "l"), ..none() }, "bad-quantity", "quantity.unit"),
        (Serving { quantity: quantity("5.001", "kg"), ..none() }, "not-enough", "quantity.amount"),
        (Serving { site: Some("nowhere".into()), ..of(80) }, "unknown-code", "site"),
    ];
    for (serving, word, field) in servings {
        let said = format!("{serving:?}");
        assert_eq!(refused(house.tubtrail.serve_tub(&system, &lot, serving)), problem(word, field), "{said}");
    }
    let discards = [
        (Discard { reason: None, ..discard("") }, "needs-reason", "reason"),
        (discard("  "), "needs-reason", "reason"),
        (discard(&"x".repeat(2001)), "invalid", "reason"),
        (Discard { quantity: quantity("0", "g"), ..discard("x") }, "bad-quantity", "quantity.amount"),
        (Discard { quantity: quantity("5001", "g"), ..discard("x") }, "not-enough", "quantity.amount"),
        (Discard { state: Some(Standpoint::Available), ..discard("x") }, "not-enough", "quantity"),
    ];
    for (discard, word, field) in discards {
        let said = format!("{discard:?}");
        assert_eq!(refused(house.tubtrail.discard_lot(&system, &lot, discard)), problem(word, field), "{said}");
    }
    let document = Consignment { document: Some(String::new()), ..to("bistro") };
    assert_eq!(refused(house.tubtrail.consign_lot(&system, &lot, document)), problem("invalid", "document"));
    assert_eq!(refused(house.tubtrail.consign_lot(&system, &lot, to("nobody"))), problem("unknown-code", "customer"));
    let open = |number: &str| refused(house.tubtrail.open_tub(&system, number, Opening::default()));
    assert_eq!(open("261102-0001"), problem("bad-lot-number", ""));
    assert_eq!(open("991231-0001-0"), problem("bad-lot-number", ""), "its check digit is wrong");
    let unborn =
        tubtrail_domain::lot_number::LotNumber::new(chrono::NaiveDate::from_ymd_opt(2026, 11, 2).unwrap(), 999);
    assert_eq!(open(&unborn.unwrap().to_string()), problem("not-found", ""));

    let flavour = no_portion(&house);
    let portion = Serving { portions: Some(1), ..none() };
    assert_eq!(refused(house.tubtrail.serve_tub(&system, &flavour, portion)), problem("invalid", "portions"));
    assert_places(&house, &lot, &[(SHOP, "open", 5000.0), (SHOP, "served", 0.0)]);
}

/// A tub of a flavour that has no portion.
fn no_portion(house: &TestHouse) -> String {
    let remainder = tubtrail_operations::completions::NewOutput {
        item: Some("pistachio".into()),
        ..output(OutputKind::Remainder, 100)
    };
    make(house, vec![remainder]).remove(0)
}

/// Sixteen hands, one kilogram: ten portions of 100 g and not one more.
fn the_last_kilogram_is_served_once(backend: Backend) {
    let house = house(backend);
    let lot = open_at(&house, SHOP, 1000);
    let outcomes: Vec<_> = std::thread::scope(|scope| {
        let serve = || house.tubtrail.serve_tub(&Request::system(), &lot, of(100));
        let hands: Vec<_> = (0..16).map(|_| scope.spawn(serve)).collect();
        hands.into_iter().map(|hand| hand.join().unwrap()).collect()
    });
    let (served, refusals): (Vec<_>, Vec<_>) = outcomes.into_iter().partition(Result::is_ok);
    assert_eq!((served.len(), refusals.len()), (10, 6));
    for refusal in refusals {
        assert_eq!(refused(refusal), problem("not-enough", ""), "nothing is left of it");
    }
    assert_places(&house, &lot, &[(SHOP, "open", 0.0), (SHOP, "served", 1000.0)]);
}
