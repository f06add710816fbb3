//! Allergens: what is answered of tubs, by what was stated, what went in, what ran before, and what the scoop did.

use tubtrail_operations::allergen_checks::{Served, Step};
use tubtrail_operations::allergen_words::{AllergenList, Answer};
use tubtrail_operations::cleans::CleansAsked;
use tubtrail_operations::quantities::Amount;
use tubtrail_operations::recalls::SeedAsked;
use tubtrail_operations::residues::{NewCarryOver, NewResidue};
use tubtrail_operations::statements::{NewStatement, Protein};
use tubtrail_operations::tubs::Emptying;
use tubtrail_operations::voids::UseVoid;
use tubtrail_operations::{Grams, Request, Role};
use tubtrail_tests::batches::of;
use tubtrail_tests::house::{KITCHEN, OTHER_SHOP, SHOP, day};
use tubtrail_tests::{Backend, TestHouse, on_both};

use crate::nuts::*;
use crate::recalled::recall;
use crate::shelf::{done, problem, refused, someone};

on_both!(
    what_ran_before_may_be_in_it_until_an_allergen_clean,
    a_partial_clean_clears_what_it_says,
    overlapping_runs_touch_both_ways,
    late_entries_and_voids_change_the_answer,
    one_scoop_carries_from_tub_to_tub,
    an_estimate_stands_beside_the_reference_dose,
    spirits_are_made_with_alcohol,
    a_portion_has_the_worst_of_its_flavours,
    held_tubs_are_shown_as_held,
    tubs_under_recall_are_shown_as_recalled,
    bad_questions_name_the_field,
    what_is_elsewhere_is_not_answered,
    the_sheet_shows_what_stands_open,
);

use Answer::{Contains, MayContain, NotRecorded, Unknown};

fn what_ran_before_may_be_in_it_until_an_allergen_clean(backend: Backend) {
    let house = house(backend);
    house.clock.set(minute(600));
    state_all(&house);
    let milk = house.receive("dairy", "milk", "M-1", 100_000);
    let paste = house.receive("nut-mill", "hazelnut-paste", "H-1", 5000);
    let (nutty, _, _) = churn(&house, "gianduja", with_paste(&milk, &paste), "freezer-1", 0, 30);
    clean(&house, "freezer-1", "rinse", 35);
    let (first, _, after) = churn(&house, "fiordilatte", milk_only(&milk), "freezer-1", 40, 60);
    let found = explained(&house, &after, "hazelnut");
    assert_eq!(found.answer, MayContain, "a rinse is no allergen clean");
    let contact = Step::Contact {
        equipment: "freezer-1".into(),
        before: nutty,
        before_from: minute(0),
        before_until: Some(minute(30)),
        after: first,
        after_from: minute(40),
        after_until: Some(minute(60)),
    };
    assert!(found.steps.contains(&contact), "{:#?}", found.steps);
    assert!(
        found.because.iter().any(|line| line.to_string().contains("no clean between the two that clears hazelnut"))
    );
    let (_, _, second) = churn(&house, "fiordilatte", milk_only(&milk), "freezer-1", 70, 80);
    assert_eq!(answer(&house, &second, "hazelnut"), MayContain, "it goes on from batch to batch");
    clean(&house, "freezer-1", "allergen-clean", 85);
    let (_, _, third) = churn(&house, "fiordilatte", milk_only(&milk), "freezer-1", 90, 100);
    assert_eq!(answer(&house, &third, "hazelnut"), NotRecorded);
    let (_, _, other) = churn(&house, "fiordilatte", milk_only(&milk), "freezer-2", 70, 80);
    assert_eq!(answer(&house, &other, "hazelnut"), NotRecorded, "another machine");
}

fn a_partial_clean_clears_what_it_says(backend: Backend) {
    let house = house(backend);
    house.clock.set(minute(600));
    state_all(&house);
    let milk = house.receive("dairy", "milk", "M-1", 100_000);
    let pastes = [
        house.receive("nut-mill", "hazelnut-paste", "H-1", 5000),
        house.receive("nut-mill", "pistachio-paste", "P-1", 5000),
    ];
    let uses = vec![of(&milk, 8000), of(&pastes[0], 1000), of(&pastes[1], 1000)];
    churn(&house, "gianduja", uses, "freezer-1", 0, 30);
    clean(&house, "freezer-1", "hazelnut-clean", 30);
    let (_, _, tub) = churn(&house, "fiordilatte", milk_only(&milk), "freezer-1", 30, 60);
    let found = (answer(&house, &tub, "hazelnut"), answer(&house, &tub, "pistachio"));
    assert_eq!(found, (NotRecorded, MayContain));
}

