//! What stands above what: boxes keep to their lane, and within it stand where their lines cross others least, as far as a few
//! passes of barycentres find it.

use std::collections::BTreeMap;

use super::BOX_HEIGHT;
use super::groups::Group;

/// Room between two boxes, and for a line that passes a column.
const GAP: i32 = 12;
const PASSING: i32 = 10;
/// Room above and below the boxes of a lane.
const PADDING: i32 = 12;
/// How often boxes are put in order, from the left and from the right by turns.
const PASSES: usize = 8;

/// Everything that takes room in a column: boxes, by their position, and then the lines that pass on to a later column, one
/// for all that leave a box.
pub(super) struct Spots {
    all: Vec<Spot>,
    passing: BTreeMap<(usize, usize), usize>,
    columns: usize,
}

struct Spot {
    column: usize,
    lane: usize,
    height: i32,
    left: Vec<usize>,
    right: Vec<usize>,
}

/// Where everything stands.
pub(super) struct Placed {
    /// The top of each spot, boxes first.
    pub tops: Vec<i32>,
    /// The top of each lane, and its height.
    pub lanes: Vec<(i32, i32)>,
    /// All of it.
    pub height: i32,
}

/// Spots by lane and column, from top to bottom.
type Order = Vec<Vec<Vec<usize>>>;

impl Spots {
    pub(super) fn of<'a>(groups: &[Group], joined: impl Iterator<Item = &'a (usize, usize)>) -> Self {
        let spot = |group: &Group| Spot {
            column: group.column,
            lane: group.lane,
            height: BOX_HEIGHT,
            left: Vec::new(),
            right: Vec::new(),
        };
        let columns = groups.iter().map(|group| group.column + 1).max().unwrap_or(0);
        let mut spots = Self { all: groups.iter().map(spot).collect(), passing: BTreeMap::new(), columns };
        for (from, to) in joined {
            let way = spots.way(*from, *to);
            for pair in way.windows(2) {
                if let [one, other] = *pair
                    && !spots.all[one].right.contains(&other)
                {
                    spots.all[one].right.push(other);
                    spots.all[other].left.push(one);
                }
            }
        }
        spots
    }

    pub(super) fn column(&self, spot: usize) -> usize {
        self.all[spot].column
    }

    /// The spots that a line passes on its way.
    pub(super) fn between(&self, from: usize, to: usize) -> Vec<usize> {
        let columns = self.all[from].column + 1..self.all[to].column;
        columns.filter_map(|column| self.passing.get(&(from, column)).copied()).collect()
    }

    /// The same with both ends, made where it is not there yet; none within a column.
    fn way(&mut self, from: usize, to: usize) -> Vec<usize> {
        let (begins, ends, lane) = (self.all[from].column, self.all[to].column, self.all[from].lane);
        if begins >= ends {
            return Vec::new();
        }
        let mut way = vec![from];
        for column in begins + 1..ends {
            let next = self.all.len();
            let spot = *self.passing.entry((from, column)).or_insert(next);
            if spot == next {
                self.all.push(Spot { column, lane, height: PASSING, left: Vec::new(), right: Vec::new() });
            }
            way.push(spot);
        }
        way.push(to);
        way
    }

    fn first_order(&self, lanes: usize) -> Order {
        let mut order = vec![vec![Vec::new(); self.columns]; lanes];
        for (at, spot) in self.all.iter().enumerate() {
            order[spot.lane][spot.column].push(at);
        }
        order
    }

    /// How many pairs of lines between neighbouring columns cross.
    fn crossings(&self, placed: &Placed) -> usize {
        let mut between: Vec<Vec<(i32, i32)>> = vec![Vec::new(); self.columns];
        for (at, spot) in self.all.iter().enumerate() {
            let here = placed.middle(self, at);
            between[spot.column].extend(spot.right.iter().map(|other| (here, placed.middle(self, *other))));
        }
        let cross = |one: &(i32, i32), other: &(i32, i32)| (one.0 - other.0).signum() * (one.1 - other.1).signum() < 0;
        let pairs = |lines: &Vec<(i32, i32)>| {
            lines
                .iter()
                .enumerate()
                .map(|(at, one)| lines[at..].iter().filter(|other| cross(one, other)).count())
                .sum::<usize>()
        };
        between.iter().map(pairs).sum()
    }
}

impl Placed {
    /// The middle of a spot.
    pub(super) fn middle(&self, spots: &Spots, spot: usize) -> i32 {
        self.tops[spot] + spots.all[spot].height / 2
    }

    fn of(spots: &Spots, order: &Order) -> Self {
        let high = |cell: &[usize]| {
            cell.iter().map(|spot| spots.all[*spot].height + GAP).sum::<i32>() - GAP.min(cell_gap(cell))
        };
        let mut placed = Self { tops: vec![0; spots.all.len()], lanes: Vec::new(), height: 0 };
        for lane in order {
            let inner = lane.iter().map(|cell| high(cell)).max().unwrap_or(0).max(BOX_HEIGHT);
            for cell in lane {
                let mut top = placed.height + PADDING + (inner - high(cell)) / 2;
                for spot in cell {
                    placed.tops[*spot] = top;
                    top += spots.all[*spot].height + GAP;
                }
            }
            let height = inner + 2 * PADDING;
            placed.lanes.push((placed.height, height));
            placed.height += height;
        }
        placed
    }
}

/// A cell of nothing has no gap to leave out.
fn cell_gap(cell: &[usize]) -> i32 {
    if cell.is_empty() { 0 } else { GAP }
}

/// Puts everything in its place.
pub(super) fn place(spots: &Spots, lanes: usize) -> Placed {
    let mut order = spots.first_order(lanes);
    let mut best = Placed::of(spots, &order);
    let mut fewest = spots.crossings(&best);
    for pass in 0..PASSES {
        let from_left = pass % 2 == 0;
        let mut placed = Placed::of(spots, &order);
        for step in 1..spots.columns {
            let column = if from_left { step } else { spots.columns - 1 - step };
            for lane in &mut order {
                let middle = |spot: &usize| barycentre(spots, &placed, *spot, from_left);
                lane[column].sort_by_cached_key(middle);
            }
            placed = Placed::of(spots, &order);
        }
        let crossings = spots.crossings(&placed);
        if crossings < fewest {
            (best, fewest) = (placed, crossings);
        }
    }
    best
}

/// Where a spot would like to stand: in the middle of what it is joined to on one side; where it is, if to nothing.
fn barycentre(spots: &Spots, placed: &Placed, spot: usize, from_left: bool) -> i64 {
    let joined = if from_left { &spots.all[spot].left } else { &spots.all[spot].right };
    if joined.is_empty() {
        return i64::from(placed.middle(spots, spot)) * 1000;
    }
    let sum: i64 = joined.iter().map(|other| i64::from(placed.middle(spots, *other)) * 1000).sum();
    sum / i64::try_from(joined.len()).unwrap_or(1)
}
