//! What the labels of the made-up maker say.

use tubtrail_operations::allergen_words::AllergenList;
use tubtrail_operations::item_labels::{ItemLabel, MadeOf};
use tubtrail_operations::makers::Maker;
use tubtrail_operations::{OperationError, Request, Tubtrail};

use super::cast;

/// How tubs are kept.
const FROZEN: &str = "Keep frozen at -18 °C or colder.";
/// How bases and components are kept.
const CHILLED: &str = "Keep at 0 to 4 °C.";

/// Bought, and made of several things, as their suppliers' labels list them; all else that is bought is a single ingredient.
const LISTED: &[(&str, &[&str])] = &[
    ("dark-couverture", &["cocoa mass", "sugar", "cocoa butter", "emulsifier (soya lecithin)"]),
    ("fig-puree", &["figs", "sugar"]),
    ("raspberry-puree", &["raspberries", "sugar"]),
];

/// What Canada counts among the sugars.
const SUGARS: [&str; 2] = ["sugar", "dextrose"];

/// The maker, and what labels say of every item.
pub fn write_labels(house: &Tubtrail) -> Result<(), OperationError> {
    let request = Request::system();
    house.create(&request, maker())?;
    house.create(&request, bought("water", "water"))?;
    for ingredient in cast::INGREDIENTS {
        house.create(&request, bought(ingredient.code, ingredient.name))?;
    }
    for recipe in cast::RECIPES {
        house.create(&request, made(recipe))?;
    }
    Ok(())
}

fn maker() -> Maker {
    Maker {
        code: "northquay".into(),
        name: "Northquay Gelato".into(),
        address: vec!["1 Ropewalk".into(), "Northquay".into()],
        jurisdiction: AllergenList::Eu,
        link_stem: None,
        active: true,
        version: None,
    }
}

fn bought(code: &str, name: &str) -> ItemLabel {
    let listed = LISTED.iter().find(|(listed, _)| *listed == code);
    let made_of = listed.map_or(MadeOf::Single, |(_, ingredients)| MadeOf::Listed {
        ingredients: ingredients.iter().map(|one| (*one).to_owned()).collect(),
    });
    label(code, &name.to_lowercase(), made_of)
}

fn made(recipe: &cast::Recipe) -> ItemLabel {
    let storage = if recipe.kind == "flavour" { FROZEN } else { CHILLED };
    ItemLabel { storage: Some(storage.into()), ..label(recipe.code, recipe.name, MadeOf::WhatWentIn) }
}

fn label(code: &str, name: &str, made_of: MadeOf) -> ItemLabel {
    ItemLabel {
        code: code.into(),
        name: name.into(),
        made_of,
        shown: None,
        sugars_based: SUGARS.contains(&code),
        percent_shown: false,
        storage: None,
        opened_days: None,
        largest_surface_cm2: None,
        version: None,
    }
}
