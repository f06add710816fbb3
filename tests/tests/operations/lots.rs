//! Finding lots, and what is said of one.

use std::collections::HashMap;

use chrono::NaiveDate;
use tubtrail_operations::completions::OutputKind;
use tubtrail_operations::deliveries::DeliverySearch;
use tubtrail_operations::known::Origin;
use tubtrail_operations::lots::{LotKind, LotSearch};
use tubtrail_operations::reach::Role;
use tubtrail_operations::receipts::NewReceipt;
use tubtrail_operations::trace::Direction;
use tubtrail_operations::transfers::{NewTransfer, NewTransferLine};
use tubtrail_operations::{Request, Tubtrail, system_clock};
use tubtrail_tests::house::{KITCHEN, OTHER_SHOP, SHOP, day, line};
use tubtrail_tests::{Backend, TestHouse, on_both};

use crate::bench::{add, begin, complete, everywhere, someone};

on_both!(
    lots_are_found_by_what_is_known_of_them,
    the_suppliers_codes_are_compared_letter_by_letter,
    a_lot_says_where_all_of_it_is,
    movements_are_told_in_order,
    lists_go_on_where_they_ended,
    who_is_elsewhere_finds_nothing,
    deliveries_are_found_by_their_paper,
);

fn numbers(house: &TestHouse, request: &Request, search: &LotSearch) -> Vec<String> {
    let page = house.tubtrail.list_lots(request, search, "", 500).unwrap_or_else(|error| panic!("{error}"));
    assert_eq!(page.next, None);
    page.items.into_iter().map(|lot| lot.lot).collect()
}

fn lots_are_found_by_what_is_known_of_them(backend: Backend) {
    let house = TestHouse::new(backend);
    house.recipe("white-base-60", "white-base", &[("milk", 6000)], 5900);
    let milk = house.receive("dairy", "milk", "24-118", 8000);
    let paste = house.receive("nut-mill", "pistachio-paste", "P-1", 1000);
    house.clock.set(day(3, 6));
    let batch = begin(&house, "white-base-60");
    add(&house, batch, &milk, 1000);
    let base = complete(&house, batch, &[(OutputKind::Base, 900)]).remove(0);
    let third = NaiveDate::from_ymd_opt(2026, 11, 3);
    let second = NaiveDate::from_ymd_opt(2026, 11, 2);
    let text = |text: &str| Some(text.to_owned());
    let all = LotSearch::default;
    let table: Vec<(LotSearch, Vec<&str>)> = vec![
        (all(), vec![&milk, &paste, &base]),
        (LotSearch { number: text(&paste), ..all() }, vec![&paste]),
        (LotSearch { number: text(&paste.replace('-', " ")), ..all() }, vec![&paste]),
        (LotSearch { supplier_lot_code: text("24-118"), ..all() }, vec![&milk]),
        (LotSearch { supplier_lot_code: text("24-11"), ..all() }, vec![]),
        (LotSearch { supplier_lot_code_prefix: text("24-11"), ..all() }, vec![&milk]),
        (LotSearch { supplier: text("nut-mill"), ..all() }, vec![&paste]),
        (LotSearch { item: text("milk"), ..all() }, vec![&milk]),
        (LotSearch { item: text("white-base"), ..all() }, vec![&base]),
        (LotSearch { kind: Some(LotKind::Received), ..all() }, vec![&milk, &paste]),
        (LotSearch { kind: Some(LotKind::Tub), ..all() }, vec![]),
        (LotSearch { day_from: third, ..all() }, vec![&base]),
        (LotSearch { day_to: second, ..all() }, vec![&milk, &paste]),
        (LotSearch { day_from: second, day_to: third, ..all() }, vec![&milk, &paste, &base]),
        (LotSearch { site: text(KITCHEN), ..all() }, vec![&milk, &paste, &base]),
        (LotSearch { site: text(SHOP), ..all() }, vec![]),
        (LotSearch { supplier: text("dairy"), item: text("pistachio-paste"), ..all() }, vec![]),
    ];
    for (search, expected) in table {
        assert_eq!(numbers(&house, &Request::system(), &search), expected, "{search:?}");
    }
    let refused = |search: LotSearch| {
        let error = house.tubtrail.list_lots(&Request::system(), &search, "", 10).unwrap_err();
        (error.problem.word, error.field.unwrap_or_default())
    };
    assert_eq!(refused(LotSearch { item: text("gravel"), ..all() }), ("unknown-code", "item".into()));
    assert_eq!(refused(LotSearch { supplier: text("nobody"), ..all() }), ("unknown-code", "supplier".into()));
    assert_eq!(refused(LotSearch { site: text("nowhere"), ..all() }), ("unknown-code", "site".into()));
    assert_eq!(refused(LotSearch { number: text("261125-0042-0"), ..all() }), ("bad-lot-number", "number".into()));
}

