//! What is sent, and what arrives.

use tubtrail_operations::completions::OutputKind;
use tubtrail_operations::holds::Because;
use tubtrail_operations::quantities::Amount;
use tubtrail_operations::receipts::{NewReceipt, NewReceiptLine, Rest};
use tubtrail_operations::transfers::{Direction, NewTransfer, NewTransferLine, TransfersAsked};
use tubtrail_operations::{QuantityEntered, Request, Role};
use tubtrail_tests::house::{KITCHEN, OTHER_SHOP, SHOP, day, grams};
use tubtrail_tests::{Backend, on_both};

use crate::shelf::{
    all_as_sent, assert_places, bring, done, house, kinds, make, open_at, output, parcel, problem, refused, send,
    someone, tub, tubs,
};

on_both!(
    what_differs_is_booked_with_its_reason,
    more_than_was_sent_arrives,
    a_lot_that_was_not_on_the_list_arrives,
    a_tub_cannot_grow,
    a_missing_tub_turns_up,
    every_lot_that_was_sent_is_answered_for,
    the_rest_is_missing,
    what_is_held_on_the_way_arrives_and_stays_held,
    a_transfer_arrives_once,
    two_receipts_at_once_are_one,
    a_part_of_a_lot_travels,
    each_end_has_its_roles,
    lists_show_what_is_in_reach,
    bad_transfers_name_their_field,
    bad_receipts_name_their_field,
);

fn arrived(lot: &str, received: Option<u32>, damaged: Option<u32>, reason: &str) -> NewReceiptLine {
    NewReceiptLine {
        lot: lot.into(),
        received: received.map(grams),
        damaged: damaged.map(grams),
        reason: (!reason.is_empty()).then(|| reason.into()),
    }
}

fn receipt(lines: Vec<NewReceiptLine>) -> NewReceipt {
    NewReceipt { lines, ..NewReceipt::default() }
}

fn asked() -> TransfersAsked {
    TransfersAsked { site: None, direction: None, on_the_way: false, after: String::new(), limit: 100 }
}

/// A base travels in part: 10 kg sent; 7 kg arrive whole, 1 kg damaged, 2 kg are missing. A tub arrives as it was sent.
fn what_differs_is_booked_with_its_reason(backend: Backend) {
    let house = house(backend);
    let milk = house.receive("dairy", "milk", "M-1", 10_000);
    let tub = tub(&house, 5000);
    let transfer = send(&house, SHOP, &[&milk, &tub]);
    assert!(transfer.lines.iter().all(|line| line.listed && line.received_grams.is_none()));
    house.clock.set(day(2, 8));
    let lines = vec![arrived(&milk, Some(7000), Some(1000), "a can leaked"), arrived(&tub, None, None, "")];
    let received = done(house.tubtrail.receive_transfer(&Request::system(), transfer.id, receipt(lines)));
    assert_eq!(received.received_at, Some(day(2, 8)));
    let line = &received.lines[0];
    let figures = [line.received_grams, line.damaged_grams, line.missing_grams, line.found_grams];
    assert_eq!(figures.map(|grams| grams.unwrap().mg()), [7_000_000, 1_000_000, 2_000_000, 0]);
    assert_eq!((line.sent_grams.mg(), line.reason.as_deref()), (10_000_000, Some("a can leaked")));
    assert_places(
        &house,
        &milk,
        &[
            (KITCHEN, "in_transit", 0.0),
            (SHOP, "available", 7000.0),
            (SHOP, "discarded", 1000.0),
            (SHOP, "count_difference", 2000.0),
        ],
    );
    assert_places(&house, &tub, &[(KITCHEN, "in_transit", 0.0), (SHOP, "available", 5000.0)]);
    assert_eq!(kinds(&house, &milk), ["received", "dispatched", "arrived", "damaged", "missing"]);
    assert_eq!(house.tubtrail.get_transfer(&Request::system(), transfer.id).unwrap(), received);
}

