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

use actix_web::web::ServiceConfig;

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
