//! What a recall begins with, and how what comes later joins it.

use chrono::NaiveDate;
use tubtrail_operations::Request;
use tubtrail_operations::batch_equipment::{NewEquipmentRun, NewEquipmentRuns};
use tubtrail_operations::completions::OutputKind;
use tubtrail_operations::discards::Standpoint;
use tubtrail_operations::items::ItemKind;
use tubtrail_operations::recalls::{NewRecall, SeedAsked};
use tubtrail_operations::tubs::Opening;
use tubtrail_operations::uses::NewUse;
use tubtrail_operations::voids::UseVoid;
use tubtrail_tests::batches::{because, of};
use tubtrail_tests::house::{OTHER_SHOP, SHOP, day};
use tubtrail_tests::{Backend, TestHouse, on_both};

use crate::recalled::{assert_adds_up, begin, case, codes, lots, reached, recall, serve, word};
use crate::shelf::{bring, done, house, open_at, output, problem, refused, tub};

on_both!(
    a_supplier_lot_is_found_by_code_prefix_range_and_day,
    what_ran_on_equipment_within_a_time_is_found,
    what_lay_at_a_place_within_a_time_is_found,
    a_seed_that_fits_nothing_is_refused,
    seeds_are_checked,
    a_late_delivery_of_the_code_joins,
    a_late_use_joins_and_a_voided_one_leaves,
    what_comes_out_of_an_open_batch_joins,
    a_late_run_and_a_late_movement_join,
    contacts_are_followed_where_that_is_asked,
);

fn date(day: u32) -> NaiveDate {
    NaiveDate::from_ymd_opt(2026, 11, day).expect("a day of November")
}

/// The lots that a recall begun with this begins with.
#[track_caller]
fn found(house: &TestHouse, seed: SeedAsked) -> Vec<String> {
    let begun = begin(house, vec![seed]);
    let all = reached(house, begun.recall.recall);
    assert_eq!((begun.seed_lots, begun.reached_lots), (all.len(), all.len()), "nothing was made of them");
    all
}

/// Codes 24-9, 24-118, 24-120 and 25-1 on three days; the same code from another supplier, and of another item.
fn a_supplier_lot_is_found_by_code_prefix_range_and_day(backend: Backend) {
    let house = house(backend);
    let paste = |code: &str| house.receive("nut-mill", "hazelnut-paste", code, 100);
    let (nine, last) = (paste("24-9"), paste("24-118"));
    house.clock.set(day(3, 6));
    let beyond = paste("24-120");
    let pistachio = house.receive("nut-mill", "pistachio-paste", "24-118", 100);
    house.clock.set(day(4, 6));
    let next = paste("25-1");
    let dairy = house.receive("dairy", "milk", "24-118", 100);

    assert_eq!(found(&house, codes(&["24-118"])), [last.clone(), pistachio.clone()]);
    assert_eq!(found(&house, codes(&["24-0118"])), [last.clone(), pistachio.clone()], "a number is a number");
    assert_eq!(found(&house, codes(&["24-9", "25-1"])), [nine.clone(), next.clone()]);
    let supplier = || "nut-mill".to_owned();
    let item = || Some("hazelnut-paste".to_owned());
    let of_item = SeedAsked::SupplierLots { supplier: supplier(), item: item(), codes: vec!["24-118".into()] };
    assert_eq!(found(&house, of_item), std::slice::from_ref(&last));
    let prefix =
        |prefix: &str| SeedAsked::SupplierLotPrefix { supplier: supplier(), item: item(), prefix: prefix.into() };
    assert_eq!(found(&house, prefix("24-1")), [last.clone(), beyond.clone()]);
    let range = |from: &str, until: &str| SeedAsked::SupplierLotRange {
        supplier: supplier(),
        item: item(),
        from: from.into(),
        until: until.into(),
    };
    assert_eq!(found(&house, range("24-9", "24-118")), [nine.clone(), last.clone()], "nine comes before a hundred");
    let days = |from, until| SeedAsked::SupplierDays {
        supplier: supplier(),
        item: None,
        from: date(from),
        until: date(until),
    };
    assert_eq!(found(&house, days(3, 4)), [beyond, pistachio, next]);
    let of_dairy = SeedAsked::SupplierDays { supplier: "dairy".into(), item: None, from: date(1), until: date(30) };
    assert_eq!(found(&house, of_dairy), std::slice::from_ref(&dairy));
    assert_eq!(found(&house, lots(&[&dairy, &nine])), [nine, dairy]);
}

