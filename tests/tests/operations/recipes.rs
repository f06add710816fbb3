//! Recipes: their lines, their yield, their rest, and their versions.

use tubtrail_operations::items::{Item, ItemKind};
use tubtrail_operations::recipes::Recipe;
use tubtrail_operations::{Grams, OperationError, Request};
use tubtrail_tests::house::{item, recipe};
use tubtrail_tests::{Backend, TestHouse, on_both};

on_both!(
    a_base_rests_twelve_hours_unless_said_otherwise,
    bad_recipes_are_refused,
    each_version_keeps_its_own_lines,
    a_recipe_goes_on_making_what_it_makes,
    a_recipe_of_something_given_up_can_be_given_up,
);

fn named(error: &OperationError) -> (&'static str, &str) {
    (error.problem.word, error.field.as_deref().unwrap_or(""))
}

fn a_base_rests_twelve_hours_unless_said_otherwise(backend: Backend) {
    let house = TestHouse::new(backend);
    let base = house.recipe("white-60", "white-base", &[("milk", 42_000), ("sugar", 9_000)], 50_000);
    // Common practice, no source.
    assert_eq!((base.maturing_minutes, base.version), (Some(720), Some(1)));
    let flavour = house.recipe("pistachio-10", "pistachio", &[("white-base", 9_000), ("pistachio-paste", 900)], 9_800);
    assert_eq!(flavour.maturing_minutes, Some(0));
    let praline = house.recipe("praline-5", "praline", &[("sugar", 2_500), ("hazelnut-paste", 2_500)], 5_000);
    assert_eq!(praline.maturing_minutes, Some(0));
    let said = Recipe { maturing_minutes: Some(240), ..recipe("white-30", "white-base", &[("milk", 30_000)], 29_000) };
    assert_eq!(house.put(said).maturing_minutes, Some(240));
}

fn bad_recipes_are_refused(backend: Backend) {
    let house = TestHouse::new(backend);
    house.put(Item { active: false, ..item("carob", ItemKind::Ingredient, true) });
    let of = |lines: &[(&str, u32)], expected| recipe("new", "white-base", lines, expected);
    let good = || of(&[("milk", 4_000), ("sugar", 1_000)], 5_000);
    let many: Vec<_> = (0..101).map(|number| format!("item-{number}")).collect();
    let many: Vec<_> = many.iter().map(|code| (code.as_str(), 1)).collect();
    let before = house.tubtrail.is_ready().expect("the house stands");
    for (bad, word, field) in [
        (Recipe { code: "New".into(), ..good() }, "invalid", "code"),
        (Recipe { item: "nothing".into(), ..good() }, "unknown-code", "item"),
        (Recipe { item: "sugar".into(), ..good() }, "wrong-kind", "item"),
        (Recipe { name: String::new(), ..good() }, "invalid", "name"),
        (of(&[], 1), "invalid", "lines"),
        (of(&many, 1), "invalid", "lines"),
        (of(&[("milk", 4_000), ("mlik", 1)], 1), "unknown-code", "lines[1].item"),
        (of(&[("milk", 4_000), ("carob", 1)], 1), "not-in-use", "lines[1].item"),
        (of(&[("milk", 4_000), ("white-base", 1)], 1), "invalid", "lines[1].item"),
        (of(&[("milk", 4_000), ("sugar", 1), ("milk", 1)], 1), "repeated", "lines[2].item"),
        (of(&[("milk", 0)], 1), "invalid", "lines[0].grams"),
        (of(&[("milk", 1_000_000_000), ("sugar", 1)], 1), "invalid", "lines[1].grams"),
        (of(&[("milk", 4_000)], 0), "invalid", "expected_yield_grams"),
        (of(&[("milk", 4_000), ("sugar", 1_000)], 5_001), "invalid", "expected_yield_grams"),
        (Recipe { expected_yield_grams: Grams::from_mg(5_000_001), ..good() }, "invalid", "expected_yield_grams"),
        (Recipe { maturing_minutes: Some(-1), ..good() }, "invalid", "maturing_minutes"),
        (Recipe { maturing_minutes: Some(20_161), ..good() }, "invalid", "maturing_minutes"),
        (Recipe { method: Some("x".repeat(2001)), ..good() }, "invalid", "method"),
        (Recipe { version: Some(1), ..good() }, "invalid", "version"),
    ] {
        let what = format!("{bad:?}");
        let error = house.tubtrail.create(&Request::system(), bad).map(|done| done.answer).expect_err(&what);
        assert_eq!(named(&error), (word, field), "{what}: {error}");
    }
    assert_eq!(house.tubtrail.is_ready().expect("the house stands"), before, "refusals leave no entry");
    let whole = house.put(good());
    assert_eq!(whole.expected_yield_grams.mg(), 5_000_000, "all that goes in may come out");
}

fn each_version_keeps_its_own_lines(backend: Backend) {
    let house = TestHouse::new(backend);
    let first = house.recipe("white-5", "white-base", &[("milk", 4_000), ("sugar", 1_000)], 4_900);
    let changed = Recipe {
        version: Some(1),
        method: Some("Heat; cool fast.\nKeep cold overnight.".into()),
        ..recipe("white-5", "white-base", &[("cream", 500), ("milk", 3_600), ("sugar", 900)], 4_900)
    };
    let second = house.tubtrail.change(&Request::system(), "white-5", changed.clone()).expect("a change").answer;
    assert_eq!(second, Recipe { version: Some(2), maturing_minutes: Some(720), ..changed.clone() });
    let versions = house.tubtrail.versions::<Recipe>(&Request::system(), "white-5").expect("its versions");
    assert_eq!(versions, [first, second.clone()]);
    let error = house.tubtrail.change(&Request::system(), "white-5", changed).map(|done| done.answer);
    assert_eq!(named(&error.expect_err("stale")), ("version-moved", "version"));
    assert_eq!(house.tubtrail.get::<Recipe>(&Request::system(), "white-5").expect("it stands"), second);
}

fn a_recipe_goes_on_making_what_it_makes(backend: Backend) {
    let house = TestHouse::new(backend);
    let first = house.recipe("base-5", "white-base", &[("milk", 4_000), ("sugar", 1_000)], 4_900);
    let other = Recipe { item: "yellow-base".into(), ..first };
    let error = house.tubtrail.change(&Request::system(), "base-5", other).map(|done| done.answer);
    assert_eq!(named(&error.expect_err("another item")), ("invalid", "item"));
}

fn a_recipe_of_something_given_up_can_be_given_up(backend: Backend) {
    let house = TestHouse::new(backend);
    let first = house.recipe("base-5", "white-base", &[("milk", 4_000), ("sugar", 1_000)], 4_900);
    let milk: Item = house.tubtrail.get(&Request::system(), "milk").expect("an item");
    house.tubtrail.change(&Request::system(), "milk", Item { active: false, ..milk }).expect("given up");
    let change = |next| house.tubtrail.change(&Request::system(), "base-5", next).map(|done| done.answer);
    let error = change(Recipe { name: "Still made".into(), ..first.clone() }).expect_err("milk is given up");
    assert_eq!(named(&error), ("not-in-use", "lines[0].item"));
    assert!(!change(Recipe { active: false, ..first }).expect("given up too").active);
}
