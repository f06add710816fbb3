//! Records of some items are the records of all, and of those what the items are in: whichever way they are found.

use chrono::Days;
use tubtrail_operations::completions::OutputKind::{Base, Tub};
use tubtrail_operations::consignments::Consignment;
use tubtrail_operations::counts::{NewCount, NewCountLine};
use tubtrail_operations::exports::{EventKind, EventsAsked, Goods, TrackingEvent};
use tubtrail_operations::reach::EXPORT_SFCR;
use tubtrail_operations::receipts::NewReceipt;
use tubtrail_operations::transfers::{NewTransfer, NewTransferLine};
use tubtrail_operations::{Request, Role};
use tubtrail_tests::batches::{of, out, untracked};
use tubtrail_tests::house::{KITCHEN, SHOP, day, grams, line};
use tubtrail_tests::{Backend, TestHouse, on_both};

on_both!(what_happened_to_some_items_is_what_is_told_of_them_among_all, items_do_not_widen_what_somebody_may_see,);

/// Every day of two weeks milk comes, on three of them paste with sugar; every day milk and water become base, and the base of
/// the day before two tubs, with paste while there is some. Tubs go to the harbour each third day, every other time with paste.
fn fortnight(backend: Backend) -> TestHouse {
    let house = TestHouse::new(backend);
    house.recipe("white", "white-base", &[("milk", 6000), ("water", 500)], 6000);
    house.recipe("pistachio-10", "pistachio", &[("white-base", 4000), ("pistachio-paste", 400)], 4200);
    let (mut paste, mut base, mut waiting) = (String::new(), String::new(), Vec::new());
    for today in 2..16 {
        house.clock.set(day(today, 6));
        let milk = house.receive("dairy", "milk", &format!("M-{today}"), 8000);
        if today % 5 == 2 {
            let lines = vec![line("pistachio-paste", &format!("P-{today}"), 1500), line("sugar", "S", 500)];
            let both = house.deliver("nut-mill", lines).unwrap_or_else(|error| panic!("{error}"));
            paste = both.lines[0].lot.clone().expect("it became a lot");
        }
        if !base.is_empty() {
            house.clock.set(day(today, 12));
            let mut uses = vec![of(&base, 4000)];
            uses.extend((today % 2 == 0).then(|| of(&paste, 400)));
            let made = house.make("pistachio-10", uses, vec![out(Tub, 1900), out(Tub, 1900)]);
            waiting.extend(made.outputs.iter().map(|output| output.lot.clone()));
        }
        house.clock.set(day(today, 14));
        let made = house.make("white", vec![of(&milk, 6000), untracked("water", 500)], vec![out(Base, 6000)]);
        base.clone_from(&made.outputs[0].lot);
        if today % 3 == 0 {
            send(&house, today, &std::mem::take(&mut waiting), &paste);
        }
    }
    house
}

/// To the harbour, where the first is handed to the bistro and the second is counted.
fn send(house: &TestHouse, today: u32, tubs: &[String], paste: &str) {
    let owner = Request::system();
    house.clock.set(day(today, 16));
    let whole = |tub: &String| NewTransferLine { lot: tub.clone(), quantity: None };
    let mut lines: Vec<NewTransferLine> = tubs.iter().map(whole).collect();
    if today % 2 == 1 {
        lines.push(NewTransferLine { lot: paste.into(), quantity: Some(grams(100)) });
    }
    let new = NewTransfer { from: KITCHEN.into(), to: SHOP.into(), lines, dispatched_at: None, note: None };
    let sent = house.tubtrail.dispatch_transfer(&owner, new).expect("sent").answer;
    let all = NewReceipt { received_at: None, lines: vec![], rest: None, all_as_sent: true, reason: None, note: None };
    house.tubtrail.receive_transfer(&owner, sent.id, all).expect("received");
    let to = Consignment { customer: "bistro".into(), site: None, quantity: None, document: None, consigned_at: None };
    house.tubtrail.consign_lot(&owner, &tubs[0], to).expect("handed over");
    let found = NewCountLine { lot: tubs[1].clone(), state: None, found: grams(1890), reason: Some("ice".into()) };
    let lines = vec![found];
    let new = NewCount { site: SHOP.into(), counted_at: None, lines, complete: false, reason: None, note: None };
    house.tubtrail.count_site(&owner, new).expect("counted");
}

fn told(house: &TestHouse, who: &Request, asked: &EventsAsked) -> Vec<TrackingEvent> {
    let mut events = house.tubtrail.tracking_events(who, &EXPORT_SFCR, asked).unwrap_or_else(|error| panic!("{error}"));
    let mut all = Vec::new();
    loop {
        match house.tubtrail.more_tracking_events(&mut events).unwrap_or_else(|error| panic!("{error}")) {
            more if more.is_empty() => return all,
            more => all.extend(more),
        }
    }
}

/// What is told of some items, by the rule on paper: whatever has one of them, and of that only what is one of them, but of a
/// batch all.
fn narrowed(all: &[TrackingEvent], items: &[&str]) -> Vec<TrackingEvent> {
    let is_one = |goods: &Goods| items.contains(&&*goods.item);
    let among = all.iter().filter(|event| event.goods.iter().chain(&event.made).any(is_one));
    let of_them = among.cloned().map(|mut event| {
        if event.kind != EventKind::Transformed {
            event.goods.retain(is_one);
        }
        event
    });
    of_them.collect()
}

fn what_happened_to_some_items_is_what_is_told_of_them_among_all(backend: Backend) {
    let house = fortnight(backend);
    let owner = Request::system();
    let first = told(&house, &owner, &EventsAsked::default())[0].day();
    let on = |number: u64| Some(first + Days::new(number));
    // Few lots over all days are found by the lots, many on a few days by time, and some tables one way and some the other.
    for days in [(None, None), (on(0), on(1)), (on(3), on(5)), (on(3), on(30)), (on(40), None)] {
        for site in [None, Some(KITCHEN), Some(SHOP)] {
            let asked = |items: &[&str]| EventsAsked {
                day_from: days.0,
                day_to: days.1,
                site: site.map(str::to_owned),
                items: items.iter().map(|item| (*item).to_owned()).collect(),
                ..EventsAsked::default()
            };
            let all = told(&house, &owner, &asked(&[]));
            for items in [
                &["milk"][..],
                &["sugar"],
                &["water"],
                &["pistachio-paste"],
                &["pistachio"],
                &["sugar", "pistachio"],
                &["white-base", "water"],
                &["hazelnut-paste"],
            ] {
                assert_eq!(told(&house, &owner, &asked(items)), narrowed(&all, items), "{items:?} {days:?} {site:?}");
            }
        }
    }
    let sugar = EventsAsked { items: vec!["sugar".into()], ..EventsAsked::default() };
    assert_eq!(told(&house, &owner, &sugar).len(), 3, "three deliveries, and it went into nothing");
}

fn items_do_not_widen_what_somebody_may_see(backend: Backend) {
    let house = fortnight(backend);
    let inspector = house.someone(Role::Inspector, Some(SHOP));
    let asked = EventsAsked { items: vec!["milk".into(), "pistachio".into()], ..EventsAsked::default() };
    let seen = told(&house, &inspector, &asked);
    assert!(!seen.is_empty());
    assert!(seen.iter().all(|event| event.site.code == SHOP));
    assert_eq!(seen, narrowed(&told(&house, &inspector, &EventsAsked::default()), &["milk", "pistachio"]));
}
