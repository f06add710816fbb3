//! What went into the food on the label, as a tree of what was weighed.

use crate::allergens::Declared;
use crate::quantity::Mass;

/// One use: so much of something went in.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct WentIn {
    /// What the house calls it: how a refusal names it.
    pub item: String,
    /// What it is called on a label, if that is settled.
    pub label_name: Option<String>,
    /// How much of it went in, when it was used.
    pub mass: Mass,
    /// What is declared of it: by its supplier, or for something made in the house what the maker's own statement adds
    /// to its parts. Water from the tap, which nobody states anything about, comes with nothing unknown.
    pub declared: Declared,
    /// Whether Canada counts it among the sugars: sugar, honey, glucose syrup and the like.
    pub sugars_based: bool,
    /// Whether its share is printed beside it, in percent: where it is in the name of the food or in a picture.
    pub percent_shown: bool,
    /// What it is made of.
    pub inside: Inside,
}

impl WentIn {
    /// Whether its parts stand in the list in its stead. Where the maker's own statement has it that it contains what
    /// no part does, it keeps its name, which is the only place to say so.
    pub(super) fn is_dispersed(&self) -> bool {
        match &self.inside {
            Inside::Made { parts, shown: Shown::Dispersed, .. } if !parts.is_empty() => {
                let told = parts.iter().fold(0, |told, part| told | part.contains());
                self.declared.contains & !told == 0
            }
            _ => false,
        }
    }

    /// All that is declared to be in it, to its last part.
    fn contains(&self) -> u64 {
        match &self.inside {
            Inside::Made { parts, .. } => {
                parts.iter().fold(self.declared.contains, |told, part| told | part.contains())
            }
            Inside::Single | Inside::Listed(_) | Inside::NotKnown => self.declared.contains,
        }
    }
}

/// What an ingredient is made of.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Inside {
    /// It is a single ingredient.
    Single,
    /// A bought compound ingredient: the list of its supplier's label, in its order.
    Listed(Vec<String>),
    /// A compound ingredient of which nobody has entered the list.
    NotKnown,
    /// Made in the house, from what went into it.
    Made {
        /// What went into the whole of it.
        parts: Vec<WentIn>,
        /// How much came of that.
        weight: Mass,
        /// How it stands in the list.
        shown: Shown,
    },
}

/// How a compound ingredient that was made in the house stands in the list.
///
/// All three laws leave the choice: 21 CFR 101.4(b)(2) says so in its (i) and (ii) (from memory); Regulation (EU)
/// 1169/2011 Annex VII Part E point 1 says that it “may” stand under its own name (from memory); Canada likewise in
/// B.01.008.2 and B.01.009 (from memory).
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Shown {
    /// Its parts stand among the other ingredients, and it is not named: for a base mix whose name tells nobody
    /// anything.
    Dispersed,
    /// Under its own name, its parts in brackets behind it: for what people know by its name, as a ripple or a biscuit.
    InBrackets,
}

/// Whether there is a list of ingredients.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum ListOnLabel {
    /// There is one.
    Printed,
    /// There is none: what is in it is said in a statement alone.
    LeftOut,
}
