//! Where all of a lot lies. Most lots lie in one place, all that went into no batch of them, and take two bytes.

use std::collections::HashMap;
use std::hash::Hash;

use tubtrail_domain::place::{Place, State};
use tubtrail_lineage::{Graph, LotIx};

/// Stands for a lot of which nothing lies anywhere.
pub const NOWHERE: u16 = 0;
/// Stands for a lot of which more must be said than a place.
const SPLIT: u16 = u16::MAX;

/// Things that many speak of, each kept once.
#[derive(Debug)]
pub struct Table<T> {
    all: Vec<T>,
    at: HashMap<T, u32>,
}

/// The places of lots, besides what went into batches and what suppliers gave and got back.
#[derive(Debug, Default)]
pub struct Places {
    places: Table<Place>,
    /// Of lots that lie in several places, or otherwise than whole: places and milligrams.
    split: HashMap<u32, Box<[(u32, i64)]>>,
}

/// Where a lot lies, with milligrams.
pub type Lying = Vec<(Place, i64)>;

impl<T> Default for Table<T> {
    fn default() -> Self {
        Self { all: Vec::new(), at: HashMap::new() }
    }
}

impl<T: Clone + Eq + Hash> Table<T> {
    /// The number of a thing, which it is given if it has none.
    pub fn number(&mut self, thing: &T) -> u32 {
        if let Some(number) = self.at.get(thing) {
            return *number;
        }
        // There are fewer of these than of lots.
        let number = u32::try_from(self.all.len()).unwrap_or(u32::MAX);
        self.all.push(thing.clone());
        self.at.insert(thing.clone(), number);
        number
    }

    /// The thing with a number.
    pub fn get(&self, number: u32) -> &T {
        &self.all[number as usize]
    }
}

impl Places {
    /// Where a lot lies that is kept under this mark, by site and then by the word of the state.
    pub fn of<'a>(&'a self, graph: &Graph, lot: LotIx, mark: u16) -> impl Iterator<Item = (Place, i64)> + use<'a> {
        let whole = match mark {
            NOWHERE | SPLIT => None,
            place => Some((*self.places.get(u32::from(place) - 1), graph.mass(lot) - graph.used(lot))),
        };
        let several = if mark == SPLIT { self.split.get(&lot.index()) } else { None };
        let several = several.into_iter().flat_map(|list| list.iter());
        whole.into_iter().chain(several.map(|(place, mg)| (*self.places.get(*place), *mg)))
    }

    /// The mark under which it is kept where a lot lies.
    pub fn keep(&mut self, graph: &Graph, lot: LotIx, mut lying: Lying) -> u16 {
        lying.retain(|(_, mg)| *mg != 0);
        let whole = graph.mass(lot) - graph.used(lot);
        if let [(place, mg)] = lying.as_slice()
            && *mg == whole
            && let Ok(number) = u16::try_from(self.places.number(place))
            && number < SPLIT - 1
        {
            self.split.remove(&lot.index());
            return number + 1;
        }
        if lying.is_empty() {
            self.split.remove(&lot.index());
            return NOWHERE;
        }
        lying.sort_unstable_by_key(|(place, _)| (place.site_id, place.state.word()));
        let list = lying.iter().map(|(place, mg)| (self.places.number(place), *mg)).collect();
        self.split.insert(lot.index(), list);
        SPLIT
    }
}

/// Takes what moved out of a place and puts it into another.
pub fn carry(lying: &mut Lying, from: Place, to: Place, mg: i64) {
    for (place, change) in [(from, -mg), (to, mg)] {
        if matches!(place.state, State::Supplier | State::Production) {
            continue;
        }
        match lying.iter_mut().find(|(known, _)| *known == place) {
            Some((_, there)) => *there += change,
            None => lying.push((place, change)),
        }
    }
}
