//! What a scanner or a person sent: which kind of code it is, and what it says or why it cannot be read.

use super::digital_link::DigitalLink;
use super::element_string::{ElementString, SEPARATOR};
use super::fault::{Fault, Gs1Error};
use super::gtin::{Gtin, NumberError};
use super::table::Identifier;
use crate::lot_number::LotNumber;

/// A code as it was sent.
#[derive(Clone, Copy, Debug)]
pub struct Code<'a> {
    /// Everything the scanner sent.
    pub text: &'a str,
    /// The symbology identifier, where it came beside the text.
    pub symbology: Option<&'a str>,
}

/// What the codes of one label say together.
#[derive(Clone, Debug)]
pub enum Label {
    /// What one code is by itself.
    Whole(Scanned),
    /// Element strings, which say one thing together; for each element, in which code it stands, from 0.
    Together(ElementString, Vec<usize>),
    /// What says nothing by itself, as far as it goes, and why.
    Half(ElementString, Vec<usize>, Gs1Error),
}

/// What was scanned.
#[derive(Clone, Debug)]
pub enum Scanned {
    /// A lot of ours, by number.
    LotNumber(LotNumber),
    /// The number of an article and nothing else, as under the bars of a package.
    Article(Gtin),
    /// Digits that are both: twelve to fourteen can be. Whoever knows the lots can tell.
    LotNumberOrArticle(LotNumber, Gtin),
    /// A GS1 element string.
    Elements(ElementString),
    /// A GS1 Digital Link.
    Link(DigitalLink),
}

/// What a symbol says of the data in it (AIM's symbology identifiers, `]C1` and the like).
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Symbol {
    /// FNC1 stands in front: an element string.
    Gs1,
    /// The bars of a package: an article number.
    Article,
    /// Anything.
    Plain,
}

impl Symbol {
    /// From the three characters of an identifier. Confirmed for `]C1 ]d2 ]Q3 ]e0 ]E0 ]E4` by `scandata.c` of the
    /// GS1 Barcode Syntax Engine; the others from memory.
    fn of(identifier: &str) -> Self {
        match identifier {
            "]C1" | "]d2" | "]d5" | "]Q3" | "]Q4" | "]e0" | "]e1" | "]J1" => Self::Gs1,
            "]E0" | "]E4" | "]I0" | "]I1" => Self::Article,
            _ => Self::Plain,
        }
    }
}

/// Reads what was sent. The symbology identifier may stand before it, or come beside it; days are read in `year`.
///
/// # Errors
/// If it is no code of any kind, or breaks a rule of its kind: where, counted in characters of what was sent, and which.
pub fn read(sent: &str, symbology: Option<&str>, year: i32) -> Result<Scanned, Gs1Error> {
    read_with(&Code { text: sent, symbology }, year, ElementString::parse)
}

/// How element strings are read: alone, or as a part of what a label says.
type ReadElements = fn(&str, usize, i32) -> Result<ElementString, Gs1Error>;

fn read_with(code: &Code<'_>, year: i32, elements: ReadElements) -> Result<Scanned, Gs1Error> {
    let Code { text: sent, symbology } = *code;
    let is_blank = |character: char| matches!(character, ' ' | '\t' | '\r' | '\n');
    let text = sent.trim_start_matches(is_blank);
    let first = 1 + sent.chars().count() - text.chars().count();
    let text = text.trim_end_matches(is_blank);
    let foreign = |character: char| !character.is_ascii() || (character.is_control() && character != SEPARATOR);
    if let Some(index) = text.chars().position(foreign) {
        return Err(Gs1Error::new(first + index, Fault::Foreign));
    }
    let (symbol, text, first) = match text.split_at_checked(3).filter(|(before, _)| is_symbology_identifier(before)) {
        Some((identifier, data)) => (Symbol::of(identifier), data, first + 3),
        None => (symbology.map_or(Symbol::Plain, Symbol::of), text, first),
    };
    if text.is_empty() {
        return Err(Gs1Error::new(first, Fault::Nothing));
    }
    match symbol {
        Symbol::Gs1 => elements(text, first, year).map(Scanned::Elements),
        Symbol::Article => article(text).map(Scanned::Article).map_err(|error| blame(error, first)),
        Symbol::Plain => plain(text, first, year, elements),
    }
}

