//! A form as it stands on a page: empty, or refused and shown again with all that was typed, the reason, and the field at
//! fault. And the word that something was written down, on the page after it.

use std::fmt;

use actix_web::http::StatusCode;
use actix_web::http::header::LOCATION;
use actix_web::{HttpRequest, HttpResponse};
use askama::Template;

use super::fields::Fields;
use super::marks::once;
use super::texts::{Said, Texts};
use super::visitor::Visitor;
use crate::problem::Problem;

/// The field of an address that says what was just written down.
const SAID: &str = "said";

/// A form: what stands in its fields, and why it was refused. Name its fields as the operation does
/// (`lines[0].quantity.unit`), and what is refused finds its field by itself.
#[derive(Clone, Debug)]
pub struct Form {
    fields: Fields,
    refused: Option<Refused>,
    /// What every form of the session repeats.
    pub mark: String,
    /// What tells this form from another.
    pub once: String,
}

/// Why a form was refused.
#[derive(Clone, Debug)]
struct Refused {
    status: StatusCode,
    detail: Said,
    /// The name of the form's field at fault; none where it is the form as a whole.
    at: Option<String>,
}

/// The reason, where it stands.
#[derive(Template)]
#[template(path = "refused.html")]
pub struct Told<'a> {
    id: String,
    detail: Option<&'a Said>,
}

/// What marks a field at fault, for its tag.
pub struct Faults(Option<String>);

impl Form {
    /// One that nobody has filled in, with what it begins with.
    pub fn new(visitor: &Visitor, fields: Fields) -> Self {
        Self { fields, refused: None, mark: visitor.mark.clone(), once: once() }
    }

    /// One that was refused, as it was typed. `place` says which field of the form shows a field of the operation; none, and
    /// the reason stands above the form. What nobody can put right by typing is handed back.
    pub fn refused(
        visitor: &Visitor,
        fields: Fields,
        problem: Problem,
        place: impl Fn(&str) -> Option<String>,
    ) -> Result<Self, Problem> {
        if !problem.can_be_put_right() || problem.turns_away() {
            return Err(problem);
        }
        let details = problem.details();
        let at = details.field.as_deref().and_then(place);
        let refused = Refused { status: problem.status(), detail: visitor.texts.said(&details.detail), at };
        Ok(Self { refused: Some(refused), ..Self::new(visitor, fields) })
    }

    /// The status of a page that shows it.
    pub fn status(&self) -> StatusCode {
        self.refused.as_ref().map_or(StatusCode::OK, |refused| refused.status)
    }

    /// What stands in a field.
    pub fn value(&self, name: &str) -> &str {
        self.fields.get(name).unwrap_or("")
    }

    /// Whether a field holds this: for what is chosen or ticked.
    pub fn holds(&self, name: &str, value: &str) -> bool {
        self.fields.all(name).any(|one| one == value)
    }

    /// All that stands in it.
    pub const fn fields(&self) -> &Fields {
        &self.fields
    }

    /// The reason, where it is the form as a whole: put this at its head.
    pub fn told(&self) -> Told<'_> {
        let whole = self.refused.as_ref().filter(|refused| refused.at.is_none());
        Told { id: "wrong".into(), detail: whole.map(|refused| &refused.detail) }
    }

    /// The reason, where it is this field: put this behind it.
    pub fn told_at(&self, name: &str) -> Told<'_> {
        Told { id: wrong_id(name), detail: self.fault_of(name) }
    }

    /// Attributes for the tag of a field, where it is at fault: it is marked, says why, and has the focus.
    pub fn faults(&self, name: &str) -> Faults {
        Faults(self.fault_of(name).map(|_| wrong_id(name)))
    }

    fn fault_of(&self, name: &str) -> Option<&Said> {
        let refused = self.refused.as_ref().filter(|refused| refused.at.as_deref() == Some(name));
        refused.map(|refused| &refused.detail)
    }
}

fn wrong_id(name: &str) -> String {
    format!("wrong-{name}")
}

impl Faults {
    /// Whether the field is at fault.
    pub const fn is_any(&self) -> bool {
        self.0.is_some()
    }
}

impl fmt::Display for Faults {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let Some(id) = &self.0 else { return Ok(()) };
        // Names of fields are ours, but positions in them may have come from outside.
        let id: String = id.chars().filter(|one| one.is_ascii_alphanumeric() || "-_.[]".contains(*one)).collect();
        write!(f, " aria-invalid=\"true\" aria-describedby=\"{id}\" autofocus")
    }
}

/// Sends the browser to a page that says so: `said` is the rest of the name of a text, after `said-`.
pub fn see_said(path: &str, said: &str) -> HttpResponse {
    let (path, part) = path.split_once('#').map_or((path, None), |(path, part)| (path, Some(part)));
    let joint = if path.contains('?') { '&' } else { '?' };
    let part = part.map_or_else(String::new, |part| format!("#{part}"));
    HttpResponse::SeeOther().insert_header((LOCATION, format!("{path}{joint}{SAID}={said}{part}"))).finish()
}

/// What was just written down, in words, where the address says so: never words of the address.
pub fn said(request: &HttpRequest, texts: &Texts) -> Option<String> {
    let name = format!("said-{}", Fields::parse(request.query_string().as_bytes()).get(SAID)?);
    texts.has(&name).then(|| texts.say(&name).into_owned())
}

/// For a form whose fields are named as the operation's: the field, or, where the form has none of that name, the one it is
/// part of.
pub fn same_name(names: &[&str]) -> impl Fn(&str) -> Option<String> {
    let names: Vec<String> = names.iter().map(|name| (*name).to_owned()).collect();
    move |field| {
        let is_in = |name: &&String| {
            field.strip_prefix(name.as_str()).is_some_and(|rest| rest.is_empty() || rest.starts_with(['.', '[']))
        };
        let found = names.iter().filter(is_in).max_by_key(|name| name.len());
        found.or_else(|| names.iter().find(|name| name.starts_with(&format!("{field}.")))).cloned()
    }
}

#[cfg(test)]
mod tests {
    use super::same_name;

    #[test]
    fn a_fault_is_shown_at_the_nearest_field() {
        let place = same_name(&["supplier", "quantity.amount", "quantity.unit", "expiry"]);
        assert_eq!(place("supplier").as_deref(), Some("supplier"));
        assert_eq!(place("quantity.unit").as_deref(), Some("quantity.unit"));
        assert_eq!(place("expiry.on").as_deref(), Some("expiry"), "what is part of it");
        assert_eq!(place("quantity").as_deref(), Some("quantity.amount"), "the first of its parts");
        assert_eq!(place("suppliers"), None);
    }
}
