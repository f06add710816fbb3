//! Master data: what is refused, what changes, and who reaches it.

use tubtrail_operations::equipment::Equipment;
use tubtrail_operations::items::{CountedBy, Item, ItemKind};
use tubtrail_operations::master_data::Master;
use tubtrail_operations::partners::Partner;
use tubtrail_operations::quantities::Amount;
use tubtrail_operations::reorder_levels::NewReorderLevel;
use tubtrail_operations::sites::{Site, SiteKind};
use tubtrail_operations::{Actor, Grams, OperationError, Request, Role};
use tubtrail_storage::master_data::{Noun, Site as StoredSite, reorder_levels_in_force};
use tubtrail_tests::house::{KITCHEN, OTHER_SHOP, SHOP, equipment, item, partner, site};
use tubtrail_tests::{Backend, TestHouse, on_both};

on_both!(
    bad_sites_partners_items_and_equipment_are_refused,
    a_change_is_a_new_version_and_a_stale_one_is_refused,
    a_kind_and_a_code_never_change,
    lists_go_on_where_they_stopped,
    equipment_is_found_by_who_reaches_its_site,
    each_role_does_what_is_its_to_do,
    the_newest_reorder_level_counts,
    figures_are_kept_as_they_are_answered,
);

/// The problem's word and the field at fault.
fn named(error: &OperationError) -> (&'static str, &str) {
    (error.problem.word, error.field.as_deref().unwrap_or(""))
}

#[track_caller]
fn refused<M: Master + std::fmt::Debug>(house: &TestHouse, new: M, word: &str, field: &str) {
    let before = house.tubtrail.is_ready().expect("the house stands");
    let what = format!("{new:?}");
    let error = house.tubtrail.create(&Request::system(), new).map(|done| done.answer).expect_err(&what);
    assert_eq!(named(&error), (word, field), "{what}: {error}");
    assert_eq!(house.tubtrail.is_ready().expect("the house stands"), before, "a refusal leaves no entry: {what}");
}

fn counted(counted: CountedBy) -> Item {
    Item { counted, ..item("new", ItemKind::Ingredient, true) }
}

fn amount(text: &str) -> Amount {
    Amount(text.into())
}

