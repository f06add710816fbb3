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

type Routes = HashMap<(usize, Option<String>), Vec<Route>>;

/// By how many segments a path has, and by the noun among them; where a pattern has a parameter in its place, by none.
static ROUTES: LazyLock<Routes> = LazyLock::new(|| {
    let mut found = Routes::new();
    for route in routes(crate::api::describe()) {
        let noun = route.segments.get(NOUN).cloned().flatten();
        found.entry((route.segments.len(), noun)).or_default().push(route);
    }
    found
});

/// Where the noun stands: `/v1/lots/...`, after the empty one and the version.
const NOUN: usize = 2;

/// The routes that may fit a path.
fn likely(segments: &[&str]) -> impl Iterator<Item = &'static Route> + Clone {
    let noun = segments.get(NOUN).map(|noun| (*noun).to_owned());
    let of = |noun| ROUTES.get(&(segments.len(), noun)).into_iter().flatten();
    let named = noun.is_some().then(|| of(noun)).into_iter().flatten();
    named.chain(of(None))
}

/// What a method comes to at a path. A test sees to it that no two operations are asked for alike. Of two paths that fit, the
/// one with fewer parameters is meant (OpenAPI 3.1.0, "Path Templating Matching"): `/v1/batches/write-up` is no batch.
pub fn find(method: &Method, path: &str) -> Routed {
    let segments: Vec<_> = path.split('/').collect();
    let fitting = || likely(&segments).filter(|route| fits(&route.segments, &segments));
    let fewest = fitting().map(Route::parameters).min();
    let mut others = Vec::new();
    for route in fitting().filter(|route| Some(route.parameters()) == fewest) {
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

fn fits(pattern: &[Option<String>], segments: &[&str]) -> bool {
    pattern.len() == segments.len()
        && pattern.iter().zip(segments).all(|(pattern, segment)| match pattern {
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
