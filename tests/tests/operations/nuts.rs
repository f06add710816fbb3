//! What the tests of allergens share: short ways to state, run, clean, open and ask.

use chrono::{DateTime, NaiveDate, Utc};
use tubtrail_operations::allergen_checks::{AllergenAnswer, AllergenCheck, CheckedTub, NewAllergenCheck};
use tubtrail_operations::allergen_words::{AllergenList, Answer};
use tubtrail_operations::batch_equipment::{NewEquipmentRun, NewEquipmentRuns};
use tubtrail_operations::clean_kinds::CleanKind;
use tubtrail_operations::cleans::{Clean, NewClean};
use tubtrail_operations::completions::{NewOutput, OutputKind};
use tubtrail_operations::holds::Because;
use tubtrail_operations::items::{Item, ItemKind};
use tubtrail_operations::serving_ways::NewServingWay;
use tubtrail_operations::statements::{NewStatement, WrittenStatement};
use tubtrail_operations::tubs::Opening;
use tubtrail_operations::uses::NewUse;
use tubtrail_operations::{Grams, Request};
use tubtrail_tests::batches::{of, sheet};
use tubtrail_tests::house::{day, item};
use tubtrail_tests::{Backend, TestHouse};

use crate::shelf::{bring, done};

/// The first of November 2026.
pub fn november() -> NaiveDate {
    NaiveDate::from_ymd_opt(2026, 11, 1).unwrap()
}

/// A house with a plain flavour of milk and two of nut pastes, portions of 80 g, and two freezers.
pub fn house(backend: Backend) -> TestHouse {
    let house = TestHouse::new(backend);
    for code in ["fiordilatte", "gianduja", "verde"] {
        let portion_grams = Some(Grams::from_mg(80_000));
        house.put(Item { portion_grams, ..item(code, ItemKind::Flavour, true) });
    }
    house.recipe("fiordilatte", "fiordilatte", &[("milk", 10_000)], 10_000);
    house.recipe("gianduja", "gianduja", &[("milk", 9000), ("hazelnut-paste", 1000)], 10_000);
    house.recipe("verde", "verde", &[("milk", 9000), ("pistachio-paste", 1000)], 10_000);
    for freezer in ["freezer-1", "freezer-2"] {
        house.equipment(freezer, &[ItemKind::Flavour]);
    }
    kind(&house, "allergen-clean", &["everything"]);
    kind(&house, "rinse", &[]);
    kind(&house, "hazelnut-clean", &["hazelnut"]);
    house
}

/// A way of cleaning.
pub fn kind(house: &TestHouse, code: &str, clears: &[&str]) {
    let clears = clears.iter().map(|word| (*word).to_owned()).collect();
    house.put(CleanKind { code: code.into(), name: code.into(), clears, active: true, version: None });
}

/// What a supplier states of an item by the European list, from the first of November.
pub fn stated(item: &str, supplier: &str, contains: &[&str]) -> NewStatement {
    NewStatement {
        item: Some(item.into()),
        supplier: Some(supplier.into()),
        in_force_from: Some(november()),
        lists: vec![AllergenList::Eu],
        contains: contains.iter().map(|word| (*word).to_owned()).collect(),
        document: "Specification".into(),
        ..NewStatement::default()
    }
}

/// Writes a statement down.
#[track_caller]
pub fn state(house: &TestHouse, new: NewStatement) -> WrittenStatement {
    done(house.tubtrail.create_statement(&Request::system(), new))
}

/// The dairy's milk and the mill's pastes, all by the European list.
#[track_caller]
pub fn state_all(house: &TestHouse) {
    state(house, stated("milk", "dairy", &["milk"]));
    state(house, stated("hazelnut-paste", "nut-mill", &["hazelnut"]));
    state(house, stated("pistachio-paste", "nut-mill", &["pistachio"]));
}

/// Makes a batch of one tub of 10 kg that ran on a freezer from minute to minute of the day 2 November, from 06:00 on;
/// answers the batch's number, the run's and the tub.
#[track_caller]
pub fn churn(
    house: &TestHouse,
    recipe: &str,
    uses: Vec<NewUse>,
    on: &str,
    from: i64,
    until: i64,
) -> (i64, i64, String) {
    let mut sheet = sheet(recipe, uses, vec![tub_out(10_000)]);
    sheet.equipment = vec![run(on, from, until)];
    let made = done(house.tubtrail.write_up_batch(&Request::system(), sheet));
    (made.id, made.equipment[0].id, made.outputs[0].lot.clone())
}

