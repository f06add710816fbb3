//! Counts.

use actix_web::http::StatusCode;
use actix_web::{get, post, web};
use tubtrail_operations::counting::{Counting, CountingAsked};
use tubtrail_operations::counts::{Count, CountSummary, CountsAsked, NewCount};
use tubtrail_operations::master_data::Page;
use utoipa_actix_web::service_config::ServiceConfig;

use crate::body::{Body, Query};
use crate::door::SignedIn;
use crate::house::{House, Outcome, command, query};

pub fn configure(config: &mut ServiceConfig) {
    config.service(count_site).service(list_counts).service(get_count).service(show_counting);
}

/// Writes down a count, and moves what differs from the book; a difference needs a reason.
#[utoipa::path(tag = "counts", request_body = NewCount, responses((status = 201, body = Count)))]
#[post("/v1/counts")]
async fn count_site(house: House, signed_in: SignedIn, body: Body<NewCount>) -> Outcome {
    command(house, signed_in, body, StatusCode::CREATED, |house, request, new| house.count_site(request, new)).await
}

/// The counts of sites in reach, oldest first.
#[utoipa::path(tag = "counts", params(CountsAsked), responses((status = 200, body = Page<CountSummary>)))]
#[get("/v1/counts")]
async fn list_counts(house: House, signed_in: SignedIn, asked: Query<CountsAsked>) -> Outcome {
    query(house, signed_in, move |house, request| house.list_counts(request, &asked.0)).await
}

/// One count: what was expected, what was found, and the difference.
#[utoipa::path(tag = "counts", params(("count" = i64, description = "Its number")),
    responses((status = 200, body = Count)))]
#[get("/v1/counts/{count}")]
async fn get_count(house: House, signed_in: SignedIn, id: web::Path<i64>) -> Outcome {
    query(house, signed_in, move |house, request| house.get_count(request, *id)).await
}

/// How far the counting of a site is: what was counted, beside what the book said, and what was not.
#[utoipa::path(tag = "counts", params(("site", description = "The site's code"), CountingAsked),
    responses((status = 200, body = Counting)))]
#[get("/v1/sites/{site}/counting")]
async fn show_counting(
    house: House,
    signed_in: SignedIn,
    site: web::Path<String>,
    asked: Query<CountingAsked>,
) -> Outcome {
    query(house, signed_in, move |house, request| house.show_counting(request, &site, &asked.0)).await
}
