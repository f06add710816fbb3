//! Writes the made-up maker's master data and people.

use chrono::NaiveDate;
use tubtrail_operations::allergen_words::AllergenList;
use tubtrail_operations::clean_kinds::CleanKind;
use tubtrail_operations::equipment::Equipment;
use tubtrail_operations::items::{CountedBy, Item, ItemKind, Keeping};
use tubtrail_operations::partners::Partner;
use tubtrail_operations::quantities::Amount;
use tubtrail_operations::recipes::{Recipe, RecipeLine};
use tubtrail_operations::residues::NewCarryOver;
use tubtrail_operations::serving_ways::NewServingWay;
use tubtrail_operations::sites::{Site, SiteKind};
use tubtrail_operations::statements::NewStatement;
use tubtrail_operations::{Grams, OperationError, Request, Tubtrail};

use super::cast::{self, Counted};

/// One serving, in grams.
pub const PORTION_GRAMS: i64 = 80;

/// Sites, partners, items, recipes and equipment.
pub fn write_master_data(house: &Tubtrail) -> Result<(), OperationError> {
    let request = Request::system();
    for (code, name, kind) in cast::SITES {
        house.create(&request, site(code, name, kind))?;
    }
    for (code, name, supplies, contact) in cast::PARTNERS {
        house.create(&request, partner(code, name, *supplies, contact))?;
    }
    house.create(&request, water())?;
    for ingredient in cast::INGREDIENTS {
        house.create(&request, ingredient_item(ingredient))?;
    }
    for recipe in cast::RECIPES {
        house.create(&request, made_item(recipe))?;
        house.create(&request, recipe_of(recipe))?;
    }
    for (code, name, touches) in cast::EQUIPMENT {
        house.create(&request, equipment(code, name, touches))?;
    }
    for (code, name, clears) in cast::CLEAN_KINDS {
        let clears = clears.iter().map(|word| (*word).to_owned()).collect();
        let kind = CleanKind { code: (*code).into(), name: (*name).into(), clears, active: true, version: None };
        house.create(&request, kind)?;
    }
    Ok(())
}

/// What is stated of everything that comes in from `first` on, and how the sites serve and what they reckon with.
pub fn write_statements(house: &Tubtrail, first: NaiveDate) -> Result<(), OperationError> {
    let request = Request::system();
    for (item, contains, may_contain) in cast::STATEMENTS {
        let ingredient = cast::INGREDIENTS.iter().find(|ingredient| ingredient.code == *item);
        let strength = ingredient.map(|ingredient| match ingredient.counted {
            Counted::Strength(percent) => percent,
            _ => "0",
        });
        let statement = NewStatement {
            supplier: ingredient.map(|ingredient| ingredient.supplier.to_owned()),
            contains: contains.iter().map(|word| (*word).to_owned()).collect(),
            may_contain: may_contain.iter().map(|word| (*word).to_owned()).collect(),
            alcohol_percent_vol: strength.map(|percent| Amount(percent.into())),
            document: format!("Specification of {item}"),
            ..statement(item, first)
        };
        house.create_statement(&request, statement)?;
    }
    let nothing = NewStatement {
        alcohol_percent_vol: Some(Amount("0".into())),
        document: "Town water, by the maker".into(),
        ..statement("water", first)
    };
    house.create_statement(&request, nothing)?;
    for (shop, shared_scoop) in cast::SERVING {
        house.set_serving_way(&request, shop, NewServingWay { shared_scoop: *shared_scoop, since: None })?;
    }
    let grams = Grams::from_mg(cast::CARRY_OVER_GRAMS * 1000);
    house.set_carry_over(&request, "kitchen", NewCarryOver { grams })?;
    Ok(())
}

fn statement(item: &str, first: NaiveDate) -> NewStatement {
    NewStatement {
        item: Some(item.into()),
        in_force_from: Some(first),
        lists: vec![AllergenList::Eu, AllergenList::Us, AllergenList::Ca],
        ..NewStatement::default()
    }
}

