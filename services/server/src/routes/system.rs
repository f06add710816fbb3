//! What the house says of itself: whether it is up, what it measured, its description, and what each problem means.

use std::fmt::Write as _;
use std::sync::LazyLock;

use actix_web::{HttpResponse, get, web};
use serde::Serialize;
use tubtrail_domain::say;
use tubtrail_operations::installation::Installation;
use tubtrail_operations::problems::{self, Sort};
use tubtrail_operations::{OperationError, StorageError};
use utoipa::ToSchema;
use utoipa_actix_web::service_config::ServiceConfig;

use crate::door::SignedIn;
use crate::house::{House, Outcome, off_thread, query};
use crate::problem::Problem;
use crate::telemetry;

pub fn configure(config: &mut ServiceConfig) {
    config
        .service(show_health)
        .service(show_readiness)
        .service(show_metrics)
        .service(show_installation)
        .service(show_description)
        .service(list_problems)
        .service(explain_problem);
}

/// The server's state.
#[derive(Serialize, ToSchema)]
#[schema(example = json!({"status": "up"}))]
struct Health {
    /// `up`.
    status: &'static str,
}

/// Whether the server can do its work.
#[derive(Serialize, ToSchema)]
#[schema(example = json!({"status": "ready", "position": 4711}))]
struct Readiness {
    /// `ready`.
    status: &'static str,
    /// The last journal entry, which the index holds.
    position: i64,
}

/// The process is up. Says nothing of the database.
#[utoipa::path(tag = "system", responses((status = 200, body = Health)))]
#[get("/healthz")]
async fn show_health() -> HttpResponse {
    HttpResponse::Ok().json(Health { status: "up" })
}

/// The database answers, the writer is at work, and the index holds the last entry; otherwise 503.
#[utoipa::path(tag = "system", responses((status = 200, body = Readiness)))]
#[get("/readyz")]
async fn show_readiness(house: House) -> Outcome {
    let position = off_thread(move || house.tubtrail.is_ready().map_err(not_ready)).await?;
    Ok(HttpResponse::Ok().json(Readiness { status: "ready", position }))
}

/// Whatever the cause, whoever asks should come back later.
fn not_ready(error: OperationError) -> OperationError {
    let mut unavailable =
        OperationError::new(&problems::UNAVAILABLE, say!("the database does not answer, or nothing can be written"));
    unavailable.cause = error.cause.or(Some(Box::new(StorageError::Connect(error.detail.to_string()))));
    unavailable
}

/// Measurements, in Prometheus' text format.
#[utoipa::path(tag = "system", responses((status = 200, body = String, content_type = "text/plain",
    example = "tubtrail_journal_position 4711")))]
#[get("/metrics")]
async fn show_metrics(house: House) -> HttpResponse {
    // Without the database the rest is still worth having.
    if let Ok(position) = off_thread(move || house.tubtrail.is_ready()).await {
        #[allow(clippy::cast_precision_loss)] // Journals have fewer than 2^52 entries.
        metrics::gauge!("tubtrail_journal_position").set(position as f64);
    }
    HttpResponse::Ok().content_type("text/plain; version=0.0.4; charset=utf-8").body(telemetry::render())
}

/// How the installation is: which database, how far the index is behind it, how much room is left. Needs a role at every site.
#[utoipa::path(tag = "system", responses((status = 200, body = Installation)))]
#[get("/v1/installation")]
async fn show_installation(house: House, signed_in: SignedIn) -> Outcome {
    query(house, signed_in, |house, request| house.show_installation(request)).await
}

/// This description (OpenAPI 3.1).
#[utoipa::path(tag = "system", responses((status = 200, body = serde_json::Value, content_type = "application/json",
    example = json!({"openapi": "3.1.0"}))))]
#[get("/openapi.json")]
async fn show_description() -> Outcome {
    static TEXT: LazyLock<Result<String, String>> =
        LazyLock::new(|| crate::api::text().map_err(|error| error.to_string()));
    match &*TEXT {
        Ok(text) => Ok(HttpResponse::Ok().content_type("application/json").body(text.as_str())),
        Err(error) => Err(Problem::internal(error)),
    }
}

/// Every problem an answer can name.
#[utoipa::path(tag = "system", responses((status = 200, body = String, content_type = "text/plain",
    example = "409  not-enough  There is not that much of it there.")))]
#[get("/problems")]
async fn list_problems() -> HttpResponse {
    let mut text = String::new();
    for problem in problems::ALL {
        let status = Problem::status_of(problem.sort).as_u16();
        let _ = writeln!(text, "{status}  {}  {}", problem.word, problem.title);
    }
    HttpResponse::Ok().content_type("text/plain; charset=utf-8").body(text)
}

/// What a problem means.
#[utoipa::path(tag = "system", params(("word", description = "Its word, as in its type")),
    responses((status = 200, body = String, content_type = "text/plain",
    example = "not-enough\n\nThere is not that much of it there.\n")))]
#[get("/problems/{word}")]
async fn explain_problem(word: web::Path<String>) -> Outcome {
    let problem = problems::ALL.iter().find(|problem| problem.word == *word);
    let problem = problem.ok_or_else(|| OperationError::not_found(say!("problem"), word.as_str()))?;
    let status = Problem::status_of(problem.sort).as_u16();
    let text = format!("{}\n\n{}\n\nStatus {status}. {}\n", problem.word, problem.title, meaning(problem.sort));
    Ok(HttpResponse::Ok().content_type("text/plain; charset=utf-8").body(text))
}

fn meaning(sort: Sort) -> &'static str {
    match sort {
        Sort::Malformed => "The request could not be read; nothing was done. Send it again in another form.",
        Sort::NotSignedIn => "Nobody known asks; nothing was done. Sign in and send the token.",
        Sort::Forbidden => "You are known, and your roles do not allow this anywhere, or not there; nothing was done.",
        Sort::NotFound => "It is not there, or at a site where you have no role; nothing was done.",
        Sort::WrongMethod => "The Allow header names the methods that are taken here; nothing was done.",
        Sort::WrongType => "The detail names the content types that are taken here; nothing was done.",
        Sort::Refused => "The request is well said, but the state of things speaks against it; nothing was done.",
        Sort::Invalid => "The request was read and makes no sense; nothing was done. `field` names what is at fault.",
        Sort::TooLarge => "Nothing was done. Send less at a time.",
        Sort::TooMany => "Nothing was done. The Retry-After header says how many seconds to wait.",
        Sort::Unavailable => {
            "Try again with the same Idempotency-Key: what was done is then found done, and not done twice."
        }
        Sort::Internal => "The fault is ours. The log has its cause under the id in the X-Request-Id header.",
    }
}
