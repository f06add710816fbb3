//! Addresses of our pages with their questions, to link to with something added or left out.

use std::fmt;

use super::fields::Fields;

/// A path and what is asked there.
#[derive(Clone, Debug, Default)]
pub struct Address {
    path: String,
    asked: Vec<(String, String)>,
}

impl Address {
    /// A path with those fields of a question that are named.
    pub fn of(path: &str, asked: &Fields, kept: &[&str]) -> Self {
        let pairs = kept.iter().flat_map(|name| asked.all(name).map(|value| ((*name).to_owned(), value.to_owned())));
        Self { path: path.to_owned(), asked: pairs.filter(|(_, value)| !value.is_empty()).collect() }
    }

    /// The same, asked for this too.
    pub fn with(&self, name: &str, value: &str) -> Self {
        let mut more = self.clone();
        more.asked.push((name.to_owned(), value.to_owned()));
        more
    }

    /// The same, asked for nothing of this name that begins so.
    pub fn without(&self, name: &str, begins: &str) -> Self {
        let mut less = self.clone();
        less.asked.retain(|(known, value)| known != name || !value.starts_with(begins));
        less
    }

    /// All that is asked under a name.
    pub fn all(&self, name: &str) -> impl Iterator<Item = &str> {
        self.asked.iter().filter(move |(known, _)| known == name).map(|(_, value)| value.as_str())
    }

    /// The question alone.
    pub fn asked(&self) -> &[(String, String)] {
        &self.asked
    }
}

impl fmt::Display for Address {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.path)?;
        if self.asked.is_empty() {
            return Ok(());
        }
        let mut query = form_urlencoded::Serializer::new(String::new());
        query.extend_pairs(&self.asked);
        write!(f, "?{}", query.finish())
    }
}
