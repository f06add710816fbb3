//! Who asks, settled before anything else of a request is looked at: for every operation of the description that has
//! roles, whatever its handler does or forgets.

use actix_web::body::{BoxBody, MessageBody};
use actix_web::dev::{Payload, ServiceRequest, ServiceResponse};
use actix_web::http::header::{ALLOW, AUTHORIZATION, HeaderMap};
use actix_web::middleware::Next;
use actix_web::{FromRequest, HttpMessage, HttpRequest, ResponseError, web};
use tracing_actix_web::RequestId;
use tubtrail_domain::say;
use tubtrail_operations::reach::Operation;
use tubtrail_operations::{Actor, OperationError, Request, problems};

use super::newest::last_commit;
use crate::house::{House, Inside, off_thread};
use crate::problem::Problem;
use crate::routed::{self, Route, Routed};

/// Someone known asks, who has a role for what they ask somewhere.
#[derive(Clone)]
pub struct SignedIn {
    actor: Actor,
    bearer: String,
    request_id: Option<String>,
    key: Option<String>,
    as_of: Option<i64>,
}

impl SignedIn {
    /// Somebody who was let in by other means than a header, as pages do; what they may do, each operation looks at.
    pub async fn by(house: House, bearer: String, request_id: Option<String>) -> Result<Self, Problem> {
        let as_of = last_commit(&house).await;
        let actor = who(house, bearer.clone(), as_of).await?;
        Ok(Self { actor, bearer, request_id, key: None, as_of })
    }

    /// Who it is by now, for what goes on for long: refuses whoever may come in no more.
    pub async fn again(&mut self, house: &House) -> Result<(), Problem> {
        self.as_of = last_commit(house).await;
        self.actor = who(house.clone(), self.bearer.clone(), self.as_of).await?;
        Ok(())
    }

    /// Who asks.
    pub fn actor(&self) -> &Actor {
        &self.actor
    }

    /// As the operations know it; `hash` is the request's, for commands.
    pub fn into_request(self, hash: Option<&str>) -> Request {
        let key = self.key.zip(hash).map(|(key, hash)| tubtrail_operations::Key { key, request_hash: hash.to_owned() });
        Request { actor: self.actor, request_id: self.request_id, key, as_of: self.as_of }
    }
}

impl FromRequest for SignedIn {
    type Error = Problem;
    type Future = std::future::Ready<Result<Self, Problem>>;

    fn from_request(request: &HttpRequest, _: &mut Payload) -> Self::Future {
        // Nobody is here where the guard saw no operation with roles: such a handler serves nobody.
        let signed_in = request.extensions().get::<Self>().cloned();
        std::future::ready(signed_in.ok_or_else(|| Problem::internal(&"this handler's operation has no roles")))
    }
}

/// Stands before every handler: refuses whoever is not signed in or has no role for the operation anywhere.
pub async fn guard(
    request: ServiceRequest,
    next: Next<impl MessageBody + 'static>,
) -> Result<ServiceResponse<BoxBody>, actix_web::Error> {
    match routed::find(request.method(), request.match_info().as_str()) {
        Routed::To(Route { operation: Some(operation), .. }) => match sign_in(&request, operation).await {
            Ok(signed_in) => {
                request.extensions_mut().insert(signed_in);
                passed(next.call(request).await)
            }
            Err(problem) => Ok(request.into_response(problem.error_response())),
        },
        Routed::To(Route { operation: None, .. }) | Routed::Nowhere => passed(next.call(request).await),
        Routed::OtherMethods(methods) => {
            let detail =
                say!("{method} cannot be asked here; {methods} can", method = request.method().as_str(), methods);
            let mut response = Problem::from(OperationError::new(&problems::WRONG_METHOD, detail)).error_response();
            if let Ok(methods) = methods.parse() {
                response.headers_mut().insert(ALLOW, methods);
            }
            Ok(request.into_response(response))
        }
    }
}

fn passed<B: MessageBody + 'static>(
    answered: Result<ServiceResponse<B>, actix_web::Error>,
) -> Result<ServiceResponse<BoxBody>, actix_web::Error> {
    answered.map(ServiceResponse::map_into_boxed_body)
}

async fn sign_in(request: &ServiceRequest, operation: &'static Operation) -> Result<SignedIn, Problem> {
    let bearer = bearer(request.headers())?;
    let house = house(request)?;
    let mut signed_in = SignedIn::by(house, bearer, request_id(request.request())).await?;
    signed_in.actor.may_anywhere(operation)?;
    signed_in.key = idempotency_key(request.headers())?;
    Ok(signed_in)
}

/// Who a bearer token stands for, now: as of the last commit, where that was asked.
async fn who(house: House, bearer: String, as_of: Option<i64>) -> Result<Actor, Problem> {
    match as_of.and_then(|as_of| house.door.recognise(&house.tubtrail, &bearer, as_of)) {
        Some(actor) => Ok(actor),
        None => off_thread(move || house.door.identify(&house.tubtrail, &bearer)).await,
    }
}

/// The id the log has for a request.
pub fn request_id(request: &HttpRequest) -> Option<String> {
    request.extensions().get::<RequestId>().map(ToString::to_string)
}

fn house(request: &ServiceRequest) -> Result<House, Problem> {
    request.app_data::<web::Data<Inside>>().cloned().ok_or_else(|| Problem::internal(&"no house"))
}

fn bearer(headers: &HeaderMap) -> Result<String, Problem> {
    let refused = || OperationError::new(&problems::NOT_SIGNED_IN, say!("send Authorization: Bearer and your token"));
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
    let detail = say!("an Idempotency-Key is 1 to 100 visible ASCII characters");
    Err(OperationError::new(&problems::MALFORMED, detail).at("Idempotency-Key").into())
}
