//! Transfers.

use actix_web::http::StatusCode;
use actix_web::{get, post, web};
use tubtrail_operations::master_data::Page;
use tubtrail_operations::receipts::NewReceipt;
use tubtrail_operations::transfers::{NewTransfer, Transfer, TransferSummary, TransfersAsked};
use utoipa_actix_web::service_config::ServiceConfig;

use crate::body::{Body, Query};
use crate::door::SignedIn;
use crate::house::{House, Outcome, command, query};

pub fn configure(config: &mut ServiceConfig) {
    config.service(dispatch_transfer).service(receive_transfer).service(list_transfers).service(get_transfer);
}

/// Sends stock to another site; it counts as the sender's until it is received.
#[utoipa::path(tag = "transfers", request_body = NewTransfer, responses((status = 201, body = Transfer)))]
#[post("/v1/transfers")]
async fn dispatch_transfer(house: House, signed_in: SignedIn, body: Body<NewTransfer>) -> Outcome {
    command(house, signed_in, body, StatusCode::CREATED, |house, request, new| house.dispatch_transfer(request, new))
        .await
}

/// Receives a transfer, once: what arrived whole, what damaged, what is missing, and what was not on the list.
///
/// Every lot that was sent is answered for: by a line, or by `rest`, or by `all_as_sent`. What differs needs a reason. More
/// of a lot than was sent, and a lot that was not on the list, can arrive too; a tub only as a whole, and only if the book
/// has it at the sender or missed it before.
#[utoipa::path(tag = "transfers", request_body = NewReceipt,
    params(("transfer" = i64, description = "Its number")), responses((status = 201, body = Transfer)))]
#[post("/v1/transfers/{transfer}/receipt")]
async fn receive_transfer(house: House, signed_in: SignedIn, id: web::Path<i64>, body: Body<NewReceipt>) -> Outcome {
    command(house, signed_in, body, StatusCode::CREATED, move |house, request, new| {
        house.receive_transfer(request, *id, new)
    })
    .await
}

/// The transfers from or to sites in reach, oldest first.
#[utoipa::path(tag = "transfers", params(TransfersAsked), responses((status = 200, body = Page<TransferSummary>)))]
#[get("/v1/transfers")]
async fn list_transfers(house: House, signed_in: SignedIn, asked: Query<TransfersAsked>) -> Outcome {
    query(house, signed_in, move |house, request| house.list_transfers(request, &asked.0)).await
}

/// One transfer: what was sent and, once it arrived, how that differs.
#[utoipa::path(tag = "transfers", params(("transfer" = i64, description = "Its number")),
    responses((status = 200, body = Transfer)))]
#[get("/v1/transfers/{transfer}")]
async fn get_transfer(house: House, signed_in: SignedIn, id: web::Path<i64>) -> Outcome {
    query(house, signed_in, move |house, request| house.get_transfer(request, *id)).await
}
