//! Photos and papers that came with a delivery.

use actix_web::http::StatusCode;
use actix_web::{get, post, web};
use serde::Deserialize;
use tubtrail_operations::documents::{DeliveryDocument, DeliveryDocuments};
use utoipa::IntoParams;
use utoipa_actix_web::service_config::ServiceConfig;

use crate::body::{Body, File, Query};
use crate::door::SignedIn;
use crate::house::{House, Outcome, command, off_thread, query};
use crate::papers::answer;

pub fn configure(config: &mut ServiceConfig) {
    config.service(attach_document).service(list_documents).service(show_document);
}

/// What it is called.
#[derive(Debug, Deserialize, IntoParams)]
#[serde(deny_unknown_fields)]
#[into_params(parameter_in = Query)]
struct Called {
    /// As a file or as people say.
    #[param(max_length = 120, example = "delivery-note.jpg")]
    name: String,
}

/// Keeps a photo or a paper with a delivery, as it is sent.
///
/// JPEG, PNG, WebP or PDF, known by its bytes and not by what it is called; at most 8 MiB each and 10 a delivery. Send the
/// file itself as the body.
#[utoipa::path(tag = "deliveries", params(("delivery" = i64, description = "Its number"), Called),
    request_body(content = String, content_type = "application/octet-stream", example = "the bytes of the file"),
    responses((status = 201, body = DeliveryDocument)))]
#[post("/v1/deliveries/{delivery}/documents")]
async fn attach_document(
    house: House,
    signed_in: SignedIn,
    id: web::Path<i64>,
    called: Query<Called>,
    file: File,
) -> Outcome {
    let body = Body { value: file.bytes, hash: file.hash };
    command(house, signed_in, body, StatusCode::CREATED, move |house, request, file| {
        house.attach_document(request, *id, called.0.name, file)
    })
    .await
}

/// The photos and papers that came with a delivery, without the files themselves.
#[utoipa::path(tag = "deliveries", params(("delivery" = i64, description = "Its number")),
    responses((status = 200, body = DeliveryDocuments)))]
#[get("/v1/deliveries/{delivery}/documents")]
async fn list_documents(house: House, signed_in: SignedIn, id: web::Path<i64>) -> Outcome {
    query(house, signed_in, move |house, request| house.list_documents(request, *id)).await
}

/// The file of a photo or a paper, as it was sent.
#[utoipa::path(tag = "deliveries", params(("document" = i64, description = "Its number")),
    responses((status = 200, content(
        (String = "image/jpeg", example = "JPEG"),
        (String = "image/png", example = "PNG"),
        (String = "image/webp", example = "WebP"),
        (String = "application/pdf", example = "%PDF-1.7")))))]
#[get("/v1/documents/{document}")]
async fn show_document(house: House, signed_in: SignedIn, id: web::Path<i64>) -> Outcome {
    let request = signed_in.into_request(None);
    let (document, file) = off_thread(move || house.tubtrail.show_document(&request, *id)).await?;
    Ok(answer(&document, file))
}
