//! What comes in by volume, piece or strength, in the units on the paper, is kept in exact milligrams beside the figure
//! that was typed.

use tubtrail_operations::QuantityEntered;
use tubtrail_operations::deliveries::{NewDelivery, NewDeliveryLine};
use tubtrail_operations::items::{CountedBy, Item, ItemKind};
use tubtrail_operations::quantities::Amount;
use tubtrail_operations::{Grams, Request};
use tubtrail_tests::house::{KITCHEN, item, line};
use tubtrail_tests::{Backend, TestHouse, on_both};

on_both!(every_unit_comes_to_its_milligrams, a_unit_that_says_nothing_of_the_mass_is_refused);

fn stocked(backend: Backend) -> TestHouse {
    let house = TestHouse::new(backend);
    let new = |code: &str, counted| house.put(Item { counted, ..item(code, ItemKind::Ingredient, true) });
    new("whole-milk", CountedBy::Volume { density_kg_per_m3: Amount("1032".into()) });
    new("eggs", CountedBy::Piece { piece_grams: Grams::from_mg(58_000) });
    new("rum", CountedBy::Strength { percent_vol: Amount("40".into()), sweetened: false });
    house
}

fn of(item: &str, amount: &str, unit: &str) -> NewDeliveryLine {
    let quantity = QuantityEntered { amount: Amount(amount.into()), unit: unit.into() };
    NewDeliveryLine { quantity, ..line(item, &format!("{amount}-{unit}"), 1) }
}

fn every_unit_comes_to_its_milligrams(backend: Backend) {
    let house = stocked(backend);
    // By hand. NIST Handbook 44, Appendix C, and SP 811 (from memory): 1 lb = 453.592 37 g, 1 oz = a sixteenth of it;
    // 1 US gal = 3.785 411 784 L, 1 US fl oz = a 128th of it; 1 imperial gal = 4.546 09 L.
    let due = [
        ("whole-milk", "12", "l", 12_384_000),        // 12 × 1032 g
        ("whole-milk", "10.5", "us_gal", 41_018_722), // 39 746.823 732 mL × 1.032 = 41 018.722 091... g
        ("whole-milk", "1", "us_gal", 3_906_545),     // 3906.544 961... g
        ("whole-milk", "1", "imp_gal", 4_691_565),    // 4546.09 mL × 1.032 = 4691.564 88 g
        ("whole-milk", "64", "us_fl_oz", 1_953_272),  // half a gallon: 1953.272 480... g
        ("whole-milk", "2.5", "lb", 1_133_981),       // 1133.980 925 g
        ("eggs", "15", "dozen", 10_440_000),          // 180 × 58 g
        ("eggs", "30", "piece", 1_740_000),           // 30 × 58 g
        ("eggs", "8", "oz", 226_796),                 // half a pound: 226.796 185 g
        // OIML R 22, table of density at 20 °C by volume: 40 % vol is 948.05 kg/m³ (948.045 by its formula).
        ("rum", "2", "l", 1_896_090),
        ("rum", "70", "cl", 663_632), // 663.631 5 g, half to even
    ];
    let lines = due.iter().map(|(item, amount, unit, _)| of(item, amount, unit)).collect();
    let delivery = house.deliver("dairy", lines).unwrap_or_else(|error| panic!("{error}"));
    let stored = house.tubtrail.get_delivery(&Request::system(), delivery.id).expect("it stands");
    assert_eq!(stored, delivery);
    for (line, (item, amount, unit, mg)) in stored.lines.iter().zip(due) {
        assert_eq!(line.grams.mg(), mg, "{amount} {unit} of {item}");
        assert_eq!((line.quantity.amount.0.as_str(), line.quantity.unit.as_str()), (amount, unit), "as it was typed");
    }
}

fn a_unit_that_says_nothing_of_the_mass_is_refused(backend: Backend) {
    let house = stocked(backend);
    for (item, amount, unit, field) in [
        ("sugar", "10", "l", "unit"),
        ("sugar", "10", "piece", "unit"),
        ("whole-milk", "10", "piece", "unit"),
        ("eggs", "10", "l", "unit"),
        ("milk", "10", "L", "unit"),
        ("milk", "10", "gal", "unit"),
        ("milk", "-10", "kg", "amount"),
        ("milk", "0", "kg", "amount"),
        ("milk", "0.0004", "mg", "amount"),
        ("milk", "1,5", "kg", "amount"),
        ("milk", "1e3", "kg", "amount"),
        ("milk", "1000000.001", "kg", "amount"),
    ] {
        let delivery = NewDelivery {
            supplier: "dairy".into(),
            site: KITCHEN.into(),
            document: "DN-0".into(),
            arrived_at: None,
            note: None,
            lines: vec![of(item, amount, unit)],
        };
        let error = house.tubtrail.receive_delivery(&Request::system(), delivery).map(|done| done.answer);
        let error = error.expect_err(&format!("{amount} {unit} of {item}"));
        let field = format!("lines[0].quantity.{field}");
        assert_eq!((error.problem.word, error.field), ("bad-quantity", Some(field)), "{amount} {unit} of {item}");
    }
}
