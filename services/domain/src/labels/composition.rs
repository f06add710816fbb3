//! From what went in to the words of the label.

use super::entries::entries;
use super::list_wording::list_wording;
use super::names::label_name;
use super::unknown::{Despite, LabelField, LabelRefusal, Unknown, settle};
use super::went_in::{Inside, ListOnLabel, WentIn};
use super::wording::{Tone, Wording};
use crate::allergens::{AllergenList, Group, Substance};

/// What is asked for.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct LabelAsked {
    /// Whose law the label follows.
    pub law: AllergenList,
    /// Whether it has a list of ingredients.
    pub list: ListOnLabel,
    /// What may have got in on the way besides what is declared of the ingredients, as a mask.
    pub traces: u64,
    /// What nobody knows to have got in on the way or not, as a mask.
    pub unknown_traces: u64,
    /// The lines of the label that have nothing to stand in them.
    pub missing: Vec<LabelField>,
    /// The order to print it although something is unknown.
    pub despite: Option<Despite>,
}

/// What the label says about what is in the food.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Composition {
    /// The list of ingredients, if it is printed.
    pub ingredients: Option<Wording>,
    /// “Contains”, where the law has it: every source, also those that the list names.
    pub contains: Option<Wording>,
    /// “May contain”, if anything may.
    pub may_contain: Option<Wording>,
    /// That something is unknown, and why it is printed all the same. It belongs on the label.
    pub notice: Option<String>,
}

impl Composition {
    /// The statements in the order in which they follow the list, with nothing between.
    ///
    /// Canada: Food and Drug Regulations B.01.010.3(1)(a.1) and B.01.010.4(1)(a).
    pub fn statements(&self) -> impl Iterator<Item = &Wording> {
        self.contains.iter().chain(&self.may_contain)
    }
}

/// Works out what the label says, or refuses it while something is unknown.
///
/// - Ingredients in descending order by what was weighed, before it was mixed; what weighs the same by name. 21 CFR
///   101.4(a)(1); Canada B.01.008.2(3)(a); Regulation (EU) 1169/2011 art. 18(1). The leave to put the last 2 % in any
///   order is not used. Water is listed however little it is.
/// - The same ingredient through several lots or components is one.
/// - What was made in the house counts with the share of its parts that was used, at what they weighed when they went
///   in.
/// - A compound ingredient has its parts behind it in brackets, or they stand among the others: [`Shown`].
/// - EU: allergens stand out in the list, named as in Annex II (art. 21(1)); “contains” only where there is no list.
/// - US: “Contains” names every source, each nut by its kind (FD&C Act 403(w)(1)).
/// - Canada: sugars together under “Sugars” (B.01.008.3); “Contains” names every source (B.01.010.3(1)(b)).
pub fn compose(went_in: &[WentIn], asked: &LabelAsked) -> Result<Composition, LabelRefusal> {
    let declared = Told::of_all(went_in, asked.law);
    let contains = declared.contains & asked.law.covers();
    let may_contain = (declared.may_contain | asked.traces) & asked.law.covers() & !contains;
    let of_traces = asked.unknown_traces & !(contains | may_contain | declared.unknown_mask);
    let unknown = all_unknown(went_in, contains, declared.unknown, of_traces, asked);
    let notice = settle(unknown, asked.despite.as_ref())?;
    let printed = asked.list == ListOnLabel::Printed && !went_in.is_empty();
    let has_contains = !(printed && asked.law == AllergenList::Eu);
    Ok(Composition {
        ingredients: printed.then(|| list_wording(&entries(went_in), asked.law)),
        contains: if has_contains { statement("Contains:", contains, asked.law) } else { None },
        may_contain: statement("May contain:", may_contain, asked.law),
        notice,
    })
}

fn all_unknown(
    went_in: &[WentIn],
    contains: u64,
    of_items: Vec<Unknown>,
    of_traces: u64,
    asked: &LabelAsked,
) -> Vec<Unknown> {
    let nothing = went_in.is_empty().then_some(Unknown::WhatWentIn);
    let names = titles(of_traces, asked.law);
    let traces = (!names.is_empty()).then_some(Unknown::Traces { names });
    let fields = asked.missing.iter().map(|field| Unknown::Field(*field));
    let mut unknown: Vec<Unknown> = Vec::new();
    for one in nothing.into_iter().chain(of_items).chain(traces).chain(too_vague(contains, asked.law)).chain(fields) {
        if !unknown.contains(&one) {
            unknown.push(one);
        }
    }
    unknown
}

