//! Holds and rejections.

use actix_web::http::StatusCode;
use actix_web::{get, post, web};
use tubtrail_operations::holds::{Because, Hold, HoldsAsked, Rejection};
use tubtrail_operations::master_data::Page;
use utoipa_actix_web::service_config::ServiceConfig;

use crate::body::{Body, Query};
use crate::door::SignedIn;
use crate::house::{House, Outcome, command, hand_in, query};

pub fn configure(config: &mut ServiceConfig) {
    config.service(hold_lot).service(list_holds).service(release_hold).service(reject_lot);
}

/// Puts a lot on hold, wherever it is: it may not be used, moved, opened or served until released.
#[utoipa::path(tag = "holds", request_body = Because, params(("lot", description = "Our number for it")),
    responses((status = 201, body = Hold)))]
#[post("/v1/lots/{lot}/holds")]
async fn hold_lot(house: House, signed_in: SignedIn, lot: web::Path<String>, body: Body<Because>) -> Outcome {
    hand_in(house, signed_in, body, StatusCode::CREATED, |house, request, new| house.hand_in_hold(request, &lot, new))
        .await
}

/// The holds on lots in reach, oldest first; only those not released, unless asked.
#[utoipa::path(tag = "holds", params(HoldsAsked), responses((status = 200, body = Page<Hold>)))]
#[get("/v1/holds")]
async fn list_holds(house: House, signed_in: SignedIn, asked: Query<HoldsAsked>) -> Outcome {
    query(house, signed_in, move |house, request| house.list_holds(request, &asked.0)).await
}

/// Lifts a hold; the lot stays on hold if another keeps it.
///
/// Needs the role wherever some of the lot lies; where it came to be, if it lies nowhere any more.
#[utoipa::path(tag = "holds", request_body = Because, params(("hold" = i64, description = "Its number")),
    responses((status = 201, body = Hold)))]
#[post("/v1/holds/{hold}/release")]
async fn release_hold(house: House, signed_in: SignedIn, id: web::Path<i64>, body: Body<Because>) -> Outcome {
    command(house, signed_in, body, StatusCode::CREATED, move |house, request, new| {
        house.release_hold(request, *id, new)
    })
    .await
}

/// Turns a received lot away after all: what is available of it goes back to the supplier, and none of it may be used,
/// moved or consigned any more. Of a lot already rejected, what has arrived since goes back too.
///
/// Needs the role wherever some of the lot lies.
#[utoipa::path(tag = "holds", request_body = Because, params(("lot", description = "Our number for it")),
    responses((status = 201, body = Rejection)))]
#[post("/v1/lots/{lot}/rejection")]
async fn reject_lot(house: House, signed_in: SignedIn, lot: web::Path<String>, body: Body<Because>) -> Outcome {
    command(house, signed_in, body, StatusCode::CREATED, move |house, request, new| {
        house.reject_lot(request, &lot, new)
    })
    .await
}