fn overlapping_runs_touch_both_ways(backend: Backend) {
    let house = house(backend);
    house.clock.set(minute(600));
    state_all(&house);
    let milk = house.receive("dairy", "milk", "M-1", 100_000);
    let hazelnut = house.receive("nut-mill", "hazelnut-paste", "H-1", 5000);
    let pistachio = house.receive("nut-mill", "pistachio-paste", "P-1", 5000);
    let (_, _, one) = churn(&house, "gianduja", with_paste(&milk, &hazelnut), "freezer-1", 0, 30);
    clean(&house, "freezer-1", "allergen-clean", 25);
    let (_, _, other) = churn(&house, "verde", with_paste(&milk, &pistachio), "freezer-1", 20, 50);
    assert_eq!(answer(&house, &one, "pistachio"), MayContain);
    assert_eq!(answer(&house, &other, "hazelnut"), MayContain, "nobody cleans a machine while it runs");
}

fn late_entries_and_voids_change_the_answer(backend: Backend) {
    let house = house(backend);
    house.clock.set(minute(600));
    state_all(&house);
    let system = Request::system();
    let milk = house.receive("dairy", "milk", "M-1", 100_000);
    let paste = house.receive("nut-mill", "hazelnut-paste", "H-1", 5000);
    let (nutty, first_run, _) = churn(&house, "gianduja", with_paste(&milk, &paste), "freezer-2", 0, 30);
    let (_, _, tub) = churn(&house, "fiordilatte", milk_only(&milk), "freezer-1", 40, 60);
    assert_eq!(answer(&house, &tub, "hazelnut"), NotRecorded);
    // Found on the sheet later: it ran on the first freezer too, and before.
    let late = add_run(&house, nutty, "freezer-1", 0, 30);
    assert_eq!(answer(&house, &tub, "hazelnut"), MayContain);
    let cleaned = clean(&house, "freezer-1", "allergen-clean", 35);
    assert_eq!(answer(&house, &tub, "hazelnut"), NotRecorded, "and it was cleaned");
    let voided = done(house.tubtrail.void_clean(&system, cleaned.id, because("that was on Tuesday")));
    assert_eq!(voided.voided.as_deref(), Some("that was on Tuesday"));
    assert_eq!(answer(&house, &tub, "hazelnut"), MayContain, "or not");
    let again = refused(house.tubtrail.void_clean(&system, cleaned.id, because("again")));
    assert_eq!(again, problem("already-voided", ""));
    let run = done(house.tubtrail.void_equipment_run(&system, late, because("it was the other one")));
    assert_eq!((run.id, run.voided.as_deref()), (late, Some("it was the other one")));
    assert_eq!(answer(&house, &tub, "hazelnut"), NotRecorded);
    let again = refused(house.tubtrail.void_equipment_run(&system, late, because("again")));
    assert_eq!(again, problem("already-voided", ""));
    let asked = CleansAsked { equipment: "freezer-1".into(), after: String::new(), limit: 100 };
    assert_eq!(house.tubtrail.list_cleans(&system, &asked).unwrap().items.len(), 1, "voided ones are listed too");

    // A use that did not happen: 10 kg of milk go in first, for what came out must have come from somewhere.
    let (batch, _, wrong) = churn(&house, "fiordilatte", milk_only(&milk), "freezer-1", 70, 80);
    let late = tubtrail_operations::uses::NewUse { reason: Some("from the sheet".into()), ..of(&paste, 100) };
    let added = house.add(batch, vec![late]).unwrap();
    assert_eq!(answer(&house, &wrong, "hazelnut"), Contains);
    let reason = "scanned the wrong tin".to_owned();
    done(house.tubtrail.void_use(&system, added.uses[0].id, UseVoid { reason }));
    assert_eq!(answer(&house, &wrong, "hazelnut"), NotRecorded);
    assert_ne!(first_run, 0);
}

