//! Picks: which lots to take for a recipe.

use chrono::NaiveDate;
use tubtrail_operations::completions::OutputKind;
use tubtrail_operations::deliveries::{Expiry, ExpiryKind, NewDelivery, NewDeliveryLine};
use tubtrail_operations::holds::Because;
use tubtrail_operations::items::{Item, ItemKind, Keeping};
use tubtrail_operations::picks::{PickLine, Picks, PicksWanted};
use tubtrail_operations::recipes::Recipe;
use tubtrail_operations::sites::{Site, SiteKind};
use tubtrail_operations::{Grams, OperationError, Request, Role};
use tubtrail_tests::batches::{of, out};
use tubtrail_tests::house::{KITCHEN, SHOP, day, item, line, recipe, site};
use tubtrail_tests::{Backend, TestHouse, on_both};

on_both!(
    what_expires_first_is_proposed_first,
    a_day_ends_where_the_site_is,
    the_version_in_force_is_proposed,
    what_cannot_be_proposed_is_refused,
    what_rests_or_is_barred_is_not_proposed,
);

/// So much fresh milk with a last day in November, measured on arrival or not.
fn milk(code: &str, grams: u32, last_day: Option<u32>, celsius: Option<f64>) -> NewDeliveryLine {
    let on = |day| NaiveDate::from_ymd_opt(2026, 11, day).expect("a day of November");
    let expiry = last_day.map(|day| Expiry { kind: ExpiryKind::UseBy, on: on(day) });
    NewDeliveryLine { expiry, temperature_celsius: celsius, ..line("fresh-milk", code, grams) }
}

fn receive_at(house: &TestHouse, site: &str, lines: Vec<NewDeliveryLine>) -> Vec<String> {
    let new = NewDelivery {
        supplier: "dairy".into(),
        site: site.into(),
        document: format!("DN-{site}"),
        arrived_at: None,
        note: None,
        lines,
    };
    let delivery = house.tubtrail.receive_delivery(&Request::system(), new).unwrap_or_else(|error| panic!("{error}"));
    delivery.answer.lines.into_iter().map(|line| line.lot.expect("a lot")).collect()
}

/// A recipe of 50 kg that yields 48: milk 40, sugar 8, water 2.
fn with_recipe(backend: Backend) -> TestHouse {
    let house = TestHouse::new(backend);
    house.put(Item { kept: Keeping::MilkOrShellEggs, ..item("fresh-milk", ItemKind::Ingredient, true) });
    house.recipe("white-48", "white-base", &[("fresh-milk", 40_000), ("sugar", 8_000), ("water", 2_000)], 48_000);
    house
}

fn propose(house: &TestHouse, who: &Request, site: &str, grams: Option<i64>) -> Result<Picks, OperationError> {
    let wanted = PicksWanted { site: site.into(), grams: grams.map(|grams| Grams::from_mg(grams * 1000)) };
    house.tubtrail.propose_picks(who, "white-48", &wanted)
}

/// The lots and grams of a line, and what it is short of, in grams.
fn told(line: &PickLine) -> (Vec<(&str, i64)>, i64) {
    let picks = line.picks.iter().map(|pick| (pick.lot.as_str(), pick.grams.mg() / 1000)).collect();
    (picks, line.short_grams.mg() / 1000)
}

