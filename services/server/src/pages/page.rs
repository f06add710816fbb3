//! A page on its way out, and what is shown where there is none.

use std::fmt;

use actix_web::http::StatusCode;
use actix_web::http::header::{CONTENT_SECURITY_POLICY, LOCATION, RETRY_AFTER};
use actix_web::{HttpRequest, HttpResponse, ResponseError};
use askama::Template;
use tubtrail_operations::reach::Role;
use tubtrail_operations::sessions::Me;

use super::addresses::page_of;
use super::forms::said;
use super::texts::{Said, Texts};
use super::visitor::Visitor;
use crate::door::request_id;
use crate::problem::Problem;

/// Pages load from this server alone, run no script that stands in a page, and stand in nobody's frame.
const POLICY: &str = "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self'; connect-src 'self'; \
    form-action 'self'; base-uri 'none'; frame-ancestors 'none'";

/// What a page's handler returns.
pub type Shown = Result<HttpResponse, Unable>;

/// Where a page begins.
pub struct Entry {
    /// Its path.
    pub path: &'static str,
    /// The name of its text.
    pub text: &'static str,
    /// Who has it in hand.
    pub roles: &'static [Role],
}

/// Where pages begin, by what somebody has in hand.
const ENTRIES: [Entry; 6] = [
    Entry {
        path: "/counter",
        text: "page-counter",
        roles: &[Role::Owner, Role::Kitchen, Role::Shop, Role::Inspector, Role::Device],
    },
    Entry { path: "/delivery", text: "page-delivery", roles: &[Role::Owner, Role::Kitchen] },
    Entry { path: "/making", text: "page-making", roles: &[Role::Owner, Role::Kitchen] },
    Entry { path: "/stock", text: "page-stock", roles: &[Role::Owner, Role::Kitchen, Role::Shop, Role::Inspector] },
    Entry { path: "/tracing", text: "page-tracing", roles: &[Role::Owner, Role::Kitchen, Role::Shop, Role::Inspector] },
    Entry { path: "/upkeep", text: "page-upkeep", roles: &[Role::Owner, Role::Inspector] },
];

/// What stands around every page.
pub struct Frame {
    /// The texts of its language.
    pub texts: &'static Texts,
    /// Who is signed in, as shown.
    pub name: Option<String>,
    /// Where they may go.
    pub pages: Vec<&'static Entry>,
    /// What a form repeats; empty where nobody is signed in.
    pub mark: String,
    /// Where we are, for coming back to it.
    pub path: String,
    /// Every language, to choose from.
    pub languages: &'static [Texts],
    /// What was just written down.
    pub said: Option<String>,
    /// The journal's last entry when the page was asked for: what came after it may not be shown.
    pub as_of: Option<i64>,
}

impl Frame {
    /// Of a page that anybody may see.
    pub fn bare(request: &HttpRequest) -> Self {
        let texts = Texts::wanted(request);
        Self {
            said: said(request, texts),
            texts,
            name: None,
            pages: Vec::new(),
            mark: String::new(),
            languages: Texts::all(),
            as_of: None,
            path: if request.method().is_safe() {
                request.uri().path_and_query().map_or("/", |path| path.as_str()).to_owned()
            } else {
                page_of(request.path()).to_owned()
            },
        }
    }

    /// Of a page for somebody who is signed in.
    pub fn of(visitor: &Visitor, request: &HttpRequest, me: Me) -> Self {
        let has = |entry: &&Entry| me.roles.iter().any(|role| entry.roles.contains(&role.role));
        let pages = ENTRIES.iter().filter(has).collect();
        let as_of = visitor.asks().as_of;
        Self { name: Some(me.name), pages, mark: visitor.mark.clone(), as_of, ..Self::bare(request) }
    }

    /// Whether this is where we are.
    pub fn is_at(&self, entry: &Entry) -> bool {
        let rest = self.path.strip_prefix(entry.path);
        rest.is_some_and(|rest| rest.is_empty() || rest.starts_with(['/', '?']))
    }
}

/// Renders a page.
pub fn render(status: StatusCode, page: &impl Template) -> HttpResponse {
    match page.render() {
        Ok(html) => HttpResponse::build(status)
            .content_type("text/html; charset=utf-8")
            .insert_header((CONTENT_SECURITY_POLICY, POLICY))
            .body(html),
        Err(error) => Problem::internal(&error).error_response(),
    }
}

