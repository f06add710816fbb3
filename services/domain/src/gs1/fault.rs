//! What is wrong with a code, where, in words for whoever holds the scanner.

use std::fmt;

use thiserror::Error;

use super::gtin::NumberError;
use crate::lot_number::LotNumberError;

/// What is wrong with a code, and where.
#[derive(Clone, Debug, PartialEq, Eq, Error)]
#[error("at character {position}: {fault}")]
pub struct Gs1Error {
    /// Counted in characters of what was sent, from 1; one past the end where something is missing there.
    pub position: usize,
    /// What is wrong.
    pub fault: Fault,
}

impl Gs1Error {
    pub(super) const fn new(position: usize, fault: Fault) -> Self {
        Self { position, fault }
    }
}

/// An identifier as sentences name it: `(10) lot`.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Of {
    /// Two to four digits.
    pub number: String,
    /// What it stands for.
    pub title: &'static str,
}

impl fmt::Display for Of {
    fn fmt(&self, formatter: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(formatter, "({}) {}", self.number, self.title)
    }
}

/// What can be wrong with a code.
#[derive(Clone, Debug, PartialEq, Eq, Error)]
pub enum Fault {
    /// Nothing was sent.
    #[error("there is nothing in this code")]
    Nothing,
    /// A character that no code of any kind holds.
    #[error("a character stands here that belongs in no code; is the scanner set to another keyboard?")]
    Foreign,
    /// Not of any kind we know.
    #[error("this is no code we know: neither a lot of ours, nor an article number, nor a GS1 code")]
    Unknown,
    /// Digits, but not as many as any number we know has.
    #[error("a code of {digits} digits is none we know: an article number has 8, 12, 13 or 14, a lot of ours 11 to 14")]
    DigitCount {
        /// How many there are.
        digits: usize,
    },
    /// Not a lot number of ours, though it looks like one.
    #[error(transparent)]
    LotNumber(LotNumberError),
    /// Not an article number, though it has as many digits.
    #[error(transparent)]
    Article(NumberError),
    /// Two digits or more that are no identifier.
    #[error("a GS1 identifier should stand here, and “{found}” is none we know")]
    NoIdentifier {
        /// What stands there.
        found: String,
    },
    /// Something between values written with brackets.
    #[error("write each identifier in brackets and its value behind it, as in (01)09520123456788(10)L26")]
    Bracket,
    /// A separator where nothing was to be separated.
    #[error("a separator too many stands here: nothing lies before it")]
    Separator,
    /// An identifier without a value.
    #[error("nothing follows {of}")]
    NoValue {
        /// Which.
        of: Of,
    },
    /// A value that ends too soon.
    #[error("{of} is too short: {due} characters are due, and there are {found}{hint}")]
    TooShort {
        /// Of which identifier.
        of: Of,
        /// How many there must be at least.
        due: usize,
        /// How many there are.
        found: usize,
        /// What may be meant, as the rest of the sentence; empty where nobody knows.
        hint: &'static str,
    },
    /// A value that goes on for too long.
    #[error("{of} has at most {most} characters: it is too long, or the scanner drops the separator (FNC1) behind it")]
    TooLong {
        /// Of which identifier.
        of: Of,
        /// The most.
        most: usize,
    },
    /// A character that does not belong in a value.
    #[error("“{}” does not belong in {of}", .found.escape_debug())]
    Character {
        /// Of which identifier.
        of: Of,
        /// What stands there.
        found: char,
    },
    /// A check digit that does not fit.
    #[error("a digit of {of} is mistyped or misread, or two are swapped: its check digit does not fit")]
    CheckDigit {
        /// Of which identifier.
        of: Of,
    },
    /// No day of the calendar.
    #[error("{of} holds a day that is in no calendar")]
    NotADay {
        /// Of which identifier.
        of: Of,
    },
    /// No time of day.
    #[error("{of} holds a time that is on no clock")]
    NotATime {
        /// Of which identifier.
        of: Of,
    },
    /// No country's number.
    #[error("{of} holds a number that is no country's")]
    NotACountry {
        /// Of which identifier.
        of: Of,
    },
    /// Not formed as it must be.
    #[error("{of} is not formed as it must be: {due}")]
    Malformed {
        /// Of which identifier.
        of: Of,
        /// What is due.
        due: &'static str,
    },
    /// The same identifier twice, with different values.
    #[error("{of} stands in this code twice, and not the same")]
    Repeated {
        /// Which.
        of: Of,
    },
    /// An identifier that says nothing by itself.
    #[error("{of} says nothing by itself: it belongs with {with}")]
    Alone {
        /// Which.
        of: Of,
        /// The identifiers of which one, or one group, is due.
        with: String,
    },
    /// Two identifiers that exclude each other.
    #[error("{of} and {other} cannot both be true of one thing")]
    NotTogether {
        /// The one.
        of: Of,
        /// The other.
        other: Of,
    },
    /// Not the beginning of a web address.
    #[error("a GS1 Digital Link begins with https://, all in small or all in capital letters")]
    Scheme,
    /// Not a name of a server.
    #[error("there is no name of a server here")]
    Server,
    /// No primary key in the path.
    #[error("this web address names no article, pallet or place by GS1's rules")]
    NoKey,
    /// A qualifier that does not belong to the key, or in another order.
    #[error("{of} must not stand here in the address, or not in this order")]
    Order {
        /// Which.
        of: Of,
    },
    /// Something that must not be asked behind the question mark.
    #[error("{of} must not stand behind the question mark of an address")]
    NotInQuery {
        /// Which.
        of: Of,
    },
    /// The same identifier twice in a link, where once is the most.
    #[error("{of} stands in this address twice")]
    TwiceInLink {
        /// Which.
        of: Of,
    },
    /// A percent sign without two hexadecimal digits behind it.
    #[error("two hexadecimal digits are due behind a percent sign in an address")]
    Percent,
    /// Nothing by which a link could be made.
    #[error("{of} has no place in a GS1 Digital Link beside what else is there")]
    NotInLink {
        /// Which.
        of: Of,
    },
}
