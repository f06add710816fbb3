//! Request bodies and query strings: bounded, read strictly, and blamed on the right field.

use std::time::Duration;

use actix_web::dev::Payload;
use actix_web::http::header::CONTENT_TYPE;
use actix_web::{FromRequest, HttpRequest, web};
use futures_util::StreamExt as _;
use futures_util::future::LocalBoxFuture;
use serde::de::DeserializeOwned;
use sha2::{Digest, Sha256};
use tubtrail_domain::papers::{LARGEST_BYTES, PaperError};
use tubtrail_domain::say;
use tubtrail_domain::saying::Saying;
use tubtrail_operations::unreadable::in_plain_words;
use tubtrail_operations::{OperationError, problems};
use utoipa::ToSchema;

use crate::hex::hex;
use crate::problem::Problem;
use crate::routed::{self, Routed};
use crate::shape;

/// Largest body, in bytes.
pub const LARGEST: usize = 1024 * 1024;

/// How long a body may take to arrive.
const PATIENCE: Duration = Duration::from_secs(30);
/// How long a file may take to arrive.
const PATIENCE_FOR_FILES: Duration = Duration::from_mins(2);
/// As what a file may be sent; which of them is said does not count.
const FILES: [&str; 5] = ["application/octet-stream", "image/jpeg", "image/png", "image/webp", "application/pdf"];

/// A JSON body, and the hash of the request it came in.
pub struct Body<T> {
    /// What it says.
    pub value: T,
    /// SHA-256 of method, path and body, hex: tells a retry from another request.
    pub hash: String,
}

impl<T: DeserializeOwned + 'static> FromRequest for Body<T> {
    type Error = Problem;
    type Future = LocalBoxFuture<'static, Result<Self, Problem>>;

    fn from_request(request: &HttpRequest, payload: &mut Payload) -> Self::Future {
        arrive(request, payload, &["application/json"], |request, bytes| {
            Ok(Self { value: parse(request, bytes)?, hash: request_hash(request, bytes) })
        })
    }
}

/// A JSON body that only asks: nothing is done that could be done twice, and so it has no hash.
pub struct Question<T>(pub T);

impl<T: DeserializeOwned + 'static> FromRequest for Question<T> {
    type Error = Problem;
    type Future = LocalBoxFuture<'static, Result<Self, Problem>>;

    fn from_request(request: &HttpRequest, payload: &mut Payload) -> Self::Future {
        arrive(request, payload, &["application/json"], |request, bytes| Ok(Self(parse(request, bytes)?)))
    }
}

/// An EPCIS 2.0 document as JSON-LD. What it may say is described by the standard (<https://ref.gs1.org/standards/epcis/>).
#[derive(ToSchema)]
#[schema(as = EpcisDocument, value_type = Object)]
pub struct JsonLd(pub serde_json::Value);

impl FromRequest for JsonLd {
    type Error = Problem;
    type Future = LocalBoxFuture<'static, Result<Self, Problem>>;

    fn from_request(request: &HttpRequest, payload: &mut Payload) -> Self::Future {
        arrive(request, payload, &["application/json", "application/ld+json"], |request, bytes| {
            Ok(Self(parse(request, bytes)?))
        })
    }
}

/// A CSV body, and the hash of the request it came in.
pub struct Csv {
    /// The file.
    pub bytes: Vec<u8>,
    /// As in [`Body`].
    pub hash: String,
}

impl FromRequest for Csv {
    type Error = Problem;
    type Future = LocalBoxFuture<'static, Result<Self, Problem>>;

    fn from_request(request: &HttpRequest, payload: &mut Payload) -> Self::Future {
        arrive(request, payload, &["text/csv"], |request, bytes| {
            Ok(Self { hash: request_hash(request, bytes), bytes: bytes.to_vec() })
        })
    }
}

/// A file, and the hash of the request it came in. What it is, its bytes say.
pub struct File {
    /// The file.
    pub bytes: Vec<u8>,
    /// As in [`Body`].
    pub hash: String,
}

