//! A week on paper, and every event that records for others tell of it.

use chrono::NaiveDate;
use tubtrail_operations::completions::OutputKind::{Base, Tub};
use tubtrail_operations::consignments::Consignment;
use tubtrail_operations::counts::{NewCount, NewCountLine};
use tubtrail_operations::discards::Discard;
use tubtrail_operations::exports::{EventKind, EventsAsked, Goods, PaperKind, TrackingEvent};
use tubtrail_operations::reach::{EXPORT_EPCIS, EXPORT_SFCR};
use tubtrail_operations::recalls::{NewRecall, RecallKind, SeedAsked};
use tubtrail_operations::receipts::NewReceipt;
use tubtrail_operations::sites::{Site, SiteKind};
use tubtrail_operations::transfers::{NewTransfer, NewTransferLine};
use tubtrail_operations::voids::UseVoid;
use tubtrail_operations::{Grams, OperationError, Request, Role};
use tubtrail_tests::batches::{because, of, out, refused, untracked};
use tubtrail_tests::house::{KITCHEN, OTHER_SHOP, SHOP, day, grams, line, site};
use tubtrail_tests::{Backend, TestHouse, on_both};

on_both!(
    a_week_is_told_event_by_event,
    the_same_is_told_the_same_again,
    days_and_sites_narrow_it,
    a_lot_is_told_with_all_that_is_in_it_and_all_that_became_of_it,
    a_recall_is_told_as_far_as_it_reaches,
    what_went_in_is_told_to_the_milligram,
    who_may_not_read_all_is_told_less_or_nothing,
);

/// What was made in the week.
struct Week {
    house: TestHouse,
    milk: String,
    sugar: String,
    tubs: Vec<String>,
}

/// Monday: 8000 g of milk, 1000 of pistachio paste and 500 of sugar come in; 6000 of milk and 500 of water become 6000 of base.
/// Tuesday: 4000 of base, 400 of paste and 100 of sugar become two tubs of 2100. Wednesday: both go to the harbour and arrive.
/// Thursday: one is handed to the bistro; of the other 2050 are found. Friday: that is thrown away. Saturday: the sugar was not
/// in it after all, and it was 20 more of the paste.
fn week(backend: Backend) -> Week {
    let house = TestHouse::new(backend);
    house.recipe("white", "white-base", &[("milk", 6000), ("water", 500)], 6000);
    house.recipe("pistachio-10", "pistachio", &[("white-base", 4000), ("pistachio-paste", 400), ("sugar", 100)], 4200);
    let milk = house.receive("dairy", "milk", "M-1", 8000);
    let both = vec![line("pistachio-paste", "24-118", 1000), line("sugar", "S-1", 500)];
    let nuts = house.deliver("nut-mill", both).unwrap_or_else(|error| panic!("{error}"));
    let [paste, sugar] = [0, 1].map(|at: usize| nuts.lines[at].lot.clone().expect("it became a lot"));
    house.clock.set(day(2, 8));
    let base = house.make("white", vec![of(&milk, 6000), untracked("water", 500)], vec![out(Base, 6000)]);
    house.clock.set(day(3, 12));
    let uses = vec![of(&base.outputs[0].lot, 4000), of(&paste, 400), of(&sugar, 100)];
    let made = house.make("pistachio-10", uses, vec![out(Tub, 2100), out(Tub, 2100)]);
    let tubs: Vec<String> = made.outputs.iter().map(|output| output.lot.clone()).collect();
    send(&house, &tubs);
    hand_over_count_and_discard(&house, &tubs);
    house.clock.set(day(7, 9));
    house.add(made.id, vec![because("the jar was fuller", of(&paste, 20))]).expect("added late");
    house.clock.set(day(7, 10));
    let void = UseVoid { reason: "the sugar was for the other batch".into() };
    house.tubtrail.void_use(&Request::system(), made.uses[2].id, void).expect("voided");
    Week { house, milk, sugar, tubs }
}

