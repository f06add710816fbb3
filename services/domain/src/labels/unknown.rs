//! What is not known about the food on a label, and the order to print it all the same.

use crate::allergens::Substance;
use crate::saying::Saying;
use crate::text::{self, TextError};
use crate::{say, speaks};

/// A line of the label that has nothing to stand in it.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum LabelField {
    /// What the food is called.
    Name,
    /// How much is in it.
    NetQuantity,
    /// The date it keeps until.
    Date,
    /// The number of the lot.
    Lot,
    /// How to keep it.
    Storage,
    /// Who made it, and where.
    Maker,
}

impl LabelField {
    /// What it is called in a sentence: “the net quantity”.
    pub const fn name(self) -> &'static str {
        match self {
            Self::Name => "the name of the food",
            Self::NetQuantity => "the net quantity",
            Self::Date => "the date it keeps until",
            Self::Lot => "the lot number",
            Self::Storage => "how to keep it",
            Self::Maker => "the maker",
        }
    }
}

/// Something that is not known.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Unknown {
    /// Nothing is recorded as having gone in.
    WhatWentIn,
    /// What an item is called on a label.
    LabelName {
        /// The item, by the name of the house.
        item: String,
    },
    /// What a compound ingredient is made of.
    Inside {
        /// The item.
        item: String,
    },
    /// Whether allergens of the law are in an item.
    Allergens {
        /// The item.
        item: String,
        /// Which, as the headings of the law.
        names: Vec<&'static str>,
    },
    /// Whether allergens of the law got in on the way, from what ran on the same equipment before.
    Traces {
        /// Which, as the headings of the law.
        names: Vec<&'static str>,
    },
    /// Which nut or cereal is in it: the law wants the kind.
    Kind {
        /// The unspecified member of the group.
        substance: Substance,
    },
    /// Which fish, crustacean or mollusc is in it: the law wants the species, and none is recorded here.
    Species {
        /// The class.
        substance: Substance,
    },
    /// A line of the label.
    Field(LabelField),
}

impl Unknown {
    /// For the label itself: “the allergens of biscuit”.
    fn in_short(&self) -> String {
        match self {
            Self::WhatWentIn => "what went in".to_owned(),
            Self::LabelName { item } => format!("the label name of {item}"),
            Self::Inside { item } => format!("the composition of {item}"),
            Self::Allergens { item, .. } => format!("all allergens of {item}"),
            Self::Traces { .. } => "what may have got in from the equipment".to_owned(),
            Self::Kind { substance } => kind(*substance).to_owned(),
            Self::Species { substance } => format!("the species of {substance}"),
            Self::Field(field) => field.name().to_owned(),
        }
    }
}

impl Unknown {
    /// In words.
    pub fn saying(&self) -> Saying {
        match self {
            Self::WhatWentIn => say!("nothing is recorded as having gone in"),
            Self::LabelName { item } => say!("“{item}” has no name for labels", item),
            Self::Inside { item } => say!("nobody has entered what “{item}” is made of", item),
            Self::Allergens { item, names } => {
                say!("nobody has stated whether “{item}” contains {names}", item, names = names.join(", "))
            }
            Self::Traces { names } => say!(
                "nobody has stated whether what ran on the same equipment before contains {names}",
                names = names.join(", ")
            ),
            Self::Kind { substance: Substance::UnspecifiedTreeNut } => say!("which nut it is is not recorded"),
            Self::Kind { .. } => say!("which cereal with gluten it is is not recorded"),
            Self::Species { substance } => say!("the species of {substance} is not recorded", substance),
            Self::Field(LabelField::Name) => say!("the name of the food is missing"),
            Self::Field(LabelField::NetQuantity) => say!("the net quantity is missing"),
            Self::Field(LabelField::Date) => say!("the date it keeps until is missing"),
            Self::Field(LabelField::Lot) => say!("the lot number is missing"),
            Self::Field(LabelField::Storage) => say!("how to keep it is missing"),
            Self::Field(LabelField::Maker) => say!("the maker is missing"),
        }
    }
}

speaks!(Unknown);

fn kind(unspecified: Substance) -> &'static str {
    if unspecified == Substance::UnspecifiedTreeNut { "which nut it is" } else { "which cereal with gluten it is" }
}

/// A label that is not printed, because something in it is unknown.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct LabelRefusal {
    /// Each thing that is unknown, once.
    pub unknown: Vec<Unknown>,
}

impl LabelRefusal {
    /// In words.
    pub fn saying(&self) -> Saying {
        let each = self.unknown.iter().map(Unknown::saying);
        let unknown = Saying::joined(each, |one, other| say!("{one}; {other}", one, other));
        say!(
            "the label is refused: {unknown}: enter what is missing, or give a reason to print it all the same",
            unknown = unknown.unwrap_or(Saying::plain(""))
        )
    }
}

speaks!(LabelRefusal);

/// The order to print a label although something in it is unknown. The label then says so.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Despite {
    reason: String,
}

impl Despite {
    /// For a reason of at most [`text::NAME`] characters: it stands on the label.
    pub fn new(reason: &str) -> Result<Self, TextError> {
        text::line(reason, text::NAME).map(|reason| Self { reason: reason.to_owned() })
    }
}

/// What the label says of it, if anything is unknown and it is to be printed despite that.
pub(super) fn settle(unknown: Vec<Unknown>, despite: Option<&Despite>) -> Result<Option<String>, LabelRefusal> {
    if unknown.is_empty() {
        return Ok(None);
    }
    let Some(despite) = despite else {
        return Err(LabelRefusal { unknown });
    };
    let in_short: Vec<_> = unknown.iter().map(Unknown::in_short).collect();
    Ok(Some(format!("Not everything in it is known: {}. Printed because: {}", in_short.join("; "), despite.reason)))
}
