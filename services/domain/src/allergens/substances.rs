//! The substances, and the groups that laws and labels name them by.

use std::fmt;

use crate::saying::{Fills, Gap};

/// Something a person may have to keep away from.
///
/// It need not be on any list: coconut is asked for, and an answer about it is unknown until somebody states it.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum Substance {
    /// Wheat of any kind, spelt and khorasan among them.
    Wheat,
    /// Rye.
    Rye,
    /// Barley, malt among it.
    Barley,
    /// Oats.
    Oats,
    /// Triticale, the cross of wheat and rye.
    Triticale,
    /// A cereal with gluten of which nobody said which.
    UnspecifiedGlutenCereal,
    /// Crustaceans, as shrimp and crab.
    Crustaceans,
    /// Molluscs, as mussels and squid.
    Molluscs,
    /// Fish, its gelatine among it.
    Fish,
    /// Egg.
    Egg,
    /// Milk.
    Milk,
    /// Peanut, which is no tree nut.
    Peanut,
    /// Soybean, its lecithin among it.
    Soy,
    /// Almond.
    Almond,
    /// Hazelnut, also called filbert.
    Hazelnut,
    /// The common (English, Persian) walnut, *Juglans regia*.
    Walnut,
    /// Black walnut, *Juglans nigra*.
    BlackWalnut,
    /// California walnut, *Juglans californica*.
    CaliforniaWalnut,
    /// Heartnut, also called Japanese walnut.
    Heartnut,
    /// Cashew.
    Cashew,
    /// Pecan.
    Pecan,
    /// Brazil nut.
    BrazilNut,
    /// Pistachio.
    Pistachio,
    /// Macadamia, also called Queensland nut.
    Macadamia,
    /// Pine nut, also called piñon.
    PineNut,
    /// A tree nut of which nobody said which.
    UnspecifiedTreeNut,
    /// Celery, celeriac among it.
    Celery,
    /// Mustard.
    Mustard,
    /// Sesame.
    Sesame,
    /// Lupin.
    Lupin,
    /// Sulphur dioxide and sulphites.
    Sulphites,
    /// Coconut, on none of the lists.
    Coconut,
    /// Chestnut, on none of the lists.
    Chestnut,
    /// Buckwheat, on none of the lists.
    Buckwheat,
    /// Ethanol. No allergen and on no list, but asked for in the same way.
    Alcohol,
}

/// Every substance at once.
pub const EVERY_SUBSTANCE: u64 = mask(&Substance::ALL);

impl Substance {
    /// Every substance, in the order answers list them.
    pub const ALL: [Self; 35] = [
        Self::Wheat,
        Self::Rye,
        Self::Barley,
        Self::Oats,
        Self::Triticale,
        Self::UnspecifiedGlutenCereal,
        Self::Crustaceans,
        Self::Molluscs,
        Self::Fish,
        Self::Egg,
        Self::Milk,
        Self::Peanut,
        Self::Soy,
        Self::Almond,
        Self::Hazelnut,
        Self::Walnut,
        Self::BlackWalnut,
        Self::CaliforniaWalnut,
        Self::Heartnut,
        Self::Cashew,
        Self::Pecan,
        Self::BrazilNut,
        Self::Pistachio,
        Self::Macadamia,
        Self::PineNut,
        Self::UnspecifiedTreeNut,
        Self::Celery,
        Self::Mustard,
        Self::Sesame,
        Self::Lupin,
        Self::Sulphites,
        Self::Coconut,
        Self::Chestnut,
        Self::Buckwheat,
        Self::Alcohol,
    ];

    /// Its bit in a mask.
    pub const fn bit(self) -> u64 {
        1 << self as u32
    }