fn send(house: &TestHouse, tubs: &[String]) {
    let owner = Request::system();
    house.clock.set(day(4, 9));
    let lines = tubs.iter().map(|tub| NewTransferLine { lot: tub.clone(), quantity: None }).collect();
    let new = NewTransfer { from: KITCHEN.into(), to: SHOP.into(), lines, dispatched_at: None, note: None };
    let sent = house.tubtrail.dispatch_transfer(&owner, new).expect("sent").answer;
    house.clock.set(day(4, 10));
    let all = NewReceipt { received_at: None, lines: vec![], rest: None, all_as_sent: true, reason: None, note: None };
    house.tubtrail.receive_transfer(&owner, sent.id, all).expect("received");
}

fn hand_over_count_and_discard(house: &TestHouse, tubs: &[String]) {
    let owner = Request::system();
    house.clock.set(day(5, 9));
    let to = Consignment {
        customer: "bistro".into(),
        site: None,
        quantity: None,
        document: Some("DN-311".into()),
        consigned_at: None,
    };
    house.tubtrail.consign_lot(&owner, &tubs[0], to).expect("handed over");
    house.clock.set(day(5, 10));
    let reason = Some("scraped at the rim".to_owned());
    let found = NewCountLine { lot: tubs[1].clone(), state: None, found: grams(2050), reason };
    let new =
        NewCount { site: SHOP.into(), counted_at: None, lines: vec![found], complete: false, reason: None, note: None };
    house.tubtrail.count_site(&owner, new).expect("counted");
    house.clock.set(day(6, 9));
    let away = Discard {
        site: None,
        state: None,
        quantity: None,
        reason: Some("the freezer failed".into()),
        discarded_at: None,
    };
    house.tubtrail.discard_lot(&owner, &tubs[1], away).expect("thrown away");
}

/// All that is told to somebody of what they ask for.
pub fn told(house: &TestHouse, who: &Request, asked: &EventsAsked) -> Result<Vec<TrackingEvent>, OperationError> {
    let mut events = house.tubtrail.tracking_events(who, &EXPORT_EPCIS, asked)?;
    let mut all = Vec::new();
    loop {
        let more = house.tubtrail.more_tracking_events(&mut events)?;
        if more.is_empty() {
            return Ok(all);
        }
        all.extend(more);
    }
}

/// All that there is to tell.
#[track_caller]
pub fn all(house: &TestHouse) -> Vec<TrackingEvent> {
    told(house, &Request::system(), &EventsAsked::default()).unwrap_or_else(|error| panic!("{error}"))
}

/// What there is to tell of a lot.
pub fn of_lot(lot: &str) -> EventsAsked {
    EventsAsked { lot: Some(lot.into()), ..EventsAsked::default() }
}

/// Item and grams of each of some goods.
pub fn amounts(goods: &[Goods]) -> Vec<(&str, i64)> {
    goods.iter().map(|goods| (&*goods.item, goods.grams.mg() / 1000)).collect()
}

/// What each event is.
pub fn kinds(events: &[TrackingEvent]) -> Vec<EventKind> {
    events.iter().map(|event| event.kind).collect()
}

