//! What is really on the shelf.

use tubtrail_operations::counting::{Counting, CountingAsked};
use tubtrail_operations::counts::{CountsAsked, NewCount, NewCountLine};
use tubtrail_operations::discards::Standpoint;
use tubtrail_operations::holds::Because;
use tubtrail_operations::quantities::Amount;
use tubtrail_operations::trace::Direction;
use tubtrail_operations::tubs::{Opening, Serving};
use tubtrail_operations::{Grams, QuantityEntered, Request, Role};
use tubtrail_tests::house::{KITCHEN, OTHER_SHOP, SHOP, day, grams};
use tubtrail_tests::{Backend, on_both};

use crate::shelf::{assert_places, bring, done, house, kinds, open_at, problem, refused, send, someone, tub, tubs};

on_both!(
    a_count_moves_what_differs,
    a_count_that_agrees_moves_nothing,
    what_is_not_on_the_book_is_found,
    a_complete_count_misses_the_rest,
    what_is_on_hold_is_counted_too,
    what_is_found_again_weighs_no_more,
    a_tub_is_counted_no_heavier_than_it_was_filled,
    a_tub_counted_open_instead_of_closed_is_one_tub,
    a_count_written_down_late_is_refused_where_stock_moved,
    counts_are_listed_within_reach,
    what_was_counted_is_told_from_what_is_left,
    bad_counts_name_their_field,
);

pub fn found(lot: &str, mass: u32, reason: &str) -> NewCountLine {
    NewCountLine {
        lot: lot.into(),
        state: None,
        found: grams(mass),
        reason: (!reason.is_empty()).then(|| reason.into()),
    }
}

pub fn count(site: &str, lines: Vec<NewCountLine>) -> NewCount {
    NewCount { site: site.into(), counted_at: None, lines, complete: false, reason: None, note: None }
}

fn asked() -> CountsAsked {
    CountsAsked { site: None, after: String::new(), limit: 100 }
}

fn a_count_moves_what_differs(backend: Backend) {
    let house = house(backend);
    let milk = house.receive("dairy", "milk", "M-1", 8000);
    let sugar = house.receive("dairy", "sugar", "S-1", 25_000);
    let lines = vec![found(&milk, 7400, "spilled"), found(&sugar, 25_300, "the sack was heavier")];
    let counted = done(house.tubtrail.count_site(&Request::system(), count(KITCHEN, lines)));
    let figures: Vec<_> = counted
        .lines
        .iter()
        .map(|line| (line.expected_grams.mg(), line.found_grams.mg(), line.difference_grams.mg()))
        .collect();
    assert_eq!(figures, [(8_000_000, 7_400_000, -600_000), (25_000_000, 25_300_000, 300_000)]);
    assert_places(&house, &milk, &[(KITCHEN, "available", 7400.0), (KITCHEN, "count_difference", 600.0)]);
    assert_places(&house, &sugar, &[(KITCHEN, "available", 25_300.0), (KITCHEN, "count_difference", -300.0)]);
    assert_eq!(house.tubtrail.get_count(&Request::system(), counted.id).unwrap(), counted);

    // Back up again: what was missed is found.
    let lines = vec![found(&milk, 8000, "it stood behind the cream")];
    done(house.tubtrail.count_site(&Request::system(), count(KITCHEN, lines)));
    assert_places(&house, &milk, &[(KITCHEN, "available", 8000.0), (KITCHEN, "count_difference", 0.0)]);
}

fn a_count_that_agrees_moves_nothing(backend: Backend) {
    let house = house(backend);
    let opened = open_at(&house, SHOP, 4000);
    let before = kinds(&house, &opened);
    let counted = done(house.tubtrail.count_site(&Request::system(), count(SHOP, vec![found(&opened, 4000, "")])));
    assert_eq!(counted.lines[0].state, Standpoint::Open, "the book has it in the case");
    assert_eq!((counted.lines[0].difference_grams.mg(), counted.lines[0].reason.as_deref()), (0, None));
    assert_eq!(kinds(&house, &opened), before);
    // An open tub that was served from without weighing.
    let line = found(&opened, 1500, "scoops were not weighed");
    done(house.tubtrail.count_site(&Request::system(), count(SHOP, vec![line])));
    assert_places(&house, &opened, &[(SHOP, "open", 1500.0), (SHOP, "count_difference", 2500.0)]);
}

