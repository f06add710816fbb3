//! What every handler shares, and how a handler reaches the operations: off the network threads, for they block.

use std::sync::Arc;

use actix_web::http::StatusCode;
use actix_web::{HttpResponse, web};
use futures_util::future::BoxFuture;
use serde::Serialize;
use serde::de::DeserializeOwned;
use tubtrail_domain::say;
use tubtrail_operations::webhooks::Outgoing;
use tubtrail_operations::{Answered, HandedIn, OperationError, Request, Tubtrail};

use crate::body::{Body, Question};
use crate::door::{Door, SignedIn};
use crate::followers::Followers;
use crate::jobs::Jobs;
use crate::problem::Problem;
use crate::reports::Papers;
use crate::seats::Seats;

/// Most traces that are streamed at a time: each holds the outline of the whole.
const TRACES: usize = 16;

/// What every handler shares.
pub struct Inside {
    /// The operations.
    pub tubtrail: Tubtrail,
    /// Who may come in.
    pub door: Door,
    /// Who follows the journal.
    pub followers: Followers,
    /// The address under which others know this house, if that is set.
    pub public_url: Option<String>,
    /// Who reads a whole trace as it is put together.
    pub traces: Seats,
    /// Papers that are being made, or wait to be fetched.
    pub papers: Papers,
    /// What may be sent out, and where.
    pub outgoing: Outgoing,
    /// Long work that pages watch.
    pub jobs: Jobs,
}

/// A handle to it, for handlers.
pub type House = web::Data<Inside>;

/// What a handler returns.
pub type Outcome = Result<HttpResponse, Problem>;

type Operated<T> = Result<T, OperationError>;

/// Runs a read and answers 200.
pub async fn query<T, F>(house: House, signed_in: SignedIn, read: F) -> Outcome
where
    T: Serialize + Send + 'static,
    F: FnOnce(&Tubtrail, &Request) -> Operated<T> + Send + 'static,
{
    let answer = off_thread(move || read(&house.tubtrail, &signed_in.into_request(None))).await?;
    Ok(HttpResponse::Ok().json(answer))
}

/// Runs a read that is asked for with a body, and answers 200.
pub async fn ask<B, T, F>(house: House, signed_in: SignedIn, question: Question<B>, read: F) -> Outcome
where
    B: Send + 'static,
    T: Serialize + Send + 'static,
    F: FnOnce(&Tubtrail, &Request, B) -> Operated<T> + Send + 'static,
{
    query(house, signed_in, move |house, request| read(house, request, question.0)).await
}

/// Runs a read of which the answer may be at hand, as JSON: then it is given at once, by the thread that asks the network.
pub async fn ask_at_hand<Q, T, F>(
    house: House,
    signed_in: SignedIn,
    question: Q,
    at_hand: impl FnOnce(&Tubtrail, &Request, &Q) -> Option<Operated<String>>,
    read: F,
) -> Outcome
where
    Q: Send + 'static,
    T: Serialize + Send + 'static,
    F: FnOnce(&Tubtrail, &Request, &Q) -> Operated<T> + Send + 'static,
{
    let request = signed_in.into_request(None);
    if let Some(answer) = at_hand(&house.tubtrail, &request, &question) {
        return Ok(HttpResponse::Ok().content_type("application/json").body(answer?));
    }
    let answer = off_thread(move || read(&house.tubtrail, &request, &question)).await?;
    Ok(HttpResponse::Ok().json(answer))
}

/// Runs a command and answers with `status`, the journal entry, and whether it was done before.
pub async fn command<B, T, F>(house: House, signed_in: SignedIn, body: Body<B>, status: StatusCode, run: F) -> Outcome
where
    B: DeserializeOwned + Send + 'static,
    T: Serialize + Send + 'static,
    F: FnOnce(&Tubtrail, &Request, B) -> Operated<Answered<T>> + Send + 'static,
{
    let request = signed_in.into_request(Some(&body.hash));
    let value = body.value;
    let done = off_thread(move || run(&house.tubtrail, &request, value)).await?;
    Ok(done_with(status, &done))
}

/// The same, where all that is asked of the house is asked in the writer's turn: the command is handed in by the thread that
/// asks the network, and no other waits for it.
pub async fn hand_in<B, T>(
    house: House,
    signed_in: SignedIn,
    body: Body<B>,
    status: StatusCode,
    begin: impl FnOnce(&Tubtrail, &Request, B) -> Operated<HandedIn<T>>,
) -> Outcome
where
    T: Serialize,
{
    let request = signed_in.into_request(Some(&body.hash));
    let done = begin(&house.tubtrail, &request, body.value)?.outcome().await?;
    Ok(done_with(status, &done))
}

fn done_with<T: Serialize>(status: StatusCode, done: &Answered<T>) -> HttpResponse {
    let mut response = HttpResponse::build(status);
    response.insert_header(("Tubtrail-Entry", done.entry.to_string()));
    if done.replayed {
        response.insert_header(("Idempotent-Replayed", "true"));
    }
    response.json(&done.answer)
}

/// Runs something that blocks where it may. It begins at once, not only when it is waited for.
pub fn off_thread<T, F>(work: F) -> impl Future<Output = Result<T, Problem>> + Send + use<T, F>
where
    T: Send + 'static,
    F: FnOnce() -> Operated<T> + Send + 'static,
{
    // The span travels along, so that what is logged below carries the request's id.
    let span = tracing::Span::current();
    let begun = web::block(move || span.in_scope(work));
    async move {
        match begun.await {
            Ok(outcome) => outcome.map_err(Problem::from),
            Err(stopped) => Err(Problem::internal(&stopped)),
        }
    }
}

/// What is being read, and what it is read from.
pub type Reading<S, T> = BoxFuture<'static, Result<(T, S), Problem>>;

/// Begins to read on, so that what was read before can be written meanwhile: that takes as long.
pub fn read_on<S, T>(
    house: House,
    mut from: S,
    more: impl FnOnce(&Tubtrail, &mut S) -> Operated<T> + Send + 'static,
) -> Reading<S, T>
where
    S: Send + 'static,
    T: Send + 'static,
{
    Box::pin(off_thread(move || Ok((more(&house.tubtrail, &mut from)?, from))))
}

/// A handle for the life of the server.
pub fn share(tubtrail: Tubtrail, door: Door, public_url: Option<String>, outgoing: Outgoing) -> House {
    let followers = Followers::of(&tubtrail);
    let traces = Seats::new(TRACES, say!("read a whole trace"));
    web::Data::from(Arc::new(Inside {
        tubtrail,
        door,
        followers,
        public_url,
        traces,
        papers: Papers::default(),
        outgoing,
        jobs: Jobs::default(),
    }))
}