fn more_than_was_sent_arrives(backend: Backend) {
    let house = house(backend);
    let milk = house.receive("dairy", "milk", "M-1", 10_000);
    let line = NewTransferLine { lot: milk.clone(), quantity: Some(grams(4000)) };
    let new = NewTransfer { lines: vec![line], ..parcel(SHOP, &[]) };
    let transfer = done(house.tubtrail.dispatch_transfer(&Request::system(), new));
    let more = receipt(vec![arrived(&milk, Some(4250), None, "")]);
    let without = house.tubtrail.receive_transfer(&Request::system(), transfer.id, more);
    assert_eq!(refused(without), problem("needs-reason", "lines[0].reason"));
    let more = receipt(vec![arrived(&milk, Some(4250), Some(50), "weighed again")]);
    let received = done(house.tubtrail.receive_transfer(&Request::system(), transfer.id, more));
    assert_eq!(received.lines[0].found_grams.unwrap().mg(), 300_000);
    assert_places(
        &house,
        &milk,
        &[
            (KITCHEN, "available", 6000.0),
            (KITCHEN, "in_transit", 0.0),
            (SHOP, "available", 4250.0),
            (SHOP, "discarded", 50.0),
            (SHOP, "count_difference", -300.0),
        ],
    );
}

/// Listed: a tub. Not listed: another tub and 3 kg of milk, of which the book has 2 kg at the kitchen.
fn a_lot_that_was_not_on_the_list_arrives(backend: Backend) {
    let house = house(backend);
    let lots = tubs(&house, &[5000, 4000]);
    let milk = house.receive("dairy", "milk", "M-1", 2000);
    let transfer = send(&house, SHOP, &[&lots[0]]);
    let lines = vec![
        arrived(&lots[0], None, None, ""),
        arrived(&lots[1], None, None, "it was in the box too"),
        arrived(&milk, Some(3000), None, "it was in the box too"),
    ];
    let received = done(house.tubtrail.receive_transfer(&Request::system(), transfer.id, receipt(lines)));
    assert_eq!(received.lines.iter().map(|line| line.listed).collect::<Vec<_>>(), [true, false, false]);
    assert_places(&house, &lots[1], &[(KITCHEN, "available", 0.0), (SHOP, "available", 4000.0)]);
    assert_places(
        &house,
        &milk,
        &[(KITCHEN, "available", 0.0), (SHOP, "available", 3000.0), (SHOP, "count_difference", -1000.0)],
    );
    assert_eq!(kinds(&house, &lots[1]), ["made", "arrived_unlisted"]);
    assert_eq!(kinds(&house, &milk), ["received", "arrived_unlisted", "found"]);
}

fn a_tub_cannot_grow(backend: Backend) {
    let house = house(backend);
    let system = Request::system();
    let lots = tubs(&house, &[5000, 4000, 3000]);
    bring(&house, OTHER_SHOP, &[&lots[2]]);
    let transfer = send(&house, SHOP, &[&lots[0]]);
    let with = |line: NewReceiptLine| {
        let new = NewReceipt { rest: Some(Rest::AsSent), ..receipt(vec![line]) };
        refused(house.tubtrail.receive_transfer(&system, transfer.id, new))
    };
    let more = arrived(&lots[0], Some(5001), None, "heavier");
    assert_eq!(with(more), problem("invalid", "lines[0].received"));
    let part = arrived(&lots[1], Some(3999), None, "in the box too");
    assert_eq!(with(part), problem("invalid", "lines[0].received"), "a tub goes whole");
    let elsewhere = arrived(&lots[2], Some(3000), None, "in the box too");
    assert_eq!(with(elsewhere), problem("lot-elsewhere", "lines[0].lot"), "the book has it at the other shop");
    assert_places(&house, &lots[0], &[(KITCHEN, "in_transit", 5000.0)]);
}

