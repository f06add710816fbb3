//! Receiving at the door.

use tubtrail_operations::deliveries::Decision;
use tubtrail_operations::reach::RECEIVE_DELIVERY;
use tubtrail_operations::{Actor, Grant, OperationError, Request, Role};
use tubtrail_tests::house::{KITCHEN, SHOP, line};
use tubtrail_tests::{Backend, TestHouse, on_both};

on_both!(a_delivery_becomes_lots, a_refused_line_leaves_nothing, out_of_reach_is_as_if_it_were_not_there);

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

type Ask<'a> = &'a dyn Fn(&Request, i64) -> Result<(), OperationError>;

/// Neither the problem nor a word of the sentence tells which of the two it is; and row ids of sites are nobody's business.
fn out_of_reach_is_as_if_it_were_not_there(backend: Backend) {
    let house = TestHouse::new(backend);
    let there = house.deliver("dairy", vec![line("milk", "M-1", 8000)]).expect("it is accepted").id;
    let nowhere = there + 1_000_000;
    let mut conn = house.database().connect();
    let id_of = |conn: &mut _, code: &str| {
        let site = <tubtrail_storage::master_data::Site as tubtrail_storage::master_data::Noun>::by_code(conn, code);
        site.expect("it can be read").expect("it is there").row.id
    };
    let (shop, kitchen) = (id_of(&mut conn, SHOP), id_of(&mut conn, KITCHEN));
    let request = |role, site_id| Request::of(Actor { name: "user:x".into(), grants: vec![Grant { role, site_id }] });
    let cook = request(Role::Kitchen, Some(shop));
    let get: Ask<'_> = &|request, id| house.tubtrail.get_delivery(request, id).map(drop);
    let trace: Ask<'_> = &|request, id| house.tubtrail.trace_delivery(request, id, "", 10).map(drop);
    for ask in [get, trace] {
        let said = [there, nowhere].map(|id| {
            let error = ask(&cook, id).expect_err("it is not there for them");
            (error.problem.word, error.field, error.detail.to_string().replace(&id.to_string(), "ID"))
        });
        assert_eq!(said[0], said[1]);
        assert_eq!(said[0].0, "not-found");
        let error = ask(&request(Role::Shop, Some(kitchen)), there).expect_err("it is there, and not theirs");
        assert_eq!(error.problem.word, "forbidden");
        ask(&request(Role::Kitchen, Some(kitchen)), there).expect("it is theirs");
    }
    let error = cook.actor.may(&RECEIVE_DELIVERY, 4711).expect_err("it is out of reach");
    assert_eq!((error.problem.word, error.detail.to_string().contains("4711")), ("not-found", false));
}
