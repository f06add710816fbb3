//! What scanners send, and what it is.

use chrono::NaiveDate;
use tubtrail_operations::completions::OutputKind;
use tubtrail_operations::deliveries::{Expiry, ExpiryKind, NewDeliveryLine};
use tubtrail_operations::gtins::NewItemGtin;
use tubtrail_operations::holds::Because;
use tubtrail_operations::items::{CountedBy, Item, ItemKind};
use tubtrail_operations::lots::LotKind;
use tubtrail_operations::quantities::Amount;
use tubtrail_operations::scans::{AlsoScanned, NewScan, Scan, ScannedLine};
use tubtrail_operations::sites::{Site, SiteKind};
use tubtrail_operations::{Grams, OperationError, QuantityEntered, Request, Role};
use tubtrail_tests::batches::{of, out, sheet};
use tubtrail_tests::house::{KITCHEN, OTHER_SHOP, SHOP, item, site};
use tubtrail_tests::{Backend, TestHouse, on_both};

on_both!(
    a_suppliers_case_becomes_a_line_of_a_delivery,
    what_the_code_does_not_say_is_named,
    how_much_it_is_comes_from_the_surest_figure,
    what_to_look_at_first_is_said,
    a_lot_of_ours_is_told_by_its_number,
    a_lot_out_of_reach_is_not_told,
    places_pallets_and_strangers_are_told_apart,
    what_cannot_be_read_is_pointed_at,
    half_of_a_label_says_what_is_missing,
    the_codes_of_one_label_are_read_together,
    codes_that_contradict_each_other_are_refused,
    what_is_not_to_be_scanned_is_refused,
    a_scan_leaves_no_trace,
);

/// GS1's prefix for demonstrations.
const CASE: &str = "09520123456788";

fn said(text: &str) -> NewScan {
    NewScan { site: KITCHEN.into(), text: text.into(), symbology: None, also: vec![] }
}

/// What is at hand, if it is, is what is worked out.
fn ask(house: &TestHouse, text: &str) -> Result<Scan, OperationError> {
    let worked_out = house.tubtrail.scan(&Request::system(), &said(text));
    match (at_hand(house, text), &worked_out) {
        (None, _) => (),
        (Some(Ok(at_hand)), Ok(scan)) => assert_eq!(at_hand, serde_json::to_string(scan).expect("it has a form")),
        (Some(Err(at_hand)), Err(refused)) => assert_eq!(at_hand.to_string(), refused.to_string()),
        (at_hand, worked_out) => panic!("{text:?}: {at_hand:?}, {worked_out:?}"),
    }
    worked_out
}

fn at_hand(house: &TestHouse, text: &str) -> Option<Result<String, OperationError>> {
    let as_of = house.tubtrail.last_commit().expect("it answers");
    house.tubtrail.scan_at_hand(&Request { as_of: Some(as_of), ..Request::system() }, &said(text))
}

#[track_caller]
fn scan(house: &TestHouse, text: &str) -> Scan {
    ask(house, text).unwrap_or_else(|error| panic!("{text:?}: {error}"))
}

#[track_caller]
fn give(house: &TestHouse, item: &str, gtin: &str, supplier: Option<&str>, grams_per_unit: Option<i64>) {
    let new = NewItemGtin {
        gtin: gtin.into(),
        supplier: supplier.map(str::to_owned),
        grams_per_unit: grams_per_unit.map(|grams| Grams::from_mg(grams * 1000)),
        since: None,
        reason: None,
    };
    house.tubtrail.add_item_gtin(&Request::system(), item, new).unwrap_or_else(|error| panic!("{error}"));
}

fn day(year: i32, month: u32, day: u32) -> NaiveDate {
    NaiveDate::from_ymd_opt(year, month, day).expect("a day")
}

fn quantity(amount: &str, unit: &str) -> QuantityEntered {
    QuantityEntered { amount: Amount(amount.into()), unit: unit.into() }
}

/// The line, what is missing, and the cautions.
#[track_caller]
fn line(scan: Scan) -> (ScannedLine, Vec<String>, Vec<String>) {
    match scan {
        Scan::DeliveryLine { line, missing, cautions, .. } => {
            (line, missing, cautions.iter().map(ToString::to_string).collect())
        }
        other => panic!("{other:?}"),
    }
}

#[track_caller]
fn wrong(scan: Scan) -> (usize, String) {
    match scan {
        Scan::Wrong { position, reason, .. } => (position, reason.to_string()),
        other => panic!("{other:?}"),
    }
}

