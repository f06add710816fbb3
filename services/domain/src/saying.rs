//! What the house says to people: a sentence with named gaps, and what stands in them.
//!
//! It is written once, in English and where it is meant, by [`say!`](crate::say). Whoever shows it in another language looks
//! that language's sentence up by the English one and fills the same gaps; sentences are therefore never put together from
//! pieces of text, only from other sayings.

use std::fmt;

use serde::{Deserialize, Deserializer, Serialize, Serializer};

use crate::decimal::Decimal;
use crate::gs1::gtin::{Gln, Gtin, Sscc};
use crate::lot_number::LotNumber;
use crate::quantity::{Density, Mass, Unit};
use crate::spirit::Strength;

/// The template of words that are not ours.
const AS_IT_IS: &str = "{words}";

/// A sentence, or a part of one. It shows itself in English.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Saying {
    template: &'static str,
    /// Elsewhere, so that an error with a sentence in it is small; none where there is nothing to fill.
    filled: Option<Box<Filled>>,
}

/// The gaps by name.
#[derive(Clone, Debug, PartialEq, Eq)]
struct Filled(Vec<(&'static str, Gap)>);

/// What stands in a gap.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Gap {
    /// The same in every language: names, numbers of lots, days.
    Text(String),
    /// The same in every language, in quotes: what somebody typed, or a code.
    Quoted(String),
    /// A number with its unit, with a point for decimals and a blank before the unit, as in `1250.5 g`.
    Figure(String),
    /// A word that has a name in every language's catalogue.
    Named {
        /// The name.
        name: &'static str,
        /// The word in English.
        english: &'static str,
    },
    /// A part of the sentence.
    Said(Saying),
}

/// What can stand in a gap.
pub trait Fills {
    /// As it stands there.
    fn fill(&self) -> Gap;
}

/// What stands in a gap in quotes.
#[derive(Clone, Copy, Debug)]
pub struct Quoted<T>(pub T);

/// A piece of a template.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Piece<'a> {
    /// Words.
    Words(&'a str),
    /// The name of a gap.
    Gap(&'a str),
}

/// A sentence with its gaps: `say!("lot {lot} was rejected: {why}", lot = number, why)`. Does not compile unless template and
/// gaps name the same.
#[macro_export]
macro_rules! say {
    ($template:literal $(,)?) => {{
        const _: () = assert!($crate::saying::fits($template, &[]), "the template has a gap that nothing fills");
        $crate::saying::Saying::plain($template)
    }};
    ($template:literal $(, $gap:ident $(= $value:expr)?)+ $(,)?) => {{
        const _: () = assert!(
            $crate::saying::fits($template, &[$(stringify!($gap)),+]),
            "the template has a gap that nothing fills, or none for what is given"
        );
        $crate::saying::Saying::of($template, vec![$((stringify!($gap), $crate::say!(@fill $gap $(= $value)?))),+])
    }};
    (@fill $gap:ident = $value:expr) => { $crate::saying::Fills::fill(&$value) };
    (@fill $gap:ident) => { $crate::saying::Fills::fill(&$gap) };
}

/// Makes an error of what has a `saying`: it shows itself by that, and is one.
#[macro_export]
macro_rules! speaks {
    ($($error:ty),+ $(,)?) => { $(
        impl std::fmt::Display for $error {
            fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
                self.saying().fmt(f)
            }
        }

        impl std::error::Error for $error {}

        impl From<$error> for $crate::saying::Saying {
            fn from(error: $error) -> Self {
                error.saying()
            }
        }

        impl $crate::saying::Fills for $error {
            fn fill(&self) -> $crate::saying::Gap {
                $crate::saying::Gap::Said(self.saying())
            }
        }
    )+ };
}

/// Says that something stands in a gap as it shows itself, the same in every language.
#[macro_export]
macro_rules! fills_as_text {
    ($($shown:ty),+ $(,)?) => { $(
        impl $crate::saying::Fills for $shown {
            fn fill(&self) -> $crate::saying::Gap {
                $crate::saying::Gap::Text(self.to_string())
            }
        }
    )+ };
}

fills_as_text!(str, String, char, i16, i32, i64, u8, u16, u32, u64, usize, chrono::NaiveDate);
fills_as_text!(chrono::DateTime<chrono::Utc>);
fills_as_text!(Decimal, Density, Gln, Gtin, LotNumber, Sscc, Strength, Unit);

impl<T: Fills + ?Sized> Fills for &T {
    fn fill(&self) -> Gap {
        (**self).fill()
    }
}

impl Fills for std::borrow::Cow<'_, str> {
    fn fill(&self) -> Gap {
        Gap::Text(self.as_ref().to_owned())
    }
}

