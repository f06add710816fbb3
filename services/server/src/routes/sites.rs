//! Sites.

use actix_web::http::StatusCode;
use actix_web::{get, post, put, web};
use tubtrail_operations::Tubtrail;
use tubtrail_operations::master_data::Page;
use tubtrail_operations::sites::Site;
use utoipa_actix_web::service_config::ServiceConfig;

use super::Paging;
use crate::body::{Body, Query};
use crate::door::SignedIn;
use crate::house::{House, Outcome, command, query};

pub fn configure(config: &mut ServiceConfig) {
    config.service(list_sites).service(get_site).service(list_site_versions).service(create_site).service(change_site);
}

/// The sites, in order of code.
#[utoipa::path(tag = "sites", params(Paging), responses((status = 200, body = Page<Site>)))]
#[get("/v1/sites")]
async fn list_sites(house: House, signed_in: SignedIn, paging: Query<Paging>) -> Outcome {
    query(house, signed_in, move |house, request| house.list::<Site>(request, &paging.0.after, paging.0.limit)).await
}

/// One site.
#[utoipa::path(tag = "sites", params(("site", description = "Its code")), responses((status = 200, body = Site)))]
#[get("/v1/sites/{site}")]
async fn get_site(house: House, signed_in: SignedIn, code: web::Path<String>) -> Outcome {
    query(house, signed_in, move |house, request| house.get::<Site>(request, &code)).await
}

/// Every version of a site, oldest first.
#[utoipa::path(tag = "sites", params(("site", description = "Its code")), responses((status = 200, body = Vec<Site>)))]
#[get("/v1/sites/{site}/versions")]
async fn list_site_versions(house: House, signed_in: SignedIn, code: web::Path<String>) -> Outcome {
    query(house, signed_in, move |house, request| house.versions::<Site>(request, &code)).await
}

/// Creates a site.
#[utoipa::path(tag = "sites", request_body = Site, responses((status = 201, body = Site)))]
#[post("/v1/sites")]
async fn create_site(house: House, signed_in: SignedIn, body: Body<Site>) -> Outcome {
    command(house, signed_in, body, StatusCode::CREATED, Tubtrail::create).await
}

/// Changes a site: the whole of it, as of the version it was read at.
#[utoipa::path(tag = "sites", request_body = Site, params(("site", description = "Its code")),
    responses((status = 200, body = Site)))]
#[put("/v1/sites/{site}")]
async fn change_site(house: House, signed_in: SignedIn, code: web::Path<String>, body: Body<Site>) -> Outcome {
    command(house, signed_in, body, StatusCode::OK, move |house, request, next| house.change(request, &code, next))
        .await
}
