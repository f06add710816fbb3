//! Devices.

use actix_web::http::StatusCode;
use actix_web::{get, post, web};
use tubtrail_operations::devices::{Device, DeviceWithToken, NewDevice, Revocation};
use tubtrail_operations::master_data::Page;
use utoipa_actix_web::service_config::ServiceConfig;

use super::Paging;
use crate::body::{Body, Query};
use crate::door::SignedIn;
use crate::house::{House, Outcome, command, query};

pub fn configure(config: &mut ServiceConfig) {
    config.service(list_devices).service(create_device).service(revoke_device);
}

/// The devices within reach, by code.
#[utoipa::path(tag = "devices", params(Paging), responses((status = 200, body = Page<Device>)))]
#[get("/v1/devices")]
async fn list_devices(house: House, signed_in: SignedIn, paging: Query<Paging>) -> Outcome {
    query(house, signed_in, move |house, request| house.list_devices(request, &paging.0.after, paging.0.limit)).await
}

/// Lets a device come in. Its token is answered this once, and kept only as a hash.
#[utoipa::path(tag = "devices", request_body = NewDevice, responses((status = 201, body = DeviceWithToken)))]
#[post("/v1/devices")]
async fn create_device(house: House, signed_in: SignedIn, body: Body<NewDevice>) -> Outcome {
    command(house, signed_in, body, StatusCode::CREATED, |house, request, new| house.create_device(request, new)).await
}

/// Lets a device come in no more: from the next request on its token is refused.
#[utoipa::path(tag = "devices", request_body = Revocation, params(("device", description = "Its code")),
    responses((status = 200, body = Device)))]
#[post("/v1/devices/{device}/revocation")]
async fn revoke_device(house: House, signed_in: SignedIn, code: web::Path<String>, body: Body<Revocation>) -> Outcome {
    command(house, signed_in, body, StatusCode::OK, move |house, request, revocation| {
        house.revoke_device(request, &code, revocation)
    })
    .await
}
