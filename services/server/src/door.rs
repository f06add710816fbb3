//! The door: who asks, and what the journal should know of the request.

use actix_web::dev::Payload;
use actix_web::http::header::{AUTHORIZATION, HeaderMap};
use actix_web::{FromRequest, HttpMessage, HttpRequest, web};
use futures_util::future::LocalBoxFuture;
use tracing_actix_web::RequestId;
use tubtrail_operations::{Actor, OperationError, Request, problems};

use crate::house::{House, off_thread};
use crate::problem::Problem;

/// What tells who someone is.
pub struct Door {}

impl Door {
    /// Who a bearer token stands for. Blocks.
    fn identify(&self, _house: &crate::house::Inside, _bearer: &str) -> Result<Actor, OperationError> {
        Err(OperationError::new(&problems::NOT_SIGNED_IN, "sign in first"))
    }
}

/// Someone known asks.
pub struct SignedIn {
    actor: Actor,
    request_id: Option<String>,
    key: Option<String>,
}

impl SignedIn {
    /// As the operations know it; `hash` is the request's, for commands.
    pub fn into_request(self, hash: Option<&str>) -> Request {
        let key = self.key.zip(hash).map(|(key, hash)| tubtrail_operations::Key { key, request_hash: hash.to_owned() });
        Request { actor: self.actor, request_id: self.request_id, key }
    }
}

impl FromRequest for SignedIn {
    type Error = Problem;
    type Future = LocalBoxFuture<'static, Result<Self, Problem>>;

    fn from_request(request: &HttpRequest, _: &mut Payload) -> Self::Future {
        let request = request.clone();
        Box::pin(async move {
            let bearer = bearer(request.headers())?;
            let key = idempotency_key(request.headers())?;
            let request_id = request.extensions().get::<RequestId>().map(ToString::to_string);
            let house = house(&request)?;
            let actor = off_thread(move || house.door.identify(&house, &bearer)).await?;
            Ok(Self { actor, request_id, key })
        })
    }
}

fn house(request: &HttpRequest) -> Result<House, Problem> {
    request.app_data::<web::Data<crate::house::Inside>>().cloned().ok_or_else(|| Problem::internal(&"no house"))
}

fn bearer(headers: &HeaderMap) -> Result<String, Problem> {
    let refused = || OperationError::new(&problems::NOT_SIGNED_IN, "send Authorization: Bearer and your token");
    let header = headers.get(AUTHORIZATION).ok_or_else(refused)?.to_str().map_err(|_| refused())?;
    let (scheme, token) = header.split_once(' ').ok_or_else(refused)?;
    if scheme.eq_ignore_ascii_case("bearer") { Ok(token.trim().to_owned()) } else { Err(refused().into()) }
}

/// The key as sent, its quotes taken off (a structured-field string has them, many clients leave them out).
fn idempotency_key(headers: &HeaderMap) -> Result<Option<String>, Problem> {
    let Some(header) = headers.get("Idempotency-Key") else { return Ok(None) };
    let text = header.to_str().unwrap_or("");
    let key = text.strip_prefix('"').and_then(|text| text.strip_suffix('"')).unwrap_or(text);
    let fits = (1..=100).contains(&key.len()) && key.bytes().all(|byte| byte.is_ascii_graphic() && byte != b'"');
    if fits {
        return Ok(Some(key.to_owned()));
    }
    let detail = "an Idempotency-Key is 1 to 100 visible ASCII characters";
    Err(OperationError::new(&problems::MALFORMED, detail).at("Idempotency-Key").into())
}
