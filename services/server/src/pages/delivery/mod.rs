//! A delivery arrives: scanned or typed line by line, measured and judged at the door, and written down at once.

mod arrived;
mod draft;
mod known;
mod reading;

use actix_web::http::StatusCode;
use actix_web::{HttpRequest, get, post, web};
use askama::Template;
use chrono::{Duration, Utc};
use tubtrail_operations::deliveries::{DeliveryListed, DeliverySearch};
use tubtrail_operations::reach::Role;
use tubtrail_operations::sessions::Me;
use tubtrail_operations::sites::Site;
use tubtrail_operations::{OperationError, Request, Tubtrail};

use self::draft::{Draft, Line};
use self::known::Known;
use self::reading::Notice;
use super::fields::Fields;
use super::figures::Wall;
use super::forms::{Form, see_said};
use super::page::{Frame, Shown, Unable, render};
use super::places;
use super::visitor::{Sent, Visitor};
use crate::house::{House, off_thread};

/// Most deliveries shown of the last days.
const LATELY: u32 = 100;
/// How far back that goes.
const DAYS: i64 = 2;
pub fn configure(config: &mut web::ServiceConfig) {
    config.service(choose_delivery).service(delivery).service(delivery_form);
    arrived::configure(config);
}

#[derive(Template)]
#[template(path = "delivery.html")]
struct DeliveryPage {
    frame: Frame,
    site: Site,
    known: Known,
    draft: Draft,
    form: Form,
    notice: Option<Notice>,
    /// The line that was touched last.
    at: Option<usize>,
    lately: Vec<Lately>,
}

/// A delivery of the last days.
struct Lately {
    row: DeliveryListed,
    supplier: String,
    time: String,
}

/// What is read of the house for the page.
struct Read {
    me: Me,
    site: Site,
    known: Known,
    lately: Vec<DeliveryListed>,
}

/// Where it arrives.
#[get("/delivery")]
async fn choose_delivery(house: House, visitor: Visitor, request: HttpRequest) -> Shown {
    places::choose(house, visitor, request, "/delivery", &[Role::Owner, Role::Kitchen]).await
}

/// An empty delivery.
#[get("/delivery/{site}")]
async fn delivery(house: House, visitor: Visitor, request: HttpRequest, site: web::Path<String>) -> Shown {
    let asks = visitor.asks();
    let read = off_thread(move || read(&house.tubtrail, &asks, &site)).await.map_err(Unable::of(&request))?;
    let page = DeliveryPage::of(&visitor, &request, read, Draft::default(), Form::new(&visitor, Fields::default()));
    Ok(render(StatusCode::OK, &page))
}

/// What is done with a form: a line more or less, or all of it written down.
#[post("/delivery/{site}")]
async fn delivery_form(house: House, sent: Sent, request: HttpRequest, site: web::Path<String>) -> Shown {
    let draft = Draft::read(&sent.fields);
    if sent.fields.get("do") == Some("write") {
        return write_down(house, sent, &request, &site, draft).await;
    }
    let asks = sent.visitor.asks();
    let fields = sent.fields.clone();
    let done = off_thread(move || {
        let read = read(&house.tubtrail, &asks, &site)?;
        let (mut draft, mut at, mut notice) = (draft, None, None);
        match fields.get("do").and_then(|deed| deed.split_once('-').or(Some((deed, "")))) {
            Some(("drop", line)) => draft.drop_line(line.parse().unwrap_or(usize::MAX)),
            Some(("add", _)) => {
                draft.lines.push(Line::empty());
                at = Some(draft.lines.len() - 1);
            }
            _ => (at, notice) = reading::scan(&house.tubtrail, &asks, &read, &mut draft, fields.get("scan"))?,
        }
        Ok((read, draft, at, notice))
    });
    let (read, draft, at, notice) = done.await.map_err(Unable::of(&request))?;
    let form = Form::new(&sent.visitor, sent.fields.clone());
    let page = DeliveryPage { notice, at, ..DeliveryPage::of(&sent.visitor, &request, read, draft, form) };
    Ok(render(StatusCode::OK, &page))
}