/// At the shop: the nutty tub is opened at 10:00 and emptied at 12:00, the plain one is opened at 11:00, a green one at 13:00.
fn one_scoop_carries_from_tub_to_tub(backend: Backend) {
    let house = house(backend);
    state_all(&house);
    let system = Request::system();
    let milk = house.receive("dairy", "milk", "M-1", 100_000);
    let hazelnut = house.receive("nut-mill", "hazelnut-paste", "H-1", 5000);
    let pistachio = house.receive("nut-mill", "pistachio-paste", "P-1", 5000);
    let (_, _, nutty) = churn(&house, "gianduja", with_paste(&milk, &hazelnut), "freezer-1", -60, -50);
    let (_, _, plain) = churn(&house, "fiordilatte", milk_only(&milk), "freezer-2", -60, -50);
    let (_, _, green) = churn(&house, "verde", with_paste(&milk, &pistachio), "freezer-2", -40, -30);
    house.clock.set(day(2, 10));
    open(&house, SHOP, &[&nutty]);
    house.clock.set(day(2, 11));
    open(&house, SHOP, &[&plain]);
    let of = |lot: &str, allergen: &str| {
        let check = check(&house, SHOP, &[allergen], None);
        (check.served, tub_of(&check, lot).allergens[0].clone())
    };
    let (served, found) = of(&plain, "hazelnut");
    assert_eq!((served, found.answer), (Served::NotSaid, MayContain), "unknown is never clear");
    assert!(
        found.because.iter().any(|line| line.to_string().contains("the site has not said how it serves")),
        "{:?}",
        found.because
    );
    let scoop = Step::Scoop { lot: nutty.clone(), from: day(2, 10), until: None, direct: true, said: false };
    assert_eq!(found.steps.last(), Some(&scoop));

    serves(&house, SHOP, false, -1000);
    assert_eq!(of(&plain, "hazelnut").0, Served::OwnScoops);
    assert_eq!(of(&plain, "hazelnut").1.answer, NotRecorded, "each tub has its own");
    house.clock.set(day(2, 12));
    done(house.tubtrail.empty_tub(&system, &nutty, Emptying::default()));
    serves(&house, SHOP, true, -999);
    house.clock.set(day(2, 13));
    open(&house, SHOP, &[&green]);
    let (served, found) = of(&plain, "hazelnut");
    assert_eq!((served, found.answer), (Served::SharedScoop, MayContain), "it stood open beside it, though it is gone");
    let (_, found) = of(&green, "hazelnut");
    assert_eq!(found.answer, MayContain, "by way of the plain one");
    let gone = Some(day(2, 12));
    let scoop = Step::Scoop { lot: nutty.clone(), from: day(2, 10), until: gone, direct: false, said: true };
    assert_eq!(found.steps.last(), Some(&scoop));
    let (_, found) = of(&plain, "pistachio");
    assert_eq!(found.answer, MayContain, "it works both ways");
    assert_eq!(answer_at_kitchen_is_refused(&house, &plain), "lot-elsewhere");
}

fn answer_at_kitchen_is_refused(house: &TestHouse, lot: &str) -> &'static str {
    let new = asked(KITCHEN, &["milk"], Some(&[lot]));
    house.tubtrail.check_allergens(&Request::system(), &new).unwrap_err().problem.word
}

