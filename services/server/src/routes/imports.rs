//! Imports.

use actix_web::http::StatusCode;
use actix_web::{post, web};
use tubtrail_operations::imports::{GUIDE, Imported};
use utoipa_actix_web::service_config::ServiceConfig;

use crate::body::{Body, Csv};
use crate::door::SignedIn;
use crate::house::{House, Outcome, command};

pub fn configure(config: &mut ServiceConfig) {
    config.service(import_master_data);
}

// What it says in the description is the guide for people who write such files.
#[utoipa::path(tag = "imports", summary = "Takes in a CSV file of master data: all of it, or nothing.", description = GUIDE,
    request_body(content = String, content_type = "text/csv", example = "code,name,kind,time_zone,gln,active\nquay-kitchen,Kitchen on the quay,kitchen,Europe/Lisbon,,true\n"),
    params(("noun", description = "sites, partners, items, recipes or equipment")),
    responses((status = 200, body = Imported)))]
#[post("/v1/imports/{noun}")]
async fn import_master_data(house: House, signed_in: SignedIn, noun: web::Path<String>, csv: Csv) -> Outcome {
    let body = Body { value: csv.bytes, hash: csv.hash };
    command(house, signed_in, body, StatusCode::OK, move |house, request, file| house.import(request, &noun, &file))
        .await
}
