//! Recipes and equipment.

use tubtrail_operations::items::ItemKind;
use tubtrail_tests::{Backend, TestHouse, on_both};

on_both!(a_base_rests_twelve_hours_unless_said_otherwise);

fn a_base_rests_twelve_hours_unless_said_otherwise(backend: Backend) {
    let house = TestHouse::new(backend);
    let base = house.recipe("white-60", "white-base", &[("milk", 42_000), ("sugar", 9_000)], 50_000);
    // Common practice, no source.
    assert_eq!((base.maturing_minutes, base.version), (Some(720), Some(1)));
    let flavour = house.recipe("pistachio-10", "pistachio", &[("white-base", 9_000), ("pistachio-paste", 900)], 9_800);
    assert_eq!(flavour.maturing_minutes, Some(0));
    let freezer = house.equipment("freezer", &[ItemKind::Flavour, ItemKind::Base]);
    assert_eq!(freezer.touches, [ItemKind::Base, ItemKind::Flavour]);
}
