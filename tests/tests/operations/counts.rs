//! What is really on the shelf.

use tubtrail_operations::counts::{CountsAsked, NewCount, NewCountLine};
use tubtrail_operations::discards::Standpoint;
use tubtrail_operations::holds::Because;
use tubtrail_operations::quantities::Amount;
use tubtrail_operations::trace::Direction;
use tubtrail_operations::{QuantityEntered, Request, Role};
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
    counts_are_listed_within_reach,
    bad_counts_name_their_field,
);

fn found(lot: &str, mass: u32, reason: &str) -> NewCountLine {
    NewCountLine {
        lot: lot.into(),
        state: None,
        found: grams(mass),
        reason: (!reason.is_empty()).then(|| reason.into()),
    }
}

fn count(site: &str, lines: Vec<NewCountLine>) -> NewCount {
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
