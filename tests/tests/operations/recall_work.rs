//! The work of a recall: what the sites find, who is told, and when it may be closed.

use tubtrail_operations::consignments::Consignment;
use tubtrail_operations::recalls::{
    DrillsAsked, EndingWay, LineOutcome, NewConfirmation, NewConfirmations, NewNotice, NewRecall, NewReplies, NewReply,
    RecallKind,
};
use tubtrail_operations::tubs::Opening;
use tubtrail_operations::{Grams, OperationError, Request, Role};
use tubtrail_tests::house::{KITCHEN, OTHER_SHOP, SHOP, day};
use tubtrail_tests::{Backend, TestHouse, on_both};

use crate::recalled::{
    assert_adds_up, begin, case, closing, codes, confirm, confirmation, lines, lots, recall, seed_mg, serve, word,
};
use crate::shelf::{all_as_sent, bring, done, house, open_at, problem, refused, send, someone, tub, tubs};

on_both!(
    what_is_confirmed_moves_in_the_same_command,
    a_part_that_is_missing_goes_off_the_book,
    confirmations_are_checked,
    what_arrives_after_a_confirmation_is_to_be_confirmed_again,
    a_site_gets_its_own_list,
    customers_are_told_and_answer,
    a_recall_is_closed_when_nothing_is_open,
    overdue_lines_stand_out,
    drills_are_reported,
    a_drill_that_is_closed_frees_what_it_held,
    who_may_do_what,
    the_lines_are_paged_and_streamed,
);

fn shown(house: &TestHouse, recall: i64, lot: &str, site: &str) -> tubtrail_operations::recalls::RecallLine {
    let found = lines(house, recall).into_iter().find(|line| line.lot == lot && line.site == site);
    found.unwrap_or_else(|| panic!("no line of {lot} at {site}"))
}

fn on_hand(house: &TestHouse, recall: i64, lot: &str, site: &str) -> Vec<(String, i64)> {
    let line = shown(house, recall, lot, site);
    line.places.into_iter().map(|place| (place.state, place.grams.mg() / 1000)).collect()
}

/// Four tubs of 5 kg at the shop, the first open: found, destroyed, not found, explained.
fn what_is_confirmed_moves_in_the_same_command(backend: Backend) {
    let house = house(backend);
    let made = tubs(&house, &[5000, 5000, 5000, 5000]);
    let all: Vec<&str> = made.iter().map(String::as_str).collect();
    bring(&house, SHOP, &all);
    done(house.tubtrail.open_tub(&Request::system(), &made[0], Opening::default()));
    done(serve(&house, &made[0], 1000));
    let id = begin(&house, vec![lots(&all)]).recall.recall;
    house.clock.set(day(2, 9));
    assert_eq!(case(&house, id).open_lines, 4);

    let line = |lot: &str, outcome| confirmation(SHOP, lot, outcome).lines.remove(0);
    let new = NewConfirmations {
        lines: vec![
            line(&made[0], LineOutcome::Destroyed),
            line(&made[1], LineOutcome::Found),
            line(&made[2], LineOutcome::NotFound),
            line(&made[3], LineOutcome::Explained),
        ],
        ..confirmation(SHOP, &made[0], LineOutcome::Found)
    };
    let confirmed = done(confirm(&house, id, new));
    let figures: Vec<_> = confirmed
        .lines
        .iter()
        .map(|line| (line.grams.mg(), line.discarded_grams.mg(), line.missing_grams.mg()))
        .collect();
    assert_eq!(figures, [(4_000_000, 4_000_000, 0), (5_000_000, 0, 0), (5_000_000, 0, 5_000_000), (5_000_000, 0, 0)]);
    assert_eq!(on_hand(&house, id, &made[0], SHOP), [("served".into(), 1000), ("discarded".into(), 4000)]);
    assert_eq!(on_hand(&house, id, &made[1], SHOP), [("available".into(), 5000)]);
    assert_eq!(on_hand(&house, id, &made[2], SHOP), [("count_difference".into(), 5000)]);
    let found = shown(&house, id, &made[1], SHOP).confirmation.expect("it was confirmed");
    assert_eq!((found.outcome, found.name.as_str(), found.at), (LineOutcome::Found, "Nora Shop", day(2, 9)));
    let explained = shown(&house, id, &made[3], SHOP);
    assert_eq!(explained.confirmation.expect("it was explained").note.as_deref(), Some("eaten by the staff"));
    let case = case(&house, id);
    assert_eq!(case.open_lines, 0);
    assert_eq!(case.times.trace_to_last_confirmation_seconds, Some(3 * 3600), "from six to nine");
    assert_adds_up(&case);
}

