//! Where a quantity can be: a site and a state, or one of the outside accounts of that site.

use std::fmt;

/// The state half of a place.
///
/// The first three lie inside the house and can never hold less than nothing. The sinks (`Served`, `Consigned`,
/// `Discarded`) only take. `Supplier`, `Production` and `CountDifference` give as well as take, so their balance may be
/// negative: what a supplier gave, what production made, what a count found.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum State {
    /// On the shelf or in the cold room, whole.
    Available,
    /// A tub that was opened and stands in the case.
    Open,
    /// Sent from the site and not yet received; it counts as the sender's.
    InTransit,
    /// Came from, or went back to, the supplier.
    Supplier,
    /// Went into, or came out of, a batch.
    Production,
    /// Eaten.
    Served,
    /// Handed to a customer as a whole.
    Consigned,
    /// Thrown away.
    Discarded,
    /// Missing from, or found on, the shelf.
    CountDifference,
}

impl State {
    /// Every state, in the order answers list them.
    pub const ALL: [Self; 9] = [
        Self::Available,
        Self::Open,
        Self::InTransit,
        Self::Supplier,
        Self::Production,
        Self::Served,
        Self::Consigned,
        Self::Discarded,
        Self::CountDifference,
    ];

    /// The word for it in the database and in every answer.
    pub const fn word(self) -> &'static str {
        match self {
            Self::Available => "available",
            Self::Open => "open",
            Self::InTransit => "in_transit",
            Self::Supplier => "supplier",
            Self::Production => "production",
            Self::Served => "served",
            Self::Consigned => "consigned",
            Self::Discarded => "discarded",
            Self::CountDifference => "count_difference",
        }
    }

    /// The state a word stands for.
    pub fn from_word(word: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|state| state.word() == word)
    }

    /// Whether stock in this state is physically in the house.
    pub const fn is_on_hand(self) -> bool {
        matches!(self, Self::Available | Self::Open | Self::InTransit)
    }

    /// Whether a balance in this state may be below nothing.
    pub const fn may_be_negative(self) -> bool {
        matches!(self, Self::Supplier | Self::Production | Self::CountDifference)
    }
}

impl fmt::Display for State {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.word())
    }
}

/// A site, by its row id, and a state there.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub struct Place {
    /// The site's row id.
    pub site_id: i64,
    /// In which state, or on which outside account of the site.
    pub state: State,
}

impl Place {
    /// The place `state` at `site_id`.
    pub const fn new(site_id: i64, state: State) -> Self {
        Self { site_id, state }
    }
}
