//! A recall, or a drill of one, in three steps: what is recalled; what that reaches, before anybody decides; why, and begin.

use actix_web::http::StatusCode;
use actix_web::{HttpRequest, get, post, web};
use askama::Template;
use chrono_tz::Tz;
use tubtrail_operations::equipment::Equipment;
use tubtrail_operations::items::Item;
use tubtrail_operations::partners::Partner;
use tubtrail_operations::recalls::{CAUTION, NewRecall, RecallKind, SeedsAsked};
use tubtrail_operations::sites::Site;
use tubtrail_operations::{Answered, Grams, OperationError, Request, Tubtrail};

use super::asked::{FIELDS, WAYS, place, seeds, time};
use super::balance::{MassRow, mass_rows};
use crate::house::{House, off_thread};
use crate::pages::addresses::Address;
use crate::pages::fields::Fields;
use crate::pages::figures::in_grams;
use crate::pages::forms::{Form, same_name, see_said};
use crate::pages::page::{Frame, Shown, Unable, render};
use crate::pages::pictures::{Drawn, Gathered, gather};
use crate::pages::texts::Said;
use crate::pages::visitor::{Sent, Visitor};
use crate::problem::Problem;

/// Most of each kind to choose from.
const MOST: u32 = 500;

pub fn configure(config: &mut web::ServiceConfig) {
    config.service(begin_recall_page).service(begin_recall_picture).service(begin_recall_form);
}