fn what_expires_first_is_proposed_first(backend: Backend) {
    let house = with_recipe(backend);
    let lots = receive_at(
        &house,
        KITCHEN,
        vec![
            milk("undated", 9_000, None, Some(4.0)),
            milk("later", 12_000, Some(20), Some(4.0)),
            milk("sooner", 6_000, Some(10), Some(4.0)),
            milk("put-aside", 50_000, Some(9), None),
        ],
    );
    let [undated, later, sooner, put_aside] = [&lots[0], &lots[1], &lots[2], &lots[3]].map(String::as_str);
    receive_at(&house, SHOP, vec![milk("elsewhere", 30_000, Some(8), Some(4.0))]);
    let sugar = house.receive("nut-mill", "sugar", "S-1", 3_000);

    // Half of it: 20 kg of milk, 4 of sugar, 1 of water.
    let picks = propose(&house, &Request::system(), KITCHEN, Some(24_000)).expect("a proposal");
    assert_eq!((picks.recipe.as_str(), picks.version, picks.site.as_str()), ("white-48", 1, KITCHEN));
    assert_eq!(picks.expected_yield_grams.mg(), 24_000_000);
    let wanted: Vec<_> = picks.lines.iter().map(|line| (line.item.as_str(), line.grams.mg(), line.tracked)).collect();
    assert_eq!(wanted, [("fresh-milk", 20_000_000, true), ("sugar", 4_000_000, true), ("water", 1_000_000, false)]);
    assert_eq!(told(&picks.lines[0]), (vec![(sooner, 6_000), (later, 12_000), (undated, 2_000)], 0));
    assert_eq!(told(&picks.lines[1]), (vec![(sugar.as_str(), 3_000)], 1_000));
    assert_eq!(told(&picks.lines[2]), (vec![], 0), "water has no lots and is not short");
    let expiry = picks.lines[0].picks[0].expiry.expect("its date");
    assert_eq!((expiry.kind, expiry.on.to_string().as_str()), (ExpiryKind::UseBy, "2026-11-10"));

    // All of it: 40 kg of milk are wanted and 27 are there.
    let picks = propose(&house, &Request::system(), KITCHEN, None).expect("a proposal");
    assert_eq!(told(&picks.lines[0]), (vec![(sooner, 6_000), (later, 12_000), (undated, 9_000)], 13_000));
    assert!(picks.lines.iter().all(|line| line.picks.iter().all(|pick| pick.lot != put_aside)));

    // The last day of a lot is a day to use it; the day after is not.
    house.clock.set(day(10, 23));
    let picks = propose(&house, &Request::system(), KITCHEN, Some(24_000)).expect("a proposal");
    assert_eq!(told(&picks.lines[0]).0[0], (sooner, 6_000));
    house.clock.set(day(11, 0));
    let picks = propose(&house, &Request::system(), KITCHEN, Some(24_000)).expect("a proposal");
    assert_eq!(told(&picks.lines[0]), (vec![(later, 12_000), (undated, 8_000)], 0));
}

fn a_day_ends_where_the_site_is(backend: Backend) {
    let house = with_recipe(backend);
    house.put(Site { time_zone: "Pacific/Auckland".into(), ..site("south", SiteKind::Kitchen) });
    let lot = receive_at(&house, "south", vec![milk("M-1", 50_000, Some(10), Some(4.0))]);
    // In November Auckland is 13 hours ahead: its 11th begins at 11:00 UTC on the 10th (IANA time zone database).
    house.clock.set(day(10, 10));
    let picks = propose(&house, &Request::system(), "south", None).expect("a proposal");
    assert_eq!(told(&picks.lines[0]), (vec![(lot[0].as_str(), 40_000)], 0));
    house.clock.set(day(10, 11));
    let picks = propose(&house, &Request::system(), "south", None).expect("a proposal");
    assert_eq!(told(&picks.lines[0]), (vec![], 40_000));
}

fn the_version_in_force_is_proposed(backend: Backend) {
    let house = with_recipe(backend);
    let lighter = Recipe { version: Some(1), ..recipe("white-48", "white-base", &[("sugar", 10_000)], 9_000) };
    house.tubtrail.change(&Request::system(), "white-48", lighter).expect("a change");
    // A third of 9 kg takes a third of 10 kg of sugar: 3333.333 g to the milligram.
    let picks = propose(&house, &Request::system(), KITCHEN, Some(3_000)).expect("a proposal");
    assert_eq!((picks.version, picks.lines.len(), picks.lines[0].grams.mg()), (2, 1, 3_333_333));
    assert_eq!(picks.lines[0].short_grams.mg(), 3_333_333);
}

