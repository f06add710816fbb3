//! Counting by scanning: whoever counts says what is there before the page says what the book has.

use actix_web::http::StatusCode;
use actix_web::{HttpRequest, get, post, web};
use askama::Template;
use chrono::{DateTime, Utc};
use tubtrail_operations::counting::{CountedLine, Counting, CountingAsked};
use tubtrail_operations::counts::{NewCount, NewCountLine};
use tubtrail_operations::discards::Standpoint;
use tubtrail_operations::lots::Lot;
use tubtrail_operations::quantities::Amount;
use tubtrail_operations::sites::Site;
use tubtrail_operations::stock::{StockAsked, StockRow};
use tubtrail_operations::{Grams, OperationError, QuantityEntered, Request, Tubtrail, problems};

use crate::house::{House, off_thread};
use crate::pages::fields::Fields;
use crate::pages::figures::{Wall, number, typed_grams, weight};
use crate::pages::forms::Form;
use crate::pages::page::{Frame, Shown, Unable, render, see};
use crate::pages::scanning::lot_in_hand;
use crate::pages::texts::Texts;
use crate::pages::visitor::{Sent, Visitor};

/// In what one counts here.
const UNITS: [&str; 5] = ["g", "kg", "l", "ml", "piece"];

pub(super) fn configure(config: &mut web::ServiceConfig) {
    config.service(counting_page).service(count_lot).service(count_left).service(count_rest);
}

#[derive(Template)]
#[template(path = "counting.html")]
struct Page {
    frame: Frame,
    site: Site,
    scan: Form,
    /// The lot in hand.
    hand: Option<Hand>,
    /// What was counted just now.
    last: Option<CountedLine>,
    progress: Progress,
    rest: Form,
}

/// A lot that is being counted.
struct Hand {
    lot: String,
    name: String,
    /// It may stand in the case.
    is_tub: bool,
    form: Form,
    /// What the book says; told only once somebody has said what is there.
    book: Option<String>,
    /// It was counted before, and that is put right.
    was: Option<CountedLine>,
}

/// How far it is: the part that changes.
#[derive(Template)]
#[template(path = "counting_progress.html")]
struct Progress {
    texts: &'static Texts,
    wall: Wall,
    counting: Counting,
}

/// What is read of the house.
struct Found {
    site: Site,
    counting: Counting,
    lot: Option<Lot>,
    book: Option<Grams>,
}

/// What is being counted, what was and what was not.
#[get("/stock/{site}/count")]
async fn counting_page(house: House, visitor: Visitor, request: HttpRequest, site: web::Path<String>) -> Shown {
    let fields = Fields::parse(request.query_string().as_bytes());
    let site = site.into_inner();
    let mut scan = Form::new(&visitor, Fields::default());
    if let Some(text) = fields.get("scan").map(str::to_owned) {
        let (inside, asks, at) = (house.clone(), visitor.asks(), site.clone());
        match off_thread(move || lot_in_hand(&inside.tubtrail, &asks, &at, &text)).await {
            Ok(lot) => return Ok(see(&format!("/stock/{site}/count?lot={lot}"))),
            Err(problem) => {
                let typed = fields.clone();
                scan =
                    Form::refused(&visitor, typed, problem, |_| Some("scan".into())).map_err(Unable::of(&request))?;
            }
        }
    }
    let hand = Form::new(&visitor, fields);
    let rest = Form::new(&visitor, Fields::default());
    show(house, &visitor, &request, site, Forms { scan, hand, rest }).await
}

/// How far it is, by itself.
#[get("/stock/{site}/count/left")]
async fn count_left(house: House, visitor: Visitor, request: HttpRequest, site: web::Path<String>) -> Shown {
    let asks = visitor.asks();
    let found = off_thread(move || {
        let counting = house.tubtrail.show_counting(&asks, &site, &CountingAsked::default())?;
        Ok((house.tubtrail.get::<Site>(&asks, &site)?, counting))
    });
    let (site, counting) = found.await.map_err(Unable::of(&request))?;
    Ok(render(StatusCode::OK, &Progress { texts: visitor.texts, wall: Wall::of(&site), counting }))
}

