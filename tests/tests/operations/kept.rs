//! What the index keeps, so that answers need no database, follows every fact that can change it, and is the same when it is
//! read anew.

use tubtrail_operations::allergen_checks::{AllergenCheck, Served, Step};
use tubtrail_operations::allergen_words::Answer;
use tubtrail_operations::counts::{NewCount, NewCountLine};
use tubtrail_operations::discards::{Discard, Standpoint};
use tubtrail_operations::equipment::Equipment;
use tubtrail_operations::items::{Item, ItemKind};
use tubtrail_operations::lots::{Lot, LotSearch};
use tubtrail_operations::partners::Partner;
use tubtrail_operations::recipes::Recipe;
use tubtrail_operations::sites::{Site, SiteKind};
use tubtrail_operations::trace::{Direction, TracedLot};
use tubtrail_operations::tubs::{Emptying, Opening};
use tubtrail_operations::voids::UseVoid;
use tubtrail_operations::{Request, Tubtrail, system_clock};
use tubtrail_tests::batches::of;
use tubtrail_tests::house::{KITCHEN, OTHER_SHOP, SHOP, day, equipment, grams, item, partner, recipe, site};
use tubtrail_tests::{Backend, TestHouse, on_both};

use crate::nuts::{
    asked, because, check, churn, explained, house, milk_only, minute, open, serves, state, state_all, stated, tub_of,
    with_paste,
};
use crate::recalled::{begin, lots, serve};
use crate::shelf::{bring, done, send};

on_both!(
    names_are_answered_as_they_stand,
    places_follow_all_that_moves_a_lot,
    a_case_follows_what_is_opened_found_and_gone,
    holds_and_rejections_show_until_they_are_over,
    a_late_batch_and_a_voided_use_are_followed,
    what_is_read_anew_is_what_was_followed,
    what_was_told_is_told_again_until_something_changes,
);

/// What a trace says of the lot it begins with, out of the index.
#[track_caller]
fn kept(house: &TestHouse, lot: &str) -> TracedLot {
    let trace = house.tubtrail.trace_lot(&Request::system(), lot, Direction::Forward, "", 1);
    trace.unwrap_or_else(|error| panic!("{error}")).lots.remove(0)
}

/// A lot as the database has it, which lists ask.
#[track_caller]
pub fn listed(house: &TestHouse, lot: &str) -> Lot {
    let search = LotSearch { number: Some(lot.into()), ..LotSearch::default() };
    let page = house.tubtrail.list_lots(&Request::system(), &search, "", 1);
    page.unwrap_or_else(|error| panic!("{error}")).items.remove(0)
}

/// What the index keeps of a lot is what the database says of it.
#[track_caller]
pub fn assert_kept_as_read(kept: &TracedLot, read: &Lot) {
    assert_eq!((&kept.lot, &kept.item, &kept.name, kept.kind), (&read.lot, &read.item, &read.name, read.kind));
    assert_eq!((&kept.came_from, &kept.expiry), (&read.came_from, &read.expiry), "lot {}", read.lot);
    assert_eq!(kept.places, read.places, "lot {}", read.lot);
    let (ours, theirs) =
        ((&kept.on_hold, &kept.recalls, &kept.rejected), (&read.on_hold, &read.recalls, &read.rejected));
    assert_eq!(ours, theirs, "lot {}", read.lot);
}

#[track_caller]
fn assert_all_kept(house: &TestHouse, lots: &[&str]) {
    for lot in lots {
        let read = listed(house, lot);
        assert_kept_as_read(&kept(house, lot), &read);
        assert_eq!(house.tubtrail.get_lot(&Request::system(), lot).unwrap(), read);
        let at_hand = house.tubtrail.get_lot_at_hand(&as_of_now(house), lot).expect("it is at hand");
        assert_eq!(at_hand.unwrap(), serde_json::to_string(&read).unwrap());
    }
    assert_eq!(house.tubtrail.verify().unwrap().wrong, None);
}

