//! A transfer: what is in it; and once it is here, what arrived of it, line by line, ticked off by scanning.

use actix_web::{HttpRequest, get, post, web};
use askama::Template;
use tubtrail_domain::say;
use tubtrail_operations::quantities::Amount;
use tubtrail_operations::reach;
use tubtrail_operations::receipts::{NewReceipt, NewReceiptLine};
use tubtrail_operations::sites::Site;
use tubtrail_operations::transfers::{Transfer, TransferLine};
use tubtrail_operations::{Grams, OperationError, QuantityEntered, Request, Tubtrail};

use crate::house::{House, off_thread};
use crate::pages::fields::Fields;
use crate::pages::figures::{Wall, number, typed_grams, weight};
use crate::pages::forms::{Form, see_said};
use crate::pages::page::{Frame, Shown, Unable, render, see};
use crate::pages::rights::may_at;
use crate::pages::scanning::lot_in_hand;
use crate::pages::texts::Texts;
use crate::pages::visitor::{MARK, ONCE, Sent, Visitor};
use crate::problem::Problem;

/// Set once something was scanned: from then on nothing counts as arrived that was not.
const SCANNED: &str = "scanned";
/// What a line may have come to.
const ARRIVED: &str = "whole";
const MISSING: &str = "missing";
const DAMAGED: &str = "damaged";
const IN_PART: &str = "part";
/// All of it, with the names of the texts.
const COMINGS: [(&str, &str); 4] =
    [(ARRIVED, "came-whole"), (MISSING, "came-missing"), (DAMAGED, "came-damaged"), (IN_PART, "came-part")];

pub(super) fn configure(config: &mut web::ServiceConfig) {
    config.service(transfer_page).service(receive_all).service(receive);
}

#[derive(Template)]
#[template(path = "transfer.html")]
struct Page {
    frame: Frame,
    site: Site,
    transfer: Transfer,
    left_at: String,
    arrived_at: Option<String>,
    lines: Vec<Line>,
    form: Form,
    /// It is here, not received yet, and theirs to receive.
    may_receive: bool,
    /// What was just scanned, where it is one of these.
    scanned: Option<String>,
    /// How many were scanned.
    ticked: usize,
}

/// A lot of it.
struct Line {
    lot: String,
    name: String,
    sent: String,
    /// What it came to, in words, once it was received.
    became: Option<String>,
    listed: bool,
}

impl Line {
    fn field(&self, of: &str) -> String {
        format!("{of}-{}", self.lot)
    }
}

/// What is read of the house.
struct Found {
    site: Site,
    transfer: Transfer,
}

fn find(tubtrail: &Tubtrail, asks: &Request, site: &str, id: i64) -> Result<Found, OperationError> {
    let (site, transfer) = (tubtrail.get::<Site>(asks, site)?, tubtrail.get_transfer(asks, id)?);
    if transfer.from != site.code && transfer.to != site.code {
        return Err(OperationError::not_found(say!("transfer"), id));
    }
    Ok(Found { site, transfer })
}

/// A transfer.
#[get("/stock/{site}/transfers/{id}")]
async fn transfer_page(house: House, visitor: Visitor, request: HttpRequest, path: web::Path<(String, i64)>) -> Shown {
    let form = Form::new(&visitor, Fields::parse(request.query_string().as_bytes()));
    show(house, &visitor, &request, path.into_inner(), form).await
}

/// Everything arrived as it was sent.
#[post("/stock/{site}/transfers/{id}/all")]
async fn receive_all(house: House, sent: Sent, request: HttpRequest, path: web::Path<(String, i64)>) -> Shown {
    let (site, id) = path.into_inner();
    let commands = sent.commands(request.path());
    let receipt = NewReceipt { all_as_sent: true, ..NewReceipt::default() };
    let done = off_thread(move || house.tubtrail.receive_transfer(&commands, id, receipt));
    done.await.map_err(Unable::of(&request))?;
    Ok(see_said(&format!("/stock/{site}"), "received"))
}

