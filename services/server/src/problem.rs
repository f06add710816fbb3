//! Problems as answers: `application/problem+json` (RFC 9457).

use actix_web::http::StatusCode;
use actix_web::http::header::RETRY_AFTER;
use actix_web::{HttpResponse, ResponseError};
use serde::Serialize;
use tubtrail_domain::saying::Saying;
use tubtrail_operations::problems::{self, Sort};
use tubtrail_operations::{Fault, OperationError};
use utoipa::ToSchema;

/// An error on its way out.
pub struct Problem(OperationError);

/// What is sent of it.
#[derive(Clone, Debug, Serialize, ToSchema)]
#[schema(example = json!({"type": "/problems/not-enough", "title": "There is not that much of it there.", "status": 409,
    "detail": "lot 261125-0042-7: 1200 g are available at quay-kitchen, 1500 g are wanted",
    "field": "uses[0].quantity.amount", "lots": ["261125-0042-7"]}))]
pub struct ProblemDetails {
    /// Which problem: an address on this server that explains it.
    #[serde(rename = "type")]
    pub kind: String,
    /// The problem in general.
    #[schema(value_type = String)]
    pub title: Saying,
    /// The HTTP status, again.
    pub status: u16,
    /// The problem this time, in a sentence.
    #[schema(value_type = String)]
    pub detail: Saying,
    /// The field of the request at fault.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub field: Option<String>,
    /// The lots concerned.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub lots: Vec<String>,
    /// What else is at fault, where more was looked at than the first: the further rows of a file.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub also: Vec<Fault>,
}

impl Problem {
    /// Something that must not happen; the cause goes to the log alone.
    pub fn internal(cause: &dyn std::fmt::Display) -> Self {
        tracing::error!(%cause, "a request failed");
        Self(OperationError::of(&problems::INTERNAL))
    }

    /// Whether it is this one.
    pub fn is(&self, problem: &problems::Problem) -> bool {
        self.0.problem == problem
    }

    /// Whether it says that who asks may not, or no longer.
    pub fn turns_away(&self) -> bool {
        matches!(self.0.problem.sort, Sort::NotSignedIn | Sort::Forbidden)
    }

    /// Whether who asks can put it right: by typing something else, or by waiting.
    pub fn can_be_put_right(&self) -> bool {
        !matches!(self.0.problem.sort, Sort::Unavailable | Sort::Internal)
    }

    /// Its status.
    pub fn status(&self) -> StatusCode {
        Self::status_of(self.0.problem.sort)
    }

    /// What is said of it.
    pub fn details(&self) -> ProblemDetails {
        ProblemDetails {
            kind: format!("/problems/{}", self.0.problem.word),
            title: self.0.problem.title.clone(),
            status: self.status().as_u16(),
            detail: self.0.detail.clone(),
            field: self.0.field.clone(),
            lots: self.0.lots.clone(),
            also: self.0.also.clone(),
        }
    }

    /// After how many seconds it may be different.
    pub fn retry_after(&self) -> Option<u32> {
        self.0.retry_after_seconds.or(match self.0.problem.sort {
            Sort::TooMany | Sort::Unavailable => Some(1),
            _ => None,
        })
    }

    /// The status of a sort of problem.
    pub fn status_of(sort: Sort) -> StatusCode {
        match sort {
            Sort::Malformed => StatusCode::BAD_REQUEST,
            Sort::NotSignedIn => StatusCode::UNAUTHORIZED,
            Sort::Forbidden => StatusCode::FORBIDDEN,
            Sort::NotFound => StatusCode::NOT_FOUND,
            Sort::WrongMethod => StatusCode::METHOD_NOT_ALLOWED,
            Sort::WrongType => StatusCode::UNSUPPORTED_MEDIA_TYPE,
            Sort::Refused => StatusCode::CONFLICT,
            Sort::Invalid => StatusCode::UNPROCESSABLE_ENTITY,
            Sort::TooLarge => StatusCode::PAYLOAD_TOO_LARGE,
            Sort::TooMany => StatusCode::TOO_MANY_REQUESTS,
            Sort::Unavailable => StatusCode::SERVICE_UNAVAILABLE,
            Sort::Internal => StatusCode::INTERNAL_SERVER_ERROR,
        }
    }
}

impl From<OperationError> for Problem {
    fn from(error: OperationError) -> Self {
        if let (Some(cause), Sort::Internal | Sort::Unavailable) = (&error.cause, error.problem.sort) {
            tracing::error!(%cause, "a request failed");
        }
        Self(error)
    }
}

impl std::fmt::Display for Problem {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(f, "{}: {}", self.0.problem.word, self.0.detail)
    }
}

/// As it is shown: the log has the cause already when the line of the request is written, with this in it.
impl std::fmt::Debug for Problem {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        std::fmt::Display::fmt(self, f)
    }
}

impl std::error::Error for Problem {}

impl ResponseError for Problem {
    fn status_code(&self) -> StatusCode {
        self.status()
    }

    fn error_response(&self) -> HttpResponse {
        let status = self.status();
        let mut response = HttpResponse::build(status);
        response.content_type("application/problem+json");
        if status == StatusCode::UNAUTHORIZED {
            response.insert_header(("WWW-Authenticate", "Bearer"));
        }
        if let Some(seconds) = self.retry_after() {
            response.insert_header((RETRY_AFTER, seconds));
        }
        response.json(self.details())
    }
}
