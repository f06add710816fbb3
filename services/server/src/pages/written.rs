//! Papers to take along: begun by a button, fetched at once where they are made at once, else after a page that shows how far
//! they are.

use std::time::Duration;

use actix_web::http::StatusCode;
use actix_web::http::header::{CONTENT_DISPOSITION, CONTENT_TYPE};
use actix_web::{HttpRequest, HttpResponse, get, web};
use askama::Template;
use serde::Serialize;
use tubtrail_domain::say;
use tubtrail_operations::{OperationError, problems};

use super::elsewhere::not_here;
use super::marks::once;
use super::page::{Frame, Shown, Unable, render};
use super::texts::Texts;
use super::visitor::Visitor;
use crate::house::{House, off_thread};
use crate::problem::Problem;
use crate::reports::{Paper, Papers, ReportFormat, Source, Stand};

/// How long a browser is kept waiting for what may be made at once, and how often is looked.
const AT_ONCE: Duration = Duration::from_millis(1200);
const LOOKS: u32 = 24;

/// What is said where a paper is not known, and where one can be asked for again.
const ELSEWHERE: (&str, &str) = ("paper", "/recalls");

pub fn configure(config: &mut web::ServiceConfig) {
    config.service(paper).service(paper_state).service(paper_file);
}

#[derive(Template)]
#[template(path = "paper.html")]
struct PaperPage {
    frame: Frame,
    name: String,
    back: String,
    state: State,
    part: String,
    is_being_made: bool,
}

/// How far it is: the part of the page that changes.
#[derive(Template)]
#[template(path = "paper_state.html")]
struct State {
    texts: &'static Texts,
    name: String,
    read: usize,
    total: usize,
    said: String,
    file: Option<String>,
    is_over: bool,
}

/// A format that is sent as it is made.
pub fn streamed(format: &str) -> Result<ReportFormat, Problem> {
    match format {
        "csv" => Ok(ReportFormat::Csv),
        "json" => Ok(ReportFormat::Json),
        "txt" => Ok(ReportFormat::Txt),
        _ => Err(unknown(format)),
    }
}

fn unknown(format: &str) -> Problem {
    OperationError::new(&problems::NOT_FOUND, say!("there is no report as {format}", format)).into()
}

/// Begins a paper or a spreadsheet; answers its number.
pub fn begin<S, L>(
    house: &House,
    actor: &str,
    format: &str,
    source: Source<S, L>,
    back: &str,
) -> Result<String, Problem>
where
    S: Send + 'static,
    L: Serialize + Send + 'static,
{
    let format = match format {
        "pdf" => ReportFormat::Pdf,
        "xlsx" => ReportFormat::Xlsx,
        _ => return Err(unknown(format)),
    };
    let number = once();
    if number.is_empty() {
        return Err(Problem::internal(&"no random numbers"));
    }
    Papers::begin(house, house.traces.take()?, actor, format, source, (number, back))
}

/// Where to go next: to the file, if that is made soon, else to the page that shows how far it is.
pub async fn soon(house: &House, actor: &str, job: &str) -> String {
    for _ in 0..LOOKS {
        match house.papers.get(actor, job).map(|job| job.stand()) {
            Some(Stand::Making) => actix_web::rt::time::sleep(AT_ONCE / LOOKS).await,
            Some(Stand::Made(_)) => return format!("/papers/{job}/file"),
            _ => break,
        }
    }
    format!("/papers/{job}")
}

/// How far a paper is.
#[get("/papers/{job}")]
async fn paper(house: House, visitor: Visitor, request: HttpRequest, number: web::Path<String>) -> Shown {
    let Some(job) = house.papers.get(&visitor.asks().actor.name, &number) else {
        return not_here(house, &visitor, &request, ELSEWHERE).await;
    };
    let asks = visitor.asks();
    let me = off_thread(move || house.tubtrail.show_me(&asks)).await.map_err(Unable::of(&request))?;
    let state = State::of(visitor.texts, &number, &job);
    let page = PaperPage {
        frame: Frame::of(&visitor, &request, me),
        name: job.name.clone(),
        back: job.back.clone(),
        part: format!("/papers/{number}/state"),
        is_being_made: !state.is_over,
        state,
    };
    Ok(render(StatusCode::OK, &page))
}

/// The same, the part that changes alone.
#[get("/papers/{job}/state")]
async fn paper_state(house: House, visitor: Visitor, request: HttpRequest, number: web::Path<String>) -> Shown {
    let Some(job) = house.papers.get(&visitor.asks().actor.name, &number) else {
        return not_here(house, &visitor, &request, ELSEWHERE).await;
    };
    Ok(render(StatusCode::OK, &State::of(visitor.texts, &number, &job)))
}

/// The paper.
#[get("/papers/{job}/file")]
async fn paper_file(house: House, visitor: Visitor, request: HttpRequest, number: web::Path<String>) -> Shown {
    let Some(job) = house.papers.get(&visitor.asks().actor.name, &number) else {
        return not_here(house, &visitor, &request, ELSEWHERE).await;
    };
    let Stand::Made(bytes) = job.stand() else {
        let error = OperationError::new(&problems::NOT_FOUND, say!("this paper is not made"));
        return Err(Unable::problem(&request, error.into()));
    };
    Ok(HttpResponse::Ok()
        .insert_header((CONTENT_TYPE, job.format.media_type()))
        .insert_header((CONTENT_DISPOSITION, format!("attachment; filename=\"{}\"", job.name)))
        .body(bytes))
}

impl State {
    fn of(texts: &'static Texts, number: &str, job: &Paper) -> Self {
        let (read, total) = (job.read().to_string(), job.total.to_string());
        let stand = job.stand();
        let said = match stand {
            // All is read long before all pages are laid out.
            Stand::Making if job.read() >= job.total => texts.say_of("paper-laying-out", "total", &total),
            Stand::Making => texts.say_with("paper-making", &[("read", &read), ("total", &total)]),
            Stand::Made(_) => texts.say("paper-made"),
            Stand::Failed => texts.say("paper-failed"),
        };
        Self {
            texts,
            name: job.name.clone(),
            read: job.read(),
            total: job.total.max(1),
            said: said.into_owned(),
            file: matches!(stand, Stand::Made(_)).then(|| format!("/papers/{number}/file")),
            is_over: !matches!(stand, Stand::Making),
        }
    }
}
