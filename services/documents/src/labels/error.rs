//! Why there is no label.

use thiserror::Error;

use super::content::{LabelPart, LabelSize};
use crate::error::DocumentError;

/// Why there is no label.
#[derive(Debug, Error)]
pub enum LabelError {
    /// A part has no room, even in the smallest letters that are allowed.
    #[error(
        "{part} has no room on a label of {size} in letters of {} mm: {}. Take a larger label, or shorten what is on it",
        millimetres(*least_letters),
        why(word.as_deref(), *over)
    )]
    NoRoom {
        /// The part that is too much.
        part: LabelPart,
        /// The label.
        size: LabelSize,
        /// The least height of a small “x”, in micrometres.
        least_letters: u32,
        /// A word of it that is wider than the label, if that is why.
        word: Option<String>,
        /// How much higher the label would have to be, in tenths of a millimetre.
        over: u32,
    },
    /// A character that the font has not.
    #[error("{part} cannot be printed: the letters have no “{character}”")]
    NoSuchLetter {
        /// The part it is in.
        part: LabelPart,
        /// The character.
        character: char,
    },
    /// More than the code holds, or a character that it cannot.
    #[error("the code cannot be made: {0}")]
    Code(String),
    /// There is no name on it.
    #[error("a label needs a name")]
    NoName,
    /// The letters asked for are smaller than can be read, or larger than a label.
    #[error("the least height of letters must be from 0.8 to 5 mm")]
    Letters,
    /// The picture could not be drawn.
    #[error("the picture could not be drawn: {0}")]
    Picture(String),
    /// A font or the PDF.
    #[error(transparent)]
    Document(#[from] DocumentError),
}

fn millimetres(micrometres: u32) -> f64 {
    f64::from(micrometres) / 1000.0
}

fn why(word: Option<&str>, over: u32) -> String {
    match word {
        Some(word) => format!("“{word}” is wider than the room for it"),
        None => format!("{}.{} mm of height are missing", over / 10, over % 10),
    }
}
