//! Sessions.

use std::time::Duration;

use actix_web::http::StatusCode;
use actix_web::{HttpRequest, HttpResponse, get, post};
use chrono::{DateTime, Utc};
use serde::Serialize;
use tubtrail_operations::problems;
use tubtrail_operations::sessions::{Credentials, Me, Welcome};
use tubtrail_operations::users::RoleAt;
use utoipa::ToSchema;
use utoipa_actix_web::service_config::ServiceConfig;

use crate::body::Body;
use crate::door::{SignedIn, request_id};
use crate::house::{House, Outcome, off_thread, query};
use crate::problem::Problem;

/// A wrong password is answered no sooner than this: how long it took must not tell whether there is such a login.
const WRONG_PASSWORD_TAKES: Duration = Duration::from_millis(300);

pub fn configure(config: &mut ServiceConfig) {
    config.service(sign_in).service(show_me);
}

/// A session, begun.
#[derive(Serialize, ToSchema)]
#[schema(example = json!({"token": "eyJ0eXAiOiJ0dWJ0cmFpbC1zZXNzaW9uK2p3dCJ9...", "expires_at": "2026-11-25T11:00:00Z",
    "user": {"login": "ines", "name": "Ines at the harbour"}, "roles": [{"role": "shop", "site": "harbour-shop"}]}))]
pub struct Session {
    /// Send it as `Authorization: Bearer TOKEN`.
    pub token: String,
    /// When the session is over.
    pub expires_at: DateTime<Utc>,
    /// Whose it is.
    pub user: SessionUser,
    /// What they are, where.
    pub roles: Vec<RoleAt>,
}

/// Whose a session is.
#[derive(Serialize, ToSchema)]
#[schema(example = json!({"login": "ines", "name": "Ines at the harbour"}))]
pub struct SessionUser {
    /// Their login.
    pub login: String,
    /// As shown.
    pub name: String,
}

/// Begins a session with a login and a password.
///
/// After five wrong passwords in a row the next has to wait, longer each time, up to a quarter of an hour: 429 with
/// `Retry-After`. The session is over when its time is, when the password is changed, or when the person may come in no
/// more; roles are always those of the moment.
#[utoipa::path(tag = "sessions", request_body = Credentials, responses((status = 201, body = Session)))]
#[post("/v1/sessions")]
async fn sign_in(house: House, request: HttpRequest, body: Body<Credentials>) -> Outcome {
    let (welcome, token, expires_at) = come_in(&house, &request, body.value).await?;
    let user = SessionUser { login: welcome.login, name: welcome.name };
    Ok(HttpResponse::build(StatusCode::CREATED).json(Session { token, expires_at, user, roles: welcome.roles }))
}

/// Lets somebody in, by whatever way they came: who they are, the session's token, and when it is over.
pub async fn come_in(
    house: &House,
    request: &HttpRequest,
    credentials: Credentials,
) -> Result<(Welcome, String, DateTime<Utc>), Problem> {
    let began = tokio::time::Instant::now();
    let (inside, id) = (house.clone(), request_id(request));
    let welcome = off_thread(move || inside.tubtrail.sign_in(&credentials, id)).await;
    if welcome.as_ref().is_err_and(|problem| problem.is(&problems::WRONG_PASSWORD)) {
        tokio::time::sleep_until(began + WRONG_PASSWORD_TAKES).await;
    }
    let welcome = welcome?;
    let (token, expires_at) = house.door.let_in(&welcome)?;
    Ok((welcome, token, expires_at))
}

/// Who asks, and what they are where.
#[utoipa::path(tag = "sessions", responses((status = 200, body = Me)))]
#[get("/v1/me")]
async fn show_me(house: House, signed_in: SignedIn) -> Outcome {
    query(house, signed_in, |house, request| house.show_me(request)).await
}
