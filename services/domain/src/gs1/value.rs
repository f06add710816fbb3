//! A value with the place of each of its characters in what was sent, so that what is wrong with it can be pointed at.

use super::fault::{Fault, Gs1Error, Of};
use super::gtin::Gtin;
use super::rules::{Trouble, fits};
use super::table::Identifier;
use crate::say;
use crate::saying::Saying;

/// A value, decoded.
#[derive(Clone, Debug)]
pub(super) struct Placed {
    pub text: String,
    // One a character, and one for the end.
    places: Vec<usize>,
}

impl Placed {
    /// A value of no characters yet.
    pub fn new() -> Self {
        Self { text: String::new(), places: Vec::new() }
    }

    /// A value whose characters stand one beside the other.
    pub fn of(text: &str, first: usize) -> Self {
        let mut placed = Self::new();
        for (character, place) in text.chars().zip(first..) {
            placed.push(character, place);
        }
        placed.end(first + text.chars().count());
        placed
    }

    pub fn push(&mut self, character: char, place: usize) {
        self.text.push(character);
        self.places.push(place);
    }

    pub fn end(&mut self, place: usize) {
        self.places.push(place);
    }

    /// The same, less the blanks that a person typed before or behind it.
    pub(super) fn without_blanks_around(self) -> Self {
        let before = self.text.chars().take_while(|character| *character == ' ').count();
        let text = self.text.trim_matches(' ');
        let places = self.places.iter().skip(before).take(text.chars().count() + 1).copied().collect();
        Self { text: text.to_owned(), places }
    }

    /// Where the character stands that was counted from 0 in the value.
    fn place(&self, index: usize) -> usize {
        self.places.get(index).or(self.places.last()).copied().unwrap_or(1)
    }

    /// Refuses a value that is not what its identifier takes; dates are read in `year`.
    pub fn check(&self, identifier: &Identifier, of: &Of, year: i32) -> Result<(), Gs1Error> {
        let wrong = |index: usize, fault: Fault| Err(Gs1Error::new(self.place(index), fault));
        if self.text.is_empty() {
            return wrong(0, Fault::NoValue { of: of.clone() });
        }
        let foreign = |found: char| !identifier.parts.iter().any(|part| part.characters.hold(found));
        let most = identifier.longest();
        if let Some((index, found)) = self.text.chars().take(most).enumerate().find(|(_, found)| foreign(*found)) {
            return wrong(index, Fault::Character { of: of.clone(), found });
        }
        if self.text.chars().count() > most {
            return wrong(most, Fault::TooLong { of: of.clone(), most });
        }
        // From here on a character is a byte.
        self.check_parts(identifier, of, year)
    }

    /// What may be meant by a value that is too short: the number of an article, as it stands under the bars, has its zeros
    /// left out.
    fn hint(&self, identifier: &Identifier) -> Option<Saying> {
        if identifier.title.ends_with("(GTIN)") && self.text.parse::<Gtin>().is_ok() {
            return Some(say!("put zeros in front of it until there are 14: 9520123456788 is 09520123456788 here"));
        }
        None
    }

    fn check_parts(&self, identifier: &Identifier, of: &Of, year: i32) -> Result<(), Gs1Error> {
        let wrong = |index: usize, fault: Fault| Err(Gs1Error::new(self.place(index), fault));
        let mut at = 0;
        for part in identifier.parts {
            let left = &self.text[at..];
            if left.is_empty() && part.optional {
                return Ok(());
            }
            if left.len() < part.least {
                let (due, found, hint) = (at + part.least, self.text.len(), self.hint(identifier));
                return wrong(found, Fault::TooShort { of: of.clone(), due, found, hint });
            }
            let taken = &left[..left.len().min(part.most)];
            if let Some((index, found)) = taken.char_indices().find(|(_, found)| !part.characters.hold(*found)) {
                return wrong(at + index, Fault::Character { of: of.clone(), found });
            }
            for rule in part.rules {
                if let Err(trouble) = fits(*rule, taken, year) {
                    return wrong(at, blame(trouble, of.clone()));
                }
            }
            at += taken.len();
        }
        Ok(())
    }
}

fn blame(trouble: Trouble, of: Of) -> Fault {
    match trouble {
        Trouble::CheckDigit => Fault::CheckDigit { of },
        Trouble::NotADay => Fault::NotADay { of },
        Trouble::NotATime => Fault::NotATime { of },
        Trouble::NotACountry => Fault::NotACountry { of },
        Trouble::Malformed(due) => Fault::Malformed { of, due },
    }
}
