//! Cleans of equipment and their kinds, and runs that did not happen as written.

use actix_web::http::StatusCode;
use actix_web::{get, post, put, web};
use tubtrail_operations::Tubtrail;
use tubtrail_operations::batch_equipment::EquipmentRun;
use tubtrail_operations::clean_kinds::CleanKind;
use tubtrail_operations::cleans::{Clean, CleansAsked, NewClean};
use tubtrail_operations::holds::Because;
use tubtrail_operations::master_data::Page;
use utoipa_actix_web::service_config::ServiceConfig;

use super::Paging;
use crate::body::{Body, Query};
use crate::door::SignedIn;
use crate::house::{House, Outcome, command, query};

pub fn configure(config: &mut ServiceConfig) {
    config
        .service(list_clean_kinds)
        .service(get_clean_kind)
        .service(list_clean_kind_versions)
        .service(create_clean_kind)
        .service(change_clean_kind)
        .service(record_clean)
        .service(list_cleans)
        .service(void_clean)
        .service(void_equipment_run);
}

/// The ways of cleaning, in order of code.
#[utoipa::path(tag = "allergens", params(Paging), responses((status = 200, body = Page<CleanKind>)))]
#[get("/v1/clean-kinds")]
async fn list_clean_kinds(house: House, signed_in: SignedIn, paging: Query<Paging>) -> Outcome {
    query(house, signed_in, move |house, request| house.list::<CleanKind>(request, &paging.0.after, paging.0.limit))
        .await
}

/// One way of cleaning.
#[utoipa::path(tag = "allergens", params(("clean_kind", description = "Its code")),
    responses((status = 200, body = CleanKind)))]
#[get("/v1/clean-kinds/{clean_kind}")]
async fn get_clean_kind(house: House, signed_in: SignedIn, code: web::Path<String>) -> Outcome {
    query(house, signed_in, move |house, request| house.get::<CleanKind>(request, &code)).await
}

/// Every version of a way of cleaning, oldest first.
#[utoipa::path(tag = "allergens", params(("clean_kind", description = "Its code")),
    responses((status = 200, body = Vec<CleanKind>)))]
#[get("/v1/clean-kinds/{clean_kind}/versions")]
async fn list_clean_kind_versions(house: House, signed_in: SignedIn, code: web::Path<String>) -> Outcome {
    query(house, signed_in, move |house, request| house.versions::<CleanKind>(request, &code)).await
}

/// Creates a way of cleaning: what it was shown to clear.
#[utoipa::path(tag = "allergens", request_body = CleanKind, responses((status = 201, body = CleanKind)))]
#[post("/v1/clean-kinds")]
async fn create_clean_kind(house: House, signed_in: SignedIn, body: Body<CleanKind>) -> Outcome {
    command(house, signed_in, body, StatusCode::CREATED, Tubtrail::create).await
}

/// Changes a way of cleaning: the whole of it, as of the version it was read at.
///
/// Cleans already written down keep what their kind said then.
#[utoipa::path(tag = "allergens", request_body = CleanKind, params(("clean_kind", description = "Its code")),
    responses((status = 200, body = CleanKind)))]
#[put("/v1/clean-kinds/{clean_kind}")]
async fn change_clean_kind(
    house: House,
    signed_in: SignedIn,
    code: web::Path<String>,
    body: Body<CleanKind>,
) -> Outcome {
    command(house, signed_in, body, StatusCode::OK, move |house, request, next| house.change(request, &code, next))
        .await
}

/// Writes down that equipment was cleaned: what its kind clears does not get into the next batch.
#[utoipa::path(tag = "allergens", request_body = NewClean, responses((status = 201, body = Clean)))]
#[post("/v1/cleans")]
async fn record_clean(house: House, signed_in: SignedIn, body: Body<NewClean>) -> Outcome {
    command(house, signed_in, body, StatusCode::CREATED, Tubtrail::record_clean).await
}

/// The cleans of a machine or vessel, the last made first; those that were voided too.
#[utoipa::path(tag = "allergens", params(CleansAsked), responses((status = 200, body = Page<Clean>)))]
#[get("/v1/cleans")]
async fn list_cleans(house: House, signed_in: SignedIn, asked: Query<CleansAsked>) -> Outcome {
    query(house, signed_in, move |house, request| house.list_cleans(request, &asked.0)).await
}

/// Says that a clean did not happen as written: it clears nothing any more.
#[utoipa::path(tag = "allergens", request_body = Because, params(("clean" = i64, description = "Its number")),
    responses((status = 201, body = Clean)))]
#[post("/v1/cleans/{clean}/void")]
async fn void_clean(house: House, signed_in: SignedIn, clean: web::Path<i64>, body: Body<Because>) -> Outcome {
    command(house, signed_in, body, StatusCode::CREATED, move |house, request, because| {
        house.void_clean(request, *clean, because)
    })
    .await
}

/// Says that a run on equipment did not happen as written: it touched nothing.
#[utoipa::path(tag = "batches", request_body = Because, params(("run" = i64, description = "Its number")),
    responses((status = 201, body = EquipmentRun)))]
#[post("/v1/equipment-runs/{run}/void")]
async fn void_equipment_run(house: House, signed_in: SignedIn, run: web::Path<i64>, body: Body<Because>) -> Outcome {
    command(house, signed_in, body, StatusCode::CREATED, move |house, request, because| {
        house.void_equipment_run(request, *run, because)
    })
    .await
}