/// Who asks with what the last commit was in hand, as whoever comes through the door does.
fn as_of_now(house: &TestHouse) -> Request {
    Request { as_of: Some(house.tubtrail.last_commit().unwrap()), ..Request::system() }
}

fn names_are_answered_as_they_stand(backend: Backend) {
    let house = house(backend);
    house.clock.set(minute(600));
    let system = Request::system();
    state_all(&house);
    let milk = house.receive("dairy", "milk", "M-1", 100_000);
    let paste = house.receive("nut-mill", "hazelnut-paste", "H-1", 5000);
    churn(&house, "gianduja", with_paste(&milk, &paste), "freezer-1", 0, 30);
    let (_, _, tub) = churn(&house, "fiordilatte", milk_only(&milk), "freezer-1", 40, 60);
    let told =
        || explained(&house, &tub, "hazelnut").because.iter().map(ToString::to_string).collect::<Vec<_>>().join(" ");
    assert!(told().contains("(gianduja, begun 2026-11-02 16:00 (Europe/Lisbon))"), "{}", told());
    assert!(told().contains(" ran on freezer-1 from 2026-11-02 06:00 (Europe/Lisbon)"), "{}", told());

    done(house.tubtrail.change(
        &system,
        "milk",
        Item { name: "Milk".into(), version: Some(1), ..item("milk", ItemKind::Ingredient, true) },
    ));
    let renamed =
        Item { name: "Hazelnut paste".into(), version: Some(1), ..item("hazelnut-paste", ItemKind::Ingredient, true) };
    done(house.tubtrail.change(&system, "hazelnut-paste", renamed));
    let renamed = Equipment {
        name: "The old freezer".into(),
        version: Some(1),
        ..equipment("freezer-1", KITCHEN, &[ItemKind::Flavour])
    };
    done(house.tubtrail.change(&system, "freezer-1", renamed));
    // Nine hours later on the wall: 16:00 in Lisbon is 01:00 of the next day there.
    let moved = Site { time_zone: "Asia/Tokyo".into(), version: Some(1), ..site(KITCHEN, SiteKind::Kitchen) };
    done(house.tubtrail.change(&system, KITCHEN, moved));
    done(house.tubtrail.change(
        &system,
        "dairy",
        Partner { name: "The dairy".into(), version: Some(1), ..partner("dairy", true) },
    ));
    let lines = [("milk", 9000), ("hazelnut-paste", 1000)];
    let renamed =
        Recipe { name: "Gianduja II".into(), version: Some(1), ..recipe("gianduja", "gianduja", &lines, 10_000) };
    done(house.tubtrail.change(&system, "gianduja", renamed));
    assert!(told().contains("of Hazelnut paste (nut-mill, their lot H-1)"), "{}", told());
    assert!(
        told().contains("(gianduja, begun 2026-11-03 01:00 (Asia/Tokyo))"),
        "a batch keeps its version: {}",
        told()
    );
    assert!(told().contains(" ran on The old freezer from 2026-11-02 15:00 (Asia/Tokyo)"), "{}", told());
    assert_eq!(kept(&house, &milk).name, "Milk");
    let (_, _, next) = churn(&house, "gianduja", with_paste(&milk, &paste), "freezer-2", 0, 30);
    assert!(
        explained(&house, &next, "hazelnut")
            .because
            .iter()
            .map(ToString::to_string)
            .collect::<Vec<_>>()
            .join(" ")
            .contains("(Gianduja II, begun ")
    );
    let shop = Site { name: "Harbour".into(), version: Some(1), ..site(SHOP, SiteKind::Shop) };
    done(house.tubtrail.change(&system, SHOP, shop));
    let note = check(&house, SHOP, &["milk"], None).note.map(|note| note.to_string());
    assert_eq!(note.as_deref(), Some("Nothing stands open at Harbour now."));
    let closed = Site { active: false, version: Some(2), ..site(SHOP, SiteKind::Shop) };
    done(house.tubtrail.change(&system, SHOP, closed));
    let refused = house.tubtrail.check_allergens(&system, &asked(SHOP, &["milk"], None)).unwrap_err();
    assert_eq!((refused.problem.word, refused.field.as_deref()), ("not-in-use", Some("site")));
    assert_all_kept(&house, &[&milk, &paste, &tub, &next]);
}