impl Fills for Mass {
    fn fill(&self) -> Gap {
        Gap::Figure(self.to_string())
    }
}

impl<T: AsRef<str>> Fills for Quoted<T> {
    fn fill(&self) -> Gap {
        Gap::Quoted(self.0.as_ref().to_owned())
    }
}

impl Fills for Gap {
    fn fill(&self) -> Gap {
        self.clone()
    }
}

impl Fills for Saying {
    fn fill(&self) -> Gap {
        Gap::Said(self.clone())
    }
}

impl Saying {
    /// A sentence without gaps; [`say!`](crate::say) makes it.
    pub const fn plain(template: &'static str) -> Self {
        Self { template, filled: None }
    }

    /// A sentence with gaps; [`say!`](crate::say) makes it.
    pub fn of(template: &'static str, gaps: Vec<(&'static str, Gap)>) -> Self {
        let filled = (!gaps.is_empty()).then(|| Box::new(Filled(gaps)));
        Self { template, filled }
    }

    /// Words that are not ours, of a library or of another machine: nobody has them in another language.
    pub fn as_it_is(words: impl Into<String>) -> Self {
        Self::of(AS_IT_IS, vec![("words", Gap::Text(words.into()))])
    }

    /// Several as one, each joined to what was said before it; none of nothing.
    pub fn joined(parts: impl IntoIterator<Item = Self>, join: impl Fn(Self, Self) -> Self) -> Option<Self> {
        parts.into_iter().reduce(join)
    }

    /// The same sentence with what stands in its gaps in a text, if that is how the text was made: sentences of ours are
    /// written down in English, among what people type.
    pub fn read_back(&self, text: &str) -> Option<Self> {
        let (mut rest, mut open, mut gaps) = (text, None, Vec::with_capacity(self.gaps().len()));
        for piece in pieces(self.template) {
            match (piece, open.take()) {
                (Piece::Words(words), None) => rest = rest.strip_prefix(words)?,
                (Piece::Words(words), Some(name)) => {
                    let (filled, behind) = rest.split_once(words)?;
                    gaps.push((name, Gap::Text(filled.to_owned())));
                    rest = behind;
                }
                (Piece::Gap(name), _) => {
                    open = self.gaps().iter().map(|(known, _)| *known).find(|known| *known == name);
                }
            }
        }
        match open {
            Some(name) => gaps.push((name, Gap::Text(rest.to_owned()))),
            None if rest.is_empty() => {}
            None => return None,
        }
        Some(Self::of(self.template, gaps))
    }

    /// The English sentence with its gaps, by which other languages find theirs.
    pub const fn template(&self) -> &'static str {
        self.template
    }

    /// Words that are not ours, if it is no more than that.
    pub fn foreign(&self) -> Option<&str> {
        match self.gaps() {
            [(_, Gap::Text(words))] if self.template == AS_IT_IS => Some(words),
            _ => None,
        }
    }

    fn gaps(&self) -> &[(&'static str, Gap)] {
        self.filled.as_ref().map_or(&[], |filled| filled.0.as_slice())
    }

    /// What stands in a gap.
    pub fn gap(&self, name: &str) -> Option<&Gap> {
        self.gaps().iter().find(|(known, _)| *known == name).map(|(_, gap)| gap)
    }
}

impl fmt::Display for Saying {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        pieces(self.template).try_for_each(|piece| match piece {
            Piece::Words(words) => f.write_str(words),
            Piece::Gap(name) => self.gap(name).map_or(Ok(()), |gap| gap.fmt(f)),
        })
    }
}

impl fmt::Display for Gap {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Text(text) | Self::Figure(text) => f.write_str(text),
            Self::Quoted(text) => write!(f, "{text:?}"),
            Self::Named { english, .. } => f.write_str(english),
            Self::Said(saying) => saying.fmt(f),
        }
    }
}

/// Answers hold what was said in English.
impl Serialize for Saying {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        serializer.collect_str(self)
    }
}

/// What was told in English cannot be told in another language any more.
impl<'de> Deserialize<'de> for Saying {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        String::deserialize(deserializer).map(Self::as_it_is)
    }
}

