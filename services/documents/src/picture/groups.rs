//! Which lots stand in one box: those of one column, site and item, or only column, site and kind, as there is room.

use std::collections::{BTreeMap, BTreeSet};

use super::PictureLot;

/// Most lanes; the sites with fewest lots share the last.
const MOST_LANES: usize = 8;
/// Most boxes, and most of them one below the other, up to which a group opens by itself.
const MOST_BOXES: usize = 60;
const MOST_ROWS: usize = 15;
/// A group of more lots than these does not open by itself.
const MOST_ALONE: usize = 6;
/// Most boxes that a group opens into; the last then holds what is left.
const MOST_OPENED: usize = 24;

/// Follows the kind in the key of a group that is reached by contact alone.
pub const BY_CONTACT: &str = ".contact";

/// A lane of the picture: a site, or what is left of them.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Lane {
    /// The codes of its sites: one, but for the last of very many.
    pub sites: Vec<String>,
}

/// How much of a lot's likeness a group takes in.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum GroupSort {
    /// A lot alone.
    Lot,
    /// Lots of one item.
    Item,
    /// Lots of one kind.
    Kind,
    /// What a group that was opened has beyond what is shown of it.
    Rest,
}

/// Lots in one box.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Group {
    /// Names it, today and tomorrow, as long as the lots stand where they do.
    pub key: String,
    /// How alike they are.
    pub sort: GroupSort,
    /// The column.
    pub column: usize,
    /// The lane.
    pub lane: usize,
    /// The kind of its lots, in a word.
    pub kind: String,
    /// Its lots are reached by contact alone.
    pub by_contact: bool,
    /// The code of its item, if it is of one.
    pub item: Option<String>,
    /// Which lots: positions in the trace.
    pub lots: Vec<usize>,
}

impl Group {
    /// Whether there is something to open.
    fn can_be_opened(&self) -> bool {
        matches!(self.sort, GroupSort::Item | GroupSort::Kind)
    }

    /// How much of what is traced is in its lots, in micrograms.
    pub fn share_ug(&self, lots: &[PictureLot]) -> i64 {
        self.lots.iter().map(|at| lots[*at].share_ug).sum()
    }

    fn of_kind(
        lots: &[PictureLot],
        lanes: &[Lane],
        (column, lane, kind, by_contact): (usize, usize, String, bool),
        found: Vec<usize>,
    ) -> Self {
        let site = if let [site] = lanes[lane].sites.as_slice() { site } else { "*" };
        let key = format!("{column}~{site}~{kind}{}", if by_contact { BY_CONTACT } else { "" });
        Self { key, sort: GroupSort::Kind, column, lane, kind, by_contact, item: None, lots: found }.plainest(lots)
    }

    /// As it is better called where all of it is of one item, or is one lot.
    fn plainest(mut self, lots: &[PictureLot]) -> Self {
        let first = self.lots.first().map(|at| &lots[*at]);
        let is_of_one_item = || self.lots.iter().all(|at| first.is_some_and(|first| lots[*at].item == first.item));
        let (Some(first), true) = (first, is_of_one_item()) else { return self };
        if self.sort == GroupSort::Kind {
            self.key = format!("{}~{}", self.key, first.item);
            self.sort = GroupSort::Item;
        }
        self.item = Some(first.item.clone());
        if self.lots.len() == 1 {
            self.key.clone_from(&first.number);
            self.sort = GroupSort::Lot;
        }
        self
    }

    /// What it opens into.
    fn parts(&self, lots: &[PictureLot]) -> Vec<Self> {
        let mut parts: Vec<Self> = match self.sort {
            GroupSort::Kind => {
                let mut items: BTreeMap<&str, Vec<usize>> = BTreeMap::new();
                for at in &self.lots {
                    items.entry(&lots[*at].item).or_default().push(*at);
                }
                let part = |(item, found): (&str, Vec<usize>)| Self {
                    key: format!("{}~{item}", self.key),
                    sort: GroupSort::Item,
                    item: Some(item.to_owned()),
                    lots: found,
                    ..self.clone()
                };
                items.into_iter().map(part).collect()
            }
            _ => self.lots.iter().map(|at| Self { lots: vec![*at], ..self.clone() }).collect(),
        };
        if parts.len() > MOST_OPENED {
            // A sort that keeps the order of equals: the largest are shown.
            parts.sort_by_key(|part| std::cmp::Reverse(part.lots.len()));
            let rest = parts.split_off(MOST_OPENED - 1).into_iter().flat_map(|part| part.lots).collect();
            parts.push(Self { key: format!("{}~", self.key), sort: GroupSort::Rest, lots: rest, ..self.clone() });
        }
        let plainest = |part: Self| if part.sort == GroupSort::Rest { part } else { part.plainest(lots) };
        parts.into_iter().map(plainest).collect()
    }
}