/// The book has 5 kg, of which 1.2 kg are open in the case: 3 kg are found and destroyed, the open part first; 2 kg are
/// missing.
fn a_part_that_is_missing_goes_off_the_book(backend: Backend) {
    let house = house(backend);
    let lot = open_at(&house, SHOP, 5000);
    let id = begin(&house, vec![lots(&[&lot])]).recall.recall;
    let part = |outcome, mass: i64| {
        let mut new = confirmation(SHOP, &lot, outcome);
        new.lines[0].grams = Some(Grams::from_mg(mass));
        confirm(&house, id, new)
    };
    let destroyed = done(part(LineOutcome::Destroyed, 3_000_000)).lines.remove(0);
    assert_eq!((destroyed.discarded_grams.mg(), destroyed.missing_grams.mg()), (3_000_000, 2_000_000));
    assert_eq!(
        seed_mg(&house, id, &lot).into_iter().map(|((_, state), mg)| (state, mg)).collect::<Vec<_>>(),
        [("count_difference".to_owned(), 2_000_000), ("discarded".to_owned(), 3_000_000)]
    );
    assert_eq!(refused(part(LineOutcome::Destroyed, 1000)), problem("not-enough", "lines[0].grams"));
    assert_eq!(refused(part(LineOutcome::NotFound, 1000)), problem("invalid", "lines[0].grams"));
    assert_adds_up(&case(&house, id));
}

fn confirmations_are_checked(backend: Backend) {
    let house = house(backend);
    let made = tubs(&house, &[5000, 5000, 5000]);
    bring(&house, SHOP, &[&made[0]]);
    let id = begin(&house, vec![lots(&[&made[0], &made[1]])]).recall.recall;
    let new = || confirmation(SHOP, &made[0], LineOutcome::Found);
    let tried = |new| refused(confirm(&house, id, new));
    let line = |lot: &str, outcome| NewConfirmation { note: None, ..confirmation(SHOP, lot, outcome).lines.remove(0) };
    let with = |lines| NewConfirmations { lines, ..new() };
    assert_eq!(refused(confirm(&house, 1, new())), problem("not-found", ""));
    assert_eq!(tried(NewConfirmations { site: "none".into(), ..new() }), problem("unknown-code", "site"));
    assert_eq!(tried(NewConfirmations { name: " ".into(), ..new() }), problem("invalid", "name"));
    assert_eq!(tried(NewConfirmations { at: Some(day(9, 0)), ..new() }), problem("in-the-future", "at"));
    assert_eq!(tried(with(vec![])), problem("invalid", "lines"));
    let other = with(vec![line(&made[0], LineOutcome::Found), line(&made[2], LineOutcome::Found)]);
    assert_eq!(tried(other), problem("not-recalled", "lines[1].lot"));
    assert_eq!(tried(with(vec![line(&made[1], LineOutcome::Found)])), problem("lot-elsewhere", "lines[0].lot"));
    let unexplained = with(vec![line(&made[0], LineOutcome::Explained)]);
    assert_eq!(tried(unexplained), problem("needs-reason", "lines[0].note"));
    let twice = with(vec![line(&made[0], LineOutcome::Found), line(&made[0], LineOutcome::Found)]);
    assert_eq!(tried(twice), problem("repeated", "lines[1].lot"));
    assert_eq!(case(&house, id).open_lines, 2, "nothing of it was written down");
    done(house.tubtrail.withdraw_recall(&Request::system(), id, closing()));
    assert_eq!(tried(new()), problem("recall-ended", ""));
}

