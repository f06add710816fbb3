use serde::{Deserialize, Serialize};
use tubtrail_domain::say;
use tubtrail_domain::saying::{Fills, Quoted, Saying};
use tubtrail_storage::StorageError;
use utoipa::ToSchema;

use crate::problems::{self, Problem};

/// Why an operation was not done: one problem of [`problems`], in words, with the field at fault.
#[derive(Debug)]
pub struct OperationError {
    /// Which problem.
    pub problem: &'static Problem,
    /// This time, in a sentence a shop hand understands.
    pub detail: Saying,
    /// The field of the request, as in `lines[0].quantity.unit`.
    pub field: Option<String>,
    /// The numbers of the lots concerned.
    pub lots: Vec<String>,
    /// What else is at fault, where more was looked at than the first.
    pub also: Vec<Fault>,
    /// When to try again.
    pub retry_after_seconds: Option<u32>,
    /// What lies beneath, for the log only.
    pub cause: Option<Box<StorageError>>,
}

/// A further field at fault.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub struct Fault {
    /// The field of the request.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub field: Option<String>,
    /// What is wrong with it, in a sentence.
    #[schema(value_type = String)]
    pub detail: Saying,
}

/// What operations return.
pub type Result<T> = std::result::Result<T, OperationError>;

impl OperationError {
    /// A problem in words.
    pub fn new(problem: &'static Problem, detail: impl Into<Saying>) -> Self {
        Self {
            problem,
            detail: detail.into(),
            field: None,
            lots: Vec::new(),
            also: Vec::new(),
            retry_after_seconds: None,
            cause: None,
        }
    }

    /// A problem of which no more is to be said than what it is.
    pub fn of(problem: &'static Problem) -> Self {
        Self::new(problem, problem.title.clone())
    }

    /// A field that does not hold what it should.
    pub fn invalid(field: impl Into<String>, detail: impl Into<Saying>) -> Self {
        Self::new(&problems::INVALID, detail).at(field)
    }

    /// A code in a field that names nothing we know; or no code at all, as when nothing was chosen of a list.
    #[expect(clippy::needless_pass_by_value, reason = "it is made for this")]
    pub fn unknown(noun: Saying, code: &str, field: impl Into<String>) -> Self {
        let detail = if code.trim().is_empty() {
            say!("nothing is chosen here: choose one")
        } else {
            say!("there is no {noun} {code}", noun, code = Quoted(code))
        };
        Self::new(&problems::UNKNOWN_CODE, detail).at(field)
    }

    /// Something in the address that is not there, or out of reach.
    #[expect(clippy::needless_pass_by_value, reason = "it is made for this")]
    pub fn not_found(noun: Saying, name: impl Fills) -> Self {
        Self::new(&problems::NOT_FOUND, say!("there is no {noun} {name} within your reach", noun, name))
    }

    /// Something out of reach, of which not even the name is told.
    pub(crate) fn out_of_reach() -> Self {
        Self::new(&problems::NOT_FOUND, say!("there is no such thing within your reach"))
    }

    /// Names the field at fault.
    #[must_use]
    pub fn at(mut self, field: impl Into<String>) -> Self {
        self.field = Some(field.into());
        self
    }

    /// Puts a prefix before the field at fault: `lines[2]` before `quantity.unit`.
    #[must_use]
    pub fn under(mut self, prefix: &str) -> Self {
        self.field = Some(match self.field {
            Some(field) => format!("{prefix}.{field}"),
            None => prefix.to_owned(),
        });
        self
    }

    /// Puts a place in a list before the field at fault: `lines[2]` before `quantity.unit`.
    #[must_use]
    pub fn in_list(self, list: &str, position: usize) -> Self {
        self.under(&format!("{list}[{position}]"))
    }

    /// Another one, where something was not found: what leads there is then not found either.
    #[must_use]
    pub fn if_not_found(self, instead: impl FnOnce() -> Self) -> Self {
        if self.problem == &problems::NOT_FOUND { instead() } else { self }
    }

    /// Names what else is at fault.
    #[must_use]
    pub fn and(mut self, others: impl IntoIterator<Item = Self>) -> Self {
        self.also.extend(others.into_iter().map(|error| Fault { field: error.field, detail: error.detail }));
        self
    }

    /// Names the lots concerned.
    #[must_use]
    pub fn about(mut self, lots: impl IntoIterator<Item = String>) -> Self {
        self.lots.extend(lots);
        self
    }
}

impl std::fmt::Display for OperationError {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match &self.field {
            Some(field) => write!(f, "{field}: {}", self.detail),
            None => self.detail.fmt(f),
        }
    }
}

impl std::error::Error for OperationError {}

impl From<StorageError> for OperationError {
    fn from(error: StorageError) -> Self {
        let problem = match &error {
            StorageError::Busy => &problems::BUSY,
            StorageError::KeyReused => &problems::KEY_REUSED,
            StorageError::AnswerNotKept => &problems::ANSWER_SHOWN_ONCE,
            StorageError::Short { .. } => &problems::NOT_ENOUGH,
            StorageError::Connect(_) | StorageError::WriterStopped(_) => &problems::UNAVAILABLE,
            StorageError::Query(_)
            | StorageError::Address(_)
            | StorageError::Migrate(_)
            | StorageError::InUse(_)
            | StorageError::Corrupt(_) => &problems::INTERNAL,
        };
        let mut operation_error = Self::of(problem);
        operation_error.cause = Some(Box::new(error));
        operation_error
    }
}
