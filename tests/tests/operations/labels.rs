//! Labels: the order of what really went in, by three laws; refusals; codes; what is entered for them.

use tubtrail_operations::allergen_words::AllergenList;
use tubtrail_operations::completions::OutputKind;
use tubtrail_operations::gtins::NewItemGtin;
use tubtrail_operations::item_labels::{ItemLabel, MadeOf, ShownAs};
use tubtrail_operations::items::ItemKind;
use tubtrail_operations::labels::{Label, Symbology};
use tubtrail_operations::lots::LotKind;
use tubtrail_operations::makers::Maker;
use tubtrail_operations::recalls::SeedAsked;
use tubtrail_operations::{OperationError, Request};
use tubtrail_tests::batches::{of, out};
use tubtrail_tests::house::item;
use tubtrail_tests::{Backend, TestHouse, on_both};

use crate::label_world::{LabelWorld, item_label, last_day, maker, standing_out, statement, text};
use crate::recalled::begin;

use AllergenList::{Ca, Eu, Us};

on_both!(
    a_tub_lists_what_really_went_in_by_three_laws,
    yesterdays_rest_is_listed_with_what_is_in_it,
    components_bases_and_received_lots_have_labels_too,
    whatever_is_unknown_refuses_the_label,
    what_ran_before_is_possible_or_unknown,
    a_number_under_the_bars_makes_a_code_and_a_link,
    a_date_the_law_has_not_is_refused,
    what_is_recalled_or_rejected_has_no_label,
    words_for_labels_are_checked,
    makers_are_checked,
);

#[track_caller]
fn label(world: &LabelWorld, lot: &str, law: AllergenList) -> Label {
    world.label(lot, Some(law)).unwrap_or_else(|error| panic!("{error}"))
}

fn statements(label: &Label) -> Vec<String> {
    label.statements.iter().map(|statement| text(statement)).collect()
}

fn dates(label: &Label) -> Vec<(&str, &str)> {
    label.dates.iter().map(|date| (date.label.as_str(), date.date.as_str())).collect()
}

fn change(house: &TestHouse, label: ItemLabel) {
    let code = label.code.clone();
    let next = ItemLabel { version: Some(1), ..label };
    house.tubtrail.change(&Request::system(), &code, next).unwrap_or_else(|error| panic!("{error}"));
}

/// On paper in `label_world`: milk 3000 g, cream 1000 g, sugar 1000 g, pistachio paste 450 g, water 150 g, praline 98 g (of
/// which sugar 60, hazelnut paste 40); pistachio is 450 of 5698 g, 7.9 %. By the recipe the paste, 1200 g, would be second.
fn a_tub_lists_what_really_went_in_by_three_laws(backend: Backend) {
    let world = LabelWorld::new(backend);
    let eu = label(&world, &world.tubs[0], Eu);
    assert_eq!(
        text(&eu.ingredients),
        "Ingredients: whole milk, cream (milk), sugar, pistachio paste 8 %, water, praline (sugar, hazelnut paste)"
    );
    // Regulation (EU) 1169/2011 art. 21(1): in the list, standing out; no statement repeats them.
    assert_eq!(standing_out(&eu.ingredients), ["milk", "milk", "pistachio", "hazelnut"]);
    assert_eq!(statements(&eu), ["May contain: almonds"]);
    // Annex X: day, month, year, uncoded.
    assert_eq!(dates(&eu), [("Best before", "25 May 2027")]);
    assert_eq!((eu.name.as_str(), eu.subtitle.as_str()), ("Pistachio gelato", "Tub 1 of 3"));
    assert_eq!(eu.net_quantity.as_deref(), Some("2.437 kg"), "2437.9 g, rounded down");
    assert_eq!(eu.storage, ["Keep at −18 °C or below.", "Once opened, use within 3 days."]);
    assert_eq!(eu.maker, ["Northquay Gelato", "1 Harbour Street", "Northquay"]);
    assert_eq!(eu.least_letters_micrometres, 1200, "art. 13(2)");
    assert_eq!((eu.notices.len(), eu.warnings.len()), (0, 0));
    assert_eq!(world.label(&world.tubs[0], None).expect("the maker's"), eu);

    // 21 CFR 101.4(a)(1); FD&C Act 403(w)(1): every source, each nut by its kind, also where the list names it.
    let us = label(&world, &world.tubs[0], Us);
    assert_eq!(
        text(&us.ingredients),
        "Ingredients: whole milk, cream, sugar, pistachio paste 8 %, water, praline (sugar, hazelnut paste)"
    );
    assert_eq!(standing_out(&us.ingredients), [""; 0]);
    assert_eq!(statements(&us), ["Contains: Milk, Hazelnuts, Pistachios", "May contain: Almonds"]);
    assert_eq!(dates(&us), [("Best if used by", "May 25, 2027")]);
    assert_eq!(us.net_quantity.as_deref(), Some("Net Wt 5 lb 5.9 oz (2.43 kg)"));

    // Food and Drug Regulations B.01.008.3: the sugars together; B.01.007: year, month, day.
    let ca = label(&world, &world.tubs[0], Ca);
    assert_eq!(
        text(&ca.ingredients),
        "Ingredients: Whole milk, Sugars (sugar), Cream, Pistachio paste 8 %, Water, Praline (sugar, hazelnut paste)"
    );
    assert_eq!(statements(&ca), ["Contains: Hazelnuts, Pistachios, Milk", "May contain: Almonds"]);
    assert_eq!(dates(&ca), [("Best before / Meilleur avant", "2027 MA 25")]);
    assert_eq!(ca.net_quantity.as_deref(), Some("2.43 kg"));

    for label in [&eu, &us, &ca] {
        let said = serde_json::to_string(&label).expect("JSON").to_lowercase();
        assert!(!said.contains("free from") && !said.contains("\"safe") && !said.contains(" safe"), "{said}");
    }
}

