//! Partners.

use actix_web::http::StatusCode;
use actix_web::{get, post, put, web};
use tubtrail_operations::Tubtrail;
use tubtrail_operations::master_data::Page;
use tubtrail_operations::partners::Partner;
use utoipa_actix_web::service_config::ServiceConfig;

use super::Paging;
use crate::body::{Body, Query};
use crate::door::SignedIn;
use crate::house::{House, Outcome, command, query};

pub fn configure(config: &mut ServiceConfig) {
    config
        .service(list_partners)
        .service(get_partner)
        .service(list_partner_versions)
        .service(create_partner)
        .service(change_partner);
}

/// The partners, in order of code.
#[utoipa::path(tag = "partners", params(Paging), responses((status = 200, body = Page<Partner>)))]
#[get("/v1/partners")]
async fn list_partners(house: House, signed_in: SignedIn, paging: Query<Paging>) -> Outcome {
    query(house, signed_in, move |house, request| house.list::<Partner>(request, &paging.0.after, paging.0.limit)).await
}

/// One partner.
#[utoipa::path(tag = "partners", params(("partner", description = "Its code")), responses((status = 200, body = Partner)))]
#[get("/v1/partners/{partner}")]
async fn get_partner(house: House, signed_in: SignedIn, code: web::Path<String>) -> Outcome {
    query(house, signed_in, move |house, request| house.get::<Partner>(request, &code)).await
}

/// Every version of a partner, oldest first.
#[utoipa::path(tag = "partners", params(("partner", description = "Its code")), responses((status = 200, body = Vec<Partner>)))]
#[get("/v1/partners/{partner}/versions")]
async fn list_partner_versions(house: House, signed_in: SignedIn, code: web::Path<String>) -> Outcome {
    query(house, signed_in, move |house, request| house.versions::<Partner>(request, &code)).await
}

/// Creates a partner.
#[utoipa::path(tag = "partners", request_body = Partner, responses((status = 201, body = Partner)))]
#[post("/v1/partners")]
async fn create_partner(house: House, signed_in: SignedIn, body: Body<Partner>) -> Outcome {
    command(house, signed_in, body, StatusCode::CREATED, Tubtrail::create).await
}

/// Changes a partner: the whole of it, as of the version it was read at.
#[utoipa::path(tag = "partners", request_body = Partner, params(("partner", description = "Its code")),
    responses((status = 200, body = Partner)))]
#[put("/v1/partners/{partner}")]
async fn change_partner(house: House, signed_in: SignedIn, code: web::Path<String>, body: Body<Partner>) -> Outcome {
    command(house, signed_in, body, StatusCode::OK, move |house, request, next| house.change(request, &code, next))
        .await
}