fn bad_sites_partners_items_and_equipment_are_refused(backend: Backend) {
    let house = TestHouse::new(backend);
    let new = || site("new", SiteKind::Shop);
    refused(&house, Site { code: "New Shop".into(), ..new() }, "invalid", "code");
    refused(&house, Site { code: "a\0b".into(), ..new() }, "invalid", "code");
    refused(&house, Site { code: String::new(), ..new() }, "invalid", "code");
    refused(&house, Site { code: KITCHEN.into(), ..new() }, "code-taken", "code");
    refused(&house, Site { name: " ".into(), ..new() }, "invalid", "name");
    refused(&house, Site { name: "a\0b".into(), ..new() }, "invalid", "name");
    refused(&house, Site { name: "x".repeat(121), ..new() }, "invalid", "name");
    refused(&house, Site { time_zone: "Lisbon".into(), ..new() }, "invalid", "time_zone");
    refused(&house, Site { gln: Some("950110153000".into()), ..new() }, "invalid", "gln");
    // GS1's own example of a check digit: 629104150021 takes a 3 (GS1 General Specifications; from memory).
    refused(&house, Site { gln: Some("6291041500212".into()), ..new() }, "invalid", "gln");
    house.put(Site { gln: Some("6291041500213".into()), ..new() });
    refused(&house, Site { version: Some(1), ..site("newer", SiteKind::Shop) }, "invalid", "version");

    let new = || partner("new", true);
    refused(&house, Partner { supplies: false, takes_tubs: false, ..new() }, "invalid", "supplies");
    refused(&house, Partner { contact: Some("x".repeat(2001)), ..new() }, "invalid", "contact");
    refused(&house, Partner { contact: Some("call\0me".into()), ..new() }, "invalid", "contact");

    let new = |kind| item("new", kind, true);
    refused(&house, Item { tracked: false, ..new(ItemKind::Base) }, "invalid", "tracked");
    refused(&house, Item { tracked: false, ..new(ItemKind::Flavour) }, "invalid", "tracked");
    refused(
        &house,
        Item { warmest_arrival_celsius: Some(301.0), ..new(ItemKind::Ingredient) },
        "invalid",
        "warmest_arrival_celsius",
    );
    refused(
        &house,
        Item { warmest_arrival_celsius: Some(f64::NAN), ..new(ItemKind::Ingredient) },
        "invalid",
        "warmest_arrival_celsius",
    );
    refused(
        &house,
        Item { portion_grams: Some(Grams::from_mg(0)), ..new(ItemKind::Flavour) },
        "invalid",
        "portion_grams",
    );
    refused(
        &house,
        Item { portion_grams: Some(Grams::from_mg(-1)), ..new(ItemKind::Flavour) },
        "invalid",
        "portion_grams",
    );
    refused(&house, Item { shelf_life_days: Some(-1), ..new(ItemKind::Base) }, "invalid", "shelf_life_days");
    refused(&house, Item { warn_days: Some(-1), ..new(ItemKind::Ingredient) }, "invalid", "warn_days");
    refused(&house, Item { warn_days: Some(3651), ..new(ItemKind::Ingredient) }, "invalid", "warn_days");
    refused(&house, Item { shelf_life_days: Some(3651), ..new(ItemKind::Base) }, "invalid", "shelf_life_days");
    let volume = |text| counted(CountedBy::Volume { density_kg_per_m3: amount(text) });
    for wrong in ["1.03", "299.999", "2000.001", "-1030", "1030,5", "1030.0005", "", "heavy"] {
        refused(&house, volume(wrong), "invalid", "counted.density_kg_per_m3");
    }
    let piece = |mg| counted(CountedBy::Piece { piece_grams: Grams::from_mg(mg) });
    refused(&house, piece(0), "invalid", "counted.piece_grams");
    refused(&house, piece(1_000_000_000_001), "invalid", "counted.piece_grams");
    let strength = |text, sweetened| counted(CountedBy::Strength { percent_vol: amount(text), sweetened });
    refused(&house, strength("100.1", false), "invalid", "counted.percent_vol");
    refused(&house, strength("-40", false), "invalid", "counted.percent_vol");
    // A liqueur of 24 % vol is far denser than a spirit of that strength: only measuring tells.
    refused(&house, strength("24", true), "needs-density", "counted.sweetened");

    let new = || equipment("new", KITCHEN, &[ItemKind::Base]);
    refused(&house, Equipment { site: "nowhere".into(), ..new() }, "unknown-code", "site");
    refused(&house, Equipment { touches: vec![], ..new() }, "invalid", "touches");
    refused(&house, Equipment { touches: vec![ItemKind::Base, ItemKind::Base], ..new() }, "repeated", "touches");
    house.put(Site { active: false, ..site("closed", SiteKind::Kitchen) });
    refused(&house, Equipment { site: "closed".into(), ..new() }, "not-in-use", "site");
    house.put(Equipment { site: "closed".into(), active: false, ..new() });
}

fn a_change_is_a_new_version_and_a_stale_one_is_refused(backend: Backend) {
    let house = TestHouse::new(backend);
    let tubtrail = &house.tubtrail;
    let system = Request::system();
    let first = house.put(partner("orchard", true));
    assert_eq!(first.version, Some(1));
    let renamed = Partner { name: "The orchard".into(), ..first.clone() };
    let second = tubtrail.change(&system, "orchard", renamed).expect("a change").answer;
    assert_eq!((second.version, second.name.as_str()), (Some(2), "The orchard"));

    let stale = Partner { name: "Someone else's".into(), ..first.clone() };
    let error = tubtrail.change(&system, "orchard", stale).map(|done| done.answer).expect_err("it is stale");
    assert_eq!(named(&error), ("version-moved", "version"));
    let unsaid = Partner { version: None, ..second.clone() };
    let error = tubtrail.change(&system, "orchard", unsaid).map(|done| done.answer).expect_err("no version");
    assert_eq!(named(&error), ("invalid", "version"));
    let error = tubtrail.change(&system, "nobody", partner("nobody", true)).map(|done| done.answer).expect_err("none");
    assert_eq!(named(&error), ("not-found", ""));

    assert_eq!(tubtrail.get::<Partner>(&system, "orchard").expect("it stands"), second);
    assert_eq!(tubtrail.versions::<Partner>(&system, "orchard").expect("its versions"), [first, second]);
}

