//! A recall as a case: what matters first, from sums; then its lots, so many at a time; and the report to take along.

use actix_web::{HttpRequest, get, post, web};
use askama::Template;
use chrono::{DateTime, Utc};
use tubtrail_operations::reach::Role;
use tubtrail_operations::recalls::{EndingWay, LinesFound, RecallCase, RecallKind, SeedShown};
use tubtrail_operations::sessions::Me;

use super::lots::{Lots, Narrowed};
use super::sums::Sums;
use super::{clock, may_everywhere, title};
use crate::house::{House, off_thread};
use crate::pages::fields::Fields;
use crate::pages::forms::Form;
use crate::pages::page::{Frame, Shown, Unable, render, see};
use crate::pages::texts::Texts;
use crate::pages::visitor::{Sent, Visitor};
use crate::pages::written;
use crate::reports;

pub fn configure(config: &mut web::ServiceConfig) {
    config.service(case_page).service(case_file).service(case_make);
}

/// The page.
#[derive(Template)]
#[template(path = "recall.html")]
struct CasePage {
    frame: Frame,
    title: String,
    is_drill: bool,
    recall: i64,
    begins_with: Vec<String>,
    instructions: Option<String>,
    /// Where the page hears that something of the recall was written down.
    live: String,
    sums: Sums,
    /// The sites that have lines: code and name.
    sites: Vec<(String, String)>,
    lots: Lots,
    /// The address of the lots alone.
    part: String,
    may_close: bool,
    may_withdraw: bool,
    /// Of closing and withdrawing.
    form: Form,
    name: String,
}

/// A recall.
#[get("/recalls/{recall}")]
async fn case_page(house: House, visitor: Visitor, request: HttpRequest, recall: web::Path<i64>) -> Shown {
    let form = Form::new(&visitor, Fields::default());
    show(house, &visitor, &request, *recall, form).await
}

/// Shows a recall with a form of its own, empty or refused.
pub(super) async fn show(house: House, visitor: &Visitor, request: &HttpRequest, recall: i64, form: Form) -> Shown {
    let (asks, narrowed) = (visitor.asks(), Narrowed::of(request));
    let wanted = narrowed.wanted.clone();
    let found = off_thread(move || {
        let house = &house.tubtrail;
        let case = house.get_recall(&asks, recall)?;
        Ok((house.show_me(&asks)?, case, house.find_recall_lines(&asks, recall, &wanted)?))
    });
    let (me, case, lines) = found.await.map_err(Unable::of(request))?;
    let page = CasePage::of((visitor, request), me, (case, lines), narrowed, form);
    Ok(render(page.form.status(), &page))
}

/// The report as a file that begins at once: comma-separated, plain text or JSON.
#[get("/recalls/{recall}/report/{format}")]
async fn case_file(house: House, visitor: Visitor, request: HttpRequest, path: web::Path<(i64, String)>) -> Shown {
    let (recall, format) = path.into_inner();
    let format = written::streamed(&format).map_err(Unable::of(&request))?;
    let (asks, seat) = (visitor.asks(), house.traces.take().map_err(Unable::of(&request))?);
    let at = house.clone();
    let source =
        off_thread(move || reports::recall(&at.tubtrail, &asks, recall)).await.map_err(Unable::of(&request))?;
    reports::send(house, seat, format, source).await.map_err(Unable::of(&request))
}

/// Has the report made as a paper or a spreadsheet.
#[post("/recalls/{recall}/report/{format}")]
async fn case_make(house: House, sent: Sent, request: HttpRequest, path: web::Path<(i64, String)>) -> Shown {
    let (recall, format) = path.into_inner();
    let asks = sent.visitor.asks();
    let (at, actor) = (house.clone(), asks.actor.name.clone());
    let source =
        off_thread(move || reports::recall(&at.tubtrail, &asks, recall)).await.map_err(Unable::of(&request))?;
    let back = format!("/recalls/{recall}");
    let job = written::begin(&house, &actor, &format, source, &back).map_err(Unable::of(&request))?;
    Ok(see(&written::soon(&house, &actor, &job).await))
}

impl CasePage {
    fn of(
        (visitor, request): (&Visitor, &HttpRequest),
        me: Me,
        (case, lines): (RecallCase, LinesFound),
        narrowed: Narrowed,
        form: Form,
    ) -> Self {
        let texts = visitor.texts;
        let recall = &case.recall;
        let is_open = recall.ending.is_none();
        let is_withdrawn = recall.ending.as_ref().is_some_and(|end| end.way == EndingWay::Withdrawn);
        let is_drill = recall.kind == RecallKind::Drill;
        Self {
            title: title(texts, recall),
            is_drill,
            recall: recall.recall,
            begins_with: recall.seeds.iter().map(|seed| seed_words(texts, seed)).collect(),
            instructions: recall.instructions.clone(),
            live: format!("/live?recall={}&since={}", recall.recall, case.sums.journal_position),
            may_close: is_open && may_everywhere(&me, &[Role::Owner, Role::Kitchen]),
            // A closed one may still be withdrawn: what it holds is free then.
            may_withdraw: may_everywhere(&me, &[Role::Owner]) && !is_withdrawn && (is_open || !is_drill),
            name: me.name.clone(),
            sites: case.sums.sites.iter().map(|site| (site.site.clone(), site.name.clone())).collect(),
            part: narrowed.part(recall.recall).to_string(),
            lots: Lots::of(texts, &me, recall.recall, lines, narrowed),
            sums: Sums::of(texts, &me, case),
            frame: Frame::of(visitor, request, me),
            form,
        }
    }
}

/// What a recall begins with, in words.
fn seed_words(texts: &Texts, seed: &SeedShown) -> String {
    let name = |supplier: &str, item: &Option<String>| {
        item.as_ref().map_or_else(|| supplier.to_owned(), |item| format!("{supplier}, {item}"))
    };
    let until = |until: &Option<DateTime<Utc>>| until.map_or_else(|| "…".to_owned(), clock);
    match seed {
        SeedShown::Lots { lots } => texts.say_of("seed-lots-named", "lots", lots.join(", ")),
        SeedShown::SupplierLots { supplier, item, codes } => {
            texts.say_with("seed-codes", &[("supplier", &name(supplier, item)), ("codes", &codes.join(", "))])
        }
        SeedShown::SupplierLotPrefix { supplier, item, prefix } => {
            texts.say_with("seed-prefix", &[("supplier", &name(supplier, item)), ("prefix", prefix)])
        }
        SeedShown::SupplierLotRange { supplier, item, from, until } => {
            texts.say_with("seed-span", &[("what", &name(supplier, item)), ("from", from), ("until", until)])
        }
        SeedShown::SupplierDays { supplier, item, from, until } => {
            let (from, until) = (from.to_string(), until.to_string());
            texts.say_with("seed-span", &[("what", &name(supplier, item)), ("from", &from), ("until", &until)])
        }
        SeedShown::Equipment { equipment, from, until: end } => {
            texts.say_with("seed-span", &[("what", equipment), ("from", &clock(*from)), ("until", &until(end))])
        }
        SeedShown::Place { site, from, until: end, .. } => {
            texts.say_with("seed-span", &[("what", site), ("from", &clock(*from)), ("until", &until(end))])
        }
    }
    .into_owned()
}
