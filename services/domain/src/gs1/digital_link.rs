//! GS1 Digital Link URIs: web addresses whose path names an article, a pallet or a place.

use super::element_string::{Element, ElementString, belong_together};
use super::fault::{Fault, Gs1Error};
use super::table::Identifier;
use super::value::Placed;

/// Where GS1's own links begin.
pub const CANONICAL_STEM: &str = "https://id.gs1.org";

const SCHEMES: [&str; 4] = ["https://", "HTTPS://", "http://", "HTTP://"];

/// A link, taken apart.
#[derive(Clone, Debug)]
pub struct DigitalLink {
    /// What stands before the path that GS1 rules: scheme, server, and a path of the server's own.
    pub stem: String,
    /// What the link says.
    pub says: ElementString,
}

/// A piece of an address, and where it begins in it, in characters from 1.
#[derive(Clone, Copy)]
struct Piece<'a> {
    text: &'a str,
    position: usize,
}

impl<'a> Piece<'a> {
    fn split(self, at: char) -> impl Iterator<Item = Piece<'a>> {
        let mut position = self.position;
        self.text.split(at).map(move |text| {
            let piece = Piece { text, position };
            position += text.len() + 1;
            piece
        })
    }

    fn split_once(self, at: char) -> (Self, Option<Self>) {
        match self.text.split_once(at) {
            Some((before, behind)) => {
                let position = self.position + before.len() + 1;
                (Piece { text: before, ..self }, Some(Piece { text: behind, position }))
            }
            None => (self, None),
        }
    }

    fn wrong<T>(self, fault: Fault) -> Result<T, Gs1Error> {
        Err(Gs1Error::new(self.position, fault))
    }
}

impl DigitalLink {
    /// Reads a link; its days are read in `year`, and its first character is counted as `first`.
    ///
    /// The path is searched from its end for the rightmost key, so that a server may have paths of its own before it.
    ///
    /// # Errors
    /// Where it breaks a rule, the first that it breaks.
    pub fn parse(uri: &str, first: usize, year: i32) -> Result<Self, Gs1Error> {
        if let Some(index) = uri.chars().position(|character| !may_stand_in_address(character)) {
            return Err(Gs1Error::new(first + index, Fault::Foreign));
        }
        // From here on a character is a byte.
        let scheme = SCHEMES.iter().find(|scheme| uri.starts_with(**scheme));
        let Some(scheme) = scheme else { return Err(Gs1Error::new(first, Fault::Scheme)) };
        let address = Piece { text: &uri[scheme.len()..], position: first + scheme.len() };
        let (server, path) = address.split_once('/');
        if server.text.is_empty() || server.text.contains(|character| "_~?#@!$&'()*+,;=%".contains(character)) {
            return server.wrong(Fault::Server);
        }
        let Some(path) = path else { return server.wrong(Fault::NoKey) };
        let (path, _fragment) = path.split_once('#');
        let (path, query) = path.split_once('?');
        let steps: Vec<_> = path.split('/').collect();
        let key = key_of(&steps, path)?;
        let mut elements = read_path(&steps[key..], year)?;
        let qualified = elements.len();
        if let Some(query) = query {
            read_query(query, year, &mut elements)?;
        }
        in_right_place(&elements, qualified)?;
        belong_together(&elements)?;
        let stem = uri[..steps[key].position - first].trim_end_matches('/').to_owned();
        Ok(Self { stem, says: ElementString::of(elements) })
    }
}

/// The one link that says the same as an element string: its first key, the key's qualifiers in the path, and all else
/// behind the question mark in the order of their digits (GS1 Digital Link: URI Syntax, 4.12, after the package biip).
///
/// # Errors
/// If there is no key, or something that has no place in a link.
pub fn build(stem: &str, says: &ElementString) -> Result<String, Gs1Error> {
    let elements = says.elements();
    let Some(key) = elements.iter().find(|element| element.identifier.key.is_some()) else {
        return Err(Gs1Error::new(1, Fault::NoKey));
    };
    let present = |number: &&str| says.element(number).is_some();
    let ways = key.identifier.qualifiers().map(|way| way.into_iter().filter(present).collect::<Vec<_>>());
    // Of two ways alike the first.
    let qualifiers = ways.fold(Vec::new(), |best, way| if way.len() > best.len() { way } else { best });
    let mut link = stem.trim_end_matches('/').to_owned();
    let in_path = std::iter::once(key.number.as_str()).chain(qualifiers.iter().copied());
    for number in in_path {
        if let Some(value) = says.value(number) {
            link.extend(["/", number, "/", &encoded(value)]);
        }
    }
    let is_in_path = |element: &Element| element.number == key.number || qualifiers.contains(&element.number.as_str());
    let mut attributes: Vec<_> = elements.iter().filter(|element| !is_in_path(element)).collect();
    if let Some(stray) = attributes.iter().find(|element| !element.identifier.attribute) {
        return Err(Gs1Error::new(stray.position, Fault::NotInLink { of: stray.of() }));
    }
    attributes.sort_by_key(|element| &element.number);
    attributes.dedup_by_key(|element| &element.number);
    let mut mark = "?";
    for attribute in attributes {
        link.extend([mark, &attribute.number, "=", &encoded(&attribute.value)]);
        mark = "&";
    }
    Ok(link)
}

