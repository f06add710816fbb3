//! Users.

use actix_web::http::StatusCode;
use actix_web::{get, post, put, web};
use tubtrail_operations::master_data::Page;
use tubtrail_operations::users::{NewUser, User, UserChange};
use utoipa_actix_web::service_config::ServiceConfig;

use super::Paging;
use crate::body::{Body, Query};
use crate::door::SignedIn;
use crate::house::{House, Outcome, command, query};

pub fn configure(config: &mut ServiceConfig) {
    config.service(list_users).service(create_user).service(change_user);
}

/// The people who may come in, and those who no longer may, by login. For those whose role is everywhere.
#[utoipa::path(tag = "users", params(Paging), responses((status = 200, body = Page<User>)))]
#[get("/v1/users")]
async fn list_users(house: House, signed_in: SignedIn, paging: Query<Paging>) -> Outcome {
    query(house, signed_in, move |house, request| house.list_users(request, &paging.0.after, paging.0.limit)).await
}

/// Lets someone new come in. For owners everywhere.
#[utoipa::path(tag = "users", request_body = NewUser, responses((status = 201, body = User)))]
#[post("/v1/users")]
async fn create_user(house: House, signed_in: SignedIn, body: Body<NewUser>) -> Outcome {
    command(house, signed_in, body, StatusCode::CREATED, |house, request, new| house.create_user(request, new)).await
}

/// Changes someone: the whole of what is known of them, as of the version it was read at. For owners everywhere.
///
/// A new password ends every session of theirs; the last active owner everywhere cannot be taken away.
#[utoipa::path(tag = "users", request_body = UserChange, params(("login", description = "Their login")),
    responses((status = 200, body = User)))]
#[put("/v1/users/{login}")]
async fn change_user(house: House, signed_in: SignedIn, login: web::Path<String>, body: Body<UserChange>) -> Outcome {
    command(house, signed_in, body, StatusCode::OK, move |house, request, next| {
        house.change_user(request, &login, next)
    })
    .await
}