fn what_is_not_on_the_book_is_found(backend: Backend) {
    let house = house(backend);
    let milk = house.receive("dairy", "milk", "M-1", 8000);
    let line = found(&milk, 500, "someone brought a bottle along");
    let counted = done(house.tubtrail.count_site(&Request::system(), count(SHOP, vec![line])));
    assert_eq!(counted.lines[0].expected_grams.mg(), 0);
    assert_places(
        &house,
        &milk,
        &[(SHOP, "available", 500.0), (SHOP, "count_difference", -500.0), (KITCHEN, "available", 8000.0)],
    );
}

/// At the shop: two closed tubs and an open one; one closed tub is found. At the kitchen and on the way nothing changes.
fn a_complete_count_misses_the_rest(backend: Backend) {
    let house = house(backend);
    let opened = open_at(&house, SHOP, 4000);
    let lots = tubs(&house, &[1000, 2000, 3000, 5000]);
    bring(&house, SHOP, &[&lots[0], &lots[1]]);
    send(&house, OTHER_SHOP, &[&lots[2]]);
    let complete = NewCount { complete: true, ..count(SHOP, vec![found(&lots[0], 1000, "")]) };
    let without = house.tubtrail.count_site(&Request::system(), complete.clone());
    assert_eq!(refused(without), problem("needs-reason", "reason"));
    let complete = NewCount { reason: Some("the freezer was emptied by mistake".into()), ..complete };
    let counted = done(house.tubtrail.count_site(&Request::system(), complete));
    let missed: Vec<_> = counted.lines.iter().map(|line| (line.lot.as_str(), line.difference_grams.mg())).collect();
    assert_eq!(missed, [(lots[0].as_str(), 0), (lots[1].as_str(), -2_000_000), (opened.as_str(), -4_000_000)]);
    assert_eq!(counted.lines[1].reason.as_deref(), Some("the freezer was emptied by mistake"));
    assert_places(&house, &lots[1], &[(SHOP, "available", 0.0), (SHOP, "count_difference", 2000.0)]);
    assert_places(&house, &opened, &[(SHOP, "open", 0.0), (SHOP, "count_difference", 4000.0)]);
    assert_places(&house, &lots[2], &[(KITCHEN, "in_transit", 3000.0)]);
    assert_places(&house, &lots[3], &[(KITCHEN, "available", 5000.0)]);
    // A second complete count of what is left agrees, and needs no reason.
    let again = NewCount { complete: true, ..count(SHOP, vec![found(&lots[0], 1000, "")]) };
    assert_eq!(done(house.tubtrail.count_site(&Request::system(), again)).lines.len(), 1);
    // An empty place, counted: no line is needed.
    let empty = NewCount { complete: true, ..count(OTHER_SHOP, Vec::new()) };
    assert!(done(house.tubtrail.count_site(&Request::system(), empty)).lines.is_empty());
}

fn what_is_on_hold_is_counted_too(backend: Backend) {
    let house = house(backend);
    let lot = tub(&house, 5000);
    let because = Because { reason: Some("recalled".into()) };
    done(house.tubtrail.hold_lot(&Request::system(), &lot, because));
    let line = found(&lot, 0, "somebody threw it away");
    done(house.tubtrail.count_site(&Request::system(), count(KITCHEN, vec![line])));
    assert_places(&house, &lot, &[(KITCHEN, "available", 0.0), (KITCHEN, "count_difference", 5000.0)]);
}

/// The mass a trace reckons shares with: what was received, and what was ever known beyond that.
fn what_is_found_again_weighs_no_more(backend: Backend) {
    let house = house(backend);
    let paste = house.receive("nut-mill", "hazelnut-paste", "H-1", 1000);
    let counted_to = |mass| {
        let lines = vec![found(&paste, mass, "stocktaking")];
        done(house.tubtrail.count_site(&Request::system(), count(KITCHEN, lines)));
        let trace = house.tubtrail.trace_lot(&Request::system(), &paste, Direction::Forward, "", 10).unwrap();
        trace.lots[0].mass_grams.mg() / 1000
    };
    assert_eq!([400, 1000, 700, 900].map(counted_to), [1000; 4], "missed, and found again");
    assert_eq!([1100, 800, 1100].map(counted_to), [1100, 1000, 1100], "more than was received, as long as it is");
    assert_eq!(counted_to(1150), 1150);
}

