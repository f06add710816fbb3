//! The application identifiers: how their values are built, which belong together, and where they stand in a link.

use super::fault::Of;
use super::rows::ROWS;
use super::rules::Rule;

/// Which characters a part of a value may hold.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Characters {
    /// 0 to 9.
    Digits,
    /// GS1's set 82: letters, digits and `! " % & ' ( ) * + , - . / : ; < = > ? _`.
    Text,
    /// GS1's set 39: capital letters, digits and `# - /`.
    Capitals,
    /// GS1's set 64: base64 for file names and addresses.
    Base64,
}

impl Characters {
    /// Whether a character is among them.
    pub fn hold(self, character: char) -> bool {
        match self {
            Self::Digits => character.is_ascii_digit(),
            Self::Text => character.is_ascii_alphanumeric() || "!\"%&'()*+,-./:;<=>?_".contains(character),
            Self::Capitals => character.is_ascii_uppercase() || character.is_ascii_digit() || "#-/".contains(character),
            Self::Base64 => character.is_ascii_alphanumeric() || "-_=".contains(character),
        }
    }
}

/// A part of a value. Only the last may vary in length, and only last ones may be missing.
#[derive(Clone, Copy, Debug)]
pub struct Part {
    /// What it may hold.
    pub characters: Characters,
    /// Fewest characters.
    pub least: usize,
    /// Most characters.
    pub most: usize,
    /// May be missing.
    pub optional: bool,
    /// What else it must fit.
    pub rules: &'static [Rule],
}

/// An application identifier, or the ten or so that differ in their last digit only.
#[derive(Clone, Copy, Debug)]
pub struct Identifier {
    /// Its digits; of a range, the first.
    pub first: &'static str,
    /// Its digits; of a range, the last.
    pub last: &'static str,
    /// What it stands for, in plain words.
    pub title: &'static str,
    /// Of a length everybody knows, so that no separator follows it.
    pub predefined: bool,
    /// May stand behind the question mark of a link.
    pub attribute: bool,
    /// How its value is built.
    pub parts: &'static [Part],
    /// It belongs with one of these groups; `n` stands for any digit: `01+21,35nn`.
    pub needs: &'static str,
    /// It stands with none of these.
    pub not_with: &'static str,
    /// Where a link may begin with it: which qualifiers may follow, in which order, `|` between two ways.
    pub key: Option<&'static str>,
}

impl Identifier {
    /// The identifier at the beginning of a text, with its digits.
    pub(super) fn at_start_of(text: &str) -> Option<(&'static Self, &str)> {
        (2..=4).find_map(|digits| {
            let number = text.get(..digits)?;
            Some((Self::of_number(number)?, number))
        })
    }

    /// The identifier with this number.
    pub fn of_number(number: &str) -> Option<&'static Self> {
        let in_range = |row: &&Self| number.len() == row.first.len() && (row.first..=row.last).contains(&number);
        if number.bytes().all(|byte| byte.is_ascii_digit()) { ROWS.iter().find(in_range) } else { None }
    }

    /// Every identifier we know, in order.
    pub fn all() -> &'static [Self] {
        ROWS
    }

    /// As sentences name it, under one of its numbers.
    pub fn named(&self, number: &str) -> Of {
        Of { number: number.to_owned(), title: self.title }
    }

    /// Most characters of a value.
    pub fn longest(&self) -> usize {
        self.parts.iter().map(|part| part.most).sum()
    }

    /// The qualifiers that may follow it in a link, one list a way; none where it is no key.
    pub(super) fn qualifiers(&self) -> impl Iterator<Item = Vec<&'static str>> {
        let ways = self.key.into_iter().flat_map(|ways| ways.split('|'));
        ways.map(|way| way.split(',').filter(|number| !number.is_empty()).collect())
    }
}

/// Whether a number is the one, or of the range, that a pattern names: `310n` has any last digit.
pub(super) fn matches(pattern: &str, number: &str) -> bool {
    pattern.len() == number.len() && pattern.bytes().zip(number.bytes()).all(|(due, digit)| due == b'n' || due == digit)
}