/// 10.000 kg of lot 24-118, to be used by 9 December: in Code 128 with separators, in brackets, and as a link.
fn a_suppliers_case_becomes_a_line_of_a_delivery(backend: Backend) {
    let house = TestHouse::new(backend);
    give(&house, "milk", CASE, Some("dairy"), None);
    for text in [
        "]C101095201234567883103010000172612091024-118",
        "]d2010952012345678810 24-118".replace(' ', "").replace("24-118", "24-118\u{1d}310301000017261209").as_str(),
        "(01)09520123456788(3103)010000(17)261209(10)24-118",
        "https://example.com/01/09520123456788/10/24-118?3103=010000&17=261209",
    ] {
        let Scan::DeliveryLine { name, gtin, supplier, line, missing, cautions, sscc, said, .. } = scan(&house, text)
        else {
            panic!("{text:?}")
        };
        assert_eq!((name.as_str(), gtin.as_str(), supplier.as_deref()), ("milk", CASE, Some("dairy")), "{text:?}");
        let expected = ScannedLine {
            item: "milk".into(),
            supplier_lot_code: Some("24-118".into()),
            quantity: Some(quantity("10.000", "kg")),
            expiry: Some(Expiry { kind: ExpiryKind::UseBy, on: day(2026, 12, 9) }),
        };
        assert_eq!((line.clone(), missing.len(), cautions.len(), sscc), (expected, 0, 0, None), "{text:?}");
        assert_eq!(said.len(), 4, "{text:?}");

        // As it is, it can be received.
        let received = house.deliver(
            "dairy",
            vec![NewDeliveryLine {
                item: line.item,
                supplier_lot_code: line.supplier_lot_code.expect("it is there"),
                quantity: line.quantity.expect("it is there"),
                expiry: line.expiry,
                temperature_celsius: None,
                rejected: false,
                reason: None,
            }],
        );
        assert_eq!(received.expect("it is received").lines[0].grams, Grams::from_mg(10_000_000));
    }
}

fn what_the_code_does_not_say_is_named(backend: Backend) {
    let house = TestHouse::new(backend);
    give(&house, "milk", CASE, None, None);
    let (line_, missing, _) = line(scan(&house, "9520123456788"));
    assert_eq!(missing, ["supplier", "supplier_lot_code", "quantity"]);
    let bare = ScannedLine { item: "milk".into(), supplier_lot_code: None, quantity: None, expiry: None };
    assert_eq!(line_, bare);
    give(&house, "milk", CASE, Some("dairy"), Some(1000));
    let (line_, missing, _) = line(scan(&house, "(01)09520123456788(15)261200"));
    assert_eq!(missing, ["supplier_lot_code"]);
    // Day 00 is the last of the month.
    assert_eq!(line_.expiry, Some(Expiry { kind: ExpiryKind::BestBefore, on: day(2026, 12, 31) }));
}

fn how_much_it_is_comes_from_the_surest_figure(backend: Backend) {
    let house = TestHouse::new(backend);
    house.put(Item {
        counted: CountedBy::Piece { piece_grams: Grams::from_mg(60_000) },
        ..item("egg", ItemKind::Ingredient, true)
    });
    let (box_of_eggs, drum) = ("19520123456785", "29520123456782");
    give(&house, "milk", CASE, None, None);
    give(&house, "egg", box_of_eggs, None, None);
    give(&house, "sugar", drum, None, Some(25_000));
    for (text, due) in [
        // As weighed, in kilograms before pounds.
        ("(01)09520123456788(3202)000551(3103)002500", Some(quantity("2.500", "kg"))),
        ("(01)09520123456788(3202)000551", Some(quantity("5.51", "lb"))),
        // Milk here is counted by mass alone: litres are of no use.
        ("(01)09520123456788(3153)002500", None),
        // Pieces, where the item is counted so.
        ("(01)19520123456785(30)30", Some(quantity("30", "piece"))),
        ("(01)09520123456788(30)30", None),
        // A drum holds 25 kg; four of them on a pallet hold 100.
        ("29520123456782", Some(quantity("25000", "g"))),
        ("(00)095201234567891235(02)29520123456782(37)4", Some(quantity("100000", "g"))),
        ("(01)29520123456782(3103)024800", Some(quantity("24.800", "kg"))),
        // 99 999 999 drums are more than any delivery.
        ("(00)095201234567891235(02)29520123456782(37)99999999", None),
    ] {
        let (line, missing, _) = line(scan(&house, text));
        assert_eq!(missing.contains(&"quantity".to_owned()), due.is_none(), "{text}");
        assert_eq!(line.quantity, due, "{text}");
    }
}

