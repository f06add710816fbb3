//! A recall as a case: how it stands at every site, what is missing, where everything is, and whether it adds up.

use actix_web::http::StatusCode;
use actix_web::{HttpRequest, get, post, web};
use askama::Template;
use chrono::{DateTime, Utc};
use tubtrail_operations::recalls::{RecallCase, RecallKind, RecallLine, SeedShown};
use tubtrail_operations::sessions::Me;
use tubtrail_operations::{Grams, OperationError, Request, Tubtrail};

use super::balance::{MassRow, exact, mass_rows};
use super::{clock, ended, may_everywhere, title};
use crate::house::{House, off_thread};
use crate::pages::addresses::Address;
use crate::pages::fields::Fields;
use crate::pages::forms::Form;
use crate::pages::page::{Frame, Shown, Unable, render, see};
use crate::pages::pictures::{Drawn, gather, in_grams};
use crate::pages::texts::Texts;
use crate::pages::visitor::{Sent, Visitor};
use crate::pages::written;
use crate::reports;

/// Most lots of which the case shows what is missing or was confirmed; the lists of the sites have all.
const MOST_LOTS: u32 = 500;
/// Most lines shown of each.
const MOST_LINES: usize = 60;

pub fn configure(config: &mut web::ServiceConfig) {
    config
        .service(case_page)
        .service(case_part)
        .service(case_picture)
        .service(case_picture_part)
        .service(case_file)
        .service(case_make);
}

/// The page.
#[derive(Template)]
#[template(path = "recall.html")]
pub(super) struct CasePage {
    frame: Frame,
    title: String,
    is_drill: bool,
    recall: i64,
    begins_with: Vec<String>,
    instructions: Option<String>,
    part: Part,
    may_close: bool,
    may_withdraw: bool,
    /// Of closing and withdrawing.
    form: Form,
    name: String,
}

/// What changes of it.
#[derive(Template)]
#[template(path = "recall_part.html")]
struct Part {
    texts: &'static Texts,
    case: RecallCase,
    ended: Option<String>,
    since: String,
    due: String,
    is_late: bool,
    figures: Vec<(String, String)>,
    sites: Vec<SiteRow>,
    missing: Vec<LineRow>,
    confirmed: Vec<LineRow>,
    /// There are more lots than the two lists are of.
    is_cut: bool,
    mass: Vec<MassRow>,
    adds_up: String,
}

struct SiteRow {
    code: String,
    name: String,
    lots: usize,
    on_hand: String,
    served: String,
    open: usize,
    overdue: usize,
}

struct LineRow {
    lot: String,
    name: String,
    site: String,
    site_name: String,
    grams: String,
    outcome: String,
    who: String,
    note: String,
    overdue: bool,
}

/// A recall.
#[get("/recalls/{recall}")]
async fn case_page(house: House, visitor: Visitor, request: HttpRequest, recall: web::Path<i64>) -> Shown {
    let form = Form::new(&visitor, Fields::default());
    show(house, &visitor, &request, *recall, form).await
}

/// Shows a recall with a form of its own, empty or refused.
pub(super) async fn show(house: House, visitor: &Visitor, request: &HttpRequest, recall: i64, form: Form) -> Shown {
    let asks = visitor.asks();
    let found = off_thread(move || Ok((house.tubtrail.show_me(&asks)?, read(&house.tubtrail, &asks, recall)?)));
    let (me, read) = found.await.map_err(Unable::of(request))?;
    let page = CasePage::of(visitor, request, me, read, form);
    Ok(render(page.form.status(), &page))
}

/// What changes of it, alone.
#[get("/recalls/{recall}/part")]
async fn case_part(house: House, visitor: Visitor, request: HttpRequest, recall: web::Path<i64>) -> Shown {
    let asks = visitor.asks();
    let found = off_thread(move || read(&house.tubtrail, &asks, *recall)).await.map_err(Unable::of(&request))?;
    Ok(render(StatusCode::OK, &Part::of(visitor.texts, found)))
}

