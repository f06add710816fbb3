//! The number this shop gives to its own lots, made to be read from a tub and typed by hand.
//!
//! `261125-0042-7` is the 42nd lot of 25 November 2026: the day as YYMMDD, a serial of at least four digits, and one
//! check digit. There are digits only, so nothing in it can be taken for a look-alike letter.

use std::fmt;
use std::str::FromStr;

use chrono::{Datelike, NaiveDate};

use crate::saying::Saying;
use crate::{say, speaks};
/// The largest serial of a day.
pub const MAX_SERIAL: u32 = 9_999_999;

const FIRST_YEAR: i32 = 2000;
const LAST_YEAR: i32 = 2099;
const DAY_DIGITS: usize = 6;
const SERIAL_DIGITS_MIN: usize = 4;
/// The place of the first of these digits, as a power of ten.
const SERIAL_PLACES_MIN: u32 = 3;
const SERIAL_DIGITS_MAX: usize = 7;
const CHECK_DIGITS: usize = 1;
const DIGITS_MIN: usize = DAY_DIGITS + SERIAL_DIGITS_MIN + CHECK_DIGITS;
const DIGITS_MAX: usize = DAY_DIGITS + SERIAL_DIGITS_MAX + CHECK_DIGITS;

/// A lot number. They sort by day, then by serial.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct LotNumber {
    day: NaiveDate,
    serial: u32,
}

/// Why something is not a lot number.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum LotNumberError {
    /// Something other than a digit, a space or a hyphen.
    WrongCharacter {
        /// Counted in characters from 1.
        position: usize,
        /// What stands there.
        found: char,
    },
    /// Not as many digits as a lot number has.
    WrongLength {
        /// How many digits there are.
        digits: usize,
    },
    /// The check digit does not fit the others.
    CheckDigit,
    /// The first six digits are no day of the calendar.
    NotADay,
    /// A day outside the years 2000 to 2099, which two digits stand for.
    YearOutOfRange,
    /// The serial is zero.
    SerialZero,
    /// The serial is above [`MAX_SERIAL`].
    SerialTooLarge,
    /// The serial is written with more zeros in front than it takes to make four digits.
    SerialPadding,
}

impl LotNumberError {
    /// In words.
    pub fn saying(&self) -> Saying {
        match self {
            Self::WrongCharacter { found, position } => say!(
                "“{found}” at position {position} does not belong in a lot number: it has digits only",
                found,
                position
            ),
            Self::WrongLength { digits } => say!("a lot number has 11 to 14 digits, and this has {digits}", digits),
            Self::CheckDigit => say!("this is not a lot number of ours: a digit is mistyped or two are swapped"),
            Self::NotADay => {
                say!("the first six digits of a lot number are its day, as in 261125, and these are no day")
            }
            Self::YearOutOfRange => say!("a lot number can only be given for a day of the years 2000 to 2099"),
            Self::SerialZero => say!("the serial of a lot number starts at 1"),
            Self::SerialTooLarge => say!("the serial of a lot number ends at 9999999"),
            Self::SerialPadding => {
                say!("the serial has zeros too many in front: write it with four digits, as in 0042")
            }
        }
    }
}

speaks!(LotNumberError);

impl LotNumber {
    /// The `serial`-th lot of a day.
    pub fn new(day: NaiveDate, serial: u32) -> Result<Self, LotNumberError> {
        if !(FIRST_YEAR..=LAST_YEAR).contains(&day.year()) {
            return Err(LotNumberError::YearOutOfRange);
        }
        match serial {
            0 => Err(LotNumberError::SerialZero),
            1..=MAX_SERIAL => Ok(Self { day, serial }),
            _ => Err(LotNumberError::SerialTooLarge),
        }
    }

    /// The day of the lot.
    pub const fn day(self) -> NaiveDate {
        self.day
    }

    /// Which lot of its day it is, from 1.
    pub const fn serial(self) -> u32 {
        self.serial
    }

    /// The digits alone, as they go into a barcode: `26112500427`.
    pub fn compact(self) -> String {
        let digits = self.digits();
        digits.iter().chain([&mod_11_10(digits.iter().copied())]).map(|digit| char::from(b'0' + digit)).collect()
    }

    /// The values of its digits but for the check digit.
    fn digits(self) -> Digits {
        let year = self.day.year().abs_diff(FIRST_YEAR);
        let mut digits = Digits::default();
        for two in [year, self.day.month(), self.day.day()] {
            digits.push(two / 10);
            digits.push(two % 10);
        }
        let mut place = 10_u32.pow(SERIAL_PLACES_MIN);
        while self.serial / place >= 10 {
            place *= 10;
        }
        while place > 0 {
            digits.push(self.serial / place % 10);
            place /= 10;
        }
        digits
    }
}

