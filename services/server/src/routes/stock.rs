//! Stock.

use actix_web::get;
use tubtrail_operations::master_data::Page;
use tubtrail_operations::stock::{BelowLevel, StockAsked, StockRow, StockSum, SumsAsked};
use utoipa_actix_web::service_config::ServiceConfig;

use crate::body::Query;
use crate::door::SignedIn;
use crate::house::{House, Outcome, query};

pub fn configure(config: &mut ServiceConfig) {
    config.service(show_stock).service(total_stock).service(list_below_reorder_level);
}

/// What is on hand at the sites in reach, lot by lot, in order of site, state and lot.
#[utoipa::path(tag = "stock", params(StockAsked), responses((status = 200, body = Page<StockRow>)))]
#[get("/v1/stock")]
async fn show_stock(house: House, signed_in: SignedIn, asked: Query<StockAsked>) -> Outcome {
    query(house, signed_in, move |house, request| house.show_stock(request, &asked.0)).await
}

/// What there is of each item: at a site, or over all in reach.
#[utoipa::path(tag = "stock", params(SumsAsked), responses((status = 200, body = Page<StockSum>)))]
#[get("/v1/stock/totals")]
async fn total_stock(house: House, signed_in: SignedIn, asked: Query<SumsAsked>) -> Outcome {
    query(house, signed_in, move |house, request| house.total_stock(request, &asked.0)).await
}

/// The items of which a site has less than its reorder level, those of which it has nothing among them.
#[utoipa::path(tag = "stock", params(SumsAsked), responses((status = 200, body = Page<BelowLevel>)))]
#[get("/v1/stock/below-reorder-level")]
async fn list_below_reorder_level(house: House, signed_in: SignedIn, asked: Query<SumsAsked>) -> Outcome {
    query(house, signed_in, move |house, request| house.list_below_reorder_level(request, &asked.0)).await
}
