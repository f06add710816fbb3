//! The words of the list of ingredients.

use super::composition::capitalised;
use super::entries::{Entry, Parts};
use super::names::{label_name, mentions};
use super::wording::{Tone, Wording};
use crate::allergens::{AllergenList, Substance};

/// Opens the list: Regulation (EU) 1169/2011 art. 18(1); Canada B.01.008.2(1), in bold.
const HEADING: &str = "Ingredients:";

/// The list of some entries, which are in order.
pub(super) fn list_wording(entries: &[Entry], law: AllergenList) -> Wording {
    let total = entries.iter().map(|entry| entry.amount).sum();
    let mut wording = Wording::under(HEADING);
    let worded = match law {
        AllergenList::Ca => with_sugars_together(entries, total),
        AllergenList::Eu | AllergenList::Us => entries.iter().map(|entry| entry.wording(law, total)).collect(),
    };
    wording.append_all(worded, ", ");
    wording
}

/// Canada: the sugars in brackets behind “Sugars”, where all of them together belong; they in small letters, the other
/// ingredients with a large first letter. Food and Drug Regulations B.01.008.3(1) to (3), B.01.008.2(3)(b). Those
/// within a compound ingredient stay with it (from memory).
fn with_sugars_together(entries: &[Entry], total: i128) -> Vec<Wording> {
    let (sugars, others): (Vec<&Entry>, Vec<&Entry>) = entries.iter().partition(|entry| entry.sugars_based);
    let mut worded: Vec<(i128, Wording)> = others
        .into_iter()
        .map(|entry| {
            let large = Entry { name: capitalised(&entry.name), ..entry.clone() };
            (entry.amount, large.wording(AllergenList::Ca, total))
        })
        .collect();
    if !sugars.is_empty() {
        let amount = sugars.iter().map(|sugar| sugar.amount).sum();
        let mut group = Wording::default();
        group.push("Sugars (", Tone::Plain);
        let small = |sugar: &&Entry| {
            let small = Entry { name: sugar.name.to_lowercase(), ..(*sugar).clone() };
            small.wording(AllergenList::Ca, total)
        };
        group.append_all(sugars.iter().map(small), ", ");
        group.push(")", Tone::Plain);
        // Before the first that weighs no more.
        let place = worded.iter().position(|(other, _)| *other <= amount).unwrap_or(worded.len());
        worded.insert(place, (amount, group));
    }
    worded.into_iter().map(|(_, wording)| wording).collect()
}

impl Entry {
    fn wording(&self, law: AllergenList, total: i128) -> Wording {
        // The brackets tell what the allergens are where there are any.
        let in_name = if self.parts == Parts::Single { self.contains } else { 0 };
        let mut wording = name_wording(&self.name, in_name, law);
        if self.percent_shown {
            wording.push(&format!(" {}", percent(self.amount, total)), Tone::Plain);
        }
        match &self.parts {
            Parts::Single => (),
            Parts::NotKnown => {
                wording.push(" (composition not known", Tone::Plain);
                close_brackets(&mut wording, self.contains, law);
            }
            Parts::Listed(list) => self.append_listed(&mut wording, list, law),
            Parts::Weighed(parts) => {
                wording.push(" (", Tone::Plain);
                wording.append_all(parts.iter().map(|part| part.wording(law, total)), ", ");
                let told = parts.iter().fold(0, |told, part| told | part.told());
                close_brackets(&mut wording, self.contains & !told, law);
            }
        }
        wording
    }

    /// The supplier's own list, its allergens standing out where its words name them.
    fn append_listed(&self, wording: &mut Wording, list: &[String], law: AllergenList) {
        wording.push(" (", Tone::Plain);
        wording.append_all(list.iter().map(|part| marked(part, self.contains, law)), ", ");
        let is_named = |substance: &Substance| list.iter().any(|part| !mentions(part, *substance).is_empty());
        let named = Substance::of_mask(self.contains).filter(is_named);
        let named = named.fold(0, |named, substance| named | substance.bit());
        close_brackets(wording, self.contains & !named, law);
    }

    /// Everything that its own words tell.
    fn told(&self) -> u64 {
        match &self.parts {
            Parts::Weighed(parts) => parts.iter().fold(self.contains, |told, part| told | part.told()),
            Parts::Single | Parts::Listed(_) | Parts::NotKnown => self.contains,
        }
    }
}

/// Closes the brackets behind a compound ingredient; in the EU after what is declared of it and its parts do not say.
fn close_brackets(wording: &mut Wording, not_told: u64, law: AllergenList) {
    let names = allergen_names(not_told, law);
    if !names.is_empty() {
        wording.push("; contains ", Tone::Plain);
        wording.append_all(names, ", ");
    }
    wording.push(")", Tone::Plain);
}

/// The name of a single ingredient. In the EU the allergens in it stand out, and one that the name does not refer to is
/// added in brackets: Regulation (EU) 1169/2011 art. 21(1). The other laws have their “Contains” for it.
fn name_wording(name: &str, contains: u64, law: AllergenList) -> Wording {
    let mut wording = marked(name, contains, law);
    let not_named = Substance::of_mask(contains).filter(|substance| mentions(name, *substance).is_empty());
    let not_named = not_named.fold(0, |mask, substance| mask | substance.bit());
    let names = allergen_names(not_named, law);
    if !names.is_empty() {
        wording.push(" (", Tone::Plain);
        wording.append_all(names, ", ");
        wording.push(")", Tone::Plain);
    }
    wording
}

/// The names to add in the EU, standing out; none under the other laws.
fn allergen_names(mask: u64, law: AllergenList) -> Vec<Wording> {
    if law != AllergenList::Eu {
        return Vec::new();
    }
    let standing_out = |substance| {
        let mut wording = Wording::default();
        wording.push(label_name(law, substance), Tone::Allergen);
        wording
    };
    Substance::of_mask(mask & law.covers()).map(standing_out).collect()
}

/// A text with the words for some substances standing out, in the EU.
fn marked(text: &str, contains: u64, law: AllergenList) -> Wording {
    let mut ranges: Vec<(usize, usize)> = match law {
        AllergenList::Eu => Substance::of_mask(contains & law.covers()).flat_map(|one| mentions(text, one)).collect(),
        AllergenList::Us | AllergenList::Ca => Vec::new(),
    };
    ranges.sort_unstable();
    let mut wording = Wording::default();
    let mut read = 0;
    for (start, end) in ranges {
        wording.push(text.get(read..start).unwrap_or_default(), Tone::Plain);
        wording.push(text.get(start.max(read)..end).unwrap_or_default(), Tone::Allergen);
        read = end.max(read);
    }
    wording.push(&text[read..], Tone::Plain);
    wording
}

/// The share of an ingredient when it was used: Regulation (EU) 1169/2011 art. 22 and Annex VIII point 3. To the
/// nearest whole percent, below 5 % to the nearest half (the Commission's notice 2017/C 393/05 on it, from memory).
fn percent(amount: i128, total: i128) -> String {
    let total = total.max(1);
    let rounded = |steps: i128| (amount * steps * 2 + total) / (total * 2);
    let halves = rounded(200);
    if amount * 100 >= total * 5 {
        format!("{} %", rounded(100))
    } else if halves == 0 {
        "less than 0.5 %".to_owned()
    } else if halves % 2 == 1 {
        format!("{}.5 %", halves / 2)
    } else {
        format!("{} %", halves / 2)
    }
}