fn what_to_look_at_first_is_said(backend: Backend) {
    let house = TestHouse::new(backend);
    give(&house, "milk", CASE, Some("dairy"), Some(1000));
    let cautions = |text: &str| line(scan(&house, text)).2;
    // It is 2 November 2026.
    assert_eq!(
        cautions("(01)09520123456788(17)261101"),
        ["its last day was 2026-11-01: the line can only be rejected"]
    );
    assert_eq!(cautions("(01)09520123456788(17)261102"), [""; 0]);
    assert!(cautions("010952012345678810L2617261231")[0].contains("(17)261231"), "separators may be dropped");
    assert_eq!(cautions("(01)09520123456788(10)L26"), [""; 0]);
    let milk = house.tubtrail.get::<Item>(&Request::system(), "milk").expect("an item");
    let closed = Item { active: false, ..milk };
    house.tubtrail.change(&Request::system(), "milk", closed).expect("a change");
    assert_eq!(cautions("9520123456788"), ["milk is no longer in use, so it cannot be received"]);
}

fn a_lot_of_ours_is_told_by_its_number(backend: Backend) {
    let house = TestHouse::new(backend);
    let milk = house.receive("dairy", "milk", "24-118", 8000);
    house
        .tubtrail
        .hold_lot(&Request::system(), &milk, Because { reason: Some("the dairy called".into()) })
        .expect("a hold");
    for text in [milk.clone(), milk.replace('-', ""), format!("]C0{milk}\r\n"), milk.replace('-', " ")] {
        match scan(&house, &text) {
            Scan::Lot { lot } => {
                assert_eq!((lot.lot.as_str(), lot.kind, lot.item.as_str()), (milk.as_str(), LotKind::Received, "milk"));
                assert_eq!(lot.places.len(), 1);
                assert!(lot.on_hold.is_some(), "and that it is on hold");
            }
            other => panic!("{text:?}: {other:?}"),
        }
        assert!(at_hand(&house, &text).is_some(), "{text:?}");
    }
    assert_eq!(wrong(scan(&house, "261102-9999-1")).0, 1);
    let (_, reason) = wrong(scan(&house, "261102-0099-7"));
    assert!(reason.contains("there is no lot") || reason.contains("not a lot number of ours"), "{reason}");

    // A tub's label may carry our own article number and the lot beside it.
    house.recipe("plain", "pistachio", &[("milk", 1000)], 1000);
    let sound = house.receive("dairy", "milk", "24-119", 2000);
    let written = sheet("plain", vec![of(&sound, 1000)], vec![out(OutputKind::Tub, 1000)]);
    let done = house.tubtrail.write_up_batch(&Request::system(), written).expect("it is done");
    let tub = done.answer.outputs[0].lot.clone();
    give(&house, "pistachio", "39520123456789", None, None);
    match scan(&house, &format!("(01)39520123456789(10){tub}")) {
        Scan::Lot { lot } => assert_eq!((lot.lot.as_str(), lot.kind), (tub.as_str(), LotKind::Tub)),
        other => panic!("{other:?}"),
    }
    let (position, reason) = wrong(scan(&house, "(01)39520123456789(10)NONE"));
    assert_eq!(position, 19);
    assert!(reason.contains("made here"), "{reason}");
}

fn a_lot_out_of_reach_is_not_told(backend: Backend) {
    let house = TestHouse::new(backend);
    let milk = house.receive("dairy", "milk", "24-118", 8000);
    for role in Role::ALL {
        let request = house.someone(role, Some(SHOP));
        let at = |site: &str, text: &str| {
            house
                .tubtrail
                .scan(&request, &NewScan { site: site.into(), text: text.into(), symbology: None, also: vec![] })
        };
        let (_, reason) = wrong(at(SHOP, &milk).expect("they may scan at their shop"));
        assert!(reason.contains("no lot"), "{reason}");
        for elsewhere in [KITCHEN, OTHER_SHOP] {
            let error = at(elsewhere, &milk).expect_err("not theirs");
            assert_eq!((error.problem.word, error.field.as_deref()), ("not-found", Some("site")), "{}", role.word());
        }
    }
}