/// On paper: 900 g of a tub's mix were left over and went into the next batch with 1000 g cream. Of the 900 g, of 5437.9 g
/// that came out, 496.5 g are milk, 165.5 g cream, 165.5 g sugar, 74.5 g paste, 24.8 g water, 16.2 g praline.
fn yesterdays_rest_is_listed_with_what_is_in_it(backend: Backend) {
    let world = LabelWorld::new(backend);
    let house = &world.house;
    let cream = house.receive("dairy", "cream", "C-2", 5000);
    let sheet = vec![of(&world.tubs[1], 900), of(&cream, 1000)];
    let made = house.make("pistachio", sheet, vec![out(OutputKind::Remainder, 1900)]);
    let rest = label(&world, &made.outputs[0].lot, Eu);
    assert_eq!((rest.kind, rest.subtitle.as_str()), (LotKind::Remainder, "Remainder"));
    // Cream: 1000 + 165.5 g. The paste is 74.5 of 1943 g: 3.8 %, to the half 4.
    assert_eq!(
        text(&rest.ingredients),
        "Ingredients: cream (milk), whole milk, sugar, pistachio paste 4 %, water, praline (sugar, hazelnut paste)"
    );
    assert_eq!(rest.maker, [""; 0], "it stays in the house");
}

fn components_bases_and_received_lots_have_labels_too(backend: Backend) {
    let world = LabelWorld::new(backend);
    let praline = label(&world, &world.praline, Eu);
    assert_eq!((praline.name.as_str(), praline.subtitle.as_str()), ("Praline", "Component"));
    assert_eq!(text(&praline.ingredients), "Ingredients: sugar, hazelnut paste");
    assert_eq!(dates(&praline), [("Made on", "2 November 2026")]);
    let base = label(&world, &world.base, Eu);
    // It has no name for labels: it stays in the house, under that of the house.
    assert_eq!((base.name.as_str(), base.subtitle.as_str()), ("white-base", "Base"));
    assert_eq!(text(&base.ingredients), "Ingredients: whole milk, cream (milk), sugar");
    let milk = label(&world, &world.milk, Eu);
    assert_eq!((milk.name.as_str(), milk.subtitle.as_str()), ("Whole milk", "Received lot · their lot M-1"));
    assert_eq!((text(&milk.ingredients), statements(&milk)), (String::new(), vec!["Contains: milk".to_owned()]));
    assert_eq!(dates(&milk), [("Best before", "31 December 2026"), ("Received", "2 November 2026")]);
    assert_eq!(milk.net_quantity.as_deref(), Some("10 kg"));
    for label in [praline, base, milk] {
        assert_eq!((label.codes.len(), label.codes[0].symbology), (1, Symbology::Qr));
        assert_eq!((label.codes[0].text.as_str(), label.gtin), (label.lot.as_str(), None), "our own number");
    }
}