/// Writes down what was found of one lot.
#[post("/stock/{site}/count")]
async fn count_lot(house: House, sent: Sent, request: HttpRequest, site: web::Path<String>) -> Shown {
    let site = site.into_inner();
    let commands = sent.commands(request.path());
    let Sent { visitor, fields } = sent;
    let new = count(&site, vec![line(visitor.texts, &fields)]);
    let inside = house.clone();
    match off_thread(move || inside.tubtrail.count_site(&commands, new)).await {
        Ok(done) => Ok(see(&format!("/stock/{site}/count?counted={}", done.answer.id))),
        Err(problem) => {
            let place = |field: &str| {
                let name = field.strip_prefix("lines[0].")?;
                Some(if name.starts_with("found") { "found".into() } else { name.to_owned() })
            };
            let hand = Form::refused(&visitor, fields, problem, place).map_err(Unable::of(&request))?;
            let [scan, rest] = [(), ()].map(|()| Form::new(&visitor, Fields::default()));
            show(house, &visitor, &request, site, Forms { scan, hand, rest }).await
        }
    }
}

/// Writes down that nothing else is there.
#[post("/stock/{site}/count/rest")]
async fn count_rest(house: House, sent: Sent, request: HttpRequest, site: web::Path<String>) -> Shown {
    let site = site.into_inner();
    let commands = sent.commands(request.path());
    let Sent { visitor, fields } = sent;
    let (inside, asks, at, given) = (house.clone(), visitor.asks(), site.clone(), fields.clone());
    let done = off_thread(move || {
        let left = inside.tubtrail.show_counting(&asks, &at, &CountingAsked::default())?.left;
        let lines = left.into_iter().map(nothing_of).collect();
        let reason = given.get("rest-reason").map(str::to_owned);
        inside.tubtrail.count_site(&commands, NewCount { reason, ..count(&at, lines) })
    });
    match done.await {
        Ok(done) => Ok(see(&format!("/stock/{site}/count?counted={}", done.answer.id))),
        Err(problem) => {
            let place = |_: &str| Some("rest-reason".to_owned());
            let rest = Form::refused(&visitor, fields, problem, place).map_err(Unable::of(&request))?;
            let [scan, hand] = [(), ()].map(|()| Form::new(&visitor, Fields::default()));
            show(house, &visitor, &request, site, Forms { scan, hand, rest }).await
        }
    }
}

fn count(site: &str, lines: Vec<NewCountLine>) -> NewCount {
    NewCount { site: site.to_owned(), counted_at: None, lines, complete: false, reason: None, note: None }
}

fn line(texts: &Texts, fields: &Fields) -> NewCountLine {
    let text = |name: &str| fields.get(name).map(|text| text.trim().to_owned());
    NewCountLine {
        lot: text("lot").unwrap_or_default(),
        state: fields.get("state").and_then(Standpoint::from_word),
        found: QuantityEntered {
            amount: Amount(fields.get("found").map(|typed| number(texts, typed)).unwrap_or_default()),
            unit: text("unit").unwrap_or_else(|| UNITS[0].to_owned()),
        },
        reason: text("reason"),
    }
}

fn nothing_of(row: StockRow) -> NewCountLine {
    let state = if row.state == "open" { Standpoint::Open } else { Standpoint::Available };
    let found = QuantityEntered { amount: Amount("0".to_owned()), unit: UNITS[0].to_owned() };
    NewCountLine { lot: row.lot, state: Some(state), found, reason: None }
}

/// The forms of the page.
struct Forms {
    scan: Form,
    hand: Form,
    rest: Form,
}

