//! The trace of a lot: in words first, then as a picture, then lot by lot; and to take along.

use actix_web::http::StatusCode;
use actix_web::{HttpRequest, get, post, web};
use askama::Template;
use tubtrail_operations::known::Origin;
use tubtrail_operations::lots::{Lot, LotKind};
use tubtrail_operations::reach::Role;
use tubtrail_operations::trace::{CAUTION, Direction};
use tubtrail_operations::{OperationError, Request, Tubtrail};

use crate::house::{House, off_thread};
use crate::pages::addresses::Address;
use crate::pages::fields::Fields;
use crate::pages::figures::{in_grams, micrograms, share};
use crate::pages::names::Names;
use crate::pages::page::{Frame, Shown, Unable, render, see};
use crate::pages::pictures::{Drawn, Gathered, gather};
use crate::pages::texts::{Said, Texts};
use crate::pages::visitor::{Sent, Visitor};
use crate::pages::written;
use crate::reports;

pub fn configure(config: &mut web::ServiceConfig) {
    config.service(lot_trace).service(lot_trace_picture).service(lot_trace_file).service(lot_trace_make);
}

#[derive(Template)]
#[template(path = "tracing_lot.html")]
struct Traced {
    frame: Frame,
    lot: Lot,
    from: String,
    last_day: Option<String>,
    way: &'static str,
    words: Vec<String>,
    places: Vec<Place>,
    caution: Said,
    drawn: Drawn,
    part: String,
    begin: Option<String>,
}

/// What lies and lay at a site, in words.
struct Place {
    site: String,
    states: Vec<String>,
}

/// What is asked of a lot's trace.
struct Question {
    lot: String,
    direction: Option<Direction>,
    address: Address,
}

/// A lot's trace.
#[get("/tracing/lots/{lot}")]
async fn lot_trace(house: House, visitor: Visitor, request: HttpRequest, lot: web::Path<String>) -> Shown {
    let seat = house.traces.take().map_err(Unable::of(&request))?;
    let question = Question::of(&request, &lot);
    let asks = visitor.asks();
    let found = off_thread(move || {
        let me = house.tubtrail.show_me(&asks)?;
        let lot = house.tubtrail.get_lot(&asks, &question.lot)?;
        let direction = question.direction.unwrap_or_else(|| usual(&lot));
        let traced = read(&house.tubtrail, &asks, &question.lot, direction)?;
        drop(seat);
        let partners = Names::of_partners(&house.tubtrail, &asks)?;
        Ok((me, lot, partners, direction, traced, question.address))
    });
    let (me, lot, partners, direction, traced, address) = found.await.map_err(Unable::of(&request))?;
    let texts = visitor.texts;
    let may_begin = me.roles.iter().any(|at| matches!(at.role, Role::Owner | Role::Kitchen) && at.site.is_none());
    let way = way(direction);
    let page = Traced {
        words: words(texts, &traced, direction),
        places: places(texts, &traced),
        caution: visitor.texts.said(&CAUTION),
        drawn: traced.draw(texts, &address),
        part: format!("/tracing/lots/{}/picture", lot.lot),
        begin: may_begin.then(|| format!("/recalls/begin?by=lots&lots={}", lot.lot)),
        from: match &lot.came_from {
            Origin::Delivery { supplier, supplier_lot_code, .. } => {
                format!("{}, {supplier_lot_code}", partners.of(supplier))
            }
            Origin::Batch { name, started_at, .. } => format!("{name}, {}", started_at.format("%Y-%m-%d")),
        },
        last_day: lot.expiry.as_ref().map(|expiry| {
            let name = format!("last-day-{}", expiry.kind.word());
            texts.say_of(&name, "day", expiry.on.to_string()).into_owned()
        }),
        frame: Frame::of(&visitor, &request, me),
        lot,
        way,
    };
    Ok(render(StatusCode::OK, &page))
}

/// Its picture, by itself.
#[get("/tracing/lots/{lot}/picture")]
async fn lot_trace_picture(house: House, visitor: Visitor, request: HttpRequest, lot: web::Path<String>) -> Shown {
    let seat = house.traces.take().map_err(Unable::of(&request))?;
    let question = Question::of(&request, &lot);
    let asks = visitor.asks();
    let found = off_thread(move || {
        let direction = match question.direction {
            Some(direction) => direction,
            None => usual(&house.tubtrail.get_lot(&asks, &question.lot)?),
        };
        let traced = read(&house.tubtrail, &asks, &question.lot, direction)?;
        drop(seat);
        Ok((traced, question.address))
    });
    let (traced, address) = found.await.map_err(Unable::of(&request))?;
    Ok(render(StatusCode::OK, &traced.draw(visitor.texts, &address)))
}

/// The whole trace as a file that begins at once: comma-separated, plain text or JSON.
#[get("/tracing/lots/{lot}/report/{way}/{format}")]
async fn lot_trace_file(
    house: House,
    visitor: Visitor,
    request: HttpRequest,
    path: web::Path<(String, String, String)>,
) -> Shown {
    let (lot, way, format) = path.into_inner();
    let format = written::streamed(&format).map_err(Unable::of(&request))?;
    let (asks, seat) = (visitor.asks(), house.traces.take().map_err(Unable::of(&request))?);
    let at = house.clone();
    let source = off_thread(move || source(&at.tubtrail, &asks, &lot, &way)).await.map_err(Unable::of(&request))?;
    reports::send(house, seat, format, source).await.map_err(Unable::of(&request))
}

