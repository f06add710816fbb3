//! Element strings: identifiers and values one behind the other, as hand scanners send them, with separators where the
//! length of a value is not settled beforehand; or as people type them, with brackets around the identifiers.

use super::fault::{Fault, Gs1Error, Of};
use super::table::{Identifier, matches};
use super::value::Placed;

/// What a scanner sends for the separator, FNC1: the control character GS.
pub const SEPARATOR: char = '\u{1d}';

/// An identifier and its value.
#[derive(Clone, Debug)]
pub struct Element {
    /// Which identifier.
    pub identifier: &'static Identifier,
    /// Its digits; they say where the decimals of a measure begin.
    pub number: String,
    /// The value, which fits it.
    pub value: String,
    /// Where the identifier begins in what was sent, in characters from 1.
    pub position: usize,
}

impl Element {
    /// As sentences name its identifier.
    pub fn of(&self) -> Of {
        self.identifier.named(&self.number)
    }

    /// A value of six digits with its decimals, as the identifier's last digit says: `0.195` for `000195` and 3103.
    pub fn decimal(&self) -> String {
        let decimals = usize::from(self.number.bytes().last().map_or(0, |digit| digit - b'0'));
        let (whole, decimals) = self.value.split_at(self.value.len().saturating_sub(decimals));
        let whole = match whole.trim_start_matches('0') {
            "" => "0",
            whole => whole,
        };
        if decimals.is_empty() { whole.to_owned() } else { format!("{whole}.{decimals}") }
    }
}

/// Identifiers with values that fit them and each other, in the order in which they stood.
#[derive(Clone, Debug)]
pub struct ElementString {
    elements: Vec<Element>,
}

impl ElementString {
    /// Reads an element string; its days are read in `year`, and its first character is counted as `first`.
    ///
    /// # Errors
    /// Where it breaks a rule, the first that it breaks.
    pub fn parse(text: &str, first: usize, year: i32) -> Result<Self, Gs1Error> {
        let elements = read(text, first, year)?;
        belong_together(&elements)?;
        Ok(Self { elements })
    }

    pub(super) const fn of(elements: Vec<Element>) -> Self {
        Self { elements }
    }

    /// Every element, in order.
    pub fn elements(&self) -> &[Element] {
        &self.elements
    }

    /// The element with this identifier; `n` stands for any digit.
    pub fn element(&self, pattern: &str) -> Option<&Element> {
        self.elements.iter().find(|element| matches(pattern, &element.number))
    }

    /// The value of this identifier.
    pub fn value(&self, pattern: &str) -> Option<&str> {
        self.element(pattern).map(|element| element.value.as_str())
    }

    /// As a scanner sends it.
    pub fn raw(&self) -> String {
        let mut raw = String::new();
        let mut separate = false;
        for element in &self.elements {
            if separate {
                raw.push(SEPARATOR);
            }
            raw.push_str(&element.number);
            raw.push_str(&element.value);
            separate = !element.identifier.predefined;
        }
        raw
    }

    /// As people read it, brackets around the identifiers; an opening bracket in a value has a backslash before it.
    pub fn bracketed(&self) -> String {
        let written = |element: &Element| format!("({}){}", element.number, element.value.replace('(', "\\("));
        self.elements.iter().map(written).collect()
    }

    /// The identifiers that the end of the last value would be read as, had a scanner dropped the separator before them: a
    /// lot `L26` and a day behind it look like one lot then. `None` where nothing speaks for it.
    pub fn run_together(&self, year: i32) -> Option<String> {
        let last = self.elements.last().filter(|last| !last.identifier.predefined && last.value.is_ascii())?;
        (1..last.value.len()).find_map(|at| {
            let rest = &last.value[at..];
            let inside = read_raw(rest, 1, year).ok()?;
            let likely = |element: &Element| element.identifier.predefined && !element.number.starts_with("20");
            inside.iter().all(likely).then(|| Self::of(inside).bracketed())
        })
    }
}

fn read(text: &str, first: usize, year: i32) -> Result<Vec<Element>, Gs1Error> {
    if text.is_empty() {
        return Err(Gs1Error::new(first, Fault::Nothing));
    }
    if text.starts_with('(') { read_bracketed(text, first, year) } else { read_raw(text, first, year) }
}