/// The lanes: a site each, those first whose lots come first.
pub(super) fn lanes(lots: &[PictureLot], columns: &[usize]) -> Vec<Lane> {
    let mut sites: BTreeMap<&str, (usize, usize)> = BTreeMap::new();
    for (lot, column) in lots.iter().zip(columns) {
        let (count, sum) = sites.entry(&lot.site).or_insert((0, 0));
        (*count, *sum) = (*count + 1, *sum + column);
    }
    let mut by_count: Vec<&str> = sites.keys().copied().collect();
    by_count.sort_by_key(|site| std::cmp::Reverse(sites[site].0));
    let rest = if by_count.len() > MOST_LANES { by_count.split_off(MOST_LANES - 1) } else { Vec::new() };
    // By the mean column, without a fraction.
    by_count.sort_by(|one, other| {
        let ((count, sum), (other_count, other_sum)) = (sites[one], sites[other]);
        (sum * other_count).cmp(&(other_sum * count)).then(one.cmp(other))
    });
    let mut lanes: Vec<Lane> = by_count.iter().map(|site| Lane { sites: vec![(*site).to_owned()] }).collect();
    if !rest.is_empty() {
        lanes.push(Lane { sites: rest.into_iter().map(str::to_owned).collect() });
    }
    lanes
}

/// Divides lots among boxes.
pub(super) fn divide(lots: &[PictureLot], columns: &[usize], lanes: &[Lane], open: &BTreeSet<String>) -> Vec<Group> {
    let lane_of: BTreeMap<&str, usize> = lanes
        .iter()
        .enumerate()
        .flat_map(|(at, lane)| lane.sites.iter().map(move |site| (site.as_str(), at)))
        .collect();
    let mut kinds: BTreeMap<(usize, usize, String, bool), Vec<usize>> = BTreeMap::new();
    for (at, (lot, column)) in lots.iter().zip(columns).enumerate() {
        let lane = lane_of.get(lot.site.as_str()).copied().unwrap_or(0);
        kinds.entry((*column, lane, lot.kind.clone(), lot.by_contact)).or_default().push(at);
    }
    let mut groups: Vec<Group> = kinds.into_iter().map(|(of, found)| Group::of_kind(lots, lanes, of, found)).collect();
    open_where_there_is_room(lots, &mut groups);
    // What is asked for comes on top, so that nothing else folds up because of it; whatever it is part of is opened too.
    let is_asked = |group: &Group| {
        let is_in =
            |key: &String| key.strip_prefix(&group.key).is_some_and(|rest| rest.is_empty() || rest.starts_with('~'));
        group.can_be_opened() && open.iter().any(is_in)
    };
    while let Some(at) = groups.iter().position(is_asked) {
        let parts = groups[at].parts(lots);
        groups.splice(at..=at, parts);
    }
    groups
}

fn open_where_there_is_room(lots: &[PictureLot], groups: &mut Vec<Group>) {
    let mut tried = BTreeSet::new();
    loop {
        let opens = |group: &&Group| match group.sort {
            GroupSort::Kind => true,
            GroupSort::Item => group.lots.len() <= MOST_ALONE,
            GroupSort::Lot | GroupSort::Rest => false,
        };
        let next = groups.iter().filter(opens).filter(|group| !tried.contains(&group.key));
        // By item before by lot, and the smallest first.
        let next = next.min_by_key(|group| (group.sort == GroupSort::Item, group.lots.len(), group.key.clone()));
        let Some(key) = next.map(|group| group.key.clone()) else { return };
        let Some(at) = groups.iter().position(|group| group.key == key) else { return };
        tried.insert(key);
        let mut opened = groups.clone();
        opened.splice(at..=at, groups[at].parts(lots));
        if opened.len() <= MOST_BOXES && rows(&opened) <= MOST_ROWS {
            *groups = opened;
        }
    }
}

/// How many boxes stand one below the other, where most do, over all lanes.
fn rows(groups: &[Group]) -> usize {
    let mut cells: BTreeMap<(usize, usize), usize> = BTreeMap::new();
    for group in groups {
        *cells.entry((group.lane, group.column)).or_insert(0) += 1;
    }
    let mut lanes: BTreeMap<usize, usize> = BTreeMap::new();
    for ((lane, _), count) in cells {
        let most = lanes.entry(lane).or_insert(0);
        *most = (*most).max(count);
    }
    lanes.values().sum()
}
