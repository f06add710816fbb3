//! What is wrong with a code, where, in words for whoever holds the scanner.

use super::gtin::NumberError;
use crate::lot_number::LotNumberError;
use crate::saying::{Fills, Gap, Saying};
use crate::{say, speaks};

/// What is wrong with a code, and where.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Gs1Error {
    /// Counted in characters of what was sent, from 1; one past the end where something is missing there.
    pub position: usize,
    /// What is wrong.
    pub fault: Fault,
}

impl Gs1Error {
    /// In words.
    pub fn saying(&self) -> Saying {
        say!("at character {position}: {fault}", position = self.position, fault = self.fault)
    }
}

speaks!(Gs1Error, Fault);

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

impl Fills for Of {
    fn fill(&self) -> Gap {
        say!("({number}) {title}", number = self.number, title = Saying::plain(self.title)).fill()
    }
}

/// What can be wrong with a code.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Fault {
    /// Nothing was sent.
    Nothing,
    /// A character that no code of any kind holds.
    Foreign,
    /// Not of any kind we know.
    Unknown,
    /// Digits, but not as many as any number we know has.
    DigitCount {
        /// How many there are.
        digits: usize,
    },
    /// Not a lot number of ours, though it looks like one.
    LotNumber(LotNumberError),
    /// Not an article number, though it has as many digits.
    Article(NumberError),
    /// Two digits or more that are no identifier.
    NoIdentifier {
        /// What stands there.
        found: String,
    },
    /// Something between values written with brackets.
    Bracket,
    /// A separator where nothing was to be separated.
    Separator,
    /// An identifier without a value.
    NoValue {
        /// Which.
        of: Of,
    },
    /// A value that ends too soon.
    TooShort {
        /// Of which identifier.
        of: Of,
        /// How many there must be at least.
        due: usize,
        /// How many there are.
        found: usize,
        /// What may be meant, as a sentence of its own; none where nobody knows.
        hint: Option<Saying>,
    },
    /// A value that goes on for too long.
    TooLong {
        /// Of which identifier.
        of: Of,
        /// The most.
        most: usize,
    },
    /// A character that does not belong in a value.
    Character {
        /// Of which identifier.
        of: Of,
        /// What stands there.
        found: char,
    },
    /// A check digit that does not fit.
    CheckDigit {
        /// Of which identifier.
        of: Of,
    },
    /// No day of the calendar.
    NotADay {
        /// Of which identifier.
        of: Of,
    },
    /// No time of day.
    NotATime {
        /// Of which identifier.
        of: Of,
    },
    /// No country's number.
    NotACountry {
        /// Of which identifier.
        of: Of,
    },
    /// Not formed as it must be.
    Malformed {
        /// Of which identifier.
        of: Of,
        /// What is due.
        due: Saying,
    },
    /// The same identifier twice, with different values.
    Repeated {
        /// Which.
        of: Of,
    },
    /// An identifier that says nothing by itself.
    Alone {
        /// Which.
        of: Of,
        /// The identifiers of which one, or one group, is due.
        with: String,
    },
    /// Two identifiers that exclude each other.
    NotTogether {
        /// The one.
        of: Of,
        /// The other.
        other: Of,
    },
    /// Not the beginning of a web address.
    Scheme,
    /// Not a name of a server.
    Server,
    /// No primary key in the path.
    NoKey,
    /// A qualifier that does not belong to the key, or in another order.
    Order {
        /// Which.
        of: Of,
    },
    /// Something that must not be asked behind the question mark.
    NotInQuery {
        /// Which.
        of: Of,
    },
    /// The same identifier twice in a link, where once is the most.
    TwiceInLink {
        /// Which.
        of: Of,
    },
    /// A percent sign without two hexadecimal digits behind it.
    Percent,
    /// Nothing by which a link could be made.
    NotInLink {
        /// Which.
        of: Of,
    },
}

impl Fault {
    /// In words.
    pub fn saying(&self) -> Saying {
        match self {
            Self::Nothing => say!("there is nothing in this code"),
            Self::Foreign => {
                say!("a character stands here that belongs in no code; is the scanner set to another keyboard?")
            }
            Self::Unknown => {
                say!("this is no code we know: neither a lot of ours, nor an article number, nor a GS1 code")
            }
            Self::DigitCount { digits } => say!(
                "a code of {digits} digits is none we know: an article number has 8, 12, 13 or 14, a lot of ours 11 to 14",
                digits
            ),
            Self::LotNumber(error) => error.saying(),
            Self::Article(error) => error.saying(),
            Self::NoIdentifier { found } => {
                say!("a GS1 identifier should stand here, and “{found}” is none we know", found)
            }
            Self::Bracket => {
                say!("write each identifier in brackets and its value behind it, as in (01)09520123456788(10)L26")
            }
            Self::Separator => say!("a separator too many stands here: nothing lies before it"),
            Self::NoValue { of } => say!("nothing follows {of}", of),
            Self::TooShort { of, due, found, hint: None } => {
                say!("{of} is too short: {due} characters are due, and there are {found}", of, due, found)
            }
            Self::TooShort { of, due, found, hint: Some(hint) } => {
                say!("{of} is too short: {due} characters are due, and there are {found}; {hint}", of, due, found, hint)
            }
            Self::TooLong { of, most } => say!(
                "{of} has at most {most} characters: it is too long, or the scanner drops the separator (FNC1) behind it",
                of,
                most
            ),
            Self::Character { found, of } => {
                say!("“{found}” does not belong in {of}", found = found.escape_debug().to_string(), of)
            }
            Self::CheckDigit { of } => {
                say!("a digit of {of} is mistyped or misread, or two are swapped: its check digit does not fit", of)
            }
            Self::NotADay { of } => say!("{of} holds a day that is in no calendar", of),
            Self::NotATime { of } => say!("{of} holds a time that is on no clock", of),
            Self::NotACountry { of } => say!("{of} holds a number that is no country's", of),
            Self::Malformed { of, due } => say!("{of} is not formed as it must be: {due}", of, due),
            Self::Repeated { of } => say!("{of} stands in this code twice, and not the same", of),
            Self::Alone { of, with } => say!("{of} says nothing by itself: it belongs with {with}", of, with),
            Self::NotTogether { of, other } => say!("{of} and {other} cannot both be true of one thing", of, other),
            Self::Scheme => say!("a GS1 Digital Link begins with https://, all in small or all in capital letters"),
            Self::Server => say!("there is no name of a server here"),
            Self::NoKey => say!("this web address names no article, pallet or place by GS1's rules"),
            Self::Order { of } => say!("{of} must not stand here in the address, or not in this order", of),
            Self::NotInQuery { of } => say!("{of} must not stand behind the question mark of an address", of),
            Self::TwiceInLink { of } => say!("{of} stands in this address twice", of),
            Self::Percent => say!("two hexadecimal digits are due behind a percent sign in an address"),
            Self::NotInLink { of } => say!("{of} has no place in a GS1 Digital Link beside what else is there", of),
        }
    }
}