/// A closed tub of 5 kg; one of 4 kg at the other shop; an open one of 3 kg, of which 2 kg were served by the scoop.
fn a_tub_is_counted_no_heavier_than_it_was_filled(backend: Backend) {
    let house = house(backend);
    let system = Request::system();
    let (closed, away) = (tub(&house, 5000), tub(&house, 4000));
    bring(&house, SHOP, &[&closed]);
    bring(&house, OTHER_SHOP, &[&away]);
    let opened = open_at(&house, SHOP, 3000);
    let serving = Serving { grams: Some(Grams::from_mg(2_000_000)), ..Serving::default() };
    done(house.tubtrail.serve_tub(&system, &opened, serving));
    let tried = |lot: &str, mass| {
        house.tubtrail.count_site(&system, count(SHOP, vec![found(lot, mass, "weighed again")])).map(|_| ())
    };
    assert_eq!(refused(tried(&closed, 50_000)), problem("invalid", "lines[0].found"));
    assert_eq!(refused(tried(&closed, 5001)), problem("invalid", "lines[0].found"));
    assert_eq!(refused(tried(&away, 4000)), problem("lot-elsewhere", "lines[0].lot"), "it stands at the other shop");
    tried(&closed, 4000).unwrap();
    tried(&closed, 5000).expect("what was missed turns up");
    assert_eq!(refused(tried(&closed, 5001)).0, "invalid");
    tried(&opened, 1200).expect("the scoops were smaller than was reckoned");
    assert_eq!(refused(tried(&opened, 3001)), problem("invalid", "lines[0].found"));

    let milk = house.receive("dairy", "milk", "M-1", 8000);
    let open = NewCountLine { state: Some(Standpoint::Open), ..found(&milk, 8000, "x") };
    let refusal = refused(house.tubtrail.count_site(&system, count(KITCHEN, vec![open])));
    assert_eq!(refusal, problem("not-a-tub", "lines[0].state"));
}

/// Somebody opened a tub of 5 kg and did not say so; 4200 g are left of it.
fn a_tub_counted_open_instead_of_closed_is_one_tub(backend: Backend) {
    let house = house(backend);
    let lot = tub(&house, 5000);
    bring(&house, SHOP, &[&lot]);
    let in_case = NewCountLine { state: Some(Standpoint::Open), ..found(&lot, 4200, "nobody said it was opened") };
    let alone = house.tubtrail.count_site(&Request::system(), count(SHOP, vec![in_case.clone()]));
    assert_eq!(refused(alone), problem("lot-elsewhere", "lines[0].lot"), "the book has it on the shelf still");
    let on_shelf = NewCountLine { state: Some(Standpoint::Available), ..found(&lot, 0, "it is in the case") };
    let more = NewCountLine { found: grams(5001), ..in_case.clone() };
    let more = house.tubtrail.count_site(&Request::system(), count(SHOP, vec![on_shelf.clone(), more]));
    assert_eq!(refused(more), problem("invalid", "lines[1].found"));
    done(house.tubtrail.count_site(&Request::system(), count(SHOP, vec![in_case, on_shelf])));
    assert_places(&house, &lot, &[(SHOP, "available", 0.0), (SHOP, "open", 4200.0), (SHOP, "count_difference", 800.0)]);
    let trace = house.tubtrail.trace_lot(&Request::system(), &lot, Direction::Forward, "", 10).unwrap();
    assert_eq!(trace.lots[0].mass_grams.mg(), 5_000_000, "it is no heavier than it was");
}