#[track_caller]
fn refused(answer: Result<Label, OperationError>, word: &str, says: &[&str]) {
    let error = answer.expect_err(word);
    assert_eq!(error.problem.word, word, "{error}");
    for said in says {
        assert!(error.detail.to_string().contains(said), "{said:?} is not in {error}");
    }
}

fn whatever_is_unknown_refuses_the_label(backend: Backend) {
    let world = LabelWorld::new(backend);
    let house = &world.house;
    // Nobody stated anything about what the bistro's dairy brings of hazelnut paste, and cocoa has no words for labels.
    house.put(item("cocoa", ItemKind::Ingredient, true));
    let paste = house.receive("dairy", "hazelnut-paste", "X-1", 1000);
    refused(world.label(&paste, None), "label-unknown", &["nobody has stated whether “hazelnut-paste” contains"]);
    let cocoa = house.receive("dairy", "cocoa", "K-1", 1000);
    let made = house.make("praline", vec![of(&paste, 100), of(&cocoa, 100)], vec![out(OutputKind::Component, 200)]);
    let lot = &made.outputs[0].lot;
    let unknown = [
        "“cocoa” has no name for labels",
        "nobody has entered what “cocoa” is made of",
        "nobody has stated whether “cocoa” contains",
        "give a reason to print it all the same",
    ];
    refused(world.label(lot, Some(Us)), "label-unknown", &unknown);

    // One by one it is entered, and then there is a label.
    let cocoa = MadeOf::Listed { ingredients: vec!["cocoa".into(), "emulsifier (soya lecithin)".into()] };
    house.put(item_label("cocoa", "cocoa powder", cocoa));
    for item in ["cocoa", "hazelnut-paste"] {
        let stated = statement(item, Some("dairy"), &["soy"], &[]);
        house.tubtrail.create_statement(&Request::system(), stated).unwrap_or_else(|error| panic!("{error}"));
    }
    let known = label(&world, lot, Eu);
    assert_eq!(
        text(&known.ingredients),
        "Ingredients: cocoa powder (cocoa, emulsifier (soya lecithin)), hazelnut paste (soybeans)"
    );
    assert_eq!(standing_out(&known.ingredients), ["soya", "soybeans"]);

    // A tub leaves the house: it says who made it and how to keep it.
    let next = Maker { active: false, version: Some(1), ..maker() };
    house.tubtrail.change(&Request::system(), "northquay", next).unwrap_or_else(|error| panic!("{error}"));
    change(house, item_label("pistachio", "pistachio gelato", MadeOf::WhatWentIn));
    let missing = ["how to keep it is missing", "the maker is missing"];
    refused(world.label(&world.tubs[0], None), "label-unknown", &missing);
    assert!(world.label(&world.praline, None).is_ok(), "what stays in the house does not");
}

/// Praline, with hazelnut, ran on the freezer before the base did that is labelled; then something nobody stated.
fn what_ran_before_is_possible_or_unknown(backend: Backend) {
    let world = LabelWorld::new(backend);
    let house = &world.house;
    let sugar = house.receive("dairy", "sugar", "S-2", 1000);
    let soy = house.receive("nut-mill", "sugar", "S-3", 1000);
    let stated = statement("sugar", Some("nut-mill"), &["soy"], &[]);
    house.tubtrail.create_statement(&Request::system(), stated).unwrap_or_else(|error| panic!("{error}"));
    let earlier = house.make("praline", vec![of(&soy, 100)], vec![out(OutputKind::Component, 100)]);
    world.ran_before(earlier.id);
    let eu = label(&world, &world.tubs[0], Eu);
    assert_eq!(statements(&eu), ["May contain: soybeans, almonds"]);
    drop(sugar);

    let world = LabelWorld::new(backend);
    let paste = world.house.receive("dairy", "hazelnut-paste", "X-1", 1000);
    let earlier = world.house.make("praline", vec![of(&paste, 100)], vec![out(OutputKind::Component, 100)]);
    world.ran_before(earlier.id);
    let says = ["nobody has stated whether what ran on the same equipment before contains", "Soybeans"];
    refused(world.label(&world.tubs[0], Some(Eu)), "label-unknown", &says);
}