/// 1000 g of paste, 15 % protein, in a batch of 10 kg: 15 mg of protein in each gram. 50 g of that stay behind and come into
/// 10 kg of the next: 750 mg in 10 kg, 0.075 mg in a gram, 6 mg in a portion of 80 g. The dose of hazelnut is 3 mg
/// (FAO/WHO, Food Safety and Quality Series 15), so 3 × 1000 / 80 = 37.5 mg in a kilogram bring it into a portion.
fn an_estimate_stands_beside_the_reference_dose(backend: Backend) {
    let house = house(backend);
    house.clock.set(minute(600));
    let system = Request::system();
    state(&house, stated("milk", "dairy", &["milk"]));
    let protein = Protein { allergen: "hazelnut".into(), percent: Amount("15".into()) };
    let proteins = vec![protein];
    let paste_says = state(&house, NewStatement { proteins, ..stated("hazelnut-paste", "nut-mill", &["hazelnut"]) });
    let milk = house.receive("dairy", "milk", "M-1", 100_000);
    let paste = house.receive("nut-mill", "hazelnut-paste", "H-1", 5000);
    let (_, _, nutty) = churn(&house, "gianduja", with_paste(&milk, &paste), "freezer-1", 0, 30);
    let (_, _, tub) = churn(&house, "fiordilatte", milk_only(&milk), "freezer-1", 40, 60);
    let estimate = || explained(&house, &tub, "hazelnut").estimate;
    assert_eq!(estimate(), None, "nobody knows how much stays behind");
    done(house.tubtrail.set_carry_over(&system, KITCHEN, NewCarryOver { grams: Grams::from_mg(50_000) }));
    let found = estimate().expect("an estimate");
    assert!((found.protein_mg_per_portion - 6.0).abs() < 1e-6, "{found:?}");
    assert_eq!((found.reference_dose_mg, found.action_level_mg_per_kg), (Some(3.0), Some(37.5)));
    assert!(!found.upper_bound && found.leaves_out.is_empty(), "{found:?}");
    assert!(found.caution.contains("clears nothing"));
    assert_eq!(explained(&house, &nutty, "hazelnut").estimate, None, "it is in there");

    // Measured: 20 g stay behind on this one. 6 × 20 / 50 = 2.4 mg.
    let residue = NewResidue { grams: Grams::from_mg(20_000), measured_at: None, note: None };
    done(house.tubtrail.record_residue(&system, "freezer-1", residue));
    let found = estimate().expect("an estimate");
    assert!((found.protein_mg_per_portion - 2.4).abs() < 1e-6, "{found:?}");
    // A batch on: 20 g of 10 kg, a five hundredth of it.
    let (_, _, next) = churn(&house, "fiordilatte", milk_only(&milk), "freezer-1", 70, 90);
    let found = explained(&house, &next, "hazelnut").estimate.expect("an estimate");
    assert!((found.protein_mg_per_portion - 0.0048).abs() < 1e-6, "{found:?}");

    // Without a protein content all of the paste is taken as protein: 2.4 / 0.15 = 16 mg, an upper bound.
    let corrects = Some(paste_says.statement.id);
    let reason = Some("the protein was of another paste".into());
    state(&house, NewStatement { corrects, reason, ..stated("hazelnut-paste", "nut-mill", &["hazelnut"]) });
    let found = estimate().expect("an estimate");
    assert!((found.protein_mg_per_portion - 16.0).abs() < 1e-6 && found.upper_bound, "{found:?}");
    let group = explained(&house, &tub, "tree_nuts");
    let member = group.members.iter().find(|member| member.allergen == "hazelnut").expect("a tree nut");
    assert_eq!(member.estimate.as_ref(), Some(&found));
}

/// Rum of 40 % vol is 33.3 % ethanol by mass (OIML R 22: ρ20 948.05 kg/m³, 315.70 g of ethanol in a litre). 500 g of it in
/// 10 kg: 1.665 g in a hundred, 1.332 g in a portion of 80 g.
fn spirits_are_made_with_alcohol(backend: Backend) {
    use tubtrail_operations::items::{CountedBy, Item, ItemKind};
    let house = house(backend);
    house.clock.set(minute(600));
    state(&house, stated("milk", "dairy", &["milk"]));
    let counted = CountedBy::Strength { percent_vol: Amount("40".into()), sweetened: false };
    house.put(Item { counted, ..tubtrail_tests::house::item("rum", ItemKind::Ingredient, true) });
    let milk = house.receive("dairy", "milk", "M-1", 100_000);
    let rum = house.receive("dairy", "rum", "R-1", 2000);
    let (_, _, tub) = churn(&house, "fiordilatte", vec![of(&milk, 9500), of(&rum, 500)], "freezer-1", 0, 30);
    let found = explained(&house, &tub, "alcohol");
    assert_eq!(found.answer, Contains, "a plain spirit needs nobody to say so");
    assert!(found.because[0].to_string().contains("plain spirit"), "{:?}", found.because);
    let ethanol = found.ethanol.expect("its strength is known");
    let due = 80.0 * 500.0 / 10_000.0 * 315.70 / 948.045;
    assert!((ethanol.grams_per_portion - due).abs() < 0.0005, "{ethanol:?}, {due} g are due");
    assert!(ethanol.assumes.contains("nothing were lost in heating"));
    let (_, _, after) = churn(&house, "fiordilatte", milk_only(&milk), "freezer-1", 40, 60);
    let found = explained(&house, &after, "alcohol");
    assert_eq!((found.answer, found.ethanol), (MayContain, None), "carried over");
    // A liqueur of 20 % vol without a density: it is made with alcohol, and nobody knows how much.
    let liqueur = house.receive("dairy", "sugar", "L-1", 2000);
    let alcohol_percent_vol = Some(Amount("20".into()));
    state(&house, NewStatement { alcohol_percent_vol, ..stated("sugar", "dairy", &[]) });
    let (_, _, tub) = churn(&house, "fiordilatte", vec![of(&milk, 9500), of(&liqueur, 500)], "freezer-2", 0, 30);
    let found = explained(&house, &tub, "alcohol");
    assert_eq!((found.answer, found.ethanol), (Contains, None));
    assert!(found.because[0].to_string().contains("made with alcohol"), "{:?}", found.because);
}