/// The same codes are found on both backends: case counts, no character stands for others, and letters beyond ASCII are
/// in their place (Unicode code points; "é" is U+00E9).
fn the_suppliers_codes_are_compared_letter_by_letter(backend: Backend) {
    let house = TestHouse::new(backend);
    let codes = ["24-1", "24-118", "24-119", "24-12", "24_118", "AB-7", "Ab-7", "ab-7", "a%b", "é-1", "ê-1", "e-1"];
    let lots: HashMap<String, &str> =
        codes.into_iter().map(|code| (house.receive("dairy", "milk", code, 10), code)).collect();
    let found = |prefix: &str| {
        let search = LotSearch { supplier_lot_code_prefix: Some(prefix.into()), ..LotSearch::default() };
        let mut found: Vec<&str> =
            numbers(&house, &Request::system(), &search).iter().map(|number| lots[number]).collect();
        found.sort_unstable();
        found
    };
    assert_eq!(found("24-1"), ["24-1", "24-118", "24-119", "24-12"]);
    assert_eq!(found("24-11"), ["24-118", "24-119"]);
    assert_eq!(found("24_"), ["24_118"]);
    assert_eq!(found("A"), ["AB-7", "Ab-7"]);
    assert_eq!(found("Ab"), ["Ab-7"]);
    assert_eq!(found("ab"), ["ab-7"]);
    assert_eq!(found("a%"), ["a%b"]);
    assert_eq!(found("é"), ["é-1"]);
    assert_eq!(found("e"), ["e-1"]);
    assert_eq!(found("z"), [""; 0]);
}

fn transfer(house: &TestHouse, lots: &[&String]) {
    let lines = lots.iter().map(|lot| NewTransferLine { lot: (*lot).clone(), quantity: None }).collect();
    let new = NewTransfer { from: KITCHEN.into(), to: SHOP.into(), lines, dispatched_at: None, note: None };
    let sent = house.tubtrail.dispatch_transfer(&Request::system(), new).unwrap().answer.id;
    let receipt = NewReceipt { all_as_sent: true, ..NewReceipt::default() };
    house.tubtrail.receive_transfer(&Request::system(), sent, receipt).unwrap();
}