fn a_missing_tub_turns_up(backend: Backend) {
    let house = house(backend);
    let system = Request::system();
    let lots = tubs(&house, &[5000, 4000]);
    let first = send(&house, SHOP, &[&lots[0]]);
    let lost = receipt(vec![arrived(&lots[0], Some(0), None, "not in the van")]);
    done(house.tubtrail.receive_transfer(&system, first.id, lost));
    assert_places(&house, &lots[0], &[(SHOP, "count_difference", 5000.0), (KITCHEN, "in_transit", 0.0)]);

    let second = send(&house, OTHER_SHOP, &[&lots[1]]);
    let found = |mass| {
        let line = arrived(&lots[0], Some(mass), None, "it went to the wrong shop");
        let new = NewReceipt { rest: Some(Rest::AsSent), ..receipt(vec![line]) };
        house.tubtrail.receive_transfer(&system, second.id, new)
    };
    assert_eq!(refused(found(5001)), problem("invalid", "lines[0].received"), "no more than was missed");
    done(found(5000));
    assert_places(
        &house,
        &lots[0],
        &[
            (OTHER_SHOP, "available", 5000.0),
            (OTHER_SHOP, "count_difference", -5000.0),
            (SHOP, "count_difference", 5000.0),
        ],
    );
}

fn every_lot_that_was_sent_is_answered_for(backend: Backend) {
    let house = house(backend);
    let lots = tubs(&house, &[5000, 4000, 3000]);
    let transfer = send(&house, SHOP, &[&lots[0], &lots[1], &lots[2]]);
    let one = receipt(vec![arrived(&lots[1], None, None, "")]);
    let error = house.tubtrail.receive_transfer(&Request::system(), transfer.id, one.clone()).unwrap_err();
    assert_eq!((error.problem.word, error.field.as_deref()), ("invalid", Some("lines")));
    assert_eq!(error.lots, [lots[0].clone(), lots[2].clone()], "it names them");
    let rest = NewReceipt { rest: Some(Rest::AsSent), ..one };
    done(house.tubtrail.receive_transfer(&Request::system(), transfer.id, rest));
    for (lot, mass) in lots.iter().zip([5000.0, 4000.0, 3000.0]) {
        assert_places(&house, lot, &[(SHOP, "available", mass), (KITCHEN, "in_transit", 0.0)]);
    }
}

fn the_rest_is_missing(backend: Backend) {
    let house = house(backend);
    let lots = tubs(&house, &[5000, 4000]);
    let transfer = send(&house, SHOP, &[&lots[0], &lots[1]]);
    let new = NewReceipt { rest: Some(Rest::Missing), ..receipt(vec![arrived(&lots[0], None, None, "")]) };
    let without = house.tubtrail.receive_transfer(&Request::system(), transfer.id, new.clone());
    assert_eq!(refused(without), problem("needs-reason", "reason"));
    let new = NewReceipt { reason: Some("the van was broken into".into()), ..new };
    let received = done(house.tubtrail.receive_transfer(&Request::system(), transfer.id, new));
    assert_eq!(received.lines[1].missing_grams.unwrap().mg(), 4_000_000);
    assert_eq!(received.lines[1].reason.as_deref(), Some("the van was broken into"));
    assert_eq!(received.lines[0].reason, None);
    assert_places(&house, &lots[1], &[(SHOP, "count_difference", 4000.0), (SHOP, "available", 0.0)]);
}

fn what_is_held_on_the_way_arrives_and_stays_held(backend: Backend) {
    let house = house(backend);
    let system = Request::system();
    let lot = tub(&house, 5000);
    let transfer = send(&house, SHOP, &[&lot]);
    let because = Because { reason: Some("recalled".into()) };
    done(house.tubtrail.hold_lot(&system, &lot, because));
    done(house.tubtrail.receive_transfer(&system, transfer.id, all_as_sent()));
    assert_places(&house, &lot, &[(SHOP, "available", 5000.0)]);
    let opened = house.tubtrail.open_tub(&system, &lot, tubtrail_operations::tubs::Opening::default());
    assert_eq!(refused(opened), problem("lot-on-hold", ""));
}

fn a_transfer_arrives_once(backend: Backend) {
    let house = house(backend);
    let lot = tub(&house, 5000);
    let transfer = send(&house, SHOP, &[&lot]);
    done(house.tubtrail.receive_transfer(&Request::system(), transfer.id, all_as_sent()));
    let again = house.tubtrail.receive_transfer(&Request::system(), transfer.id, all_as_sent());
    assert_eq!(refused(again), problem("already-received", ""));
    assert_places(&house, &lot, &[(SHOP, "available", 5000.0), (KITCHEN, "in_transit", 0.0)]);
}