fn a_week_is_told_event_by_event(backend: Backend) {
    use EventKind::{Arrived, Consigned, Counted, Destroyed, Dispatched, Packed, Received, Transformed, Unpacked};
    let week = week(backend);
    let events = all(&week.house);
    let due = [
        (Received, 2, 6, KITCHEN, vec![("milk", 8000)], vec![]),
        (Received, 2, 6, KITCHEN, vec![("pistachio-paste", 1000), ("sugar", 500)], vec![]),
        (Transformed, 2, 8, KITCHEN, vec![("milk", 6000), ("water", 500)], vec![("white-base", 6000)]),
        // As it was completed, with the paste that was added, and without the sugar.
        (
            Transformed,
            3,
            12,
            KITCHEN,
            vec![("pistachio-paste", 400), ("sugar", 100), ("white-base", 4000)],
            vec![("pistachio", 2100), ("pistachio", 2100)],
        ),
        (
            Transformed,
            3,
            12,
            KITCHEN,
            vec![("pistachio-paste", 420), ("sugar", 100), ("white-base", 4000)],
            vec![("pistachio", 2100), ("pistachio", 2100)],
        ),
        (
            Transformed,
            3,
            12,
            KITCHEN,
            vec![("pistachio-paste", 420), ("white-base", 4000)],
            vec![("pistachio", 2100), ("pistachio", 2100)],
        ),
        (Packed, 4, 9, KITCHEN, vec![("pistachio", 2100), ("pistachio", 2100)], vec![]),
        (Dispatched, 4, 9, KITCHEN, vec![("pistachio", 2100), ("pistachio", 2100)], vec![]),
        (Arrived, 4, 10, SHOP, vec![("pistachio", 2100), ("pistachio", 2100)], vec![]),
        (Unpacked, 4, 10, SHOP, vec![("pistachio", 2100), ("pistachio", 2100)], vec![]),
        (Consigned, 5, 9, SHOP, vec![("pistachio", 2100)], vec![]),
        (Counted, 5, 10, SHOP, vec![("pistachio", 2050)], vec![]),
        (Destroyed, 6, 9, SHOP, vec![("pistachio", 2050)], vec![]),
    ];
    assert_eq!(events.len(), due.len(), "{:?}", kinds(&events));
    for (event, (kind, on, hour, site, goods, made)) in events.iter().zip(due) {
        assert_eq!((event.kind, event.at, event.site.code.as_str()), (kind, day(on, hour), site));
        assert_eq!((amounts(&event.goods), amounts(&event.made)), (goods, made), "{kind:?} on {on}");
        assert_eq!(event.offset_minutes, 0, "Lisbon in November");
    }
    let other = |at: usize| events[at].other.as_ref().map(|party| party.code.as_str());
    let paper = |at: usize| events[at].paper.as_ref().map(|paper| (paper.kind, paper.number.as_str()));
    assert_eq!([0, 1, 7, 8, 10].map(other), ["dairy", "nut-mill", SHOP, KITCHEN, "bistro"].map(Some));
    assert_eq!(paper(10), Some((PaperKind::Consignment, "DN-311")));
    assert_eq!([6, 7, 9].map(paper), [8; 3].map(paper), "the transfer");
    assert_eq!(events[11].expected.map(Grams::mg), Some(2_100_000));
    assert_eq!(events[12].reason.as_deref(), Some("the freezer failed"));
    let withdrawn = |at: usize| events[at].withdrawn.as_ref();
    let (first, second) = (withdrawn(3).expect("put right"), withdrawn(4).expect("put right"));
    assert_eq!((first.at, first.instead.as_ref()), (day(7, 9), Some(&events[4].id)));
    assert_eq!((second.at, second.instead.as_ref()), (day(7, 10), Some(&events[5].id)));
    assert_eq!(first.reason.as_deref(), Some("the jar was fuller"));
    assert_eq!(second.reason.as_deref(), Some("the sugar was for the other batch"));
    assert_eq!((withdrawn(5), events[5].recorded_at), (None, day(7, 10)));
    let tub = &events[10].goods[0];
    assert_eq!(tub.lot.as_deref(), Some(week.tubs[0].as_str()));
    assert_eq!(tub.source.as_ref().map(|source| source.code.as_str()), Some(KITCHEN), "who gave it its number");
}

fn the_same_is_told_the_same_again(backend: Backend) {
    let week = week(backend);
    let first = all(&week.house);
    assert_eq!(all(&week.house), first);
    let ids: std::collections::BTreeSet<&str> = first.iter().map(|event| event.id.as_str()).collect();
    assert_eq!(ids.len(), first.len(), "each has its own");
    // RFC 9562: version 8 stands in the third group, the variant in the fourth.
    for id in ids {
        let groups: Vec<&str> = id.strip_prefix("urn:uuid:").expect("a UUID").split('-').collect();
        assert_eq!(groups.iter().map(|group| group.len()).collect::<Vec<_>>(), [8, 4, 4, 4, 12]);
        assert!(groups[2].starts_with('8') && groups[3].starts_with(['8', '9', 'a', 'b']), "{id}");
    }
    // What is written down later changes nothing of what was told.
    week.house.receive("dairy", "milk", "M-2", 100);
    assert_eq!(all(&week.house)[..first.len()], first[..]);
}

