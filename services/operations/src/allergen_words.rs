//! The words of allergens as requests and answers hold them.

use serde::{Deserialize, Serialize};
use tubtrail_domain::allergens::{self, Declared, Group, Named, Substance};
use tubtrail_domain::say;
use tubtrail_domain::saying::Quoted;
use utoipa::ToSchema;

use crate::error::{OperationError, Result};
use crate::problems;

/// What is recorded of an allergen in something, the worst first. There is no answer that says no.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum Answer {
    /// It is in there.
    Contains,
    /// It may be in there.
    MayContain,
    /// Nobody has said.
    Unknown,
    /// Every statement was by a list that asks for it, and none names it. That clears nothing.
    NotRecorded,
}

impl From<allergens::Answer> for Answer {
    fn from(answer: allergens::Answer) -> Self {
        match answer {
            allergens::Answer::Contains => Self::Contains,
            allergens::Answer::MayContain => Self::MayContain,
            allergens::Answer::Unknown => Self::Unknown,
            allergens::Answer::NotRecorded => Self::NotRecorded,
        }
    }
}

impl Answer {
    /// As the graph speaks of it.
    pub(crate) const fn in_graph(self) -> tubtrail_lineage::Answer {
        match self {
            Self::Contains => tubtrail_lineage::Answer::Contains,
            Self::MayContain => tubtrail_lineage::Answer::MayContain,
            Self::Unknown => tubtrail_lineage::Answer::Unknown,
            Self::NotRecorded => tubtrail_lineage::Answer::NotRecorded,
        }
    }
}

/// Whose list of allergens.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum AllergenList {
    /// Regulation (EU) No 1169/2011, Annex II.
    #[default]
    Eu,
    /// FD&C Act, section 201(qq), with FDA's tree nuts of 2025.
    Us,
    /// Canada's Food and Drug Regulations, B.01.010.1.
    Ca,
}

impl From<AllergenList> for allergens::AllergenList {
    fn from(list: AllergenList) -> Self {
        match list {
            AllergenList::Eu => Self::Eu,
            AllergenList::Us => Self::Us,
            AllergenList::Ca => Self::Ca,
        }
    }
}

impl From<allergens::AllergenList> for AllergenList {
    fn from(list: allergens::AllergenList) -> Self {
        match list {
            allergens::AllergenList::Eu => Self::Eu,
            allergens::AllergenList::Us => Self::Us,
            allergens::AllergenList::Ca => Self::Ca,
        }
    }
}

/// What something says in all, by word; what is in none of the three was asked for and not named.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub struct Says {
    /// In there.
    pub contains: Vec<String>,
    /// Possibly in there.
    pub may_contain: Vec<String>,
    /// Nobody has said.
    pub unknown: Vec<String>,
}

impl From<Declared> for Says {
    fn from(declared: Declared) -> Self {
        let may_contain = declared.may_contain & !declared.contains;
        let unknown = declared.unknown & !declared.contains & !may_contain;
        Self { contains: words_of(declared.contains), may_contain: words_of(may_contain), unknown: words_of(unknown) }
    }
}

/// The words of the substances in a mask.
pub(crate) fn words_of(mask: u64) -> Vec<String> {
    Substance::of_mask(mask).map(|substance| substance.word().to_owned()).collect()
}

/// What a word of a request names; an allergen or a group of them.
pub(crate) fn named(field: &str, word: &str) -> Result<Named> {
    Named::from_word(word).ok_or_else(|| unknown(field, word, true))
}

/// The allergen a word of a request names, and no group.
pub(crate) fn substance(field: &str, word: &str) -> Result<Substance> {
    Substance::from_word(word).ok_or_else(|| unknown(field, word, false))
}

/// What the words of a list in a request name.
pub(crate) fn all_named(field: &str, words: &[String]) -> Result<Vec<Named>> {
    words.iter().enumerate().map(|(position, word)| named(&format!("{field}[{position}]"), word)).collect()
}

fn unknown(field: &str, word: &str, with_groups: bool) -> OperationError {
    let groups = Group::ALL.into_iter().filter(|_| with_groups).map(Group::word);
    let known: Vec<_> = groups.chain(Substance::ALL.into_iter().map(Substance::word)).collect();
    let beginning: String = word.chars().take(40).collect();
    let detail = say!(
        "{beginning} names no allergen; these are known: {known}",
        beginning = Quoted(&beginning),
        known = known.join(", ")
    );
    OperationError::new(&problems::UNKNOWN_ALLERGEN, detail).at(field)
}
