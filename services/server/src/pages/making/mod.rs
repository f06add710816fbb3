//! Making: today's batches, what to begin, and in which order with the fewest cleans.

mod batch;
mod clocks;
mod deeds;
mod finish;
mod forms;
mod goes_in;
mod kitchen;

use actix_web::{HttpRequest, get, post, web};
use askama::Template;
use chrono::Utc;
use tubtrail_domain::saying::Saying;
use tubtrail_operations::batch_orders::{BatchOrder, NewBatchOrder};
use tubtrail_operations::batches::{BatchSummary, NewBatch, WhichBatches};
use tubtrail_operations::reach::Role;
use tubtrail_operations::recipes::Recipe;
use tubtrail_operations::sessions::Me;
use tubtrail_operations::sites::Site;
use tubtrail_operations::{OperationError, Request, Tubtrail};

use self::kitchen::Kitchen;
use super::fields::Fields;
use super::figures::Wall;
use super::forms::{Form, same_name, see_said};
use super::page::{Frame, Shown, Unable, render};
use super::places;
use super::visitor::{Sent, Visitor};
use crate::house::{House, off_thread};
use crate::problem::Problem;

/// Most batches shown of a day, and most that are open.
const MOST_BATCHES: u32 = 100;

pub fn configure(config: &mut web::ServiceConfig) {
    config.service(choose_making).service(making).service(begin);
    batch::configure(config);
    deeds::configure(config);
}

#[derive(Template)]
#[template(path = "making.html")]
struct Making {
    frame: Frame,
    site: Site,
    kitchen: Kitchen,
    form: Form,
    open: Vec<Listed>,
    done: Vec<Listed>,
    recipes: Vec<Recipe>,
    /// What was planned for today.
    plan: Form,
    order: Option<BatchOrder>,
    /// Why no order could be found.
    no_order: Option<Saying>,
}

/// A batch in the list.
struct Listed {
    row: BatchSummary,
    recipe: String,
    begun: String,
    done: Option<String>,
}

struct Read {
    me: Me,
    site: Site,
    kitchen: Kitchen,
    open: Vec<BatchSummary>,
    today: Vec<BatchSummary>,
    order: Option<Result<BatchOrder, OperationError>>,
}

/// Where it is made.
#[get("/making")]
async fn choose_making(house: House, visitor: Visitor, request: HttpRequest) -> Shown {
    places::choose(house, visitor, request, "/making", &[Role::Owner, Role::Kitchen]).await
}

/// What is being made here today.
#[get("/making/{site}")]
async fn making(house: House, visitor: Visitor, request: HttpRequest, site: web::Path<String>) -> Shown {
    let form = Form::new(&visitor, Fields::default());
    show(house, &visitor, &request, site.into_inner(), form).await
}

/// Begins a batch.
#[post("/making/{site}")]
async fn begin(house: House, sent: Sent, request: HttpRequest, site: web::Path<String>) -> Shown {
    let site = site.into_inner();
    let recipe = sent.fields.get("recipe").unwrap_or("").to_owned();
    let (tubtrail, commands) = (house.clone(), sent.commands(request.path()));
    let new = NewBatch { recipe, site: site.clone(), started_at: None, note: None };
    let problem = match off_thread(move || tubtrail.tubtrail.start_batch(&commands, new)).await {
        Ok(done) => return Ok(see_said(&format!("/making/{site}/batches/{}", done.answer.id), "batch-begun")),
        Err(problem) => problem,
    };
    let form = Form::refused(&sent.visitor, sent.fields, problem, same_name(&["recipe"]));
    let form = form.map_err(Unable::of(&request))?;
    show(house, &sent.visitor, &request, site, form).await
}

async fn show(house: House, visitor: &Visitor, request: &HttpRequest, site: String, form: Form) -> Shown {
    let asked = Fields::parse(request.query_string().as_bytes());
    let (asks, plan) = (visitor.asks(), asked.clone());
    let read = off_thread(move || read(&house.tubtrail, &asks, &site, &plan)).await.map_err(Unable::of(request))?;
    let page = Making::of(visitor, request, read, form, Form::new(visitor, asked)).map_err(Unable::of(request))?;
    Ok(render(page.form.status(), &page))
}

fn read(tubtrail: &Tubtrail, asks: &Request, site: &str, asked: &Fields) -> Result<Read, OperationError> {
    let site: Site = tubtrail.get(asks, site)?;
    let which = WhichBatches { site: Some(site.code.clone()), limit: MOST_BATCHES, ..WhichBatches::default() };
    let today = WhichBatches { from: Some(Wall::of(&site).day(Utc::now())), ..which.clone() };
    let recipes: Vec<String> = asked.all("plan").map(str::to_owned).collect();
    let equipment = asked.get("equipment").map(str::to_owned);
    let planned = NewBatchOrder { site: site.code.clone(), equipment, recipes };
    Ok(Read {
        me: tubtrail.show_me(asks)?,
        kitchen: Kitchen::read(tubtrail, asks, &site)?,
        open: tubtrail.list_batches(asks, &WhichBatches { open: true, ..which })?.items,
        today: tubtrail.list_batches(asks, &today)?.items,
        order: (!planned.recipes.is_empty()).then(|| tubtrail.order_batches(asks, &planned)),
        site,
    })
}

impl Making {
    fn of(visitor: &Visitor, request: &HttpRequest, read: Read, form: Form, plan: Form) -> Result<Self, Problem> {
        let Read { me, site, kitchen, open, today, order } = read;
        let wall = Wall::of(&site);
        let listed = |row: BatchSummary| Listed {
            recipe: kitchen.recipe(&row.recipe),
            begun: wall.day_and_time(row.started_at),
            done: row.completed_at.map(|at| wall.time(at)),
            row,
        };
        let done = today.into_iter().filter(|row| row.completed_at.is_some()).map(listed).collect();
        let open = open.into_iter().map(listed).collect();
        let (order, no_order) = match order.map(|order| order.map_err(Problem::from)) {
            None => (None, None),
            Some(Ok(order)) => (Some(order), None),
            Some(Err(problem)) if problem.can_be_put_right() => (None, Some(problem.details().detail)),
            Some(Err(problem)) => return Err(problem),
        };
        let recipes = kitchen.recipes.iter().filter(|recipe| recipe.active).cloned().collect();
        let frame = Frame::of(visitor, request, me);
        Ok(Self { frame, site, kitchen, form, open, done, recipes, plan, order, no_order })
    }
}