fn a_lot_says_where_all_of_it_is(backend: Backend) {
    let house = TestHouse::new(backend);
    house.recipe("pistachio-5", "pistachio", &[("milk", 3600)], 3500);
    let milk = house.receive("dairy", "milk", "24-118", 8000);
    let batch = begin(&house, "pistachio-5");
    add(&house, batch, &milk, 3000);
    let tub = complete(&house, batch, &[(OutputKind::Tub, 2800)]).remove(0);
    transfer(&house, &[&tub]);
    let shown = house.tubtrail.get_lot(&Request::system(), &milk).unwrap();
    let places: Vec<_> =
        shown.places.iter().map(|place| (place.site.as_str(), place.state.as_str(), place.grams.mg())).collect();
    assert_eq!(places, [(KITCHEN, "available", 5_000_000)]);
    assert_eq!((shown.grams.mg(), shown.used_grams.mg(), shown.returned_grams.mg()), (8_000_000, 3_000_000, 0));
    assert_eq!(
        (shown.kind, shown.site.as_str(), shown.on_hold, shown.rejected),
        (LotKind::Received, KITCHEN, None, None)
    );
    let Origin::Delivery { supplier, supplier_lot_code, .. } = shown.came_from else { panic!("it was received") };
    assert_eq!((supplier.as_str(), supplier_lot_code.as_str()), ("dairy", "24-118"));
    let shown = house.tubtrail.get_lot(&Request::system(), &tub).unwrap();
    assert_eq!(
        (shown.places[0].site.as_str(), shown.places[0].grams.mg(), shown.used_grams.mg()),
        (SHOP, 2_800_000, 0)
    );
    let Origin::Batch { batch: made_by, .. } = shown.came_from else { panic!("it was made") };
    assert_eq!(made_by, batch);
    // The shop has it now, so the shop may see it, and what is in it; the other shop may not.
    let shop = someone(&house, Role::Shop, SHOP);
    assert_eq!(house.tubtrail.get_lot(&shop, &tub).unwrap().lot, tub);
    assert_eq!(numbers(&house, &shop, &LotSearch::default()), std::slice::from_ref(&tub));
    assert_eq!(house.tubtrail.trace_lot(&shop, &tub, Direction::Backward, "", 10).unwrap().head.total, 2);
    assert_eq!(house.tubtrail.get_lot(&shop, &milk).unwrap_err().problem.word, "not-found");
}

fn movements_are_told_in_order(backend: Backend) {
    let house = TestHouse::new(backend);
    house.recipe("pistachio-5", "pistachio", &[("milk", 3600)], 3500);
    let milk = house.receive("dairy", "milk", "24-118", 8000);
    let batch = begin(&house, "pistachio-5");
    add(&house, batch, &milk, 3000);
    add(&house, batch, &milk, 500);
    transfer(&house, &[&milk]);
    let all = house.tubtrail.list_lot_movements(&Request::system(), &milk, "", 100).unwrap();
    let told: Vec<_> = all
        .items
        .iter()
        .map(|one| (one.from_state.as_str(), one.to_site.as_str(), one.to_state.as_str(), one.grams.mg() / 1000))
        .collect();
    let expected = [
        ("supplier", KITCHEN, "available", 8000),
        ("available", KITCHEN, "production", 3000),
        ("available", KITCHEN, "production", 500),
        ("available", KITCHEN, "in_transit", 4500),
        ("in_transit", SHOP, "available", 4500),
    ];
    assert_eq!(told, expected);
    assert!(all.items.iter().all(|one| one.actor == "system" && one.entry > 0));
    assert_eq!(all.items[0].partner.as_deref(), Some("dairy"));
    assert!(all.items[1].use_id.is_some() && all.items[3].transfer.is_some());
    let (mut paged, mut after) = (Vec::new(), String::new());
    loop {
        let page = house.tubtrail.list_lot_movements(&Request::system(), &milk, &after, 2).unwrap();
        paged.extend(page.items);
        let Some(next) = page.next else { break };
        after = next;
    }
    assert_eq!(paged, all.items);
}

fn lists_go_on_where_they_ended(backend: Backend) {
    let house = TestHouse::new(backend);
    let lots: Vec<String> = (0..7).map(|at| house.receive("dairy", "milk", &format!("M-{at}"), 10)).collect();
    let (mut paged, mut after) = (Vec::new(), String::new());
    loop {
        let page = house.tubtrail.list_lots(&Request::system(), &LotSearch::default(), &after, 3).unwrap();
        paged.extend(page.items.into_iter().map(|lot| lot.lot));
        let Some(next) = page.next else { break };
        after = next;
    }
    assert_eq!(paged, lots);
    let refused = house.tubtrail.list_lots(&Request::system(), &LotSearch::default(), "x", 3).unwrap_err();
    assert_eq!((refused.problem.word, refused.field.as_deref()), ("invalid", Some("after")));
}

