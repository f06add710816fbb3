//! Batch orders: in which order to make a day's batches on one machine, so that it is cleaned as few times as can be.
//!
//! Each batch is taken to hold what it would be made with now. What the batches take from one another's stock is not
//! reckoned with: it is a proposal, and the evidence of what was really made decides.

use std::collections::{HashMap, HashSet};

use chrono::{DateTime, NaiveDate, NaiveDateTime, Utc};
use serde::{Deserialize, Serialize};
use tubtrail_domain::allergens::Declared;
use tubtrail_domain::say;
use tubtrail_domain::saying::Quoted;
use tubtrail_domain::work_order::{plan, to_clear};
use tubtrail_lineage::Content;
use tubtrail_storage::AnyConnection;
use tubtrail_storage::master_data::{CleanKind, Item, Noun, Recipe, Site, recipe_lines_of, recipes_making};
use utoipa::ToSchema;

use crate::allergen_checks::CAUTION;
use crate::allergen_words::{Says, words_of};
use crate::error::{OperationError, Result};
use crate::index::contents::declares;
use crate::index::{Index, Inside, lot_ix};
use crate::picks::Shelf;
use crate::reach::{self, Request};
use crate::tubtrail::{Tubtrail, at_once};
use crate::{clean_kinds, cleans, fields, problems};

/// Most batches of one order.
const MOST_BATCHES: usize = 60;
/// How many recipes deep a made item is looked into where none of it is on hand.
const DEEPEST: usize = 8;

/// The batches of a day.
#[derive(Clone, Debug, Default, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(example = json!({"site": "quay-kitchen", "recipes": ["pistachio-10", "white-base-60", "pistachio-10"]}))]
pub struct NewBatchOrder {
    /// The code of the site where they are made.
    #[schema(max_length = 40)]
    pub site: String,
    /// The code of the machine they are all made on; then what is on it now counts too.
    #[serde(default)]
    #[schema(max_length = 40)]
    pub equipment: Option<String>,
    /// The codes of the recipes, one a batch.
    #[schema(min_items = 2, max_items = 60)]
    pub recipes: Vec<String>,
}

/// In which order to make them.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[schema(example = json!({"site": "quay-kitchen", "asked_at": "2026-11-25T06:00:00Z", "journal_position": 9120,
    "caution": "This is what was written down: statements, uses, runs, cleans and openings. It clears nothing: what was not written down, or written down wrongly, is not in it. Ask the responsible person, and tell the customer so; local rules decide.",
    "cleans": 0, "cleans_as_sent": 1, "order": [
    {"recipe": "white-base-60", "position": 1, "says": {"contains": ["milk"], "may_contain": [], "unknown": []},
        "clear_before": [], "clean_kinds": []},
    {"recipe": "pistachio-10", "position": 0, "says": {"contains": ["milk", "pistachio"], "may_contain": [], "unknown": []},
        "clear_before": [], "clean_kinds": []},
    {"recipe": "pistachio-10", "position": 2, "says": {"contains": ["milk", "pistachio"], "may_contain": [], "unknown": []},
        "clear_before": [], "clean_kinds": []}]}))]
pub struct BatchOrder {
    /// The site's code.
    pub site: String,
    /// The machine's code.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub equipment: Option<String>,
    /// What is on the machine now, if it was used.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub on_it_now: Option<Says>,
    /// When it was asked for.
    pub asked_at: DateTime<Utc>,
    /// The last journal entry it takes into account.
    pub journal_position: i64,
    /// What it does not say.
    pub caution: String,
    /// How many cleans this order needs: no order needs fewer.
    pub cleans: usize,
    /// How many the order that was sent needs.
    pub cleans_as_sent: usize,
    /// The batches, the first to be made first.
    pub order: Vec<OrderedBatch>,
}

/// A batch in its place.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub struct OrderedBatch {
    /// The recipe's code.
    pub recipe: String,
    /// Its place in what was sent, from 0.
    pub position: usize,
    /// What it would hold, made now.
    pub says: Says,
    /// The words of what a clean before it has to clear; empty: none is needed.
    pub clear_before: Vec<String>,
    /// The codes of the clean kinds in use that clear all of that.
    pub clean_kinds: Vec<String>,
}