/// Has a paper or a spreadsheet made of it.
#[post("/tracing/lots/{lot}/report/{way}/{format}")]
async fn lot_trace_make(
    house: House,
    sent: Sent,
    request: HttpRequest,
    path: web::Path<(String, String, String)>,
) -> Shown {
    let (lot, way, format) = path.into_inner();
    let asks = sent.visitor.asks();
    let back = format!("/tracing/lots/{lot}?way={way}");
    let at = house.clone();
    let source = off_thread(move || source(&at.tubtrail, &asks, &lot, &way)).await.map_err(Unable::of(&request))?;
    let actor = sent.visitor.asks().actor.name;
    let job = written::begin(&house, &actor, &format, source, &back).map_err(Unable::of(&request))?;
    Ok(see(&written::soon(&house, &actor, &job).await))
}

type Source = reports::Source<tubtrail_operations::trace::TraceStream, tubtrail_operations::trace::TracedLot>;

fn source(tubtrail: &Tubtrail, asks: &Request, lot: &str, way: &str) -> Result<Source, OperationError> {
    let direction = if way == "backward" { Direction::Backward } else { Direction::Forward };
    let trace = tubtrail.stream_lot_trace(asks, lot, direction)?;
    reports::trace(trace, &format!("lot-{lot}"))
}

fn read(tubtrail: &Tubtrail, asks: &Request, lot: &str, direction: Direction) -> Result<Gathered, OperationError> {
    let stream = tubtrail.stream_lot_trace(asks, lot, direction)?;
    gather(tubtrail, asks, stream)
}

impl Question {
    fn of(request: &HttpRequest, lot: &str) -> Self {
        let asked = Fields::parse(request.query_string().as_bytes());
        let direction = match asked.get("way") {
            Some("forward") => Some(Direction::Forward),
            Some("backward") => Some(Direction::Backward),
            _ => None,
        };
        let address = Address::of(&format!("/tracing/lots/{lot}"), &asked, &["way", "open", "box"]);
        Self { lot: lot.to_owned(), direction, address }
    }
}

/// Of what came from outside one wants to know where it went, of a tub what is in it.
fn usual(lot: &Lot) -> Direction {
    if lot.kind == LotKind::Tub { Direction::Backward } else { Direction::Forward }
}

const fn way(direction: Direction) -> &'static str {
    match direction {
        Direction::Forward => "forward",
        Direction::Backward => "backward",
    }
}

fn words(texts: &Texts, traced: &Gathered, direction: Direction) -> Vec<String> {
    let totals = &traced.totals;
    let count = |count: usize| count.to_string();
    let mut words = Vec::new();
    let counts = [
        ("lots", count(totals.lots.saturating_sub(1))),
        ("tubs", count(totals.tubs)),
        ("received", count(totals.received)),
    ];
    let counts: Vec<(&str, &str)> = counts.iter().map(|(name, count)| (*name, count.as_str())).collect();
    words.push(texts.say_with(&format!("trace-{}", way(direction)), &counts).into_owned());
    if let Some(balance) = &traced.head.balance {
        let grams = |grams: f64| share(texts, micrograms(grams));
        let told = [
            ("seed", grams(balance.seed_grams)),
            ("held", grams(balance.held_grams)),
            ("batches", grams(balance.in_open_batches_grams)),
            ("lost", grams(balance.lost_grams)),
        ];
        let told: Vec<(&str, &str)> = told.iter().map(|(name, grams)| (*name, grams.as_str())).collect();
        words.push(texts.say_with("trace-balance", &told).into_owned());
    }
    let gone: Vec<String> = ["served", "consigned", "discarded", "count_difference"]
        .into_iter()
        .filter(|state| totals.grams_in(state).mg() != 0)
        .map(|state| format!("{} {}", in_grams(texts, totals.grams_in(state)), texts.say(&format!("state-{state}"))))
        .collect();
    if !gone.is_empty() {
        words.push(texts.say_of("trace-gone", "what", gone.join(", ")).into_owned());
    }
    for (count, name) in [(totals.held, "trace-held"), (totals.recalled, "trace-recalled")] {
        if count > 0 {
            words.push(texts.say_of(name, "count", count.to_string()).into_owned());
        }
    }
    words
}

fn places(texts: &Texts, traced: &Gathered) -> Vec<Place> {
    let mut places: Vec<Place> = Vec::new();
    for place in traced.totals.places() {
        let state = texts.say(&format!("state-{}", place.state)).into_owned();
        let (lots, grams) = (place.lots.to_string(), in_grams(texts, place.grams));
        let said = texts.say_with("place-says", &[("lots", &lots), ("grams", &grams), ("state", &state)]).into_owned();
        let site = traced.site(&place.site).to_owned();
        match places.iter_mut().find(|known| known.site == site) {
            Some(known) => known.states.push(said),
            None => places.push(Place { site, states: vec![said] }),
        }
    }
    places
}
