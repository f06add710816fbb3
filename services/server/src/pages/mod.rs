//! The pages: for a shop hand with a queue, a cook with wet hands, an inspector with a laptop. HTML made here, with small scripts
//! of our own that make it quicker and that it works without. Everything they do they do through the same operations as the
//! API, as whoever is signed in.

mod addresses;
pub mod assets;
mod counter;
mod fields;
mod forms;
mod live;
mod marks;
mod page;
mod pictures;
mod places;
mod recalls;
mod sign_in;
mod texts;
mod tracing;
mod visitor;
mod written;

pub use self::pictures::drawn_alone;

use actix_web::web::ServiceConfig;

/// Every page.
pub fn configure(config: &mut ServiceConfig) {
    assets::configure(config);
    counter::configure(config);
    live::configure(config);
    recalls::configure(config);
    sign_in::configure(config);
    tracing::configure(config);
    written::configure(config);
}
