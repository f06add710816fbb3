//! Who looks at a page: known by the session in a cookie, which carries what the API's `Authorization` does.
//!
//! What changes something comes from a form of our own pages alone: the browser says so itself (`Sec-Fetch-Site`, else
//! `Origin`), and the form repeats a mark that only pages of this session hold.

use std::future::Future;
use std::pin::Pin;

use actix_web::cookie::time::Duration;
use actix_web::cookie::{Cookie, SameSite};
use actix_web::dev::Payload;
use actix_web::http::header::{HOST, ORIGIN};
use actix_web::{FromRequest, HttpRequest, web};
use chrono::{DateTime, Utc};
use tubtrail_domain::say;
use tubtrail_domain::saying::Saying;
use tubtrail_operations::{Key, OperationError, Request, problems};

use super::fields::Fields;
use super::marks::digest;
use super::page::Unable;
use super::texts::Texts;
use crate::door::{SignedIn, request_id};
use crate::house::{House, Inside};
use crate::problem::Problem;

/// The cookie that holds the session.
pub const COOKIE: &str = "tubtrail_session";
/// The field in which a form repeats the session's mark.
pub const MARK: &str = "mark";
/// The field that tells the same form sent twice from two forms.
pub const ONCE: &str = "once";

/// Somebody who is signed in.
#[derive(Clone)]
pub struct Visitor {
    /// As the operations know them.
    pub signed_in: SignedIn,
    /// The texts of their language.
    pub texts: &'static Texts,
    /// What a form of this session repeats.
    pub mark: String,
}

/// What a form of ours sent, from somebody who is signed in.
pub struct Sent {
    /// Who.
    pub visitor: Visitor,
    /// What.
    pub fields: Fields,
}

impl Visitor {
    /// As the operations know them, for a read.
    pub fn asks(&self) -> Request {
        self.signed_in.clone().into_request(None)
    }

    /// Who sends a form, if it is one of our own.
    pub async fn of_ours(request: &HttpRequest) -> Result<Self, Unable> {
        let visitor = visitor(request).await?;
        refuse_strangers(request).map_err(|error| Unable::problem(request, error.into()))?;
        Ok(visitor)
    }

    /// Refuses a form that does not repeat the session's mark.
    pub fn expect_mark(&self, fields: &Fields) -> Result<(), OperationError> {
        if fields.get(MARK) == Some(self.mark.as_str()) {
            return Ok(());
        }
        Err(malformed(say!("this form is of an earlier session: go back and load the page again")))
    }
}

impl Sent {
    /// As the operations know them, for a command: the same form sent twice is done once.
    pub fn commands(&self, path: &str) -> Request {
        self.commands_part(path, "")
    }

    /// The same for one of several commands that a form gives: `part` tells it from the others.
    pub fn commands_part(&self, path: &str, part: &str) -> Request {
        let mut request = self.visitor.asks();
        let key =
            self.fields.get(ONCE).map(|once| if part.is_empty() { once.to_owned() } else { format!("{once}.{part}") });
        let key = key.filter(|key| (1..=100).contains(&key.len()));
        request.key = key.map(|key| Key { key, request_hash: digest(&[path, part, &self.fields.to_string()]) });
        request
    }
}

impl FromRequest for Visitor {
    type Error = Unable;
    type Future = Pin<Box<dyn Future<Output = Result<Self, Unable>>>>;

    fn from_request(request: &HttpRequest, _: &mut Payload) -> Self::Future {
        let request = request.clone();
        Box::pin(async move { visitor(&request).await })
    }
}

impl FromRequest for Sent {
    type Error = Unable;
    type Future = Pin<Box<dyn Future<Output = Result<Self, Unable>>>>;

    fn from_request(request: &HttpRequest, payload: &mut Payload) -> Self::Future {
        let body = web::Bytes::from_request(request, payload);
        let request = request.clone();
        Box::pin(async move {
            let visitor = Visitor::of_ours(&request).await?;
            let unable = |error: OperationError| Unable::problem(&request, error.into());
            let body = body.await.map_err(|_| unable(malformed(say!("the form could not be read"))))?;
            let fields = Fields::parse(&body);
            visitor.expect_mark(&fields).map_err(unable)?;
            Ok(Self { visitor, fields })
        })
    }
}

/// The fields of a form that anybody may send from our own pages.
pub async fn sent_by_anyone(request: &HttpRequest, body: &web::Bytes) -> Result<Fields, Unable> {
    refuse_strangers(request).map_err(|error| Unable::problem(request, error.into()))?;
    Ok(Fields::parse(body))
}

async fn visitor(request: &HttpRequest) -> Result<Visitor, Unable> {
    let house: House = request
        .app_data::<web::Data<Inside>>()
        .cloned()
        .ok_or_else(|| Unable::problem(request, Problem::internal(&"no house")))?;
    let Some(cookie) = request.cookie(COOKIE) else { return Err(Unable::not_signed_in(request)) };
    let bearer = cookie.value().to_owned();
    let signed_in = match SignedIn::by(house, bearer.clone(), request_id(request)).await {
        Err(problem) if problem.turns_away() => return Err(Unable::not_signed_in(request)),
        known => known.map_err(|problem| Unable::problem(request, problem))?,
    };
    let mark = digest(&["form", &bearer]);
    Ok(Visitor { signed_in, texts: Texts::wanted(request), mark })
}

/// Refuses what another site's page sent.
fn refuse_strangers(request: &HttpRequest) -> Result<(), OperationError> {
    let header = |name: &str| request.headers().get(name).and_then(|value| value.to_str().ok());
    let is_ours = match header("Sec-Fetch-Site") {
        Some(site) => site == "same-origin",
        None => match (header(ORIGIN.as_str()), header(HOST.as_str())) {
            (Some(origin), Some(host)) => origin.split_once("://").is_some_and(|(_, from)| from == host),
            _ => false,
        },
    };
    if is_ours { Ok(()) } else { Err(malformed(say!("this form was not sent by a page of this server"))) }
}

fn malformed(detail: Saying) -> OperationError {
    OperationError::new(&problems::MALFORMED, detail)
}

/// The cookie of a session that lasts until then.
pub fn session_cookie(request: &HttpRequest, token: String, until: DateTime<Utc>) -> Cookie<'static> {
    let left = (until - Utc::now()).num_seconds().max(0);
    cookie(request, COOKIE, token, Duration::seconds(left))
}

/// A cookie that scripts cannot read and other sites' forms do not carry; over TLS, it never travels without.
pub fn cookie(request: &HttpRequest, name: &'static str, value: String, lasts: Duration) -> Cookie<'static> {
    Cookie::build(name, value)
        .path("/")
        .http_only(true)
        .same_site(SameSite::Lax)
        .secure(request.connection_info().scheme() == "https")
        .max_age(lasts)
        .finish()
}
