//! The forms of a batch's page: many stand there at once, and one of them may have been refused.

use super::super::fields::Fields;
use super::super::forms::Form;
use super::super::visitor::Visitor;

/// Every form of the page, by what it does.
pub struct Forms {
    visitor: Visitor,
    /// The one that was sent and stands there again.
    sent: Option<(String, Form)>,
}

impl Forms {
    /// None was sent.
    pub fn fresh(visitor: &Visitor) -> Self {
        Self { visitor: visitor.clone(), sent: None }
    }

    /// One stands there as it was sent.
    pub fn with(visitor: &Visitor, name: &str, form: Form) -> Self {
        Self { visitor: visitor.clone(), sent: Some((name.to_owned(), form)) }
    }

    /// The form of a name.
    pub fn of(&self, name: &str) -> Form {
        match &self.sent {
            Some((sent, form)) if sent == name => form.clone(),
            _ => Form::new(&self.visitor, Fields::default()),
        }
    }

    /// The form that voids one row.
    pub fn voiding(&self, what: &str, id: &impl std::fmt::Display) -> Form {
        self.of(&format!("void-{what}-{id}"))
    }

    /// Whether this one stands there as it was sent.
    pub fn is_open(&self, name: &str) -> bool {
        self.sent.as_ref().is_some_and(|(sent, _)| sent == name)
    }

    /// The status of the page.
    pub fn status(&self) -> actix_web::http::StatusCode {
        self.sent.as_ref().map_or(actix_web::http::StatusCode::OK, |(_, form)| form.status())
    }
}