fn read_raw(text: &str, first: usize, year: i32) -> Result<Vec<Element>, Gs1Error> {
    let mut elements = Vec::new();
    // The separator that says in the bars that this is GS1 is sent by some scanners too.
    let mut rest = text.strip_prefix(SEPARATOR).unwrap_or(text);
    let place = |rest: &str| first + text.chars().count() - rest.chars().count();
    while !rest.is_empty() {
        let (identifier, number) = identifier_at(rest, place(rest))?;
        let position = place(rest);
        let behind = &rest[number.len()..];
        let until = behind.find(SEPARATOR).unwrap_or(behind.len());
        let length = if identifier.predefined { bytes_of(&behind[..until], identifier.longest()) } else { until };
        let value = &behind[..length];
        let placed = Placed::of(value, position + number.len());
        placed.check(identifier, &identifier.named(number), year)?;
        elements.push(Element { identifier, number: number.to_owned(), value: value.to_owned(), position });
        // One too many behind a settled length is let through, and so is one at the end.
        rest = behind[length..].strip_prefix(SEPARATOR).unwrap_or(&behind[length..]);
    }
    if elements.is_empty() { Err(Gs1Error::new(first, Fault::Nothing)) } else { Ok(elements) }
}

/// How many bytes the first so many characters take.
fn bytes_of(text: &str, characters: usize) -> usize {
    text.char_indices().nth(characters).map_or(text.len(), |(at, _)| at)
}

fn identifier_at(rest: &str, position: usize) -> Result<(&'static Identifier, &str), Gs1Error> {
    if rest.starts_with(SEPARATOR) {
        return Err(Gs1Error::new(position, Fault::Separator));
    }
    let unknown = || {
        let found = rest.chars().take(4).take_while(|character| *character != SEPARATOR).collect();
        Gs1Error::new(position, Fault::NoIdentifier { found })
    };
    Identifier::at_start_of(rest).ok_or_else(unknown)
}

fn read_bracketed(text: &str, first: usize, year: i32) -> Result<Vec<Element>, Gs1Error> {
    let mut elements = Vec::new();
    let mut characters = text.chars().zip(first..).peekable();
    while let Some((found, position)) = characters.next() {
        if found != '(' {
            return Err(Gs1Error::new(position, Fault::Bracket));
        }
        let mut number = String::new();
        while let Some((digit, _)) = characters.next_if(|(character, _)| character.is_ascii_digit()) {
            number.push(digit);
        }
        if characters.next_if(|(character, _)| *character == ')').is_none() {
            return Err(Gs1Error::new(position, Fault::Bracket));
        }
        let unknown = || Gs1Error::new(position, Fault::NoIdentifier { found: number.clone() });
        let identifier = Identifier::of_number(&number).ok_or_else(unknown)?;
        let mut value = Placed::new();
        let mut end = position + number.len() + 2;
        while let Some((character, place)) = characters.next_if(|(character, _)| *character != '(') {
            end = place + 1;
            match (character, characters.peek()) {
                ('\\', Some(('(', _))) => {
                    characters.next();
                    end = place + 2;
                    value.push('(', place + 1);
                }
                _ => value.push(character, place),
            }
        }
        value.end(end);
        let value = value.without_blanks_around();
        value.check(identifier, &identifier.named(&number), year)?;
        elements.push(Element { identifier, number, value: value.text, position });
    }
    Ok(elements)
}

/// Refuses what is said twice and differently, what excludes each other, and what says nothing by itself.
pub(super) fn belong_together(elements: &[Element]) -> Result<(), Gs1Error> {
    for (index, element) in elements.iter().enumerate() {
        let wrong = |fault: Fault| Err(Gs1Error::new(element.position, fault));
        let differs = |other: &Element| other.number == element.number && other.value != element.value;
        if elements[..index].iter().any(differs) {
            return wrong(Fault::Repeated { of: element.of() });
        }
        let not_with: Vec<_> = element.identifier.not_with.split(',').collect();
        let excluded = |other: &&Element| {
            other.number != element.number && not_with.iter().any(|pattern| matches(pattern, &other.number))
        };
        if let Some(other) = elements.iter().find(excluded) {
            return wrong(Fault::NotTogether { of: element.of(), other: other.of() });
        }
    }
    for element in elements {
        let is_there = |pattern: &str| elements.iter().any(|other| matches(pattern, &other.number));
        let needs = element.identifier.needs;
        if !needs.is_empty() && !needs.split(',').any(|group| group.split('+').all(is_there)) {
            let with = in_words(needs);
            return Err(Gs1Error::new(element.position, Fault::Alone { of: element.of(), with }));
        }
    }
    Ok(())
}

/// `01+21,03` as `(01) with (21), or (03)`.
fn in_words(needs: &str) -> String {
    let groups = needs.split(',').map(|group| format!("({})", group.replace('+', ") with (")));
    groups.collect::<Vec<_>>().join(", or ")
}