fn may_stand_in_address(character: char) -> bool {
    character.is_ascii_alphanumeric() || "-._~:/?#[]@!$&'()*+,;=%".contains(character)
}

/// Where among the steps of a path the rightmost key stands.
fn key_of(steps: &[Piece<'_>], path: Piece<'_>) -> Result<usize, Gs1Error> {
    let mut at = steps.len();
    while at >= 2 {
        at -= 2;
        match Identifier::of_number(steps[at].text) {
            Some(identifier) if identifier.key.is_some() => return Ok(at),
            Some(_) => {}
            None => break,
        }
    }
    path.wrong(Fault::NoKey)
}

fn read_path(steps: &[Piece<'_>], year: i32) -> Result<Vec<Element>, Gs1Error> {
    let read_pair = |pair: &[Piece<'_>]| {
        let number = pair[0];
        match Identifier::of_number(number.text) {
            Some(identifier) => read_value(identifier, number, decoded(pair[1], false)?, year),
            None => number.wrong(Fault::NoKey),
        }
    };
    steps.chunks_exact(2).map(read_pair).collect()
}

fn read_query(query: Piece<'_>, year: i32, elements: &mut Vec<Element>) -> Result<(), Gs1Error> {
    for parameter in query.split('&') {
        let (name, Some(value)) = parameter.split_once('=') else { continue };
        // Names that are no numbers are the server's own.
        if name.text.is_empty() || !name.text.bytes().all(|byte| byte.is_ascii_digit()) {
            continue;
        }
        let Some(identifier) = Identifier::of_number(name.text) else {
            return name.wrong(Fault::NoIdentifier { found: name.text.to_owned() });
        };
        elements.push(read_value(identifier, name, decoded(value, true)?, year)?);
    }
    Ok(())
}

fn read_value(
    identifier: &'static Identifier,
    number: Piece<'_>,
    value: Placed,
    year: i32,
) -> Result<Element, Gs1Error> {
    value.check(identifier, &identifier.named(number.text), year)?;
    Ok(Element { identifier, number: number.text.to_owned(), value: value.text, position: number.position })
}

/// A value with its percent codes read; in a query a plus sign is a blank, which no value holds.
fn decoded(piece: Piece<'_>, in_query: bool) -> Result<Placed, Gs1Error> {
    let mut value = Placed::new();
    let mut characters = piece.text.char_indices();
    while let Some((index, character)) = characters.next() {
        let place = piece.position + index;
        let character = match character {
            '%' => {
                let code =
                    piece.text.get(index + 1..index + 3).filter(|code| code.bytes().all(|c| c.is_ascii_hexdigit()));
                let byte = code.and_then(|code| u8::from_str_radix(code, 16).ok());
                let Some(byte) = byte else { return Err(Gs1Error::new(place, Fault::Percent)) };
                characters.nth(1);
                char::from(byte)
            }
            '+' if in_query => ' ',
            other => other,
        };
        value.push(character, place);
    }
    value.end(piece.position + piece.text.len());
    Ok(value)
}

/// Refuses qualifiers that are not the key's, or in another order, and what must not stand behind the question mark.
fn in_right_place(elements: &[Element], qualified: usize) -> Result<(), Gs1Error> {
    let (path, query) = elements.split_at(qualified);
    let Some((key, qualifiers)) = path.split_first() else { return Ok(()) };
    let numbers: Vec<_> = qualifiers.iter().map(|element| element.number.as_str()).collect();
    let ways: Vec<_> = key.identifier.qualifiers().collect();
    // The farthest that any way leads.
    let led = ways.iter().map(|way| in_order(&numbers, way)).max().unwrap_or(0);
    if let Some(stray) = qualifiers.get(led) {
        return Err(Gs1Error::new(stray.position, Fault::Order { of: stray.of() }));
    }
    for (index, element) in query.iter().enumerate() {
        let wrong = |fault: Fault| Err(Gs1Error::new(element.position, fault));
        if elements[..qualified + index].iter().any(|other| other.number == element.number) {
            return wrong(Fault::TwiceInLink { of: element.of() });
        }
        if !element.identifier.attribute || would_qualify(&element.number, &numbers, &ways) {
            return wrong(Fault::NotInQuery { of: element.of() });
        }
    }
    Ok(())
}

/// How many of these numbers, from the first, stand in the order of a way.
fn in_order(numbers: &[&str], way: &[&str]) -> usize {
    let mut rest = way.iter();
    numbers.iter().take_while(|number| rest.any(|other| other == *number)).count()
}

/// Whether a number could stand in the path beside what stands there: then it must.
fn would_qualify(number: &str, numbers: &[&str], ways: &[Vec<&str>]) -> bool {
    ways.iter().any(|way| way.contains(&number) && numbers.iter().all(|other| way.contains(other)))
}

fn encoded(value: &str) -> String {
    let written = |byte: u8| match byte {
        b'A'..=b'Z' | b'a'..=b'z' | b'0'..=b'9' | b'-' | b'.' | b'_' | b'~' => char::from(byte).to_string(),
        other => format!("%{other:02X}"),
    };
    value.bytes().map(written).collect()
}
