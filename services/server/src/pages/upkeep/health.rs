//! How the installation is: the database and its room, who is to be told and is not, what printers have not printed.

use actix_web::http::StatusCode;
use actix_web::{HttpRequest, get, web};
use askama::Template;
use tubtrail_operations::installation::{Backend, Installation};
use tubtrail_operations::master_data::MOST;
use tubtrail_operations::print_queue::PrintState;
use tubtrail_operations::prints::{Print, PrintsAsked};
use tubtrail_operations::webhooks::{Webhook, stop_reason};
use tubtrail_operations::{OperationError, Request, Tubtrail};

use crate::house::{House, off_thread};
use crate::pages::figures::Wall;
use crate::pages::page::{Frame, Shown, Unable, render};
use crate::pages::texts::Texts;
use crate::pages::visitor::Visitor;

/// Prints that want somebody.
const WANTING: [PrintState; 3] = [PrintState::Waiting, PrintState::Refused, PrintState::Uncertain];
/// Most prints of each that are shown.
const MOST_PRINTS: u32 = 20;
/// Less room than this wants somebody, in bytes: a day's photos and backups, from experience, no source.
const LITTLE_ROOM: u64 = 1_000_000_000;

pub(super) fn configure(config: &mut web::ServiceConfig) {
    config.service(health_page).service(health_part);
}

#[derive(Template)]
#[template(path = "upkeep_health.html")]
struct Page {
    frame: Frame,
    health: Health,
}

/// The part that changes.
#[derive(Template)]
#[template(path = "upkeep_health_part.html")]
struct Health {
    texts: &'static Texts,
    installation: Installation,
    /// How large the database is and how much room is left, where that is known.
    size: Option<String>,
    room: Option<String>,
    webhooks: Vec<Hook>,
    prints: Vec<Print>,
}

/// A webhook that does not get through.
struct Hook {
    name: String,
    why: String,
}

/// How it is.
#[get("/upkeep/health")]
async fn health_page(house: House, visitor: Visitor, request: HttpRequest) -> Shown {
    let (asks, texts) = (visitor.asks(), visitor.texts);
    let found = off_thread(move || Ok((house.tubtrail.show_me(&asks)?, find(&house.tubtrail, &asks, texts)?)));
    let (me, health) = found.await.map_err(Unable::of(&request))?;
    Ok(render(StatusCode::OK, &Page { frame: Frame::of(&visitor, &request, me), health }))
}

/// The part that changes, by itself.
#[get("/upkeep/health/now")]
async fn health_part(house: House, visitor: Visitor, request: HttpRequest) -> Shown {
    let (asks, texts) = (visitor.asks(), visitor.texts);
    let found = off_thread(move || find(&house.tubtrail, &asks, texts));
    Ok(render(StatusCode::OK, &found.await.map_err(Unable::of(&request))?))
}

fn find(tubtrail: &Tubtrail, asks: &Request, texts: &'static Texts) -> Result<Health, OperationError> {
    let mut prints = Vec::new();
    for state in WANTING {
        let asked =
            PrintsAsked { site: None, printer: None, state: Some(state), after: String::new(), limit: MOST_PRINTS };
        prints.extend(tubtrail.list_prints(asks, &asked)?.items);
    }
    let webhooks = tubtrail.list_webhooks(asks, "", MOST)?.items;
    let installation = tubtrail.show_installation(asks)?;
    Ok(Health {
        size: installation.database_bytes.map(|bytes| size(texts, bytes)),
        room: installation.free_bytes.map(|bytes| size(texts, bytes)),
        installation,
        webhooks: webhooks.into_iter().filter_map(|hook| failing(texts, hook)).collect(),
        prints,
        texts,
    })
}

/// Why a webhook wants somebody, if it does.
fn failing(texts: &Texts, hook: Webhook) -> Option<Hook> {
    let why = match (hook.stopped_because, hook.next_attempt_at) {
        (Some(reason), _) => {
            let reason = texts.said(&stop_reason(&reason)).to_string();
            texts.say_of("health-hook-stopped", "reason", reason).into_owned()
        }
        (None, Some(next)) => {
            texts.say_of("health-hook-again", "time", Wall::of_the_world().day_and_time(next)).into_owned()
        }
        (None, None) => return None,
    };
    Some(Hook { name: hook.name, why })
}

impl Health {
    fn backend(&self) -> &'static str {
        match self.installation.backend {
            Backend::Sqlite => "SQLite",
            Backend::Postgresql => "PostgreSQL",
        }
    }

    /// How many entries the index had yet to follow when it was asked.
    fn behind(&self) -> i64 {
        (self.installation.journal_position - self.installation.index_position).max(0)
    }

    fn has_little_room(&self) -> bool {
        self.installation.free_bytes.is_some_and(|free| free < LITTLE_ROOM)
    }

    fn state(&self, print: &Print) -> String {
        let state = print.state.map_or("", PrintState::word);
        self.texts.say(&format!("print-{state}")).into_owned()
    }
}

/// A number of bytes, as disks are sold.
fn size(texts: &Texts, bytes: u64) -> String {
    let (unit, name) = if bytes < 1_000_000_000 { (1_000_000, "size-mb") } else { (1_000_000_000, "size-gb") };
    let (whole, tenths) = (bytes / unit, bytes % unit / (unit / 10));
    texts.say_of(name, "size", format!("{whole}{}{tenths}", texts.say("point"))).into_owned()
}