impl FromRequest for File {
    type Error = Problem;
    type Future = LocalBoxFuture<'static, Result<Self, Problem>>;

    fn from_request(request: &HttpRequest, payload: &mut Payload) -> Self::Future {
        let (request, payload) = (request.clone(), payload.take());
        Box::pin(async move {
            let late =
                |_| Problem::from(OperationError::new(&problems::MALFORMED, say!("the file did not arrive in time")));
            let bytes = tokio::time::timeout(PATIENCE_FOR_FILES, collect(payload)).await.map_err(late)??;
            expect_content_type(&request, &FILES)?;
            Ok(Self { hash: request_hash(&request, &bytes), bytes })
        })
    }
}

/// Takes in a file; no more of it than may be kept.
async fn collect(mut payload: Payload) -> Result<Vec<u8>, Problem> {
    let mut bytes = Vec::new();
    while let Some(part) = payload.next().await {
        let part =
            part.map_err(|error| OperationError::new(&problems::MALFORMED, Saying::as_it_is(error.to_string())))?;
        if bytes.len() + part.len() > LARGEST_BYTES {
            return Err(OperationError::new(&problems::TOO_LARGE, PaperError::TooLarge).into());
        }
        bytes.extend_from_slice(&part);
    }
    Ok(bytes)
}

/// Waits for a body, looks whether it is of one of these types, and makes something of it.
fn arrive<T: 'static>(
    request: &HttpRequest,
    payload: &mut Payload,
    types: &'static [&'static str],
    make: impl FnOnce(&HttpRequest, &[u8]) -> Result<T, Problem> + 'static,
) -> LocalBoxFuture<'static, Result<T, Problem>> {
    let bytes = read(request, payload);
    let request = request.clone();
    Box::pin(async move {
        let bytes = bytes.await?;
        expect_content_type(&request, types)?;
        make(&request, &bytes)
    })
}

fn read(request: &HttpRequest, payload: &mut Payload) -> impl Future<Output = Result<web::Bytes, Problem>> + use<> {
    let bytes = web::Bytes::from_request(request, payload);
    async move {
        let late =
            |_| Problem::from(OperationError::new(&problems::MALFORMED, say!("the body did not arrive in time")));
        tokio::time::timeout(PATIENCE, bytes).await.map_err(late)?.map_err(|error| {
            let too_large = error.as_response_error().status_code() == actix_web::http::StatusCode::PAYLOAD_TOO_LARGE;
            let problem = if too_large { &problems::TOO_LARGE } else { &problems::MALFORMED };
            let detail = if too_large {
                say!("at most {most} bytes are taken", most = LARGEST)
            } else {
                Saying::as_it_is(error.to_string())
            };
            OperationError::new(problem, detail).into()
        })
    }
}

/// One of these.
fn expect_content_type(request: &HttpRequest, expected: &[&str]) -> Result<(), Problem> {
    let sent = request.headers().get(CONTENT_TYPE).and_then(|value| value.to_str().ok()).unwrap_or("");
    let essence = sent.split(';').next().unwrap_or("").trim();
    if expected.iter().any(|expected| essence.eq_ignore_ascii_case(expected)) {
        return Ok(());
    }
    let types = expected.iter().map(|one| Saying::as_it_is(*one));
    let types = Saying::joined(types, |one, other| say!("{one} or {other}", one, other)).unwrap_or(say!("nothing"));
    let detail = say!("send it as Content-Type: {types}", types);
    Err(OperationError::new(&problems::WRONG_TYPE, detail).into())
}

fn parse<T: DeserializeOwned>(request: &HttpRequest, bytes: &[u8]) -> Result<T, Problem> {
    refuse_arrays(request, bytes)?;
    // Keeping track of where one reads takes longer than reading: that is done where there is something to tell.
    if let Ok(value) = serde_json::from_slice(bytes) {
        return Ok(value);
    }
    let mut deserializer = serde_json::Deserializer::from_slice(bytes);
    let value = serde_path_to_error::deserialize(&mut deserializer).map_err(|error| {
        let inner = error.inner();
        if inner.is_data() {
            let mut problem = OperationError::new(&problems::INVALID, in_plain_words(&inner.to_string()));
            if let Some(path) = field_at_fault(&error) {
                problem = problem.at(path);
            }
            Problem::from(problem)
        } else {
            malformed(inner)
        }
    })?;
    deserializer.end().map_err(|error| malformed(&error))?;
    Ok(value)
}