/// Reads the codes of one label, the one that was scanned first before the others.
///
/// # Errors
/// As [`read`], and where they contradict each other; in which code, from 0.
pub fn read_label(codes: &[Code<'_>], year: i32) -> Result<Label, (usize, Gs1Error)> {
    let mut together: Option<(ElementString, Vec<usize>)> = None;
    for (index, code) in codes.iter().enumerate() {
        let at = |error| (index, error);
        let scanned = read_with(code, year, ElementString::parse_part).map_err(at)?;
        if codes.len() == 1 && !matches!(scanned, Scanned::Elements(_)) {
            return Ok(Label::Whole(scanned));
        }
        let says = match scanned {
            Scanned::Elements(says) => says,
            // Our own number says all there is.
            lot @ Scanned::LotNumber(_) => return Ok(Label::Whole(lot)),
            Scanned::Article(gtin) | Scanned::LotNumberOrArticle(_, gtin) => ElementString::of_article(gtin, 1),
            Scanned::Link(link) => link.says,
        };
        let (all, mut places) = match together {
            Some((before, places)) => (before.and(&says).map_err(at)?, places),
            None => (says, Vec::new()),
        };
        places.resize(all.elements().len(), index);
        together = Some((all, places));
    }
    let Some((all, places)) = together else { return Err((0, Gs1Error::new(1, Fault::Nothing))) };
    Ok(match all.is_whole() {
        Ok(()) => Label::Together(all, places),
        Err(lacks) => Label::Half(all, places, lacks),
    })
}

/// A closing bracket, a letter and a digit or letter.
pub fn is_symbology_identifier(text: &str) -> bool {
    let bytes = text.as_bytes();
    bytes.len() == 3 && bytes[0] == b']' && bytes[1].is_ascii_alphabetic() && bytes[2].is_ascii_alphanumeric()
}

fn plain(text: &str, first: usize, year: i32, elements: ReadElements) -> Result<Scanned, Gs1Error> {
    if text.get(..4).is_some_and(|scheme| scheme.eq_ignore_ascii_case("http")) || text.contains("://") {
        return DigitalLink::parse(text, first, year).map(Scanned::Link);
    }
    if text.starts_with('(') || text.contains(SEPARATOR) {
        return elements(text, first, year).map(Scanned::Elements);
    }
    if text.bytes().all(|byte| byte.is_ascii_digit() || matches!(byte, b' ' | b'-')) {
        return digits(text, first, year, elements);
    }
    match Identifier::at_start_of(text) {
        Some(_) => elements(text, first, year).map(Scanned::Elements),
        None => Err(Gs1Error::new(first, Fault::Unknown)),
    }
}

/// Digits, perhaps with the hyphens of our lot numbers, or with the blanks that are printed under bars.
fn digits(text: &str, first: usize, year: i32, elements: ReadElements) -> Result<Scanned, Gs1Error> {
    let count = text.bytes().filter(u8::is_ascii_digit).count();
    if count > 14 {
        return elements(text, first, year).map(Scanned::Elements);
    }
    match (text.parse::<LotNumber>(), article(&text.replace(' ', ""))) {
        (Ok(lot), Ok(article)) => Ok(Scanned::LotNumberOrArticle(lot, article)),
        (Ok(lot), Err(_)) => Ok(Scanned::LotNumber(lot)),
        (Err(_), Ok(article)) => Ok(Scanned::Article(article)),
        (Err(error), Err(_)) if text.contains('-') || count == 11 => Err(Gs1Error::new(first, Fault::LotNumber(error))),
        (Err(_), Err(error)) if matches!(count, 8 | 12 | 13 | 14) => Err(blame(error, first)),
        _ => Err(Gs1Error::new(first, Fault::DigitCount { digits: count })),
    }
}

fn article(digits: &str) -> Result<Gtin, NumberError> {
    digits.parse().or_else(|error| Gtin::from_upc_e(digits).ok_or(error))
}

fn blame(error: NumberError, first: usize) -> Gs1Error {
    let position = match error {
        NumberError::WrongCharacter { position, .. } => first + position - 1,
        NumberError::Length { .. } | NumberError::CheckDigit { .. } => first,
    };
    Gs1Error::new(position, Fault::Article(error))
}