/// The headings of the law that a mask falls under.
fn titles(mask: u64, law: AllergenList) -> Vec<&'static str> {
    law.columns().iter().filter(|column| column.mask & mask & law.covers() != 0).map(|column| column.title).collect()
}

/// What the law wants named more closely than it is recorded. The species of fish and of crustaceans: FD&C Act
/// 403(w)(2); Canada B.01.010.1(6), molluscs too (from memory).
fn too_vague(contains: u64, law: AllergenList) -> impl Iterator<Item = Unknown> {
    Substance::of_mask(contains).filter_map(move |substance| match (law, substance) {
        (_, unspecified) if unspecified.is_unspecified() => Some(Unknown::Kind { substance }),
        (AllergenList::Us | AllergenList::Ca, Substance::Fish | Substance::Crustaceans)
        | (AllergenList::Ca, Substance::Molluscs) => Some(Unknown::Species { substance }),
        _ => None,
    })
}

/// A statement that names all of a mask, in the order of the law; none if there is nothing to name.
fn statement(heading: &str, mask: u64, law: AllergenList) -> Option<Wording> {
    let names = statement_names(mask, law);
    if names.is_empty() {
        return None;
    }
    let mut wording = Wording::under(heading);
    let entry = |name: &String| {
        let mut entry = Wording::default();
        entry.push(name, Tone::Allergen);
        entry
    };
    wording.append_all(names.iter().map(entry), ", ");
    Some(wording)
}

fn statement_names(mask: u64, law: AllergenList) -> Vec<String> {
    let mut names: Vec<String> = Vec::new();
    let mut left = mask;
    // All nuts at once, as in “may contain traces of nuts”. Canada wants each by its name: B.01.010.4(2).
    let nuts = Group::TreeNuts.members() & law.covers();
    let has_all_nuts = law != AllergenList::Ca && mask & nuts == nuts;
    for column in law.columns() {
        let Some(first) = Substance::of_mask(column.mask & left).next() else { continue };
        let name = if has_all_nuts && column.mask & nuts != 0 {
            left &= !nuts;
            "nuts of every kind"
        } else {
            label_name(law, first)
        };
        let name = if law == AllergenList::Eu { name.to_owned() } else { capitalised(name) };
        if !names.contains(&name) {
            names.push(name);
        }
    }
    names
}

/// With its first letter large. Canada: B.01.010.3(1)(c), B.01.008.2(3)(b).
pub(super) fn capitalised(name: &str) -> String {
    let mut characters = name.chars();
    characters.next().map_or_else(String::new, |first| first.to_uppercase().chain(characters).collect())
}

/// What is told of everything that went in, to the last part.
struct Told {
    contains: u64,
    may_contain: u64,
    unknown_mask: u64,
    unknown: Vec<Unknown>,
}

impl Told {
    fn of_all(went_in: &[WentIn], law: AllergenList) -> Self {
        let mut told = Self { contains: 0, may_contain: 0, unknown_mask: 0, unknown: Vec::new() };
        for one in went_in {
            told.add(one, law);
        }
        told
    }

    fn add(&mut self, one: &WentIn, law: AllergenList) {
        self.contains |= one.declared.contains;
        self.may_contain |= one.declared.may_contain;
        let item = || one.item.clone();
        if one.label_name.is_none() && !one.is_dispersed() {
            self.unknown.push(Unknown::LabelName { item: item() });
        }
        let not_stated = one.declared.unknown & law.covers();
        if not_stated != 0 {
            self.unknown_mask |= not_stated;
            self.unknown.push(Unknown::Allergens { item: item(), names: titles(not_stated, law) });
        }
        match &one.inside {
            Inside::Made { parts, .. } if !parts.is_empty() => parts.iter().for_each(|part| self.add(part, law)),
            Inside::Made { .. } | Inside::NotKnown => self.unknown.push(Unknown::Inside { item: item() }),
            Inside::Listed(list) if list.is_empty() => self.unknown.push(Unknown::Inside { item: item() }),
            Inside::Listed(_) | Inside::Single => (),
        }
    }
}