fn run(equipment: &str, from: u32, until: u32) -> NewEquipmentRun {
    NewEquipmentRun { equipment: equipment.into(), from: day(2, from), until: Some(day(2, until)) }
}

/// A batch of one tub on equipment, from hour to hour of the 2nd.
pub fn ran(house: &TestHouse, equipment: &str, from: u32, until: u32) -> String {
    let paste = house.receive("nut-mill", "hazelnut-paste", &format!("P-{equipment}-{from}"), 1000);
    let batch = house.start("gianduja");
    house.add(batch, vec![of(&paste, 1000)]).expect("it is used");
    let new = NewEquipmentRuns { equipment: vec![run(equipment, from, until)] };
    done(house.tubtrail.add_batch_equipment(&Request::system(), batch, new));
    house.complete(batch, vec![output(OutputKind::Tub, 1000)]).expect("it is done").outputs[0].lot.clone()
}

/// A swab of the batch freezer was positive: what ran on it from 9 to 11 is recalled. Runs from 7 to 9, 9 to 10 and 11 to 12
/// touch that, one from 7 to 8 does not, nor one on another machine.
fn what_ran_on_equipment_within_a_time_is_found(backend: Backend) {
    let house = house(backend);
    house.clock.set(day(2, 20));
    house.equipment("freezer", &[ItemKind::Flavour]);
    house.equipment("other", &[ItemKind::Flavour]);
    let _before = ran(&house, "freezer", 7, 8);
    let touching = [ran(&house, "freezer", 7, 9), ran(&house, "freezer", 9, 10), ran(&house, "freezer", 11, 12)];
    let _elsewhere = ran(&house, "other", 9, 10);
    let swab = SeedAsked::Equipment { equipment: "freezer".into(), from: day(2, 9), until: Some(day(2, 11)) };
    assert_eq!(found(&house, swab), touching);
}

/// The shop's cooler failed from 12 to 14 o'clock. One tub was there all day, one came at 13, one left at 13, one left at 11
/// and one came at 15; one stood open in the case.
fn what_lay_at_a_place_within_a_time_is_found(backend: Backend) {
    let house = house(backend);
    let lots: Vec<String> = (0..5).map(|_| tub(&house, 1000)).collect();
    let onward = |lot: &str| {
        let parcel = tubtrail_operations::transfers::NewTransfer {
            from: SHOP.into(),
            ..crate::shelf::parcel(OTHER_SHOP, &[lot])
        };
        let sent = done(house.tubtrail.dispatch_transfer(&Request::system(), parcel));
        done(house.tubtrail.receive_transfer(&Request::system(), sent.id, crate::shelf::all_as_sent()));
    };
    house.clock.set(day(2, 8));
    bring(&house, SHOP, &[&lots[0], &lots[2], &lots[3]]);
    let open = open_at(&house, SHOP, 1000);
    house.clock.set(day(2, 11));
    onward(&lots[3]);
    house.clock.set(day(2, 13));
    bring(&house, SHOP, &[&lots[1]]);
    onward(&lots[2]);
    house.clock.set(day(2, 15));
    bring(&house, SHOP, &[&lots[4]]);
    let cooler = |state| SeedAsked::Place { site: SHOP.into(), state, from: day(2, 12), until: Some(day(2, 14)) };
    let mut there = vec![lots[0].clone(), lots[1].clone(), lots[2].clone(), open.clone()];
    there.sort();
    let mut all = found(&house, cooler(None));
    all.sort();
    assert_eq!(all, there);
    assert_eq!(found(&house, cooler(Some(Standpoint::Open))), [open]);
}

