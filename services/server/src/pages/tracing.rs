//! Where it went: begin from what somebody has in hand, and see the trace of it.

mod lot;

use actix_web::{HttpRequest, get, web};
use askama::Template;
use chrono::NaiveDate;
use tubtrail_domain::say;
use tubtrail_operations::known::Origin;
use tubtrail_operations::lots::{Lot, LotKind, LotSearch};
use tubtrail_operations::partners::Partner;
use tubtrail_operations::reach::Role;
use tubtrail_operations::scans::{NewScan, Scan};
use tubtrail_operations::sessions::Me;
use tubtrail_operations::{OperationError, Request, Tubtrail, problems};

use super::fields::Fields;
use super::figures::in_grams;
use super::forms::{Form, same_name};
use super::names::Names;
use super::page::{Frame, Shown, Unable, render, see};
use super::places;
use super::texts::Texts;
use super::visitor::Visitor;
use crate::house::{House, off_thread};
use crate::problem::Problem;

/// Who may trace.
pub const TRACERS: [Role; 4] = [Role::Owner, Role::Kitchen, Role::Shop, Role::Inspector];
/// Most lots shown of what was found.
const MOST_FOUND: u32 = 200;
/// Most suppliers to choose from.
const MOST_SUPPLIERS: u32 = 500;

pub fn configure(config: &mut web::ServiceConfig) {
    config.service(find_lot);
    lot::configure(config);
}

#[derive(Template)]
#[template(path = "tracing.html")]
struct Finding {
    frame: Frame,
    form: Form,
    suppliers: Vec<Partner>,
    /// What was found; none before anything was asked.
    found: Option<Vec<FoundLot>>,
    has_more: bool,
    /// Where all of what was found would be traced together, as a recall's beginning.
    together: Option<String>,
}

struct FoundLot {
    lot: String,
    name: String,
    from: String,
    day: String,
    grams: String,
    /// The name of the text that says why it may not be used.
    halt: Option<&'static str>,
    is_made: bool,
}

/// What came of looking.
enum Found {
    /// This lot.
    One(String),
    /// Some to choose from.
    Lots { lots: Vec<Lot>, has_more: bool },
    /// Nothing was asked yet.
    Nothing,
}

/// What somebody has in hand, and which lots that may be.
#[get("/tracing")]
async fn find_lot(house: House, visitor: Visitor, request: HttpRequest) -> Shown {
    let asked = Fields::parse(request.query_string().as_bytes());
    let (asks, wanted) = (visitor.asks(), asked.clone());
    let work = off_thread(move || {
        let me = house.tubtrail.show_me(&asks)?;
        let mut suppliers = house.tubtrail.list::<Partner>(&asks, "", MOST_SUPPLIERS)?.items;
        let names: Names = suppliers.iter().map(|one| (one.code.clone(), one.name.clone())).collect();
        suppliers.retain(|partner| partner.supplies);
        Ok((me, suppliers, names, look(&house.tubtrail, &asks, &wanted)))
    });
    let (me, suppliers, names, found) = work.await.map_err(Unable::of(&request))?;
    let (form, found) = match found.map_err(Problem::from) {
        Ok(Found::One(lot)) => return Ok(see(&format!("/tracing/lots/{lot}"))),
        Ok(found) => (Form::new(&visitor, asked.clone()), found),
        Err(problem) => {
            let place = same_name(&["hand", "supplier", "from", "until"]);
            let form = Form::refused(&visitor, asked.clone(), problem, place).map_err(Unable::of(&request))?;
            (form, Found::Nothing)
        }
    };
    let together = matches!(found, Found::Lots { .. }).then(|| together(&asked, &me)).flatten();
    let (lots, has_more) = match found {
        Found::Lots { lots, has_more } => (Some(lots), has_more),
        _ => (None, false),
    };
    let found = lots.map(|lots| lots.into_iter().map(|lot| FoundLot::of(visitor.texts, lot, &names)).collect());
    let status = form.status();
    let page = Finding { frame: Frame::of(&visitor, &request, me), form, suppliers, found, has_more, together };
    Ok(render(status, &page))
}

