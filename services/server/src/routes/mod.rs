//! The routes, a module a noun. A handler's name is its operation id.

// A handler's closure shows what is asked of the house, and with what.
#![allow(clippy::redundant_closure_for_method_calls)]

use serde::Deserialize;
use utoipa::IntoParams;
use utoipa_actix_web::service_config::ServiceConfig;

mod allergens;
mod batches;
mod carrying;
mod cleans;
mod counts;
mod deliveries;
mod devices;
mod documents;
mod equipment;
mod exports;
mod gtins;
mod holds;
mod imports;
mod item_labels;
mod items;
mod journal;
mod labels;
mod lots;
mod makers;
mod partners;
mod printers;
mod prints;
mod recalls;
mod recipes;
mod reports;
mod scans;
mod sessions;
mod sites;
mod statements;
mod stock;
mod system;
mod trace;
mod transfers;
mod tubs;
mod users;
mod webhooks;

pub use sessions::come_in;

/// Every route of the API.
pub fn configure(config: &mut ServiceConfig) {
    // They are looked through in this order, each by a pattern: what is asked all day comes first.
    allergens::configure(config);
    tubs::configure(config);
    holds::configure(config);
    lots::configure(config);
    scans::configure(config);
    trace::configure(config);
    batches::configure(config);
    carrying::configure(config);
    cleans::configure(config);
    counts::configure(config);
    deliveries::configure(config);
    devices::configure(config);
    documents::configure(config);
    equipment::configure(config);
    exports::configure(config);
    gtins::configure(config);
    imports::configure(config);
    item_labels::configure(config);
    items::configure(config);
    journal::configure(config);
    labels::configure(config);
    makers::configure(config);
    partners::configure(config);
    printers::configure(config);
    prints::configure(config);
    recalls::configure(config);
    recipes::configure(config);
    reports::configure(config);
    sessions::configure(config);
    sites::configure(config);
    statements::configure(config);
    stock::configure(config);
    system::configure(config);
    transfers::configure(config);
    users::configure(config);
    webhooks::configure(config);
}

/// Which page of a list.
#[derive(Debug, Deserialize, IntoParams)]
#[serde(deny_unknown_fields)]
#[into_params(parameter_in = Query)]
pub struct Paging {
    /// The `next` of the page before.
    #[param(max_length = 100)]
    #[serde(default)]
    pub after: String,
    /// Most rows on the page, 1 to 500.
    #[param(minimum = 1, maximum = 500)]
    #[serde(default = "usual", deserialize_with = "tubtrail_operations::master_data::limit")]
    pub limit: u32,
}

const fn usual() -> u32 {
    100
}