impl Tubtrail {
    /// Proposes an order of a day's batches that needs the fewest cleans.
    pub fn order_batches(&self, request: &Request, new: &NewBatchOrder) -> Result<BatchOrder> {
        request.actor.may_anywhere(&reach::ORDER_BATCHES)?;
        let now = (self.clock)();
        self.read(|conn| {
            at_once(conn, |conn| {
                let site = fields::site_for(conn, "site", &new.site, &request.actor, &reach::ORDER_BATCHES)?;
                fields::between("recipes", new.recipes.len(), 2, MOST_BATCHES)?;
                let equipment = new.equipment.as_deref().map(|code| machine(conn, request, &site, code)).transpose()?;
                let index = self.current_index(conn)?;
                let mut kitchen = Kitchen::at(index, &site, now)?;
                let mut needs = Vec::with_capacity(new.recipes.len());
                for (position, code) in new.recipes.iter().enumerate() {
                    needs.push(kitchen.recipe(conn, code).map_err(|error| error.in_list("recipes", position))?);
                }
                let kinds = kinds_in_use(conn)?;
                index.look(|inside, _| {
                    let batches = needs.iter().map(|needs| Ok(declares(needs.content(inside, kitchen.today)?)));
                    let batches = batches.collect::<Result<Vec<_>>>()?;
                    let start = equipment.and_then(|id| inside.contents.left_on(&inside.graph, id, now)).map(declares);
                    Ok(answer(new, &batches, start, &kinds, now, inside.position))
                })
            })
        })
    }
}

fn machine(conn: &mut AnyConnection, request: &Request, site: &Site, code: &str) -> Result<i64> {
    let equipment = cleans::named(conn, &request.actor, &reach::ORDER_BATCHES, code)?;
    if equipment.current.site_id == site.row.id {
        return Ok(equipment.row.id);
    }
    let detail =
        say!("{equipment} does not stand at {site}", equipment = equipment.current.name, site = site.current.name);
    Err(OperationError::new(&problems::EQUIPMENT_ELSEWHERE, detail).at("equipment"))
}

fn answer(
    new: &NewBatchOrder,
    batches: &[Declared],
    start: Option<Declared>,
    kinds: &[(String, u64)],
    now: NaiveDateTime,
    journal_position: i64,
) -> BatchOrder {
    let steps = plan(batches, start);
    let ordered = steps.iter().map(|step| OrderedBatch {
        recipe: new.recipes[step.batch].clone(),
        position: step.batch,
        says: batches[step.batch].into(),
        clear_before: words_of(step.to_clear),
        clean_kinds: clearing(kinds, step.to_clear),
    });
    BatchOrder {
        site: new.site.clone(),
        equipment: new.equipment.clone(),
        on_it_now: start.map(Says::from),
        asked_at: fields::utc(now),
        journal_position,
        caution: CAUTION.to_string(),
        cleans: steps.iter().filter(|step| step.needs_clean()).count(),
        cleans_as_sent: as_sent(batches, start),
        order: ordered.collect(),
    }
}

/// How many cleans the batches need one after another as they stand.
fn as_sent(batches: &[Declared], start: Option<Declared>) -> usize {
    let each: Vec<Declared> = start.into_iter().chain(batches.iter().copied()).collect();
    each.windows(2).filter(|pair| to_clear(&pair[0], &pair[1]) != 0).count()
}

fn clearing(kinds: &[(String, u64)], mask: u64) -> Vec<String> {
    let clear = kinds.iter().filter(|(_, clears)| mask != 0 && mask & !clears == 0);
    clear.map(|(code, _)| code.clone()).collect()
}