fn two_receipts_at_once_are_one(backend: Backend) {
    let house = house(backend);
    let lot = tub(&house, 5000);
    let transfer = send(&house, SHOP, &[&lot]);
    let outcomes: Vec<_> = std::thread::scope(|scope| {
        let receive = || house.tubtrail.receive_transfer(&Request::system(), transfer.id, all_as_sent());
        let hands: Vec<_> = (0..2).map(|_| scope.spawn(receive)).collect();
        hands.into_iter().map(|hand| hand.join().unwrap()).collect()
    });
    let (received, refusals): (Vec<_>, Vec<_>) = outcomes.into_iter().partition(Result::is_ok);
    assert_eq!((received.len(), refusals.len()), (1, 1));
    for refusal in refusals {
        assert_eq!(refused(refusal), problem("already-received", ""));
    }
    assert_places(&house, &lot, &[(SHOP, "available", 5000.0)]);
}

/// Two parts of one lot on the way at once, to two shops, are kept apart.
fn a_part_of_a_lot_travels(backend: Backend) {
    let house = house(backend);
    let milk = house.receive("dairy", "milk", "M-1", 10_000);
    let part = |to: &str, mass| {
        let line = NewTransferLine { lot: milk.clone(), quantity: Some(grams(mass)) };
        house.tubtrail.dispatch_transfer(&Request::system(), NewTransfer { lines: vec![line], ..parcel(to, &[]) })
    };
    let first = done(part(SHOP, 3000));
    let second = done(part(OTHER_SHOP, 5000));
    assert_eq!(refused(part(SHOP, 2001)), problem("not-enough", "lines[0].quantity.amount"));
    let short = receipt(vec![arrived(&milk, Some(2900), None, "spilled")]);
    done(house.tubtrail.receive_transfer(&Request::system(), first.id, short));
    assert_places(&house, &milk, &[(KITCHEN, "in_transit", 5000.0), (SHOP, "available", 2900.0)]);
    done(house.tubtrail.receive_transfer(&Request::system(), second.id, all_as_sent()));
    assert_places(
        &house,
        &milk,
        &[
            (KITCHEN, "available", 2000.0),
            (KITCHEN, "in_transit", 0.0),
            (SHOP, "count_difference", 100.0),
            (OTHER_SHOP, "available", 5000.0),
        ],
    );
}

fn each_end_has_its_roles(backend: Backend) {
    let house = house(backend);
    let lot = tub(&house, 5000);
    let dispatch = |request: &Request| house.tubtrail.dispatch_transfer(request, parcel(SHOP, &[&lot]));
    assert_eq!(refused(dispatch(&someone(&house, Role::Shop, SHOP))), problem("not-found", "from"));
    assert_eq!(refused(dispatch(&someone(&house, Role::Inspector, KITCHEN))), problem("forbidden", ""));
    assert_eq!(refused(dispatch(&someone(&house, Role::Device, KITCHEN))), problem("forbidden", ""));
    let transfer = done(dispatch(&someone(&house, Role::Kitchen, KITCHEN)));

    let receive = |request: &Request| house.tubtrail.receive_transfer(request, transfer.id, all_as_sent());
    assert_eq!(refused(receive(&someone(&house, Role::Shop, OTHER_SHOP))), problem("not-found", ""));
    assert_eq!(refused(receive(&someone(&house, Role::Kitchen, KITCHEN))), problem("forbidden", ""));
    assert_eq!(refused(receive(&someone(&house, Role::Inspector, SHOP))), problem("forbidden", ""));
    done(receive(&someone(&house, Role::Shop, SHOP)));

    // A lot that never was within their reach is unknown to them, whoever they are elsewhere.
    let other = tub(&house, 100);
    let new = NewTransfer { from: SHOP.into(), to: OTHER_SHOP.into(), ..parcel("", &[&other]) };
    let sent = house.tubtrail.dispatch_transfer(&someone(&house, Role::Shop, SHOP), new);
    assert_eq!(refused(sent), problem("unknown-code", "lines[0].lot"));
}

