//! Recalls: what they hold, where everything is in grams, and whether it adds up.

use std::collections::BTreeMap;

use tubtrail_operations::completions::OutputKind;
use tubtrail_operations::consignments::Consignment;
use tubtrail_operations::counts::{NewCount, NewCountLine};
use tubtrail_operations::discards::Discard;
use tubtrail_operations::holds::Because;
use tubtrail_operations::picks::PicksWanted;
use tubtrail_operations::recalls::{NewRecall, RecallKind, RecallMass, RecallsAsked, SeedAsked, SeedsAsked};
use tubtrail_operations::tubs::{Emptying, Opening};
use tubtrail_operations::{Grams, Request};
use tubtrail_tests::batches::of;
use tubtrail_tests::house::{KITCHEN, SHOP, day, grams};
use tubtrail_tests::{Backend, TestHouse, on_both};

use crate::recalled::{
    assert_adds_up, begin, case, closing, codes, lines, lots, reached, recall, seed_mg, serve, word,
};
use crate::shelf::{all_as_sent, bring, done, house, output, parcel, problem, refused, send, tub};

on_both!(
    the_recall_on_paper_adds_up,
    what_a_recall_would_reach_is_seen_before_it_is_begun,
    thirds_add_up_to_the_milligram,
    what_a_count_found_or_missed_is_in_the_account,
    nothing_of_it_is_used_moved_opened_served_or_consigned,
    what_is_on_its_way_arrives_and_is_held_there,
    a_hold_is_not_released_while_a_recall_keeps_the_lot,
    a_withdrawn_recall_holds_nothing,
    a_drill_may_leave_everything_where_it_is,
    recalls_are_listed,
);

/// 10 kg of paste, code 24-118. 4 kg of it and 6 kg of sugar make tubs of 5 kg and 4 kg; 1 kg is lost. Of the tub of 5 kg,
/// 1 kg was served at the shop; the tub of 4 kg went to the bistro; 500 g of the paste were thrown away.
struct Paper {
    house: TestHouse,
    paste: String,
    open: String,
    consigned: String,
}

fn paper(backend: Backend) -> Paper {
    let house = house(backend);
    let paste = house.receive("nut-mill", "hazelnut-paste", "24-118", 10_000);
    let sugar = house.receive("nut-mill", "sugar", "S-1", 6000);
    let outputs = vec![output(OutputKind::Tub, 5000), output(OutputKind::Tub, 4000)];
    let made = house.make("gianduja", vec![of(&paste, 4000), of(&sugar, 6000)], outputs);
    let (open, consigned) = (made.outputs[0].lot.clone(), made.outputs[1].lot.clone());
    bring(&house, SHOP, &[&open]);
    house.clock.set(day(2, 10));
    done(house.tubtrail.open_tub(&Request::system(), &open, Opening::default()));
    house.clock.set(day(2, 11));
    done(serve(&house, &open, 600));
    house.clock.set(day(2, 12));
    done(serve(&house, &open, 400));
    done(house.tubtrail.consign_lot(&Request::system(), &consigned, consignment()));
    done(house.tubtrail.discard_lot(&Request::system(), &paste, discard(500)));
    house.clock.set(day(2, 13));
    Paper { house, paste, open, consigned }
}

