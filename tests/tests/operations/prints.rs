//! Prints: counted, with reasons, on paper for whoever asks later; and the steps of a printer's queue.

use std::sync::Arc;

use tubtrail_domain::saying::Saying;
use tubtrail_operations::item_labels::{ItemLabel, MadeOf};
use tubtrail_operations::labels::{Dpi, LabelSize};
use tubtrail_operations::print_queue::{NewStep, PrintCancellation, PrintSettlement, PrintState, Queue, StepSeen};
use tubtrail_operations::printers::Printer;
use tubtrail_operations::prints::{Fits, NewPrint, Print, PrintsAsked};
use tubtrail_operations::recalls::SeedAsked;
use tubtrail_operations::{OperationError, Request, Role, problems};
use tubtrail_tests::house::{KITCHEN, OTHER_SHOP, SHOP};
use tubtrail_tests::{Backend, on_both};

use crate::label_world::{LabelWorld, item_label};
use crate::recalled::begin;

on_both!(
    every_print_is_counted_and_a_reprint_has_a_reason,
    what_was_printed_stays_as_it_was,
    an_owner_or_a_cook_orders_it_despite_something,
    what_does_not_fit_is_not_printed,
    a_printer_has_its_site_its_labels_and_its_dots,
    one_process_has_a_print_in_hand,
    a_print_is_taken_back_or_settled,
);

/// Everything fits.
fn fits() -> Fits {
    Arc::new(|_, _, _| Ok(()))
}

fn print(world: &LabelWorld, request: &Request, lot: &str, new: NewPrint) -> Result<Print, OperationError> {
    Ok(world.house.tubtrail.print_label(request, lot, new, fits())?.answer)
}

fn once() -> NewPrint {
    NewPrint { site: Some(KITCHEN.into()), copies: 1, ..NewPrint::default() }
}

fn again(reason: &str) -> NewPrint {
    NewPrint { reprint_reason: Some(reason.into()), ..once() }
}

fn printer(code: &str, site: &str) -> Printer {
    Printer {
        code: code.into(),
        name: "Label printer".into(),
        site: site.into(),
        uri: "ipp://192.168.1.40/ipp/print".into(),
        size: LabelSize::W100H50,
        dpi: Dpi::D300,
        any_certificate: false,
        active: true,
        version: None,
    }
}

fn on(printer: &str) -> NewPrint {
    NewPrint { printer: Some(printer.into()), copies: 1, ..NewPrint::default() }
}

#[track_caller]
fn refused<T: std::fmt::Debug>(answer: Result<T, OperationError>, word: &str, field: &str) {
    let error = answer.expect_err(word);
    assert_eq!((error.problem.word, error.field.as_deref().unwrap_or("")), (word, field), "{error}");
}

fn every_print_is_counted_and_a_reprint_has_a_reason(backend: Backend) {
    let world = LabelWorld::new(backend);
    let (owner, tub) = (Request::system(), &world.tubs[0]);
    let first = print(&world, &owner, tub, once()).expect("the first");
    assert_eq!((first.number, first.site.as_str(), first.printer.as_ref()), (1, KITCHEN, None));
    assert_eq!((first.size, first.dpi, first.copies, first.state), (LabelSize::W60H40, Dpi::D203, 1, None));
    refused(print(&world, &owner, tub, once()), "needs-reason", "reprint_reason");
    refused(print(&world, &owner, tub, again(" ")), "needs-reason", "reprint_reason");
    let second = print(&world, &owner, tub, again("it got wet")).expect("the second");
    assert_eq!((second.number, second.reprint_reason.as_deref()), (2, Some("it got wet")));
    assert_eq!(print(&world, &owner, &world.tubs[1], once()).expect("another tub's").number, 1);
    let listed = world.house.tubtrail.list_lot_prints(&owner, tub, "", 1).expect("a page");
    assert_eq!((listed.items.as_slice(), listed.next.is_some()), (&[first.clone()][..], true));
    let next = listed.next.expect("more");
    let listed = world.house.tubtrail.list_lot_prints(&owner, tub, &next, 10).expect("a page");
    assert_eq!((listed.items.as_slice(), listed.next), (&[second][..], None));
    for copies in [0, 101] {
        refused(print(&world, &owner, tub, NewPrint { copies, ..again("more") }), "invalid", "copies");
    }

    // The tub lies in the kitchen: the shop's people do not reach it; an inspector reads.
    refused(print(&world, &world.house.someone(Role::Shop, Some(SHOP)), tub, again("ours")), "not-found", "");
    let inspector = world.house.someone(Role::Inspector, None);
    refused(print(&world, &inspector, tub, again("ours")), "forbidden", "");
    assert_eq!(world.house.tubtrail.get_print(&inspector, first.print).expect("they read").print, first.print);
    let elsewhere = world.house.someone(Role::Shop, Some(OTHER_SHOP));
    refused(world.house.tubtrail.get_print(&elsewhere, first.print), "not-found", "");
}