/// Sends the browser to another page, with GET.
pub fn see(path: &str) -> HttpResponse {
    HttpResponse::SeeOther().insert_header((LOCATION, path)).finish()
}

/// A path of ours to go to next, from what a browser sent: never to another server.
pub fn next_path(sent: Option<&str>) -> &str {
    let is_ours = |path: &&str| {
        path.starts_with('/')
            && !path.starts_with("//")
            && path.bytes().all(|byte| byte.is_ascii_graphic() && byte != b'\\')
    };
    sent.filter(is_ours).unwrap_or("/")
}

/// Why there is no page.
pub struct Unable {
    frame: Box<Frame>,
    request_id: Option<String>,
    /// The page on which the form stands that was sent.
    back: Option<String>,
    why: Why,
}

enum Why {
    /// Nobody is signed in.
    NotSignedIn,
    /// Something else.
    Problem(Box<Problem>),
}

#[derive(Template)]
#[template(path = "wrong.html")]
struct Wrong<'a> {
    frame: &'a Frame,
    title: Said,
    detail: Said,
    field: Option<&'a str>,
    request_id: Option<&'a str>,
    /// Where the way back leads.
    back: &'a str,
}

impl Unable {
    /// Nobody is signed in, or no more.
    pub fn not_signed_in(request: &HttpRequest) -> Self {
        Self::new(request, Why::NotSignedIn)
    }

    /// A problem to show.
    pub fn problem(request: &HttpRequest, problem: Problem) -> Self {
        Self::new(request, Why::Problem(Box::new(problem)))
    }

    fn new(request: &HttpRequest, why: Why) -> Self {
        let frame = Box::new(Frame::bare(request));
        let back = (!request.method().is_safe()).then(|| frame.path.clone());
        Self { frame, request_id: request_id(request), back, why }
    }

    /// Something that must not happen.
    pub fn internal(request: &HttpRequest, cause: &dyn fmt::Display) -> Self {
        Self::problem(request, Problem::internal(cause))
    }

    /// A handler's problems, to show.
    pub fn of(request: &HttpRequest) -> impl Fn(Problem) -> Self + '_ {
        |problem| Self::problem(request, problem)
    }
}

impl fmt::Debug for Unable {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        fmt::Display::fmt(self, f)
    }
}

impl fmt::Display for Unable {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match &self.why {
            Why::NotSignedIn => f.write_str("nobody is signed in"),
            Why::Problem(problem) => problem.fmt(f),
        }
    }
}

impl ResponseError for Unable {
    fn status_code(&self) -> StatusCode {
        match &self.why {
            Why::NotSignedIn => StatusCode::SEE_OTHER,
            Why::Problem(problem) => problem.status_code(),
        }
    }

    fn error_response(&self) -> HttpResponse {
        let Why::Problem(problem) = &self.why else {
            let next = form_urlencoded::Serializer::new(String::new()).append_pair("next", &self.frame.path).finish();
            return see(&format!("/sign-in?{next}"));
        };
        let status = problem.status_code();
        let shown = problem.details();
        let page = Wrong {
            frame: &self.frame,
            title: self.frame.texts.said(&shown.title),
            detail: self.frame.texts.said(&shown.detail),
            field: shown.field.as_deref(),
            request_id: self.request_id.as_deref(),
            back: self.back.as_deref().unwrap_or("/"),
        };
        let mut response = render(status, &page);
        if let Some(seconds) = problem.retry_after() {
            response.headers_mut().insert(RETRY_AFTER, seconds.into());
        }
        response
    }
}

#[cfg(test)]
mod tests {
    use super::next_path;

    #[test]
    fn the_next_page_is_always_ours() {
        assert_eq!(next_path(Some("/counter/quay-shop?avoid=milk")), "/counter/quay-shop?avoid=milk");
        for other in ["//elsewhere.example", "https://elsewhere.example", "/\\elsewhere.example", "", "counter", "/a b"]
        {
            assert_eq!(next_path(Some(other)), "/", "{other}");
        }
        assert_eq!(next_path(None), "/");
    }
}
