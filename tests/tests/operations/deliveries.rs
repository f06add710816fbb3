//! Receiving at the door.

use tubtrail_operations::deliveries::Decision;
use tubtrail_tests::house::line;
use tubtrail_tests::{Backend, TestHouse, on_both};

on_both!(a_delivery_becomes_lots, a_refused_line_leaves_nothing);

fn a_delivery_becomes_lots(backend: Backend) {
    let house = TestHouse::new(backend);
    let delivery = house.deliver("dairy", vec![line("milk", "M-1", 8000), line("cream", "C-7", 2500)]);
    let delivery = delivery.expect("it is accepted");
    let lots: Vec<_> = delivery.lines.iter().map(|line| line.lot.clone().expect("a lot")).collect();
    assert!(lots[0].starts_with("261102-0001-") && lots[1].starts_with("261102-0002-"), "{lots:?}");
    assert!(delivery.lines.iter().all(|line| line.decision == Decision::Accepted));
    assert_eq!(delivery.lines[0].grams.mg(), 8_000_000);
}

fn a_refused_line_leaves_nothing(backend: Backend) {
    let house = TestHouse::new(backend);
    let refused =
        house.deliver("dairy", vec![line("milk", "M-1", 8000), line("milk", "M-1", 1)]).expect_err("repeated");
    assert_eq!((refused.problem.word, refused.field.as_deref()), ("repeated", Some("lines[1].supplier_lot_code")));
    let lot = house.receive("dairy", "milk", "M-1", 8000);
    assert!(lot.starts_with("261102-0001-"), "the refused delivery took no number: {lot}");
}