fn a_kind_and_a_code_never_change(backend: Backend) {
    let house = TestHouse::new(backend);
    let sugar: Item = house.tubtrail.get(&Request::system(), "sugar").expect("an item");
    let change = |next: Item| house.tubtrail.change(&Request::system(), "sugar", next).map(|done| done.answer);
    let error = change(Item { kind: ItemKind::Component, ..sugar.clone() }).expect_err("another kind");
    assert_eq!(named(&error), ("invalid", "kind"));
    let error = change(Item { code: "fine-sugar".into(), ..sugar.clone() }).expect_err("another code");
    assert_eq!(named(&error), ("invalid", "code"));
    assert_eq!(house.tubtrail.get::<Item>(&Request::system(), "sugar").expect("an item"), sugar);
}

fn lists_go_on_where_they_stopped(backend: Backend) {
    let house = TestHouse::new(backend);
    for code in ["a1", "b-2", "b2", "z-9"] {
        house.put(partner(code, true));
    }
    let mut seen = Vec::new();
    let mut after = String::new();
    loop {
        let page = house.tubtrail.list::<Partner>(&Request::system(), &after, 2).expect("a page");
        assert!(page.items.len() <= 2);
        seen.extend(page.items.into_iter().map(|partner| partner.code));
        let Some(next) = page.next else { break };
        after = next;
    }
    seen.sort();
    assert_eq!(seen, ["a1", "b-2", "b2", "bistro", "dairy", "nut-mill", "z-9"]);
    let error = house.tubtrail.list::<Partner>(&Request::system(), "a\0b", 2).expect_err("no code");
    assert_eq!(named(&error), ("invalid", "after"));
    let error = house.tubtrail.get::<Partner>(&Request::system(), "a\0b").expect_err("no code");
    assert_eq!(error.problem.word, "not-found");
}

fn equipment_is_found_by_who_reaches_its_site(backend: Backend) {
    let house = TestHouse::new(backend);
    house.put(site("second-kitchen", SiteKind::Kitchen));
    let here = house.equipment("freezer", &[ItemKind::Flavour]);
    let there = house.put(equipment("kettle", "second-kitchen", &[ItemKind::Base]));
    let tubtrail = &house.tubtrail;
    let cook = house.someone(Role::Kitchen, Some(KITCHEN));
    assert_eq!(tubtrail.list::<Equipment>(&cook, "", 10).expect("a list").items, std::slice::from_ref(&here));
    assert_eq!(tubtrail.get::<Equipment>(&cook, "freezer").expect("it is theirs"), here);
    for error in [
        tubtrail.get::<Equipment>(&cook, "kettle").err(),
        tubtrail.versions::<Equipment>(&cook, "kettle").err(),
        tubtrail.change(&cook, "kettle", there.clone()).err(),
    ] {
        assert_eq!(named(&error.expect("out of reach")), ("not-found", ""));
    }
    let taken_away = Equipment { site: "second-kitchen".into(), ..here };
    let error = tubtrail.change(&cook, "freezer", taken_away).map(|done| done.answer).expect_err("out of reach");
    assert_eq!(named(&error), ("not-found", "site"));
    let new = equipment("pan", "second-kitchen", &[ItemKind::Base]);
    let error = tubtrail.create(&cook, new).map(|done| done.answer).expect_err("out of reach");
    assert_eq!(named(&error), ("not-found", "site"));
    tubtrail.create(&cook, equipment("pan", KITCHEN, &[ItemKind::Base])).expect("it is theirs");
}