#[derive(Template)]
#[template(path = "recall_picture.html")]
struct PicturePage {
    frame: Frame,
    title: String,
    recall: i64,
    by_contact: Option<String>,
    drawn: Drawn,
    part: String,
}

/// What it reaches by use, drawn.
#[get("/recalls/{recall}/picture")]
async fn case_picture(house: House, visitor: Visitor, request: HttpRequest, recall: web::Path<i64>) -> Shown {
    let seat = house.traces.take().map_err(Unable::of(&request))?;
    let (asks, id) = (visitor.asks(), *recall);
    let found = off_thread(move || {
        let traced = gather(&house.tubtrail, &asks, house.tubtrail.stream_recall_trace(&asks, id)?)?;
        drop(seat);
        Ok((house.tubtrail.show_me(&asks)?, house.tubtrail.get_recall(&asks, id)?, traced))
    });
    let (me, case, traced) = found.await.map_err(Unable::of(&request))?;
    let texts = visitor.texts;
    let contacts = case.by_contact_lots;
    let page = PicturePage {
        title: title(texts, &case.recall),
        recall: id,
        by_contact: (contacts > 0).then(|| texts.say_of("not-drawn", "count", contacts.to_string()).into_owned()),
        drawn: traced.draw(texts, &picture_address(&request, id)),
        part: format!("/recalls/{id}/picture/part"),
        frame: Frame::of(&visitor, &request, me),
    };
    Ok(render(StatusCode::OK, &page))
}

/// The drawing alone.
#[get("/recalls/{recall}/picture/part")]
async fn case_picture_part(house: House, visitor: Visitor, request: HttpRequest, recall: web::Path<i64>) -> Shown {
    let seat = house.traces.take().map_err(Unable::of(&request))?;
    let (asks, id) = (visitor.asks(), *recall);
    let found = off_thread(move || {
        let traced = gather(&house.tubtrail, &asks, house.tubtrail.stream_recall_trace(&asks, id)?);
        drop(seat);
        traced
    });
    let traced = found.await.map_err(Unable::of(&request))?;
    Ok(render(StatusCode::OK, &traced.draw(visitor.texts, &picture_address(&request, id))))
}

