//! The lists of three laws: what each makes a maker declare, in its own words and order.
//!
//! Law changes and differs by place. A list here is what the named source says, no more; the authority on the spot and
//! the responsible person have the last word.

use super::substances::{Substance, mask};
use crate::decimal::Decimal;
use crate::say;
use crate::saying::Saying;

/// Whose list a statement was made by.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum AllergenList {
    /// The fourteen of the European Union.
    Eu,
    /// The nine major food allergens of the United States.
    Us,
    /// Canada's food allergen and gluten sources, and sulphites.
    Ca,
}

/// A column of a sheet: a name that the law uses, and what falls under it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Column {
    /// The name, as a heading.
    pub title: &'static str,
    /// The substances under it. The unspecified member of a group has a column to itself: where it is contained, the
    /// column of each member says that it may be.
    pub mask: u64,
}

impl AllergenList {
    /// Every list.
    pub const ALL: [Self; 3] = [Self::Eu, Self::Us, Self::Ca];

    /// The word for it in the database and in every answer.
    pub const fn word(self) -> &'static str {
        match self {
            Self::Eu => "eu",
            Self::Us => "us",
            Self::Ca => "ca",
        }
    }

    /// Whose it is, for a sentence: “the list of the European Union”.
    pub fn saying(self) -> Saying {
        match self {
            Self::Eu => say!("the European Union"),
            Self::Us => say!("the United States"),
            Self::Ca => say!("Canada"),
        }
    }

    /// The list a word stands for.
    pub fn from_word(word: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|list| list.word() == word)
    }

    /// The law it is from, to print beside it.
    pub const fn law(self) -> &'static str {
        match self {
            Self::Eu => "Regulation (EU) No 1169/2011, Annex II",
            Self::Us => {
                "FD&C Act, section 201(qq); FDA questions and answers on food allergens, Edition 5 (2025), Table 1"
            }
            Self::Ca => "Food and Drug Regulations, B.01.010.1(1)",
        }
    }

    /// What its sheet has columns for, in the order of the law.
    pub const fn columns(self) -> &'static [Column] {
        match self {
            Self::Eu => &EU,
            Self::Us => &US,
            Self::Ca => &CA,
        }
    }

    /// What a statement by this list would have had to name, as a mask. What it leaves unnamed of these is not there;
    /// of everything else it says nothing.
    pub fn covers(self) -> u64 {
        self.columns().iter().fold(0, |mask, column| mask | column.mask)
    }

    /// Whether so much sulphite has to be declared, in mg/kg of total sulphur dioxide; `None` where the list does not
    /// ask.
    ///
    /// “More than 10 mg/kg or 10 mg/litre” in Regulation (EU) 1169/2011 Annex II, “10 p.p.m. or more” in Canada's Food
    /// and Drug Regulations; FD&C Act 201(qq) does not name them. Both are figures for the food as it is eaten.
    pub(super) fn declares_sulphites(self, ppm: Decimal) -> Option<bool> {
        let boundary = Decimal::from_integer(10);
        match self {
            Self::Eu => Some(ppm > boundary),
            Self::Ca => Some(ppm >= boundary),
            Self::Us => None,
        }
    }
}

const fn column(title: &'static str, substances: &[Substance]) -> Column {
    Column { title, mask: mask(substances) }
}

/// Regulation (EU) 1169/2011 Annex II. Its walnut is *Juglans regia* only. Triticale by inference: the first row names
/// “their hybridised strains”.
const EU: [Column; 27] = [
    column("Wheat", &[Substance::Wheat]),
    column("Rye", &[Substance::Rye]),
    column("Barley", &[Substance::Barley]),
    column("Oats", &[Substance::Oats]),
    column("Triticale", &[Substance::Triticale]),
    column("Cereals containing gluten, kind not stated", &[Substance::UnspecifiedGlutenCereal]),
    column("Crustaceans", &[Substance::Crustaceans]),
    column("Eggs", &[Substance::Egg]),
    column("Fish", &[Substance::Fish]),
    column("Peanuts", &[Substance::Peanut]),
    column("Soybeans", &[Substance::Soy]),
    column("Milk", &[Substance::Milk]),
    column("Almonds", &[Substance::Almond]),
    column("Hazelnuts", &[Substance::Hazelnut]),
    column("Walnuts", &[Substance::Walnut]),
    column("Cashews", &[Substance::Cashew]),
    column("Pecan nuts", &[Substance::Pecan]),
    column("Brazil nuts", &[Substance::BrazilNut]),
    column("Pistachio nuts", &[Substance::Pistachio]),
    column("Macadamia or Queensland nuts", &[Substance::Macadamia]),
    column("Nuts, kind not stated", &[Substance::UnspecifiedTreeNut]),
    column("Celery", &[Substance::Celery]),
    column("Mustard", &[Substance::Mustard]),
    column("Sesame seeds", &[Substance::Sesame]),
    column("Sulphur dioxide and sulphites", &[Substance::Sulphites]),
    column("Lupin", &[Substance::Lupin]),
    column("Molluscs", &[Substance::Molluscs]),
];

