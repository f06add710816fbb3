//! Recalls: all of them, one as a case, what a site has of it, and how one is begun.

pub(super) mod asked;
mod balance;
mod begin;
mod case;
mod consignees;
mod deeds;
mod drawing;
mod lots;
mod pull;
mod sums;

use actix_web::http::StatusCode;
use actix_web::{HttpRequest, get, web};
use askama::Template;
use chrono::{DateTime, Utc};
use tubtrail_operations::reach::Role;
use tubtrail_operations::recalls::{EndingWay, Recall, RecallKind, RecallsAsked};
use tubtrail_operations::sessions::Me;

use super::fields::Fields;
use super::page::{Frame, Shown, Unable, render};
use super::places;
use super::texts::Texts;
use super::visitor::Visitor;
use crate::house::{House, off_thread};

/// Most recalls on the page.
const MOST_SHOWN: u32 = 50;
/// Who confirms what is found at a site.
const CONFIRMERS: [Role; 3] = [Role::Owner, Role::Kitchen, Role::Shop];

pub fn configure(config: &mut web::ServiceConfig) {
    config.service(list_recalls);
    // Before those that address a recall by its number.
    begin::configure(config);
    case::configure(config);
    consignees::configure(config);
    deeds::configure(config);
    drawing::configure(config);
    lots::configure(config);
    pull::configure(config);
    sums::configure(config);
}

#[derive(Template)]
#[template(path = "recalls.html")]
struct List {
    frame: Frame,
    may_begin: bool,
    recalls: Vec<Row>,
    next: Option<String>,
}

struct Row {
    recall: Recall,
    is_drill: bool,
    title: String,
    begun: String,
    ended: Option<String>,
    /// Where this person goes through the rooms: address and words.
    sites: Vec<(String, String)>,
}

/// All recalls, the last begun first.
#[get("/recalls")]
async fn list_recalls(house: House, visitor: Visitor, request: HttpRequest) -> Shown {
    let after = Fields::parse(request.query_string().as_bytes()).get("after").unwrap_or("").to_owned();
    let asks = visitor.asks();
    let found = off_thread(move || {
        let me = house.tubtrail.show_me(&asks)?;
        let asked = RecallsAsked { kind: None, open: None, after, limit: MOST_SHOWN };
        let recalls = house.tubtrail.list_recalls(&asks, &asked)?;
        Ok((places::sites(&house.tubtrail, &asks, &CONFIRMERS)?, me, recalls))
    });
    let (sites, me, recalls) = found.await.map_err(Unable::of(&request))?;
    let texts = visitor.texts;
    // Who looks after every site goes by the case.
    let theirs = if sites.len() > MOST_SITES_SHOWN { Vec::new() } else { sites };
    let row = |recall: Recall| {
        let is_open = recall.ending.is_none();
        let link = |code: &str| format!("/recalls/{}/sites/{code}", recall.recall);
        let through = theirs.iter().filter(|_| is_open);
        Row {
            sites: through
                .map(|site| (link(&site.code), texts.say_of("go-through", "site", &site.name).into_owned()))
                .collect(),
            is_drill: recall.kind == RecallKind::Drill,
            title: title(texts, &recall),
            begun: clock(recall.begun_at),
            ended: ended(texts, &recall),
            recall,
        }
    };
    let page = List {
        may_begin: may_everywhere(&me, &[Role::Owner, Role::Kitchen]),
        frame: Frame::of(&visitor, &request, me),
        recalls: recalls.items.into_iter().map(row).collect(),
        next: recalls.next.map(|next| format!("/recalls?after={next}")),
    };
    Ok(render(StatusCode::OK, &page))
}

/// With more sites than these a link each is no help.
const MOST_SITES_SHOWN: usize = 3;

/// Whether somebody has one of the roles at every site.
fn may_everywhere(me: &Me, roles: &[Role]) -> bool {
    me.roles.iter().any(|at| at.site.is_none() && roles.contains(&at.role))
}

/// What a recall is called.
pub fn title(texts: &Texts, recall: &Recall) -> String {
    let name = if recall.kind == RecallKind::Drill { "drill-title" } else { "recall-title" };
    texts.say_with(name, &[("recall", &recall.recall.to_string()), ("hazard", &recall.hazard)]).into_owned()
}

/// How it ended, in words.
fn ended(texts: &Texts, recall: &Recall) -> Option<String> {
    let ending = recall.ending.as_ref()?;
    let name = match ending.way {
        EndingWay::Closed => "ended-closed",
        EndingWay::Withdrawn => "ended-withdrawn",
    };
    let told = [("name", ending.name.as_str()), ("at", &clock(ending.at)), ("reason", &ending.reason)];
    Some(texts.say_with(name, &told).into_owned())
}

/// A time of the whole house: its sites may have different ones.
fn clock(at: DateTime<Utc>) -> String {
    at.format("%Y-%m-%d %H:%M UTC").to_string()
}
