//! What can be wrong with a use.

use std::error::Error;
use std::fmt;

use crate::{BatchIx, LotIx};

/// A use was refused because the lot descends from the batch it should go into, so that it would contain itself.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct Loop {
    /// The chain that the use would have closed, in order of making: the first lot was yielded by the batch, each lot
    /// went into the batch that yielded the next, and the last is the lot that was to be used. It is a shortest such
    /// chain; a lot yielded by that very batch is alone in it.
    pub lots: Vec<LotIx>,
}

impl fmt::Display for Loop {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("the lot was itself made from what this batch yielded, through lots")?;
        for (at, lot) in self.lots.iter().enumerate() {
            write!(f, "{} {}", if at == 0 { "" } else { "," }, lot.index())?;
        }
        Ok(())
    }
}

impl Error for Loop {}

/// There is no live use of that lot in that batch with exactly that mass, so none could be voided.
#[derive(Copy, Clone, PartialEq, Eq, Debug)]
pub struct NoSuchUse {
    /// The lot whose use was to be voided.
    pub lot: LotIx,
    /// The batch it was said to have gone into.
    pub batch: BatchIx,
    /// The mass it was said to have gone in with, in milligrams.
    pub mass_mg: i64,
}

impl fmt::Display for NoSuchUse {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let Self { lot, batch, mass_mg } = self;
        write!(f, "lot {} has no live use of {mass_mg} mg in batch {}", lot.index(), batch.index())
    }
}

impl Error for NoSuchUse {}