/// The clean kinds in use and what each clears.
fn kinds_in_use(conn: &mut AnyConnection) -> Result<Vec<(String, u64)>> {
    let mut found: Vec<(String, u64)> = Vec::new();
    let mut after = String::new();
    loop {
        let page = CleanKind::page(conn, &after, 500)?;
        let Some(last) = page.last() else { return Ok(found) };
        after.clone_from(&last.row.code);
        for kind in page.iter().filter(|kind| kind.current.active) {
            found.push((kind.row.code.clone(), clean_kinds::clears_of(&kind.current)?.mask()));
        }
    }
}

/// What a batch would be made with.
#[derive(Clone, Debug, Default)]
struct Needs {
    /// Lots on hand.
    lots: Vec<i64>,
    /// Items of which too little is on hand, or that are kept without lots.
    items: Vec<i64>,
    /// Something it needs cannot be told.
    unknown: bool,
}

impl Needs {
    fn content(&self, inside: &Inside, today: NaiveDate) -> Result<Content> {
        let mut sum = if self.unknown { Content::UNKNOWN } else { Content::NOTHING };
        for lot in &self.lots {
            sum = sum.union(inside.graph.content(lot_ix(*lot)?));
        }
        for item in &self.items {
            sum = sum.union(inside.contents.statements.of_item_on(*item, today));
        }
        Ok(sum)
    }
}

/// A site and what lies there.
struct Kitchen<'a> {
    index: &'a Index,
    site: &'a Site,
    today: NaiveDate,
    now: NaiveDateTime,
    known: HashMap<i64, Needs>,
}

impl<'a> Kitchen<'a> {
    fn at(index: &'a Index, site: &'a Site, now: NaiveDateTime) -> Result<Self> {
        Ok(Self { index, site, today: fields::day_at(site, now)?, now, known: HashMap::new() })
    }

    fn recipe(&mut self, conn: &mut AnyConnection, code: &str) -> Result<Needs> {
        let recipe = Recipe::by_code(conn, code)?;
        let recipe = recipe
            .ok_or_else(|| OperationError { field: None, ..OperationError::unknown(say!("recipe"), code, "") })?;
        if !recipe.current.active {
            let detail = say!("the recipe {code} is no longer in use", code = Quoted(&code));
            return Err(OperationError::new(&problems::NOT_IN_USE, detail));
        }
        self.of_recipe(conn, &recipe, &mut HashSet::new())
    }

    /// What a recipe would be made with; `within` are those it is being looked into for.
    fn of_recipe(&mut self, conn: &mut AnyConnection, recipe: &Recipe, within: &mut HashSet<i64>) -> Result<Needs> {
        if let Some(known) = self.known.get(&recipe.row.id) {
            return Ok(known.clone());
        }
        if within.len() >= DEEPEST || !within.insert(recipe.row.id) {
            return Ok(Needs { unknown: true, ..Needs::default() });
        }
        let lines = recipe_lines_of(conn, recipe.current.id)?;
        let stock = Shelf::read(conn, self.index, self.site.row.id, &lines, self.today, self.now)?;
        let mut needs = Needs::default();
        for line in &lines {
            let (lots, are_enough) = stock.first_lots(line.item_id, line.mass_mg)?;
            if !are_enough {
                let more = self.of_missing(conn, line.item_id, within)?;
                needs.lots.extend(more.lots);
                needs.items.extend(more.items);
                needs.unknown |= more.unknown;
            }
            needs.lots.extend(lots);
        }
        within.remove(&recipe.row.id);
        self.known.insert(recipe.row.id, needs.clone());
        Ok(needs)
    }

    /// What an item of which too little is on hand would be made with, or is said to be.
    fn of_missing(&mut self, conn: &mut AnyConnection, item_id: i64, within: &mut HashSet<i64>) -> Result<Needs> {
        let is_made = Item::by_id(conn, item_id)?.is_some_and(|item| item.row.kind != "ingredient");
        if !is_made {
            return Ok(Needs { items: vec![item_id], ..Needs::default() });
        }
        let recipes = recipes_making(conn, item_id)?;
        let Some(recipe) = recipes.into_iter().find(|recipe| recipe.current.active) else {
            return Ok(Needs { unknown: true, ..Needs::default() });
        };
        self.of_recipe(conn, &recipe, within)
    }
}
