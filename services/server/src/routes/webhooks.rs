//! Webhooks.

use actix_web::http::StatusCode;
use actix_web::{get, post, web};
use tubtrail_operations::holds::Because;
use tubtrail_operations::master_data::Page;
use tubtrail_operations::webhooks::{
    NewSecret, NewTest, NewWebhook, Resumption, Webhook, WebhookAttempt, WebhookTest, WebhookWithSecret,
};
use utoipa_actix_web::service_config::ServiceConfig;

use super::Paging;
use crate::body::{Body, Query};
use crate::door::SignedIn;
use crate::house::{House, Outcome, command, query};

pub fn configure(config: &mut ServiceConfig) {
    config
        .service(list_webhooks)
        .service(get_webhook)
        .service(create_webhook)
        .service(rotate_webhook_secret)
        .service(stop_webhook)
        .service(resume_webhook)
        .service(test_webhook)
        .service(list_webhook_attempts);
}

/// Who outside is told of holds and recalls, by code. Needs a role at every site.
#[utoipa::path(tag = "webhooks", params(Paging), responses((status = 200, body = Page<Webhook>)))]
#[get("/v1/webhooks")]
async fn list_webhooks(house: House, signed_in: SignedIn, paging: Query<Paging>) -> Outcome {
    query(house, signed_in, move |house, request| house.list_webhooks(request, &paging.0.after, paging.0.limit)).await
}

/// One webhook. Needs a role at every site.
#[utoipa::path(tag = "webhooks", params(("webhook", description = "Its code")), responses((status = 200, body = Webhook)))]
#[get("/v1/webhooks/{webhook}")]
async fn get_webhook(house: House, signed_in: SignedIn, code: web::Path<String>) -> Outcome {
    query(house, signed_in, move |house, request| house.get_webhook(request, &code)).await
}

/// Tells someone outside of what happens from now on. The secret is answered this once.
///
/// Each event is a POST of a `WebhookMessage` in the form of Standard Webhooks 1.0.0: `webhook-id` stays the same when it is
/// sent again, `webhook-timestamp` says when that was, `webhook-signature` is `v1,` and the HMAC-SHA256 of
/// `ID.TIMESTAMP.BODY`, base64, under the secret. A status of 200 to 299 within 15 seconds takes it; a redirect is not followed.
/// What is not taken is sent again after 5 s, 5 min, 30 min, 2 h, 5 h, 10 h, 14 h, 20 h and 24 h; then, or at a 410, sending
/// stops until it is resumed. Each webhook hears in the order of the journal and at least once; what it knows by
/// `webhook-id` it may pass over. At most 20 are served at a time.
///
/// The address is an https one, and every address its name stands for is public (`address-refused`), both now and whenever
/// something is sent; a house may allow others with its setting `webhooks-inside`.
#[utoipa::path(tag = "webhooks", request_body = NewWebhook, responses((status = 201, body = WebhookWithSecret)))]
#[post("/v1/webhooks")]
async fn create_webhook(house: House, signed_in: SignedIn, body: Body<NewWebhook>) -> Outcome {
    let outgoing = house.outgoing.clone();
    command(house, signed_in, body, StatusCode::CREATED, move |house, request, new| {
        house.create_webhook(request, new, &outgoing)
    })
    .await
}

/// Gives a webhook another secret, which is answered this once.
#[utoipa::path(tag = "webhooks", request_body = NewSecret, params(("webhook", description = "Its code")),
    responses((status = 201, body = WebhookWithSecret)))]
#[post("/v1/webhooks/{webhook}/secrets")]
async fn rotate_webhook_secret(
    house: House,
    signed_in: SignedIn,
    code: web::Path<String>,
    body: Body<NewSecret>,
) -> Outcome {
    let outgoing = house.outgoing.clone();
    command(house, signed_in, body, StatusCode::CREATED, move |house, request, new| {
        house.rotate_webhook_secret(request, &code, &new, &outgoing)
    })
    .await
}

/// Sends a webhook nothing any more, until it is resumed.
#[utoipa::path(tag = "webhooks", request_body = Because, params(("webhook", description = "Its code")),
    responses((status = 201, body = Webhook)))]
#[post("/v1/webhooks/{webhook}/stop")]
async fn stop_webhook(house: House, signed_in: SignedIn, code: web::Path<String>, body: Body<Because>) -> Outcome {
    command(house, signed_in, body, StatusCode::CREATED, move |house, request, new| {
        house.stop_webhook(request, &code, new)
    })
    .await
}

/// Lets sending go on: from where it stopped, or with what happens from now on.
#[utoipa::path(tag = "webhooks", request_body = Resumption, params(("webhook", description = "Its code")),
    responses((status = 201, body = Webhook)))]
#[post("/v1/webhooks/{webhook}/resumption")]
async fn resume_webhook(house: House, signed_in: SignedIn, code: web::Path<String>, body: Body<Resumption>) -> Outcome {
    command(house, signed_in, body, StatusCode::CREATED, move |house, request, new| {
        house.resume_webhook(request, &code, new)
    })
    .await
}

/// Sends a message of the type `test`, at once, before all else, and only this once; also where sending has stopped.
#[utoipa::path(tag = "webhooks", request_body = NewTest, params(("webhook", description = "Its code")),
    responses((status = 201, body = WebhookTest)))]
#[post("/v1/webhooks/{webhook}/tests")]
async fn test_webhook(house: House, signed_in: SignedIn, code: web::Path<String>, body: Body<NewTest>) -> Outcome {
    command(house, signed_in, body, StatusCode::CREATED, move |house, request, _| house.test_webhook(request, &code))
        .await
}

/// What was sent to a webhook and what the other side said, the last first. Needs a role at every site.
#[utoipa::path(tag = "webhooks", params(("webhook", description = "Its code"), Paging),
    responses((status = 200, body = Page<WebhookAttempt>)))]
#[get("/v1/webhooks/{webhook}/attempts")]
async fn list_webhook_attempts(
    house: House,
    signed_in: SignedIn,
    code: web::Path<String>,
    paging: Query<Paging>,
) -> Outcome {
    query(house, signed_in, move |house, request| {
        house.list_webhook_attempts(request, &code, &paging.0.after, paging.0.limit)
    })
    .await
}