/// Made on the 2nd at 6, brought to the shop on the 3rd at 8, one of them opened on the 4th at 10. The shop was counted
/// on the 4th at 9, and that is written down on the 5th.
fn a_count_written_down_late_is_refused_where_stock_moved(backend: Backend) {
    let house = house(backend);
    let system = Request::system();
    let lots = tubs(&house, &[5000, 4000]);
    house.clock.set(day(3, 8));
    bring(&house, SHOP, &[&lots[0], &lots[1]]);
    house.clock.set(day(4, 10));
    done(house.tubtrail.open_tub(&system, &lots[0], Opening::default()));
    house.clock.set(day(5, 9));
    let at = |hour, new: NewCount| {
        house.tubtrail.count_site(&system, NewCount { counted_at: Some(day(4, hour)), ..new }).map(|done| done.answer)
    };
    let both = || count(SHOP, vec![found(&lots[0], 5000, ""), found(&lots[1], 4000, "")]);
    let error = at(9, both()).unwrap_err();
    assert_eq!(error.lots, [lots[0].as_str()], "{error}");
    assert_eq!(refused::<()>(Err(error)), problem("out-of-order", "counted_at"));
    let rest = || NewCount { complete: true, reason: Some("x".into()), ..count(SHOP, vec![found(&lots[1], 4000, "")]) };
    let error = at(9, rest()).unwrap_err();
    assert_eq!(error.lots, [lots[0].as_str()], "the open tub would be missing: {error}");
    assert_eq!(refused::<()>(Err(error)), problem("out-of-order", "counted_at"));
    let born_later = NewCount { counted_at: Some(day(2, 5)), ..count(OTHER_SHOP, vec![found(&lots[1], 0, "")]) };
    let born_later = house.tubtrail.count_site(&system, born_later);
    assert_eq!(refused(born_later), problem("out-of-order", "counted_at"), "it was not made yet");
    assert_places(&house, &lots[0], &[(SHOP, "open", 5000.0), (SHOP, "count_difference", 0.0)]);

    at(9, count(SHOP, vec![found(&lots[1], 4000, "")])).expect("this one did not move");
    at(10, both()).expect("as it was opened");
}

/// Milk of 8000 g and sugar of 25 kg lie in the kitchen; a tub of 5000 g is on its way out, and no more to be counted here.
fn what_was_counted_is_told_from_what_is_left(backend: Backend) {
    let house = house(backend);
    let milk = house.receive("dairy", "milk", "M-1", 8000);
    let sugar = house.receive("dairy", "sugar", "S-1", 25_000);
    send(&house, SHOP, &[&tub(&house, 5000)]);
    let kitchen = someone(&house, Role::Kitchen, KITCHEN);
    let asked = CountingAsked::default();
    let left = |counting: &Counting| -> Vec<String> { counting.left.iter().map(|row| row.lot.clone()).collect() };
    let before = house.tubtrail.show_counting(&kitchen, KITCHEN, &asked).unwrap();
    assert_eq!((before.lots_counted, before.lots_left), (0, left(&before).len()));
    assert!(left(&before).contains(&milk) && left(&before).contains(&sugar), "{before:?}");
    assert!(before.left.iter().all(|row| row.state != "in_transit"), "{before:?}");

    let counted = done(house.tubtrail.count_site(&kitchen, count(KITCHEN, vec![found(&milk, 7900, "a splash")])));
    let after = house.tubtrail.show_counting(&kitchen, KITCHEN, &asked).unwrap();
    assert_eq!((after.lots_counted, after.lots_left), (1, before.lots_left - 1));
    assert!(!left(&after).contains(&milk), "{after:?}");
    let line = &after.counted[0];
    assert_eq!(
        (line.count, &line.line, line.counted_by.as_str()),
        (counted.id, &counted.lines[0], kitchen.actor.name.as_str())
    );
    // What was counted before the moment asked for counts as not counted.
    let since = CountingAsked { since: Some(counted.counted_at + chrono::Duration::seconds(1)) };
    assert_eq!(house.tubtrail.show_counting(&kitchen, KITCHEN, &since).unwrap().lots_counted, 0);
    let shop = someone(&house, Role::Shop, SHOP);
    assert_eq!(refused(house.tubtrail.show_counting(&shop, KITCHEN, &asked)), problem("not-found", ""));
    let device = someone(&house, Role::Device, KITCHEN);
    assert_eq!(refused(house.tubtrail.show_counting(&device, KITCHEN, &asked)), problem("forbidden", ""));
}

