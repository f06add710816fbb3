//! The labels of some lots: how each would look, and all of them printed, on a printer of the house or by this browser.

use actix_web::http::header::CONTENT_TYPE;
use actix_web::{HttpRequest, HttpResponse, get, post, web};
use askama::Template;
use tubtrail_domain::say;
use tubtrail_domain::saying::Saying;
use tubtrail_operations::labels::{Dpi, LabelSize};
use tubtrail_operations::print_queue::PrintState;
use tubtrail_operations::printers::Printer;
use tubtrail_operations::prints::{NewPrint, Print};
use tubtrail_operations::sessions::Me;
use tubtrail_operations::sites::Site;
use tubtrail_operations::{OperationError, Request, Tubtrail, problems};

use super::fields::Fields;
use super::forms::{Form, same_name};
use super::page::{Frame, Shown, Unable, render, see};
use super::visitor::{Sent, Visitor};
use crate::house::{House, off_thread};
use crate::labels::{LabelFormat, draw, fits};

/// Most labels on one page: the tubs of a large batch.
const MOST: usize = 100;
/// Most printers to choose from.
const MOST_PRINTERS: u32 = 500;

pub fn configure(config: &mut web::ServiceConfig) {
    config.service(labels).service(print_labels).service(draw_lot).service(draw_printed);
}

/// The page that has the labels of these lots.
pub fn address<'a>(site: &str, lots: impl Iterator<Item = &'a str>) -> String {
    let query = form_urlencoded::Serializer::new(String::new()).extend_pairs(lots.map(|lot| ("lot", lot))).finish();
    format!("/labels/{site}?{query}")
}

#[derive(Template)]
#[template(path = "labels.html")]
struct Labels {
    frame: Frame,
    site: Site,
    form: Form,
    lots: Vec<OfLot>,
    prints: Vec<Printed>,
    printers: Vec<Printer>,
}

impl Labels {
    /// One of them is printed for a reason, or not at all.
    fn needs_reason(&self) -> bool {
        self.lots.iter().any(|lot| lot.refused.is_some())
    }
}

/// The label of a lot as it would be printed now.
struct OfLot {
    lot: String,
    /// What stands on it, for who does not see the picture; none where it is refused.
    says: Option<String>,
    /// Why there is none.
    refused: Option<Saying>,
    warnings: Vec<Saying>,
}

/// A label that was printed.
struct Printed {
    row: Print,
    says: String,
}

impl Printed {
    /// The end of the name of the text that says how far it came.
    fn word(&self) -> &'static str {
        match self.row.state {
            None => "here",
            Some(PrintState::Queued | PrintState::Sending | PrintState::Sent) => "on-its-way",
            Some(PrintState::Waiting) => "waiting",
            Some(PrintState::Printed) => "printed",
            Some(PrintState::Refused) => "refused",
            Some(PrintState::Uncertain) => "uncertain",
            Some(PrintState::Cancelled) => "cancelled",
        }
    }
}

struct Read {
    me: Me,
    site: Site,
    lots: Vec<OfLot>,
    prints: Vec<Printed>,
    printers: Vec<Printer>,
}

/// The labels of the lots in the address, or what became of the prints there.
#[get("/labels/{site}")]
async fn labels(house: House, visitor: Visitor, request: HttpRequest, site: web::Path<String>) -> Shown {
    let asked = Fields::parse(request.query_string().as_bytes());
    let form = Form::new(&visitor, asked);
    show(house, &visitor, &request, site.into_inner(), form).await
}

/// Prints them, one after the other.
#[post("/labels/{site}")]
async fn print_labels(house: House, sent: Sent, request: HttpRequest, site: web::Path<String>) -> Shown {
    let site = site.into_inner();
    let text = |name: &str| sent.fields.get(name).map(|text| text.trim().to_owned()).filter(|text| !text.is_empty());
    let new = NewPrint {
        printer: text("printer"),
        site: text("printer").is_none().then(|| site.clone()),
        size: text("printer").is_none().then_some(LabelSize::W100H50),
        copies: 1,
        override_reason: text("override_reason"),
        reprint_reason: text("reprint_reason"),
        ..NewPrint::default()
    };
    let lots: Vec<String> = sent.fields.all("lot").map(str::to_owned).take(MOST).collect();
    let commands: Vec<Request> = lots.iter().map(|lot| sent.commands_part(request.path(), lot)).collect();
    let tubtrail = house.clone();
    let done = off_thread(move || {
        let mut printed = Vec::new();
        for (lot, request) in lots.iter().zip(commands) {
            match tubtrail.tubtrail.print_label(&request, lot, new.clone(), fits()) {
                Ok(done) => printed.push((lot.clone(), done.answer.print.to_string())),
                Err(error) => return Ok((printed, Some(named(error, lot)))),
            }
        }
        Ok((printed, None))
    });
    let (printed, refused) = done.await.map_err(Unable::of(&request))?;
    let fields = without(&sent.fields, &printed);
    let Some(error) = refused else {
        let mut query = form_urlencoded::Serializer::new(String::new());
        query.extend_pairs(fields.all("print").map(|print| ("print", print)));
        return Ok(see(&format!("/labels/{site}?{}", query.finish())));
    };
    let place = same_name(&["printer", "override_reason", "reprint_reason"]);
    let form = Form::refused(&sent.visitor, fields, error.into(), place).map_err(Unable::of(&request))?;
    show(house, &sent.visitor, &request, site, form).await
}