/// What is sent is an object, and so is much that is in it; a reader of one would also take its fields one after the other, in
/// an array.
fn refuse_arrays(request: &HttpRequest, bytes: &[u8]) -> Result<(), Problem> {
    if !bytes.contains(&b'[') {
        return Ok(());
    }
    let problem = OperationError::new(&problems::INVALID, say!("an object is expected here, not an array"));
    if bytes.trim_ascii_start().first() == Some(&b'[') {
        let read = serde_json::from_slice::<serde::de::IgnoredAny>(bytes);
        return Err(read.map_or_else(|error| malformed(&error), |_| problem.into()));
    }
    let Routed::To(route) = routed::find(request.method(), request.match_info().as_str()) else { return Ok(()) };
    if !shape::holds_objects(&route.id) {
        return Ok(());
    }
    let body = serde_json::from_slice(bytes).map_err(|error| malformed(&error))?;
    let Some(path) = shape::misplaced_array(&route.id, &body) else { return Ok(()) };
    Err(problem.at(path).into())
}

/// The field at which a reader stopped. The path ends before a field that is missing; and where something is of several kinds,
/// which is put aside and read when its kind is known, before one that this kind does not have.
pub(crate) fn field_at_fault(error: &serde_path_to_error::Error<serde_json::Error>) -> Option<String> {
    let path = Some(error.path().to_string()).filter(|path| path != ".");
    let said = error.inner().to_string();
    let Some(named) = named(&said) else { return path };
    match path {
        Some(path) if !said.starts_with(MISSING) && (path == named || path.ends_with(&format!(".{named}"))) => {
            Some(path)
        }
        Some(path) => Some(format!("{path}.{named}")),
        None => Some(named.to_owned()),
    }
}

/// How a reader says that a field is missing; that it knows none of the name; that it stands there twice.
const MISSING: &str = "missing field `";
const UNKNOWN: &str = "unknown field `";
const TWICE: &str = "duplicate field `";

/// The field that a reader names.
fn named(said: &str) -> Option<&str> {
    let rest = [MISSING, UNKNOWN, TWICE].into_iter().find_map(|begin| said.strip_prefix(begin))?;
    rest.split('`').next()
}

fn malformed(error: &serde_json::Error) -> Problem {
    OperationError::new(&problems::MALFORMED, say!("this is no JSON: {error}", error = error.to_string())).into()
}

fn request_hash(request: &HttpRequest, body: &[u8]) -> String {
    let mut hash = Sha256::new();
    for part in [request.method().as_str(), request.uri().path(), request.uri().query().unwrap_or("")] {
        hash.update(part);
        hash.update([0]);
    }
    hash.update(body);
    hex(&hash.finalize())
}

/// A query string, read strictly: an unknown or ill-formed parameter is a problem that names it.
pub struct Query<T>(pub T);

impl<T: DeserializeOwned + 'static> FromRequest for Query<T> {
    type Error = Problem;
    type Future = std::future::Ready<Result<Self, Problem>>;

    fn from_request(request: &HttpRequest, _: &mut Payload) -> Self::Future {
        let pairs = form_urlencoded::parse(request.query_string().as_bytes());
        let read = serde_path_to_error::deserialize(serde_urlencoded::Deserializer::new(pairs)).map(Self);
        std::future::ready(read.map_err(|error| {
            let (path, said) = (error.path().to_string(), error.inner().to_string());
            let field = if path == "." { named(&said).unwrap_or("query") } else { path.as_str() };
            OperationError::new(&problems::INVALID, in_plain_words(&said)).at(field).into()
        }))
    }
}
