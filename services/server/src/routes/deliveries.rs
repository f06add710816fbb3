//! Deliveries.

use actix_web::http::StatusCode;
use actix_web::{get, post, web};
use tubtrail_operations::deliveries::{Delivery, NewDelivery};
use utoipa_actix_web::service_config::ServiceConfig;

use crate::body::Body;
use crate::door::SignedIn;
use crate::house::{House, Outcome, command, query};

pub fn configure(config: &mut ServiceConfig) {
    config.service(receive_delivery).service(get_delivery);
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

/// One delivery.
#[utoipa::path(tag = "deliveries", params(("delivery" = i64, description = "Its number")),
    responses((status = 200, body = Delivery)))]
#[get("/v1/deliveries/{delivery}")]
async fn get_delivery(house: House, signed_in: SignedIn, id: web::Path<i64>) -> Outcome {
    query(house, signed_in, move |house, request| house.get_delivery(request, *id)).await
}
