//! Following a recall: whether what was written down since concerns it. Most of what a house writes down does not.

use crate::error::Result;
use crate::index::lot_ix;
use crate::reach::{self, Request};
use crate::tubtrail::Tubtrail;

/// How far somebody is who follows a recall.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct RecallSeen {
    entry: i64,
    /// How many lots it reached then, where that is known.
    lots: Option<usize>,
}

impl RecallSeen {
    /// Somebody who has seen all up to a journal entry.
    pub const fn until(entry: i64) -> Self {
        Self { entry, lots: None }
    }

    /// The last journal entry they have seen.
    pub const fn entry(self) -> i64 {
        self.entry
    }
}

impl Tubtrail {
    /// How far somebody is now who follows a recall, and whether there was anything of it to be seen on the way.
    pub fn follow_recall(&self, request: &Request, id: i64, seen: RecallSeen) -> Result<(RecallSeen, bool)> {
        request.actor.may_anywhere(&reach::GET_RECALL)?;
        let index = self.index_for(request)?;
        let (entry, lots) =
            index.look(|inside, _| (inside.position, inside.recalls.get(id).map(|recalled| recalled.reach.len())));
        let now = RecallSeen { entry, lots };
        if entry <= seen.entry {
            return Ok((RecallSeen { entry: seen.entry, ..now }, false));
        }
        let holds = |lot: i64| {
            index.look(|inside, _| {
                let reach = inside.recalls.get(id).map(|recalled| &recalled.reach);
                reach.zip(lot_ix(lot).ok()).is_some_and(|(reach, lot)| reach.holds(lot))
            })
        };
        let is_news = self.read(|conn| self.concerns(conn, id, (seen.entry, seen.lots), entry, holds))?;
        Ok((now, is_news))
    }
}