/// A tub that comes out.
pub fn tub_out(grams: u32) -> NewOutput {
    crate::shelf::output(OutputKind::Tub, grams)
}

/// From minute to minute on equipment.
pub fn run(on: &str, from: i64, until: i64) -> NewEquipmentRun {
    NewEquipmentRun { equipment: on.into(), from: minute(from), until: Some(minute(until)) }
}

/// Adds a run to a batch; answers its number.
#[track_caller]
pub fn add_run(house: &TestHouse, batch: i64, on: &str, from: i64, until: i64) -> i64 {
    let new = NewEquipmentRuns { equipment: vec![run(on, from, until)] };
    done(house.tubtrail.add_batch_equipment(&Request::system(), batch, new)).equipment.last().unwrap().id
}

/// So many minutes after 06:00 on 2 November.
pub fn minute(minutes: i64) -> DateTime<Utc> {
    day(2, 6) + chrono::Duration::minutes(minutes)
}

/// Cleans a freezer.
#[track_caller]
pub fn clean(house: &TestHouse, on: &str, kind: &str, at: i64) -> Clean {
    let new = NewClean { equipment: on.into(), kind: kind.into(), cleaned_at: Some(minute(at)), note: None };
    done(house.tubtrail.record_clean(&Request::system(), new))
}

/// Why.
pub fn because(reason: &str) -> Because {
    Because { reason: Some(reason.into()) }
}

/// Says how a site serves from a minute on.
#[track_caller]
pub fn serves(house: &TestHouse, site: &str, shared_scoop: bool, since: i64) {
    let new = NewServingWay { shared_scoop, since: Some(minute(since)) };
    done(house.tubtrail.set_serving_way(&Request::system(), site, new));
}

/// Brings tubs to a shop and opens them there now.
#[track_caller]
pub fn open(house: &TestHouse, site: &str, lots: &[&str]) {
    bring(house, site, lots);
    for lot in lots {
        done(house.tubtrail.open_tub(&Request::system(), lot, Opening::default()));
    }
}

/// Asks for some allergens at a site, of everything open there or of some lots.
pub fn asked(site: &str, avoid: &[&str], lots: Option<&[&str]>) -> NewAllergenCheck {
    let words = |words: &[&str]| words.iter().map(|word| (*word).to_owned()).collect::<Vec<_>>();
    NewAllergenCheck { site: site.into(), avoid: words(avoid), lots: lots.map(words) }
}

/// The same, answered.
#[track_caller]
pub fn check(house: &TestHouse, site: &str, avoid: &[&str], lots: Option<&[&str]>) -> AllergenCheck {
    house
        .tubtrail
        .check_allergens(&Request::system(), &asked(site, avoid, lots))
        .unwrap_or_else(|error| panic!("{error}"))
}

/// What is answered of one allergen in one lot at the kitchen.
#[track_caller]
pub fn answer(house: &TestHouse, lot: &str, allergen: &str) -> Answer {
    explained(house, lot, allergen).answer
}

/// The same with everything beside it.
#[track_caller]
pub fn explained(house: &TestHouse, lot: &str, allergen: &str) -> AllergenAnswer {
    let mut check = check(house, "kitchen", &[allergen], Some(&[lot]));
    check.tubs.remove(0).allergens.remove(0)
}

/// A lot of an answer.
#[track_caller]
pub fn tub_of<'a>(check: &'a AllergenCheck, lot: &str) -> &'a CheckedTub {
    check.tubs.iter().find(|tub| tub.lot == lot).unwrap_or_else(|| panic!("{lot} is not in {check:#?}"))
}

/// So much milk, and nothing else.
pub fn milk_only(milk: &str) -> Vec<NewUse> {
    vec![of(milk, 10_000)]
}

/// Milk and a paste.
pub fn with_paste(milk: &str, paste: &str) -> Vec<NewUse> {
    vec![of(milk, 9000), of(paste, 1000)]
}