async fn write_down(house: House, sent: Sent, request: &HttpRequest, site: &str, draft: Draft) -> Shown {
    let (asks, commands, texts) = (sent.visitor.asks(), sent.commands(request.path()), sent.visitor.texts);
    let (draft_sent, site_code, tubtrail) = (draft.clone(), site.to_owned(), house.clone());
    let done = off_thread(move || {
        let known = Known::read(&tubtrail.tubtrail, &asks)?;
        let new = draft_sent.to_new(texts, &site_code, &known)?;
        tubtrail.tubtrail.receive_delivery(&commands, new)
    });
    let problem = match done.await {
        Ok(done) => return Ok(see_said(&format!("/delivery/{site}/{}", done.answer.id), "done")),
        Err(problem) => problem,
    };
    let lines = draft.lines.len();
    let form = Form::refused(&sent.visitor, sent.fields, problem, |field| place(field, lines));
    let form = form.map_err(Unable::of(request))?;
    let (asks, site) = (sent.visitor.asks(), site.to_owned());
    let read = off_thread(move || read(&house.tubtrail, &asks, &site)).await.map_err(Unable::of(request))?;
    let page = DeliveryPage::of(&sent.visitor, request, read, draft, form);
    Ok(render(page.form.status(), &page))
}

/// The field of the form that shows a field of the operation.
fn place(field: &str, lines: usize) -> Option<String> {
    if ["supplier", "document", "note"].contains(&field) {
        return Some(field.to_owned());
    }
    let (at, part) = field.strip_prefix("lines[")?.split_once(']')?;
    at.parse::<usize>().ok().filter(|at| *at < lines)?;
    let parts = [
        "item",
        "supplier_lot_code",
        "quantity.amount",
        "quantity.unit",
        "expiry.on",
        "expiry.kind",
        "temperature_celsius",
        "reason",
    ];
    let part = part.strip_prefix('.').unwrap_or(part);
    let shown = parts.into_iter().find(|shown| *shown == part || shown.starts_with(&format!("{part}.")));
    Some(format!("lines[{at}].{}", shown.unwrap_or("item")))
}

fn read(tubtrail: &Tubtrail, asks: &Request, site: &str) -> Result<Read, OperationError> {
    let site: Site = tubtrail.get(asks, site)?;
    let search = DeliverySearch {
        site: Some(site.code.clone()),
        day_from: Some((Utc::now() - Duration::days(DAYS)).date_naive()),
        ..DeliverySearch::default()
    };
    let lately = tubtrail.list_deliveries(asks, &search, "", LATELY)?.items;
    Ok(Read { me: tubtrail.show_me(asks)?, known: Known::read(tubtrail, asks)?, lately, site })
}

impl DeliveryPage {
    fn of(visitor: &Visitor, request: &HttpRequest, read: Read, draft: Draft, form: Form) -> Self {
        let wall = Wall::of(&read.site);
        let lately = read.lately.into_iter().rev().map(|row| Lately {
            supplier: read.known.supplier(&row.supplier),
            time: wall.day_and_time(row.arrived_at),
            row,
        });
        Self {
            lately: lately.collect(),
            frame: Frame::of(visitor, request, read.me),
            site: read.site,
            known: read.known,
            draft,
            form,
            notice: None,
            at: None,
        }
    }

    /// The name of a field of a line.
    fn name(at: usize, part: &str) -> String {
        format!("lines[{at}].{part}")
    }

    /// Where the next key goes: to what is at fault, else to the line that was begun, else to the scanner.
    fn waits_for_scan(&self) -> bool {
        self.form.status() == StatusCode::OK && self.at.is_none_or(|at| !self.draft.lines[at].item.is_empty())
    }
}
