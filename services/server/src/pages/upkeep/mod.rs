//! Looking after it: who may come in, what suppliers stated, the lists, the journal, and how the installation is.

mod devices;
mod health;
mod importing;
mod journal;
mod nouns;
mod people;
mod proteins;
mod sheets;
mod statements;

use actix_web::http::StatusCode;
use actix_web::{HttpRequest, get, web};
use askama::Template;
use tubtrail_operations::reach;
use tubtrail_operations::statement_gaps::{GapsAsked, StatementGaps};

use self::sheets::{SHEETS, Sheet};
use super::page::{Frame, Shown, Unable, render};
use super::rights::{may_anywhere, may_everywhere};
use super::visitor::Visitor;
use crate::house::{House, off_thread};

pub fn configure(config: &mut web::ServiceConfig) {
    config.service(upkeep_page);
    people::configure(config);
    devices::configure(config);
    statements::configure(config);
    journal::configure(config);
    health::configure(config);
    importing::configure(config);
    // The addresses with a list in them fit all of the above too.
    nouns::configure(config);
}

#[derive(Template)]
#[template(path = "upkeep.html")]
struct Upkeep {
    frame: Frame,
    gaps: StatementGaps,
    sheets: &'static [Sheet],
    /// What else somebody may look at: the ends of addresses.
    places: Vec<&'static str>,
}

/// Where looking after it begins.
#[get("/upkeep")]
async fn upkeep_page(house: House, visitor: Visitor, request: HttpRequest) -> Shown {
    let asks = visitor.asks();
    let found = off_thread(move || {
        let gaps = house.tubtrail.list_statement_gaps(&asks, &GapsAsked::default())?;
        Ok((house.tubtrail.show_me(&asks)?, gaps))
    });
    let (me, gaps) = found.await.map_err(Unable::of(&request))?;
    let places = [
        ("people", may_everywhere(&me, &reach::LIST_USERS)),
        ("devices", may_anywhere(&me, &reach::LIST_DEVICES)),
        ("statements", may_anywhere(&me, &reach::LIST_STATEMENTS)),
        ("import", may_everywhere(&me, &reach::IMPORT_MASTER_DATA)),
        ("journal", may_everywhere(&me, &reach::LIST_JOURNAL)),
        ("health", may_everywhere(&me, &reach::SHOW_INSTALLATION)),
    ];
    let page = Upkeep {
        places: places.into_iter().filter(|(_, may)| *may).map(|(place, _)| place).collect(),
        frame: Frame::of(&visitor, &request, me),
        gaps,
        sheets: &SHEETS,
    };
    Ok(render(StatusCode::OK, &page))
}

impl Upkeep {
    fn text(&self, place: &str) -> String {
        self.frame.texts.say(&format!("upkeep-{place}")).into_owned()
    }
}
