//! Which operation of the description a request asks for: known before any handler is, so that what every operation owes
//! (who asks, what it is called in the measurements) does not hang on the handlers.

use std::collections::HashMap;
use std::sync::LazyLock;

use actix_web::http::Method;
use tubtrail_operations::reach::{OPERATIONS, Operation};
use utoipa::openapi::{OpenApi, PathItem};

/// An operation of the description.
#[derive(Debug)]
pub struct Route {
    /// Its method.
    pub method: Method,
    /// Its id.
    pub id: String,
    /// Where it asks who you are: the operation, with its roles.
    pub operation: Option<&'static Operation>,
    // None stands for a parameter.
    segments: Vec<Option<String>>,
}

impl Route {
    fn parameters(&self) -> usize {
        self.segments.iter().filter(|segment| segment.is_none()).count()
    }
}

/// What a request comes to.
#[derive(Debug)]
pub enum Routed {
    /// This operation.
    To(&'static Route),
    /// None with this method, but with these, as in an `Allow` header.
    OtherMethods(String),
    /// None: it is not in the description.
    Nowhere,
}

/// By the noun in a path; where a pattern has a parameter in its place, or is too short to have one, by no word.
static ROUTES: LazyLock<HashMap<String, Vec<Route>>> = LazyLock::new(|| {
    let mut found: HashMap<String, Vec<Route>> = HashMap::new();
    for route in routes(crate::api::describe()) {
        let noun = route.segments.get(NOUN).cloned().flatten().unwrap_or_default();
        found.entry(noun).or_default().push(route);
    }
    found
});

/// Where the noun stands: `/v1/lots/...`, after the empty one and the version.
const NOUN: usize = 2;

/// The routes that may fit a path.
fn likely(segments: &[&str]) -> impl Iterator<Item = &'static Route> {
    let of = |noun: &str| ROUTES.get(noun).into_iter().flatten();
    let noun = segments.get(NOUN).copied().unwrap_or_default();
    let named = (!noun.is_empty()).then(|| of(noun));
    named.into_iter().flatten().chain(of(""))
}

/// What a method comes to at a path. A test sees to it that no two operations are asked for alike. Of two paths that fit, the
/// one with fewer parameters is meant (OpenAPI 3.1.0, "Path Templating Matching"): `/v1/batches/write-up` is no batch.
pub fn find(method: &Method, path: &str) -> Routed {
    let segments: Vec<_> = path.split('/').collect();
    let fitting: Vec<_> = likely(&segments).filter(|route| fits(&route.segments, &segments)).collect();
    let fewest = fitting.iter().map(|route| route.parameters()).min();
    let mut others = Vec::new();
    for route in fitting.into_iter().filter(|route| Some(route.parameters()) == fewest) {
        if route.method == method {
            return Routed::To(route);
        }
        others.push(route.method.as_str());
    }
    if others.contains(&"GET") {
        others.push("HEAD");
    }
    if others.is_empty() { Routed::Nowhere } else { Routed::OtherMethods(others.join(", ")) }
}

/// Paths of one noun begin alike: they are compared from their ends.
fn fits(pattern: &[Option<String>], segments: &[&str]) -> bool {
    pattern.len() == segments.len()
        && pattern.iter().zip(segments).rev().all(|(pattern, segment)| match pattern {
            Some(literal) => literal == segment,
            None => !segment.is_empty(),
        })
}

fn routes(api: OpenApi) -> Vec<Route> {
    api.paths.paths.into_iter().flat_map(|(pattern, item)| routes_of(&pattern, item)).collect()
}

fn routes_of(pattern: &str, item: PathItem) -> impl Iterator<Item = Route> + use<> {
    let segments: Vec<_> = pattern
        .split('/')
        .map(|segment| if segment.starts_with('{') { None } else { Some(segment.to_owned()) })
        .collect();
    let methods = [
        (Method::GET, item.get),
        (Method::PUT, item.put),
        (Method::POST, item.post),
        (Method::DELETE, item.delete),
        (Method::PATCH, item.patch),
    ];
    methods.into_iter().filter_map(move |(method, operation)| {
        let id = operation?.operation_id.unwrap_or_default();
        let operation = OPERATIONS.iter().copied().find(|known| known.id == id);
        Some(Route { method, id, operation, segments: segments.clone() })
    })
}