fn places_pallets_and_strangers_are_told_apart(backend: Backend) {
    let house = TestHouse::new(backend);
    house.put(Site { gln: Some("6291041500213".into()), ..site("pier", SiteKind::Shop) });
    match scan(&house, "(414)6291041500213") {
        Scan::Place { site, name, gln, said } => {
            assert_eq!((site.as_str(), name.as_str(), gln.as_str()), ("pier", "pier", "6291041500213"));
            assert_eq!(said.len(), 1);
        }
        other => panic!("{other:?}"),
    }
    let (position, reason) = wrong(scan(&house, "]C14149520123456788"));
    assert_eq!((position, reason.as_str()), (4, "no site of ours has the location number 9520123456788"));
    match scan(&house, "]C100095201234567891235") {
        Scan::LogisticUnit { sscc, .. } => assert_eq!(sscc, "095201234567891235"),
        other => panic!("{other:?}"),
    }
    match scan(&house, "(01)09520123456788(10)L26") {
        Scan::UnknownItem { gtin, printed, said } => {
            assert_eq!((gtin.as_str(), printed.as_str(), said.len()), (CASE, "9520123456788", 2));
        }
        other => panic!("{other:?}"),
    }
    let (_, reason) = wrong(scan(&house, "(90)ours"));
    assert!(reason.contains("names no article"), "{reason}");
    give(&house, "water", "49520123456786", None, None);
    let (_, reason) = wrong(scan(&house, "49520123456786"));
    assert!(reason.contains("not kept by lot"), "{reason}");
}

fn what_cannot_be_read_is_pointed_at(backend: Backend) {
    let house = TestHouse::new(backend);
    for (text, position, words) in [
        ("]C10109520123456789", 6, "check digit"),
        ("(01)09520123456788(10)L#6", 24, "“#” does not belong in (10) lot"),
        ("https://id.gs1.org/00/095201234567891235?02=9520123456788&37=25", 58, "put zeros in front"),
        ("https://id.gs1.org/01/9520123456788", 36, "14 characters are due, and there are 13"),
        ("https://example.com/01/09520123456788?10=L26", 39, "must not stand behind the question mark"),
        ("hello", 1, "no code we know"),
        ("9520123456789", 1, "mistyped"),
        ("ä", 1, "another keyboard"),
        ("   ", 4, "nothing in this code"),
    ] {
        let (at, reason) = wrong(scan(&house, text));
        assert!(at == position && reason.contains(words), "{text}: {at} {reason}");
    }
}

/// Several codes of one label.
#[track_caller]
fn scan_all(house: &TestHouse, texts: &[&str]) -> Scan {
    let also = texts[1..].iter().map(|text| AlsoScanned { text: (*text).into(), symbology: None }).collect();
    let new = NewScan { site: KITCHEN.into(), text: texts[0].into(), symbology: None, also };
    house.tubtrail.scan(&Request::system(), &new).unwrap_or_else(|error| panic!("{texts:?}: {error}"))
}

fn half_of_a_label_says_what_is_missing(backend: Backend) {
    let house = TestHouse::new(backend);
    give(&house, "milk", CASE, Some("dairy"), Some(10_000));
    for (text, elements, due) in [
        ("(10)L26", 1, &["gtin"][..]),
        ("]C11726123110L26", 2, &["gtin"]),
        ("(3103)000195", 1, &["gtin"]),
        ("(02)09520123456788", 1, &["count"]),
        ("(37)25", 1, &["sscc", "gtin"]),
    ] {
        match scan(&house, text) {
            Scan::Half { said, missing, hint } => {
                assert_eq!(
                    (said.len(), missing.as_slice()),
                    (elements, &due.iter().map(ToString::to_string).collect::<Vec<_>>()[..]),
                    "{text}"
                );
                assert!(hint.to_string().contains("scan the label's other code too"), "{text}: {hint}");
            }
            other => panic!("{text}: {other:?}"),
        }
    }
    match scan(&house, "9520123456788") {
        Scan::DeliveryLine { name, missing, hint, .. } => {
            assert_eq!((name.as_str(), missing.as_slice()), ("milk", &["supplier_lot_code".to_owned()][..]));
            assert!(hint.is_some_and(|hint| hint.to_string().contains("not which lot")));
        }
        other => panic!("{other:?}"),
    }
    let Scan::DeliveryLine { hint, .. } = scan(&house, "(01)09520123456788(10)L26") else { panic!("it is whole") };
    assert_eq!(hint, None);
}