fn a_number_under_the_bars_makes_a_code_and_a_link(backend: Backend) {
    let world = LabelWorld::new(backend);
    let house = &world.house;
    // GS1's prefix for demonstrations.
    let gtin =
        |gtin: &str| NewItemGtin { gtin: gtin.into(), supplier: None, grams_per_unit: None, since: None, reason: None };
    let add = |item: &str, new: NewItemGtin| {
        house.tubtrail.add_item_gtin(&Request::system(), item, new).unwrap_or_else(|error| panic!("{error}"));
    };
    add("pistachio", gtin("9520123456788"));
    add("milk", gtin("9520123456795"));
    let lot = &world.tubs[0];
    let label = label(&world, lot, Eu);
    assert_eq!(label.gtin.as_deref(), Some("09520123456788"));
    let code = |at: usize| (label.codes[at].symbology, label.codes[at].text.clone());
    // Best before is element 15: of fixed length, so nothing separates it from the lot.
    assert_eq!(code(0), (Symbology::Gs1DataMatrix, format!("01095201234567881527052510{lot}")));
    // Of the form of the vector `https://id.gs1.org/01/09520123456788/10/ABC1/21/12345?17=180426`.
    assert_eq!(code(1), (Symbology::Qr, format!("https://id.gs1.org/01/09520123456788/10/{lot}?15=270525")));
    assert_eq!(label.codes.len(), 2);
    let milk = world.label(&world.milk, None).expect("a label");
    assert_eq!((milk.gtin, milk.codes[0].text.as_str()), (None, world.milk.as_str()), "theirs is no number of ours");

    let next = Maker { link_stem: Some("https://northquay.example/id/".into()), version: Some(1), ..maker() };
    house.tubtrail.change(&Request::system(), "northquay", next).unwrap_or_else(|error| panic!("{error}"));
    let link = world.label(lot, None).expect("a label").codes[1].text.clone();
    assert_eq!(link, format!("https://northquay.example/id/01/09520123456788/10/{lot}?15=270525"));

    // The number is another item's now.
    add("hazelnut", NewItemGtin { reason: Some("a mistake".into()), ..gtin("9520123456788") });
    assert_eq!(world.label(lot, None).expect("a label").codes[0].text, *lot);
}

fn a_date_the_law_has_not_is_refused(backend: Backend) {
    use tubtrail_operations::deliveries::{Expiry, ExpiryKind};
    let world = LabelWorld::new(backend);
    let cream = world.house.receive("dairy", "cream", "C-2", 1000);
    let tub = |expiry| tubtrail_operations::completions::NewOutput { expiry, ..out(OutputKind::Tub, 400) };
    let use_by = Some(Expiry { kind: ExpiryKind::UseBy, on: last_day() });
    let made = world.house.make("pistachio", vec![of(&cream, 800)], vec![tub(use_by), tub(None)]);
    let (with, without) = (&made.outputs[0].lot, &made.outputs[1].lot);
    // Food and Drug Regulations B.01.007 has no “use by”.
    refused(world.label(with, Some(Ca)), "label-date", &["a label for Canada has no “use by”"]);
    assert_eq!(dates(&label(&world, with, Eu)), [("Use by", "25 May 2027")]);
    refused(world.label(without, Some(Eu)), "label-unknown", &["the date it keeps until is missing"]);
    // B.01.007(1.2).
    assert_eq!(dates(&label(&world, without, Ca)), [("Packaged on / Empaqueté le", "2026 NO 03")]);
    assert_eq!(dates(&label(&world, without, Us)), [("Packed on", "November 3, 2026")]);
}