/// What a print said is what stands on the tub, whatever is entered later.
fn what_was_printed_stays_as_it_was(backend: Backend) {
    let world = LabelWorld::new(backend);
    let owner = Request::system();
    let before = print(&world, &owner, &world.tubs[0], once()).expect("a print");
    let next = ItemLabel {
        version: Some(1),
        storage: Some("Keep frozen.".into()),
        ..item_label("pistachio", "pistachio ice", MadeOf::WhatWentIn)
    };
    world.house.tubtrail.change(&owner, "pistachio", next).expect("another name");
    assert_eq!(world.label(&world.tubs[0], None).expect("a label").name, "Pistachio ice");
    assert_eq!(world.house.tubtrail.get_print(&owner, before.print).expect("it stands"), before);
    assert_eq!(before.label.name, "Pistachio gelato");
}

fn an_owner_or_a_cook_orders_it_despite_something(backend: Backend) {
    let world = LabelWorld::new(backend);
    let owner = Request::system();
    let despite = |reason: &str| NewPrint { override_reason: Some(reason.into()), ..once() };
    refused(print(&world, &owner, &world.tubs[0], despite("to be sure")), "invalid", "override_reason");

    // Nobody stated anything of this paste.
    let paste = world.house.receive("dairy", "hazelnut-paste", "X-1", 1000);
    refused(print(&world, &owner, &paste, once()), "label-unknown", "");
    refused(print(&world, &owner, &paste, despite(&"x".repeat(121))), "invalid", "override_reason");
    let device = world.house.someone(Role::Device, Some(KITCHEN));
    refused(print(&world, &device, &paste, despite("for the shelf")), "forbidden", "override_reason");
    let cook = world.house.someone(Role::Kitchen, Some(KITCHEN));
    let printed = print(&world, &cook, &paste, despite("for the shelf")).expect("a cook may");
    assert_eq!(printed.override_reason.as_deref(), Some("for the shelf"));
    let notice = "Not everything in it is known: all allergens of hazelnut-paste. Printed because: for the shelf";
    assert_eq!(printed.label.notices, [notice]);

    begin(&world.house, vec![SeedAsked::Lots { lots: vec![world.milk.clone()] }]);
    refused(print(&world, &cook, &world.tubs[0], once()), "lot-recalled", "");
    let printed = print(&world, &cook, &world.tubs[0], despite("for the box that goes back")).expect("a cook may");
    assert!(printed.label.notices[0].contains("under recall"), "{:?}", printed.label.notices);
}

fn what_does_not_fit_is_not_printed(backend: Backend) {
    let world = LabelWorld::new(backend);
    let none: Fits = Arc::new(|_, size, _| match size {
        LabelSize::W60H40 => {
            Err(OperationError::new(&problems::LABEL_NO_ROOM, Saying::as_it_is("too much")).at("ingredients"))
        }
        LabelSize::W100H50 => Ok(()),
    });
    let at = |size| {
        let new = NewPrint { size: Some(size), ..once() };
        world.house.tubtrail.print_label(&Request::system(), &world.tubs[0], new, Arc::clone(&none))
    };
    refused(at(LabelSize::W60H40), "label-no-room", "ingredients");
    assert_eq!(at(LabelSize::W100H50).expect("there is room").answer.number, 1, "the refused one does not count");
}

