//! Batches: production runs, what went in and what came out.

use std::collections::hash_map::Entry;
use std::collections::{BTreeMap, HashMap, HashSet};

use chrono::{DateTime, NaiveDate, NaiveDateTime, Utc};
use serde::{Deserialize, Serialize};
use tubtrail_domain::say;
use tubtrail_storage::lots::{self as stored, BatchRow, BatchesAsked, SitesSpan};
use tubtrail_storage::master_data::{
    Item, Noun, Recipe, RecipeRow, RecipeVersionRow, Site, item_rows, recipe_lines_of, recipe_version,
};
use tubtrail_storage::{AnyConnection, StorageError, WriteTx};
use utoipa::ToSchema;

use crate::batch_equipment::{self, EquipmentRun};
use crate::completions::{self, Completion, MadeLot};
use crate::error::{OperationError, Result};
use crate::fields;
use crate::master_data::{MOST, Page};
use crate::quantities::Grams;
use crate::reach::{self, Actor, Operation, Request};
use crate::readings::{self, Reading};
use crate::sites::every_site;
use crate::tubtrail::{Answered, Tubtrail};
use crate::uses::{self, BatchUse, UntrackedInput};

/// A batch as it is begun.
#[derive(Clone, Debug, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(example = json!({"recipe": "white-base-60", "site": "quay-kitchen", "started_at": "2026-11-25T05:40:00Z"}))]
pub struct NewBatch {
    /// The recipe's code; the version in force is what counts.
    #[schema(max_length = 40)]
    pub recipe: String,
    /// The code of the site where it is made.
    #[schema(max_length = 40)]
    pub site: String,
    /// When it began; now, if absent.
    #[serde(default)]
    pub started_at: Option<DateTime<Utc>>,
    /// Remarks.
    #[serde(default)]
    #[schema(max_length = 2000)]
    pub note: Option<String>,
}

/// A batch as it stands.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, ToSchema)]
#[schema(example = json!({"id": 4711, "recipe": "pistachio-5", "recipe_version": 2, "makes": "pistachio", "site": "quay-kitchen", "started_at": "2026-11-25T08:50:00Z", "uses": [], "untracked": [], "equipment": [{"id": 5120, "equipment": "batch-freezer-1", "from": "2026-11-25T09:10:00Z", "until": "2026-11-25T09:40:00Z", "entry": 8003}], "readings": [], "outputs": [{"lot": "261125-0042-7", "kind": "tub", "item": "pistachio", "grams": 4750}], "in_grams": 5000, "out_grams": 4750, "loss_grams": 250, "completion": {"completed_at": "2026-11-25T09:45:00Z", "in_grams": 5000, "out_grams": 4750, "loss_grams": 250, "entry": 8004}, "entry": 8000}))]
pub struct Batch {
    /// Its number.
    pub id: i64,
    /// The recipe's code.
    pub recipe: String,
    /// Which version of it.
    pub recipe_version: i32,
    /// The code of the item it makes.
    pub makes: String,
    /// The site's code.
    pub site: String,
    /// When it began.
    pub started_at: DateTime<Utc>,
    /// Remarks.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub note: Option<String>,
    /// What went in, lot by lot; voided uses too.
    pub uses: Vec<BatchUse>,
    /// What went in without a lot: water.
    pub untracked: Vec<UntrackedInput>,
    /// What it ran on.
    pub equipment: Vec<EquipmentRun>,
    /// Temperatures taken, in order of time; voided ones too.
    pub readings: Vec<Reading>,
    /// How it was completed, once it is.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub completion: Option<Completion>,
    /// The lots it yielded.
    pub outputs: Vec<MadeLot>,
    /// Everything that went in and was not voided, as known now.
    pub in_grams: Grams,
    /// Everything that came out.
    pub out_grams: Grams,
    /// What was lost, as known now; absent while it is open.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub loss_grams: Option<Grams>,
    /// The journal entry that began it.
    pub entry: i64,
}

/// A batch in a list.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[schema(example = json!({"id": 4711, "recipe": "pistachio-5", "recipe_version": 2, "makes": "pistachio", "site": "quay-kitchen", "started_at": "2026-11-25T08:50:00Z", "completed_at": "2026-11-25T09:45:00Z"}))]
pub struct BatchSummary {
    /// Its number.
    pub id: i64,
    /// The recipe's code.
    pub recipe: String,
    /// Which version of it.
    pub recipe_version: i32,
    /// The code of the item it makes.
    pub makes: String,
    /// The site's code.
    pub site: String,
    /// When it began.
    pub started_at: DateTime<Utc>,
    /// When it was completed; absent while it is open.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub completed_at: Option<DateTime<Utc>>,
}

