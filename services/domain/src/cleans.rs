//! What a clean of equipment takes away, as the house established it.

use std::collections::BTreeSet;

use crate::allergens::{EVERY_SUBSTANCE, Named};
use crate::saying::Saying;
use crate::{say, speaks};

/// The word for a clean that clears everything.
const EVERYTHING: &str = "everything";

/// What a clean clears: nothing, as a rinse; the substances somebody showed it to clear; or everything.
#[derive(Debug, Clone, PartialEq, Eq, Hash)]
pub enum Clears {
    /// Every substance.
    Everything,
    /// These and no other.
    Only(BTreeSet<Named>),
}

/// Why what a clean clears is not taken, in words.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum ClearsError {
    /// No substance and no group has this word.
    UnknownWord {
        /// The beginning of it.
        given: String,
    },
    /// The same word twice.
    Repeated {
        /// Which.
        named: Named,
    },
    /// The unspecified member of a group: what is of no known kind cannot be shown to be gone.
    Unspecified {
        /// Which.
        named: Named,
    },
}

impl ClearsError {
    /// In words.
    pub fn saying(&self) -> Saying {
        match self {
            Self::UnknownWord { given } => say!("“{given}” is neither a substance nor a group", given),
            Self::Repeated { named } => say!("“{named}” is named twice", named),
            Self::Unspecified { named } => {
                say!("a clean clears kinds or whole groups: name the group instead of “{named}”", named)
            }
        }
    }
}

speaks!(ClearsError);

impl Clears {
    /// What a rinse clears.
    pub const fn nothing() -> Self {
        Self::Only(BTreeSet::new())
    }

    /// These and no other, each named once.
    pub fn only(names: impl IntoIterator<Item = Named>) -> Result<Self, ClearsError> {
        let mut set = BTreeSet::new();
        for named in names {
            if matches!(named, Named::Substance(substance) if substance.is_unspecified()) {
                return Err(ClearsError::Unspecified { named });
            }
            if !set.insert(named) {
                return Err(ClearsError::Repeated { named });
            }
        }
        Ok(Self::Only(set))
    }

    /// The mask of what it clears; a group's unspecified member goes with the group.
    pub fn mask(&self) -> u64 {
        match self {
            Self::Everything => EVERY_SUBSTANCE,
            Self::Only(names) => names.iter().fold(0, |mask, named| mask | named.members()),
        }
    }

    /// Whether it clears nothing at all.
    pub fn is_nothing(&self) -> bool {
        self.mask() == 0
    }

    /// As it is stored: `everything`, nothing at all, or words between commas, `hazelnut,tree_nuts`.
    pub fn words(&self) -> String {
        match self {
            Self::Everything => EVERYTHING.to_owned(),
            Self::Only(names) => names.iter().map(|named| named.word()).collect::<Vec<_>>().join(","),
        }
    }

    /// Reads [`Self::words`] back. The order of the words says nothing.
    pub fn from_words(words: &str) -> Result<Self, ClearsError> {
        match words {
            EVERYTHING => Ok(Self::Everything),
            "" => Ok(Self::nothing()),
            _ => Self::only(words.split(',').map(named).collect::<Result<Vec<_>, _>>()?),
        }
    }
}

/// What a word names. The error quotes only the beginning, since the text may be anything.
fn named(word: &str) -> Result<Named, ClearsError> {
    Named::from_word(word).ok_or_else(|| ClearsError::UnknownWord { given: word.chars().take(40).collect() })
}
