//! What operations say is in every catalogue, sentence by sentence, as it stands in the sources.

use std::collections::{BTreeMap, BTreeSet};
use std::fs;
use std::path::{Path, PathBuf};

use proc_macro2::{Delimiter, TokenStream, TokenTree};
use tubtrail_domain::gs1::table::Identifier;
use tubtrail_domain::saying::{Piece, pieces};
use tubtrail_operations::problems;

/// The crates that speak.
const SPEAKERS: [&str; 3] = ["domain", "operations", "server"];

/// Every language but the one that is spoken.
const LANGUAGES: [&str; 1] = ["fr"];

/// The sentences of a source, and words that went past the macro.
#[derive(Default)]
struct Heard {
    sentences: BTreeSet<String>,
    past_the_macro: Vec<String>,
}

fn services() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("..")
}

fn sources(folder: &Path, found: &mut Vec<PathBuf>) {
    for entry in fs::read_dir(folder).expect("a folder of sources") {
        let path = entry.expect("an entry").path();
        if path.is_dir() {
            sources(&path, found);
        } else if path.extension().is_some_and(|ending| ending == "rs") {
            found.push(path);
        }
    }
}

fn text_of(token: Option<&TokenTree>) -> Option<String> {
    let TokenTree::Literal(literal) = token? else { return None };
    let text: syn::LitStr = syn::parse2(TokenTree::Literal(literal.clone()).into()).ok()?;
    Some(text.value())
}

impl Heard {
    /// Listens to a source; not to its tests.
    fn listen(&mut self, tokens: TokenStream) {
        let tokens: Vec<TokenTree> = tokens.into_iter().collect();
        for (at, token) in tokens.iter().enumerate() {
            let TokenTree::Group(group) = token else { continue };
            let before = |back: usize| at.checked_sub(back).map(|at| tokens[at].to_string()).unwrap_or_default();
            if before(1) == "tests" && before(2) == "mod" {
                continue;
            }
            let inside: Vec<TokenTree> = group.stream().into_iter().collect();
            if before(2) == "say" && before(1) == "!" {
                self.sentences.extend(text_of(inside.first()));
            }
            let is_passed_by = ["as_it_is", "plain"].contains(&before(1).as_str());
            if is_passed_by && group.delimiter() == Delimiter::Parenthesis {
                self.past_the_macro.extend(text_of(inside.first()).filter(|words| !words.is_empty()));
            }
            self.listen(group.stream());
        }
    }
}

fn heard() -> Heard {
    let mut files = Vec::new();
    for speaker in SPEAKERS {
        sources(&services().join(speaker).join("src"), &mut files);
    }
    let mut heard = Heard::default();
    for file in files {
        let source = fs::read_to_string(&file).expect("a source");
        heard.listen(source.parse().unwrap_or_else(|error| panic!("{}: {error}", file.display())));
    }
    heard
}

/// The gaps of a sentence.
fn gaps(sentence: &str) -> BTreeSet<&str> {
    pieces(sentence).filter_map(|piece| if let Piece::Gap(name) = piece { Some(name) } else { None }).collect()
}

fn catalogue(language: &str) -> BTreeMap<String, String> {
    let file = services().join(format!("server/texts/{language}/sayings.po"));
    let catalog = polib::po_file::parse(&file).unwrap_or_else(|error| panic!("{}: {error:?}", file.display()));
    let mut found = BTreeMap::new();
    for message in catalog.messages() {
        let sentence = message.msgstr().expect("a sentence is no plural").to_owned();
        let twice = found.insert(message.msgid().to_owned(), sentence);
        assert_eq!(twice, None, "{language}: {} stands there twice", message.msgid());
    }
    found
}

#[test]
fn every_language_has_every_sentence_with_the_same_gaps() {
    let mut spoken = heard().sentences;
    assert!(spoken.contains("lot {number} was rejected: {why}"), "the sources are listened to");
    spoken.extend(problems::ALL.iter().map(|problem| problem.title.template().to_owned()));
    spoken.extend(Identifier::all().iter().map(|identifier| identifier.title.to_owned()));
    for language in LANGUAGES {
        let known = catalogue(language);
        let missing: Vec<_> = spoken.iter().filter(|sentence| !known.contains_key(*sentence)).collect();
        assert!(missing.is_empty(), "{language} lacks {missing:#?}");
        let over: Vec<_> = known.keys().filter(|sentence| !spoken.contains(*sentence)).collect();
        assert!(over.is_empty(), "nobody says what {language} has: {over:#?}");
        for (english, other) in &known {
            assert_eq!(gaps(other), gaps(english), "{language}: {other}");
            assert!(!other.is_empty(), "{language}: {english}");
        }
    }
}

/// A problem takes nothing but a sentence of the macro, or words of somebody else's (`as_it_is`): those are never written here.
#[test]
fn no_sentence_goes_past_the_macro() {
    assert_eq!(heard().past_the_macro, Vec::<String>::new());
}

/// Rule of the house: unknown is never clear.
#[test]
fn no_sentence_says_that_something_is_clear() {
    let french: Vec<_> = catalogue("fr").into_values().collect();
    for sentence in heard().sentences.into_iter().chain(french) {
        for word in ["safe", "free from", "free of", "sans danger", "exempt", "garanti"] {
            assert!(!sentence.to_lowercase().contains(word), "{word}: {sentence}");
        }
    }
}
