//! Items.

use actix_web::http::StatusCode;
use actix_web::{get, post, put, web};
use tubtrail_operations::Tubtrail;
use tubtrail_operations::items::Item;
use tubtrail_operations::master_data::Page;
use tubtrail_operations::reorder_levels::{NewReorderLevel, ReorderLevel};
use utoipa_actix_web::service_config::ServiceConfig;

use super::Paging;
use crate::body::{Body, Query};
use crate::door::SignedIn;
use crate::house::{House, Outcome, command, query};

pub fn configure(config: &mut ServiceConfig) {
    config
        .service(list_items)
        .service(get_item)
        .service(list_item_versions)
        .service(create_item)
        .service(change_item)
        .service(set_reorder_level);
}

/// The items, in order of code.
#[utoipa::path(tag = "items", params(Paging), responses((status = 200, body = Page<Item>)))]
#[get("/v1/items")]
async fn list_items(house: House, signed_in: SignedIn, paging: Query<Paging>) -> Outcome {
    query(house, signed_in, move |house, request| house.list::<Item>(request, &paging.0.after, paging.0.limit)).await
}

/// One item.
#[utoipa::path(tag = "items", params(("item", description = "Its code")), responses((status = 200, body = Item)))]
#[get("/v1/items/{item}")]
async fn get_item(house: House, signed_in: SignedIn, code: web::Path<String>) -> Outcome {
    query(house, signed_in, move |house, request| house.get::<Item>(request, &code)).await
}

/// Every version of an item, oldest first.
#[utoipa::path(tag = "items", params(("item", description = "Its code")), responses((status = 200, body = Vec<Item>)))]
#[get("/v1/items/{item}/versions")]
async fn list_item_versions(house: House, signed_in: SignedIn, code: web::Path<String>) -> Outcome {
    query(house, signed_in, move |house, request| house.versions::<Item>(request, &code)).await
}

/// Creates an item.
#[utoipa::path(tag = "items", request_body = Item, responses((status = 201, body = Item)))]
#[post("/v1/items")]
async fn create_item(house: House, signed_in: SignedIn, body: Body<Item>) -> Outcome {
    command(house, signed_in, body, StatusCode::CREATED, Tubtrail::create).await
}

/// Changes an item: the whole of it, as of the version it was read at.
#[utoipa::path(tag = "items", request_body = Item, params(("item", description = "Its code")),
    responses((status = 200, body = Item)))]
#[put("/v1/items/{item}")]
async fn change_item(house: House, signed_in: SignedIn, code: web::Path<String>, body: Body<Item>) -> Outcome {
    command(house, signed_in, body, StatusCode::OK, move |house, request, next| house.change(request, &code, next))
        .await
}

/// Sets below how much of an item a site wants to be told; 0 grams: not at all.
#[utoipa::path(tag = "items", request_body = NewReorderLevel,
    params(("item", description = "Its code"), ("site", description = "The site's code")),
    responses((status = 200, body = ReorderLevel)))]
#[put("/v1/items/{item}/reorder-levels/{site}")]
async fn set_reorder_level(
    house: House,
    signed_in: SignedIn,
    codes: web::Path<(String, String)>,
    body: Body<NewReorderLevel>,
) -> Outcome {
    command(house, signed_in, body, StatusCode::OK, move |house, request, new| {
        house.set_reorder_level(request, &codes.0, &codes.1, new)
    })
    .await
}