fn a_printer_has_its_site_its_labels_and_its_dots(backend: Backend) {
    let world = LabelWorld::new(backend);
    let (house, owner, tub) = (&world.house, Request::system(), &world.tubs[0]);
    house.put(printer("labels", KITCHEN));
    house.put(printer("till", SHOP));
    let cook = house.someone(Role::Kitchen, Some(KITCHEN));
    refused(house.tubtrail.create(&cook, printer("mine", KITCHEN)), "forbidden", "");
    refused(
        house.tubtrail.create(&owner, Printer { uri: "file:///x".into(), ..printer("x", KITCHEN) }),
        "invalid",
        "uri",
    );
    refused(house.tubtrail.create(&owner, printer("x", "nowhere")), "unknown-code", "site");

    refused(print(&world, &owner, tub, on("nothing")), "unknown-code", "printer");
    refused(print(&world, &cook, tub, on("till")), "unknown-code", "printer");
    let both = NewPrint { site: Some(KITCHEN.into()), ..on("labels") };
    refused(print(&world, &owner, tub, both), "invalid", "site");
    let small = NewPrint { size: Some(LabelSize::W60H40), ..on("labels") };
    refused(print(&world, &owner, tub, small), "invalid", "size");
    refused(print(&world, &owner, tub, NewPrint { dpi: Some(Dpi::D203), ..on("labels") }), "invalid", "dpi");
    let printed = print(&world, &cook, tub, on("labels")).expect("it is queued");
    assert_eq!((printed.size, printed.dpi, printed.state), (LabelSize::W100H50, Dpi::D300, Some(PrintState::Queued)));

    let next = Printer { active: false, version: Some(1), ..printer("labels", KITCHEN) };
    house.tubtrail.change(&owner, "labels", next).expect("it is out of use");
    let reprint = NewPrint { reprint_reason: Some("again".into()), ..on("labels") };
    refused(print(&world, &owner, tub, reprint), "not-in-use", "printer");
    let asked = |site: Option<&str>, state: Option<PrintState>| PrintsAsked {
        site: site.map(str::to_owned),
        printer: None,
        state,
        after: String::new(),
        limit: 10,
    };
    let list = |request: &Request, asked: &PrintsAsked| {
        Ok::<_, OperationError>(house.tubtrail.list_prints(request, asked)?.items)
    };
    assert_eq!(list(&owner, &asked(Some(KITCHEN), None)).expect("a list"), std::slice::from_ref(&printed));
    assert_eq!(list(&owner, &asked(None, Some(PrintState::Queued))).expect("a list"), [printed]);
    assert_eq!(list(&owner, &asked(None, Some(PrintState::Printed))).expect("a list"), []);
    let elsewhere = house.someone(Role::Shop, Some(SHOP));
    assert_eq!(list(&elsewhere, &asked(None, None)).expect("a list"), []);
    refused(list(&elsewhere, &asked(Some(KITCHEN), None)), "not-found", "site");
}

fn seen(world: &LabelWorld, print: i64) -> StepSeen {
    let mut queue = Queue::default();
    world.house.tubtrail.follow_queue(&mut queue).expect("a queue");
    queue.of(print).cloned().expect("it is open")
}