/// The shop confirms that it found the tub it had; another part of the lot, on its way then, arrives after that.
fn what_arrives_after_a_confirmation_is_to_be_confirmed_again(backend: Backend) {
    let house = house(backend);
    let milk = house.receive("dairy", "milk", "M-1", 5000);
    let part = |mass| {
        let line = tubtrail_operations::transfers::NewTransferLine {
            lot: milk.clone(),
            quantity: Some(tubtrail_tests::house::grams(mass)),
        };
        let parcel =
            tubtrail_operations::transfers::NewTransfer { lines: vec![line], ..crate::shelf::parcel(SHOP, &[]) };
        done(house.tubtrail.dispatch_transfer(&Request::system(), parcel)).id
    };
    let first = part(1000);
    done(house.tubtrail.receive_transfer(&Request::system(), first, all_as_sent()));
    let second = part(2000);
    let id = begin(&house, vec![lots(&[&milk])]).recall.recall;
    done(confirm(&house, id, confirmation(SHOP, &milk, LineOutcome::Found)));
    assert!(!shown(&house, id, &milk, SHOP).open);
    done(house.tubtrail.receive_transfer(&Request::system(), second, all_as_sent()));
    assert!(shown(&house, id, &milk, SHOP).open, "nobody has seen the two kilograms");
    done(confirm(&house, id, confirmation(SHOP, &milk, LineOutcome::Destroyed)));
    assert!(!shown(&house, id, &milk, SHOP).open);
    assert!(shown(&house, id, &milk, KITCHEN).open);
}

fn a_site_gets_its_own_list(backend: Backend) {
    let house = house(backend);
    let made = tubs(&house, &[5000, 5000, 5000]);
    bring(&house, SHOP, &[&made[0], &made[1]]);
    let instructions = Some("Put it aside, unopened.".to_owned());
    let new = NewRecall { instructions, ..recall(vec![lots(&[&made[0], &made[1], &made[2]])]) };
    let id = done(house.tubtrail.begin_recall(&Request::system(), new)).recall.recall;
    let shop = someone(&house, Role::Shop, SHOP);
    let list = || house.tubtrail.show_pull_list(&shop, id, SHOP).expect("it is theirs");
    assert_eq!(list().lines.iter().map(|line| &line.lot).collect::<Vec<_>>(), [&made[0], &made[1]]);
    assert_eq!((list().open, list().more, list().hazard.as_str()), (2, false, "listeria"));
    assert_eq!(list().instructions.as_deref(), Some("Put it aside, unopened."));
    done(house.tubtrail.confirm_recall_lines(&shop, id, confirmation(SHOP, &made[0], LineOutcome::Found)));
    let after: Vec<_> = list().lines.into_iter().map(|line| (line.lot, line.open)).collect();
    assert_eq!(after, [(made[1].clone(), true), (made[0].clone(), false)], "what is open comes first");
    let elsewhere = house.tubtrail.show_pull_list(&shop, id, OTHER_SHOP);
    assert_eq!(refused(elsewhere), problem("not-found", "site"));
    assert_eq!(refused(house.tubtrail.show_pull_list(&shop, id, "none")), problem("unknown-code", "site"));
}

fn consign(house: &TestHouse, lot: &str) {
    let consignment = Consignment {
        customer: "bistro".into(),
        site: None,
        quantity: None,
        document: Some("DN-311".into()),
        consigned_at: None,
    };
    done(house.tubtrail.consign_lot(&Request::system(), lot, consignment));
}

fn notice() -> NewNotice {
    let told_by = "Ines Owner".into();
    NewNotice { customer: "bistro".into(), way: "by telephone".into(), told_by, told_at: None }
}

fn replies(lot: &str, outcome: LineOutcome) -> NewReplies {
    let lots = vec![NewReply { lot: lot.into(), outcome, note: None }];
    NewReplies { customer: "bistro".into(), replied_by: "Bruno Mill".into(), replied_at: None, lots }
}