/// Where what one supplier brought on some days can be seen as a whole, for those who may ask that.
fn together(asked: &Fields, me: &Me) -> Option<String> {
    let may = me.roles.iter().any(|at| matches!(at.role, Role::Owner | Role::Kitchen | Role::Inspector));
    let (supplier, from, until) = (asked.get("supplier")?, asked.get("from")?, asked.get("until")?);
    let mut query = form_urlencoded::Serializer::new(String::new());
    query.append_pair("by", "supplier_days").append_pair("supplier", supplier);
    query.append_pair("from_day", from).append_pair("until_day", until);
    may.then(|| format!("/recalls/begin?{}", query.finish()))
}

fn look(tubtrail: &Tubtrail, asks: &Request, asked: &Fields) -> Result<Found, OperationError> {
    if let Some(text) = asked.get("hand") {
        return look_for(tubtrail, asks, text.trim());
    }
    let Some(supplier) = asked.get("supplier") else { return Ok(Found::Nothing) };
    let search = LotSearch {
        supplier: Some(supplier.to_owned()),
        kind: Some(LotKind::Received),
        day_from: day("from", asked)?,
        day_to: day("until", asked)?,
        ..LotSearch::default()
    };
    let page = tubtrail.list_lots(asks, &search, "", MOST_FOUND)?;
    Ok(Found::Lots { has_more: page.next.is_some(), lots: page.items })
}

/// A day that was typed or chosen.
pub fn day(name: &str, asked: &Fields) -> Result<Option<NaiveDate>, OperationError> {
    let wrong = |_| OperationError::new(&problems::INVALID, say!("write a day as 2026-11-25")).at(name);
    asked.get(name).map(|text| text.parse().map_err(wrong)).transpose()
}

/// What was scanned or typed: a lot of ours, else a supplier's code, whole, else how one begins.
fn look_for(tubtrail: &Tubtrail, asks: &Request, text: &str) -> Result<Found, OperationError> {
    let site = places::sites(tubtrail, asks, &TRACERS)?.into_iter().next();
    let scanned = match site {
        Some(site) => {
            let new = NewScan { site: site.code, text: text.to_owned(), symbology: None, also: Vec::new() };
            tubtrail.scan(asks, &new)
        }
        None => tubtrail.get_lot(asks, text).map(|lot| Scan::Lot { lot: Box::new(lot) }),
    };
    let (code, supplier) = match &scanned {
        Ok(Scan::Lot { lot }) => return Ok(Found::One(lot.lot.clone())),
        Ok(Scan::DeliveryLine { supplier, line, .. }) => {
            (line.supplier_lot_code.clone().unwrap_or_default(), supplier.clone())
        }
        _ => (text.to_owned(), None),
    };
    for begins_so in [false, true] {
        let whole = (!begins_so).then(|| code.clone());
        let search = LotSearch {
            supplier_lot_code: whole,
            supplier_lot_code_prefix: begins_so.then(|| code.clone()),
            supplier: supplier.clone(),
            ..LotSearch::default()
        };
        let page = tubtrail.list_lots(asks, &search, "", MOST_FOUND).map_err(|error| error.at("hand"))?;
        match page.items.as_slice() {
            [] => {}
            [lot] => return Ok(Found::One(lot.lot.clone())),
            _ => return Ok(Found::Lots { has_more: page.next.is_some(), lots: page.items }),
        }
    }
    let detail = match scanned {
        Ok(Scan::Wrong { reason, .. }) => say!("no lot has this number or code ({reason})", reason),
        Err(error) => return Err(error.at("hand")),
        Ok(_) => say!("no lot that you can see has this number or code"),
    };
    Err(OperationError::new(&problems::NOTHING_FITS, detail).at("hand"))
}

impl FoundLot {
    fn of(texts: &Texts, lot: Lot, partners: &Names) -> Self {
        let from = match lot.came_from {
            Origin::Delivery { supplier, supplier_lot_code, .. } => {
                format!("{}, {supplier_lot_code}", partners.of(&supplier))
            }
            Origin::Batch { name, .. } => name,
        };
        Self {
            halt: if lot.recalls.is_empty() { lot.on_hold.as_ref().map(|_| "key-held") } else { Some("key-recalled") },
            is_made: lot.kind != LotKind::Received,
            day: lot.came_to_be_at.format("%Y-%m-%d").to_string(),
            grams: in_grams(texts, lot.grams),
            lot: lot.lot,
            name: lot.name,
            from,
        }
    }
}
