//! The journal.

use std::time::{Duration, Instant};

use actix_web::http::header::CONTENT_ENCODING;
use actix_web::{HttpRequest, HttpResponse, get, web};
use chrono::{DateTime, Utc};
use futures_util::stream;
use serde::Deserialize;
use tubtrail_domain::say;
use tubtrail_operations::journal::{JournalEntry, JournalPage, JournalSearch};
use tubtrail_operations::reach::FOLLOW_CHANGES;
use tubtrail_operations::{OperationError, problems};
use utoipa::IntoParams;
use utoipa_actix_web::service_config::ServiceConfig;

use super::usual;
use crate::body::Query;
use crate::door::SignedIn;
use crate::followers::{Follower, Woken};
use crate::house::{House, Outcome, off_thread, query};
use crate::problem::Problem;

/// Entries read at a time.
const CHUNK: u32 = 100;
/// How long nothing is sent at most.
const HEARTBEAT: Duration = Duration::from_secs(15);
/// How long one is followed; whoever goes on comes back.
const AT_MOST: Duration = Duration::from_mins(5);

pub fn configure(config: &mut ServiceConfig) {
    config.service(list_journal).service(follow_changes);
}

/// Which entries, and which page of them.
#[derive(Debug, Deserialize, IntoParams)]
#[serde(deny_unknown_fields)]
#[into_params(parameter_in = Query)]
struct JournalAsked {
    /// The `next` of the page before: entries older than this one.
    #[param(minimum = 1)]
    before: Option<i64>,
    /// By whom: `user:LOGIN`, `device:CODE` or `system`.
    #[param(max_length = 100)]
    actor: Option<String>,
    /// Which operation.
    #[param(max_length = 60, example = "receive_delivery")]
    operation: Option<String>,
    /// At which site, by code.
    #[param(max_length = 40)]
    site: Option<String>,
    /// Only what was committed before this moment.
    until: Option<DateTime<Utc>>,
    /// Most entries on the page, 1 to 200.
    #[param(minimum = 1, maximum = 200)]
    #[serde(default = "usual", deserialize_with = "tubtrail_operations::journal::limit")]
    limit: u32,
}

/// From where to follow.
#[derive(Debug, Deserialize, IntoParams)]
#[serde(deny_unknown_fields)]
#[into_params(parameter_in = Query)]
struct ChangesAsked {
    /// The last entry already known; the header `Last-Event-ID` goes before it. From the beginning, if neither is sent.
    #[param(minimum = 0)]
    #[serde(default)]
    after: i64,
}

/// The journal, newest first. Needs a role at every site.
#[utoipa::path(tag = "journal", params(JournalAsked), responses((status = 200, body = JournalPage)))]
#[get("/v1/journal")]
async fn list_journal(house: House, signed_in: SignedIn, asked: Query<JournalAsked>) -> Outcome {
    let JournalAsked { before, actor, operation, site, until, limit } = asked.0;
    let search = JournalSearch { before, actor, operation, site, until };
    query(house, signed_in, move |house, request| house.list_journal(request, &search, limit)).await
}

/// The journal as it grows, as server-sent events: `id` the entry's position, `event` its operation, `data` the entry as
/// `list_journal` gives it. Needs a role at every site.
///
/// After a break send the last `id` as `Last-Event-ID`, as browsers do by themselves: nothing is missed. A comment every 15
/// seconds says that the line is up. The stream ends as soon as who follows may no longer, and after five minutes in any case:
/// come back then.
/// At most 64 follow at a time.
#[utoipa::path(tag = "journal",
    params(ChangesAsked, ("Last-Event-ID" = Option<i64>, Header, description = "The last entry already known")),
    responses((status = 200, content_type = "text/event-stream", body = String,
        example = "id: 8000\nevent: start_batch\ndata: {}\n\n")))]
#[get("/v1/changes")]
async fn follow_changes(house: House, signed_in: SignedIn, asked: Query<ChangesAsked>, sent: HttpRequest) -> Outcome {
    let after = last_event_id(&sent)?.unwrap_or(asked.0.after);
    let mut following =
        Following { follower: house.followers.join()?, signed_in, after, until: Instant::now() + AT_MOST, house };
    // Whoever may not, or comes from beyond the end, is told before the stream begins.
    let first = format!("retry: 1000\n\n{}", following.news().await?);
    let first = stream::once(async move { Ok::<_, Problem>(web::Bytes::from(first)) });
    let rest = stream::try_unfold(following, |mut following| async move {
        let text = following.next().await?;
        Ok(text.map(|text| (web::Bytes::from(text), following)))
    });
    let mut response = HttpResponse::Ok();
    response.content_type("text/event-stream").insert_header((CONTENT_ENCODING, "identity"));
    Ok(response.streaming(stream::StreamExt::chain(first, rest)))
}

fn last_event_id(request: &HttpRequest) -> Result<Option<i64>, Problem> {
    let Some(header) = request.headers().get("Last-Event-ID") else { return Ok(None) };
    let number = header.to_str().ok().and_then(|text| text.trim().parse().ok());
    let invalid =
        || OperationError::new(&problems::INVALID, say!("this is the position of a journal entry")).at("Last-Event-ID");
    Ok(Some(number.ok_or_else(invalid)?))
}

struct Following {
    follower: Follower,
    signed_in: SignedIn,
    after: i64,
    until: Instant,
    house: House,
}

impl Following {
    /// What to send next; nothing at the end.
    async fn next(&mut self) -> Result<Option<String>, Problem> {
        let heartbeat = Instant::now() + HEARTBEAT;
        loop {
            if self.follower.is_sent_home() || Instant::now() >= self.until {
                return Ok(None);
            }
            let news = match self.news().await {
                Err(problem) if problem.turns_away() => return Ok(None),
                news => news?,
            };
            if !news.is_empty() {
                return Ok(Some(news));
            }
            match self.follower.wait(&self.house, heartbeat.min(self.until)).await? {
                Woken::News | Woken::Stop => {}
                Woken::Time if Instant::now() >= self.until => {}
                Woken::Time => return Ok(Some(": still here\n\n".to_owned())),
            }
        }
    }

    /// The entries after the last one sent, as events; empty if there are none yet.
    async fn news(&mut self) -> Result<String, Problem> {
        self.follower.look();
        let (house, request, after) = (self.house.clone(), self.signed_in.clone().into_request(None), self.after);
        let entries = off_thread(move || house.tubtrail.follow_changes(&request, after, CHUNK)).await?;
        if entries.is_empty() {
            return Ok(String::new());
        }
        // After it was read: whoever may still read it now might when it was read.
        self.signed_in.again(&self.house).await?;
        self.signed_in.actor().may_everywhere(&FOLLOW_CHANGES)?;
        self.after = entries.last().map_or(self.after, |entry| entry.seq);
        entries.iter().map(event).collect()
    }
}

fn event(entry: &JournalEntry) -> Result<String, Problem> {
    let data = serde_json::to_string(entry).map_err(|error| Problem::internal(&error))?;
    Ok(format!("id: {}\nevent: {}\ndata: {data}\n\n", entry.seq, entry.operation))
}