fn picture_address(request: &HttpRequest, recall: i64) -> Address {
    let asked = Fields::parse(request.query_string().as_bytes());
    Address::of(&format!("/recalls/{recall}/picture"), &asked, &["open", "box"])
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

/// What is read of the house for a case.
struct Read {
    case: RecallCase,
    lines: Vec<RecallLine>,
    is_cut: bool,
}

fn read(tubtrail: &Tubtrail, asks: &Request, recall: i64) -> Result<Read, OperationError> {
    let case = tubtrail.get_recall(asks, recall)?;
    let lines = tubtrail.list_recall_lines(asks, recall, "", MOST_LOTS)?;
    Ok(Read { case, is_cut: lines.next.is_some(), lines: lines.lines })
}

impl CasePage {
    fn of(visitor: &Visitor, request: &HttpRequest, me: Me, read: Read, form: Form) -> Self {
        use tubtrail_operations::reach::Role;
        let texts = visitor.texts;
        let recall = &read.case.recall;
        let is_open = recall.ending.is_none();
        let is_withdrawn =
            recall.ending.as_ref().is_some_and(|end| end.way == tubtrail_operations::recalls::EndingWay::Withdrawn);
        let is_drill = recall.kind == RecallKind::Drill;
        Self {
            title: title(texts, recall),
            is_drill,
            recall: recall.recall,
            begins_with: recall.seeds.iter().map(|seed| seed_words(texts, seed)).collect(),
            instructions: recall.instructions.clone(),
            may_close: is_open && may_everywhere(&me, &[Role::Owner, Role::Kitchen]),
            // A closed one may still be withdrawn: what it holds is free then.
            may_withdraw: may_everywhere(&me, &[Role::Owner]) && !is_withdrawn && (is_open || !is_drill),
            name: me.name.clone(),
            frame: Frame::of(visitor, request, me),
            part: Part::of(texts, read),
            form,
        }
    }
}

impl Part {
    fn of(texts: &'static Texts, read: Read) -> Self {
        let Read { case, lines, is_cut } = read;
        let now = Utc::now();
        let until = case.recall.ending.as_ref().map_or(now, |ending| ending.at);
        let figure = |name: &str, figure: String| (texts.say(name).into_owned(), figure);
        let confirmed = lines.iter().filter(|line| line.confirmation.is_some()).count();
        let mut confirmed_lines: Vec<&RecallLine> = lines.iter().filter(|line| line.confirmation.is_some()).collect();
        confirmed_lines.sort_by_key(|line| std::cmp::Reverse(line.confirmation.as_ref().map(|one| one.entry)));
        Self {
            ended: ended(texts, &case.recall),
            since: span(texts, case.recall.begun_at, until),
            due: clock(case.recall.due_at),
            is_late: case.recall.ending.is_none() && now > case.recall.due_at,
            figures: vec![
                figure("reached-lots", case.reached_lots.to_string()),
                figure("to-confirm", case.open_lines.to_string()),
                figure("confirmed-lines", format!("{confirmed}{}", if is_cut { "+" } else { "" })),
                figure("customers", case.consignees.to_string()),
                figure("replies-open", case.open_replies.to_string()),
                figure("unaccounted", exact(case.mass.unaccounted_grams)),
            ],
            sites: case.sites.iter().map(SiteRow::of).collect(),
            missing: lines
                .iter()
                .filter(|line| line.open)
                .take(MOST_LINES)
                .map(|line| LineRow::of(texts, line))
                .collect(),
            confirmed: confirmed_lines.into_iter().take(MOST_LINES).map(|line| LineRow::of(texts, line)).collect(),
            is_cut,
            mass: mass_rows(texts, &case.mass),
            adds_up: texts
                .say(if case.mass.unaccounted_grams == Grams::default() { "adds-up" } else { "adds-not-up" })
                .into_owned(),
            texts,
            case,
        }
    }
}

impl SiteRow {
    fn of(site: &tubtrail_operations::recalls::RecallSite) -> Self {
        Self {
            code: site.site.clone(),
            name: site.name.clone(),
            lots: site.lots_on_hand,
            on_hand: in_grams(site.on_hand_grams.mg() * 1000),
            served: in_grams(site.served_grams.mg() * 1000),
            open: site.open_lines,
            overdue: site.overdue_lines,
        }
    }
}

impl LineRow {
    fn of(texts: &Texts, line: &RecallLine) -> Self {
        let said = line.confirmation.as_ref();
        let here: i64 = line.places.iter().filter(|place| is_here(&place.state)).map(|place| place.grams.mg()).sum();
        let grams = said.map_or(here, |said| said.grams.mg());
        let outcome = said.map(|said| texts.say(&format!("outcome-{}", said.outcome.word())).into_owned());
        Self {
            lot: line.lot.clone(),
            name: line.name.clone(),
            site: line.site.clone(),
            site_name: line.site_name.clone(),
            grams: exact(Grams::from_mg(grams)),
            outcome: outcome.unwrap_or_default(),
            who: said.map_or_else(String::new, |said| format!("{}, {}", said.name, clock(said.at))),
            note: said.and_then(|said| said.note.clone()).unwrap_or_default(),
            overdue: line.overdue,
        }
    }
}

/// Whether what stands so is in the house.
pub(super) fn is_here(state: &str) -> bool {
    matches!(state, "available" | "open" | "in_transit")
}

/// A span of time in days, hours and minutes.
fn span(texts: &Texts, from: DateTime<Utc>, until: DateTime<Utc>) -> String {
    let minutes = (until - from).num_minutes().max(0);
    let (days, hours, minutes) = (minutes / 1440, minutes / 60 % 24, minutes % 60);
    let told = [("days", days.to_string()), ("hours", hours.to_string()), ("minutes", minutes.to_string())];
    let told: Vec<(&str, &str)> = told.iter().map(|(name, value)| (*name, value.as_str())).collect();
    texts.say_with(if days > 0 { "span-days" } else { "span-hours" }, &told).into_owned()
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