fn lists_show_what_is_in_reach(backend: Backend) {
    let house = house(backend);
    let lots = tubs(&house, &[1000, 2000, 3000]);
    let here = send(&house, SHOP, &[&lots[0]]).id;
    let there = send(&house, OTHER_SHOP, &[&lots[1], &lots[2]]).id;
    done(house.tubtrail.receive_transfer(&Request::system(), here, all_as_sent()));
    let list = |request: &Request, asked: TransfersAsked| -> Vec<i64> {
        house.tubtrail.list_transfers(request, &asked).unwrap().items.iter().map(|transfer| transfer.id).collect()
    };
    let all = Request::system();
    let (kitchen, shop) = (someone(&house, Role::Kitchen, KITCHEN), someone(&house, Role::Shop, SHOP));
    assert_eq!(list(&all, asked()), [here, there]);
    assert_eq!(list(&kitchen, asked()), [here, there]);
    assert_eq!(list(&shop, asked()), [here]);
    assert_eq!(list(&all, TransfersAsked { on_the_way: true, ..asked() }), [there]);
    let at = |site: &str, direction| TransfersAsked { site: Some(site.into()), direction, ..asked() };
    assert_eq!(list(&all, at(KITCHEN, Some(Direction::Outgoing))), [here, there]);
    assert!(list(&all, at(KITCHEN, Some(Direction::Incoming))).is_empty());
    assert_eq!(list(&all, at(OTHER_SHOP, Some(Direction::Incoming))), [there]);
    assert_eq!(list(&kitchen, at(KITCHEN, None)), [here, there]);

    let first = house.tubtrail.list_transfers(&all, &TransfersAsked { limit: 1, ..asked() }).unwrap();
    assert_eq!((first.items.len(), first.items[0].lots, first.items[0].sent_grams.mg()), (1, 1, 1_000_000));
    let second = TransfersAsked { limit: 1, after: first.next.unwrap(), ..asked() };
    let second = house.tubtrail.list_transfers(&all, &second).unwrap();
    assert_eq!((second.items[0].id, second.items[0].lots, second.next), (there, 2, None));
    assert_eq!((second.items[0].sent_grams.mg(), second.items[0].received_at), (5_000_000, None));

    assert_eq!(refused(house.tubtrail.get_transfer(&shop, there)), problem("not-found", ""));
    assert_eq!(house.tubtrail.get_transfer(&shop, here).unwrap().id, here);
    let narrowed = house.tubtrail.list_transfers(&shop, &at(OTHER_SHOP, None));
    assert_eq!(refused(narrowed), problem("not-found", "site"));
    let nowhere = TransfersAsked { direction: Some(Direction::Incoming), ..asked() };
    assert_eq!(refused(house.tubtrail.list_transfers(&all, &nowhere)), problem("invalid", "site"));
    let device = someone(&house, Role::Device, SHOP);
    assert_eq!(refused(house.tubtrail.list_transfers(&device, &asked())), problem("forbidden", ""));
}

fn bad_transfers_name_their_field(backend: Backend) {
    let house = house(backend);
    house.clock.set(day(3, 6));
    let lots = make(&house, vec![output(OutputKind::Tub, 5000), output(OutputKind::Tub, 4000)]);
    let (tub, away) = (lots[0].as_str(), lots[1].as_str());
    bring(&house, OTHER_SHOP, &[away]);
    let line = |quantity: &str, unit: &str| NewTransferLine {
        lot: tub.into(),
        quantity: Some(QuantityEntered { amount: Amount(quantity.into()), unit: unit.into() }),
    };
    let of = |line: NewTransferLine| NewTransfer { lines: vec![line], ..parcel(SHOP, &[]) };
    let good = || parcel(SHOP, &[tub]);
    let bad = [
        (NewTransfer { from: "nowhere".into(), ..good() }, "unknown-code", "from"),
        (NewTransfer { to: "nowhere".into(), ..good() }, "unknown-code", "to"),
        (parcel(KITCHEN, &[tub]), "invalid", "to"),
        (parcel(SHOP, &[]), "invalid", "lines"),
        (parcel(SHOP, &vec![tub; 201]), "invalid", "lines"),
        (parcel(SHOP, &[tub, tub]), "repeated", "lines[1].lot"),
        (parcel(SHOP, &["261103-0001-x"]), "bad-lot-number", "lines[0].lot"),
        (parcel(SHOP, &[tub, away]), "lot-elsewhere", "lines[1].lot"),
        (of(line("4999", "g")), "invalid", "lines[0].quantity"),
        (of(line("5001", "g")), "not-enough", "lines[0].quantity.amount"),
        (of(line("0", "g")), "bad-quantity", "lines[0].quantity.amount"),
        (of(line("1", "piece")), "bad-quantity", "lines[0].quantity.unit"),
        (NewTransfer { dispatched_at: Some(day(4, 0)), ..good() }, "in-the-future", "dispatched_at"),
        (NewTransfer { dispatched_at: Some(day(3, 5)), ..good() }, "out-of-order", "lines[0].lot"),
        (NewTransfer { note: Some("\0".into()), ..good() }, "invalid", "note"),
    ];
    for (new, word, field) in bad {
        let refusal = refused(house.tubtrail.dispatch_transfer(&Request::system(), new));
        assert_eq!(refusal, problem(word, field));
    }
    assert_places(&house, tub, &[(KITCHEN, "available", 5000.0), (KITCHEN, "in_transit", 0.0)]);
}

