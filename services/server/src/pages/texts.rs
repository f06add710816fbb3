//! The catalogue: every text of the pages, by name, in each language; and what operations say, by its English sentence.

use std::borrow::Cow;
use std::collections::HashMap;
use std::fmt;
use std::sync::LazyLock;

use actix_web::HttpRequest;
use actix_web::http::header::ACCEPT_LANGUAGE;
use fluent_bundle::concurrent::FluentBundle;
use fluent_bundle::{FluentArgs, FluentResource, FluentValue};
use polib::message::MessageView;
use tubtrail_domain::arrival;
use tubtrail_domain::saying::{Gap, Piece, Saying, pieces};
use unic_langid::LanguageIdentifier;

/// The cookie that keeps the language somebody chose.
pub const COOKIE: &str = "tubtrail_language";

/// The texts of one language.
pub struct Texts {
    /// Its tag, as in `lang`.
    pub tag: &'static str,
    bundle: FluentBundle<FluentResource>,
    /// Sentences of operations by their English ones; none where that is the language.
    sayings: HashMap<String, String>,
}

/// What operations say, as it is shown.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Said {
    text: String,
    is_foreign: bool,
}

/// The files of a language: what is common, then a file a page.
macro_rules! files {
    ($tag:literal) => {
        (
            $tag,
            [
                include_str!(concat!("../../texts/", $tag, "/common.ftl")),
                include_str!(concat!("../../texts/", $tag, "/allergens.ftl")),
                include_str!(concat!("../../texts/", $tag, "/counter.ftl")),
                include_str!(concat!("../../texts/", $tag, "/delivery.ftl")),
                include_str!(concat!("../../texts/", $tag, "/making.ftl")),
                include_str!(concat!("../../texts/", $tag, "/stock.ftl")),
                include_str!(concat!("../../texts/", $tag, "/tracing.ftl")),
                include_str!(concat!("../../texts/", $tag, "/recalls.ftl")),
                include_str!(concat!("../../texts/", $tag, "/upkeep.ftl")),
            ],
        )
    };
}

/// What operations say, in a language that is not theirs (gettext's format, PO).
const SAYINGS: [(&str, &str); 1] = [("fr", include_str!("../../texts/fr/sayings.po"))];

/// The tag of the language in which operations speak.
const SPOKEN: &str = "en";

/// Each language's tag and files; the first is the usual one.
const FILES: [(&str, [&str; 9]); 2] = [files!("en"), files!("fr")];

static ALL: LazyLock<Vec<Texts>> = LazyLock::new(|| FILES.iter().map(|(tag, files)| Texts::read(tag, files)).collect());

impl Texts {
    // The files are part of the program, and a test reads them all.
    fn read(tag: &'static str, files: &[&str]) -> Self {
        let language: LanguageIdentifier = tag.parse().unwrap_or_default();
        let mut bundle = FluentBundle::new_concurrent(vec![language]);
        // The marks that keep directions apart are for texts of both, and would stand in the way of searching.
        bundle.set_use_isolating(false);
        for file in files {
            let (Ok(resource) | Err((resource, _))) = FluentResource::try_new((*file).to_owned());
            bundle.add_resource_overriding(resource);
        }
        Self { tag, bundle, sayings: sayings(tag) }
    }