/// Of 10 000 g of paste 4000 went into the batch, with 6000 of sugar; 9000 of 10 000 came out, so 400 g of paste were lost,
/// 2000 are in the tub of 5 kg and 1600 in that of 4 kg. Of the first a fifth is served, 400 g; the second is at the bistro.
/// 500 g were thrown away, 5500 lie in the kitchen.
fn what_a_recall_would_reach_is_seen_before_it_is_begun(backend: Backend) {
    let Paper { house, open, .. } = paper(backend);
    let asked = |code: &str| SeedsAsked { seeds: vec![codes(&[code])], with_contact: false };
    let foreseen = house.tubtrail.foresee_recall(&Request::system(), &asked("24-118"));
    let foreseen = foreseen.unwrap_or_else(|error| panic!("{error}"));
    assert_eq!((foreseen.sums.seed_lots, foreseen.sums.reached_lots, foreseen.sums.consignees), (1, 3, 1));
    let mass = RecallMass {
        received_grams: Grams::from_mg(10_000_000),
        available_grams: Grams::from_mg(5_500_000),
        open_grams: Grams::from_mg(1_600_000),
        served_grams: Grams::from_mg(400_000),
        consigned_grams: Grams::from_mg(1_600_000),
        discarded_grams: Grams::from_mg(500_000),
        lost_grams: Grams::from_mg(400_000),
        ..RecallMass::default()
    };
    assert_eq!(foreseen.sums.mass, mass);
    let sites: Vec<_> = foreseen
        .sums
        .sites
        .iter()
        .map(|site| (site.site.as_str(), site.on_hand_grams.mg() / 1000, site.open_lines))
        .collect();
    assert_eq!(sites, [(KITCHEN, 5500, 1), (SHOP, 4000, 1)], "whole lots, as they stand there");
    let mut trace = house.tubtrail.stream_seeds_trace(&Request::system(), &asked("24-118")).expect("a trace");
    let traced = house.tubtrail.more_of_trace(&mut trace).expect("its lots");
    assert_eq!((trace.head.total, traced.len(), trace.is_at_its_end()), (3, 3, true));

    let unknown = refused(house.tubtrail.foresee_recall(&Request::system(), &asked("24-999")));
    assert_eq!(unknown, problem("nothing-fits", "seeds[0].codes[0]"));
    done(serve(&house, &open, 100));
    let recalls = house.tubtrail.list_recalls(&Request::system(), &everything()).expect("a list");
    assert_eq!(recalls.items, [], "looking writes nothing down");
    let begun = begin(&house, vec![codes(&["24-118"])]);
    let case = case(&house, begun.recall.recall);
    assert_eq!((case.sums.reached_lots, case.sums.consignees), (foreseen.sums.reached_lots, foreseen.sums.consignees));
    let mut trace = house.tubtrail.stream_recall_trace(&Request::system(), begun.recall.recall).expect("a trace");
    let traced = house.tubtrail.more_of_trace(&mut trace).expect("its lots");
    assert!(traced.iter().all(|lot| lot.recalls == [begun.recall.recall]), "{traced:?}");
}

fn everything() -> RecallsAsked {
    RecallsAsked { kind: None, open: None, after: String::new(), limit: 100 }
}

fn consignment() -> Consignment {
    let document = Some("DN-311".into());
    Consignment { customer: "bistro".into(), site: None, quantity: None, document, consigned_at: None }
}

fn discard(mass: u32) -> Discard {
    let (quantity, reason) = (Some(grams(mass)), Some("spilt".into()));
    Discard { site: None, state: None, quantity, reason, discarded_at: None }
}

fn at(places: &[(&str, &str, i64)]) -> BTreeMap<(String, String), i64> {
    places.iter().map(|(site, state, mg)| (((*site).into(), (*state).into()), *mg)).collect()
}