fn site(code: &str, name: &str, kind: &str) -> Site {
    Site {
        code: code.into(),
        name: name.into(),
        kind: if kind == "kitchen" { SiteKind::Kitchen } else { SiteKind::Shop },
        time_zone: cast::TIME_ZONE.into(),
        gln: None,
        address: Some(format!("{name}, Northquay")),
        active: true,
        version: None,
    }
}

fn partner(code: &str, name: &str, supplies: bool, contact: &str) -> Partner {
    Partner {
        code: code.into(),
        name: name.into(),
        supplies,
        takes_tubs: !supplies,
        contact: Some(contact.into()),
        gln: None,
        address: Some(format!("{name}, Northquay")),
        active: true,
        version: None,
    }
}

fn item(code: &str, name: &str, kind: ItemKind) -> Item {
    Item {
        code: code.into(),
        name: name.into(),
        kind,
        counted: CountedBy::Mass,
        tracked: true,
        kept: Keeping::Ambient,
        warmest_arrival_celsius: None,
        portion_grams: None,
        shelf_life_days: None,
        warn_days: None,
        active: true,
        version: None,
    }
}

fn water() -> Item {
    // OIML R 22: water at 20 °C has 998.201 kg/m³.
    let counted = CountedBy::Volume { density_kg_per_m3: Amount("998.201".into()) };
    Item { tracked: false, counted, ..item("water", "Drinking water", ItemKind::Ingredient) }
}

fn ingredient_item(ingredient: &cast::Ingredient) -> Item {
    let counted = match ingredient.counted {
        Counted::Mass => CountedBy::Mass,
        Counted::Volume(density) => CountedBy::Volume { density_kg_per_m3: Amount(density.into()) },
        Counted::Piece(grams) => CountedBy::Piece { piece_grams: Grams::from_mg(i64::from(grams) * 1000) },
        Counted::Strength(percent) => CountedBy::Strength { percent_vol: Amount(percent.into()), sweetened: false },
    };
    let kept = match ingredient.kept {
        "chilled" => Keeping::Chilled,
        "milk_or_shell_eggs" => Keeping::MilkOrShellEggs,
        "frozen" => Keeping::Frozen,
        _ => Keeping::Ambient,
    };
    Item { counted, kept, ..item(ingredient.code, ingredient.name, ItemKind::Ingredient) }
}

fn made_item(recipe: &cast::Recipe) -> Item {
    let (kind, portion_grams) = match recipe.kind {
        "base" => (ItemKind::Base, None),
        "component" => (ItemKind::Component, None),
        _ => (ItemKind::Flavour, Some(Grams::from_mg(PORTION_GRAMS * 1000))),
    };
    Item { portion_grams, shelf_life_days: Some(recipe.keeps_days), ..item(recipe.code, recipe.name, kind) }
}

fn recipe_of(recipe: &cast::Recipe) -> Recipe {
    let line = |(item, grams): &(&str, u32)| RecipeLine {
        item: (*item).into(),
        grams: Grams::from_mg(i64::from(*grams) * 1000),
    };
    Recipe {
        code: recipe.code.into(),
        item: recipe.code.into(),
        name: recipe.name.into(),
        lines: recipe.lines.iter().map(line).collect(),
        expected_yield_grams: Grams::from_mg(i64::from(recipe.expected_yield) * 1000),
        maturing_minutes: None,
        method: None,
        active: true,
        version: None,
    }
}

fn equipment(code: &str, name: &str, touches: &[&str]) -> Equipment {
    let kind = |word: &&str| match *word {
        "base" => ItemKind::Base,
        "component" => ItemKind::Component,
        "flavour" => ItemKind::Flavour,
        _ => ItemKind::Ingredient,
    };
    Equipment {
        code: code.into(),
        name: name.into(),
        site: "kitchen".into(),
        touches: touches.iter().map(kind).collect(),
        active: true,
        version: None,
    }
}