/// Which batches a list shows.
#[derive(Clone, Debug, Default)]
pub struct WhichBatches {
    /// Only at this site.
    pub site: Option<String>,
    /// Begun on this day or later, as days are counted at their site.
    pub from: Option<NaiveDate>,
    /// Begun on this day or earlier.
    pub until: Option<NaiveDate>,
    /// Only of this recipe, any version.
    pub recipe: Option<String>,
    /// Only those not completed.
    pub open: bool,
    /// The `next` of the page before.
    pub after: String,
    /// Most rows on the page.
    pub limit: u32,
}

impl Tubtrail {
    /// Begins a batch of the version of a recipe that is in force.
    pub fn start_batch(&self, request: &Request, new: NewBatch) -> Result<Answered<Batch>> {
        let actor = request.actor.clone();
        self.write(request, &reach::START_BATCH, move |tx| {
            let making = begin(tx, &actor, &reach::START_BATCH, &new)?;
            tx.record(&making.row)?;
            answer(tx.conn()?, &making)
        })
    }

    /// One batch, with all that went in and came out.
    pub fn get_batch(&self, request: &Request, id: i64) -> Result<Batch> {
        self.read_at_once(|conn| {
            let making = addressed(conn, &request.actor, &reach::GET_BATCH, id)?;
            answer(conn, &making)
        })
    }

    /// Batches, the last written down first.
    pub fn list_batches(&self, request: &Request, which: &WhichBatches) -> Result<Page<BatchSummary>> {
        request.actor.may_anywhere(&reach::LIST_BATCHES)?;
        let limit = which.limit.clamp(1, MOST);
        self.read_at_once(|conn| {
            let asked = asked(conn, &request.actor, which)?;
            let rows = stored::batches_page(conn, &asked, i64::from(limit) + 1)?;
            Ok(Page::cut(summaries(conn, rows)?, limit as usize, |batch| batch.id.to_string()))
        })
    }
}

/// A batch and what it is one of.
pub(crate) struct Making {
    pub row: BatchRow,
    pub site: Site,
    pub recipe: RecipeRow,
    pub version: RecipeVersionRow,
    pub makes: Item,
    in_recipe: HashSet<i64>,
}

impl Making {
    fn of(conn: &mut AnyConnection, row: BatchRow) -> Result<Self> {
        let missing = |what: &str| StorageError::Corrupt(format!("batch {}: its {what} is missing", row.id));
        let version = recipe_version(conn, row.recipe_version_id)?;
        let recipe = Recipe::by_id(conn, version.recipe_id)?.ok_or_else(|| missing("recipe"))?.row;
        let makes = Item::by_id(conn, recipe.item_id)?.ok_or_else(|| missing("item"))?;
        let site = Site::by_id(conn, row.site_id)?.ok_or_else(|| missing("site"))?;
        let in_recipe = recipe_lines_of(conn, version.id)?.iter().map(|line| line.item_id).collect();
        Ok(Self { row, site, recipe, version, makes, in_recipe })
    }

    /// Whether its recipe names the item.
    pub fn names(&self, item_id: i64) -> bool {
        self.in_recipe.contains(&item_id)
    }
}

/// A batch that may be begun, not yet recorded.
pub(crate) fn begin(tx: &mut WriteTx<'_>, actor: &Actor, operation: &Operation, new: &NewBatch) -> Result<Making> {
    let site = fields::site(tx.conn()?, "site", &new.site)?;
    actor.may(operation, site.row.id).map_err(|error| error.at("site"))?;
    let started_at = fields::occurred_at("started_at", new.started_at, tx.now())?;
    let note = fields::optional_note("note", new.note.as_deref())?;
    let recipe = fields::recipe(tx.conn()?, "recipe", &new.recipe)?;
    tx.at_site(site.row.id);
    let row = BatchRow {
        id: tx.id(),
        entry: tx.entry(),
        recipe_version_id: recipe.current.id,
        site_id: site.row.id,
        started_at,
        note,
    };
    Making::of(tx.conn()?, row)
}

/// The batch a request's address names, for someone who may do this to it.
pub(crate) fn addressed(conn: &mut AnyConnection, actor: &Actor, operation: &Operation, id: i64) -> Result<Making> {
    let not_found = || OperationError::not_found(say!("batch"), id);
    let row = stored::batch(conn, id)?.ok_or_else(not_found)?;
    if !actor.reaches(row.site_id) {
        return Err(not_found());
    }
    actor.may(operation, row.site_id)?;
    Making::of(conn, row)
}

