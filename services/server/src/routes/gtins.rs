//! The numbers under the bars of packages, and which item each stands for.

use actix_web::http::StatusCode;
use actix_web::{get, post, web};
use tubtrail_operations::gtins::{GtinWithdrawal, ItemGtin, NewGtinWithdrawal, NewItemGtin};
use utoipa_actix_web::service_config::ServiceConfig;

use crate::body::Body;
use crate::door::SignedIn;
use crate::house::{House, Outcome, command, query};

pub fn configure(config: &mut ServiceConfig) {
    config.service(add_item_gtin).service(get_gtin).service(withdraw_gtin);
}

/// Gives the number of an article (GTIN) to an item, so that scanning it tells the item.
#[utoipa::path(tag = "items", request_body = NewItemGtin, params(("item", description = "Its code")),
    responses((status = 201, body = ItemGtin)))]
#[post("/v1/items/{item}/gtins")]
async fn add_item_gtin(house: House, signed_in: SignedIn, code: web::Path<String>, body: Body<NewItemGtin>) -> Outcome {
    command(house, signed_in, body, StatusCode::CREATED, move |house, request, new| {
        house.add_item_gtin(request, &code, new)
    })
    .await
}

/// The item that the number of an article (GTIN) stands for now.
#[utoipa::path(tag = "items", params(("gtin", description = "8, 12, 13 or 14 digits")),
    responses((status = 200, body = ItemGtin)))]
#[get("/v1/gtins/{gtin}")]
async fn get_gtin(house: House, signed_in: SignedIn, gtin: web::Path<String>) -> Outcome {
    query(house, signed_in, move |house, request| house.get_gtin(request, &gtin)).await
}

/// Lets the number of an article (GTIN) stand for nothing any more, until it is given to an item anew. What was received by
/// it stays as it is.
#[utoipa::path(tag = "items", request_body = NewGtinWithdrawal, params(("gtin", description = "8, 12, 13 or 14 digits")),
    responses((status = 201, body = GtinWithdrawal)))]
#[post("/v1/gtins/{gtin}/withdrawal")]
async fn withdraw_gtin(
    house: House,
    signed_in: SignedIn,
    gtin: web::Path<String>,
    body: Body<NewGtinWithdrawal>,
) -> Outcome {
    command(house, signed_in, body, StatusCode::CREATED, move |house, request, new| {
        house.withdraw_gtin(request, &gtin, new)
    })
    .await
}