/// Ticks off what was scanned, or receives.
#[post("/stock/{site}/transfers/{id}")]
async fn receive(house: House, sent: Sent, request: HttpRequest, path: web::Path<(String, i64)>) -> Shown {
    let (site, id) = path.into_inner();
    let commands = sent.commands(request.path());
    let Sent { visitor, fields } = sent;
    let deed = fields.get("do").unwrap_or("scan").to_owned();
    let (at, asks, given, inside) = (site.clone(), visitor.asks(), fields.clone(), house.clone());
    let texts = visitor.texts;
    let done = off_thread(move || {
        let tubtrail = &inside.tubtrail;
        if deed == "scan" {
            let Some(text) = given.get("scan") else { return Ok(Some(kept(&given, None))) };
            return Ok(Some(kept(&given, Some(&lot_in_hand(tubtrail, &asks, &at, text)?))));
        }
        let Found { transfer, .. } = find(tubtrail, &asks, &at, id)?;
        let order = lots(&transfer, &given);
        let receipt = receipt(texts, &transfer, &order, &given);
        match tubtrail.receive_transfer(&commands, id, receipt) {
            Ok(_) => Ok(None),
            Err(error) => Err(at_the_lot(error, &order, &given)),
        }
    });
    match done.await {
        Ok(None) => Ok(see_said(&format!("/stock/{site}"), "received")),
        Ok(Some(kept)) => Ok(see(&format!("/stock/{site}/transfers/{id}?{kept}"))),
        Err(problem) => {
            let form = refused(&visitor, fields, problem).map_err(Unable::of(&request))?;
            show(house, &visitor, &request, (site, id), form).await
        }
    }
}

fn refused(visitor: &Visitor, fields: Fields, problem: Problem) -> Result<Form, Problem> {
    Form::refused(visitor, fields, problem, |field| Some(field.to_owned()).filter(|field| !field.starts_with("lines")))
}

/// What was typed so far, with what was scanned, for an address.
fn kept(fields: &Fields, scanned: Option<&str>) -> Fields {
    let came = scanned.map(|lot| format!("came-{lot}"));
    let keep = |(name, value): &(&str, &str)| {
        let of_the_form = [MARK, ONCE, "do", "scan", "last"].contains(name);
        let begins_to_tick = scanned.is_some() && fields.get(SCANNED).is_none() && *value == ARRIVED;
        !of_the_form && !value.is_empty() && !begins_to_tick && came.as_deref() != Some(*name)
    };
    let mut kept: Vec<(String, String)> =
        fields.iter().filter(keep).map(|(name, value)| (name.to_owned(), value.to_owned())).collect();
    if let (Some(lot), Some(came)) = (scanned, came) {
        kept.extend([(came, ARRIVED.to_owned()), ("last".to_owned(), lot.to_owned())]);
        if fields.get(SCANNED).is_none() {
            kept.push((SCANNED.to_owned(), "1".to_owned()));
        }
    }
    kept.into_iter().collect()
}

/// The lots that were sent, then those that came and were not.
fn lots(transfer: &Transfer, fields: &Fields) -> Vec<String> {
    let mut lots: Vec<String> = transfer.lines.iter().map(|line| line.lot.clone()).collect();
    for (name, _) in fields.iter() {
        let Some(lot) = name.strip_prefix("came-") else { continue };
        if !lots.iter().any(|known| known == lot) {
            lots.push(lot.to_owned());
        }
    }
    lots
}

/// What a lot came to, as far as it was said: until something is scanned, all that was sent is taken to have arrived.
fn came<'f>(fields: &'f Fields, lot: &str) -> &'f str {
    let said = fields.get(&format!("came-{lot}"));
    said.unwrap_or(if fields.get(SCANNED).is_some() { "" } else { ARRIVED })
}

