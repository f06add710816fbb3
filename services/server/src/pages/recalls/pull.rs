//! What a site has of a recall: go through the rooms, scan each tub, and say what was found.

use actix_web::http::StatusCode;
use actix_web::{HttpRequest, get, post, web};
use askama::Template;
use tubtrail_domain::say;
use tubtrail_operations::recalls::{LineOutcome, NewConfirmation, NewConfirmations, PullList, RecallLine};
use tubtrail_operations::scans::{NewScan, Scan};
use tubtrail_operations::sites::Site;
use tubtrail_operations::{Grams, OperationError, Request, Tubtrail, problems};

use super::CONFIRMERS;
use super::lots::is_here;
use crate::house::{House, off_thread};
use crate::pages::fields::Fields;
use crate::pages::figures::{exact, number};
use crate::pages::forms::{Form, see_said};
use crate::pages::marks::once;
use crate::pages::page::{Frame, Shown, Unable, render};
use crate::pages::texts::Texts;
use crate::pages::visitor::{Sent, Visitor};

pub fn configure(config: &mut web::ServiceConfig) {
    config.service(pull_page).service(pull_part).service(pull_form);
}

/// What somebody says who found, or did not find.
const OUTCOMES: [LineOutcome; 4] =
    [LineOutcome::Found, LineOutcome::Destroyed, LineOutcome::NotFound, LineOutcome::Explained];

