//! The fields of a form or of an address, each of which may stand there more than once.

use std::fmt;

/// Names and values, in the order in which they were sent.
#[derive(Clone, Debug, Default)]
pub struct Fields(Vec<(String, String)>);

impl Fields {
    /// Reads them (`application/x-www-form-urlencoded`, of the WHATWG's URL standard).
    pub fn parse(sent: &[u8]) -> Self {
        Self(form_urlencoded::parse(sent).into_owned().collect())
    }

    /// Adds one.
    pub fn add(&mut self, name: impl Into<String>, value: impl Into<String>) {
        self.0.push((name.into(), value.into()));
    }

    /// All of them.
    pub fn iter(&self) -> impl Iterator<Item = (&str, &str)> {
        self.0.iter().map(|(name, value)| (name.as_str(), value.as_str()))
    }

    /// The first of a name; none where it is empty.
    pub fn get(&self, name: &str) -> Option<&str> {
        self.all(name).next().filter(|value| !value.is_empty())
    }

    /// All of a name.
    pub fn all(&self, name: &str) -> impl Iterator<Item = &str> {
        self.0.iter().filter(move |(known, _)| known == name).map(|(_, value)| value.as_str())
    }
}

impl<N: Into<String>, V: Into<String>> FromIterator<(N, V)> for Fields {
    fn from_iter<I: IntoIterator<Item = (N, V)>>(pairs: I) -> Self {
        Self(pairs.into_iter().map(|(name, value)| (name.into(), value.into())).collect())
    }
}

impl fmt::Display for Fields {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let mut out = form_urlencoded::Serializer::new(String::new());
        out.extend_pairs(&self.0);
        f.write_str(&out.finish())
    }
}