/// 4 kg of paste in 10 kg of mix of which 9 kg came out: 2 kg of it are in the tub of 5 kg, 1.6 kg in that of 4 kg, 400 g
/// were lost. A fifth of the first was served: 400 g; 1.6 kg stand open. Of the paste itself 5.5 kg are on the shelf and
/// 500 g in the bin. 5500 + 1600 + 400 + 1600 + 500 + 400 = 10 000 g.
fn the_recall_on_paper_adds_up(backend: Backend) {
    let Paper { house, paste, open, consigned } = paper(backend);
    let noticed = NewRecall { noticed_at: Some(day(2, 12)), ..recall(vec![codes(&["24-118"])]) };
    let begun = done(house.tubtrail.begin_recall(&Request::system(), noticed));
    assert_eq!((begun.seed_lots, begun.reached_lots), (1, 3));
    let id = begun.recall.recall;

    let case = case(&house, id);
    let g = |grams: i64| Grams::from_mg(grams * 1000);
    let mass = &case.sums.mass;
    assert_eq!((mass.received_grams, mass.found_grams), (g(10_000), g(0)));
    assert_eq!((mass.available_grams, mass.open_grams, mass.in_transit_grams), (g(5500), g(1600), g(0)));
    assert_eq!((mass.served_grams, mass.consigned_grams, mass.discarded_grams), (g(400), g(1600), g(500)));
    assert_eq!((mass.lost_grams, mass.in_open_batches_grams, mass.in_seeds_grams), (g(400), g(0), g(0)));
    assert_adds_up(&case);
    assert_eq!((case.sums.seed_lots, case.sums.reached_lots, case.sums.by_contact_lots), (1, 3, 0));
    assert_eq!((case.open_lines, case.overdue_lines), (2, 0), "the paste at the kitchen, the open tub at the shop");
    assert_eq!((case.sums.consignees, case.open_replies), (1, 1));
    assert_eq!(case.times.notice_to_trace_seconds, 3600);
    assert_eq!(case.recall.due_at, day(3, 12), "24 hours after it was heard of");
    let sites: Vec<_> = case.sums.sites.iter().map(|site| (site.site.as_str(), site.lots, site.lots_on_hand)).collect();
    assert_eq!(sites, [(KITCHEN, 2, 1), (SHOP, 1, 1)], "the tub for the shop left nothing at the kitchen");

    assert_eq!(seed_mg(&house, id, &paste), at(&[(KITCHEN, "available", 5_500_000), (KITCHEN, "discarded", 500_000)]));
    assert_eq!(seed_mg(&house, id, &open), at(&[(SHOP, "open", 1_600_000), (SHOP, "served", 400_000)]));
    assert_eq!(seed_mg(&house, id, &consigned), at(&[(KITCHEN, "consigned", 1_600_000)]));
    let lines = lines(&house, id);
    let served = lines.iter().find(|line| line.lot == open && line.site == SHOP).expect("a line of the open tub");
    assert_eq!((served.served_from, served.served_until), (Some(day(2, 10)), Some(day(2, 12))), "since it was opened");
    assert!(served.open && !served.overdue && !served.is_seed && !served.by_contact, "{served:?}");
    let gone = lines.iter().find(|line| line.lot == consigned).expect("a line of the tub that went");
    let to = &gone.consigned_to[0];
    assert_eq!((to.customer.as_str(), to.grams, to.document.as_deref()), ("bistro", g(4000), Some("DN-311")));
    assert!(!gone.open, "nothing of it is here");
    let used = lines.iter().find(|line| line.lot == paste).expect("a line of the paste");
    let used = used.places.iter().find(|place| place.state == "used").expect("4 kg were used");
    assert_eq!((used.grams, used.seed_grams), (g(4000), None), "that is in the tubs");
}

/// 100 g of paste and 200 g of sugar make three tubs of 100 g: 33.333 g each. To the milligram that is 33.334, 33.333 and
/// 33.333, for the three are to come to 100 g.
fn thirds_add_up_to_the_milligram(backend: Backend) {
    let house = house(backend);
    let paste = house.receive("nut-mill", "hazelnut-paste", "24-118", 100);
    let sugar = house.receive("nut-mill", "sugar", "S-1", 200);
    let tubs = (0..3).map(|_| output(OutputKind::Tub, 100)).collect();
    let made = house.make("gianduja", vec![of(&paste, 100), of(&sugar, 200)], tubs);
    let id = begin(&house, vec![lots(&[&paste])]).recall.recall;
    let shares: Vec<i64> = made.outputs.iter().map(|tub| seed_mg(&house, id, &tub.lot).into_values().sum()).collect();
    assert_eq!(shares, [33_334, 33_333, 33_333]);
    assert_adds_up(&case(&house, id));
}

/// 10 kg of paste came; counts find 10.5 kg: it was half a kilogram more from the beginning. Of another 10 kg a count misses
/// 400 g: they were there, and nobody knows where they are.
fn what_a_count_found_or_missed_is_in_the_account(backend: Backend) {
    let house = house(backend);
    let (more, less) = (
        house.receive("nut-mill", "hazelnut-paste", "24-118", 10_000),
        house.receive("nut-mill", "hazelnut-paste", "24-119", 10_000),
    );
    let id = begin(&house, vec![codes(&["24-118", "24-119"])]).recall.recall;
    let line = |lot: &str, found: u32| NewCountLine {
        lot: lot.into(),
        state: None,
        found: grams(found),
        reason: Some("counted".into()),
    };
    let count = NewCount {
        site: KITCHEN.into(),
        counted_at: None,
        note: None,
        complete: false,
        reason: None,
        lines: vec![line(&more, 10_500), line(&less, 9600)],
    };
    done(house.tubtrail.count_site(&Request::system(), count));
    let case = case(&house, id);
    let g = |grams: i64| Grams::from_mg(grams * 1000);
    assert_eq!((case.sums.mass.received_grams, case.sums.mass.found_grams), (g(20_000), g(500)));
    assert_eq!((case.sums.mass.available_grams, case.sums.mass.count_difference_grams), (g(20_100), g(400)));
    assert_adds_up(&case);
}

