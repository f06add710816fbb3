//! A batch while it is made, and what it came to.

use actix_web::{HttpRequest, get, web};
use askama::Template;
use chrono::{Duration, Utc};
use tubtrail_domain::say;
use tubtrail_operations::batch_equipment::EquipmentRun;
use tubtrail_operations::batches::Batch;
use tubtrail_operations::cleans::{Clean, CleansAsked};
use tubtrail_operations::completions::{MadeLot, OutputKind};
use tubtrail_operations::equipment::Equipment;
use tubtrail_operations::items::ItemKind;
use tubtrail_operations::picks::Picks;
use tubtrail_operations::recipes::Recipe;
use tubtrail_operations::sessions::Me;
use tubtrail_operations::sites::Site;
use tubtrail_operations::uses::BatchUse;
use tubtrail_operations::{OperationError, Request, Tubtrail, problems};

use super::clocks::{Clock, last_span};
use super::finish::{Weighed, kinds};
use super::forms::Forms;
use super::goes_in::{self, Wanted};
use super::kitchen::Kitchen;
use crate::house::{House, off_thread};
use crate::pages::figures::{Wall, number, weight};
use crate::pages::labels;
use crate::pages::page::{Frame, Shown, Unable, render};
use crate::pages::texts::Texts;
use crate::pages::visitor::Visitor;

/// How many cleans are shown of a machine.
const CLEANS: u32 = 2;

pub fn configure(config: &mut web::ServiceConfig) {
    config.service(show_batch).service(batch_wants);
}

#[derive(Template)]
#[template(path = "batch.html")]
struct BatchPage {
    frame: Frame,
    site: Site,
    recipe: Recipe,
    makes: String,
    begun: String,
    forms: Forms,
    /// What the lot that was scanned is; it waits for its grams.
    scanned: Option<Scanned>,
    wants: Wants,
    uses: Vec<Used>,
    clocks: Vec<Clock>,
    now_seconds: i64,
    machines: Vec<Machine>,
    runs: Vec<Run>,
    kitchen: Kitchen,
    weighed: Weighed,
    kinds: Vec<OutputKind>,
    made: Vec<Made>,
    labels: String,
    in_weight: String,
    out_weight: String,
    weighed_weight: String,
    loss: Option<String>,
    batch: Batch,
}

/// The part that changes as stock does.
#[derive(Template)]
#[template(path = "batch_wants.html")]
struct Wants {
    texts: &'static Texts,
    wanted: Vec<Wanted>,
    /// Nothing is to be taken any more.
    done: bool,
}

/// The lot that was scanned.
#[derive(Clone)]
pub struct Scanned {
    /// Its number.
    pub lot: String,
    /// What it is.
    pub name: String,
    /// The recipe names it.
    pub in_recipe: bool,
}

/// What went in of a lot.
struct Used {
    row: BatchUse,
    name: String,
    weight: String,
    time: String,
}

struct Machine {
    row: Equipment,
    cleans: Vec<CleanShown>,
}

struct CleanShown {
    row: Clean,
    time: String,
}

struct Run {
    row: EquipmentRun,
    name: String,
    from: String,
    until: Option<String>,
}

struct Made {
    row: MadeLot,
    name: String,
    weight: String,
    last_day: Option<String>,
    mature: Option<String>,
    mature_seconds: i64,
}

/// What is read of the house for the page.
pub struct Read {
    me: Me,
    site: Site,
    pub batch: Batch,
    pub recipe: Recipe,
    pub kitchen: Kitchen,
    picks: Option<Picks>,
    cleans: Vec<(Equipment, Vec<Clean>)>,
}

/// A batch.
#[get("/making/{site}/batches/{batch}")]
async fn show_batch(house: House, visitor: Visitor, request: HttpRequest, path: web::Path<(String, i64)>) -> Shown {
    let forms = Forms::fresh(&visitor);
    show(house, &visitor, &request, path.into_inner(), forms, None, Weighed::default()).await
}

/// What it wants, by itself.
#[get("/making/{site}/batches/{batch}/wants")]
async fn batch_wants(house: House, visitor: Visitor, request: HttpRequest, path: web::Path<(String, i64)>) -> Shown {
    let (asks, (site, id)) = (visitor.asks(), path.into_inner());
    let read = off_thread(move || read(&house.tubtrail, &asks, &site, id)).await.map_err(Unable::of(&request))?;
    Ok(render(actix_web::http::StatusCode::OK, &Wants::of(visitor.texts, &read)))
}

