//! What keeps an open page current: a line that says that it is up, and when something was written down: anything, or something
//! that concerns a recall.

use std::time::{Duration, Instant};

use actix_web::http::header::CONTENT_ENCODING;
use actix_web::{HttpRequest, HttpResponse, get, web};
use futures_util::stream;
use tubtrail_domain::say;
use tubtrail_operations::recalls::RecallSeen;
use tubtrail_operations::{OperationError, Request};

use super::fields::Fields;
use super::page::{Shown, Unable};
use super::visitor::Visitor;
use crate::door::SignedIn;
use crate::followers::{Follower, Woken};
use crate::house::{House, off_thread};
use crate::problem::Problem;

/// A page takes the line for dead after three of these.
const BEAT: Duration = Duration::from_secs(2);
/// How long one line lasts; the page then takes the next.
const AT_MOST: Duration = Duration::from_mins(10);
/// How often it is looked whether something concerns a recall, and told, at most.
const LOOK_EVERY: Duration = Duration::from_secs(1);

pub fn configure(config: &mut web::ServiceConfig) {
    config.service(live);
}

struct Line {
    house: House,
    follower: Follower,
    signed_in: SignedIn,
    until: Instant,
    case: Option<Case>,
}

/// A recall that is followed.
struct Case {
    recall: i64,
    asks: Request,
    seen: RecallSeen,
    looked: Instant,
    /// Something of it was not told yet.
    is_news: bool,
}

/// Server-sent events: `news` when something was written down anywhere after the journal's entry `since`, which the page shows,
/// `beat` while nothing was. With `recall`, only what concerns that one is news, and no more often than once a second.
#[get("/live")]
async fn live(house: House, visitor: Visitor, request: HttpRequest) -> Shown {
    let mut follower = house.followers.join().map_err(Unable::of(&request))?;
    let heard = follower.look();
    let is_behind = is_behind(&visitor, &request, heard).map_err(|error| Unable::problem(&request, error.into()))?;
    let case = Case::asked(&visitor, &request).map_err(|error| Unable::problem(&request, error.into()))?;
    let case = match case {
        Some(case) => Some(case.look(&house).await.map_err(Unable::of(&request))?),
        None => None,
    };
    let line = Line { house, follower, signed_in: visitor.signed_in, until: Instant::now() + AT_MOST, case };
    // Something may have been written down while the page was on its way.
    let said = if is_behind && line.case.is_none() { "news" } else { "beat" };
    let first = format!("retry: 1000\n\nevent: {said}\ndata:\n\n");
    let first = stream::once(async { Ok::<_, Problem>(web::Bytes::from(first)) });
    let rest = stream::try_unfold(line, |mut line| async move {
        let said = line.next().await?;
        Ok(said.map(|said| (web::Bytes::from(said), line)))
    });
    let mut response = HttpResponse::Ok();
    response.content_type("text/event-stream").insert_header((CONTENT_ENCODING, "identity"));
    Ok(response.streaming(stream::StreamExt::chain(first, rest)))
}

/// Whether something was written down after the entry that a page shows.
fn is_behind(visitor: &Visitor, request: &HttpRequest, heard: i64) -> Result<bool, OperationError> {
    let since = number_asked(&Fields::parse(request.query_string().as_bytes()), "since")?;
    let last = visitor.asks().as_of.unwrap_or(0).max(heard);
    Ok(since.is_some_and(|since| since < last))
}

/// A number in an address.
fn number_asked(asked: &Fields, name: &str) -> Result<Option<i64>, OperationError> {
    let number = |text: &str| {
        text.parse::<i64>().map_err(|_| OperationError::invalid(name, say!("this is to be a whole number")))
    };
    asked.get(name).map(number).transpose()
}

impl Line {
    async fn next(&mut self) -> Result<Option<String>, Problem> {
        let beat = Instant::now() + BEAT;
        loop {
            if self.follower.is_sent_home() || Instant::now() >= self.until {
                return Ok(None);
            }
            if let Some(case) = self.case.as_mut().filter(|case| case.is_news) {
                case.is_news = false;
                return Ok(Some(format!("event: news\nid: {}\ndata:\n\n", case.seen.entry())));
            }
            let woken = self.follower.wait(&self.house, beat).await?;
            // Whoever may come in no more hears no more.
            match self.signed_in.again(&self.house).await {
                Err(problem) if problem.turns_away() => return Ok(None),
                known => known?,
            }
            match (woken, self.case.take()) {
                (Woken::Stop, _) => return Ok(None),
                (Woken::Time, case) => {
                    self.case = case;
                    return Ok(Some("event: beat\ndata:\n\n".to_owned()));
                }
                (Woken::News, None) => {
                    self.follower.look();
                    return Ok(Some("event: news\ndata:\n\n".to_owned()));
                }
                (Woken::News, Some(case)) => {
                    actix_web::rt::time::sleep(LOOK_EVERY.saturating_sub(case.looked.elapsed())).await;
                    self.follower.look();
                    self.case = Some(case.look(&self.house).await?);
                }
            }
        }
    }
}

impl Case {
    /// The recall that an address asks for. A browser that lost the line says itself how far it heard.
    fn asked(visitor: &Visitor, request: &HttpRequest) -> Result<Option<Self>, OperationError> {
        let asked = Fields::parse(request.query_string().as_bytes());
        let Some(recall) = number_asked(&asked, "recall")? else { return Ok(None) };
        let heard = request.headers().get("Last-Event-ID").and_then(|value| value.to_str().ok()?.parse().ok());
        let since = number_asked(&asked, "since")?;
        let seen = RecallSeen::until(heard.or(since).unwrap_or(0));
        let (asks, looked) = (visitor.asks(), Instant::now());
        Ok(Some(Self { recall, asks, seen, looked, is_news: false }))
    }

    /// Looks whether there is anything new of it.
    async fn look(mut self, house: &House) -> Result<Self, Problem> {
        let (at, asks, recall, seen) = (house.clone(), self.asks.clone(), self.recall, self.seen);
        let (seen, is_news) = off_thread(move || at.tubtrail.follow_recall(&asks, recall, seen)).await?;
        (self.seen, self.is_news, self.looked) = (seen, self.is_news || is_news, Instant::now());
        Ok(self)
    }
}