fn bad_receipts_name_their_field(backend: Backend) {
    let house = house(backend);
    let lot = tub(&house, 5000);
    let milk = house.receive("dairy", "milk", "M-1", 1000);
    let opened = open_at(&house, OTHER_SHOP, 700);
    house.clock.set(day(3, 6));
    let transfer = send(&house, SHOP, &[&lot]);
    house.clock.set(day(3, 9));
    let one = |line: NewReceiptLine| NewReceipt { rest: Some(Rest::AsSent), ..receipt(vec![line]) };
    let whole = || arrived(&lot, None, None, "");
    let gone = house.receive("dairy", "milk", "M-2", 1000);
    let because = || Because { reason: Some("sour".into()) };
    done(house.tubtrail.reject_lot(&Request::system(), &gone, because()));
    let bad = [
        (receipt(Vec::new()), "invalid", "lines"),
        (NewReceipt { all_as_sent: true, ..receipt(vec![whole()]) }, "invalid", "all_as_sent"),
        (NewReceipt { rest: Some(Rest::Missing), ..all_as_sent() }, "invalid", "all_as_sent"),
        (NewReceipt { received_at: Some(day(3, 5)), ..all_as_sent() }, "out-of-order", "received_at"),
        (NewReceipt { received_at: Some(day(3, 10)), ..all_as_sent() }, "in-the-future", "received_at"),
        (receipt(vec![whole(), whole()]), "repeated", "lines[1].lot"),
        (one(arrived("261102-0001", None, None, "")), "bad-lot-number", "lines[0].lot"),
        (one(arrived(&lot, Some(4000), None, "")), "needs-reason", "lines[0].reason"),
        (one(arrived(&lot, None, Some(1), "")), "needs-reason", "lines[0].reason"),
        (one(arrived(&lot, Some(0), Some(5001), "crushed")), "invalid", "lines[0].received"),
        (one(arrived(&milk, None, None, "")), "needs-reason", "lines[0].reason"),
        (one(arrived(&milk, Some(0), None, "x")), "invalid", "lines[0].received"),
        (one(arrived(&gone, None, None, "x")), "invalid", "lines[0].received"),
        (one(arrived(&opened, Some(700), None, "x")), "lot-elsewhere", "lines[0].lot"),
        (
            one(NewReceiptLine {
                received: Some(QuantityEntered { amount: Amount("0".into()), unit: "box".into() }),
                ..whole()
            }),
            "bad-quantity",
            "lines[0].received.unit",
        ),
    ];
    for (new, word, field) in bad {
        let said = format!("{new:?}");
        let refusal = refused(house.tubtrail.receive_transfer(&Request::system(), transfer.id, new));
        assert_eq!(refusal, problem(word, field), "{said}");
    }
    let unknown = house.tubtrail.receive_transfer(&Request::system(), 1, all_as_sent());
    assert_eq!(refused(unknown), problem("not-found", ""));
    assert_places(&house, &lot, &[(KITCHEN, "in_transit", 5000.0)]);
}