fn places_follow_all_that_moves_a_lot(backend: Backend) {
    let house = house(backend);
    house.clock.set(minute(600));
    let system = Request::system();
    let milk = house.receive("dairy", "milk", "M-1", 100_000);
    let (batch, _, one) = churn(&house, "fiordilatte", milk_only(&milk), "freezer-1", 0, 30);
    let (_, _, other) = churn(&house, "fiordilatte", milk_only(&milk), "freezer-1", 40, 60);
    let all = [milk.as_str(), &one, &other];
    assert_all_kept(&house, &all);
    let sent = send(&house, SHOP, &[&one]);
    assert_all_kept(&house, &all);
    done(house.tubtrail.receive_transfer(&system, sent.id, crate::shelf::all_as_sent()));
    assert_all_kept(&house, &all);
    done(house.tubtrail.open_tub(&system, &one, Opening::default()));
    done(serve(&house, &one, 1500));
    // 8500 g in the case, 1500 g eaten.
    assert_eq!(kept(&house, &one).places.len(), 2);
    assert_all_kept(&house, &all);
    done(house.tubtrail.empty_tub(&system, &one, Emptying::default()));
    assert_all_kept(&house, &all);
    done(house.tubtrail.discard_lot(&system, &milk, Discard { quantity: Some(grams(700)), ..thrown_away() }));
    count(&house, KITCHEN, &milk, None, 80_000);
    assert_all_kept(&house, &all);
    count(&house, KITCHEN, &milk, None, 79_500);
    done(house.tubtrail.discard_lot(&system, &milk, thrown_away()));
    assert_all_kept(&house, &all);
    let used = house.batch(batch).uses[0].id;
    let late = tubtrail_operations::uses::NewUse { reason: Some("from the sheet".into()), ..of(&other, 200) };
    let paste = house.receive("nut-mill", "hazelnut-paste", "H-1", 5000);
    let (nutty, _, last) =
        churn(&house, "gianduja", with_paste(&house.receive("dairy", "milk", "M-2", 9000), &paste), "freezer-2", 0, 9);
    house.add(nutty, vec![late]).unwrap();
    assert_ne!(used, 0);
    assert_all_kept(&house, &[&milk, &one, &other, &paste, &last]);
}

