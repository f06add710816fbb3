//! The handles by which lots and batches are named.

/// A lot of one [`Graph`](crate::Graph): the first lot added is 0, the next 1, and so on.
///
/// It means nothing in another graph.
#[derive(Copy, Clone, PartialEq, Eq, Hash, Ord, PartialOrd, Debug)]
pub struct LotIx(pub(crate) u32);

/// A batch of one [`Graph`](crate::Graph): the first batch added is 0, the next 1, and so on.
///
/// It means nothing in another graph.
#[derive(Copy, Clone, PartialEq, Eq, Hash, Ord, PartialOrd, Debug)]
pub struct BatchIx(pub(crate) u32);

impl LotIx {
    /// The lot that was added as number `index`; whether there is one is found out by the graph it is given to.
    pub const fn from_index(index: u32) -> Self {
        Self(index)
    }

    /// How many lots were added before this one.
    pub const fn index(self) -> u32 {
        self.0
    }
}

impl BatchIx {
    /// The batch that was added as number `index`; whether there is one is found out by the graph it is given to.
    pub const fn from_index(index: u32) -> Self {
        Self(index)
    }

    /// How many batches were added before this one.
    pub const fn index(self) -> u32 {
        self.0
    }
}

/// A position or count as the graph stores it: four bytes instead of eight, which halves the adjacency. The highest
/// number stays free, to stand for "none".
pub(crate) fn narrow(count: usize) -> u32 {
    let narrow = u32::try_from(count).ok().filter(|count| *count < u32::MAX);
    narrow.expect("a lot graph holds fewer than 2^32 - 1 lots, batches and uses")
}
