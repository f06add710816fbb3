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

/// The address of the page on which a form stands, by the one that it is sent to. There nothing can be looked at, and yet people
/// come back to it: who chose another language, whose session was over, whose telephone opens anew what it had open.
pub fn page_of(path: &str) -> &str {
    let parts: Vec<&str> = path.split('/').skip(1).collect();
    let kept = match parts[..] {
        ["counter", _, "tubs", ..]
        | ["lots", _, _]
        | ["upkeep", "devices", ..]
        | ["recalls", _, "closing" | "withdrawal" | "notices" | "replies" | "report", ..] => 2,
        ["delivery", _, _, "documents"] | ["stock", _, "count", "rest"] | ["tracing", "lots", _, "report", ..] => 3,
        ["making", _, "batches", _, _] | ["stock", _, "transfers", _, "all"] => 4,
        ["sign-out" | "language"] => return "/",
        _ => return path,
    };
    let ends = path.match_indices('/').map(|(at, _)| at).nth(kept).unwrap_or(path.len());
    &path[..ends]
}

#[cfg(test)]
mod tests {
    use std::fs;
    use std::path::{Path, PathBuf};

    use super::page_of;

    fn sources(folder: &Path, into: &mut Vec<PathBuf>) {
        for entry in fs::read_dir(folder).expect("a folder") {
            let path = entry.expect("an entry").path();
            if path.is_dir() { sources(&path, into) } else { into.push(path) }
        }
    }

    /// The addresses of the handlers of a method, with `7` for what is left open in them.
    fn addresses(method: &str) -> Vec<String> {
        let mut files = Vec::new();
        sources(&Path::new(env!("CARGO_MANIFEST_DIR")).join("src/pages"), &mut files);
        let texts = files.iter().map(|file| fs::read_to_string(file).expect("a source"));
        let begin = format!("\n#[{method}(\"");
        let found = texts.flat_map(|text| {
            let parts = text.split(&begin).skip(1).map(|rest| rest.split('"').next().unwrap_or_default().to_owned());
            parts.collect::<Vec<_>>()
        });
        let open = |path: String| {
            let parts = path.split('/').map(|part| if part.starts_with('{') { "7" } else { part });
            parts.collect::<Vec<_>>().join("/")
        };
        found.map(open).collect()
    }

    #[test]
    fn whatever_is_sent_to_leads_to_a_page() {
        let (pages, forms) = (addresses("get"), addresses("post"));
        assert!(forms.len() > 20, "{forms:?}");
        for form in forms {
            let page = page_of(&form).to_owned();
            assert!(pages.contains(&page), "{form} leads to {page}");
        }
        for page in pages {
            let is_file = ["assets", "report", "documents", "papers"].iter().any(|part| page.contains(part));
            let is_part = ["wants", "today", "list", "label.pdf"].iter().any(|part| page.ends_with(part));
            assert!(is_file || is_part || page_of(&page) == page, "{page} is a page already");
        }
    }
}