fn a_seed_that_fits_nothing_is_refused(backend: Backend) {
    let house = house(backend);
    let lot = tub(&house, 1000);
    let begin = |seeds| house.tubtrail.begin_recall(&Request::system(), recall(seeds));
    let nothing = |field: &str| problem("nothing-fits", field);
    assert_eq!(refused(begin(vec![lots(&[&lot]), codes(&["none"])])), nothing("seeds[1].codes[0]"));
    let range = SeedAsked::SupplierLotRange {
        supplier: "nut-mill".into(),
        item: None,
        from: "X-1".into(),
        until: "X-9".into(),
    };
    assert_eq!(refused(begin(vec![range])), nothing("seeds[0]"));
    let place = SeedAsked::Place { site: SHOP.into(), state: None, from: day(2, 1), until: None };
    assert_eq!(refused(begin(vec![place])), nothing("seeds[0]"));
    done(house.tubtrail.open_tub(&Request::system(), &lot, Opening::default()));
    let none = house.tubtrail.list_recalls(
        &Request::system(),
        &tubtrail_operations::recalls::RecallsAsked { kind: None, open: None, after: String::new(), limit: 10 },
    );
    assert!(none.expect("they are listed").items.is_empty(), "nothing was begun");
}

fn seeds_are_checked(backend: Backend) {
    let house = house(backend);
    let lot = tub(&house, 1000);
    let begin = |seeds| refused(house.tubtrail.begin_recall(&Request::system(), recall(seeds)));
    assert_eq!(begin(vec![]), problem("invalid", "seeds"));
    assert_eq!(begin(vec![lots(&[])]), problem("invalid", "seeds[0].lots"));
    assert_eq!(begin(vec![lots(&[&lot, "261102-0001"])]), problem("bad-lot-number", "seeds[0].lots[1]"));
    let nobody = SeedAsked::SupplierLots { supplier: "nobody".into(), item: None, codes: vec!["1".into()] };
    assert_eq!(begin(vec![nobody]), problem("unknown-code", "seeds[0].supplier"));
    let range = |from: &str, until: &str| SeedAsked::SupplierLotRange {
        supplier: "nut-mill".into(),
        item: None,
        from: from.into(),
        until: until.into(),
    };
    assert_eq!(begin(vec![range("24-9", "24-1")]), problem("invalid", "seeds[0].until"));
    assert_eq!(begin(vec![range(" ", "24-1")]), problem("invalid", "seeds[0].from"));
    let days = SeedAsked::SupplierDays { supplier: "dairy".into(), item: None, from: date(3), until: date(2) };
    assert_eq!(begin(vec![days]), problem("invalid", "seeds[0].until"));
    let swab = |equipment: &str, until| SeedAsked::Equipment { equipment: equipment.into(), from: day(2, 9), until };
    assert_eq!(begin(vec![swab("none", None)]), problem("unknown-code", "seeds[0].equipment"));
    house.equipment("freezer", &[ItemKind::Flavour]);
    assert_eq!(begin(vec![swab("freezer", Some(day(2, 8)))]), problem("invalid", "seeds[0].until"));
    let other = |change: fn(NewRecall) -> NewRecall| {
        refused(house.tubtrail.begin_recall(&Request::system(), change(recall(vec![lots(&[&lot])]))))
    };
    assert_eq!(other(|new| NewRecall { class: 4, ..new }), problem("invalid", "class"));
    assert_eq!(other(|new| NewRecall { hazard: " ".into(), ..new }), problem("invalid", "hazard"));
    assert_eq!(other(|new| NewRecall { noticed_at: Some(day(9, 0)), ..new }), problem("in-the-future", "noticed_at"));
    assert_eq!(other(|new| NewRecall { due_at: Some(day(1, 0)), ..new }), problem("invalid", "due_at"));
}

/// More of the recalled code comes the day after: it is held as it arrives.
fn a_late_delivery_of_the_code_joins(backend: Backend) {
    let house = house(backend);
    let first = house.receive("nut-mill", "hazelnut-paste", "24-118", 1000);
    let id = begin(&house, vec![codes(&["24-118"])]).recall.recall;
    house.clock.set(day(3, 6));
    let second = house.receive("nut-mill", "hazelnut-paste", "24-118", 500);
    let other = house.receive("nut-mill", "hazelnut-paste", "24-119", 500);
    assert_eq!(reached(&house, id), [first, second.clone()]);
    let batch = house.start("gianduja");
    assert_eq!(house.add(batch, vec![of(&second, 100)]).unwrap_err().problem.word, "lot-recalled");
    house.add(batch, vec![of(&other, 100)]).expect("it is another lot");
    let case = case(&house, id);
    assert_eq!(case.sums.mass.received_grams.mg(), 1_500_000);
    assert_adds_up(&case);
}

