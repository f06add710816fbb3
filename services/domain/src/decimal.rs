//! A decimal number exactly as a person typed it.
//!
//! Amounts never pass through floating point: `0.1` kg has to become 100 000 mg and nothing else.

use std::cmp::Ordering;
use std::fmt;
use std::hash::{Hash, Hasher};
use std::str::FromStr;

use crate::saying::Saying;
use crate::{say, speaks};

/// The most digits that may be typed before the point.
pub const MAX_WHOLE_DIGITS: u32 = 12;

/// The most digits that may be typed after the point.
pub const MAX_FRACTION_DIGITS: u32 = 9;

/// A number of zero or more, with the decimals that were typed.
///
/// Trailing zeros are kept for display (`12.50` stays `12.50`), since they say how finely something was read.
/// Leading zeros say nothing and are dropped. Comparison is by value: `1.5` equals `1.50`.
#[derive(Debug, Clone, Copy)]
pub struct Decimal {
    units: i128,
    scale: u32,
}

/// Why a text is not a [`Decimal`].
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum DecimalError {
    /// Nothing was typed.
    Empty,
    /// The number starts with a minus sign.
    Negative,
    /// The text holds a comma, which means decimals in one country and thousands in another.
    Comma,
    /// A character that has no place in a plain number, or a second point.
    WrongCharacter {
        /// The first such character.
        found: char,
    },
    /// The text starts with the point.
    NoDigitBeforePoint,
    /// The text ends with the point.
    NoDigitAfterPoint,
    /// More than [`MAX_WHOLE_DIGITS`] before the point or [`MAX_FRACTION_DIGITS`] after it.
    TooLong,
}

impl DecimalError {
    /// In words.
    pub fn saying(&self) -> Saying {
        match self {
            Self::Empty => say!("no number was entered"),
            Self::Negative => say!("a number below zero cannot be used here"),
            Self::Comma => say!("use a point for decimals and nothing between thousands: 1234.5"),
            Self::WrongCharacter { found } => {
                say!("“{found}” does not belong in a number: use digits and one point, such as 12.5", found)
            }
            Self::NoDigitBeforePoint => say!("write a digit before the point: 0.5 instead of .5"),
            Self::NoDigitAfterPoint => say!("write a digit after the point, or leave the point out"),
            Self::TooLong => say!("the number is too long: at most 12 digits before the point and 9 after it"),
        }
    }
}

speaks!(DecimalError);

impl Decimal {
    /// A whole number. The limit on typed digits does not apply to it.
    pub fn from_integer(value: u64) -> Self {
        Self { units: i128::from(value), scale: 0 }
    }

    /// The number without its point: 1250 for `12.50`. The value is `units / 10^scale`.
    pub const fn units(self) -> i128 {
        self.units
    }

    /// How many digits stand after the point: 2 for `12.50`.
    pub const fn scale(self) -> u32 {
        self.scale
    }

    /// Whether the value is zero, however it was written.
    pub const fn is_zero(self) -> bool {
        self.units == 0
    }

    /// The value times `10^decimals`, if that is a whole number: 1500 for `1.50` and 3 decimals.
    ///
    /// `None` as well when the result does not fit.
    pub fn scaled_exactly(self, decimals: u32) -> Option<i128> {
        if decimals >= self.scale {
            return self.units.checked_mul(10_i128.checked_pow(decimals - self.scale)?);
        }
        let divisor = 10_i128.pow(self.scale - decimals);
        (self.units % divisor == 0).then_some(self.units / divisor)
    }

    /// The value in units of the finest decimal place. It cannot overflow: 20 digits and 9 zeros fit in an `i128`.
    fn comparable(self) -> i128 {
        self.units * 10_i128.pow(MAX_FRACTION_DIGITS - self.scale)
    }
}

impl FromStr for Decimal {
    type Err = DecimalError;

    /// Reads a number such as `12` or `12.50`. Spaces around it are ignored.
    fn from_str(typed: &str) -> Result<Self, Self::Err> {
        let text = typed.trim_matches(' ');
        refuse_foreign_characters(text)?;
        let (whole, fraction) = split_at_point(text)?;
        count_up_to(whole, MAX_WHOLE_DIGITS)?;
        let scale = count_up_to(fraction, MAX_FRACTION_DIGITS)?;
        let units = whole.bytes().chain(fraction.bytes()).fold(0, |sum, digit| sum * 10 + i128::from(digit - b'0'));
        Ok(Self { units, scale })
    }
}

/// Leaves nothing but ASCII digits and points; the usual slips get a message of their own.
fn refuse_foreign_characters(text: &str) -> Result<(), DecimalError> {
    if text.is_empty() {
        return Err(DecimalError::Empty);
    }
    // The second one is the typographic minus that some keyboards and spreadsheets produce.
    if text.starts_with(['-', '\u{2212}']) {
        return Err(DecimalError::Negative);
    }
    if text.contains(',') {
        return Err(DecimalError::Comma);
    }
    match text.chars().find(|character| !character.is_ascii_digit() && *character != '.') {
        Some(found) => Err(DecimalError::WrongCharacter { found }),
        None => Ok(()),
    }
}

/// The digits before and after the point; the second part is empty where there is no point.
fn split_at_point(text: &str) -> Result<(&str, &str), DecimalError> {
    let Some((whole, fraction)) = text.split_once('.') else {
        return Ok((text, ""));
    };
    if fraction.contains('.') {
        return Err(DecimalError::WrongCharacter { found: '.' });
    }
    if whole.is_empty() {
        return Err(DecimalError::NoDigitBeforePoint);
    }
    if fraction.is_empty() {
        return Err(DecimalError::NoDigitAfterPoint);
    }
    Ok((whole, fraction))
}

/// How many digits there are, if no more than `most`.
fn count_up_to(digits: &str, most: u32) -> Result<u32, DecimalError> {
    let count = u32::try_from(digits.len()).map_err(|_| DecimalError::TooLong)?;
    if count > most { Err(DecimalError::TooLong) } else { Ok(count) }
}

impl fmt::Display for Decimal {
    fn fmt(&self, formatter: &mut fmt::Formatter<'_>) -> fmt::Result {
        if self.scale == 0 {
            return write!(formatter, "{}", self.units);
        }
        let one = 10_i128.pow(self.scale);
        let width = self.scale as usize;
        write!(formatter, "{}.{:0width$}", self.units / one, self.units % one)
    }
}

impl PartialEq for Decimal {
    fn eq(&self, other: &Self) -> bool {
        self.comparable() == other.comparable()
    }
}

impl Eq for Decimal {}

impl PartialOrd for Decimal {
    fn partial_cmp(&self, other: &Self) -> Option<Ordering> {
        Some(self.cmp(other))
    }
}

impl Ord for Decimal {
    fn cmp(&self, other: &Self) -> Ordering {
        self.comparable().cmp(&other.comparable())
    }
}

impl Hash for Decimal {
    fn hash<H: Hasher>(&self, state: &mut H) {
        self.comparable().hash(state);
    }
}
