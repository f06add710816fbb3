//! What a recipe wants, what is in so far, what is missing, and which lots to take first.

use tubtrail_operations::batches::Batch;
use tubtrail_operations::picks::{Pick, Picks, PicksWanted};
use tubtrail_operations::recipes::Recipe;
use tubtrail_operations::{Grams, OperationError, Request, Tubtrail, problems};

use super::kitchen::Kitchen;
use crate::pages::figures::weight;
use crate::pages::texts::Texts;

/// A line of the recipe.
pub struct Wanted {
    pub item: String,
    pub name: String,
    /// Kept by lot; what is not is typed in without one.
    pub tracked: bool,
    pub due: String,
    pub inside: String,
    /// Nothing of it was written down.
    pub left_out: bool,
    /// What is still to go in; none where that is all.
    pub missing: Option<String>,
    /// The same in grams, to be typed.
    pub missing_grams: String,
    /// More is in than the recipe wants.
    pub over: Option<String>,
    pub picks: Vec<PickShown>,
    pub short: Option<String>,
}

/// A lot to take.
pub struct PickShown {
    pub lot: String,
    pub weight: String,
    pub last_day: Option<String>,
}

impl PickShown {
    fn of(texts: &Texts, pick: &Pick, take: Grams) -> Self {
        let last_day = pick.expiry.as_ref().map(|expiry| {
            let name = format!("last-day-{}", expiry.kind.word());
            texts.say_of(&name, "day", expiry.on.to_string()).into_owned()
        });
        Self { lot: pick.lot.clone(), weight: weight(texts, take), last_day }
    }
}

/// Which lots to take; none where the recipe is out of use by now.
pub fn picks(tubtrail: &Tubtrail, asks: &Request, batch: &Batch) -> Result<Option<Picks>, OperationError> {
    if batch.completion.is_some() {
        return Ok(None);
    }
    match tubtrail.propose_picks(asks, &batch.recipe, &PicksWanted { site: batch.site.clone(), grams: None }) {
        Ok(picks) => Ok(Some(picks)),
        Err(error) if error.problem == &problems::NOT_IN_USE => Ok(None),
        Err(error) => Err(error),
    }
}

/// How many grams of an item are in.
pub fn inside(batch: &Batch, item: &str) -> Grams {
    let uses = batch.uses.iter().filter(|one| one.voided.is_none() && one.item == item).map(|one| one.grams.mg());
    let beside = batch.untracked.iter().filter(|one| one.item == item).map(|one| one.grams.mg());
    Grams::from_mg(uses.chain(beside).sum())
}

/// Whether the recipe wants some of an item, and nothing of it was written down.
pub fn is_left_out(batch: &Batch, item: &str, wanted: Grams) -> bool {
    wanted.mg() > 0 && inside(batch, item).mg() == 0
}

/// What is missing of an item, in grams as they are typed; empty where nothing is.
pub fn missing_grams(recipe: &Recipe, batch: &Batch, item: &str) -> String {
    let wanted: i64 = recipe.lines.iter().filter(|line| line.item == item).map(|line| line.grams.mg()).sum();
    let missing = wanted - inside(batch, item).mg();
    if missing <= 0 {
        return String::new();
    }
    let text = format!("{}.{:03}", missing / 1000, missing % 1000);
    text.trim_end_matches('0').trim_end_matches('.').to_owned()
}

/// The lines of the recipe, in its order.
pub fn wanted(texts: &Texts, kitchen: &Kitchen, recipe: &Recipe, batch: &Batch, picks: Option<&Picks>) -> Vec<Wanted> {
    let line = |item: &str, grams: Grams| {
        let inside = inside(batch, item);
        let missing = Grams::from_mg(grams.mg() - inside.mg());
        let is_missing = missing.mg() > 0;
        let of_it = picks.and_then(|picks| picks.lines.iter().find(|line| line.item == item)).filter(|_| is_missing);
        // They are proposed for all that the recipe wants; what is in already is not taken again.
        let mut left = missing.mg();
        let mut shown = Vec::new();
        for pick in of_it.iter().flat_map(|line| &line.picks) {
            let take = pick.grams.mg().min(left);
            if take > 0 {
                shown.push(PickShown::of(texts, pick, Grams::from_mg(take)));
            }
            left -= take;
        }
        Wanted {
            name: kitchen.item_name(item),
            tracked: kitchen.item(item).is_none_or(|item| item.tracked),
            due: weight(texts, grams),
            inside: weight(texts, inside),
            left_out: is_left_out(batch, item, grams),
            missing: is_missing.then(|| weight(texts, missing)),
            missing_grams: missing_grams(recipe, batch, item),
            over: (missing.mg() < 0).then(|| weight(texts, Grams::from_mg(-missing.mg()))),
            picks: shown,
            short: of_it.filter(|line| line.tracked && left > 0).map(|_| weight(texts, Grams::from_mg(left))),
            item: item.to_owned(),
        }
    };
    recipe.lines.iter().map(|one| line(&one.item, one.grams)).collect()
}