/// The values of digits one after another; numbers are written by the hundred thousand, and need no memory of their own.
#[derive(Clone, Copy, Default)]
struct Digits {
    all: [u8; DIGITS_MAX],
    count: usize,
}

impl Digits {
    fn push(&mut self, digit: u32) {
        // A digit is one byte, and there are never more than fit.
        self.all[self.count] = digit.to_le_bytes()[0];
        self.count += 1;
    }

    fn iter(&self) -> impl Iterator<Item = &u8> {
        self.all[..self.count].iter()
    }
}

impl fmt::Display for LotNumber {
    fn fmt(&self, formatter: &mut fmt::Formatter<'_>) -> fmt::Result {
        let digits = self.digits();
        let mut text = [0; DIGITS_MAX + 2];
        let mut length = 0;
        for (at, digit) in digits.iter().chain([&mod_11_10(digits.iter().copied())]).enumerate() {
            if at == DAY_DIGITS || at == digits.count {
                text[length] = b'-';
                length += 1;
            }
            text[length] = b'0' + digit;
            length += 1;
        }
        formatter.write_str(std::str::from_utf8(&text[..length]).map_err(|_| fmt::Error)?)
    }
}

impl FromStr for LotNumber {
    type Err = LotNumberError;

    /// Reads a lot number. Spaces and hyphens are ignored wherever they stand.
    ///
    /// The check digit is looked at before the day, since a mistyped digit explains a day that does not exist.
    fn from_str(typed: &str) -> Result<Self, Self::Err> {
        let digits = only_digits(typed)?;
        if !(DIGITS_MIN..=DIGITS_MAX).contains(&digits.len()) {
            return Err(LotNumberError::WrongLength { digits: digits.len() });
        }
        let (body, check) = digits.split_at(digits.len() - CHECK_DIGITS);
        if mod_11_10(body.iter().copied()) != check[0] {
            return Err(LotNumberError::CheckDigit);
        }
        let (day, serial) = body.split_at(DAY_DIGITS);
        Self::new(day_from_digits(day)?, serial_from_digits(serial)?)
    }
}

/// The values of the digits in a text in which there may also be spaces and hyphens.
fn only_digits(typed: &str) -> Result<Vec<u8>, LotNumberError> {
    let mut digits = Vec::with_capacity(DIGITS_MAX);
    for (index, found) in typed.chars().enumerate() {
        match u8::try_from(found) {
            Ok(b' ' | b'-') => {}
            Ok(digit @ b'0'..=b'9') => digits.push(digit - b'0'),
            // Digits of other scripts and full-width ones are refused too: nothing of ours prints them.
            _ => return Err(LotNumberError::WrongCharacter { position: index + 1, found }),
        }
    }
    Ok(digits)
}

fn day_from_digits(digits: &[u8]) -> Result<NaiveDate, LotNumberError> {
    let yymmdd = number(digits);
    let year = i32::try_from(yymmdd / 10_000).map_err(|_| LotNumberError::NotADay)? + FIRST_YEAR;
    NaiveDate::from_ymd_opt(year, yymmdd / 100 % 100, yymmdd % 100).ok_or(LotNumberError::NotADay)
}

/// The serial, which has one way of being written, so that equal lots have equal texts.
fn serial_from_digits(digits: &[u8]) -> Result<u32, LotNumberError> {
    if digits.len() > SERIAL_DIGITS_MIN && digits[0] == 0 {
        return Err(LotNumberError::SerialPadding);
    }
    Ok(number(digits))
}

/// At most seven digits as a number.
fn number(digits: &[u8]) -> u32 {
    digits.iter().fold(0, |sum, digit| sum * 10 + u32::from(*digit))
}

/// The check digit of ISO/IEC 7064 MOD 11,10 for a text of ASCII digits; `None` for an empty or any other text.
///
/// It catches every single mistyped digit, and about 98 in 100 swaps of two digits side by side: a swap that slips
/// through is always one of two neighbours in the circle 0, 1, …, 9, 0.
pub fn check_digit_mod_11_10(digits: &str) -> Option<u8> {
    if digits.is_empty() || !digits.bytes().all(|byte| byte.is_ascii_digit()) {
        return None;
    }
    Some(mod_11_10(digits.bytes().map(|byte| byte - b'0')))
}

/// ISO/IEC 7064 hybrid system MOD 11,10 over the values of digits.
fn mod_11_10(digits: impl Iterator<Item = u8>) -> u8 {
    // The product runs from 1 to 10: it is a remainder of 11, and never 0, since 0 is replaced by 10 before doubling.
    let product = digits.fold(10, |product, digit| {
        let sum = match (product + digit) % 10 {
            0 => 10,
            other => other,
        };
        sum * 2 % 11
    });
    // Product and check digit together leave 1 by 10.
    (11 - product) % 10
}
