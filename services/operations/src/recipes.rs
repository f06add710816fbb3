//! Recipes: how to make an item, and how long what is made must rest.

use std::collections::{HashMap, HashSet};

use serde::{Deserialize, Serialize};
use tubtrail_domain::quantity::Mass;
use tubtrail_domain::say;
use tubtrail_storage::master_data::{
    self as stored, RecipeLineRow, RecipeRow, RecipeVersionRow, item_rows, recipe_lines_of,
};
use tubtrail_storage::{AnyConnection, StorageError, WriteTx};
use utoipa::ToSchema;

use crate::error::{OperationError, Result};
use crate::items::{ItemKind, mass};
use crate::master_data::{Master, noun};
use crate::quantities::Grams;
use crate::sites::yes;
use crate::{fields, problems};

/// Most lines of one recipe.
pub const MOST_LINES: usize = 100;
/// How long a base rests if its recipe does not say: 12 hours (common practice, no source).
const BASE_MATURES_MINUTES: i32 = 720;
/// Longest rest: two weeks.
const LONGEST_REST_MINUTES: i32 = 20_160;

/// How to make an item.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(example = json!({"code": "white-base-60", "item": "white-base", "name": "White base, 60 kg",
    "lines": [{"item": "whole-milk", "grams": 42000}, {"item": "cream", "grams": 8400}, {"item": "sugar", "grams": 9600}],
    "expected_yield_grams": 59000, "maturing_minutes": 720, "method": "Heat, cool fast, keep cold overnight.",
    "active": true}))]
pub struct Recipe {
    /// Its code; it never changes.
    #[schema(max_length = 40, pattern = "^[a-z0-9][a-z0-9-]*$")]
    pub code: String,
    /// The code of what it makes: a base, a component or a flavour; it never changes.
    #[schema(max_length = 40)]
    pub item: String,
    /// As shown.
    #[schema(max_length = 120)]
    pub name: String,
    /// What goes in.
    #[schema(min_items = 1, max_items = 100)]
    pub lines: Vec<RecipeLine>,
    /// What that should come to; at most what goes in.
    pub expected_yield_grams: Grams,
    /// How long what it makes must rest before it is used. If absent, 720 for a base (12 hours: common practice, no
    /// source), and none for the rest.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schema(minimum = 0, maximum = 20160)]
    pub maturing_minutes: Option<i32>,
    /// What to do, in words.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schema(max_length = 2000)]
    pub method: Option<String>,
    /// In use.
    #[serde(default = "yes")]
    pub active: bool,
    /// Absent when new; the version it was read at when changed.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub version: Option<i32>,
}

/// So much of an item in a recipe.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct RecipeLine {
    /// The item's code.
    #[schema(max_length = 40)]
    pub item: String,
    /// How much.
    pub grams: Grams,
}

impl Master for Recipe {
    noun!(say!("recipe"), stored::Recipe, [LIST_RECIPES GET_RECIPE LIST_RECIPE_VERSIONS CREATE_RECIPE CHANGE_RECIPE]);

    fn answer_version(conn: &mut AnyConnection, stored: &stored::Recipe, version: RecipeVersionRow) -> Result<Self> {
        let lines = recipe_lines_of(conn, version.id)?;
        let codes = codes_of(conn, lines.iter().map(|line| line.item_id).chain([stored.row.item_id]))?;
        let code = |id: i64| codes.get(&id).cloned().ok_or_else(|| missing_item(&version, id));
        Ok(Self {
            code: stored.row.code.clone(),
            item: code(stored.row.item_id)?,
            name: version.name.clone(),
            lines: lines
                .iter()
                .map(|line| Ok(RecipeLine { item: code(line.item_id)?, grams: Grams::from_mg(line.mass_mg) }))
                .collect::<Result<_>>()?,
            expected_yield_grams: Grams::from_mg(version.expected_yield_mg),
            maturing_minutes: Some(version.maturing_minutes),
            method: version.method.clone(),
            active: version.active,
            version: Some(version.version),
        })
    }