fn what_is_recalled_or_rejected_has_no_label(backend: Backend) {
    let world = LabelWorld::new(backend);
    let house = &world.house;
    let cream = house.receive("dairy", "cream", "C-2", 1000);
    let because = tubtrail_operations::holds::Because { reason: Some("the seal was broken".into()) };
    house.tubtrail.hold_lot(&Request::system(), &cream, because.clone()).unwrap_or_else(|error| panic!("{error}"));
    let held = label(&world, &cream, Eu);
    assert!(held.warnings[0].to_string().contains("is on hold: the seal was broken"), "{:?}", held.warnings);
    house.tubtrail.reject_lot(&Request::system(), &cream, because).unwrap_or_else(|error| panic!("{error}"));
    refused(world.label(&cream, None), "lot-rejected", &["was rejected: the seal was broken"]);
    begin(house, vec![SeedAsked::Lots { lots: vec![world.milk.clone()] }]);
    let says = ["do not open or serve it", "A label is printed only with a reason"];
    refused(world.label(&world.tubs[0], None), "lot-recalled", &says);
}

fn words_for_labels_are_checked(backend: Backend) {
    let house = TestHouse::new(backend);
    let refused = |new: ItemLabel, word: &str, field: &str| {
        let error = house.tubtrail.create(&Request::system(), new).expect_err(field);
        assert_eq!((error.problem.word, error.field.as_deref()), (word, Some(field)), "{error}");
    };
    let listed = |one: &str| MadeOf::Listed { ingredients: vec![one.into()] };
    refused(item_label("nothing", "nothing", MadeOf::Single), "unknown-code", "code");
    refused(item_label("milk", "", MadeOf::Single), "invalid", "name");
    refused(item_label("milk", "whole milk", MadeOf::WhatWentIn), "invalid", "made_of");
    refused(item_label("praline", "praline", MadeOf::Single), "invalid", "made_of");
    refused(item_label("milk", "m", listed("a\nb")), "invalid", "made_of.ingredients[0]");
    let none = MadeOf::Listed { ingredients: Vec::new() };
    refused(item_label("milk", "m", none), "invalid", "made_of.ingredients");
    let milk = || item_label("milk", "whole milk", MadeOf::Single);
    refused(ItemLabel { shown: Some(ShownAs::InBrackets), ..milk() }, "invalid", "shown");
    refused(ItemLabel { opened_days: Some(0), ..milk() }, "invalid", "opened_days");
    refused(ItemLabel { largest_surface_cm2: Some(0), ..milk() }, "invalid", "largest_surface_cm2");
    refused(ItemLabel { storage: Some("x".repeat(121)), ..milk() }, "invalid", "storage");
    house.put(milk());
    refused(milk(), "code-taken", "code");
    let all = ItemLabel {
        made_of: listed("milk"),
        sugars_based: true,
        percent_shown: true,
        storage: Some("Keep cold.".into()),
        opened_days: Some(2),
        largest_surface_cm2: Some(79),
        ..milk()
    };
    change(&house, all.clone());
    let versions = house.tubtrail.versions::<ItemLabel>(&Request::system(), "milk").expect("two");
    assert_eq!(versions, [ItemLabel { version: Some(1), ..milk() }, ItemLabel { version: Some(2), ..all }]);
}

fn makers_are_checked(backend: Backend) {
    let house = TestHouse::new(backend);
    let refused = |new: Maker, field: &str| {
        let error = house.tubtrail.create(&Request::system(), new).expect_err(field);
        assert_eq!((error.problem.word, error.field.as_deref()), ("invalid", Some(field)), "{error}");
    };
    refused(Maker { name: String::new(), ..maker() }, "name");
    refused(Maker { address: Vec::new(), ..maker() }, "address");
    refused(Maker { address: vec!["a".into(), String::new()], ..maker() }, "address[1]");
    for stem in ["northquay.example", "ftp://northquay.example", "https://x/01/", "https://x?a=b", "https://x/#a"] {
        refused(Maker { link_stem: Some(stem.into()), ..maker() }, "link_stem");
    }
    let stem = Maker { link_stem: Some("https://northquay.example/".into()), ..maker() };
    assert_eq!(house.put(stem).link_stem.as_deref(), Some("https://northquay.example"));
}
