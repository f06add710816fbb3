//! What carries over: how sites serve, and how much stays behind on equipment.

use actix_web::http::StatusCode;
use actix_web::{get, post, web};
use tubtrail_operations::residues::{CarryOver, NewCarryOver, NewResidue, Residue};
use tubtrail_operations::serving_ways::{NewServingWay, ServingWay};
use utoipa_actix_web::service_config::ServiceConfig;

use crate::body::Body;
use crate::door::SignedIn;
use crate::house::{House, Outcome, command, query};

pub fn configure(config: &mut ServiceConfig) {
    config
        .service(set_serving_way)
        .service(list_serving_ways)
        .service(record_residue)
        .service(list_residues)
        .service(set_carry_over)
        .service(list_carry_overs);
}

/// Says how a site serves from a moment on: with one scoop for all that is open, or with one for each tub.
#[utoipa::path(tag = "allergens", request_body = NewServingWay, params(("site", description = "Its code")),
    responses((status = 201, body = ServingWay)))]
#[post("/v1/sites/{site}/serving-ways")]
async fn set_serving_way(
    house: House,
    signed_in: SignedIn,
    site: web::Path<String>,
    body: Body<NewServingWay>,
) -> Outcome {
    command(house, signed_in, body, StatusCode::CREATED, move |house, request, new| {
        house.set_serving_way(request, &site, new)
    })
    .await
}

/// How a site served, the oldest first; empty if it never said, and then one scoop is taken to serve all.
#[utoipa::path(tag = "allergens", params(("site", description = "Its code")),
    responses((status = 200, body = Vec<ServingWay>)))]
#[get("/v1/sites/{site}/serving-ways")]
async fn list_serving_ways(house: House, signed_in: SignedIn, site: web::Path<String>) -> Outcome {
    query(house, signed_in, move |house, request| house.list_serving_ways(request, &site)).await
}

/// Writes down how much was measured to stay behind on a machine or vessel; the last measured counts.
#[utoipa::path(tag = "allergens", request_body = NewResidue, params(("equipment", description = "Its code")),
    responses((status = 201, body = Residue)))]
#[post("/v1/equipment/{equipment}/residues")]
async fn record_residue(
    house: House,
    signed_in: SignedIn,
    equipment: web::Path<String>,
    body: Body<NewResidue>,
) -> Outcome {
    command(house, signed_in, body, StatusCode::CREATED, move |house, request, new| {
        house.record_residue(request, &equipment, new)
    })
    .await
}

/// What was measured to stay behind on a machine or vessel, the last measured first.
#[utoipa::path(tag = "allergens", params(("equipment", description = "Its code")),
    responses((status = 200, body = Vec<Residue>)))]
#[get("/v1/equipment/{equipment}/residues")]
async fn list_residues(house: House, signed_in: SignedIn, equipment: web::Path<String>) -> Outcome {
    query(house, signed_in, move |house, request| house.list_residues(request, &equipment)).await
}

/// Says how much a site reckons stays behind on its equipment where nothing was measured; the last said counts.
#[utoipa::path(tag = "allergens", request_body = NewCarryOver, params(("site", description = "Its code")),
    responses((status = 201, body = CarryOver)))]
#[post("/v1/sites/{site}/carry-over")]
async fn set_carry_over(
    house: House,
    signed_in: SignedIn,
    site: web::Path<String>,
    body: Body<NewCarryOver>,
) -> Outcome {
    command(house, signed_in, body, StatusCode::CREATED, move |house, request, new| {
        house.set_carry_over(request, &site, new)
    })
    .await
}

/// What a site reckoned stays behind, the last said first; empty if it never said.
#[utoipa::path(tag = "allergens", params(("site", description = "Its code")),
    responses((status = 200, body = Vec<CarryOver>)))]
#[get("/v1/sites/{site}/carry-over")]
async fn list_carry_overs(house: House, signed_in: SignedIn, site: web::Path<String>) -> Outcome {
    query(house, signed_in, move |house, request| house.list_carry_overs(request, &site)).await
}
