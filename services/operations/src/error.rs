use serde::{Deserialize, Serialize};
use tubtrail_storage::StorageError;
use utoipa::ToSchema;

use crate::problems::{self, Problem};

/// Why an operation was not done: one problem of [`problems`], in words, with the field at fault.
#[derive(Debug)]
pub struct OperationError {
    /// Which problem.
    pub problem: &'static Problem,
    /// This time, in a sentence a shop hand understands.
    pub detail: String,
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
    pub detail: String,
}

/// What operations return.
pub type Result<T> = std::result::Result<T, OperationError>;

impl OperationError {
    /// A problem in words.
    pub fn new(problem: &'static Problem, detail: impl Into<String>) -> Self {
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

    /// A field that does not hold what it should.
    pub fn invalid(field: impl Into<String>, detail: impl Into<String>) -> Self {
        Self::new(&problems::INVALID, detail).at(field)
    }

    /// A code in a field that names nothing we know.
    pub fn unknown(noun: &str, code: &str, field: impl Into<String>) -> Self {
        Self::new(&problems::UNKNOWN_CODE, format!("there is no {noun} {code:?}")).at(field)
    }

    /// Something in the address that is not there, or out of reach.
    pub fn not_found(noun: &str, name: impl std::fmt::Display) -> Self {
        Self::new(&problems::NOT_FOUND, format!("there is no {noun} {name} within your reach"))
    }

    /// Something out of reach, of which not even the name is told.
    pub fn out_of_reach() -> Self {
        Self::new(&problems::NOT_FOUND, "there is no such thing within your reach")
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
            None => f.write_str(&self.detail),
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
        let mut operation_error = Self::new(problem, problem.title);
        operation_error.cause = Some(Box::new(error));
        operation_error
    }
}