/// Two servers look at the same queue: whoever notes the step after the one both saw has it.
fn one_process_has_a_print_in_hand(backend: Backend) {
    let world = LabelWorld::new(backend);
    world.house.put(printer("labels", KITCHEN));
    let printed = print(&world, &Request::system(), &world.tubs[0], on("labels")).expect("it is queued");
    let queued = seen(&world, printed.print);
    assert_eq!(queued.state, PrintState::Queued);
    let sending = |process: &str| NewStep { process: Some(process.into()), ..NewStep::to(PrintState::Sending) };
    let note = |seen: &StepSeen, next: NewStep| world.house.tubtrail.note_print_step(seen, next).expect("noted or not");
    let first = note(&queued, sending("one")).expect("nobody had it");
    assert_eq!(note(&queued, sending("two")), None, "the first has it");
    assert_eq!(seen(&world, printed.print), first);
    let sent = note(&first, NewStep { printer_job: Some(7), ..NewStep::to(PrintState::Sent) }).expect("it is the last");
    assert_eq!((sent.printer_job, sent.process.as_ref()), (Some(7), None));
    note(&sent, NewStep::to(PrintState::Printed).saying("done\u{7}\n")).expect("it is the last");
    let mut queue = Queue::default();
    world.house.tubtrail.follow_queue(&mut queue).expect("a queue");
    assert_eq!(queue.open().count(), 0);
    let shown = world.house.tubtrail.get_print(&Request::system(), printed.print).expect("it stands");
    let states: Vec<_> = shown.steps.iter().map(|step| step.state.word()).collect();
    assert_eq!(states, ["queued", "sending", "sent", "printed"]);
    assert_eq!(shown.steps[3].said.as_deref(), Some("done  "), "control characters are blanks");
    let work = world.house.tubtrail.print_work(printed.print).expect("work");
    assert_eq!((work.label, work.copies, work.active), (printed.label, 1, true));
}

fn a_print_is_taken_back_or_settled(backend: Backend) {
    let world = LabelWorld::new(backend);
    let (tubtrail, owner) = (&world.house.tubtrail, Request::system());
    world.house.put(printer("labels", KITCHEN));
    let cancel = |id: i64, reason: &str| {
        let reason = Some(reason.to_owned());
        Ok::<_, OperationError>(tubtrail.cancel_print(&owner, id, PrintCancellation { reason })?.answer)
    };
    let settle = |id: i64, came_out: bool| {
        let settled = PrintSettlement { came_out, note: None };
        Ok::<_, OperationError>(tubtrail.settle_print(&owner, id, settled)?.answer)
    };
    let first = print(&world, &owner, &world.tubs[0], on("labels")).expect("it is queued").print;
    refused(cancel(first, ""), "needs-reason", "reason");
    refused(cancel(first, &"x".repeat(501)), "invalid", "reason");
    refused(settle(first, true), "print-under-way", "");
    assert_eq!(cancel(first, "the wrong tub").expect("it waits").state, Some(PrintState::Cancelled));
    refused(cancel(first, "twice"), "print-under-way", "");

    let second = print(&world, &owner, &world.tubs[1], on("labels")).expect("it is queued").print;
    let note = |seen: &StepSeen, next: NewStep| tubtrail.note_print_step(seen, next).expect("noted").expect("the last");
    let sending = NewStep { process: Some("one".into()), ..NewStep::to(PrintState::Sending) };
    let sending = note(&seen(&world, second), sending);
    refused(cancel(second, "too late"), "print-under-way", "");
    note(&sending, NewStep::to(PrintState::Uncertain).saying("the connection broke"));
    assert_eq!(settle(second, false).expect("it did not come out").state, Some(PrintState::Queued));
    let refusal = NewStep::to(PrintState::Refused).saying("no paper");
    note(&seen(&world, second), refusal);
    assert_eq!(settle(second, true).expect("it did").state, Some(PrintState::Printed));
    refused(settle(second, true), "print-under-way", "");

    let drawn = print(&world, &owner, &world.tubs[2], once()).expect("drawn by the caller").print;
    refused(cancel(drawn, "a mistake"), "print-under-way", "");
    refused(settle(first + 1_000_000, true), "not-found", "");
    let shop = world.house.someone(Role::Shop, Some(SHOP));
    let elsewhere = tubtrail.settle_print(&shop, second, PrintSettlement { came_out: true, note: None });
    refused(elsewhere, "not-found", "");
}