fn each_role_does_what_is_its_to_do(backend: Backend) {
    let house = TestHouse::new(backend);
    let tubtrail = &house.tubtrail;
    for (role, may) in [
        (Role::Owner, true),
        (Role::Kitchen, true),
        (Role::Shop, false),
        (Role::Inspector, false),
        (Role::Device, false),
    ] {
        let who = house.someone(role, Some(KITCHEN));
        tubtrail.list::<Item>(&who, "", 10).unwrap_or_else(|error| panic!("{role:?}: {error}"));
        let created = tubtrail.create(&who, partner(&format!("new-{}", role.word()), true)).map(|done| done.answer);
        match created {
            Ok(_) => assert!(may, "{role:?}"),
            Err(error) => assert_eq!((may, named(&error)), (false, ("forbidden", "")), "{role:?}"),
        }
    }
    let nobody = Request::of(Actor { name: "user:nobody".into(), grants: vec![] });
    assert_eq!(tubtrail.list::<Item>(&nobody, "", 10).expect_err("no role").problem.word, "forbidden");
}

fn the_newest_reorder_level_counts(backend: Backend) {
    let house = TestHouse::new(backend);
    let set = |who: &Request, item: &str, site: &str, mg: i64| {
        let level = NewReorderLevel { grams: Grams::from_mg(mg) };
        house.tubtrail.set_reorder_level(who, item, site, level).map(|done| done.answer)
    };
    let system = Request::system();
    let answer = set(&system, "milk", KITCHEN, 5_000_000).expect("a level");
    assert_eq!((answer.item.as_str(), answer.site.as_str(), answer.grams.mg()), ("milk", KITCHEN, 5_000_000));
    set(&system, "milk", KITCHEN, 7_500_500).expect("a level");
    set(&system, "milk", SHOP, 1_000_000).expect("a level");
    set(&system, "sugar", SHOP, 2_000_000).expect("a level");
    set(&system, "sugar", SHOP, 0).expect("no longer told");
    let shop = house.someone(Role::Shop, Some(OTHER_SHOP));
    set(&shop, "pistachio", OTHER_SHOP, 3_000_000).expect("their own site");

    let mut conn = house.database().connect();
    let mut levels = |site: Option<&str>| -> Vec<i64> {
        let id = site.map(|site| StoredSite::by_code(&mut conn, site).expect("a query").expect("a site").row.id);
        let mut levels: Vec<i64> =
            reorder_levels_in_force(&mut conn, id).expect("a query").iter().map(|level| level.level_mg).collect();
        levels.sort_unstable();
        levels
    };
    assert_eq!(levels(Some(KITCHEN)), [7_500_500]);
    assert_eq!(levels(Some(SHOP)), [1_000_000]);
    assert_eq!(levels(None), [1_000_000, 3_000_000, 7_500_500]);

    for (who, item, site, mg, expected) in [
        (&system, "milk", KITCHEN, -1, ("bad-quantity", "grams")),
        (&system, "milk", KITCHEN, 1_000_000_000_001, ("bad-quantity", "grams")),
        (&system, "water", KITCHEN, 1, ("wrong-kind", "item")),
        (&system, "mlik", KITCHEN, 1, ("not-found", "")),
        (&system, "milk", "nowhere", 1, ("not-found", "")),
        (&shop, "milk", KITCHEN, 1, ("not-found", "")),
        (&house.someone(Role::Inspector, Some(KITCHEN)), "milk", KITCHEN, 1, ("forbidden", "")),
    ] {
        let error = set(who, item, site, mg).expect_err(&format!("{item} {site} {mg}"));
        assert_eq!(named(&error), expected, "{item} {site} {mg}");
    }
}

fn figures_are_kept_as_they_are_answered(backend: Backend) {
    let house = TestHouse::new(backend);
    let typed = Item {
        counted: CountedBy::Volume { density_kg_per_m3: amount(" 1030.50") },
        warmest_arrival_celsius: Some(4.04),
        name: "  Goat's milk ".into(),
        ..item("goats-milk", ItemKind::Ingredient, true)
    };
    let answered = house.put(typed);
    assert_eq!(answered.counted, CountedBy::Volume { density_kg_per_m3: amount("1030.5") });
    assert_eq!((answered.warmest_arrival_celsius, answered.name.as_str()), (Some(4.0), "Goat's milk"));
    assert_eq!(house.tubtrail.get::<Item>(&Request::system(), "goats-milk").expect("it stands"), answered);
}
