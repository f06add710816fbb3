//! Coming in by a page, and going.

use actix_web::cookie::time::Duration;
use actix_web::http::StatusCode;
use actix_web::{HttpRequest, HttpResponse, get, post, web};
use askama::Template;
use tubtrail_operations::passwords::Password;
use tubtrail_operations::sessions::Credentials;

use super::fields::Fields;
use super::page::{Frame, Shown, Unable, next_path, render, see};
use super::texts::{self, Said, Texts};
use super::visitor::{self, Sent, cookie, sent_by_anyone, session_cookie};
use crate::house::House;
use crate::routes::come_in;

/// How long a language stays chosen: a year.
const LANGUAGE_LASTS: Duration = Duration::days(365);

pub fn configure(config: &mut web::ServiceConfig) {
    config.service(sign_in_page).service(sign_in_form).service(sign_out).service(choose_language);
}

#[derive(Template)]
#[template(path = "sign_in.html")]
struct SignIn<'a> {
    frame: Frame,
    /// Where to go then.
    next: &'a str,
    login: &'a str,
    /// Why it did not work.
    refused: Option<Said>,
}

/// The form.
#[get("/sign-in")]
async fn sign_in_page(request: HttpRequest) -> HttpResponse {
    let asked = Fields::parse(request.query_string().as_bytes());
    let next = next_path(asked.get("next"));
    render(StatusCode::OK, &SignIn { frame: Frame::bare(&request), next, login: "", refused: None })
}

/// Lets somebody in who gives the right password.
#[post("/sign-in")]
async fn sign_in_form(house: House, request: HttpRequest, body: web::Bytes) -> Shown {
    let fields = sent_by_anyone(&request, &body).await?;
    let next = next_path(fields.get("next"));
    let login = fields.get("login").unwrap_or("");
    let password = Password(fields.get("password").unwrap_or("").to_owned());
    match come_in(&house, &request, Credentials { login: login.to_owned(), password }).await {
        Ok((_, token, until)) => {
            let mut response = see(next);
            let cookie = session_cookie(&request, token, until);
            response.add_cookie(&cookie).map_err(|error| Unable::internal(&request, &error))?;
            Ok(response)
        }
        Err(problem) if problem.can_be_put_right() => {
            let shown = problem.details();
            let frame = Frame::bare(&request);
            let refused = Some(frame.texts.said(&shown.detail));
            Ok(render(problem.status(), &SignIn { frame, next, login, refused }))
        }
        Err(problem) => Err(Unable::problem(&request, problem)),
    }
}

/// Ends the session in this browser.
#[post("/sign-out")]
async fn sign_out(request: HttpRequest, _sent: Sent) -> Shown {
    let mut response = see("/sign-in");
    let gone = cookie(&request, visitor::COOKIE, String::new(), Duration::ZERO);
    response.add_cookie(&gone).map_err(|error| Unable::internal(&request, &error))?;
    Ok(response)
}

/// Chooses a language; what anybody may, so that nothing is asked but where it came from.
#[post("/language")]
async fn choose_language(request: HttpRequest, body: web::Bytes) -> Shown {
    let fields = sent_by_anyone(&request, &body).await?;
    let mut response = see(next_path(fields.get("next")));
    if let Some(chosen) = fields.get("language").and_then(Texts::of) {
        let chosen = cookie(&request, texts::COOKIE, chosen.tag.to_owned(), LANGUAGE_LASTS);
        response.add_cookie(&chosen).map_err(|error| Unable::internal(&request, &error))?;
    }
    Ok(response)
}