fn who_is_elsewhere_finds_nothing(backend: Backend) {
    let house = TestHouse::new(backend);
    let milk = house.receive("dairy", "milk", "M-1", 10);
    let elsewhere = someone(&house, Role::Kitchen, OTHER_SHOP);
    assert_eq!(numbers(&house, &elsewhere, &LotSearch::default()), [""; 0]);
    let search = LotSearch { site: Some(KITCHEN.into()), ..LotSearch::default() };
    let refused = house.tubtrail.list_lots(&elsewhere, &search, "", 10).unwrap_err();
    assert_eq!((refused.problem.word, refused.field.as_deref()), ("not-found", Some("site")));
    assert_eq!(house.tubtrail.get_lot(&elsewhere, &milk).unwrap_err().problem.word, "not-found");
    assert_eq!(house.tubtrail.list_lot_movements(&elsewhere, &milk, "", 1).unwrap_err().problem.word, "not-found");
    let listed = house.tubtrail.list_deliveries(&elsewhere, &DeliverySearch::default(), "", 10).unwrap();
    assert_eq!(listed.items, []);
    assert_eq!(numbers(&house, &everywhere(Role::Inspector), &LotSearch::default()), [milk]);
}

fn deliveries_are_found_by_their_paper(backend: Backend) {
    let house = TestHouse::new(backend);
    let first = house.deliver("dairy", vec![line("milk", "M-1", 10), line("cream", "C-1", 10)]).unwrap();
    house.clock.set(day(3, 6));
    let second = house.deliver("nut-mill", vec![line("pistachio-paste", "P-1", 10)]).unwrap();
    let ids = |search: DeliverySearch| -> Vec<i64> {
        let page = house.tubtrail.list_deliveries(&Request::system(), &search, "", 10).unwrap();
        page.items.iter().map(|one| one.id).collect()
    };
    let all = DeliverySearch::default;
    assert_eq!(ids(all()), [first.id, second.id]);
    assert_eq!(ids(DeliverySearch { document: Some(second.document.clone()), ..all() }), [second.id]);
    assert_eq!(ids(DeliverySearch { supplier: Some("dairy".into()), ..all() }), [first.id]);
    assert_eq!(ids(DeliverySearch { site: Some(SHOP.into()), ..all() }), [0_i64; 0]);
    let third = NaiveDate::from_ymd_opt(2026, 11, 3);
    assert_eq!(ids(DeliverySearch { day_from: third, ..all() }), [second.id]);
    assert_eq!(ids(DeliverySearch { day_to: third, ..all() }), [first.id, second.id]);
    let page = house.tubtrail.list_deliveries(&Request::system(), &all(), "", 1).unwrap();
    let lots: Vec<_> = first.lines.iter().map(|line| line.lot.clone().unwrap()).collect();
    assert_eq!((&page.items[0].lots, page.items[0].site.as_str()), (&lots, KITCHEN));
    let rest = house.tubtrail.list_deliveries(&Request::system(), &all(), &page.next.unwrap(), 1).unwrap();
    assert_eq!((rest.items[0].id, rest.next), (second.id, None));
}

/// Two servers of one database: what one has committed, the other answers with.
#[test]
fn what_one_server_commits_the_other_traces_at_once() {
    let house = TestHouse::new(Backend::Postgres);
    let other = Tubtrail::open(&house.database().address(), system_clock()).unwrap();
    house.recipe("white-base-60", "white-base", &[("milk", 6000)], 5900);
    let milk = house.receive("dairy", "milk", "24-118", 8000);
    for (round, used_mg) in (1..=5).zip((1_000_000..).step_by(1_000_000)) {
        let batch = begin(&house, "white-base-60");
        add(&house, batch, &milk, 1000);
        let base = complete(&house, batch, &[(OutputKind::Base, 900)]).remove(0);
        let trace = other.trace_lot(&Request::system(), &milk, Direction::Forward, "", 100).unwrap();
        assert_eq!(trace.head.total, round + 1);
        assert_eq!(trace.lots[round].lot, base);
        assert_eq!(other.get_lot(&Request::system(), &milk).unwrap().used_grams.mg(), used_mg);
    }
    assert_eq!(other.verify().unwrap().wrong, None);
}