    /// The word for it in the database and in every answer.
    pub const fn word(self) -> &'static str {
        self.word_and_name().0
    }

    /// What it is called in a sentence, in small letters: `brazil nut`.
    pub const fn name(self) -> &'static str {
        self.word_and_name().1
    }

    /// The substance a word stands for.
    pub fn from_word(word: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|substance| substance.word() == word)
    }

    /// Whether it stands for a member of a group of which nobody said which.
    pub const fn is_unspecified(self) -> bool {
        matches!(self, Self::UnspecifiedGlutenCereal | Self::UnspecifiedTreeNut)
    }

    /// The substances in a mask, in the order of [`Self::ALL`].
    pub fn of_mask(mask: u64) -> impl Iterator<Item = Self> {
        Self::ALL.into_iter().filter(move |substance| substance.bit() & mask != 0)
    }

    const fn word_and_name(self) -> (&'static str, &'static str) {
        match self {
            Self::Wheat => ("wheat", "wheat"),
            Self::Rye => ("rye", "rye"),
            Self::Barley => ("barley", "barley"),
            Self::Oats => ("oats", "oats"),
            Self::Triticale => ("triticale", "triticale"),
            Self::UnspecifiedGlutenCereal => ("unspecified_gluten_cereal", "cereal with gluten, kind not stated"),
            Self::Crustaceans => ("crustaceans", "crustaceans"),
            Self::Molluscs => ("molluscs", "molluscs"),
            Self::Fish => ("fish", "fish"),
            Self::Egg => ("egg", "egg"),
            Self::Milk => ("milk", "milk"),
            Self::Peanut => ("peanut", "peanut"),
            Self::Soy => ("soy", "soy"),
            Self::Almond => ("almond", "almond"),
            Self::Hazelnut => ("hazelnut", "hazelnut"),
            Self::Walnut => ("walnut", "walnut"),
            Self::BlackWalnut => ("black_walnut", "black walnut"),
            Self::CaliforniaWalnut => ("california_walnut", "california walnut"),
            Self::Heartnut => ("heartnut", "heartnut"),
            Self::Cashew => ("cashew", "cashew"),
            Self::Pecan => ("pecan", "pecan"),
            Self::BrazilNut => ("brazil_nut", "brazil nut"),
            Self::Pistachio => ("pistachio", "pistachio"),
            Self::Macadamia => ("macadamia", "macadamia"),
            Self::PineNut => ("pine_nut", "pine nut"),
            Self::UnspecifiedTreeNut => ("unspecified_tree_nut", "tree nut, kind not stated"),
            Self::Celery => ("celery", "celery"),
            Self::Mustard => ("mustard", "mustard"),
            Self::Sesame => ("sesame", "sesame"),
            Self::Lupin => ("lupin", "lupin"),
            Self::Sulphites => ("sulphites", "sulphites"),
            Self::Coconut => ("coconut", "coconut"),
            Self::Chestnut => ("chestnut", "chestnut"),
            Self::Buckwheat => ("buckwheat", "buckwheat"),
            Self::Alcohol => ("alcohol", "alcohol"),
        }
    }
}

impl Fills for Substance {
    fn fill(&self) -> Gap {
        Gap::Named { name: self.word(), english: self.name() }
    }
}

impl fmt::Display for Substance {
    fn fmt(&self, formatter: &mut fmt::Formatter<'_>) -> fmt::Result {
        formatter.write_str(self.name())
    }
}

/// The mask of several substances.
pub(super) const fn mask(substances: &[Substance]) -> u64 {
    let (mut mask, mut next) = (0, 0);
    while next < substances.len() {
        mask |= substances[next].bit();
        next += 1;
    }
    mask
}

/// Several substances under the one name that a law or a label gives them.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum Group {
    /// Every nut that one of the lists calls a nut. Not peanut, coconut or chestnut.
    TreeNuts,
    /// The cereals with gluten of Regulation (EU) 1169/2011 Annex II and of Canada's B.01.010.1.
    GlutenCereals,
    /// The four walnuts. Canada's B.01.010.1(1)(a) says “walnuts” and names no species.
    Walnuts,
}

impl Group {
    /// Every group.
    pub const ALL: [Self; 3] = [Self::TreeNuts, Self::GlutenCereals, Self::Walnuts];