    fn checked(self, conn: &mut AnyConnection) -> Result<Self> {
        let made = named_item(conn, "item", &self.item, self.active)?;
        let kind = ItemKind::from_word(&made.row.kind);
        if kind == Some(ItemKind::Ingredient) {
            let detail =
                say!("{item} comes from a supplier; a recipe makes a base, a component or a flavour", item = self.item);
            return Err(OperationError::new(&problems::WRONG_KIND, detail).at("item"));
        }
        let sum = check_lines(conn, &self)?;
        let expected = mass("expected_yield_grams", self.expected_yield_grams)?;
        if expected > sum {
            let detail = say!("{sum} go in, so no {expected} can come out", sum, expected);
            return Err(OperationError::invalid("expected_yield_grams", detail));
        }
        let usual = if kind == Some(ItemKind::Base) { BASE_MATURES_MINUTES } else { 0 };
        let maturing_minutes = self.maturing_minutes.unwrap_or(usual);
        if !(0..=LONGEST_REST_MINUTES).contains(&maturing_minutes) {
            let detail = say!("a rest is 0 to {most} minutes (two weeks)", most = LONGEST_REST_MINUTES);
            return Err(OperationError::invalid("maturing_minutes", detail));
        }
        Ok(Self {
            name: fields::name("name", &self.name)?,
            maturing_minutes: Some(maturing_minutes),
            method: fields::optional_note("method", self.method.as_deref())?,
            ..self
        })
    }

    fn may_become(conn: &mut AnyConnection, stored: &stored::Recipe, next: &Self) -> Result<()> {
        let next = fields::filter_item(conn, "item", &next.item)?;
        if stored.row.item_id == next {
            return Ok(());
        }
        Err(OperationError::invalid("item", say!("a recipe goes on making what it makes; write a new one")))
    }

    fn record_identity(&self, tx: &mut WriteTx<'_>) -> Result<i64> {
        let item_id = fields::filter_item(tx.conn()?, "item", &self.item)?;
        let id = tx.id();
        tx.record(&RecipeRow { id, entry: tx.entry(), code: self.code.clone(), item_id })?;
        Ok(id)
    }

    fn record_version(&self, tx: &mut WriteTx<'_>, recipe_id: i64, version: i32) -> Result<()> {
        let row = RecipeVersionRow {
            id: tx.id(),
            entry: tx.entry(),
            recipe_id,
            version,
            name: self.name.clone(),
            expected_yield_mg: self.expected_yield_grams.mg(),
            maturing_minutes: self.maturing_minutes.unwrap_or(0),
            method: self.method.clone(),
            active: self.active,
        };
        tx.record(&row)?;
        for (line, number) in self.lines.iter().zip(1..) {
            let item_id = fields::filter_item(tx.conn()?, "item", &line.item)?;
            let line = RecipeLineRow {
                id: tx.id(),
                entry: tx.entry(),
                recipe_version_id: row.id,
                line: number,
                item_id,
                mass_mg: line.grams.mg(),
            };
            tx.record(&line)?;
        }
        Ok(())
    }
}

/// The lines' sum.
fn check_lines(conn: &mut AnyConnection, recipe: &Recipe) -> Result<Mass> {
    fields::between("lines", recipe.lines.len(), 1, MOST_LINES)?;
    let mut sum = Mass::ZERO;
    let mut seen = HashSet::new();
    for (position, line) in recipe.lines.iter().enumerate() {
        let under = |error: OperationError| error.in_list("lines", position);
        let mass = check_line(conn, recipe, line, &mut seen).map_err(under)?;
        let too_much = || OperationError::invalid("grams", say!("the recipe comes to more than 1000000 kg"));
        sum = sum.checked_add(mass).ok_or_else(too_much).map_err(under)?;
    }
    Ok(sum)
}

fn check_line<'r>(
    conn: &mut AnyConnection,
    recipe: &Recipe,
    line: &'r RecipeLine,
    seen: &mut HashSet<&'r str>,
) -> Result<Mass> {
    named_item(conn, "item", &line.item, recipe.active)?;
    if line.item == recipe.item {
        return Err(OperationError::invalid(
            "item",
            say!("a recipe cannot take what it makes; put it in as rework when you make it"),
        ));
    }
    if !seen.insert(&line.item) {
        let detail = say!("{item} stands on two lines; add them up", item = line.item);
        return Err(OperationError::new(&problems::REPEATED, detail).at("item"));
    }
    mass("grams", line.grams)
}

/// An item a recipe names. A recipe no longer in use may name items that are not either.
fn named_item(conn: &mut AnyConnection, field: &str, code: &str, in_use: bool) -> Result<stored::Item> {
    if in_use {
        return fields::item(conn, field, code);
    }
    fields::named(conn, say!("item"), field, code)
}

fn codes_of(conn: &mut AnyConnection, ids: impl Iterator<Item = i64>) -> Result<HashMap<i64, String>> {
    let ids: Vec<i64> = ids.collect();
    Ok(item_rows(conn, &ids)?.into_iter().map(|row| (row.id, row.code)).collect())
}

fn missing_item(version: &RecipeVersionRow, item_id: i64) -> OperationError {
    StorageError::Corrupt(format!("recipe version {} names item row {item_id}, which is missing", version.id)).into()
}