    /// Those of every language, the usual one first.
    pub fn all() -> &'static [Self] {
        &ALL
    }

    /// Those of a language.
    pub fn of(tag: &str) -> Option<&'static Self> {
        ALL.iter().find(|texts| texts.tag == tag)
    }

    /// Those a request asks for: by the cookie, else by what the browser prefers, else the usual ones.
    pub fn wanted(request: &HttpRequest) -> &'static Self {
        let chosen = request.cookie(COOKIE).and_then(|cookie| Self::of(cookie.value()));
        let preferred = || {
            let header = request.headers().get(ACCEPT_LANGUAGE)?.to_str().ok()?;
            header.split(',').find_map(|range| Self::of(range.split([';', '-']).next()?.trim()))
        };
        chosen.or_else(preferred).unwrap_or(&ALL[0])
    }

    /// Whether there is a text of this name.
    pub fn has(&self, name: &str) -> bool {
        self.bundle.has_message(name)
    }

    /// A text.
    pub fn say(&self, name: &str) -> Cow<'_, str> {
        self.fill(name, None)
    }

    /// A text with something in it.
    pub fn say_of(&self, name: &str, gap: &str, what: impl AsRef<str>) -> Cow<'_, str> {
        self.say_with(name, &[(gap, what.as_ref())])
    }

    /// A text with several things in it.
    pub fn say_with(&self, name: &str, gaps: &[(&str, &str)]) -> Cow<'_, str> {
        let mut args = FluentArgs::with_capacity(gaps.len());
        for (gap, what) in gaps {
            args.set(*gap, FluentValue::from((*what).to_owned()));
        }
        let said = self.fill(name, Some(&args));
        Cow::Owned(said.into_owned())
    }

    /// What operations say. What is in no catalogue is shown as they say it, and marked so.
    pub fn said(&self, saying: &Saying) -> Said {
        match self.sayings.get(saying.template()) {
            Some(sentence) => Said { text: self.filled(sentence, saying), is_foreign: false },
            None => Said { text: saying.to_string(), is_foreign: self.tag != SPOKEN },
        }
    }

    /// The reason of a hold as it was written down: a person's own words, or ours at the door.
    pub fn reason(&self, written: &str) -> String {
        self.said(&arrival::reason(written)).text
    }

    fn filled(&self, sentence: &str, saying: &Saying) -> String {
        let piece = |piece| match piece {
            Piece::Words(words) => Cow::Borrowed(words),
            Piece::Gap(name) => saying.gap(name).map_or(Cow::Borrowed(""), |gap| self.in_gap(gap)),
        };
        pieces(sentence).map(piece).collect()
    }

    fn in_gap<'a>(&'a self, gap: &'a Gap) -> Cow<'a, str> {
        match gap {
            Gap::Text(text) => Cow::Borrowed(text),
            Gap::Quoted(text) => self.say_of("quoted", "what", text),
            Gap::Figure(figure) => Cow::Owned(figure.replace('.', &self.say("point")).replace(' ', "\u{a0}")),
            Gap::Named { name, .. } => self.say(name),
            Gap::Said(saying) => Cow::Owned(self.said(saying).text),
        }
    }

    // A name that is missing shows itself; a test sees to it that none is.
    fn fill<'a>(&'a self, name: &str, args: Option<&FluentArgs<'_>>) -> Cow<'a, str> {
        let pattern = self.bundle.get_message(name).and_then(|message| message.value());
        let Some(pattern) = pattern else { return Cow::Owned(format!("[{name}]")) };
        let mut errors = Vec::new();
        let said = self.bundle.format_pattern(pattern, args, &mut errors);
        for error in &errors {
            tracing::error!(%error, name, language = self.tag, "a text could not be filled");
        }
        Cow::Owned(said.into_owned())
    }
}

impl Said {
    /// An attribute for the tag that holds it, where it is in another language than the page.
    pub const fn lang(&self) -> &'static str {
        if self.is_foreign { " lang=\"en\"" } else { "" }
    }
}

impl fmt::Display for Said {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.text)
    }
}

// The file is part of the program, and a test reads it.
fn sayings(tag: &str) -> HashMap<String, String> {
    let Some((_, file)) = SAYINGS.iter().find(|(of, _)| *of == tag) else { return HashMap::new() };
    let Ok(catalog) = polib::po_file::parse_from_reader(file.as_bytes()) else { return HashMap::new() };
    let sentence = |message: &dyn MessageView| Some((message.msgid().to_owned(), message.msgstr().ok()?.to_owned()));
    catalog.messages().filter_map(sentence).collect()
}

#[cfg(test)]
mod tests {
    use std::collections::{BTreeMap, BTreeSet};

    use fluent_bundle::FluentResource;
    use tubtrail_domain::allergens::{Group, Substance};

    use super::FILES;

    /// The names of a language's texts, each with the gaps in it.
    fn names(tag: &str, files: &[&str]) -> BTreeMap<String, BTreeSet<String>> {
        let mut found = BTreeMap::new();
        for file in files {
            let resource = FluentResource::try_new((*file).to_owned());
            let resource = resource.unwrap_or_else(|error| panic!("{tag}: {:?}", error.1));
            assert!(resource.entries().count() > 0, "{tag}: {file:?} is empty");
            for line in file.lines().filter(|line| !line.starts_with('#')) {
                let Some((name, text)) = line.split_once(" = ") else { continue };
                let gaps = text.split("{ $").skip(1).filter_map(|rest| Some(rest.split_once(' ')?.0.to_owned()));
                let twice = found.insert(name.to_owned(), gaps.collect());
                assert!(twice.is_none(), "{tag}: {name} stands there twice");
            }
        }
        found
    }

    #[test]
    fn every_language_has_the_same_texts_with_the_same_gaps() {
        let usual = names(FILES[0].0, &FILES[0].1);
        for (tag, files) in &FILES {
            assert_eq!(names(tag, files), usual, "{tag}");
        }
    }

    /// Rule of the house: unknown is never clear.
    #[test]
    fn no_language_says_that_something_is_clear() {
        for (tag, files) in FILES {
            let file = files.join("\n").to_lowercase();
            for word in ["safe", "free from", "free of", "sans danger", "exempt", "garanti"] {
                assert!(!file.contains(word), "{tag}: {word}");
            }
        }
    }

    #[test]
    fn every_substance_has_a_name() {
        let usual = names(FILES[0].0, &FILES[0].1);
        let substances = Substance::ALL.into_iter().map(Substance::word);
        let groups = Group::ALL.into_iter().map(Group::word);
        for word in substances.chain(groups) {
            assert!(usual.contains_key(word), "{word}");
        }
    }
}
