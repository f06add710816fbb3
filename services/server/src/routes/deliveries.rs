//! Deliveries.

use actix_web::http::StatusCode;
use actix_web::{get, post, web};
use chrono::NaiveDate;
use serde::Deserialize;
use tubtrail_operations::deliveries::{Delivery, DeliveryListed, DeliverySearch, NewDelivery};
use tubtrail_operations::master_data::Page;
use utoipa::IntoParams;
use utoipa_actix_web::service_config::ServiceConfig;

use super::usual;
use crate::body::{Body, Query};
use crate::door::SignedIn;
use crate::house::{House, Outcome, command, query};

pub fn configure(config: &mut ServiceConfig) {
    config.service(receive_delivery).service(list_deliveries).service(get_delivery);
}

/// Writes down a delivery: all of its lines, or none.
///
/// A line past its date can only be rejected; one warmer than its item may arrive, or unmeasured, is put aside on hold; the
/// same supplier lot under the same document is refused.
#[utoipa::path(tag = "deliveries", request_body = NewDelivery, responses((status = 201, body = Delivery)))]
#[post("/v1/deliveries")]
async fn receive_delivery(house: House, signed_in: SignedIn, body: Body<NewDelivery>) -> Outcome {
    command(house, signed_in, body, StatusCode::CREATED, |house, request, new| house.receive_delivery(request, new))
        .await
}

/// Which deliveries, and which page of them.
#[derive(Debug, Deserialize, IntoParams)]
#[serde(deny_unknown_fields)]
#[into_params(parameter_in = Query)]
struct DeliveriesAsked {
    /// From this supplier, by code.
    #[param(max_length = 40)]
    supplier: Option<String>,
    /// At this site, by code.
    #[param(max_length = 40)]
    site: Option<String>,
    /// Under exactly this document of the supplier's.
    #[param(max_length = 60)]
    document: Option<String>,
    /// That arrived on this day or later (UTC).
    #[serde(default, deserialize_with = "tubtrail_operations::days::optional_day")]
    day_from: Option<NaiveDate>,
    /// That arrived on this day or earlier (UTC).
    #[serde(default, deserialize_with = "tubtrail_operations::days::optional_day")]
    day_to: Option<NaiveDate>,
    /// The `next` of the page before.
    #[param(max_length = 100)]
    #[serde(default)]
    after: String,
    /// Most rows on the page, 1 to 500.
    #[param(minimum = 1, maximum = 500)]
    #[serde(default = "usual", deserialize_with = "tubtrail_operations::master_data::limit")]
    limit: u32,
}

/// Deliveries, in the order in which they were written down.
#[utoipa::path(tag = "deliveries", params(DeliveriesAsked), responses((status = 200, body = Page<DeliveryListed>)))]
#[get("/v1/deliveries")]
async fn list_deliveries(house: House, signed_in: SignedIn, asked: Query<DeliveriesAsked>) -> Outcome {
    let DeliveriesAsked { supplier, site, document, day_from, day_to, after, limit } = asked.0;
    let search = DeliverySearch { supplier, site, document, day_from, day_to };
    query(house, signed_in, move |house, request| house.list_deliveries(request, &search, &after, limit)).await
}

/// One delivery.
#[utoipa::path(tag = "deliveries", params(("delivery" = i64, description = "Its number")),
    responses((status = 200, body = Delivery)))]
#[get("/v1/deliveries/{delivery}")]
async fn get_delivery(house: House, signed_in: SignedIn, id: web::Path<i64>) -> Outcome {
    query(house, signed_in, move |house, request| house.get_delivery(request, *id)).await
}