/// At the shop: the nutty tub is opened at 10:00, counted away at 11:30, found again at 12:00 and thrown away at 13:00; a green
/// one was opened at 9:30, which is written down at 14:00.
fn a_case_follows_what_is_opened_found_and_gone(backend: Backend) {
    let house = house(backend);
    state_all(&house);
    let system = Request::system();
    let milk = house.receive("dairy", "milk", "M-1", 100_000);
    let pastes = [
        house.receive("nut-mill", "hazelnut-paste", "H-1", 5000),
        house.receive("nut-mill", "pistachio-paste", "P-1", 5000),
    ];
    let (_, _, nutty) = churn(&house, "gianduja", with_paste(&milk, &pastes[0]), "freezer-1", -60, -50);
    let (_, _, plain) = churn(&house, "fiordilatte", milk_only(&milk), "freezer-2", -60, -50);
    let (_, _, green) = churn(&house, "verde", with_paste(&milk, &pastes[1]), "freezer-2", -40, -30);
    assert!(check(&house, SHOP, &["hazelnut"], None).tubs.is_empty());
    house.clock.set(day(2, 9));
    bring(&house, SHOP, &[&green]);
    house.clock.set(day(2, 10));
    open(&house, SHOP, &[&nutty]);
    house.clock.set(day(2, 11));
    open(&house, SHOP, &[&plain]);
    let scoop = |allergen: &str| {
        let found = check(&house, SHOP, &[allergen], None);
        tub_of(&found, &plain).allergens[0].steps.last().cloned()
    };
    let of_nutty = |until| {
        let lot = nutty.clone();
        Some(Step::Scoop { lot, from: day(2, 10), until, direct: true, said: false })
    };
    assert_eq!(scoop("hazelnut"), of_nutty(None));
    done(serve(&house, &nutty, 100));
    house.clock.set(minute(330));
    count(&house, SHOP, &nutty, Some(Standpoint::Open), 0);
    assert_eq!(standing_open(&house), [plain.as_str()]);
    assert_eq!(scoop("hazelnut"), of_nutty(Some(minute(330))), "it is gone, and stood beside it");
    house.clock.set(day(2, 12));
    count(&house, SHOP, &nutty, Some(Standpoint::Open), 9000);
    assert_eq!(scoop("hazelnut"), of_nutty(None), "it was there all the time");
    house.clock.set(day(2, 13));
    done(house.tubtrail.discard_lot(&system, &nutty, thrown_away()));
    assert_eq!(scoop("hazelnut"), of_nutty(Some(day(2, 13))));
    house.clock.set(day(2, 14));
    let late = Opening { opened_at: Some(minute(210)), ..Opening::default() };
    done(house.tubtrail.open_tub(&system, &green, late));
    let lot = green.clone();
    assert_eq!(
        scoop("pistachio"),
        Some(Step::Scoop { lot, from: minute(210), until: None, direct: true, said: false })
    );
    assert_eq!(house.tubtrail.verify().unwrap().wrong, None);

    let (before, house) = (check(&house, SHOP, &["hazelnut", "pistachio"], None), house.restarted());
    assert_eq!(check(&house, SHOP, &["hazelnut", "pistachio"], None), before);
    house.clock.set(day(2, 15));
    done(house.tubtrail.empty_tub(&system, &plain, Emptying::default()));
    done(house.tubtrail.empty_tub(&system, &green, Emptying::default()));
    assert!(check(&house, SHOP, &["hazelnut"], None).tubs.is_empty());
    assert_eq!(house.tubtrail.verify().unwrap().wrong, None);
}

#[track_caller]
fn standing_open(house: &TestHouse) -> Vec<String> {
    check(house, SHOP, &["milk"], None).tubs.into_iter().map(|tub| tub.lot).collect()
}

fn holds_and_rejections_show_until_they_are_over(backend: Backend) {
    let house = house(backend);
    house.clock.set(minute(600));
    let system = Request::system();
    state_all(&house);
    let milk = house.receive("dairy", "milk", "M-1", 100_000);
    let (_, _, tub) = churn(&house, "fiordilatte", milk_only(&milk), "freezer-1", 0, 30);
    let of_tub = || check(&house, KITCHEN, &["milk"], Some(&[&tub])).tubs.remove(0);
    let first = done(house.tubtrail.hold_lot(&system, &tub, because("it smells")));
    let second = done(house.tubtrail.hold_lot(&system, &tub, because("so does this")));
    assert_eq!(of_tub().on_hold.map(|hold| (hold.hold, hold.reason)), Some((first.id, "it smells".into())));
    done(house.tubtrail.release_hold(&system, first.id, because("it was the bin")));
    assert_eq!(of_tub().on_hold.map(|hold| hold.hold), Some(second.id));
    assert_all_kept(&house, &[&milk, &tub]);
    done(house.tubtrail.release_hold(&system, second.id, because("it was the bin")));
    assert_eq!(of_tub().on_hold, None);
    let recall = begin(&house, vec![lots(&[&milk])]).recall.recall;
    assert_eq!(of_tub().recalls, [recall]);
    let other = house.receive("dairy", "milk", "M-2", 5000);
    // 100 g more are found than came, and all of it goes back.
    count(&house, KITCHEN, &other, None, 5100);
    done(house.tubtrail.reject_lot(&system, &other, because("it is warm")));
    assert_eq!(kept(&house, &other).rejected.as_deref(), Some("it is warm"));
    let back = house.tubtrail.get_lot(&system, &other).unwrap();
    assert_eq!((back.grams.mg(), back.returned_grams.mg()), (5_000_000, 5_100_000));
    assert_all_kept(&house, &[&milk, &tub, &other]);
}

