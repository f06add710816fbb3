//! Picks: which lots to take for a recipe, what expires first going first.

use std::collections::HashMap;

use chrono::{NaiveDate, NaiveDateTime};
use serde::{Deserialize, Serialize};
use tubtrail_domain::picks::{Candidate, choose, scale};
use tubtrail_domain::quantity::Mass;
use tubtrail_domain::say;
use tubtrail_domain::saying::Quoted;
use tubtrail_storage::lots::{LotRow, lots_by_ids};
use tubtrail_storage::master_data::{Item, Noun, Recipe, RecipeLineRow, Site, recipe_lines_of};
use tubtrail_storage::picks::on_shelf;
use tubtrail_storage::{AnyConnection, StorageError};
use utoipa::{IntoParams, ToSchema};

use crate::deliveries::{Expiry, expiry};
use crate::error::{OperationError, Result};
use crate::index::Index;
use crate::items::mass;
use crate::known::recalls_keeping;
use crate::quantities::Grams;
use crate::reach::{self, Request};
use crate::tubtrail::Tubtrail;
use crate::{fields, lots, problems};

/// What to propose picks for.
#[derive(Clone, Debug, PartialEq, Eq, Deserialize, IntoParams)]
#[serde(deny_unknown_fields)]
#[into_params(parameter_in = Query)]
pub struct PicksWanted {
    /// The code of the site where it is made.
    #[param(max_length = 40)]
    pub site: String,
    /// How much it should yield, in grams; what the recipe yields, if absent.
    #[serde(default)]
    #[param(value_type = Option<f64>, example = 25000)]
    pub grams: Option<Grams>,
}

/// Which lots to take for a recipe. A proposal: nothing is set aside by it.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, ToSchema)]
#[schema(example = json!({"recipe": "white-base-60", "version": 3, "site": "quay-kitchen", "expected_yield_grams": 29500,
    "lines": [{"item": "whole-milk", "grams": 21000, "tracked": true, "picks": [
        {"lot": "261125-0042-7", "grams": 18000, "expiry": {"kind": "use_by", "on": "2026-12-02"}}], "short_grams": 3000},
        {"item": "water", "grams": 1500, "tracked": false, "picks": [], "short_grams": 0}]}))]
pub struct Picks {
    /// The recipe's code.
    pub recipe: String,
    /// Its version in force.
    pub version: i32,
    /// The site's code.
    pub site: String,
    /// What it should yield.
    pub expected_yield_grams: Grams,
    /// Its lines, to that yield.
    pub lines: Vec<PickLine>,
}

/// A line of a recipe and the lots to take for it.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct PickLine {
    /// The item's code.
    pub item: String,
    /// How much is wanted.
    pub grams: Grams,
    /// Kept by lot; water is not, and has no picks.
    pub tracked: bool,
    /// The lots, in the order to take them.
    pub picks: Vec<Pick>,
    /// How much the site lacks of it.
    pub short_grams: Grams,
}

/// So much of a lot.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct Pick {
    /// The lot's number.
    pub lot: String,
    /// How much to take of it.
    pub grams: Grams,
    /// Its last day.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub expiry: Option<Expiry>,
}

impl Tubtrail {
    /// Which lots to take for a recipe as it stands, for so much of what it yields.
    ///
    /// Only what lies available at the site, neither recalled, on hold nor rejected, not past its last day there, and mature. What
    /// expires first goes first, then the older; what carries no date goes last.
    pub fn propose_picks(&self, request: &Request, recipe: &str, wanted: &PicksWanted) -> Result<Picks> {
        let now = (self.clock)();
        self.read_at_once(|conn| {
            request.actor.may_anywhere(&reach::PROPOSE_PICKS)?;
            let stored =
                Recipe::by_code(conn, recipe)?.ok_or_else(|| OperationError::not_found(say!("recipe"), recipe))?;
            let site = fields::site_for(conn, "site", &wanted.site, &request.actor, &reach::PROPOSE_PICKS)?;
            if !stored.current.active {
                let detail = say!("the recipe {recipe} is no longer in use", recipe = Quoted(&recipe));
                return Err(OperationError::new(&problems::NOT_IN_USE, detail));
            }
            let index = self.current_index(conn)?;
            propose(conn, index, &stored, &site, wanted.grams, now)
        })
    }
}

