//! What labels say of items.

use actix_web::http::StatusCode;
use actix_web::{get, post, put, web};
use tubtrail_operations::Tubtrail;
use tubtrail_operations::item_labels::ItemLabel;
use tubtrail_operations::master_data::Page;
use utoipa_actix_web::service_config::ServiceConfig;

use super::Paging;
use crate::body::{Body, Query};
use crate::door::SignedIn;
use crate::house::{House, Outcome, command, query};

pub fn configure(config: &mut ServiceConfig) {
    config
        .service(list_item_labels)
        .service(get_item_label)
        .service(list_item_label_versions)
        .service(create_item_label)
        .service(change_item_label);
}

/// What labels say of items, in order of code.
#[utoipa::path(tag = "labels", params(Paging), responses((status = 200, body = Page<ItemLabel>)))]
#[get("/v1/item-labels")]
async fn list_item_labels(house: House, signed_in: SignedIn, paging: Query<Paging>) -> Outcome {
    query(house, signed_in, move |house, request| house.list::<ItemLabel>(request, &paging.0.after, paging.0.limit))
        .await
}

/// What labels say of an item.
#[utoipa::path(tag = "labels", params(("item_label", description = "Its code")), responses((status = 200, body = ItemLabel)))]
#[get("/v1/item-labels/{item_label}")]
async fn get_item_label(house: House, signed_in: SignedIn, code: web::Path<String>) -> Outcome {
    query(house, signed_in, move |house, request| house.get::<ItemLabel>(request, &code)).await
}

/// Every version of what labels say of an item, oldest first.
#[utoipa::path(tag = "labels", params(("item_label", description = "Its code")), responses((status = 200, body = Vec<ItemLabel>)))]
#[get("/v1/item-labels/{item_label}/versions")]
async fn list_item_label_versions(house: House, signed_in: SignedIn, code: web::Path<String>) -> Outcome {
    query(house, signed_in, move |house, request| house.versions::<ItemLabel>(request, &code)).await
}

/// Creates what labels say of an item.
#[utoipa::path(tag = "labels", request_body = ItemLabel, responses((status = 201, body = ItemLabel)))]
#[post("/v1/item-labels")]
async fn create_item_label(house: House, signed_in: SignedIn, body: Body<ItemLabel>) -> Outcome {
    command(house, signed_in, body, StatusCode::CREATED, Tubtrail::create).await
}

/// Changes what labels say of an item: the whole of it, as of the version it was read at.
#[utoipa::path(tag = "labels", request_body = ItemLabel, params(("item_label", description = "Its code")),
    responses((status = 200, body = ItemLabel)))]
#[put("/v1/item-labels/{item_label}")]
async fn change_item_label(
    house: House,
    signed_in: SignedIn,
    code: web::Path<String>,
    body: Body<ItemLabel>,
) -> Outcome {
    command(house, signed_in, body, StatusCode::OK, move |house, request, next| house.change(request, &code, next))
        .await
}