fn what_cannot_be_proposed_is_refused(backend: Backend) {
    let house = with_recipe(backend);
    house.put(site("second-kitchen", SiteKind::Kitchen));
    let someone = |role| house.someone(role, Some("second-kitchen"));
    let system = Request::system();
    for (who, site, grams, word, field) in [
        (&system, "nowhere", None, "unknown-code", Some("site")),
        (&system, KITCHEN, Some(0), "invalid", Some("grams")),
        (&system, KITCHEN, Some(-1), "invalid", Some("grams")),
        (&system, KITCHEN, Some(1_000_000_001), "invalid", Some("grams")),
        (&someone(Role::Kitchen), KITCHEN, None, "not-found", Some("site")),
        (&someone(Role::Shop), "second-kitchen", None, "forbidden", None),
    ] {
        let error = propose(&house, who, site, grams).expect_err(&format!("{site} {grams:?}"));
        assert_eq!((error.problem.word, error.field.as_deref()), (word, field), "{site} {grams:?}: {error}");
    }
    propose(&house, &someone(Role::Inspector), "second-kitchen", None).expect("it is theirs to see");

    let wanted = PicksWanted { site: KITCHEN.into(), grams: None };
    let error = house.tubtrail.propose_picks(&system, "pink-48", &wanted).expect_err("no such recipe");
    assert_eq!(error.problem.word, "not-found");
    // A recipe that yields a thousandth of what goes in: 1000 t of it take more than is ever weighed.
    house.recipe("extract", "praline", &[("hazelnut-paste", 1_000)], 1);
    let most = PicksWanted { grams: Some(Grams::from_mg(1_000_000_000_000)), ..wanted.clone() };
    let error = house.tubtrail.propose_picks(&system, "extract", &most).expect_err("too much");
    assert_eq!((error.problem.word, error.field.as_deref()), ("bad-quantity", Some("grams")));
    let given_up = house.tubtrail.get::<Recipe>(&system, "extract").expect("a recipe");
    house.tubtrail.change(&system, "extract", Recipe { active: false, ..given_up }).expect("given up");
    let error = house.tubtrail.propose_picks(&system, "extract", &wanted).expect_err("given up");
    assert_eq!(error.problem.word, "not-in-use");
}

fn what_rests_or_is_barred_is_not_proposed(backend: Backend) {
    let house = TestHouse::new(backend);
    let (tubtrail, system) = (&house.tubtrail, Request::system());
    house.recipe("white-10", "white-base", &[("milk", 10_000)], 10_000);
    house.recipe("pistachio-10", "pistachio", &[("white-base", 9_000), ("pistachio-paste", 1_000)], 10_000);
    let milk = house.receive("dairy", "milk", "M-1", 20_000);
    let paste = ["P-1", "P-2"].map(|code| house.receive("nut-mill", "pistachio-paste", code, 600));
    // Made at six in the morning, it rests until six in the evening.
    let bases = house.make("white-10", vec![of(&milk, 10_000)], vec![out(OutputKind::Base, 9_800)]);
    let base = bases.outputs[0].lot.clone();
    let picks = || {
        let wanted = PicksWanted { site: KITCHEN.into(), grams: None };
        tubtrail.propose_picks(&system, "pistachio-10", &wanted).expect("a proposal").lines
    };
    let because = || Because { reason: Some("a rancid smell".into()) };

    assert_eq!(told(&picks()[0]), (vec![], 9_000), "it rests");
    house.clock.set(day(2, 18));
    assert_eq!(told(&picks()[0]), (vec![(base.as_str(), 9_000)], 0), "it has rested");
    let [first, second] = paste.each_ref().map(String::as_str);
    assert_eq!(told(&picks()[1]), (vec![(first, 600), (second, 400)], 0));

    let hold = tubtrail.hold_lot(&system, first, because()).expect("a hold").answer;
    assert_eq!(told(&picks()[1]), (vec![(second, 600)], 400), "it is on hold");
    let again = tubtrail.hold_lot(&system, first, because()).expect("another hold").answer;
    tubtrail.release_hold(&system, hold.id, because()).expect("a release");
    assert_eq!(told(&picks()[1]), (vec![(second, 600)], 400), "one of two holds is left");
    tubtrail.release_hold(&system, again.id, because()).expect("a release");
    assert_eq!(told(&picks()[1]), (vec![(first, 600), (second, 400)], 0), "it is released");
    tubtrail.reject_lot(&system, second, because()).expect("a rejection");
    assert_eq!(told(&picks()[1]), (vec![(first, 600)], 400), "it was rejected");
}
