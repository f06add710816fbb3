//! Tubs, and what else takes stock off the shelf: opened, served from, emptied, thrown away, handed to a customer.

use actix_web::http::StatusCode;
use actix_web::{post, web};
use tubtrail_operations::consignments::Consignment;
use tubtrail_operations::discards::Discard;
use tubtrail_operations::tubs::{Emptying, Moved, Opening, Serving};
use utoipa_actix_web::service_config::ServiceConfig;

use crate::body::Body;
use crate::door::SignedIn;
use crate::house::{House, Outcome, command, hand_in};

pub fn configure(config: &mut ServiceConfig) {
    config.service(open_tub).service(serve_tub).service(empty_tub).service(discard_lot).service(consign_lot);
}

/// Opens a tub: all of it goes from the shelf into the case.
///
/// Refused, in this order: a lot that is no tub, one that was rejected, one on hold, one past its date, one already open,
/// one that is elsewhere, one of which nothing is left.
#[utoipa::path(tag = "tubs", request_body = Opening, params(("lot", description = "Our number for it")),
    responses((status = 201, body = Moved)))]
#[post("/v1/lots/{lot}/opening")]
async fn open_tub(house: House, signed_in: SignedIn, lot: web::Path<String>, body: Body<Opening>) -> Outcome {
    hand_in(house, signed_in, body, StatusCode::CREATED, |house, request, new| {
        house.hand_in_opening(request, &lot, new)
    })
    .await
}

/// Serves from an open tub: grams off the scale, a quantity in any unit, or portions.
#[utoipa::path(tag = "tubs", request_body = Serving, params(("lot", description = "Our number for it")),
    responses((status = 201, body = Moved)))]
#[post("/v1/lots/{lot}/servings")]
async fn serve_tub(house: House, signed_in: SignedIn, lot: web::Path<String>, body: Body<Serving>) -> Outcome {
    hand_in(house, signed_in, body, StatusCode::CREATED, |house, request, new| {
        house.hand_in_serving(request, &lot, new)
    })
    .await
}

/// Says that an open tub is empty: what the book still holds of it was served without being weighed.
///
/// Scoops are rarely weighed one by one. From when to when a tub was served from stays known by its opening and its
/// emptying.
#[utoipa::path(tag = "tubs", request_body = Emptying, params(("lot", description = "Our number for it")),
    responses((status = 201, body = Moved)))]
#[post("/v1/lots/{lot}/emptying")]
async fn empty_tub(house: House, signed_in: SignedIn, lot: web::Path<String>, body: Body<Emptying>) -> Outcome {
    hand_in(house, signed_in, body, StatusCode::CREATED, |house, request, new| {
        house.hand_in_emptying(request, &lot, new)
    })
    .await
}

/// Throws something of a lot away, or all of it: also what is on hold, past its date or rejected.
#[utoipa::path(tag = "tubs", request_body = Discard, params(("lot", description = "Our number for it")),
    responses((status = 201, body = Moved)))]
#[post("/v1/lots/{lot}/discards")]
async fn discard_lot(house: House, signed_in: SignedIn, lot: web::Path<String>, body: Body<Discard>) -> Outcome {
    command(house, signed_in, body, StatusCode::CREATED, move |house, request, new| {
        house.discard_lot(request, &lot, new)
    })
    .await
}

/// Hands a lot to a customer, a tub as a whole; the customer is told if it is recalled.
#[utoipa::path(tag = "tubs", request_body = Consignment, params(("lot", description = "Our number for it")),
    responses((status = 201, body = Moved)))]
#[post("/v1/lots/{lot}/consignments")]
async fn consign_lot(house: House, signed_in: SignedIn, lot: web::Path<String>, body: Body<Consignment>) -> Outcome {
    command(house, signed_in, body, StatusCode::CREATED, move |house, request, new| {
        house.consign_lot(request, &lot, new)
    })
    .await
}