/// A batch as it stands, complete.
pub(crate) fn answer(conn: &mut AnyConnection, making: &Making) -> Result<Batch> {
    let id = making.row.id;
    let use_rows = stored::uses_of_batch(conn, id)?;
    let untracked_rows = stored::untracked_inputs_of(conn, id)?;
    let completion = stored::completion_of(conn, id)?;
    let equipment_rows = stored::equipment_of_batch(conn, id)?;
    let output_rows = stored::lots_of_batch(conn, id)?;
    let in_mg = uses::went_in(conn, id)?.mass_mg;
    let out_mg = output_rows.iter().map(|lot| lot.mass_mg).sum::<i64>();
    Ok(Batch {
        id,
        recipe: making.recipe.code.clone(),
        recipe_version: making.version.version,
        makes: making.makes.row.code.clone(),
        site: making.site.row.code.clone(),
        started_at: fields::utc(making.row.started_at),
        note: making.row.note.clone(),
        uses: uses::answer_uses(conn, use_rows)?,
        untracked: uses::answer_untracked(conn, making, untracked_rows)?,
        equipment: batch_equipment::answer(conn, equipment_rows)?,
        readings: readings::of_batch(conn, id)?,
        loss_grams: completion.as_ref().map(|_| Grams::from_mg(in_mg - out_mg)),
        completion: completion.map(completions::answer),
        outputs: completions::answer_lots(conn, &output_rows)?,
        in_grams: Grams::from_mg(in_mg),
        out_grams: Grams::from_mg(out_mg),
        entry: making.row.entry,
    })
}

fn asked(conn: &mut AnyConnection, actor: &Actor, which: &WhichBatches) -> Result<BatchesAsked> {
    let sites = fields::sites_asked(conn, which.site.as_deref(), actor, &reach::LIST_BATCHES)?;
    let recipe_versions = match &which.recipe {
        Some(code) => {
            let recipe: Recipe = fields::named(conn, say!("recipe"), "recipe", code)?;
            Some(Recipe::versions(conn, recipe.row.id)?.iter().map(|version| version.id).collect())
        }
        None => None,
    };
    Ok(BatchesAsked {
        spans: spans(conn, sites.as_deref(), which)?,
        sites,
        recipe_versions,
        open_only: which.open,
        before_id: Some(fields::after_id("after", &which.after)?).filter(|id| *id != 0),
    })
}

/// The days asked for, as each site counts them.
fn spans(conn: &mut AnyConnection, sites: Option<&[i64]>, which: &WhichBatches) -> Result<Option<Vec<SitesSpan>>> {
    if which.from.is_none() && which.until.is_none() {
        return Ok(None);
    }
    if which.from.zip(which.until).is_some_and(|(from, until)| until < from) {
        return Err(OperationError::invalid("until", say!("this lies before the day it should begin with")));
    }
    let day_after =
        |day: NaiveDate| day.succ_opt().ok_or_else(|| OperationError::invalid("until", say!("this is no day")));
    let until = which.until.map(day_after).transpose()?;
    let begins = |site: &Site, day: Option<NaiveDate>| -> Result<Option<NaiveDateTime>> {
        day.map(|day| fields::day_begins(site, day)).transpose()
    };
    // Few time zones differ in when a day begins, however many sites there are.
    let mut alike: BTreeMap<_, Vec<i64>> = BTreeMap::new();
    for site in every_site(conn)?.iter().filter(|site| sites.is_none_or(|sites| sites.contains(&site.row.id))) {
        alike.entry((begins(site, which.from)?, begins(site, until)?)).or_default().push(site.row.id);
    }
    Ok(Some(alike.into_iter().map(|((from, until), site_ids)| SitesSpan { site_ids, from, until }).collect()))
}

fn summaries(conn: &mut AnyConnection, rows: Vec<BatchRow>) -> Result<Vec<BatchSummary>> {
    let ids: Vec<i64> = rows.iter().map(|row| row.id).collect();
    let completed: HashMap<i64, NaiveDateTime> =
        stored::completions_of(conn, &ids)?.into_iter().map(|row| (row.batch_id, row.completed_at)).collect();
    let mut makings: HashMap<(i64, i64), Making> = HashMap::new();
    rows.into_iter()
        .map(|row| {
            let making = match makings.entry((row.recipe_version_id, row.site_id)) {
                Entry::Occupied(known) => known.into_mut(),
                Entry::Vacant(unknown) => unknown.insert(Making::of(conn, row.clone())?),
            };
            Ok(BatchSummary {
                id: row.id,
                recipe: making.recipe.code.clone(),
                recipe_version: making.version.version,
                makes: making.makes.row.code.clone(),
                site: making.site.row.code.clone(),
                started_at: fields::utc(row.started_at),
                completed_at: completed.get(&row.id).copied().map(fields::utc),
            })
        })
        .collect()
}

/// The codes of items by row id.
pub(crate) fn item_codes(conn: &mut AnyConnection, ids: impl IntoIterator<Item = i64>) -> Result<HashMap<i64, String>> {
    let ids: Vec<i64> = ids.into_iter().collect::<HashSet<_>>().into_iter().collect();
    Ok(item_rows(conn, &ids)?.into_iter().map(|row| (row.id, row.code)).collect())
}

/// A code that must be there.
pub(crate) fn code_of(codes: &HashMap<i64, String>, id: i64) -> Result<String> {
    Ok(codes.get(&id).cloned().ok_or_else(|| StorageError::Corrupt(format!("item row {id} is missing")))?)
}
