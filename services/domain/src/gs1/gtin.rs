//! The numbers GS1 gives to articles (GTIN), places (GLN) and pallets (SSCC): their lengths and their check digit.

use std::fmt;
use std::str::FromStr;

use crate::saying::Saying;
use crate::{say, speaks};

/// Why digits are no number of an article, a place or a pallet.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum NumberError {
    /// Something other than a digit.
    WrongCharacter {
        /// GTIN, GLN or SSCC.
        name: &'static str,
        /// Counted in characters from 1.
        position: usize,
        /// What stands there.
        found: char,
    },
    /// Not as many digits as it has.
    Length {
        /// GTIN, GLN or SSCC.
        name: &'static str,
        /// How many it may have, in words.
        due: Saying,
        /// How many there are.
        found: usize,
    },
    /// The check digit does not fit the others.
    CheckDigit {
        /// GTIN, GLN or SSCC.
        name: &'static str,
    },
}

impl NumberError {
    /// In words.
    pub fn saying(&self) -> Saying {
        match self {
            Self::WrongCharacter { found, position, name } => say!(
                "“{found}” at position {position} does not belong in a {name}: it has digits only",
                found = found.escape_debug().to_string(),
                position,
                name
            ),
            Self::Length { name, due, found } => {
                say!("a {name} has {due} digits, and this has {found}", name, due, found)
            }
            Self::CheckDigit { name } => say!("a digit of the {name} is mistyped, or two are swapped", name),
        }
    }
}

speaks!(NumberError);

/// The check digit that follows these digits: weights 3 and 1 from the right, modulo 10. `None` if they are no digits.
///
/// GS1 General Specifications, "Standard check digit calculations"; `lint_csum.c` of the GS1 Barcode Syntax Dictionary.
pub fn check_digit(digits: &str) -> Option<u8> {
    if digits.is_empty() || !digits.bytes().all(|byte| byte.is_ascii_digit()) {
        return None;
    }
    let weighted = |(place, digit): (usize, u8)| u32::from(digit - b'0') * if place.is_multiple_of(2) { 3 } else { 1 };
    let sum: u32 = digits.bytes().rev().enumerate().map(weighted).sum();
    u8::try_from((10 - sum % 10) % 10).ok()
}

/// Whether the last of these digits is the check digit of the others.
pub(super) fn check_digit_fits(digits: &str) -> bool {
    let body = digits.len().checked_sub(1).and_then(|last| digits.split_at_checked(last));
    body.is_some_and(|(body, last)| check_digit(body).is_some_and(|due| last.as_bytes() == [due + b'0']))
}

fn checked(name: &'static str, due: Saying, lengths: &[usize], digits: &str) -> Result<(), NumberError> {
    if let Some((index, found)) = digits.chars().enumerate().find(|(_, found)| !found.is_ascii_digit()) {
        return Err(NumberError::WrongCharacter { name, position: index + 1, found });
    }
    if !lengths.contains(&digits.len()) {
        return Err(NumberError::Length { name, due, found: digits.len() });
    }
    if check_digit_fits(digits) { Ok(()) } else { Err(NumberError::CheckDigit { name }) }
}

/// The number of an article, in the fourteen digits in which it is kept and compared.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Gtin(u64);

impl Gtin {
    /// As it stands under the bars of a package: 8, 12, 13 or 14 digits, whichever is the shortest that holds it.
    pub fn printed(self) -> String {
        let shortest = [8, 12, 13].into_iter().find(|digits| self.0 < 10_u64.pow(*digits)).unwrap_or(14);
        format!("{:0width$}", self.0, width = shortest as usize)
    }

    /// The eight digits of a UPC-E code, written out: its twelve, whose zeros it leaves out.
    ///
    /// GS1 General Specifications, "UPC-E barcode" (from memory).
    pub fn from_upc_e(digits: &str) -> Option<Self> {
        if digits.len() != 8 || !digits.bytes().all(|byte| byte.is_ascii_digit()) || !digits.starts_with(['0', '1']) {
            return None;
        }
        let (system, body, check) = (&digits[..1], &digits[1..7], &digits[7..]);
        let written_out = match &body[5..] {
            last @ ("0" | "1" | "2") => format!("{}{last}0000{}", &body[..2], &body[2..5]),
            "3" => format!("{}00000{}", &body[..3], &body[3..5]),
            "4" => format!("{}00000{}", &body[..4], &body[4..5]),
            last => format!("{}0000{last}", &body[..5]),
        };
        format!("{system}{written_out}{check}").parse().ok()
    }
}

impl fmt::Display for Gtin {
    fn fmt(&self, formatter: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(formatter, "{:014}", self.0)
    }
}

impl FromStr for Gtin {
    type Err = NumberError;

    /// Reads 8, 12, 13 or 14 digits; shorter ones have their zeros left out in front.
    fn from_str(digits: &str) -> Result<Self, NumberError> {
        checked("GTIN", say!("8, 12, 13 or 14"), &[8, 12, 13, 14], digits)?;
        Ok(Self(digits.bytes().fold(0, |number, digit| number * 10 + u64::from(digit - b'0'))))
    }
}

/// The number of a place.
#[derive(Clone, Debug, PartialEq, Eq, Hash)]
pub struct Gln(String);

impl FromStr for Gln {
    type Err = NumberError;

    /// Reads 13 digits.
    fn from_str(digits: &str) -> Result<Self, NumberError> {
        checked("GLN", say!("13"), &[13], digits)?;
        Ok(Self(digits.to_owned()))
    }
}

impl fmt::Display for Gln {
    fn fmt(&self, formatter: &mut fmt::Formatter<'_>) -> fmt::Result {
        formatter.write_str(&self.0)
    }
}

/// The number of a pallet or a parcel.
#[derive(Clone, Debug, PartialEq, Eq, Hash)]
pub struct Sscc(String);

impl FromStr for Sscc {
    type Err = NumberError;

    /// Reads 18 digits.
    fn from_str(digits: &str) -> Result<Self, NumberError> {
        checked("SSCC", say!("18"), &[18], digits)?;
        Ok(Self(digits.to_owned()))
    }
}

impl fmt::Display for Sscc {
    fn fmt(&self, formatter: &mut fmt::Formatter<'_>) -> fmt::Result {
        formatter.write_str(&self.0)
    }
}