fn counts_are_listed_within_reach(backend: Backend) {
    let house = house(backend);
    let milk = house.receive("dairy", "milk", "M-1", 8000);
    let lot = tub(&house, 5000);
    bring(&house, SHOP, &[&lot]);
    let shop = someone(&house, Role::Shop, SHOP);
    let at_kitchen = count(KITCHEN, vec![found(&milk, 8000, "")]);
    assert_eq!(refused(house.tubtrail.count_site(&shop, at_kitchen.clone())), problem("not-found", "site"));
    let inspector = someone(&house, Role::Inspector, KITCHEN);
    assert_eq!(refused(house.tubtrail.count_site(&inspector, at_kitchen.clone())), problem("forbidden", ""));
    let first = done(house.tubtrail.count_site(&someone(&house, Role::Kitchen, KITCHEN), at_kitchen)).id;
    let lines = vec![found(&lot, 4900, "weighed with the lid")];
    let second = done(house.tubtrail.count_site(&shop, count(SHOP, lines))).id;

    let list = |request: &Request, asked: &CountsAsked| -> Vec<(i64, usize, usize)> {
        let page = house.tubtrail.list_counts(request, asked).unwrap();
        page.items.iter().map(|count| (count.id, count.lines, count.differing)).collect()
    };
    assert_eq!(list(&Request::system(), &asked()), [(first, 1, 0), (second, 1, 1)]);
    assert_eq!(list(&shop, &asked()), [(second, 1, 1)]);
    assert_eq!(list(&inspector, &asked()), [(first, 1, 0)]);
    let here = CountsAsked { site: Some(SHOP.into()), ..asked() };
    assert_eq!(list(&Request::system(), &here), [(second, 1, 1)]);
    let page = house.tubtrail.list_counts(&Request::system(), &CountsAsked { limit: 1, ..asked() }).unwrap();
    let rest = CountsAsked { after: page.next.unwrap(), ..asked() };
    assert_eq!(list(&Request::system(), &rest), [(second, 1, 1)]);
    assert_eq!(refused(house.tubtrail.get_count(&shop, first)), problem("not-found", ""));
    assert_eq!(
        refused(house.tubtrail.get_count(&someone(&house, Role::Device, SHOP), second)),
        problem("forbidden", "")
    );
}

fn bad_counts_name_their_field(backend: Backend) {
    let house = house(backend);
    let milk = house.receive("dairy", "milk", "M-1", 8000);
    let line = || found(&milk, 8000, "");
    let good = || count(KITCHEN, vec![line()]);
    let of = |amount: &str, unit: &str| {
        let found = QuantityEntered { amount: Amount(amount.into()), unit: unit.into() };
        count(KITCHEN, vec![NewCountLine { found, ..line() }])
    };
    let bad = [
        (count("nowhere", vec![line()]), "unknown-code", "site"),
        (count(KITCHEN, Vec::new()), "invalid", "lines"),
        (count(KITCHEN, vec![line(); 1001]), "invalid", "lines"),
        (count(KITCHEN, vec![line(), line()]), "repeated", "lines[1].lot"),
        (count(KITCHEN, vec![found("milk", 1, "")]), "bad-lot-number", "lines[0].lot"),
        (count(KITCHEN, vec![found(&milk, 7999, "")]), "needs-reason", "lines[0].reason"),
        (of("-1", "g"), "bad-quantity", "lines[0].found.amount"),
        (of("", "g"), "bad-quantity", "lines[0].found.amount"),
        (of("0", "cups"), "bad-quantity", "lines[0].found.unit"),
        (of("8", "l"), "bad-quantity", "lines[0].found.unit"),
        (NewCount { counted_at: Some(day(9, 0)), ..good() }, "in-the-future", "counted_at"),
        (NewCount { note: Some("\u{7}".into()), ..good() }, "invalid", "note"),
    ];
    for (new, word, field) in bad {
        let refusal = refused(house.tubtrail.count_site(&Request::system(), new));
        assert_eq!(refusal, problem(word, field));
    }
    assert_places(&house, &milk, &[(KITCHEN, "available", 8000.0), (KITCHEN, "count_difference", 0.0)]);
    // A reason for the whole count serves the lines that have none.
    let common = NewCount { reason: Some("stocktaking".into()), ..count(KITCHEN, vec![found(&milk, 7999, "")]) };
    let counted = done(house.tubtrail.count_site(&Request::system(), common));
    assert_eq!(counted.lines[0].reason.as_deref(), Some("stocktaking"));
}
