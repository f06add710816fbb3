//! Equipment.

use actix_web::http::StatusCode;
use actix_web::{get, post, put, web};
use tubtrail_operations::Tubtrail;
use tubtrail_operations::equipment::Equipment;
use tubtrail_operations::master_data::Page;
use utoipa_actix_web::service_config::ServiceConfig;

use super::Paging;
use crate::body::{Body, Query};
use crate::door::SignedIn;
use crate::house::{House, Outcome, command, query};

pub fn configure(config: &mut ServiceConfig) {
    config
        .service(list_equipment)
        .service(get_equipment)
        .service(list_equipment_versions)
        .service(create_equipment)
        .service(change_equipment);
}

/// The equipment, in order of code.
#[utoipa::path(tag = "equipment", params(Paging), responses((status = 200, body = Page<Equipment>)))]
#[get("/v1/equipment")]
async fn list_equipment(house: House, signed_in: SignedIn, paging: Query<Paging>) -> Outcome {
    query(house, signed_in, move |house, request| house.list::<Equipment>(request, &paging.0.after, paging.0.limit))
        .await
}

/// One machine or vessel.
#[utoipa::path(tag = "equipment", params(("equipment", description = "Its code")), responses((status = 200, body = Equipment)))]
#[get("/v1/equipment/{equipment}")]
async fn get_equipment(house: House, signed_in: SignedIn, code: web::Path<String>) -> Outcome {
    query(house, signed_in, move |house, request| house.get::<Equipment>(request, &code)).await
}

/// Every version of a machine or vessel, oldest first.
#[utoipa::path(tag = "equipment", params(("equipment", description = "Its code")), responses((status = 200, body = Vec<Equipment>)))]
#[get("/v1/equipment/{equipment}/versions")]
async fn list_equipment_versions(house: House, signed_in: SignedIn, code: web::Path<String>) -> Outcome {
    query(house, signed_in, move |house, request| house.versions::<Equipment>(request, &code)).await
}

/// Creates a machine or vessel.
#[utoipa::path(tag = "equipment", request_body = Equipment, responses((status = 201, body = Equipment)))]
#[post("/v1/equipment")]
async fn create_equipment(house: House, signed_in: SignedIn, body: Body<Equipment>) -> Outcome {
    command(house, signed_in, body, StatusCode::CREATED, Tubtrail::create).await
}

/// Changes a machine or vessel: the whole of it, as of the version it was read at.
#[utoipa::path(tag = "equipment", request_body = Equipment, params(("equipment", description = "Its code")),
    responses((status = 200, body = Equipment)))]
#[put("/v1/equipment/{equipment}")]
async fn change_equipment(
    house: House,
    signed_in: SignedIn,
    code: web::Path<String>,
    body: Body<Equipment>,
) -> Outcome {
    command(house, signed_in, body, StatusCode::OK, move |house, request, next| house.change(request, &code, next))
        .await
}