fn customers_are_told_and_answer(backend: Backend) {
    let house = house(backend);
    let made = tubs(&house, &[5000, 4000]);
    consign(&house, &made[0]);
    consign(&house, &made[1]);
    let id = begin(&house, vec![lots(&[&made[0]])]).recall.recall;
    let system = Request::system();
    let read = || house.tubtrail.list_recall_consignees(&system, id).expect("there is one").consignees.remove(0);
    let told = read();
    assert_eq!(
        (told.customer.as_str(), told.lots.len(), told.open),
        ("bistro", 1, 1),
        "the other tub is another batch's"
    );
    for part in [&made[0], "listeria", "5000 g", "DN-311", "class 1", "Do not serve"] {
        assert!(told.notice_text.to_string().contains(part), "{part}: {}", told.notice_text);
    }
    let told = done(house.tubtrail.note_recall_notice(&system, id, notice()));
    assert_eq!((told.way.as_str(), read().told), ("by telephone", vec![told.clone()]));

    let reply = |lot: &str, outcome| house.tubtrail.note_recall_replies(&system, id, replies(lot, outcome));
    assert_eq!(refused(reply(&made[1], LineOutcome::Found)), problem("not-recalled", "lots[0].lot"));
    assert_eq!(refused(reply(&made[0], LineOutcome::Explained)), problem("needs-reason", "lots[0].note"));
    let nobody = NewNotice { customer: "dairy".into(), ..notice() };
    let nobody = house.tubtrail.note_recall_notice(&system, id, nobody);
    assert_eq!(refused(nobody), problem("not-recalled", "customer"));
    assert_eq!(done(reply(&made[0], LineOutcome::Destroyed)).open, 0);
    let answered = read();
    assert_eq!(answered.open, 0);
    assert_eq!(answered.lots[0].reply.as_ref().map(|reply| reply.outcome), Some(LineOutcome::Destroyed));
}

/// One tub at the kitchen, one at the shop, one with the bistro.
fn a_recall_is_closed_when_nothing_is_open(backend: Backend) {
    let house = house(backend);
    let made = tubs(&house, &[5000, 5000, 5000]);
    bring(&house, SHOP, &[&made[1]]);
    consign(&house, &made[2]);
    let all: Vec<&str> = made.iter().map(String::as_str).collect();
    let id = begin(&house, vec![lots(&all)]).recall.recall;
    let system = Request::system();
    let close = || house.tubtrail.close_recall(&system, id, closing());
    let open = close().unwrap_err();
    assert_eq!(open.problem.word, "recall-open-lines");
    assert!(open.detail.to_string().contains("2 lines") && open.detail.to_string().contains("1 lots"), "{open}");
    assert_eq!(open.lots, all);
    done(confirm(&house, id, confirmation(KITCHEN, &made[0], LineOutcome::Found)));
    done(confirm(&house, id, confirmation(SHOP, &made[1], LineOutcome::Destroyed)));
    assert_eq!(close().unwrap_err().lots, [made[2].as_str()]);
    done(house.tubtrail.note_recall_replies(&system, id, replies(&made[2], LineOutcome::Found)));
    let ending = done(close());
    assert_eq!(ending.way, EndingWay::Closed);
    assert_eq!(word(close()), "recall-ended");
    let open_it = || house.tubtrail.open_tub(&system, &made[0], Opening::default());
    assert_eq!(word(open_it()), "lot-recalled", "it stays on hold");
    assert_adds_up(&case(&house, id));

    // The authority takes it back a week later: what is left may be sold after all.
    assert_eq!(done(house.tubtrail.withdraw_recall(&system, id, closing())).way, EndingWay::Withdrawn);
    assert_eq!(word(house.tubtrail.withdraw_recall(&system, id, closing())), "recall-ended");
    assert_eq!(word(close()), "recall-ended");
    bring(&house, SHOP, &[&made[0]]);
    done(open_it());
    assert_adds_up(&case(&house, id));
}