/// 10 kg of milk, lot L26, use by the last day of 2026: in one code, and in two whichever is scanned first.
fn the_codes_of_one_label_are_read_together(backend: Backend) {
    let house = TestHouse::new(backend);
    give(&house, "milk", CASE, Some("dairy"), Some(10_000));
    let whole = line(scan(&house, "(01)09520123456788(17)261231(10)L26"));
    for codes in [
        &["9520123456788", "(17)261231(10)L26"][..],
        &["(17)261231(10)L26", "]E09520123456788"],
        &["(01)09520123456788", "(10)L26", "(17)261231"],
        &["https://id.gs1.org/01/09520123456788/10/L26", "(01)09520123456788(17)261231"],
        &["]C10109520123456788", "]C11726123110L26"],
    ] {
        assert_eq!(line(scan_all(&house, codes)), whole, "{codes:?}");
    }
    let Scan::DeliveryLine { said, .. } = scan_all(&house, &["(17)261231(10)L26", "9520123456788"]) else {
        panic!("a line")
    };
    let places: Vec<_> = said.iter().map(|one| (one.identifier.as_str(), one.code, one.position)).collect();
    assert_eq!(places, [("17", 1, 1), ("10", 1, 11), ("01", 2, 1)]);
    match scan_all(&house, &["(10)L26", "(17)261231"]) {
        Scan::Half { said, missing, .. } => assert_eq!((said.len(), missing.len()), (2, 1)),
        other => panic!("{other:?}"),
    }
    // Our own number says all there is.
    let milk = house.receive("dairy", "milk", "24-118", 8000);
    match scan_all(&house, &["9520123456788", &milk]) {
        Scan::Lot { lot } => assert_eq!(lot.lot, milk),
        other => panic!("{other:?}"),
    }
}

fn codes_that_contradict_each_other_are_refused(backend: Backend) {
    let house = TestHouse::new(backend);
    for (codes, in_code, at, words) in [
        (&["(01)09520123456788(10)L26", "(10)L27"][..], 2, 1, "stands in this code twice, and not the same"),
        (&["(01)09520123456788", "(10)L26", "(37)25"], 3, 1, "cannot both be true"),
        (&["(01)09520123456788", "(10)L#6"], 2, 6, "does not belong"),
        (&["hello", "(10)L26"], 1, 1, "no code we know"),
    ] {
        match scan_all(&house, codes) {
            Scan::Wrong { position, code, reason } => {
                assert_eq!((code, position), (in_code, at), "{codes:?}: {reason}");
                assert!(reason.to_string().contains(words), "{codes:?}: {reason}");
            }
            other => panic!("{codes:?}: {other:?}"),
        }
    }
    let also = |text: &str| AlsoScanned { text: text.into(), symbology: None };
    let refused = |also: Vec<AlsoScanned>| {
        let new = NewScan { site: KITCHEN.into(), text: "1".into(), symbology: None, also };
        let error = house.tubtrail.scan(&Request::system(), &new).expect_err("it is refused");
        (error.problem.word, error.field.unwrap_or_default())
    };
    assert_eq!(refused(vec![also("(10)L"), also("")]), ("invalid", "also[1].text".into()));
    assert_eq!(refused(vec![also("1"); 5]), ("invalid", "also".into()));
}

fn what_is_not_to_be_scanned_is_refused(backend: Backend) {
    let house = TestHouse::new(backend);
    let refused = |new: NewScan| {
        let error = house.tubtrail.scan(&Request::system(), &new).expect_err(&format!("{new:?}"));
        (error.problem.word, error.field.unwrap_or_default())
    };
    let new = |text: &str| NewScan { site: KITCHEN.into(), text: text.into(), symbology: None, also: vec![] };
    let at = |word, field: &str| (word, field.to_owned());
    assert_eq!(refused(new("")), at("invalid", "text"));
    assert_eq!(refused(new("a\0b")), at("invalid", "text"));
    assert_eq!(refused(new(&"1".repeat(401))), at("invalid", "text"));
    assert!(house.tubtrail.scan(&Request::system(), &new(&"ß".repeat(400))).is_ok(), "characters, not bytes");
    assert_eq!(refused(NewScan { site: "nowhere".into(), ..new("1") }), at("unknown-code", "site"));
    for symbology in ["", "C1", "]C", "]C11", "]1C", "]C\0"] {
        assert_eq!(refused(NewScan { symbology: Some(symbology.into()), ..new("1") }), at("invalid", "symbology"));
    }
}

fn a_scan_leaves_no_trace(backend: Backend) {
    let house = TestHouse::new(backend);
    give(&house, "milk", CASE, None, None);
    let before = house.tubtrail.is_ready().expect("the house stands");
    for text in ["9520123456788", "hello", "(00)095201234567891235"] {
        scan(&house, text);
    }
    assert_eq!(house.tubtrail.is_ready().expect("the house stands"), before);
}