fn a_late_batch_and_a_voided_use_are_followed(backend: Backend) {
    let house = house(backend);
    house.clock.set(minute(600));
    let system = Request::system();
    let milk = house.receive("dairy", "milk", "M-1", 100_000);
    let (batch, _, tub) = churn(&house, "fiordilatte", milk_only(&milk), "freezer-1", 0, 30);
    let late = tubtrail_operations::uses::NewUse { reason: Some("from the sheet".into()), ..of(&milk, 300) };
    let added = house.add(batch, vec![late]).unwrap().uses[0].id;
    // 100 000 g came, 10 000 g and 300 g were used.
    assert_eq!(kept(&house, &milk).places[0].grams.mg(), 89_700_000);
    done(house.tubtrail.void_use(&system, added, UseVoid { reason: "another tin".into() }));
    assert_eq!(kept(&house, &milk).places[0].grams.mg(), 90_000_000);
    assert_all_kept(&house, &[&milk, &tub]);
}

fn what_is_read_anew_is_what_was_followed(backend: Backend) {
    let house = house(backend);
    state_all(&house);
    let milk = house.receive("dairy", "milk", "M-1", 100_000);
    let paste = house.receive("nut-mill", "hazelnut-paste", "H-1", 5000);
    let (_, _, nutty) = churn(&house, "gianduja", with_paste(&milk, &paste), "freezer-1", -60, -50);
    let (_, _, plain) = churn(&house, "fiordilatte", milk_only(&milk), "freezer-1", -40, -30);
    open(&house, SHOP, &[&nutty, &plain]);
    done(serve(&house, &nutty, 250));
    let (_, _, third) = churn(&house, "fiordilatte", milk_only(&milk), "freezer-2", -20, -10);
    open(&house, OTHER_SHOP, &[&third]);
    let all = |house: &TestHouse| -> (Vec<TracedLot>, Vec<AllergenCheck>) {
        let traced = [&milk, &paste]
            .map(|lot| house.tubtrail.trace_lot(&Request::system(), lot, Direction::Forward, "", 100).unwrap().lots);
        let checked = [SHOP, OTHER_SHOP].map(|site| check(house, site, &["hazelnut", "milk", "gluten_cereals"], None));
        (traced.concat(), checked.to_vec())
    };
    let followed = all(&house);
    assert_eq!(followed.0.len(), 4 + 2);
    let house = house.restarted();
    assert_eq!(all(&house), followed);
    // Read ahead, and followed from there.
    house.tubtrail.read_ahead(|_| true).unwrap();
    assert_eq!(all(&house), followed);
    done(serve(&house, &nutty, 250));
    let (_, _, fourth) = churn(&house, "fiordilatte", milk_only(&milk), "freezer-2", 0, 0);
    assert_all_kept(&house, &[&milk, &paste, &nutty, &plain, &third, &fourth]);
}