fn days_and_sites_narrow_it(backend: Backend) {
    use EventKind::{Arrived, Consigned, Counted, Destroyed, Dispatched, Packed, Unpacked};
    let week = week(backend);
    let on = |day: u32| NaiveDate::from_ymd_opt(2026, 11, day);
    let asked = |from, to, site: Option<&str>| EventsAsked {
        day_from: from,
        day_to: to,
        site: site.map(str::to_owned),
        ..EventsAsked::default()
    };
    let owner = Request::system();
    let narrowed =
        |asked: &EventsAsked| kinds(&told(&week.house, &owner, asked).unwrap_or_else(|error| panic!("{error}")));
    assert_eq!(narrowed(&asked(on(4), on(4), None)), [Packed, Dispatched, Arrived, Unpacked]);
    assert_eq!(narrowed(&asked(on(5), None, None)), [Consigned, Counted, Destroyed]);
    assert_eq!(narrowed(&asked(None, None, Some(SHOP))), [Arrived, Unpacked, Consigned, Counted, Destroyed]);
    assert_eq!(narrowed(&asked(on(4), on(4), Some(KITCHEN))), [Packed, Dispatched]);
    assert!(narrowed(&asked(on(8), on(9), None)).is_empty());
    let items = EventsAsked { items: vec!["sugar".into()], ..EventsAsked::default() };
    let of_sugar = told(&week.house, &owner, &items).expect("told");
    assert_eq!(of_sugar.len(), 3, "delivery, and the batch twice as it was thought to hold it");
    assert_eq!(amounts(&of_sugar[0].goods), [("sugar", 500)], "not the paste that came with it");

    let wrong = |asked: &EventsAsked| refused(told(&week.house, &owner, asked));
    assert_eq!(wrong(&asked(on(5), on(4), None)).1, "day_to");
    assert_eq!(wrong(&EventsAsked { day_from: on(4), ..of_lot(&week.milk) }).1, "lot");
    assert_eq!(
        wrong(&EventsAsked { recall: Some(1), ..EventsAsked::default() }),
        ("not-found", "recall".into(), vec![])
    );
    let unknown = EventsAsked { items: vec!["milk".into(), "snow".into()], ..EventsAsked::default() };
    assert_eq!(wrong(&unknown).1, "items[1]");

    // In Auckland it is Tuesday already when it is Monday evening in UTC.
    let zone = "Pacific/Auckland".to_owned();
    week.house.put(Site { time_zone: zone, ..site("far-kitchen", SiteKind::Kitchen) });
    week.house.clock.set(day(9, 20));
    let far = tubtrail_operations::deliveries::NewDelivery {
        supplier: "dairy".into(),
        site: "far-kitchen".into(),
        document: "DN-FAR".into(),
        arrived_at: None,
        note: None,
        lines: vec![line("milk", "M-FAR", 100)],
    };
    week.house.tubtrail.receive_delivery(&owner, far).expect("received");
    assert!(narrowed(&asked(on(9), on(9), None)).is_empty());
    let far = told(&week.house, &owner, &asked(on(10), on(10), None)).expect("told");
    assert_eq!((far.len(), far[0].offset_minutes, far[0].at), (1, 13 * 60, day(9, 20)));
}

fn a_lot_is_told_with_all_that_is_in_it_and_all_that_became_of_it(backend: Backend) {
    use EventKind::{Arrived, Consigned, Counted, Destroyed, Dispatched, Packed, Received, Transformed, Unpacked};
    let week = week(backend);
    let owner = Request::system();
    let of = |lot: &str| told(&week.house, &owner, &of_lot(lot)).unwrap_or_else(|error| panic!("{error}"));
    let made = [Received, Received, Transformed, Transformed, Transformed, Transformed];
    let way = [&made[..], &[Packed, Dispatched, Arrived, Unpacked]].concat();
    // The bistro's tub was not counted, and the other one was not handed over.
    assert_eq!(kinds(&of(&week.tubs[0])), [&way[..], &[Consigned]].concat());
    assert_eq!(kinds(&of(&week.tubs[1])), [&way[..], &[Counted, Destroyed]].concat());
    // Milk is in the base and in both tubs, and nothing else is in milk; but a batch is told as a whole.
    let milk = of(&week.milk);
    assert_eq!(kinds(&milk), [&way[1..], &[Consigned, Counted, Destroyed]].concat());
    assert_eq!(milk[0].other.as_ref().map(|party| party.code.as_str()), Some("dairy"));
    // The sugar went nowhere, but it was said to have gone into the tubs.
    assert_eq!(kinds(&of(&week.sugar)), [Received, Transformed, Transformed, Transformed]);
    assert_eq!(refused(told(&week.house, &owner, &of_lot("261102-9999-0"))).1, "lot");
}