fn nothing_of_it_is_used_moved_opened_served_or_consigned(backend: Backend) {
    let Paper { house, paste, open, .. } = paper(backend);
    let system = Request::system();
    let more = house.make("gianduja", vec![of(&paste, 100)], vec![output(OutputKind::Tub, 100)]);
    let closed = more.outputs[0].lot.clone();
    let batch = house.start("gianduja");
    let id = begin(&house, vec![codes(&["24-118"])]).recall.recall;

    let error = serve(&house, &open, 100).unwrap_err();
    assert_eq!(error.problem.word, "lot-recalled");
    assert_eq!(
        error.detail.to_string(),
        format!(
            "Tub {open} is under recall {id} (listeria): do not open or serve it and do not send it anywhere. Put it aside, \
             tell customers this flavour is not available, and call the responsible person."
        )
    );
    assert_eq!(error.lots, [open.as_str()]);
    assert_eq!(word(house.tubtrail.empty_tub(&system, &open, Emptying::default())), "lot-recalled");
    assert_eq!(word(house.tubtrail.open_tub(&system, &closed, Opening::default())), "lot-recalled");
    assert_eq!(word(house.tubtrail.consign_lot(&system, &closed, consignment())), "lot-recalled");
    let sent = house.tubtrail.dispatch_transfer(&system, parcel(SHOP, &[&closed]));
    assert_eq!(refused(sent), problem("lot-recalled", "lines[0].lot"));
    let used = house.add(batch, vec![of(&paste, 10)]).unwrap_err();
    assert_eq!((used.problem.word, used.field.as_deref()), ("lot-recalled", Some("uses[0].lot")));

    let picks = house.tubtrail.propose_picks(&system, "gianduja", &PicksWanted { site: KITCHEN.into(), grams: None });
    let picks = picks.expect("there is a recipe");
    assert!(picks.lines.iter().all(|line| line.picks.is_empty()), "what is recalled is not proposed: {picks:?}");
    let lot = house.tubtrail.get_lot(&system, &closed).expect("it is there");
    assert_eq!((lot.recalls, lot.on_hold), (vec![id], None));

    // What may be done with it still: it is thrown away.
    done(house.tubtrail.discard_lot(&system, &open, Discard { quantity: None, ..discard(0) }));
    assert_adds_up(&case(&house, id));
}

/// A tub on its way to the shop when the recall begins is received there, and held.
fn what_is_on_its_way_arrives_and_is_held_there(backend: Backend) {
    let house = house(backend);
    let lot = tub(&house, 5000);
    let transfer = send(&house, SHOP, &[&lot]);
    let id = begin(&house, vec![lots(&[&lot])]).recall.recall;
    assert_eq!(seed_mg(&house, id, &lot), at(&[(KITCHEN, "in_transit", 5_000_000)]));
    done(house.tubtrail.receive_transfer(&Request::system(), transfer.id, all_as_sent()));
    assert_eq!(seed_mg(&house, id, &lot), at(&[(SHOP, "available", 5_000_000)]));
    assert_eq!(word(house.tubtrail.open_tub(&Request::system(), &lot, Opening::default())), "lot-recalled");
}

