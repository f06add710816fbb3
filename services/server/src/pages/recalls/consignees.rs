//! Customers that were handed recalled lots: what to tell each, that they were told, and what they answered.

use actix_web::{HttpRequest, get, post, web};
use askama::Template;
use tubtrail_domain::say;
use tubtrail_operations::reach::Role;
use tubtrail_operations::recalls::{CAUTION, NewNotice, NewReplies, NewReply, RecallConsignees};
use tubtrail_operations::{OperationError, problems};

use super::{clock, may_everywhere};
use crate::house::{House, off_thread};
use crate::pages::fields::Fields;
use crate::pages::figures::in_grams;
use crate::pages::forms::{Form, see_said};
use crate::pages::marks::once;
use crate::pages::page::{Frame, Shown, Unable, render};
use crate::pages::texts::Said;
use crate::pages::visitor::{Sent, Visitor};

pub fn configure(config: &mut web::ServiceConfig) {
    config.service(consignees_page).service(note_notice_form).service(note_replies_form);
}

#[derive(Template)]
#[template(path = "recall_customers.html")]
struct ConsigneesPage {
    frame: Frame,
    recall: i64,
    customers: Vec<Customer>,
    caution: Said,
    may_note: bool,
    form: Form,
    name: String,
    /// Whose form was refused.
    refused: String,
}

struct Customer {
    code: String,
    name: String,
    contact: Option<String>,
    lots: Vec<(String, String, Option<String>)>,
    text: Said,
    told: Vec<String>,
    overdue: bool,
    once: String,
}

/// Who was handed any of it.
#[get("/recalls/{recall}/customers")]
async fn consignees_page(house: House, visitor: Visitor, request: HttpRequest, recall: web::Path<i64>) -> Shown {
    show(house, &visitor, &request, *recall, Form::new(&visitor, Fields::default())).await
}

async fn show(house: House, visitor: &Visitor, request: &HttpRequest, recall: i64, form: Form) -> Shown {
    let asks = visitor.asks();
    let found =
        off_thread(move || Ok((house.tubtrail.show_me(&asks)?, house.tubtrail.list_recall_consignees(&asks, recall)?)));
    let (me, consignees) = found.await.map_err(Unable::of(request))?;
    let RecallConsignees { consignees, .. } = consignees;
    let texts = visitor.texts;
    let customer = |one: tubtrail_operations::recalls::RecallConsignee| Customer {
        lots: one
            .lots
            .iter()
            .map(|lot| {
                let reply = lot.reply.as_ref().map(|reply| {
                    let outcome = texts.say(&format!("outcome-{}", reply.outcome.word()));
                    format!("{outcome}; {}, {}", reply.replied_by, clock(reply.replied_at))
                });
                (lot.lot.clone(), format!("{}, {}", lot.name, in_grams(texts, lot.grams)), reply)
            })
            .collect(),
        told: one.told.iter().map(|told| format!("{}: {}, {}", told.way, told.told_by, clock(told.told_at))).collect(),
        code: one.customer,
        name: one.name,
        contact: one.contact,
        text: texts.said(&one.notice_text),
        overdue: one.overdue,
        once: once(),
    };
    let page = ConsigneesPage {
        may_note: may_everywhere(&me, &[Role::Owner, Role::Kitchen]),
        name: me.name.clone(),
        frame: Frame::of(visitor, request, me),
        recall,
        customers: consignees.into_iter().map(customer).collect(),
        caution: visitor.texts.said(&CAUTION),
        refused: form.value("customer").to_owned(),
        form,
    };
    Ok(render(page.form.status(), &page))
}

/// A customer was told.
#[post("/recalls/{recall}/notices")]
async fn note_notice_form(house: House, sent: Sent, request: HttpRequest, recall: web::Path<i64>) -> Shown {
    let commands = sent.commands(request.path());
    let text = |name: &str| sent.fields.get(name).unwrap_or("").to_owned();
    let new = NewNotice { customer: text("customer"), way: text("way"), told_by: text("told_by"), told_at: None };
    let (at, id) = (house.clone(), *recall);
    let done = off_thread(move || at.tubtrail.note_recall_notice(&commands, id, new).map(drop)).await;
    answer(house, sent, request, id, done, "notice").await
}

/// A customer answered.
#[post("/recalls/{recall}/replies")]
async fn note_replies_form(house: House, sent: Sent, request: HttpRequest, recall: web::Path<i64>) -> Shown {
    let commands = sent.commands(request.path());
    let new = replies(&sent.fields);
    let (at, id) = (house.clone(), *recall);
    let done = off_thread(move || at.tubtrail.note_recall_replies(&commands, id, new?).map(drop)).await;
    answer(house, sent, request, id, done, "reply").await
}

fn replies(fields: &Fields) -> Result<NewReplies, OperationError> {
    let text = |name: &str| fields.get(name).unwrap_or("").to_owned();
    let wrong = |_| OperationError::new(&problems::INVALID, say!("say what became of it")).at("outcome");
    let outcome = serde_json::from_value(text("outcome").into()).map_err(wrong)?;
    let note = fields.get("note").map(str::to_owned);
    let reply = |lot: &str| NewReply { lot: lot.to_owned(), outcome, note: note.clone() };
    let lots = fields.all("lot").map(reply).collect();
    Ok(NewReplies { customer: text("customer"), replied_by: text("replied_by"), replied_at: None, lots })
}

async fn answer(
    house: House,
    sent: Sent,
    request: HttpRequest,
    recall: i64,
    done: Result<(), crate::problem::Problem>,
    of: &'static str,
) -> Shown {
    let Err(problem) = done else { return Ok(see_said(&format!("/recalls/{recall}/customers"), "done")) };
    let place = |field: &str| {
        let name = if field.starts_with("lots") && field.ends_with("note") { "note" } else { field };
        let named = ["way", "told_by", "replied_by", "outcome", "note"].contains(&name);
        named.then(|| format!("{of}.{name}"))
    };
    let form = Form::refused(&sent.visitor, sent.fields.clone(), problem, place).map_err(Unable::of(&request))?;
    show(house, &sent.visitor, &request, recall, form).await
}