fn a_recall_is_told_as_far_as_it_reaches(backend: Backend) {
    let week = week(backend);
    let owner = Request::system();
    let seeds = vec![SeedAsked::Lots { lots: vec![week.milk.clone()] }];
    let drill = NewRecall {
        kind: RecallKind::Drill,
        class: 2,
        hazard: "a drill".into(),
        seeds,
        with_contact: false,
        holds: Some(false),
        noticed_at: None,
        due_at: None,
        instructions: None,
    };
    let recall = week.house.tubtrail.begin_recall(&owner, drill).expect("begun").answer.recall.recall;
    let asked = EventsAsked { recall: Some(recall), ..EventsAsked::default() };
    let events = told(&week.house, &owner, &asked).unwrap_or_else(|error| panic!("{error}"));
    // All of the week: the nuts' delivery too, for paste is in the tubs.
    assert_eq!(events, all(&week.house));
}

/// Every use that holds, and the water, is in the last way each batch is told, and nothing else is.
fn what_went_in_is_told_to_the_milligram(backend: Backend) {
    let week = week(backend);
    let events = all(&week.house);
    let batches: Vec<&TrackingEvent> =
        events.iter().filter(|event| event.kind == EventKind::Transformed && event.withdrawn.is_none()).collect();
    assert_eq!(batches.len(), 2);
    for event in batches {
        let number = event.paper.as_ref().map(|paper| paper.number.parse().expect("a number")).expect("a batch sheet");
        let batch = week.house.batch(number);
        let sum = |goods: &[Goods]| goods.iter().map(|goods| goods.grams.mg()).sum::<i64>();
        assert_eq!(sum(&event.goods), batch.in_grams.mg());
        let uses = batch.uses.iter().filter(|one| one.voided.is_none()).map(|one| one.grams.mg()).sum::<i64>();
        let with_lots = event.goods.iter().filter(|goods| goods.lot.is_some()).map(|goods| goods.grams.mg());
        assert_eq!(with_lots.sum::<i64>(), uses);
        assert_eq!(sum(&event.made), batch.outputs.iter().map(|output| output.grams.mg()).sum::<i64>());
    }
}

fn who_may_not_read_all_is_told_less_or_nothing(backend: Backend) {
    let week = week(backend);
    let everything = EventsAsked::default();
    let inspector = week.house.someone(Role::Inspector, Some(OTHER_SHOP));
    assert!(told(&week.house, &inspector, &everything).expect("told").is_empty(), "nothing happened there");
    let at_the_harbour = week.house.someone(Role::Inspector, Some(SHOP));
    assert_eq!(told(&week.house, &at_the_harbour, &everything).expect("told").len(), 5);
    let kitchen = EventsAsked { site: Some(KITCHEN.into()), ..EventsAsked::default() };
    assert_eq!(refused(told(&week.house, &at_the_harbour, &kitchen)), ("not-found", "site".into(), vec![]));
    // A trace that hides a part would be taken for a whole one: who may see the tub sees where it came from.
    assert_eq!(told(&week.house, &at_the_harbour, &of_lot(&week.tubs[0])).expect("told").len(), 11);
    assert_eq!(refused(told(&week.house, &inspector, &of_lot(&week.tubs[0]))).0, "not-found");
    let cook = week.house.someone(Role::Kitchen, None);
    assert_eq!(refused(told(&week.house, &cook, &everything)).0, "forbidden");
    let refusal = week.house.tubtrail.tracking_events(&cook, &EXPORT_SFCR, &everything).err().expect("refused");
    assert_eq!(refusal.problem.word, "forbidden");
}
