//! Sending: tubs and other lots are scanned together, a site is chosen, and they leave.

use actix_web::{HttpRequest, get, post, web};
use askama::Template;
use tubtrail_operations::quantities::Amount;
use tubtrail_operations::sites::Site;
use tubtrail_operations::stock::{StockAsked, StockRow};
use tubtrail_operations::transfers::{NewTransfer, NewTransferLine};
use tubtrail_operations::{OperationError, QuantityEntered, Request, Tubtrail};

use crate::house::{House, off_thread};
use crate::pages::fields::Fields;
use crate::pages::figures::{number, weight};
use crate::pages::forms::{Form, see_said};
use crate::pages::page::{Frame, Shown, Unable, render, see};
use crate::pages::scanning::lot_scanned;
use crate::pages::texts::Texts;
use crate::pages::visitor::{MARK, ONCE, Sent, Visitor};

/// Most sites to choose from.
const MOST_SITES: u32 = 500;

pub(super) fn configure(config: &mut web::ServiceConfig) {
    config.service(sending_page).service(send);
}

#[derive(Template)]
#[template(path = "sending.html")]
struct Page {
    frame: Frame,
    site: Site,
    others: Vec<Site>,
    lots: Vec<Going>,
    form: Form,
}

/// A lot that is to go.
struct Going {
    lot: String,
    /// What is on the shelf of it; nothing, where the book has none there.
    row: Option<StockRow>,
}

impl Going {
    fn name(&self) -> &str {
        self.row.as_ref().map_or("", |row| row.name.as_str())
    }

    fn weight(&self, texts: &Texts) -> String {
        self.row.as_ref().map_or_else(String::new, |row| weight(texts, row.grams))
    }

    /// A tub goes whole.
    fn goes_in_part(&self) -> bool {
        self.row.as_ref().is_some_and(|row| row.kind != "tub")
    }

    fn lot_field(&self) -> String {
        format!("lot-{}", self.lot)
    }

    fn grams_field(&self) -> String {
        format!("grams-{}", self.lot)
    }
}

/// What is to go, as far as it was scanned.
#[get("/stock/{site}/send")]
async fn sending_page(house: House, visitor: Visitor, request: HttpRequest, site: web::Path<String>) -> Shown {
    let form = Form::new(&visitor, Fields::parse(request.query_string().as_bytes()));
    show(house, &visitor, &request, site.into_inner(), form).await
}

/// Adds what was scanned, takes a lot out again, or sends them.
#[post("/stock/{site}/send")]
async fn send(house: House, sent: Sent, request: HttpRequest, site: web::Path<String>) -> Shown {
    let site = site.into_inner();
    let commands = sent.commands(request.path());
    let Sent { visitor, fields } = sent;
    let (at, asks, given, inside) = (site.clone(), visitor.asks(), fields.clone(), house.clone());
    let texts = visitor.texts;
    let done = off_thread(move || {
        if let Some(dropped) = given.get("drop") {
            return Ok(Some(kept(&given, None, Some(dropped))));
        }
        if given.get("do") == Some("send") {
            inside.tubtrail.dispatch_transfer(&commands, transfer(texts, &at, &given))?;
            return Ok(None);
        }
        let Some(text) = given.get("scan") else { return Ok(Some(kept(&given, None, None))) };
        Ok(Some(kept(&given, Some(lot_scanned(&inside.tubtrail, &asks, &at, text)?), None)))
    });
    match done.await {
        Ok(None) => Ok(see_said(&format!("/stock/{site}"), "sent")),
        Ok(Some(kept)) => Ok(see(&format!("/stock/{site}/send?{kept}"))),
        Err(problem) => {
            let lots: Vec<String> = fields.all("lot").map(str::to_owned).collect();
            let place = |field: &str| place(field, &lots);
            let form = Form::refused(&visitor, fields, problem, place).map_err(Unable::of(&request))?;
            show(house, &visitor, &request, site, form).await
        }
    }
}

/// Where the form shows a field of the operation: lines are named by their lots.
fn place(field: &str, lots: &[String]) -> Option<String> {
    let Some((position, rest)) = field.strip_prefix("lines[").and_then(|line| line.split_once(']')) else {
        return ["scan", "to", "note"].contains(&field).then(|| field.to_owned());
    };
    let lot = lots.get(position.parse::<usize>().ok()?)?;
    Some(if rest.starts_with(".quantity") { format!("grams-{lot}") } else { format!("lot-{lot}") })
}

/// What was typed so far, with one lot more or less, for an address.
fn kept(fields: &Fields, more: Option<String>, less: Option<&str>) -> Fields {
    let keep = |(name, value): &(&str, &str)| {
        let of_the_form = [MARK, ONCE, "do", "drop", "scan", "last"].contains(name);
        !of_the_form
            && !value.is_empty()
            && !(*name == "lot" && (Some(*value) == less || Some(*value) == more.as_deref()))
    };
    let mut kept: Vec<(String, String)> =
        fields.iter().filter(keep).map(|(name, value)| (name.to_owned(), value.to_owned())).collect();
    if let Some(lot) = more {
        kept.push(("last".to_owned(), lot.clone()));
        kept.push(("lot".to_owned(), lot));
    }
    kept.into_iter().collect()
}

fn transfer(texts: &Texts, site: &str, fields: &Fields) -> NewTransfer {
    let line = |lot: &str| {
        let grams = fields.get(&format!("grams-{lot}"));
        let quantity =
            grams.map(|grams| QuantityEntered { amount: Amount(number(texts, grams)), unit: "g".to_owned() });
        NewTransferLine { lot: lot.to_owned(), quantity }
    };
    NewTransfer {
        from: site.to_owned(),
        to: fields.get("to").unwrap_or("").to_owned(),
        lines: fields.all("lot").map(line).collect(),
        dispatched_at: None,
        note: fields.get("note").map(str::to_owned),
    }
}

async fn show(house: House, visitor: &Visitor, request: &HttpRequest, site: String, form: Form) -> Shown {
    let asks = visitor.asks();
    let lots: Vec<String> = form.fields().all("lot").map(str::to_owned).collect();
    let found = off_thread(move || {
        let tubtrail = &house.tubtrail;
        let here: Site = tubtrail.get(&asks, &site)?;
        let mut others = tubtrail.list::<Site>(&asks, "", MOST_SITES)?.items;
        others.retain(|other| other.active && other.code != here.code);
        let lots =
            lots.into_iter().map(|lot| going(tubtrail, &asks, &here.code, lot)).collect::<Result<Vec<_>, _>>()?;
        Ok((tubtrail.show_me(&asks)?, here, others, lots))
    });
    let (me, site, others, lots) = found.await.map_err(Unable::of(request))?;
    let page = Page { frame: Frame::of(visitor, request, me), site, others, lots, form };
    Ok(render(page.form.status(), &page))
}

fn going(tubtrail: &Tubtrail, asks: &Request, site: &str, lot: String) -> Result<Going, OperationError> {
    let asked = StockAsked {
        site: Some(site.to_owned()),
        lot: Some(lot.clone()),
        state: Some("available".to_owned()),
        limit: 1,
        ..StockAsked::default()
    };
    Ok(Going { row: tubtrail.show_stock(asks, &asked)?.items.pop(), lot })
}

impl Page {
    /// The name of what was just scanned.
    fn last(&self) -> Option<String> {
        let last = self.form.fields().get("last")?;
        self.lots.iter().find(|going| going.lot == last).map(|going| format!("{} {}", going.name(), going.lot))
    }
}
