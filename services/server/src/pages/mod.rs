//! The pages: for a shop hand with a queue, a cook with wet hands, an inspector with a laptop. HTML made here, with small scripts
//! of our own that make it quicker and that it works without. Everything they do they do through the same operations as the
//! API, as whoever is signed in.

mod addresses;
pub mod assets;
mod beginning;
mod counter;
mod delivery;
mod elsewhere;
mod fields;
mod figures;
mod forms;
mod labels;
mod lists;
mod live;
mod lots;
mod making;
mod marks;
mod names;
mod page;
mod pictures;
mod places;
mod recalls;
mod rights;
mod scanning;
mod sign_in;
mod stock;
mod texts;
mod tracing;
mod upkeep;
mod upload;
mod visitor;
mod written;

pub use self::pictures::drawn_alone;

use actix_web::http::header::ACCEPT;
use actix_web::web::ServiceConfig;
use actix_web::{HttpRequest, HttpResponse, ResponseError as _};

use self::addresses::page_of;
use self::page::{Unable, see};
use crate::problem::Problem;

/// Every page.
pub fn configure(config: &mut ServiceConfig) {
    assets::configure(config);
    beginning::configure(config);
    counter::configure(config);
    delivery::configure(config);
    labels::configure(config);
    live::configure(config);
    lots::configure(config);
    making::configure(config);
    recalls::configure(config);
    sign_in::configure(config);
    stock::configure(config);
    tracing::configure(config);
    upkeep::configure(config);
    written::configure(config);
}

/// What a browser is shown at an address where there is nothing to look at: the page of the form that is sent there, or that there
/// is nothing. Others are told of the problem as programs are.
pub fn nothing_there(request: &HttpRequest, problem: Problem) -> Result<HttpResponse, Problem> {
    let page = page_of(request.path());
    let accepts = request.headers().get(ACCEPT).and_then(|accepts| accepts.to_str().ok()).unwrap_or("");
    if !request.method().is_safe() || !accepts.contains("text/html") {
        return Err(problem);
    }
    if page != request.path() {
        return Ok(see(page));
    }
    Ok(Unable::problem(request, problem).error_response())
}