/// The form without the lots whose labels are printed by now, and with those prints.
fn without(fields: &Fields, printed: &[(String, String)]) -> Fields {
    let mut left = Fields::default();
    for lot in fields.all("lot").filter(|lot| printed.iter().all(|(done, _)| done != lot)) {
        left.add("lot", lot);
    }
    let prints = printed.iter().map(|(_, print)| print.as_str());
    for print in fields.all("print").chain(prints) {
        left.add("print", print);
    }
    for name in ["printer", "override_reason", "reprint_reason"] {
        left.add(name, fields.get(name).unwrap_or(""));
    }
    left
}

/// The picture of the label of a lot.
#[get("/labels/{site}/lots/{lot}.svg")]
async fn draw_lot(house: House, visitor: Visitor, request: HttpRequest, path: web::Path<(String, String)>) -> Shown {
    let asks = visitor.asks();
    let drawn = off_thread(move || {
        let label = house.tubtrail.show_label(&asks, &path.1, None)?;
        draw(&label, LabelSize::W100H50, Dpi::default(), LabelFormat::Svg)
    });
    Ok(picture(drawn.await.map_err(Unable::of(&request))?))
}

/// The picture of a label as it was printed.
#[get("/labels/{site}/prints/{print}.svg")]
async fn draw_printed(house: House, visitor: Visitor, request: HttpRequest, path: web::Path<(String, i64)>) -> Shown {
    let asks = visitor.asks();
    let drawn = off_thread(move || {
        let print = house.tubtrail.show_print(&asks, &tubtrail_operations::reach::DRAW_PRINT_SVG, path.1)?;
        draw(&print.label, print.size, print.dpi, LabelFormat::Svg)
    });
    Ok(picture(drawn.await.map_err(Unable::of(&request))?))
}

fn picture(drawn: Vec<u8>) -> HttpResponse {
    HttpResponse::Ok().insert_header((CONTENT_TYPE, LabelFormat::Svg.media_type())).body(drawn)
}

/// Says which lot it is about.
fn named(mut error: OperationError, lot: &str) -> OperationError {
    if !error.detail.to_string().contains(lot) {
        error.detail = say!("lot {lot}: {detail}", lot, detail = error.detail);
    }
    error
}

async fn show(house: House, visitor: &Visitor, request: &HttpRequest, site: String, form: Form) -> Shown {
    let asks = visitor.asks();
    let fields = form.fields().clone();
    let read = off_thread(move || read(&house.tubtrail, &asks, &site, &fields));
    let Read { me, site, lots, prints, printers } = read.await.map_err(Unable::of(request))?;
    let page = Labels { frame: Frame::of(visitor, request, me), site, form, lots, prints, printers };
    Ok(render(page.form.status(), &page))
}

fn read(tubtrail: &Tubtrail, asks: &Request, site: &str, fields: &Fields) -> Result<Read, OperationError> {
    let site: Site = tubtrail.get(asks, site)?;
    let mut printers = tubtrail.list::<Printer>(asks, "", MOST_PRINTERS)?.items;
    printers.retain(|printer| printer.active && printer.site == site.code);
    let lots = fields.all("lot").take(MOST).map(|lot| of_lot(tubtrail, asks, lot)).collect::<Result<_, _>>()?;
    let prints = fields.all("print").filter_map(|print| print.parse().ok()).take(MOST);
    let prints = prints.map(|print| printed(tubtrail, asks, print)).collect::<Result<_, _>>()?;
    Ok(Read { me: tubtrail.show_me(asks)?, site, lots, prints, printers })
}

/// A label may be refused as things stand; that is shown in its place, and does not keep the others.
fn of_lot(tubtrail: &Tubtrail, asks: &Request, lot: &str) -> Result<OfLot, OperationError> {
    let nothing = OfLot { lot: lot.to_owned(), says: None, refused: None, warnings: Vec::new() };
    let drawn = tubtrail.show_label(asks, lot, None).and_then(|label| {
        draw(&label, LabelSize::W100H50, Dpi::default(), LabelFormat::Svg)?;
        Ok(label)
    });
    match drawn {
        Ok(label) => {
            Ok(OfLot { says: Some(format!("{}, {}", label.name, label.lot)), warnings: label.warnings, ..nothing })
        }
        Err(error) if error.problem == &problems::INTERNAL || error.problem == &problems::UNAVAILABLE => Err(error),
        Err(error) => Ok(OfLot { refused: Some(error.detail), ..nothing }),
    }
}

fn printed(tubtrail: &Tubtrail, asks: &Request, print: i64) -> Result<Printed, OperationError> {
    let row = tubtrail.get_print(asks, print)?;
    Ok(Printed { says: format!("{}, {}", row.label.name, row.label.lot), row })
}