fn a_hold_is_not_released_while_a_recall_keeps_the_lot(backend: Backend) {
    let house = house(backend);
    let system = Request::system();
    let lot = tub(&house, 5000);
    let because = || Because { reason: Some("a smell".into()) };
    let hold = done(house.tubtrail.hold_lot(&system, &lot, because()));
    let id = begin(&house, vec![lots(&[&lot])]).recall.recall;
    let released = house.tubtrail.release_hold(&system, hold.id, because()).unwrap_err();
    assert_eq!((released.problem.word, released.lots), ("lot-recalled", vec![lot.clone()]));
    done(house.tubtrail.withdraw_recall(&system, id, closing()));
    assert_eq!(word(house.tubtrail.open_tub(&system, &lot, Opening::default())), "lot-on-hold");
    done(house.tubtrail.release_hold(&system, hold.id, because()));
}

fn a_withdrawn_recall_holds_nothing(backend: Backend) {
    let Paper { house, open, .. } = paper(backend);
    let id = begin(&house, vec![codes(&["24-118"])]).recall.recall;
    assert_eq!(word(serve(&house, &open, 100)), "lot-recalled");
    let before = case(&house, id);
    let ending = done(house.tubtrail.withdraw_recall(&Request::system(), id, closing()));
    assert_eq!((ending.name.as_str(), ending.by.as_str()), ("Ines Owner", "system"));
    done(serve(&house, &open, 100));
    let after = case(&house, id);
    assert_eq!(after.recall.ending, Some(ending), "what it reached can still be read");
    assert_eq!(after.sums.reached_lots, before.sums.reached_lots);
    assert_adds_up(&after);
    let again = house.tubtrail.withdraw_recall(&Request::system(), id, closing());
    assert_eq!(word(again), "recall-ended");
}

fn a_drill_may_leave_everything_where_it_is(backend: Backend) {
    let Paper { house, open, .. } = paper(backend);
    let drill = |holds| NewRecall { kind: RecallKind::Drill, holds, ..recall(vec![codes(&["24-118"])]) };
    let free = done(house.tubtrail.begin_recall(&Request::system(), drill(Some(false))));
    assert_eq!(free.reached_lots, 3);
    done(serve(&house, &open, 100));
    assert!(house.tubtrail.get_lot(&Request::system(), &open).expect("it is there").recalls.is_empty());
    assert_adds_up(&case(&house, free.recall.recall));
    let held = done(house.tubtrail.begin_recall(&Request::system(), drill(None)));
    let error = serve(&house, &open, 100).unwrap_err();
    assert!(error.detail.to_string().contains(&format!("under recall drill {}", held.recall.recall)), "{error}");
    let real = NewRecall { holds: Some(false), ..recall(vec![codes(&["24-118"])]) };
    assert_eq!(refused(house.tubtrail.begin_recall(&Request::system(), real)), problem("invalid", "holds"));
}

fn recalls_are_listed(backend: Backend) {
    use tubtrail_operations::recalls::RecallsAsked;
    let Paper { house, paste, open, .. } = paper(backend);
    let system = Request::system();
    let real = begin(&house, vec![codes(&["24-118"])]);
    let drill = NewRecall { kind: RecallKind::Drill, ..recall(vec![lots(&[&open])]) };
    let drill = done(house.tubtrail.begin_recall(&system, drill));
    let asked = || RecallsAsked { kind: None, open: None, after: String::new(), limit: 100 };
    let list = |asked: RecallsAsked| -> Vec<i64> {
        let page = house.tubtrail.list_recalls(&system, &asked).expect("they are listed");
        page.items.into_iter().map(|recall| recall.recall).collect()
    };
    let (real, drill) = (real.recall.recall, drill.recall.recall);
    assert_eq!(list(asked()), [drill, real], "the last first");
    assert_eq!(list(RecallsAsked { kind: Some(RecallKind::Drill), ..asked() }), [drill]);
    done(house.tubtrail.withdraw_recall(&system, drill, closing()));
    assert_eq!(list(RecallsAsked { open: Some(true), ..asked() }), [real]);
    assert_eq!(list(RecallsAsked { open: Some(false), ..asked() }), [drill]);
    let first = house.tubtrail.list_recalls(&system, &RecallsAsked { limit: 1, ..asked() }).expect("a page");
    assert_eq!(list(RecallsAsked { after: first.next.expect("there is another"), ..asked() }), [real]);
    assert_eq!(first.items[0].seeds, [SeedAsked::Lots { lots: vec![open] }], "as it was asked");
    assert_eq!(reached(&house, real).first(), Some(&paste));
}
