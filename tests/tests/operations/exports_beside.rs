//! What a usual week does not have, and how records for others tell it: what did not arrive, a batch that never was, many events at
//! one moment, numbers of articles.

use chrono::TimeDelta;
use tubtrail_operations::exports::{EventKind, EventsAsked};
use tubtrail_operations::receipts::{NewReceipt, NewReceiptLine, Rest};
use tubtrail_operations::transfers::{NewTransfer, NewTransferLine};
use tubtrail_operations::voids::UseVoid;
use tubtrail_operations::{Grams, Request};
use tubtrail_tests::batches::of;
use tubtrail_tests::house::{KITCHEN, SHOP, day, grams};
use tubtrail_tests::{Backend, TestHouse, on_both};

use crate::exports::{all, amounts, kinds, of_lot, told};

on_both!(
    what_did_not_arrive_is_told_and_was_not_taken_out,
    a_batch_of_which_nothing_is_left_did_not_occur,
    more_than_a_page_is_told_once_each,
    an_article_is_named_where_one_alone_fits,
);

/// 1000 g of milk, 1000 of sugar and 1000 of paste go to the harbour. Of the milk 600 arrive whole and 300 spilt, of the sugar
/// nothing; of the paste 1200; and a carton of milk that was not on the list, 500.
fn what_did_not_arrive_is_told_and_was_not_taken_out(backend: Backend) {
    use EventKind::{Arrived, Destroyed, Dispatched, Missed, Packed, Unpacked};
    let house = TestHouse::new(backend);
    let owner = Request::system();
    let [milk, sugar, paste] = ["milk", "sugar", "pistachio-paste"].map(|item| house.receive("dairy", item, "1", 1000));
    let more = house.receive("dairy", "milk", "2", 500);
    house.clock.set(day(4, 9));
    let lines = [&milk, &sugar, &paste].map(|lot| NewTransferLine { lot: lot.clone(), quantity: None }).to_vec();
    let new = NewTransfer { from: KITCHEN.into(), to: SHOP.into(), lines, dispatched_at: None, note: None };
    let sent = house.tubtrail.dispatch_transfer(&owner, new).expect("sent").answer;
    house.clock.set(day(4, 10));
    let came = |lot: &str, whole: u32, damaged: u32, why: &str| NewReceiptLine {
        lot: lot.to_owned(),
        received: Some(grams(whole)),
        damaged: Some(grams(damaged)).filter(|_| damaged > 0),
        reason: Some(why.to_owned()),
    };
    let lines = vec![
        came(&milk, 600, 300, "a carton burst"),
        came(&paste, 1200, 0, "weighed again"),
        came(&more, 500, 0, "not on the list"),
    ];
    let rest = Some(Rest::Missing);
    let reason = Some("left on the quay".to_owned());
    let receipt = NewReceipt { received_at: None, lines, rest, all_as_sent: false, reason, note: None };
    house.tubtrail.receive_transfer(&owner, sent.id, receipt).expect("received");

    let events = all(&house).split_off(4);
    let all_sent = vec![("milk", 1000), ("sugar", 1000), ("pistachio-paste", 1000)];
    let due = [
        (Packed, all_sent.clone()),
        (Dispatched, all_sent),
        (Arrived, vec![("milk", 600), ("pistachio-paste", 1200), ("milk", 500)]),
        // Spilt milk was in it too; what nobody put in was not.
        (Unpacked, vec![("milk", 900), ("pistachio-paste", 1000)]),
        (Missed, vec![("milk", 100), ("sugar", 1000)]),
        (Destroyed, vec![("milk", 300)]),
    ];
    assert_eq!(events.iter().map(|event| (event.kind, amounts(&event.goods))).collect::<Vec<_>>(), due);
    assert_eq!(events[4].site.code, SHOP);
    assert_eq!(events[4].reason.as_deref(), Some("a carton burst"), "the first that is said");
    // Nothing came of the sugar, but that it is missing is told of it, and not of the paste.
    let of = |lot: &str| kinds(&told(&house, &owner, &of_lot(lot)).unwrap_or_else(|error| panic!("{error}"))[1..]);
    assert!(of(&sugar).contains(&Missed));
    let narrowed = EventsAsked { items: vec!["pistachio-paste".into()], ..EventsAsked::default() };
    let of_paste = told(&house, &owner, &narrowed).expect("told");
    assert_eq!(kinds(&of_paste)[1..], [Packed, Dispatched, Arrived, Unpacked]);
    assert_eq!(amounts(&of_paste[4].goods), [("pistachio-paste", 1000)]);
}