/// That the paste went into this morning's batch becomes known after the recall: with its time and a reason it is written
/// down, and the tub, open at the shop, is held at once. When it turns out that it was another sack, the tub is free.
fn a_late_use_joins_and_a_voided_one_leaves(backend: Backend) {
    let house = house(backend);
    let paste = house.receive("nut-mill", "hazelnut-paste", "24-118", 1000);
    let good = house.receive("nut-mill", "hazelnut-paste", "24-119", 10_000);
    let made = house.make("gianduja", vec![of(&good, 5000)], vec![output(OutputKind::Tub, 5000)]);
    let tub = made.outputs[0].lot.clone();
    bring(&house, SHOP, &[&tub]);
    done(house.tubtrail.open_tub(&Request::system(), &tub, Opening::default()));
    house.clock.set(day(2, 9));
    let id = begin(&house, vec![codes(&["24-118"])]).recall.recall;
    house.clock.set(day(2, 10));
    done(serve(&house, &tub, 100));

    let late = |used_at| NewUse { used_at, ..because("found on the sheet", of(&paste, 500)) };
    let now = house.add(made.id, vec![late(Some(day(2, 10)))]).unwrap_err();
    assert_eq!(now.problem.word, "lot-recalled", "at ten it was recalled: {now}");
    let without = NewUse { used_at: Some(day(2, 6)), ..of(&paste, 500) };
    assert_eq!(house.add(made.id, vec![without]).unwrap_err().problem.word, "needs-reason");
    let added = house.add(made.id, vec![late(Some(day(2, 6)))]).expect("it happened before the recall");
    assert_eq!(reached(&house, id), [paste.clone(), tub.clone()]);
    assert_eq!(word(serve(&house, &tub, 100)), "lot-recalled");
    assert_adds_up(&case(&house, id));

    let void = UseVoid { reason: "it was another sack".into() };
    done(house.tubtrail.void_use(&Request::system(), added.uses[0].id, void));
    assert_eq!(reached(&house, id), [paste]);
    done(serve(&house, &tub, 100));
    assert_adds_up(&case(&house, id));
}

/// 1 kg of paste is in a batch that still runs: it is in no lot, and its tub is held as it comes out.
fn what_comes_out_of_an_open_batch_joins(backend: Backend) {
    let house = house(backend);
    let paste = house.receive("nut-mill", "hazelnut-paste", "24-118", 1000);
    let batch = house.start("gianduja");
    house.add(batch, vec![of(&paste, 1000)]).expect("it is used");
    let id = begin(&house, vec![codes(&["24-118"])]).recall.recall;
    let open = case(&house, id);
    assert_eq!((open.sums.mass.in_open_batches_grams.mg(), open.sums.reached_lots), (1_000_000, 1));
    assert_adds_up(&open);
    let completed = house.complete(batch, vec![output(OutputKind::Tub, 900)]).expect("it is done");
    let tub = completed.outputs[0].lot.clone();
    assert_eq!(reached(&house, id), [paste, tub.clone()]);
    assert_eq!(word(house.tubtrail.open_tub(&Request::system(), &tub, Opening::default())), "lot-recalled");
    let closed = case(&house, id);
    assert_eq!((closed.sums.mass.available_grams.mg(), closed.sums.mass.lost_grams.mg()), (900_000, 100_000));
    assert_adds_up(&closed);
}