fn a_portion_has_the_worst_of_its_flavours(backend: Backend) {
    let house = house(backend);
    state_all(&house);
    let milk = house.receive("dairy", "milk", "M-1", 100_000);
    let paste = house.receive("nut-mill", "hazelnut-paste", "H-1", 5000);
    let (_, _, nutty) = churn(&house, "gianduja", with_paste(&milk, &paste), "freezer-1", -60, -50);
    let (_, _, plain) = churn(&house, "fiordilatte", milk_only(&milk), "freezer-2", -60, -50);
    let check = check(&house, KITCHEN, &["hazelnut", "celery"], Some(&[&plain, &nutty]));
    let portion = check.portion.expect("several flavours");
    let found: Vec<_> = portion.iter().map(|answer| (answer.allergen.as_str(), answer.answer)).collect();
    assert_eq!(found, [("hazelnut", Contains), ("celery", NotRecorded)]);
    let order: Vec<_> = check.tubs.iter().map(|tub| tub.lot.as_str()).collect();
    assert_eq!(order, [nutty.as_str(), plain.as_str()], "the worst first");
    assert_eq!(check.tubs[0].portion_grams, Some(Grams::from_mg(80_000)));
    assert!(check.caution.contains("clears nothing"));
}

fn held_tubs_are_shown_as_held(backend: Backend) {
    let house = house(backend);
    state_all(&house);
    let milk = house.receive("dairy", "milk", "M-1", 100_000);
    let (_, _, tub) = churn(&house, "fiordilatte", milk_only(&milk), "freezer-1", -60, -50);
    open(&house, SHOP, &[&tub]);
    done(house.tubtrail.hold_lot(&Request::system(), &tub, because("the supplier called")));
    let check = check(&house, SHOP, &["milk"], None);
    assert_eq!(check.tubs[0].on_hold.as_ref().map(|hold| hold.reason.as_str()), Some("the supplier called"));
    let sheet = house.tubtrail.allergen_sheet(&Request::system(), SHOP, AllergenList::Eu).unwrap();
    assert!(sheet.rows[0].tubs[0].on_hold.is_some());
}

fn tubs_under_recall_are_shown_as_recalled(backend: Backend) {
    let house = house(backend);
    state_all(&house);
    let milk = house.receive("dairy", "milk", "M-1", 100_000);
    let (_, _, tub) = churn(&house, "fiordilatte", milk_only(&milk), "freezer-1", -60, -50);
    open(&house, SHOP, &[&tub]);
    let milk = SeedAsked::Lots { lots: vec![milk] };
    let recall = done(house.tubtrail.begin_recall(&Request::system(), recall(vec![milk]))).recall.recall;
    let check = check(&house, SHOP, &["milk"], None);
    assert_eq!((check.tubs[0].lot.as_str(), check.tubs[0].recalls.as_slice()), (tub.as_str(), &[recall][..]));
    let sheet = house.tubtrail.allergen_sheet(&Request::system(), SHOP, AllergenList::Eu).unwrap();
    assert_eq!(sheet.rows[0].tubs[0].recalls, [recall]);
}

fn bad_questions_name_the_field(backend: Backend) {
    let house = house(backend);
    let milk = house.receive("dairy", "milk", "M-1", 1000);
    let ask = |new| refused(house.tubtrail.check_allergens(&Request::system(), &new));
    assert_eq!(ask(asked(SHOP, &[], None)), problem("invalid", "avoid"));
    assert_eq!(ask(asked(SHOP, &["milk", "hazlenut"], None)), problem("unknown-allergen", "avoid[1]"));
    assert_eq!(ask(asked(SHOP, &["milk", "milk"], None)), problem("repeated", "avoid[1]"));
    assert_eq!(ask(asked("nowhere", &["milk"], None)), problem("unknown-code", "site"));
    assert_eq!(ask(asked(SHOP, &["milk"], Some(&[]))), problem("invalid", "lots"));
    assert_eq!(ask(asked(SHOP, &["milk"], Some(&[&milk]))), problem("lot-elsewhere", "lots[0]"));
    assert_eq!(ask(asked(KITCHEN, &["milk"], Some(&[&milk, &milk]))), problem("repeated", "lots[1]"));
    assert_eq!(ask(asked(KITCHEN, &["milk"], Some(&["261102-0001-0"]))).0, "bad-lot-number");
    let empty = check(&house, SHOP, &["milk"], None);
    let note = empty.note.map(|note| note.to_string());
    assert_eq!((empty.tubs.len(), note.as_deref()), (0, Some("Nothing stands open at harbour-shop now.")));
}