/// One line a lot of which something was said, in the order of `order`.
fn receipt(texts: &Texts, transfer: &Transfer, order: &[String], fields: &Fields) -> NewReceipt {
    let grams = |amount: &str| QuantityEntered { amount: Amount(number(texts, amount)), unit: "g".to_owned() };
    let line = |lot: &String| {
        let sent = transfer.lines.iter().find(|line| line.lot == *lot).map(|line| line.sent_grams);
        let typed = fields.get(&format!("grams-{lot}")).map(grams);
        let (received, damaged) = match (came(fields, lot), sent) {
            ("", _) => return None,
            (ARRIVED, _) => (None, None),
            (MISSING, _) => (Some(grams("0")), None),
            (DAMAGED, Some(sent)) => (None, Some(grams(&typed_grams(sent)))),
            (DAMAGED, None) => (Some(grams("0")), typed),
            _ => (Some(typed.unwrap_or_else(|| grams(""))), None),
        };
        let reason = fields.get(&format!("why-{lot}")).map(str::to_owned);
        Some(NewReceiptLine { lot: lot.clone(), received, damaged, reason })
    };
    NewReceipt {
        lines: order.iter().filter_map(line).collect(),
        reason: fields.get("reason").map(str::to_owned),
        ..NewReceipt::default()
    }
}

/// The form names its fields by lot, and the operation by line.
fn at_the_lot(error: OperationError, order: &[String], fields: &Fields) -> OperationError {
    let line = error.field.as_deref().and_then(|field| field.strip_prefix("lines["));
    let Some((position, rest)) = line.and_then(|line| line.split_once(']')) else { return error };
    let mut said = order.iter().filter(|lot| !came(fields, lot).is_empty());
    let Some(lot) = position.parse().ok().and_then(|position| said.nth(position)) else { return error };
    let of = match rest {
        ".reason" => "why",
        ".lot" | "" => "came",
        _ => "grams",
    };
    let field = format!("{of}-{lot}");
    error.at(field)
}

async fn show(house: House, visitor: &Visitor, request: &HttpRequest, (site, id): (String, i64), form: Form) -> Shown {
    let asks = visitor.asks();
    let found = off_thread(move || Ok((house.tubtrail.show_me(&asks)?, find(&house.tubtrail, &asks, &site, id)?)));
    let (me, Found { site, transfer }) = found.await.map_err(Unable::of(request))?;
    let wall = Wall::of(&site);
    let is_open = transfer.received_at.is_none() && transfer.to == site.code;
    let lines: Vec<Line> =
        lots(&transfer, form.fields()).into_iter().map(|lot| line(visitor.texts, &transfer, lot)).collect();
    let ticked = lines.iter().filter(|line| came(form.fields(), &line.lot) == ARRIVED).count();
    let scanned = form.fields().get("last").and_then(|last| lines.iter().find(|line| line.lot == last));
    let page = Page {
        scanned: scanned.map(|line| format!("{} {}", line.name, line.lot)),
        ticked,
        left_at: wall.day_and_time(transfer.dispatched_at),
        arrived_at: transfer.received_at.map(|at| wall.day_and_time(at)),
        may_receive: is_open && may_at(&me, &reach::RECEIVE_TRANSFER, &site.code),
        frame: Frame::of(visitor, request, me),
        lines,
        site,
        transfer,
        form,
    };
    Ok(render(page.form.status(), &page))
}

fn line(texts: &Texts, transfer: &Transfer, lot: String) -> Line {
    match transfer.lines.iter().find(|line| line.lot == lot) {
        Some(line) => Line {
            name: line.name.clone(),
            sent: weight(texts, line.sent_grams),
            became: became(texts, line),
            listed: line.listed,
            lot,
        },
        None => Line { name: String::new(), sent: String::new(), became: None, listed: false, lot },
    }
}

/// What became of a line that was received, in words.
fn became(texts: &Texts, line: &TransferLine) -> Option<String> {
    let received = line.received_grams?;
    let parts = [
        ("transfer-arrived", Some(received)),
        ("transfer-damaged", line.damaged_grams),
        ("transfer-missing", line.missing_grams),
        ("transfer-found", line.found_grams),
    ];
    let told = parts.into_iter().filter_map(|(name, grams)| {
        let grams: Grams = grams.filter(|grams| grams.mg() != 0)?;
        Some(texts.say_of(name, "mass", weight(texts, grams)).into_owned())
    });
    Some(told.chain(line.reason.clone()).collect::<Vec<_>>().join("; "))
}

impl Page {
    fn came(&self, line: &Line) -> &str {
        came(self.form.fields(), &line.lot)
    }

    fn has_come(&self, line: &Line, word: &str) -> bool {
        self.came(line) == word
    }

    fn is_ticking(&self) -> bool {
        self.form.fields().get(SCANNED).is_some()
    }
}
