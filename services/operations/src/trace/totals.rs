//! What a trace comes to: how many lots and tubs, where they lie now, and what became of what is gone. Whole lots are counted,
//! with all that is in them: that is what stands in the rooms.

use std::collections::BTreeMap;

use super::TracedLot;
use crate::lots::LotKind;
use crate::quantities::Grams;

/// What the lots of a trace come to.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct TraceTotals {
    /// How many lots.
    pub lots: usize,
    /// How many of them are tubs.
    pub tubs: usize,
    /// How many came from suppliers.
    pub received: usize,
    /// How many a hold keeps.
    pub held: usize,
    /// How many a recall keeps.
    pub recalled: usize,
    places: BTreeMap<(String, String), (usize, i64)>,
}

/// So much of a trace's lots in one place.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct TracedPlace {
    /// The site's code.
    pub site: String,
    /// As in a holding: available, open, `in_transit`, served, consigned, discarded or `count_difference`.
    pub state: String,
    /// How many lots.
    pub lots: usize,
    /// How much of them, whole.
    pub grams: Grams,
}

impl TraceTotals {
    /// Takes in some more of its lots.
    pub fn add(&mut self, lots: &[TracedLot]) {
        self.lots += lots.len();
        for lot in lots {
            self.tubs += usize::from(lot.kind == LotKind::Tub);
            self.received += usize::from(lot.kind == LotKind::Received);
            self.held += usize::from(lot.on_hold.is_some());
            self.recalled += usize::from(!lot.recalls.is_empty());
            for place in &lot.places {
                let (lots, mg) = self.places.entry((place.site.clone(), place.state.clone())).or_insert((0, 0));
                *lots += 1;
                *mg += place.grams.mg();
            }
        }
    }

    /// Where they lie and lay, by site and then by the word of the state.
    pub fn places(&self) -> impl Iterator<Item = TracedPlace> + '_ {
        self.places.iter().map(|((site, state), (lots, mg))| TracedPlace {
            site: site.clone(),
            state: state.clone(),
            lots: *lots,
            grams: Grams::from_mg(*mg),
        })
    }

    /// How much is in one state, everywhere together.
    pub fn grams_in(&self, state: &str) -> Grams {
        Grams::from_mg(self.places.iter().filter(|((_, known), _)| known == state).map(|(_, (_, mg))| mg).sum())
    }
}
