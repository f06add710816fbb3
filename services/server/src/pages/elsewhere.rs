//! What one process alone knows of, asked of another or of one that was started anew: a page that says in plain words what is the
//! matter, and where what was written down can be seen all the same.

use actix_web::HttpRequest;
use actix_web::http::StatusCode;
use askama::Template;

use super::page::{Frame, Shown, Unable, render};
use super::visitor::Visitor;
use crate::house::{House, off_thread};

#[derive(Template)]
#[template(path = "elsewhere.html")]
struct Elsewhere {
    frame: Frame,
    /// What is not known here: `import` or `paper`.
    what: &'static str,
    /// Where to look instead.
    link: &'static str,
}

impl Elsewhere {
    fn say(&self, part: &str) -> String {
        self.frame.texts.say(&format!("{}-elsewhere{part}", self.what)).into_owned()
    }
}

/// Says that an `import` or a `paper` is not known here.
pub async fn not_here(
    house: House,
    visitor: &Visitor,
    request: &HttpRequest,
    (what, link): (&'static str, &'static str),
) -> Shown {
    let asks = visitor.asks();
    let me = off_thread(move || house.tubtrail.show_me(&asks)).await.map_err(Unable::of(request))?;
    Ok(render(StatusCode::NOT_FOUND, &Elsewhere { frame: Frame::of(visitor, request, me), what, link }))
}