/// The pieces of a template, in their order. What is opened and not closed is words.
pub fn pieces(template: &str) -> impl Iterator<Item = Piece<'_>> {
    let mut rest = template;
    std::iter::from_fn(move || {
        if rest.is_empty() {
            return None;
        }
        let gap = rest.strip_prefix('{').and_then(|opened| opened.split_once('}'));
        if let Some((name, behind)) = gap {
            rest = behind;
            return Some(Piece::Gap(name));
        }
        let first = rest.chars().next().map_or(0, char::len_utf8);
        let until = rest[first..].find('{').map_or(rest.len(), |at| first + at);
        let (words, behind) = rest.split_at(until);
        rest = behind;
        Some(Piece::Words(words))
    })
}

/// Whether a template has these gaps and no other; asked while it is compiled.
pub const fn fits(template: &str, gaps: &[&str]) -> bool {
    let bytes = template.as_bytes();
    let (mut at, mut met) = (0, 0);
    while at < bytes.len() {
        if bytes[at] == b'{' {
            let begin = at + 1;
            while at < bytes.len() && bytes[at] != b'}' {
                at += 1;
            }
            match place(bytes, begin, at, gaps) {
                Some(gap) => met |= 1_u64 << gap,
                None => return false,
            }
        }
        at += 1;
    }
    met.count_ones() as usize == gaps.len()
}

/// Which of the gaps is named between two bytes of a template.
const fn place(bytes: &[u8], begin: usize, end: usize, gaps: &[&str]) -> Option<usize> {
    let mut gap = 0;
    while gap < gaps.len() {
        let name = gaps[gap].as_bytes();
        let mut at = 0;
        while at < name.len() && begin + at < end && name[at] == bytes[begin + at] {
            at += 1;
        }
        if at == name.len() && begin + at == end {
            return Some(gap);
        }
        gap += 1;
    }
    None
}

#[cfg(test)]
mod tests {
    use super::{Gap, Piece, Quoted, Saying, fits, pieces};

    #[test]
    fn a_sentence_shows_itself_in_english() {
        let (lot, mass) = ("261125-0042-7", 1200);
        let place = say!("at {site}", site = "quay-shop");
        let short =
            say!("lot {lot}: {mass} g are {place}, and none of {code}", lot, mass, place, code = Quoted("milk"));
        assert_eq!(short.to_string(), "lot 261125-0042-7: 1200 g are at quay-shop, and none of \"milk\"");
        assert_eq!(short.template(), "lot {lot}: {mass} g are {place}, and none of {code}");
        assert_eq!(short.gap("place"), Some(&Gap::Said(place)));
        assert_eq!(say!("say why").to_string(), "say why");
    }

    #[test]
    fn several_are_joined_to_one() {
        let parts = [1, 2, 3].map(|number| say!("statement {number}", number));
        let all = Saying::joined(parts, |one, other| say!("{one} with {other}", one, other));
        let all = all.map(|all| all.to_string());
        assert_eq!(all.as_deref(), Some("statement 1 with statement 2 with statement 3"));
        assert_eq!(Saying::joined([], |one, _| one), None);
    }

    #[test]
    fn a_sentence_is_found_again_in_a_text() {
        let made = |lot: &str, why: &str| say!("lot {lot} was rejected: {why}", lot, why);
        let told = made("261125-0042-7", "the seal: broken");
        assert_eq!(made("", "").read_back(&told.to_string()), Some(told));
        assert_eq!(made("", "").read_back("lot 261125-0042-7 was eaten"), None);
        assert_eq!(say!("say why").read_back("say why, please"), None, "more than the sentence");
    }

    #[test]
    fn words_of_others_stay_as_they_are() {
        let words = Saying::as_it_is("expected `,` or `{x}`");
        assert_eq!(
            (words.to_string().as_str(), words.foreign()),
            ("expected `,` or `{x}`", Some("expected `,` or `{x}`"))
        );
        assert_eq!(say!("say why").foreign(), None);
    }

    #[test]
    fn a_template_is_taken_to_pieces() {
        let all: Vec<_> = pieces("{a} of {b}, as “é”").collect();
        assert_eq!(all, [Piece::Gap("a"), Piece::Words(" of "), Piece::Gap("b"), Piece::Words(", as “é”")]);
        assert_eq!(pieces("é{").collect::<Vec<_>>(), [Piece::Words("é"), Piece::Words("{")]);
        assert_eq!(pieces("").count(), 0);
    }

    #[test]
    fn gaps_and_what_fills_them_must_be_the_same() {
        assert!(fits("{lot} of {name}, {lot} again", &["lot", "name"]));
        assert!(!fits("{lot} of {name}", &["lot"]), "one is not filled");
        assert!(!fits("{lot}", &["lot", "name"]), "one has no gap");
        assert!(!fits("{lots}", &["lot"]) && !fits("{lo}", &["lot"]), "another name");
        assert!(fits("é", &[]));
    }
}