/// Shows a batch, with one of its forms as it was sent.
pub async fn show(
    house: House,
    visitor: &Visitor,
    request: &HttpRequest,
    of: (String, i64),
    forms: Forms,
    scanned: Option<Scanned>,
    weighed: Weighed,
) -> Shown {
    let (asks, (site, id)) = (visitor.asks(), of);
    let read = off_thread(move || read(&house.tubtrail, &asks, &site, id)).await.map_err(Unable::of(request))?;
    let status = forms.status();
    let page = BatchPage {
        scanned,
        weighed_weight: sum(visitor.texts, &weighed),
        weighed,
        ..BatchPage::of(visitor, request, read, forms)
    };
    Ok(render(status, &page))
}

/// Reads a batch that is made at this site.
pub fn read(tubtrail: &Tubtrail, asks: &Request, site: &str, id: i64) -> Result<Read, OperationError> {
    let batch = tubtrail.get_batch(asks, id)?;
    if batch.site != site {
        return Err(OperationError::new(&problems::NOT_FOUND, say!("batch {id} is not made at {site}", id, site)));
    }
    let site: Site = tubtrail.get(asks, site)?;
    let versions = tubtrail.versions::<Recipe>(asks, &batch.recipe)?;
    let recipe = versions.into_iter().find(|one| one.version == Some(batch.recipe_version));
    let missing = || OperationError::of(&problems::INTERNAL);
    let kitchen = Kitchen::read(tubtrail, asks, &site)?;
    let mut cleans = Vec::new();
    for machine in kitchen.machines.iter().filter(|machine| machine.active) {
        let asked = CleansAsked { equipment: machine.code.clone(), after: String::new(), limit: CLEANS };
        cleans.push((machine.clone(), tubtrail.list_cleans(asks, &asked)?.items));
    }
    Ok(Read {
        me: tubtrail.show_me(asks)?,
        picks: goes_in::picks(tubtrail, asks, &batch)?,
        recipe: recipe.ok_or_else(missing)?,
        site,
        batch,
        kitchen,
        cleans,
    })
}

/// What was weighed so far, as far as it can be added up.
fn sum(texts: &Texts, weighed: &Weighed) -> String {
    let mg = |grams: &str| number(texts, grams).parse::<f64>().ok().filter(|grams| (0.0..1e9).contains(grams));
    #[allow(clippy::cast_possible_truncation, reason = "it is bounded just before, and is a sum to look at")]
    let one = |row: &super::finish::Weight| {
        let count = row.count.parse::<i64>().unwrap_or(1).clamp(0, 500);
        mg(&row.grams).map_or(0, |grams| (grams * 1000.0).round() as i64) * count
    };
    weight(texts, tubtrail_operations::Grams::from_mg(weighed.weights.iter().map(one).sum()))
}

impl Wants {
    fn of(texts: &'static Texts, read: &Read) -> Self {
        let wanted = goes_in::wanted(texts, &read.kitchen, &read.recipe, &read.batch, read.picks.as_ref());
        Self { texts, wanted, done: read.batch.completion.is_some() }
    }
}

impl BatchPage {
    fn of(visitor: &Visitor, request: &HttpRequest, read: Read, forms: Forms) -> Self {
        let (texts, wall) = (visitor.texts, Wall::of(&read.site));
        let wants = Wants::of(texts, &read);
        let Read { me, site, batch, recipe, kitchen, cleans, .. } = read;
        let makes = kitchen.item(&recipe.item).map_or(ItemKind::Flavour, |item| item.kind);
        let rest = recipe.maturing_minutes.map(|minutes| Duration::minutes(minutes.into()));
        let mut clocks = Clock::all(texts, &batch.readings, rest, wall);
        // Of what is done, only what was taken is shown.
        clocks.retain(|clock| batch.completion.is_none() || !clock.taken.is_empty());
        Self {
            frame: Frame::of(visitor, request, me),
            makes: kitchen.item_name(&recipe.item),
            begun: wall.day_and_time(batch.started_at),
            forms,
            scanned: None,
            wants,
            uses: batch.uses.iter().rev().map(|row| Used::of(texts, &kitchen, wall, row)).collect(),
            clocks,
            now_seconds: Utc::now().timestamp(),
            machines: cleans.into_iter().map(|(row, cleans)| Machine::of(wall, row, cleans)).collect(),
            runs: batch.equipment.iter().rev().map(|row| Run::of(&kitchen, wall, row)).collect(),
            weighed: Weighed::default(),
            kinds: kinds(makes),
            made: batch.outputs.iter().map(|row| Made::of(texts, &kitchen, wall, row)).collect(),
            labels: labels::address(&site.code, batch.outputs.iter().map(|output| output.lot.as_str())),
            in_weight: weight(texts, batch.in_grams),
            out_weight: weight(texts, batch.out_grams),
            weighed_weight: String::new(),
            loss: batch.loss_grams.map(|loss| weight(texts, loss)),
            site,
            recipe,
            kitchen,
            batch,
        }
    }