fn overdue_lines_stand_out(backend: Backend) {
    let house = house(backend);
    let made = tubs(&house, &[5000, 5000]);
    consign(&house, &made[1]);
    let new = NewRecall { due_at: Some(day(2, 12)), ..recall(vec![lots(&[&made[0], &made[1]])]) };
    let id = done(house.tubtrail.begin_recall(&Request::system(), new)).recall.recall;
    house.clock.set(day(2, 12));
    let due = case(&house, id);
    assert_eq!((due.open_lines, due.overdue_lines, due.open_replies, due.overdue_replies), (1, 0, 1, 0));
    house.clock.set(day(2, 13));
    let late = case(&house, id);
    assert_eq!((late.open_lines, late.overdue_lines, late.open_replies, late.overdue_replies), (1, 1, 1, 1));
    assert!(shown(&house, id, &made[0], KITCHEN).overdue);
    assert!(!shown(&house, id, &made[1], KITCHEN).overdue, "it is with the bistro");
    let consignees = house.tubtrail.list_recall_consignees(&Request::system(), id).expect("there is one");
    assert!(consignees.consignees[0].overdue);
}

fn drills_are_reported(backend: Backend) {
    let house = house(backend);
    let lot = tub(&house, 5000);
    let drill = NewRecall { kind: RecallKind::Drill, ..recall(vec![lots(&[&lot])]) };
    let id = done(house.tubtrail.begin_recall(&Request::system(), drill)).recall.recall;
    begin(&house, vec![lots(&[&lot])]);
    house.clock.set(day(2, 7));
    done(confirm(&house, id, confirmation(KITCHEN, &lot, LineOutcome::Found)));
    done(house.tubtrail.close_recall(&Request::system(), id, closing()));
    let report = house.tubtrail.show_drill_report(&Request::system(), DrillsAsked { last: 10 }).expect("a report");
    assert_eq!(report.drills.len(), 1, "the real one is no drill");
    let drill = &report.drills[0];
    assert_eq!((drill.recall, drill.seed_lots, drill.reached_lots, drill.in_time), (id, 1, 1, true));
    assert_eq!(drill.times.trace_to_last_confirmation_seconds, Some(3600));
    assert_eq!((drill.mass.available_grams.mg(), drill.ended), (5_000_000, Some(EndingWay::Closed)));
}

/// What was only practised holds nothing once it is over, and nothing more can be done in it.
fn a_drill_that_is_closed_frees_what_it_held(backend: Backend) {
    let house = house(backend);
    let lot = tub(&house, 5000);
    bring(&house, SHOP, &[&lot]);
    let system = Request::system();
    let drill = NewRecall { kind: RecallKind::Drill, ..recall(vec![lots(&[&lot])]) };
    let id = done(house.tubtrail.begin_recall(&system, drill)).recall.recall;
    assert_eq!(word(house.tubtrail.open_tub(&system, &lot, Opening::default())), "lot-recalled", "it is practised");
    done(confirm(&house, id, confirmation(SHOP, &lot, LineOutcome::Found)));
    done(house.tubtrail.close_recall(&system, id, closing()));
    done(house.tubtrail.open_tub(&system, &lot, Opening::default()));
    done(serve(&house, &lot, 100));
    assert_eq!(word(house.tubtrail.withdraw_recall(&system, id, closing())), "recall-ended", "it holds nothing");
    assert_eq!(word(confirm(&house, id, confirmation(SHOP, &lot, LineOutcome::Destroyed))), "recall-ended");
    let case = case(&house, id);
    assert_eq!((case.sums.reached_lots, case.sums.mass.served_grams.mg(), case.overdue_lines), (1, 100_000, 0));
    assert_adds_up(&case);
}

