//! What went from box to box, and the way a line takes.

use std::collections::{BTreeMap, BTreeSet, HashMap};

use super::groups::Group;
use super::order::{Placed, Spots};
use super::{BOX_WIDTH, HEAD, Line, PictureLot, WIDTHS};

/// Milligrams from one box to another, by position.
pub(super) type Flows = BTreeMap<(usize, usize), i64>;

/// What went from box to box. What a batch took is divided among what it yielded, by mass.
pub(super) fn flows(lots: &[PictureLot], groups: &[Group]) -> Flows {
    let mut taken: BTreeMap<i64, BTreeMap<usize, i64>> = BTreeMap::new();
    let mut yielded: HashMap<i64, BTreeMap<usize, i64>> = HashMap::new();
    for (at, group) in groups.iter().enumerate() {
        for lot in group.lots.iter().map(|lot| &lots[*lot]) {
            for (batch, mg) in &lot.used_in {
                *taken.entry(*batch).or_default().entry(at).or_insert(0) += mg;
            }
            if let Some(batch) = lot.made_by {
                *yielded.entry(batch).or_default().entry(at).or_insert(0) += lot.mass_mg;
            }
        }
    }
    let mut flows = Flows::new();
    for (batch, from) in &taken {
        let Some(into) = yielded.get(batch) else { continue };
        let whole: i64 = into.values().sum::<i64>().max(1);
        for (from, taken_mg) in from {
            for (to, mass_mg) in into.iter().filter(|(to, _)| *to != from) {
                let part = i128::from(*taken_mg) * i128::from(*mass_mg) / i128::from(whole);
                *flows.entry((*from, *to)).or_insert(0) += i64::try_from(part).unwrap_or(i64::MAX);
            }
        }
    }
    flows
}

/// Which box got in contact with which, by position.
pub(super) type Touches = BTreeSet<(usize, usize)>;

/// Which boxes of lots that are reached by contact alone may have something of which others; none where there is a flow too.
pub(super) fn touches(lots: &[PictureLot], groups: &[Group], contacts: &[(i64, i64)], flows: &Flows) -> Touches {
    let mut made: HashMap<i64, BTreeSet<usize>> = HashMap::new();
    for (at, group) in groups.iter().enumerate() {
        for batch in group.lots.iter().filter_map(|lot| lots[*lot].made_by) {
            made.entry(batch).or_default().insert(at);
        }
    }
    let of = |batch: &i64| made.get(batch).into_iter().flatten().copied();
    let mut touches = Touches::new();
    for (before, after) in contacts {
        for to in of(after).filter(|to| groups[*to].by_contact) {
            touches.extend(of(before).map(|from| (from, to)).filter(|pair| pair.0 != to && !flows.contains_key(pair)));
        }
    }
    touches
}

/// The lines, the thinnest first, so that none hides a thicker one's end.
pub(super) fn draw(
    groups: &[Group],
    (flows, touches): (&Flows, &Touches),
    spots: &Spots,
    placed: &Placed,
    left: impl Fn(usize) -> i32,
) -> Vec<Line> {
    let most = flows.values().copied().max().unwrap_or(0);
    let used = flows.iter().map(|(pair, mass_mg)| (pair, *mass_mg, false));
    let mut lines: Vec<Line> = used
        .chain(touches.iter().map(|pair| (pair, 0, true)))
        .map(|((from, to), mass_mg, by_contact)| {
            let through = spots.between(*from, *to);
            let (begins, ends) = (left(groups[*from].column) + BOX_WIDTH, left(groups[*to].column));
            let mut way = vec![(begins, HEAD + placed.middle(spots, *from))];
            for spot in through {
                let (column, middle) = (spots.column(spot), HEAD + placed.middle(spots, spot));
                way.extend([(left(column), middle), (left(column) + BOX_WIDTH, middle)]);
            }
            // Within the last column, which holds all that has no column of its own, a line turns back; so does a contact.
            let is_within = groups[*from].column >= groups[*to].column;
            let ends = if is_within { left(groups[*to].column) + BOX_WIDTH } else { ends };
            way.push((ends, HEAD + placed.middle(spots, *to)));
            let width = if by_contact { 1 } else { width(mass_mg, most) };
            Line { from: *from, to: *to, mass_mg, width, by_contact, way }
        })
        .collect();
    lines.sort_by_key(|line| (line.width, line.from, line.to));
    lines
}

/// How wide a line is: a third of the mass is a step less.
fn width(mass_mg: i64, most: i64) -> u32 {
    let mut width = WIDTHS;
    let mut bound = most / 3;
    while width > 1 && mass_mg < bound {
        width -= 1;
        bound /= 3;
    }
    width
}