    /// The word for it in the database and in every answer. No substance has the same.
    pub const fn word(self) -> &'static str {
        match self {
            Self::TreeNuts => "tree_nuts",
            Self::GlutenCereals => "gluten_cereals",
            Self::Walnuts => "walnuts",
        }
    }

    /// What it is called in a sentence, in small letters: `tree nuts`.
    pub const fn name(self) -> &'static str {
        match self {
            Self::TreeNuts => "tree nuts",
            Self::GlutenCereals => "cereals with gluten",
            Self::Walnuts => "walnuts",
        }
    }

    /// The group a word stands for.
    pub fn from_word(word: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|group| group.word() == word)
    }

    /// The mask of its members, the unspecified one among them.
    pub const fn members(self) -> u64 {
        match self {
            Self::TreeNuts => {
                Self::Walnuts.members()
                    | mask(&[
                        Substance::Almond,
                        Substance::Hazelnut,
                        Substance::Cashew,
                        Substance::Pecan,
                        Substance::BrazilNut,
                        Substance::Pistachio,
                        Substance::Macadamia,
                        Substance::PineNut,
                        Substance::UnspecifiedTreeNut,
                    ])
            }
            Self::GlutenCereals => mask(&[
                Substance::Wheat,
                Substance::Rye,
                Substance::Barley,
                Substance::Oats,
                Substance::Triticale,
                Substance::UnspecifiedGlutenCereal,
            ]),
            Self::Walnuts => {
                mask(&[Substance::Walnut, Substance::BlackWalnut, Substance::CaliforniaWalnut, Substance::Heartnut])
            }
        }
    }

    /// The substance that stands for a member of which nobody said which, where there is one.
    pub const fn unspecified(self) -> Option<Substance> {
        match self {
            Self::TreeNuts => Some(Substance::UnspecifiedTreeNut),
            Self::GlutenCereals => Some(Substance::UnspecifiedGlutenCereal),
            Self::Walnuts => None,
        }
    }
}

impl Fills for Group {
    fn fill(&self) -> Gap {
        Gap::Named { name: self.word(), english: self.name() }
    }
}

impl fmt::Display for Group {
    fn fmt(&self, formatter: &mut fmt::Formatter<'_>) -> fmt::Result {
        formatter.write_str(self.name())
    }
}

/// What a statement, a clean or a question names: one substance, or a group.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum Named {
    /// One substance.
    Substance(Substance),
    /// A group.
    Group(Group),
}

impl Named {
    /// The word for it in the database and in every answer.
    pub const fn word(self) -> &'static str {
        match self {
            Self::Substance(substance) => substance.word(),
            Self::Group(group) => group.word(),
        }
    }

    /// What it is called in a sentence, in small letters.
    pub const fn name(self) -> &'static str {
        match self {
            Self::Substance(substance) => substance.name(),
            Self::Group(group) => group.name(),
        }
    }

    /// What a word names.
    pub fn from_word(word: &str) -> Option<Self> {
        let substance = Substance::from_word(word).map(Self::Substance);
        substance.or_else(|| Group::from_word(word).map(Self::Group))
    }

    /// The mask of what it names, a group's unspecified member among it.
    pub const fn members(self) -> u64 {
        match self {
            Self::Substance(substance) => substance.bit(),
            Self::Group(group) => group.members(),
        }
    }
}

impl From<Substance> for Named {
    fn from(substance: Substance) -> Self {
        Self::Substance(substance)
    }
}

impl From<Group> for Named {
    fn from(group: Group) -> Self {
        Self::Group(group)
    }
}

impl Fills for Named {
    fn fill(&self) -> Gap {
        Gap::Named { name: self.word(), english: self.name() }
    }
}

impl fmt::Display for Named {
    fn fmt(&self, formatter: &mut fmt::Formatter<'_>) -> fmt::Result {
        formatter.write_str(self.name())
    }
}
