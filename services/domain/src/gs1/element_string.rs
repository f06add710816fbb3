//! Element strings: identifiers and values one behind the other, as hand scanners send them, with separators where the
//! length of a value is not settled beforehand; or as people type them, with brackets around the identifiers.

use super::fault::{Fault, Gs1Error, Of};
use super::gtin::Gtin;
use super::table::{Identifier, matches};
use super::value::Placed;

/// What a scanner sends for the separator, FNC1: the control character GS.
pub(super) const SEPARATOR: char = '\u{1d}';

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
        let says = Self::parse_part(text, first, year)?;
        says.is_whole()?;
        Ok(says)
    }

    /// The same of one of several codes of a label, which may say something that another code belongs with.
    ///
    /// # Errors
    /// As [`Self::parse`], but for what says nothing by itself.
    pub(super) fn parse_part(text: &str, first: usize, year: i32) -> Result<Self, Gs1Error> {
        let elements = read(text, first, year)?;
        agree(&elements)?;
        Ok(Self { elements })
    }

    /// Refuses what says nothing by itself.
    ///
    /// # Errors
    /// The first identifier that needs another.
    pub(super) fn is_whole(&self) -> Result<(), Gs1Error> {
        need_nothing(&self.elements)
    }

    /// The identifiers that what is said needs beside it, each once; `n` stands for any digit. Of several that would do, the
    /// first.
    pub fn missing(&self) -> Vec<&'static str> {
        let is_there = |pattern: &&str| self.element(pattern).is_some();
        let mut missing = Vec::new();
        for element in self.elements.iter().filter(|element| !has_what_it_needs(element, &self.elements)) {
            let group = element.identifier.needs.split(',').next().unwrap_or_default();
            missing.extend(group.split('+').filter(|pattern| !is_there(pattern)));
        }
        missing.sort_unstable();
        missing.dedup();
        missing
    }

    /// This and what another code of the same label says.
    ///
    /// # Errors
    /// Where the other says otherwise, or something that excludes this: counted in the other.
    pub fn and(&self, other: &Self) -> Result<Self, Gs1Error> {
        let mut elements = self.elements.clone();
        for element in &other.elements {
            elements.push(element.clone());
            agree_with_last(&elements)?;
        }
        // Said once is enough.
        let mut seen = Vec::new();
        elements.retain(|element| {
            let is_new = !seen.contains(&element.number);
            seen.push(element.number.clone());
            is_new
        });
        Ok(Self { elements })
    }

    /// A number of an article alone, as under the bars of a package, as an element string says it.
    pub fn of_article(gtin: Gtin, position: usize) -> Self {
        let known = |number: &str| Identifier::of_number(number).into_iter();
        let value = gtin.to_string();
        let element = |identifier| Element { identifier, number: "01".into(), value: value.clone(), position };
        Self { elements: known("01").map(element).collect() }
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
    agree(elements)?;
    need_nothing(elements)
}

/// Refuses what is said twice and differently, and what excludes each other.
fn agree(elements: &[Element]) -> Result<(), Gs1Error> {
    for (index, element) in elements.iter().enumerate() {
        let wrong = |fault: Fault| Err(Gs1Error::new(element.position, fault));
        if elements[..index].iter().any(|other| differs(other, element)) {
            return wrong(Fault::Repeated { of: element.of() });
        }
        if let Some(other) = elements.iter().find(|other| excludes(element, other)) {
            return wrong(Fault::NotTogether { of: element.of(), other: other.of() });
        }
    }
    Ok(())
}

/// The same of the last alone, and the blame is always the last's.
fn agree_with_last(elements: &[Element]) -> Result<(), Gs1Error> {
    let Some((last, others)) = elements.split_last() else { return Ok(()) };
    let wrong = |fault: Fault| Err(Gs1Error::new(last.position, fault));
    if others.iter().any(|other| differs(other, last)) {
        return wrong(Fault::Repeated { of: last.of() });
    }
    match others.iter().find(|other| excludes(last, other) || excludes(other, last)) {
        Some(other) => wrong(Fault::NotTogether { of: last.of(), other: other.of() }),
        None => Ok(()),
    }
}

fn differs(one: &Element, other: &Element) -> bool {
    one.number == other.number && one.value != other.value
}

fn excludes(element: &Element, other: &Element) -> bool {
    let mut not_with = element.identifier.not_with.split(',');
    other.number != element.number && not_with.any(|pattern| matches(pattern, &other.number))
}

/// Refuses what says nothing by itself.
fn need_nothing(elements: &[Element]) -> Result<(), Gs1Error> {
    match elements.iter().find(|element| !has_what_it_needs(element, elements)) {
        Some(element) => {
            let with = in_words(element.identifier.needs);
            Err(Gs1Error::new(element.position, Fault::Alone { of: element.of(), with }))
        }
        None => Ok(()),
    }
}

fn has_what_it_needs(element: &Element, elements: &[Element]) -> bool {
    let is_there = |pattern: &str| elements.iter().any(|other| matches(pattern, &other.number));
    let needs = element.identifier.needs;
    needs.is_empty() || needs.split(',').any(|group| group.split('+').all(is_there))
}

/// `01+21,03` as `(01) with (21), or (03)`.
fn in_words(needs: &str) -> String {
    let groups = needs.split(',').map(|group| format!("({})", group.replace('+', ") with (")));
    groups.collect::<Vec<_>>().join(", or ")
}