fn a_batch_of_which_nothing_is_left_did_not_occur(backend: Backend) {
    let house = TestHouse::new(backend);
    house.recipe("white", "white-base", &[("milk", 1000)], 1000);
    let milk = house.receive("dairy", "milk", "M-1", 1000);
    let batch = house.start("white");
    let used = house.add(batch, vec![of(&milk, 1000)]).expect("added").uses[0].id;
    let nothing = tubtrail_operations::completions::NewCompletion {
        completed_at: None,
        outputs: vec![],
        note: Some("it was a mistake".into()),
    };
    house.tubtrail.complete_batch(&Request::system(), batch, nothing).expect("completed");
    let lost = all(&house);
    assert_eq!((amounts(&lost[1].goods), lost[1].withdrawn.is_none()), (vec![("milk", 1000)], true));
    let void = UseVoid { reason: "never begun".into() };
    house.tubtrail.void_use(&Request::system(), used, void).expect("voided");
    let events = all(&house);
    assert_eq!(kinds(&events), [EventKind::Received, EventKind::Transformed]);
    let withdrawn = events[1].withdrawn.as_ref().expect("it did not happen");
    assert_eq!((withdrawn.instead.as_ref(), withdrawn.reason.as_deref()), (None, Some("never begun")));
    assert_eq!(events[1].id, lost[1].id);
}

/// 620 deliveries, half of them at the very same moment: more than the keys that are held at a time.
fn more_than_a_page_is_told_once_each(backend: Backend) {
    let house = TestHouse::new(backend);
    for number in 0..620 {
        if number >= 310 {
            house.clock.set(day(2, 6) + TimeDelta::minutes(number));
        }
        house.receive("dairy", "milk", &format!("M-{number}"), 100);
    }
    let codes: Vec<String> =
        all(&house).iter().map(|event| event.goods[0].supplier_lot_code.clone().expect("a code")).collect();
    let due: Vec<String> = (0..620).map(|number| format!("M-{number}")).collect();
    assert_eq!(codes, due);
}

/// GTINs with GS1's prefix for demonstrations.
fn an_article_is_named_where_one_alone_fits(backend: Backend) {
    use tubtrail_operations::gtins::NewItemGtin;
    let house = TestHouse::new(backend);
    let give = |gtin: &str, supplier: Option<&str>, grams: Option<i64>| {
        let grams_per_unit = grams.map(|grams| Grams::from_mg(grams * 1000));
        let supplier = supplier.map(str::to_owned);
        let new = NewItemGtin { gtin: gtin.into(), supplier, grams_per_unit, since: None, reason: None };
        house.tubtrail.add_item_gtin(&Request::system(), "milk", new).expect("given");
    };
    let gtin = |code: &str| {
        let events = all(&house);
        let mut goods = events.iter().flat_map(|event| &event.goods);
        goods.rfind(|goods| goods.supplier_lot_code.as_deref() == Some(code)).expect("told").gtin.clone()
    };
    house.receive("dairy", "milk", "M-0", 100);
    house.clock.set(day(3, 6));
    give("9520123456788", Some("dairy"), Some(10_000));
    house.receive("dairy", "milk", "M-1", 100);
    house.receive("nut-mill", "milk", "M-2", 100);
    assert_eq!(gtin("M-0"), None, "it had no number then");
    assert_eq!(gtin("M-1").as_deref(), Some("09520123456788"));
    assert_eq!(gtin("M-2"), None, "the number is another supplier's");
    house.clock.set(day(4, 6));
    give("9520123456795", Some("dairy"), Some(1000));
    house.receive("dairy", "milk", "M-3", 500);
    house.receive("dairy", "milk", "M-4", 1000);
    assert_eq!(gtin("M-3"), None, "either fits");
    assert_eq!(gtin("M-4").as_deref(), Some("09520123456795"), "a package of just that mass");
    assert_eq!(gtin("M-1").as_deref(), Some("09520123456788"), "as it was then");
}
