//! Suppliers' lot codes in a recall: “lots 24-9 to 24-110”.
//!
//! Nobody but the supplier knows how a code is built, so this can only compare as a person would. It leans towards
//! taking one code too many: a recall that shows a lot to be struck off costs a look, one that leaves a lot out may cost
//! more. The person who runs the recall looks over what was found.

use std::cmp::Ordering;
use std::iter::Peekable;
use std::str::Chars;

use crate::saying::Saying;
use crate::text::{FOREIGN_CODE, TextError, line};
use crate::{say, speaks};

/// A range of lot codes, both ends in it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct CodeRange {
    from: String,
    to: String,
}

/// Why a range of codes is not taken, in words.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum CodeRangeError {
    /// The first code is none.
    From(TextError),
    /// The last code is none.
    To(TextError),
    /// The first code comes after the last.
    Backwards {
        /// The first code.
        from: String,
        /// The last code.
        to: String,
    },
}

impl CodeRangeError {
    /// In words.
    pub fn saying(&self) -> Saying {
        match self {
            Self::From(why) => say!("first code: {why}", why),
            Self::To(why) => say!("last code: {why}", why),
            Self::Backwards { from, to } => {
                say!("“{from}” comes after “{to}”: give the first code of the range first", from, to)
            }
        }
    }
}

speaks!(CodeRangeError);

impl CodeRange {
    /// The range from one code to another; blanks around them are cut off.
    pub fn new(from: &str, to: &str) -> Result<Self, CodeRangeError> {
        let from = line(from, FOREIGN_CODE).map_err(CodeRangeError::From)?.to_owned();
        let to = line(to, FOREIGN_CODE).map_err(CodeRangeError::To)?.to_owned();
        if compare(&from, &to) == Ordering::Greater {
            return Err(CodeRangeError::Backwards { from, to });
        }
        Ok(Self { from, to })
    }

    /// The first code.
    pub fn from(&self) -> &str {
        &self.from
    }

    /// The last code.
    pub fn to(&self) -> &str {
        &self.to
    }

    /// Whether a code is in the range.
    ///
    /// So is one that goes on where the last one ends, other than by another digit of its last number: to 24-110 takes in
    /// 24-110A and 24-110/2, not 24-1100. A code built quite otherwise may lie between too: 24-9 to 24-110 takes in
    /// 24-9A and 24-50-X.
    pub fn is_between(&self, code: &str) -> bool {
        let code = code.trim();
        compare(&self.from, code) != Ordering::Greater
            && (compare(code, &self.to) != Ordering::Greater || goes_on_after(code, &self.to))
    }
}

/// Compares two codes as a person would: a run of digits is a number of any length, anything else goes by code point, and
/// ASCII letters by their small form. `24-9` is before `24-110`, and the same as `24-09`.
///
/// Letters beyond ASCII are compared as they are, and digits beyond ASCII are no digits.
pub fn compare(a: &str, b: &str) -> Ordering {
    parts(a).cmp(parts(b))
}

/// Whether a code begins with these characters, ASCII letters of either size. Here digits are characters: `24-1` begins
/// `24-110`. Blanks around both are cut off; an empty beginning is none.
pub fn begins_with(code: &str, beginning: &str) -> bool {
    let mut code = code.trim().chars();
    let mut beginning = beginning.trim().chars().peekable();
    beginning.peek().is_some()
        && beginning.all(|wanted| code.next().is_some_and(|found| found.eq_ignore_ascii_case(&wanted)))
}

/// Whether a code has all the parts of another and then more.
fn goes_on_after(code: &str, other: &str) -> bool {
    let mut code = parts(code);
    parts(other).all(|part| code.next() == Some(part))
}

/// A number, or a character that is no digit.
#[derive(PartialEq, Eq)]
enum Part {
    /// Its digits, without leading zeros.
    Number(String),
    Character(char),
}

impl Ord for Part {
    fn cmp(&self, other: &Self) -> Ordering {
        match (self, other) {
            // Without leading zeros the longer number is the larger.
            (Self::Number(a), Self::Number(b)) => (a.len(), a).cmp(&(b.len(), b)),
            (Self::Character(a), Self::Character(b)) => a.cmp(b),
            // The ten digits are neighbours, so a character comes before all of them or after.
            (Self::Number(_), Self::Character(b)) => '0'.cmp(b),
            (Self::Character(a), Self::Number(_)) => a.cmp(&'0'),
        }
    }
}

impl PartialOrd for Part {
    fn partial_cmp(&self, other: &Self) -> Option<Ordering> {
        Some(self.cmp(other))
    }
}

fn parts(code: &str) -> impl Iterator<Item = Part> {
    let mut characters = code.trim().chars().peekable();
    std::iter::from_fn(move || {
        if characters.peek()?.is_ascii_digit() {
            return Some(Part::Number(number(&mut characters)));
        }
        characters.next().map(|character| Part::Character(character.to_ascii_lowercase()))
    })
}

/// The run of digits that comes next, without leading zeros.
fn number(characters: &mut Peekable<Chars>) -> String {
    let digits: String = std::iter::from_fn(|| characters.next_if(char::is_ascii_digit)).collect();
    digits.trim_start_matches('0').to_owned()
}