async fn show(house: House, visitor: &Visitor, request: &HttpRequest, site: String, forms: Forms) -> Shown {
    let asks = visitor.asks();
    let fields = forms.hand.fields().clone();
    let found = off_thread(move || Ok((house.tubtrail.show_me(&asks)?, find(&house.tubtrail, &asks, &site, &fields)?)));
    let (me, found) = found.await.map_err(Unable::of(request))?;
    let Forms { scan, hand, rest } = forms;
    let numbered = |name: &str| hand.fields().get(name).and_then(|number| number.parse::<i64>().ok());
    let (counted, mistyped) = (numbered("counted"), numbered("mistyped"));
    let in_hand = hand.fields().get("lot").map(str::to_owned);
    let of_count = |id: i64| found.counting.counted.iter().find(|line| line.count == id).cloned();
    let was = mistyped.and_then(of_count).filter(|line| Some(&line.line.lot) == in_hand.as_ref());
    let last = counted.and_then(of_count);
    let status = [&scan, &hand, &rest].into_iter().map(Form::status).find(|status| *status != StatusCode::OK);
    let hand = in_hand.map(|lot| Hand {
        name: found.lot.as_ref().map_or_else(String::new, |lot| lot.name.clone()),
        is_tub: found.lot.as_ref().is_none_or(|lot| lot.kind.word() == "tub"),
        // What the book says must not lead the hand that counts.
        book: found.book.filter(|_| hand.faults("reason").is_any()).map(|grams| weight(visitor.texts, grams)),
        form: if was.is_some() { right(visitor, hand, was.as_ref()) } else { hand },
        was,
        lot,
    });
    let page = Page {
        progress: Progress { texts: visitor.texts, wall: Wall::of(&found.site), counting: found.counting },
        site: found.site,
        frame: Frame::of(visitor, request, me),
        scan,
        hand,
        last,
        rest,
    };
    Ok(render(status.unwrap_or(StatusCode::OK), &page))
}

/// The form that puts a count right begins with the reason.
fn right(visitor: &Visitor, hand: Form, was: Option<&CountedLine>) -> Form {
    let Some(was) = was.filter(|_| hand.fields().get("reason").is_none()) else { return hand };
    let typed = typed_grams(was.line.found_grams);
    let reason = visitor.texts.say_of("counting-mistyped", "grams", typed).into_owned();
    let fields = hand.fields().iter().map(|(name, value)| (name.to_owned(), value.to_owned()));
    Form::new(visitor, fields.chain([("reason".to_owned(), reason)]).collect())
}

fn find(tubtrail: &Tubtrail, asks: &Request, site: &str, fields: &Fields) -> Result<Found, OperationError> {
    let site: Site = tubtrail.get(asks, site)?;
    let counting = tubtrail.show_counting(asks, &site.code, &CountingAsked::default())?;
    let Some(number) = fields.get("lot") else { return Ok(Found { site, counting, lot: None, book: None }) };
    // Whoever has it in hand may count it, even if it was never here by the book.
    let lot = match tubtrail.get_lot(asks, number) {
        Err(error) if error.problem == &problems::NOT_FOUND => None,
        found => Some(found?),
    };
    let book = match &lot {
        Some(lot) => Some(book(tubtrail, asks, &site.code, &lot.lot, fields.get("state"))?),
        None => None,
    };
    Ok(Found { site, counting, lot, book })
}

/// What the book has of a lot here, in the state that was said or in both.
fn book(
    tubtrail: &Tubtrail,
    asks: &Request,
    site: &str,
    lot: &str,
    state: Option<&str>,
) -> Result<Grams, OperationError> {
    let asked = StockAsked { site: Some(site.into()), lot: Some(lot.into()), limit: 10, ..StockAsked::default() };
    let rows = tubtrail.show_stock(asks, &asked)?.items;
    let is_meant = |row: &&StockRow| row.state != "in_transit" && state.is_none_or(|state| row.state == state);
    Ok(Grams::from_mg(rows.iter().filter(is_meant).map(|row| row.grams.mg()).sum()))
}

impl Progress {
    fn told(&self, line: &CountedLine) -> String {
        told(self.texts, line)
    }

    fn day_and_time(&self, at: &DateTime<Utc>) -> String {
        self.wall.day_and_time(*at)
    }
}

impl Page {
    fn told(&self, line: &CountedLine) -> String {
        self.progress.told(line)
    }
}

/// A line of a count, in words: as in the book, or how far from it and why.
fn told(texts: &Texts, line: &CountedLine) -> String {
    let difference = line.line.difference_grams;
    let found = weight(texts, line.line.found_grams);
    if difference.mg() == 0 {
        return texts.say_of("counting-agrees", "found", found).into_owned();
    }
    let name = if difference.mg() > 0 { "counting-more" } else { "counting-less" };
    let by = weight(texts, Grams::from_mg(difference.mg().abs()));
    let reason = line.line.reason.as_deref().unwrap_or("");
    texts.say_with(name, &[("found", &found), ("by", &by), ("reason", reason)]).into_owned()
}
