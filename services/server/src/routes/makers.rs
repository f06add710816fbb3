//! The makers that stand on labels.

use actix_web::http::StatusCode;
use actix_web::{get, post, put, web};
use tubtrail_operations::Tubtrail;
use tubtrail_operations::makers::Maker;
use tubtrail_operations::master_data::Page;
use utoipa_actix_web::service_config::ServiceConfig;

use super::Paging;
use crate::body::{Body, Query};
use crate::door::SignedIn;
use crate::house::{House, Outcome, command, query};

pub fn configure(config: &mut ServiceConfig) {
    config
        .service(list_makers)
        .service(get_maker)
        .service(list_maker_versions)
        .service(create_maker)
        .service(change_maker);
}

/// The makers that stand on labels, in order of code.
#[utoipa::path(tag = "labels", params(Paging), responses((status = 200, body = Page<Maker>)))]
#[get("/v1/makers")]
async fn list_makers(house: House, signed_in: SignedIn, paging: Query<Paging>) -> Outcome {
    query(house, signed_in, move |house, request| house.list::<Maker>(request, &paging.0.after, paging.0.limit)).await
}

/// A maker.
#[utoipa::path(tag = "labels", params(("maker", description = "Its code")), responses((status = 200, body = Maker)))]
#[get("/v1/makers/{maker}")]
async fn get_maker(house: House, signed_in: SignedIn, code: web::Path<String>) -> Outcome {
    query(house, signed_in, move |house, request| house.get::<Maker>(request, &code)).await
}

/// Every version of a maker, oldest first.
#[utoipa::path(tag = "labels", params(("maker", description = "Its code")), responses((status = 200, body = Vec<Maker>)))]
#[get("/v1/makers/{maker}/versions")]
async fn list_maker_versions(house: House, signed_in: SignedIn, code: web::Path<String>) -> Outcome {
    query(house, signed_in, move |house, request| house.versions::<Maker>(request, &code)).await
}

/// Creates a maker.
#[utoipa::path(tag = "labels", request_body = Maker, responses((status = 201, body = Maker)))]
#[post("/v1/makers")]
async fn create_maker(house: House, signed_in: SignedIn, body: Body<Maker>) -> Outcome {
    command(house, signed_in, body, StatusCode::CREATED, Tubtrail::create).await
}

/// Changes a maker: the whole of it, as of the version it was read at.
#[utoipa::path(tag = "labels", request_body = Maker, params(("maker", description = "Its code")),
    responses((status = 200, body = Maker)))]
#[put("/v1/makers/{maker}")]
async fn change_maker(house: House, signed_in: SignedIn, code: web::Path<String>, body: Body<Maker>) -> Outcome {
    command(house, signed_in, body, StatusCode::OK, move |house, request, next| house.change(request, &code, next))
        .await
}
