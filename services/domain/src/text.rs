//! What may stand in a field of text.

use crate::saying::Saying;
use crate::{say, speaks};

/// Longest name, in characters.
pub const NAME: usize = 120;
/// Longest note, reason or method, in characters.
pub const NOTE: usize = 2000;
/// Longest code of ours, in characters.
pub const CODE: usize = 40;
/// Longest code of somebody else: a supplier's lot code, a document's number.
pub const FOREIGN_CODE: usize = 60;

/// Why a text is not taken, in words.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum TextError {
    /// Nothing but blanks.
    Empty,
    /// Longer than is kept.
    TooLong {
        /// The most that is kept.
        limit: usize,
    },
    /// A character that belongs in no field, NUL and line ends among them.
    Control,
    /// Not a code of ours.
    NotACode,
}

impl TextError {
    /// In words.
    pub fn saying(&self) -> Saying {
        match self {
            Self::Empty => say!("this must not be empty"),
            Self::TooLong { limit } => say!("this is longer than {limit} characters", limit),
            Self::Control => say!("this holds a control character"),
            Self::NotACode => {
                say!("a code is 1 to 40 small letters, digits and hyphens, and begins with a letter or a digit")
            }
        }
    }
}

speaks!(TextError);

/// A line of text, 1 to `limit` characters, without control characters; blanks around it are cut off.
pub fn line(text: &str, limit: usize) -> Result<&str, TextError> {
    let text = text.trim();
    if text.is_empty() {
        return Err(TextError::Empty);
    }
    if text.chars().count() > limit {
        return Err(TextError::TooLong { limit });
    }
    if text.chars().any(char::is_control) {
        return Err(TextError::Control);
    }
    Ok(text)
}

/// Text of several lines, 1 to [`NOTE`] characters; of control characters only line ends and tabs.
pub fn note(text: &str) -> Result<&str, TextError> {
    let text = text.trim();
    if text.is_empty() {
        return Err(TextError::Empty);
    }
    if text.chars().count() > NOTE {
        return Err(TextError::TooLong { limit: NOTE });
    }
    if text.chars().any(|character| character.is_control() && !matches!(character, '\n' | '\r' | '\t')) {
        return Err(TextError::Control);
    }
    Ok(text)
}

/// A code of ours, as in `pistachio-paste`.
pub fn code(text: &str) -> Result<&str, TextError> {
    let fits = (1..=CODE).contains(&text.len())
        && !text.starts_with('-')
        && text.bytes().all(|byte| byte.is_ascii_lowercase() || byte.is_ascii_digit() || byte == b'-');
    if fits { Ok(text) } else { Err(TextError::NotACode) }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_line_is_trimmed_and_bounded() {
        assert_eq!(line("  whole milk ", NAME), Ok("whole milk"));
        assert_eq!(line(" \u{a0} ", NAME), Err(TextError::Empty));
        assert_eq!(line("a\0b", NAME), Err(TextError::Control));
        assert_eq!(line("a\nb", NAME), Err(TextError::Control));
        assert_eq!(line(&"ß".repeat(120), NAME).map(str::len), Ok(240), "characters are counted, not bytes");
        assert_eq!(line(&"x".repeat(121), NAME), Err(TextError::TooLong { limit: 120 }));
    }

    #[test]
    fn a_note_may_have_lines() {
        assert_eq!(note("a\nb"), Ok("a\nb"));
        assert_eq!(note("a\u{1b}[0m"), Err(TextError::Control));
    }

    #[test]
    fn a_code_is_plain() {
        assert_eq!(code("pistachio-paste-2"), Ok("pistachio-paste-2"));
        for bad in ["", "-a", "Milk", "whole milk", "crème", &"a".repeat(41)] {
            assert_eq!(code(bad), Err(TextError::NotACode), "{bad:?}");
        }
    }
}