fn propose(
    conn: &mut AnyConnection,
    index: &Index,
    recipe: &Recipe,
    site: &Site,
    wanted: Option<Grams>,
    now: NaiveDateTime,
) -> Result<Picks> {
    let own_yield = stored_mass(recipe.current.expected_yield_mg)?;
    let wanted = wanted.map_or(Ok(own_yield), |grams| mass("grams", grams))?;
    let today = fields::day_at(site, now)?;
    let lines = recipe_lines_of(conn, recipe.current.id)?;
    let shelf = Shelf::read(conn, index, site.row.id, &lines, today, now)?;
    let lines = lines.iter().map(|line| {
        let too_much = |error: tubtrail_domain::quantity::QuantityError| {
            OperationError::new(&problems::BAD_QUANTITY, error).at("grams")
        };
        let grams = scale(stored_mass(line.mass_mg)?, wanted, own_yield).map_err(too_much)?;
        shelf.pick(conn, line.item_id, grams)
    });
    Ok(Picks {
        recipe: recipe.row.code.clone(),
        version: recipe.current.version,
        site: site.row.code.clone(),
        expected_yield_grams: wanted.into(),
        lines: lines.collect::<Result<_>>()?,
    })
}

/// What lies at a site of the items of a recipe.
pub(crate) struct Shelf {
    today: NaiveDate,
    now: NaiveDateTime,
    lots: HashMap<i64, LotRow>,
    candidates: HashMap<i64, Vec<Candidate>>,
}

impl Shelf {
    pub(crate) fn read(
        conn: &mut AnyConnection,
        index: &Index,
        site_id: i64,
        lines: &[RecipeLineRow],
        today: NaiveDate,
        now: NaiveDateTime,
    ) -> Result<Self> {
        let items: Vec<i64> = lines.iter().map(|line| line.item_id).collect();
        let mut on_hand: HashMap<i64, i64> =
            on_shelf(conn, site_id, &items)?.into_iter().map(|found| (found.lot_id, found.mass_mg)).collect();
        let recalled = recalls_keeping(index, &on_hand.keys().copied().collect::<Vec<_>>())?;
        on_hand.retain(|lot, _| !recalled.contains_key(lot));
        let ids: Vec<i64> = on_hand.keys().copied().collect();
        let mut shelf = Self { today, now, lots: HashMap::new(), candidates: HashMap::new() };
        for lot in lots_by_ids(conn, &ids)? {
            let candidate = Candidate {
                lot: lot.id,
                on_hand: stored_mass(on_hand[&lot.id])?,
                expires_on: lot.expires_on,
                mature_at: lot.mature_at,
                came_to_be_at: lot.came_to_be_at,
            };
            shelf.candidates.entry(lot.item_id).or_default().push(candidate);
            shelf.lots.insert(lot.id, lot);
        }
        Ok(shelf)
    }

    /// The lots to take for so many milligrams of an item, in order, and whether they are enough.
    pub(crate) fn first_lots(&self, item_id: i64, mass_mg: i64) -> Result<(Vec<i64>, bool)> {
        let candidates = self.candidates.get(&item_id).map_or(&[][..], Vec::as_slice);
        let choice = choose(stored_mass(mass_mg)?, candidates, self.today, self.now);
        Ok((choice.takes.iter().map(|(lot, _)| *lot).collect(), choice.short.is_zero()))
    }

    fn pick(&self, conn: &mut AnyConnection, item_id: i64, wanted: Mass) -> Result<PickLine> {
        let missing = || StorageError::Corrupt(format!("item row {item_id} is missing"));
        let item = Item::by_id(conn, item_id)?.ok_or_else(missing)?;
        let line = PickLine {
            item: item.row.code,
            grams: wanted.into(),
            tracked: item.current.tracked,
            picks: Vec::new(),
            short_grams: Grams::default(),
        };
        if !line.tracked {
            return Ok(line);
        }
        let candidates = self.candidates.get(&item_id).map_or(&[][..], Vec::as_slice);
        let choice = choose(wanted, candidates, self.today, self.now);
        let picks = choice.takes.iter().map(|(lot, grams)| {
            let lot = &self.lots[lot];
            Ok(Pick {
                lot: lots::number(lot)?.to_string(),
                grams: (*grams).into(),
                expiry: expiry(lot.expires_on, lot.expiry_kind.as_deref()),
            })
        });
        Ok(PickLine { picks: picks.collect::<Result<_>>()?, short_grams: choice.short.into(), ..line })
    }
}

fn stored_mass(mg: i64) -> Result<Mass> {
    Ok(Mass::from_mg(mg).map_err(|error| StorageError::Corrupt(format!("{mg} mg: {error}")))?)
}