#[derive(Template)]
#[template(path = "recall_site.html")]
struct PullPage {
    frame: Frame,
    title: String,
    site: Site,
    recall: i64,
    is_drill: bool,
    instructions: Option<String>,
    may_confirm: bool,
    form: Form,
    name: String,
    outcome: String,
    outcomes: Vec<(&'static str, String)>,
    part: Part,
}

/// The list: what changes.
#[derive(Template)]
#[template(path = "recall_site_part.html")]
struct Part {
    texts: &'static Texts,
    recall: i64,
    site: String,
    list: PullList,
    due: String,
    rows: Vec<Row>,
    may_confirm: bool,
    name: String,
    mark: String,
}

struct Row {
    lot: String,
    name: String,
    here: String,
    is_open: bool,
    overdue: bool,
    said: Option<String>,
    once: String,
}

struct Read {
    me: tubtrail_operations::sessions::Me,
    site: Site,
    list: PullList,
}

/// The list of a site.
#[get("/recalls/{recall}/sites/{site}")]
async fn pull_page(house: House, visitor: Visitor, request: HttpRequest, path: web::Path<(i64, String)>) -> Shown {
    let asked = Fields::parse(request.query_string().as_bytes());
    show(house, &visitor, &request, path.into_inner(), Form::new(&visitor, asked)).await
}

async fn show(
    house: House,
    visitor: &Visitor,
    request: &HttpRequest,
    (recall, site): (i64, String),
    form: Form,
) -> Shown {
    let asks = visitor.asks();
    let found = off_thread(move || read(&house.tubtrail, &asks, recall, &site)).await.map_err(Unable::of(request))?;
    let texts = visitor.texts;
    let name = Some(form.value("name")).filter(|name| !name.is_empty()).unwrap_or(&found.me.name).to_owned();
    let outcome = Some(form.value("outcome")).filter(|word| !word.is_empty()).unwrap_or("found").to_owned();
    let kind = if found.list.is_drill { "drill-title" } else { "recall-title" };
    let told = [("recall", recall.to_string()), ("hazard", found.list.hazard.clone())];
    let told: Vec<(&str, &str)> = told.iter().map(|(name, value)| (*name, value.as_str())).collect();
    let page = PullPage {
        title: texts.say_with(kind, &told).into_owned(),
        site: found.site.clone(),
        recall,
        is_drill: found.list.is_drill,
        instructions: found.list.instructions.clone(),
        may_confirm: found.may_confirm(),
        outcomes: OUTCOMES.map(|one| (one.word(), texts.say(&format!("outcome-{}", one.word())).into_owned())).into(),
        frame: Frame::of(visitor, request, found.me.clone()),
        part: Part::of(visitor, found, &name),
        form,
        name,
        outcome,
    };
    Ok(render(page.form.status(), &page))
}

/// The list alone.
#[get("/recalls/{recall}/sites/{site}/list")]
async fn pull_part(house: House, visitor: Visitor, request: HttpRequest, path: web::Path<(i64, String)>) -> Shown {
    let (recall, site) = path.into_inner();
    let asks = visitor.asks();
    let found = off_thread(move || read(&house.tubtrail, &asks, recall, &site)).await.map_err(Unable::of(&request))?;
    let name = found.me.name.clone();
    Ok(render(StatusCode::OK, &Part::of(&visitor, found, &name)))
}

/// Something was found, or not: what was scanned or typed, or a lot of the list.
#[post("/recalls/{recall}/sites/{site}")]
async fn pull_form(house: House, sent: Sent, request: HttpRequest, path: web::Path<(i64, String)>) -> Shown {
    let (recall, site) = path.into_inner();
    let commands = sent.commands(request.path());
    let (fields, at, code, texts) = (sent.fields.clone(), house.clone(), site.clone(), sent.visitor.texts);
    let done = off_thread(move || confirm(&at.tubtrail, (&commands, texts), recall, &code, &fields));
    match done.await {
        Ok(()) => {
            let mut query = form_urlencoded::Serializer::new(String::new());
            query.extend_pairs(["name", "outcome"].iter().filter_map(|name| Some((*name, sent.fields.get(name)?))));
            Ok(see_said(&format!("/recalls/{recall}/sites/{site}?{}", query.finish()), "done"))
        }
        Err(problem) => {
            let place = |field: &str| {
                let inner = field.strip_prefix("lines[0].").unwrap_or(field);
                let named = if inner == "lot" { "scan" } else { inner };
                ["scan", "name", "outcome", "grams", "note"].contains(&named).then(|| named.to_owned())
            };
            let form =
                Form::refused(&sent.visitor, sent.fields.clone(), problem, place).map_err(Unable::of(&request))?;
            show(house, &sent.visitor, &request, (recall, site), form).await
        }
    }
}

fn confirm(
    tubtrail: &Tubtrail,
    (request, texts): (&Request, &Texts),
    recall: i64,
    site: &str,
    fields: &Fields,
) -> Result<(), OperationError> {
    let wrong = |_| OperationError::new(&problems::INVALID, say!("say what became of it")).at("outcome");
    let outcome = serde_json::from_value(fields.get("outcome").unwrap_or("").into()).map_err(wrong)?;
    let lot = match fields.get("lot") {
        Some(lot) => lot.to_owned(),
        None => scanned(tubtrail, request, site, fields.get("scan").unwrap_or("").trim())?,
    };
    let line =
        NewConfirmation { lot, outcome, grams: grams(texts, fields)?, note: fields.get("note").map(str::to_owned) };
    let name = fields.get("name").unwrap_or("").to_owned();
    let new = NewConfirmations { site: site.to_owned(), name, at: None, lines: vec![line] };
    tubtrail.confirm_recall_lines(request, recall, new).map(drop)
}

fn grams(texts: &Texts, fields: &Fields) -> Result<Option<Grams>, OperationError> {
    let Some(text) = fields.get("grams") else { return Ok(None) };
    let wrong = |_| OperationError::new(&problems::INVALID, say!("write grams as a number, as in 1200.5")).at("grams");
    let grams: serde_json::Number = number(texts, text).parse().map_err(wrong)?;
    serde_json::from_value(grams.into()).map(Some).map_err(wrong)
}

/// The lot whose label was scanned, or whose number was typed.
fn scanned(tubtrail: &Tubtrail, request: &Request, site: &str, text: &str) -> Result<String, OperationError> {
    if text.is_empty() {
        return Err(OperationError::new(&problems::INVALID, say!("scan the tub, or type its number")).at("scan"));
    }
    let new = NewScan { site: site.to_owned(), text: text.to_owned(), symbology: None, also: Vec::new() };
    match tubtrail.scan(request, &new).map_err(|error| error.at("scan"))? {
        Scan::Lot { lot } => Ok(lot.lot),
        Scan::Wrong { reason, .. } => Err(OperationError::new(&problems::INVALID, reason).at("scan")),
        _ => {
            let detail = say!("this is the code of something else, and of no tub");
            Err(OperationError::new(&problems::INVALID, detail).at("scan"))
        }
    }
}

fn read(tubtrail: &Tubtrail, asks: &Request, recall: i64, site: &str) -> Result<Read, OperationError> {
    let list = tubtrail.show_pull_list(asks, recall, site)?;
    Ok(Read { me: tubtrail.show_me(asks)?, site: tubtrail.get(asks, site)?, list })
}

impl Read {
    fn may_confirm(&self) -> bool {
        let is_here = |at: &Option<String>| at.as_ref().is_none_or(|at| *at == self.site.code);
        self.me.roles.iter().any(|at| CONFIRMERS.contains(&at.role) && is_here(&at.site))
    }
}

impl Part {
    fn of(visitor: &Visitor, read: Read, name: &str) -> Self {
        let texts = visitor.texts;
        let zone: chrono_tz::Tz = read.site.time_zone.parse().unwrap_or(chrono_tz::Tz::UTC);
        let clock = |at: chrono::DateTime<chrono::Utc>| at.with_timezone(&zone).format("%Y-%m-%d %H:%M").to_string();
        let row = |line: &RecallLine| Row {
            lot: line.lot.clone(),
            name: line.name.clone(),
            here: here(texts, line),
            is_open: line.open,
            overdue: line.overdue,
            said: line.confirmation.as_ref().map(|said| {
                let outcome = texts.say(&format!("outcome-{}", said.outcome.word()));
                format!("{outcome}: {}, {}, {}", exact(texts, said.grams), said.name, clock(said.at))
            }),
            once: once(),
        };
        Self {
            texts,
            recall: read.list.recall,
            may_confirm: read.may_confirm(),
            site: read.site.code.clone(),
            due: clock(read.list.due_at),
            rows: read.list.lines.iter().map(row).collect(),
            list: read.list,
            name: name.to_owned(),
            mark: visitor.mark.clone(),
        }
    }
}

fn here(texts: &Texts, line: &RecallLine) -> String {
    let stands = line.places.iter().filter(|place| is_here(&place.state));
    let said =
        stands.map(|place| format!("{} {}", exact(texts, place.grams), texts.say(&format!("state-{}", place.state))));
    said.collect::<Vec<_>>().join(", ")
}
