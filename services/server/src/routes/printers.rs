//! The printers.

use actix_web::http::StatusCode;
use actix_web::{get, post, put, web};
use tubtrail_operations::Tubtrail;
use tubtrail_operations::master_data::Page;
use tubtrail_operations::printers::Printer;
use utoipa_actix_web::service_config::ServiceConfig;

use super::Paging;
use crate::body::{Body, Query};
use crate::door::SignedIn;
use crate::house::{House, Outcome, command, query};

pub fn configure(config: &mut ServiceConfig) {
    config
        .service(list_printers)
        .service(get_printer)
        .service(list_printer_versions)
        .service(create_printer)
        .service(change_printer);
}

/// The printers, in order of code.
#[utoipa::path(tag = "labels", params(Paging), responses((status = 200, body = Page<Printer>)))]
#[get("/v1/printers")]
async fn list_printers(house: House, signed_in: SignedIn, paging: Query<Paging>) -> Outcome {
    query(house, signed_in, move |house, request| house.list::<Printer>(request, &paging.0.after, paging.0.limit)).await
}

/// A printer.
#[utoipa::path(tag = "labels", params(("printer", description = "Its code")), responses((status = 200, body = Printer)))]
#[get("/v1/printers/{printer}")]
async fn get_printer(house: House, signed_in: SignedIn, code: web::Path<String>) -> Outcome {
    query(house, signed_in, move |house, request| house.get::<Printer>(request, &code)).await
}

/// Every version of a printer, oldest first.
#[utoipa::path(tag = "labels", params(("printer", description = "Its code")), responses((status = 200, body = Vec<Printer>)))]
#[get("/v1/printers/{printer}/versions")]
async fn list_printer_versions(house: House, signed_in: SignedIn, code: web::Path<String>) -> Outcome {
    query(house, signed_in, move |house, request| house.versions::<Printer>(request, &code)).await
}

/// Creates a printer.
#[utoipa::path(tag = "labels", request_body = Printer, responses((status = 201, body = Printer)))]
#[post("/v1/printers")]
async fn create_printer(house: House, signed_in: SignedIn, body: Body<Printer>) -> Outcome {
    command(house, signed_in, body, StatusCode::CREATED, Tubtrail::create).await
}

/// Changes a printer: the whole of it, as of the version it was read at.
#[utoipa::path(tag = "labels", request_body = Printer, params(("printer", description = "Its code")),
    responses((status = 200, body = Printer)))]
#[put("/v1/printers/{printer}")]
async fn change_printer(house: House, signed_in: SignedIn, code: web::Path<String>, body: Body<Printer>) -> Outcome {
    command(house, signed_in, body, StatusCode::OK, move |house, request, next| house.change(request, &code, next))
        .await
}