/// FD&C Act 201(qq), sesame since 2023-01-01; the nuts are the twelve of FDA's questions and answers, Edition 5
/// (January 2025), Table 1. Wheat is every species of *Triticum* (FDA's letter on
/// notification FALN 004, 2006), and triticale counts as one (from memory).
const US: [Column; 21] = [
    column("Milk", &[Substance::Milk]),
    column("Egg", &[Substance::Egg]),
    column("Fish", &[Substance::Fish]),
    column("Crustacean shellfish", &[Substance::Crustaceans]),
    column("Almond", &[Substance::Almond]),
    column("Black walnut", &[Substance::BlackWalnut]),
    column("Brazil nut", &[Substance::BrazilNut]),
    column("California walnut", &[Substance::CaliforniaWalnut]),
    column("Cashew", &[Substance::Cashew]),
    column("Filbert/hazelnut", &[Substance::Hazelnut]),
    column("Heartnut/Japanese walnut", &[Substance::Heartnut]),
    column("Macadamia nut/bush nut", &[Substance::Macadamia]),
    column("Pecan", &[Substance::Pecan]),
    column("Pine nut/piñon nut", &[Substance::PineNut]),
    column("Pistachio", &[Substance::Pistachio]),
    column("Walnut (English, Persian)", &[Substance::Walnut]),
    column("Tree nuts, kind not stated", &[Substance::UnspecifiedTreeNut]),
    column("Wheat", &[Substance::Wheat, Substance::Triticale]),
    column("Peanuts", &[Substance::Peanut]),
    column("Soybeans", &[Substance::Soy]),
    column("Sesame", &[Substance::Sesame]),
];

/// Food and Drug Regulations B.01.010.1(1), then its gluten sources, then sulphites. The law says “walnuts” and names
/// no species: that all four walnuts fall under it is inference.
const CA: [Column; 26] = [
    column("Almonds", &[Substance::Almond]),
    column("Brazil nuts", &[Substance::BrazilNut]),
    column("Cashews", &[Substance::Cashew]),
    column("Hazelnuts", &[Substance::Hazelnut]),
    column("Macadamia nuts", &[Substance::Macadamia]),
    column("Pecans", &[Substance::Pecan]),
    column("Pine nuts", &[Substance::PineNut]),
    column("Pistachios", &[Substance::Pistachio]),
    column("Walnuts", &[Substance::Walnut, Substance::BlackWalnut, Substance::CaliforniaWalnut, Substance::Heartnut]),
    column("Tree nuts, kind not stated", &[Substance::UnspecifiedTreeNut]),
    column("Peanuts", &[Substance::Peanut]),
    column("Sesame seeds", &[Substance::Sesame]),
    column("Wheat", &[Substance::Wheat]),
    column("Triticale", &[Substance::Triticale]),
    column("Eggs", &[Substance::Egg]),
    column("Milk", &[Substance::Milk]),
    column("Soybeans", &[Substance::Soy]),
    column("Crustaceans", &[Substance::Crustaceans]),
    column("Molluscs", &[Substance::Molluscs]),
    column("Fish", &[Substance::Fish]),
    column("Mustard seeds", &[Substance::Mustard]),
    column("Barley", &[Substance::Barley]),
    column("Oats", &[Substance::Oats]),
    column("Rye", &[Substance::Rye]),
    column("Gluten, kind not stated", &[Substance::UnspecifiedGlutenCereal]),
    column("Sulphites", &[Substance::Sulphites]),
];