/// A run and an opening that are written down late are at once part of the recall of that machine and of that place.
fn a_late_run_and_a_late_movement_join(backend: Backend) {
    let house = house(backend);
    house.clock.set(day(2, 20));
    house.equipment("freezer", &[ItemKind::Flavour]);
    let first = ran(&house, "freezer", 9, 10);
    let swab = SeedAsked::Equipment { equipment: "freezer".into(), from: day(2, 9), until: Some(day(2, 11)) };
    let swabbed = begin(&house, vec![swab]).recall.recall;
    let second = ran(&house, "freezer", 10, 11);
    assert_eq!(reached(&house, swabbed), [first, second]);

    let (there, late) = (tub(&house, 1000), tub(&house, 1000));
    bring(&house, SHOP, &[&there]);
    let place = SeedAsked::Place { site: SHOP.into(), state: None, from: day(2, 19), until: None };
    let failed = begin(&house, vec![place]).recall.recall;
    assert_eq!(reached(&house, failed), std::slice::from_ref(&there));
    bring(&house, SHOP, &[&late]);
    assert_eq!(reached(&house, failed), [there, late.clone()]);
    assert_eq!(word(house.tubtrail.open_tub(&Request::system(), &late, Opening::default())), "lot-recalled");
    let elsewhere = tub(&house, 1000);
    bring(&house, OTHER_SHOP, &[&elsewhere]);
    done(house.tubtrail.open_tub(&Request::system(), &elsewhere, Opening::default()));
}

/// Recalled paste ran from minute 0 to 10, a good one from 20 to 30, another after an allergen clean from 40 to 50: the
/// second tub is reached by contact, the third is not. A clean at 15 that is written down late lets the second go; a run at 12
/// that is written down late joins.
fn contacts_are_followed_where_that_is_asked(backend: Backend) {
    let house = house(backend);
    house.clock.set(day(2, 20));
    house.equipment("freezer", &[ItemKind::Flavour]);
    crate::nuts::kind(&house, "allergen-clean", &["everything"]);
    let recalled = house.receive("nut-mill", "hazelnut-paste", "24-118", 1000);
    let good = house.receive("nut-mill", "hazelnut-paste", "24-119", 10_000);
    let make = |lot: &str, run: Option<(i64, i64)>| {
        let batch = house.start("gianduja");
        house.add(batch, vec![of(lot, 1000)]).expect("it is used");
        if let Some((from, until)) = run {
            crate::nuts::add_run(&house, batch, "freezer", from, until);
        }
        let made = house.complete(batch, vec![output(OutputKind::Tub, 1000)]).expect("it is done");
        (batch, made.outputs[0].lot.clone())
    };
    let (_, first) = make(&recalled, Some((0, 10)));
    let (_, second) = make(&good, Some((20, 30)));
    crate::nuts::clean(&house, "freezer", "allergen-clean", 35);
    let (_, _third) = make(&good, Some((40, 50)));
    let (late, fourth) = make(&good, None);

    let alone = begin(&house, vec![codes(&["24-118"])]).recall.recall;
    let new = NewRecall { with_contact: true, ..recall(vec![codes(&["24-118"])]) };
    let id = done(house.tubtrail.begin_recall(&Request::system(), new)).recall.recall;
    assert_eq!(reached(&house, alone), [recalled.clone(), first.clone()]);
    assert_eq!(reached(&house, id), [recalled.clone(), first.clone(), second.clone()]);
    let by_contact = case(&house, id);
    assert_eq!((by_contact.sums.reached_lots, by_contact.sums.by_contact_lots), (3, 1));
    assert_adds_up(&by_contact);
    let line = crate::recalled::lines(&house, id).into_iter().find(|line| line.lot == second).expect("a line");
    assert!(line.by_contact && line.places.iter().all(|place| place.seed_grams.is_none()), "{line:?}");
    assert_eq!(word(house.tubtrail.open_tub(&Request::system(), &second, Opening::default())), "lot-recalled");

    crate::nuts::clean(&house, "freezer", "allergen-clean", 15);
    assert_eq!(reached(&house, id), [recalled.clone(), first.clone()]);
    done(house.tubtrail.open_tub(&Request::system(), &second, Opening::default()));
    crate::nuts::add_run(&house, late, "freezer", 11, 14);
    assert_eq!(reached(&house, id), [recalled, first, fourth]);
    assert_eq!(house.tubtrail.verify().expect("it can be verified").wrong, None);
}