fn what_is_elsewhere_is_not_answered(backend: Backend) {
    let house = house(backend);
    state_all(&house);
    let milk = house.receive("dairy", "milk", "M-1", 100_000);
    let (_, _, tub) = churn(&house, "fiordilatte", milk_only(&milk), "freezer-1", -60, -50);
    open(&house, SHOP, &[&tub]);
    let here = someone(&house, Role::Device, SHOP);
    let elsewhere = someone(&house, Role::Device, OTHER_SHOP);
    let new = asked(SHOP, &["milk"], None);
    assert_eq!(house.tubtrail.check_allergens(&here, &new).unwrap().tubs.len(), 1, "a till may ask");
    assert_eq!(refused(house.tubtrail.check_allergens(&elsewhere, &new)), problem("not-found", "site"));
    let of_theirs = asked(OTHER_SHOP, &["milk"], Some(&[&tub]));
    assert_eq!(refused(house.tubtrail.check_allergens(&elsewhere, &of_theirs)), problem("unknown-code", "lots[0]"));
    assert_eq!(refused(house.tubtrail.lot_contents(&elsewhere, &tub)), problem("not-found", ""));
    let contents = house.tubtrail.lot_contents(&here, &tub).unwrap();
    assert_eq!(contents.says.contains, ["milk"]);
    let sheet = house.tubtrail.allergen_sheet(&elsewhere, SHOP, AllergenList::Eu);
    assert_eq!(refused(sheet), problem("not-found", ""));
}

fn the_sheet_shows_what_stands_open(backend: Backend) {
    let house = house(backend);
    state_all(&house);
    let milk = house.receive("dairy", "milk", "M-1", 100_000);
    let paste = house.receive("nut-mill", "hazelnut-paste", "H-1", 5000);
    let (_, _, nutty) = churn(&house, "gianduja", with_paste(&milk, &paste), "freezer-1", -60, -50);
    let (_, _, closed) = churn(&house, "verde", milk_only(&milk), "freezer-2", -60, -50);
    let pine = house.receive("nut-mill", "pistachio-paste", "P-9", 1000);
    let of_lot = NewStatement {
        item: None,
        lot: Some(pine.clone()),
        in_force_from: None,
        ..stated("pistachio-paste", "nut-mill", &["pine_nut"])
    };
    state(&house, of_lot);
    // Made with milk alone, and with a pine nut paste: no verde as its recipe has it.
    let uses = vec![of(&milk, 9000), of(&pine, 1000)];
    let (_, _, odd) = churn(&house, "fiordilatte", uses, "freezer-2", -40, -30);
    serves(&house, SHOP, false, -1000);
    open(&house, SHOP, &[&nutty, &odd]);
    crate::shelf::bring(&house, SHOP, &[&closed]);
    let sheet = house.tubtrail.allergen_sheet(&Request::system(), SHOP, AllergenList::Eu).unwrap();
    let names: Vec<_> = sheet.rows.iter().map(|row| row.item.as_str()).collect();
    assert_eq!(names, ["fiordilatte", "gianduja"], "what is closed is not in the case");
    let at = |allergen: &str| {
        let fits = |column: &tubtrail_operations::allergen_sheets::SheetColumn| column.allergens == [allergen];
        sheet.columns.iter().position(fits).unwrap_or_else(|| panic!("no column of {allergen}"))
    };
    let cell = |row: usize, allergen: &str| sheet.rows[row].answers[at(allergen)];
    assert_eq!((cell(0, "hazelnut"), cell(1, "hazelnut")), (NotRecorded, Contains));
    assert_eq!(
        (cell(0, "pine_nut"), cell(1, "pine_nut")),
        (Contains, Unknown),
        "no list asked for it, somebody said it"
    );
    let column = &sheet.columns[at("pine_nut")];
    assert!(column.beyond_the_list && !sheet.columns[at("milk")].beyond_the_list);
    assert_eq!(sheet.law, "Regulation (EU) No 1169/2011, Annex II");
    let us = house.tubtrail.allergen_sheet(&Request::system(), SHOP, AllergenList::Us).unwrap();
    assert!(us.columns.iter().all(|column| !column.beyond_the_list), "it is on that list");
}
