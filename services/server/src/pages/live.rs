//! What keeps an open page current: a line that says that it is up, and when something was written down.

use std::time::{Duration, Instant};

use actix_web::http::header::CONTENT_ENCODING;
use actix_web::{HttpRequest, HttpResponse, get, web};
use futures_util::stream;

use super::page::{Shown, Unable};
use super::visitor::Visitor;
use crate::door::SignedIn;
use crate::followers::{Follower, Woken};
use crate::house::House;
use crate::problem::Problem;

/// A page takes the line for dead after three of these.
const BEAT: Duration = Duration::from_secs(2);
/// How long one line lasts; the page then takes the next.
const AT_MOST: Duration = Duration::from_mins(10);

pub fn configure(config: &mut web::ServiceConfig) {
    config.service(live);
}

struct Line {
    house: House,
    follower: Follower,
    signed_in: SignedIn,
    until: Instant,
}

/// Server-sent events: `news` when something was written down anywhere, `beat` while nothing was.
#[get("/live")]
async fn live(house: House, visitor: Visitor, request: HttpRequest) -> Shown {
    let mut follower = house.followers.join().map_err(Unable::of(&request))?;
    follower.look();
    let line = Line { house, follower, signed_in: visitor.signed_in, until: Instant::now() + AT_MOST };
    let first = stream::once(async { Ok::<_, Problem>(web::Bytes::from("retry: 1000\n\nevent: beat\ndata:\n\n")) });
    let rest = stream::try_unfold(line, |mut line| async move {
        let said = line.next().await?;
        Ok(said.map(|said| (web::Bytes::from(said), line)))
    });
    let mut response = HttpResponse::Ok();
    response.content_type("text/event-stream").insert_header((CONTENT_ENCODING, "identity"));
    Ok(response.streaming(stream::StreamExt::chain(first, rest)))
}

impl Line {
    async fn next(&mut self) -> Result<Option<&'static str>, Problem> {
        if self.follower.is_sent_home() || Instant::now() >= self.until {
            return Ok(None);
        }
        let woken = self.follower.wait(&self.house, Instant::now() + BEAT).await?;
        // Whoever may come in no more hears no more.
        match self.signed_in.again(&self.house).await {
            Err(problem) if problem.turns_away() => return Ok(None),
            known => known?,
        }
        Ok(match woken {
            Woken::News => {
                self.follower.look();
                Some("event: news\ndata:\n\n")
            }
            Woken::Time => Some("event: beat\ndata:\n\n"),
            Woken::Stop => None,
        })
    }
}