    /// The address that a form of the page is sent to.
    fn deed(&self, deed: &str) -> String {
        format!("/making/{}/batches/{}/{deed}", self.site.code, self.batch.id)
    }

    /// What goes in without a lot, as the recipe names it.
    fn beside(&self) -> impl Iterator<Item = &Wanted> {
        self.wants.wanted.iter().filter(|line| !line.tracked)
    }

    /// What the recipe names, and nothing of which was written down.
    fn left_out(&self) -> String {
        let names = self.wants.wanted.iter().filter(|line| line.left_out).map(|line| line.name.as_str());
        names.collect::<Vec<_>>().join(", ")
    }

    /// A form about a clean stands there as it was sent.
    fn cleans_are_open(&self) -> bool {
        let cleans = self.machines.iter().flat_map(|machine| &machine.cleans);
        self.machines.iter().any(|machine| self.forms.is_open(&format!("clean-{}", machine.row.code)))
            || cleans.into_iter().any(|clean| self.forms.is_open(&format!("void-clean-{}", clean.row.id)))
    }

    /// When it began on a machine, as it usually is: with the last step.
    fn usual_from(&self) -> String {
        let (began, _) = last_span(&self.batch.readings).unwrap_or((self.batch.started_at, None));
        Wall::of(&self.site).time(began)
    }

    /// When it ended there.
    fn usual_until(&self) -> String {
        let ended = last_span(&self.batch.readings).and_then(|(_, ended)| ended);
        Wall::of(&self.site).time(ended.unwrap_or_else(Utc::now))
    }
}

impl Used {
    fn of(texts: &Texts, kitchen: &Kitchen, wall: Wall, row: &BatchUse) -> Self {
        let (name, weight) = (kitchen.item_name(&row.item), weight(texts, row.grams));
        Self { name, weight, time: wall.time(row.used_at), row: row.clone() }
    }
}

impl Machine {
    fn of(wall: Wall, row: Equipment, cleans: Vec<Clean>) -> Self {
        let shown = |row: Clean| CleanShown { time: wall.day_and_time(row.cleaned_at), row };
        Self { row, cleans: cleans.into_iter().map(shown).collect() }
    }
}

impl Run {
    /// With the day, where it was not today: a time that is not yet was taken for yesterday's.
    fn of(kitchen: &Kitchen, wall: Wall, row: &EquipmentRun) -> Self {
        let today = wall.day(Utc::now());
        let at = |at| if wall.day(at) == today { wall.time(at) } else { wall.day_and_time(at) };
        Self { name: kitchen.machine(&row.equipment), from: at(row.from), until: row.until.map(at), row: row.clone() }
    }
}

impl Made {
    fn of(texts: &Texts, kitchen: &Kitchen, wall: Wall, row: &MadeLot) -> Self {
        let day = row.expiry.as_ref().map(|expiry| {
            let name = format!("last-day-{}", expiry.kind.word());
            texts.say_of(&name, "day", expiry.on.to_string()).into_owned()
        });
        let resting = row.mature_at.filter(|at| *at > Utc::now());
        Self {
            name: kitchen.item_name(&row.item),
            weight: weight(texts, row.grams),
            last_day: day,
            mature: resting.map(|at| wall.day_and_time(at)),
            mature_seconds: resting.map_or(0, |at| at.timestamp()),
            row: row.clone(),
        }
    }
}