/// The first step.
#[derive(Template)]
#[template(path = "recall_what.html")]
struct What {
    frame: Frame,
    form: Form,
    by: String,
    ways: [&'static str; 7],
    choices: Choices,
}

/// What can be chosen from.
struct Choices {
    suppliers: Vec<Partner>,
    items: Vec<Item>,
    equipment: Vec<Equipment>,
    sites: Vec<Site>,
}

/// The second step.
#[derive(Template)]
#[template(path = "recall_outlook.html")]
struct Reached {
    frame: Frame,
    caution: Said,
    figures: Vec<(String, String)>,
    mass: Vec<MassRow>,
    drawn: Drawn,
    part: String,
    on_hand: Vec<(String, usize, String, String)>,
    with_contact: bool,
    contacts: String,
    back: String,
    next: Option<String>,
}

/// The third step.
#[derive(Template)]
#[template(path = "recall_why.html")]
struct Why {
    frame: Frame,
    form: Form,
    hidden: Vec<(String, String)>,
    reached: usize,
    back: String,
}

/// Any of the steps: the first until it is known what is recalled, then the second, and the third where that is asked for.
#[get("/recalls/begin")]
async fn begin_recall_page(house: House, visitor: Visitor, request: HttpRequest) -> Shown {
    let asked = Fields::parse(request.query_string().as_bytes());
    let form = Form::new(&visitor, asked.clone());
    if asked.get("by").is_none() || asked.get("step") == Some("what") {
        return what(house, &visitor, &request, form).await;
    }
    if asked.get("step") == Some("why") {
        return why(house, &visitor, &request, form).await;
    }
    outlook(house, &visitor, &request, asked).await
}

async fn what(house: House, visitor: &Visitor, request: &HttpRequest, form: Form) -> Shown {
    let asks = visitor.asks();
    let work = off_thread(move || {
        let house = &house.tubtrail;
        let mut suppliers = house.list::<Partner>(&asks, "", MOST)?.items;
        suppliers.retain(|partner| partner.supplies);
        let choices = Choices {
            suppliers,
            items: house.list::<Item>(&asks, "", MOST)?.items,
            equipment: house.list::<Equipment>(&asks, "", MOST)?.items,
            sites: house.list::<Site>(&asks, "", MOST)?.items,
        };
        Ok((house.show_me(&asks)?, choices))
    });
    let (me, choices) = work.await.map_err(Unable::of(request))?;
    let by = form.value("by").to_owned();
    let status = form.status();
    Ok(render(status, &What { frame: Frame::of(visitor, request, me), form, by, ways: WAYS, choices }))
}

fn traced(tubtrail: &Tubtrail, asks: &Request, seeds: &SeedsAsked) -> Result<Gathered, OperationError> {
    let traced = gather(tubtrail, asks, tubtrail.stream_seeds_trace(asks, seeds)?)?;
    Ok(traced.touching(tubtrail.seeds_contacts(asks, seeds)?))
}

async fn outlook(house: House, visitor: &Visitor, request: &HttpRequest, asked: Fields) -> Shown {
    let seat = house.traces.take().map_err(Unable::of(request))?;
    let (asks, wanted, at) = (visitor.asks(), asked.clone(), house.clone());
    let work = off_thread(move || {
        let seeds = wanted_seeds(&at.tubtrail, &asks, &wanted)?;
        let outlook = at.tubtrail.foresee_recall(&asks, &seeds)?;
        let traced = traced(&at.tubtrail, &asks, &seeds)?;
        drop(seat);
        Ok((at.tubtrail.show_me(&asks)?, outlook, traced))
    });
    let (me, outlook, traced) = match work.await {
        Ok(found) => found,
        Err(problem) => {
            let by = asked.get("by").unwrap_or("").to_owned();
            let form =
                Form::refused(visitor, asked, problem, |field| place(&by, field)).map_err(Unable::of(request))?;
            return what(house, visitor, request, form).await;
        }
    };
    let texts = visitor.texts;
    let address = Address::of("/recalls/begin", &asked, &[&FIELDS[..], &["open", "box"]].concat());
    let seeds = Address::of("/recalls/begin", &asked, &FIELDS);
    let may_begin = super::may_everywhere(&me, &[super::Role::Owner, super::Role::Kitchen]);
    let kept = seeds.without("with_contact", "");
    let figure = |name: &str, figure: String| (texts.say(name).into_owned(), figure);
    let on_hand: i64 = outlook.sums.sites.iter().map(|site| site.on_hand_grams.mg()).sum();
    let page = Reached {
        figures: vec![
            figure("seed-lots", outlook.sums.seed_lots.to_string()),
            figure("reached-lots", outlook.sums.reached_lots.to_string()),
            figure("contact-lots", outlook.sums.by_contact_lots.to_string()),
            figure("on-hand", in_grams(texts, Grams::from_mg(on_hand))),
            figure("to-confirm", outlook.sums.sites.iter().map(|site| site.open_lines).sum::<usize>().to_string()),
            figure("customers", outlook.sums.consignees.to_string()),
        ],
        on_hand: outlook
            .sums
            .sites
            .iter()
            .map(|site| {
                let (here, served) = (in_grams(texts, site.on_hand_grams), in_grams(texts, site.served_grams));
                (site.name.clone(), site.lots_on_hand, here, served)
            })
            .collect(),
        mass: mass_rows(texts, &outlook.sums.mass),
        drawn: traced.draw(texts, &address),
        part: "/recalls/begin/picture".into(),
        with_contact: asked.get("with_contact").is_some(),
        contacts: if asked.get("with_contact").is_some() { kept } else { kept.with("with_contact", "yes") }.to_string(),
        back: seeds.with("step", "what").to_string(),
        next: may_begin.then(|| seeds.with("step", "why").to_string()),
        frame: Frame::of(visitor, request, me),
        caution: visitor.texts.said(&CAUTION),
    };
    Ok(render(StatusCode::OK, &page))
}

/// The picture of the second step, by itself.
#[get("/recalls/begin/picture")]
async fn begin_recall_picture(house: House, visitor: Visitor, request: HttpRequest) -> Shown {
    let seat = house.traces.take().map_err(Unable::of(&request))?;
    let asked = Fields::parse(request.query_string().as_bytes());
    let address = Address::of("/recalls/begin", &asked, &[&FIELDS[..], &["open", "box"]].concat());
    let asks = visitor.asks();
    let work = off_thread(move || {
        let seeds = wanted_seeds(&house.tubtrail, &asks, &asked)?;
        let traced = traced(&house.tubtrail, &asks, &seeds);
        drop(seat);
        traced
    });
    let traced = work.await.map_err(Unable::of(&request))?;
    Ok(render(StatusCode::OK, &traced.draw(visitor.texts, &address)))
}

async fn why(house: House, visitor: &Visitor, request: &HttpRequest, form: Form) -> Shown {
    let (asks, asked) = (visitor.asks(), form.fields().clone());
    let work = off_thread(move || {
        let seeds = wanted_seeds(&house.tubtrail, &asks, &asked)?;
        Ok((house.tubtrail.show_me(&asks)?, house.tubtrail.foresee_recall(&asks, &seeds)?.sums.reached_lots))
    });
    let (me, reached) = work.await.map_err(Unable::of(request))?;
    let seeds = Address::of("/recalls/begin", form.fields(), &FIELDS);
    let page = Why {
        frame: Frame::of(visitor, request, me),
        hidden: seeds.asked().to_vec(),
        back: seeds.to_string(),
        reached,
        form,
    };
    Ok(render(page.form.status(), &page))
}

/// Begins it.
#[post("/recalls/begin")]
async fn begin_recall_form(house: House, sent: Sent, request: HttpRequest) -> Shown {
    let commands = sent.commands(request.path());
    let (fields, at) = (sent.fields.clone(), house.clone());
    let done = off_thread(move || {
        let seeds = wanted_seeds(&at.tubtrail, &commands, &fields)?;
        let done: Answered<_> = at.tubtrail.begin_recall(&commands, new_recall(&fields, seeds)?)?;
        Ok(done.answer.recall.recall)
    });
    match done.await {
        Ok(recall) => Ok(see_said(&format!("/recalls/{recall}"), "begun")),
        Err(problem) => refused(house, &sent, &request, problem).await,
    }
}

async fn refused(house: House, sent: &Sent, request: &HttpRequest, problem: Problem) -> Shown {
    let place = same_name(&["kind", "class", "hazard", "holds", "noticed_at", "due_at", "instructions"]);
    let form = Form::refused(&sent.visitor, sent.fields.clone(), problem, place).map_err(Unable::of(request))?;
    why(house, &sent.visitor, request, form).await
}

fn new_recall(fields: &Fields, seeds: SeedsAsked) -> Result<NewRecall, OperationError> {
    let is_drill = fields.get("kind") != Some("real");
    Ok(NewRecall {
        kind: if is_drill { RecallKind::Drill } else { RecallKind::Real },
        class: fields.get("class").and_then(|class| class.parse().ok()).unwrap_or(0),
        hazard: fields.get("hazard").unwrap_or("").to_owned(),
        seeds: seeds.seeds,
        with_contact: seeds.with_contact,
        holds: (is_drill && fields.get("holds").is_none()).then_some(false),
        noticed_at: time("noticed_at", fields, Tz::UTC)?,
        due_at: time("due_at", fields, Tz::UTC)?,
        instructions: fields.get("instructions").map(str::to_owned),
    })
}

/// What is asked for. Times are those of the site, or of where the equipment stands.
fn wanted_seeds(tubtrail: &Tubtrail, asks: &Request, asked: &Fields) -> Result<SeedsAsked, OperationError> {
    let site = match (asked.get("by"), asked.get("equipment"), asked.get("site")) {
        (Some("equipment"), Some(code), _) => Some(tubtrail.get::<Equipment>(asks, code)?.site),
        (Some("place"), _, Some(code)) => Some(code.to_owned()),
        _ => None,
    };
    let zone = site.map(|code| tubtrail.get::<Site>(asks, &code)).transpose()?;
    seeds(asked, zone.and_then(|site| site.time_zone.parse().ok()).unwrap_or(Tz::UTC))
}