/// At the shop a nutty tub and a plain one stand open from 06:00 on. It is said at 08:00 that from 08:04 on each has its own
/// scoop: what the scoop did before stays, but how the site serves changes by time alone.
fn what_was_told_is_told_again_until_something_changes(backend: Backend) {
    let house = house(backend);
    let system = Request::system();
    state_all(&house);
    let milk = house.receive("dairy", "milk", "M-1", 100_000);
    let paste = house.receive("nut-mill", "hazelnut-paste", "H-1", 5000);
    let (_, _, nutty) = churn(&house, "gianduja", with_paste(&milk, &paste), "freezer-1", -60, -50);
    let (_, _, plain) = churn(&house, "fiordilatte", milk_only(&milk), "freezer-2", -40, -30);
    open(&house, SHOP, &[&nutty, &plain]);
    let question = asked(SHOP, &["hazelnut", "milk"], Some(&[&plain]));
    let told = |now| {
        house.clock.set(now);
        let request = as_of_now(&house);
        let text = house.tubtrail.check_allergens_at_hand(&request, &question).expect("it is at hand").unwrap();
        let found: AllergenCheck = serde_json::from_str(&text).unwrap();
        assert_eq!((found.asked_at, Some(found.journal_position)), (now, request.as_of));
        let worked_out = house.tubtrail.check_allergens(&request, &question).unwrap();
        assert_eq!(text, serde_json::to_string(&worked_out).unwrap(), "told as it is worked out");
        found
    };
    let first = told(day(2, 7));
    let again = told(day(2, 8));
    assert_eq!(again.tubs, first.tubs);
    let of_plain = |found: &AllergenCheck| (found.served, tub_of(found, &plain).allergens[0].answer);
    assert_eq!(of_plain(&again), (Served::NotSaid, Answer::MayContain));
    serves(&house, SHOP, false, 124);
    assert_eq!(of_plain(&told(minute(121))), (Served::NotSaid, Answer::MayContain));
    assert_eq!(of_plain(&told(minute(125))), (Served::OwnScoops, Answer::MayContain));
    assert_eq!(of_plain(&told(minute(126))), (Served::OwnScoops, Answer::MayContain));
    let hold = done(house.tubtrail.hold_lot(&system, &plain, because("it smells")));
    assert_eq!(told(minute(127)).tubs[0].on_hold.as_ref().map(|shown| shown.hold), Some(hold.id));
    state(&house, stated("milk", "nut-mill", &["milk", "hazelnut"]));
    assert_eq!(told(minute(128)).tubs[0].allergens[1].answer, Answer::Contains);
    let renamed = Item { name: "Plain".into(), version: Some(1), ..item("fiordilatte", ItemKind::Flavour, true) };
    done(house.tubtrail.change(&system, "fiordilatte", renamed));
    assert_eq!(told(minute(129)).tubs[0].name, "Plain");
    assert_eq!(house.tubtrail.verify().unwrap().wrong, None);
}

/// Two servers of one database: what one has committed, the other shows in its answers.
#[test]
fn what_one_server_commits_the_other_answers_with_at_once() {
    let house = house(Backend::Postgres);
    state_all(&house);
    let other = Tubtrail::open(&house.database().address(), system_clock()).unwrap();
    let (system, question) = (Request::system(), asked(SHOP, &["milk"], None));
    let ask = || other.check_allergens(&system, &question).unwrap().tubs;
    assert!(ask().is_empty());
    let milk = house.receive("dairy", "milk", "M-1", 100_000);
    let (_, _, tub) = churn(&house, "fiordilatte", milk_only(&milk), "freezer-1", -60, -50);
    bring(&house, SHOP, &[&tub]);
    let named = asked(SHOP, &["milk"], Some(&[&tub]));
    assert!(!other.check_allergens(&system, &named).unwrap().tubs[0].open);
    done(house.tubtrail.open_tub(&system, &tub, Opening::default()));
    assert_eq!(ask()[0].lot, tub);
    let hold = done(house.tubtrail.hold_lot(&system, &tub, because("it smells")));
    assert_eq!(ask()[0].on_hold.as_ref().map(|shown| shown.hold), Some(hold.id));
    done(house.tubtrail.release_hold(&system, hold.id, because("it was the bin")));
    assert_eq!(ask()[0].on_hold, None);
    done(house.tubtrail.empty_tub(&system, &tub, Emptying::default()));
    assert!(ask().is_empty());
    assert_eq!(other.verify().unwrap().wrong, None);
}

fn thrown_away() -> Discard {
    Discard { site: None, state: None, quantity: None, reason: Some("it fell".into()), discarded_at: None }
}

#[track_caller]
fn count(house: &TestHouse, site: &str, lot: &str, state: Option<Standpoint>, found: u32) {
    let reason = Some("weighed again".to_owned());
    let line = NewCountLine { lot: lot.into(), state, found: grams(found), reason };
    let lines = vec![line];
    let new = NewCount { site: site.into(), counted_at: None, lines, complete: false, reason: None, note: None };
    done(house.tubtrail.count_site(&Request::system(), new));
}
