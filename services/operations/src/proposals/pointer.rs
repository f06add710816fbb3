//! A value of a JSON document, and where it stands in it (JSON pointer, RFC 6901).

use chrono::{DateTime, FixedOffset};
use serde_json::{Map, Value};
use tubtrail_domain::say;
use tubtrail_domain::saying::Saying;

use crate::error::{OperationError, Result};
use crate::problems;

/// A value and its place.
#[derive(Clone)]
pub(super) struct At<'v> {
    pub value: &'v Value,
    pub pointer: String,
}

impl<'v> At<'v> {
    /// The whole document.
    pub fn root(value: &'v Value) -> Self {
        Self { value, pointer: String::new() }
    }

    /// A refusal that names this place.
    pub fn wrong<T>(&self, detail: impl Into<Saying>) -> Result<T> {
        Err(OperationError::invalid(self.pointer.clone(), detail))
    }

    fn step(&self, value: &'v Value, name: &str) -> Self {
        let name = name.replace('~', "~0").replace('/', "~1");
        Self { value, pointer: format!("{}/{name}", self.pointer) }
    }

    /// An object of which every name is known, or has a colon: those are extensions, which anybody may add.
    pub fn object(&self, known: &[&str]) -> Result<&'v Map<String, Value>> {
        let Value::Object(members) = self.value else { return self.wrong(say!("this must be an object")) };
        match members.keys().find(|name| !known.contains(&name.as_str()) && !name.contains(':')) {
            Some(name) => {
                self.step(self.value, name).wrong(say!("EPCIS has no such field here; an extension has a prefix"))
            }
            None => Ok(members),
        }
    }

    /// A member, if it is there.
    pub fn member(&self, name: &str) -> Option<Self> {
        self.value.get(name).map(|value| self.step(value, name))
    }

    /// A member that must be there.
    pub fn required(&self, name: &str) -> Result<Self> {
        match self.member(name) {
            Some(member) => Ok(member),
            None => self.step(self.value, name).wrong(say!("this is missing")),
        }
    }

    /// The elements of an array of no more than so many.
    pub fn elements(&self, most: usize) -> Result<Vec<Self>> {
        let Value::Array(elements) = self.value else { return self.wrong(say!("this must be an array")) };
        if elements.len() > most {
            let detail = say!("there are {len} of these; at most {most} are taken", len = elements.len(), most);
            return Err(OperationError::new(&problems::TOO_LARGE, detail).at(self.pointer.clone()));
        }
        Ok(elements.iter().enumerate().map(|(index, value)| self.step(value, &index.to_string())).collect())
    }

    /// The elements of a member that may be missing.
    pub fn list(&self, name: &str, most: usize) -> Result<Vec<Self>> {
        self.member(name).map_or(Ok(Vec::new()), |member| member.elements(most))
    }

    /// Text.
    pub fn text(&self) -> Result<&'v str> {
        match self.value {
            Value::String(text) if !text.contains('\0') => Ok(text),
            _ => self.wrong(say!("this must be text")),
        }
    }

    /// An identifier: something, a colon, and more, without blanks (RFC 3986).
    pub fn uri(&self) -> Result<&'v str> {
        let text = self.text()?;
        let scheme = text.split_once(':').filter(|(scheme, rest)| {
            let mut letters = scheme.chars();
            let is_scheme = letters.next().is_some_and(|first| first.is_ascii_alphabetic())
                && letters.all(|letter| letter.is_ascii_alphanumeric() || "+-.".contains(letter));
            is_scheme && !rest.is_empty() && text.chars().all(|letter| !letter.is_whitespace() && !letter.is_control())
        });
        if scheme.is_some() {
            Ok(text)
        } else {
            self.wrong(say!("this must be a URI, as in https://farm.example/lots/17"))
        }
    }

    /// One of some words, be it alone or as the last part of its URI.
    pub fn word(&self) -> Result<&'v str> {
        let text = self.text()?;
        Ok(text.rsplit([':', '-', '/']).next().unwrap_or(text))
    }

    /// A time with its offset.
    pub fn time(&self) -> Result<DateTime<FixedOffset>> {
        match DateTime::parse_from_rfc3339(self.text()?) {
            Ok(time) => Ok(time),
            Err(_) => self.wrong(say!("write a time as 2026-11-25T08:00:00+01:00")),
        }
    }
}