/// A recall concerns the whole house: to begin one needs the role everywhere. Who may see it sees all of it.
fn who_may_do_what(backend: Backend) {
    let house = house(backend);
    let lot = tub(&house, 5000);
    bring(&house, SHOP, &[&lot]);
    let new = || recall(vec![lots(&[&lot])]);
    let everywhere = |role| house.someone(role, None);
    let forbidden = || problem("forbidden", "");
    for who in [someone(&house, Role::Owner, KITCHEN), someone(&house, Role::Kitchen, KITCHEN), everywhere(Role::Shop)]
    {
        assert_eq!(refused(house.tubtrail.begin_recall(&who, new())), forbidden());
    }
    let id = done(house.tubtrail.begin_recall(&everywhere(Role::Kitchen), new())).recall.recall;
    let shop = someone(&house, Role::Shop, OTHER_SHOP);
    assert_eq!(house.tubtrail.get_recall(&shop, id).expect("they may").sums.reached_lots, 1);
    assert_eq!(house.tubtrail.list_recall_lines(&shop, id, "", 10).expect("they may").head.total_lots, 1);
    let till = someone(&house, Role::Device, SHOP);
    let not_theirs: [Option<OperationError>; 3] = [
        house.tubtrail.get_recall(&till, id).err(),
        house.tubtrail.list_recall_lines(&till, id, "", 10).err(),
        house.tubtrail.show_pull_list(&till, id, SHOP).err(),
    ];
    for error in not_theirs {
        assert_eq!(error.expect("a till sees no recall").problem.word, "forbidden");
    }
    let confirm_as = |who: &Request, site: &str| {
        house.tubtrail.confirm_recall_lines(who, id, confirmation(site, &lot, LineOutcome::Found))
    };
    assert_eq!(refused(confirm_as(&shop, SHOP)), problem("not-found", "site"));
    assert_eq!(refused(confirm_as(&someone(&house, Role::Inspector, SHOP), SHOP)), forbidden());
    done(confirm_as(&someone(&house, Role::Shop, SHOP), SHOP));
    let withdraw = |who: &Request| house.tubtrail.withdraw_recall(who, id, closing());
    assert_eq!(refused(withdraw(&everywhere(Role::Kitchen))), forbidden());
    assert_eq!(refused(withdraw(&someone(&house, Role::Owner, KITCHEN))), forbidden());
    done(withdraw(&everywhere(Role::Owner)));
    assert_eq!(refused(house.tubtrail.get_recall(&shop, 1)), problem("not-found", ""));
}

fn the_lines_are_paged_and_streamed(backend: Backend) {
    let house = house(backend);
    let made = tubs(&house, &[5000, 5000, 5000]);
    let all: Vec<&str> = made.iter().map(String::as_str).collect();
    let transfer = send(&house, SHOP, &[&made[0]]);
    done(house.tubtrail.receive_transfer(&Request::system(), transfer.id, all_as_sent()));
    let id = begin(&house, vec![lots(&all)]).recall.recall;
    let system = Request::system();
    let whole = lines(&house, id);
    let first = house.tubtrail.list_recall_lines(&system, id, "", 2).expect("a page");
    let next = first.next.clone().expect("there is another");
    let second = house.tubtrail.list_recall_lines(&system, id, &next, 2).expect("a page");
    assert_eq!((first.head.total_lots, second.next), (3, None));
    assert_eq!([first.lines, second.lines].concat(), whole);
    let wrong = house.tubtrail.list_recall_lines(&system, id, "next", 2);
    assert_eq!(refused(wrong), problem("invalid", "after"));
    let moved = house.tubtrail.list_recall_lines(&system, id, "2.0123456789abcdef", 2);
    assert_eq!(refused(moved), problem("trace-moved", "after"));
    let mut stream = house.tubtrail.stream_recall_lines(&system, id).expect("a stream");
    let mut streamed = Vec::new();
    loop {
        let more = house.tubtrail.more_recall_lines(&mut stream).expect("more of it");
        if more.is_empty() {
            break;
        }
        streamed.extend(more);
    }
    assert_eq!(streamed, whole);
    assert_eq!(refused(house.tubtrail.begin_recall(&system, recall(vec![codes(&["none"])]))).0, "nothing-fits");
}
