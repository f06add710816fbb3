//! A picture of a trace: lots from left to right as they were made, a lane a site, lots alike in one box where there are many.
//!
//! Plain data in, geometry out; then, with words beside it, an SVG. Its unit is a pixel of a screen, and whatever has no words
//! of its own here gets them from who asks, in their language.

mod columns;
mod groups;
mod lines;
mod order;
mod svg;

use std::collections::BTreeSet;

use self::columns::columns;
pub use self::groups::{BY_CONTACT, Group, GroupSort, Lane};
use self::groups::{divide, lanes};
use self::lines::{flows, touches};
use self::order::{Spots, place};
pub use self::svg::{BoxWords, PictureWords, write};

/// Most columns. What was made in more steps than these from one another stands in the last, all of it.
const MOST_COLUMNS: usize = 8;
/// How wide a box is.
pub const BOX_WIDTH: i32 = 240;
/// How high a box is.
pub const BOX_HEIGHT: i32 = 62;
/// Between two columns: room for the lines.
const BETWEEN: i32 = 84;
/// Left of the first column: room for the names of the lanes.
const MARGIN: i32 = 168;
/// Above the first lane: room for the names of the columns.
const HEAD: i32 = 34;
/// How many widths of a line there are.
const WIDTHS: u32 = 5;

/// A lot of a trace, as far as a picture takes it.
#[expect(clippy::struct_excessive_bools, reason = "each is marked by itself")]
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct PictureLot {
    /// Its number.
    pub number: String,
    /// The item's code.
    pub item: String,
    /// What sort of lot it is, in a word.
    pub kind: String,
    /// The code of the site it belongs to in the picture: where it is, or else was made or received.
    pub site: String,
    /// Its mass in milligrams.
    pub mass_mg: i64,
    /// How much of what is traced it was made with, or is of it in what is traced, in micrograms.
    pub share_ug: i64,
    /// The batch that made it.
    pub made_by: Option<i64>,
    /// Batches it went into, with milligrams.
    pub used_in: Vec<(i64, i64)>,
    /// The trace begins with it.
    pub is_seed: bool,
    /// A hold keeps it.
    pub is_held: bool,
    /// A recall keeps it.
    pub is_recalled: bool,
    /// It is reached by contact alone: how much of what is traced is in it is not known.
    pub by_contact: bool,
}

/// Where everything stands in a picture.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Picture {
    /// How wide it is.
    pub width: i32,
    /// How high it is.
    pub height: i32,
    /// Kinds of the lots in each column, in order of the word.
    pub columns: Vec<Column>,
    /// The sites from top to bottom.
    pub lanes: Vec<PlacedLane>,
    /// Lots alone or together. Every lot is in exactly one.
    pub boxes: Vec<PlacedBox>,
    /// What went from one box into another.
    pub lines: Vec<Line>,
}

/// Lots that are as many batches away from the suppliers' lots.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Column {
    /// Where it begins.
    pub left: i32,
    /// The kinds of its lots.
    pub kinds: Vec<String>,
}

/// A site's lane.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct PlacedLane {
    /// Whose.
    pub lane: Lane,
    /// Where it begins.
    pub top: i32,
    /// How high it is.
    pub height: i32,
}

/// A box.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct PlacedBox {
    /// What is in it.
    pub group: Group,
    /// Where it begins.
    pub left: i32,
    /// Where it begins.
    pub top: i32,
}

/// A line between boxes.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Line {
    /// The box it leaves.
    pub from: usize,
    /// The box it leads to.
    pub to: usize,
    /// About how much went that way, in milligrams: what a batch took is divided among what it yielded.
    pub mass_mg: i64,
    /// How wide it is drawn, 1 to 5.
    pub width: u32,
    /// It is no use but a contact: what made the second ran after what made the first, on the same equipment.
    pub by_contact: bool,
    /// The points it goes through, two for each column: where it comes in and where it leaves.
    pub way: Vec<(i32, i32)>,
}

/// Lays a picture out. `contacts` are pairs of batches, of which the second ran after the first on the same equipment; what
/// they lead to is drawn where lots are reached by contact alone. Groups whose key is among `open` are opened; others are, where
/// there is room.
pub fn lay_out(lots: &[PictureLot], contacts: &[(i64, i64)], open: &BTreeSet<String>) -> Picture {
    if lots.is_empty() {
        return Picture::default();
    }
    let columns = columns(lots, MOST_COLUMNS);
    let lanes = lanes(lots, &columns);
    let groups = divide(lots, &columns, &lanes, open);
    let flows = flows(lots, &groups);
    let touches = touches(lots, &groups, contacts, &flows);
    let spots = Spots::of(&groups, flows.keys().chain(&touches));
    let standing = place(&spots, lanes.len());
    let last_column = groups.iter().map(|group| group.column).max().unwrap_or(0);
    let left = |column: usize| MARGIN + i32::try_from(column).unwrap_or(0) * (BOX_WIDTH + BETWEEN);
    let drawn = lines::draw(&groups, (&flows, &touches), &spots, &standing, left);
    Picture {
        width: left(last_column) + BOX_WIDTH + BETWEEN / 2,
        height: HEAD + standing.height,
        columns: (0..=last_column).map(|at| Column { left: left(at), kinds: kinds_in(&groups, at) }).collect(),
        lanes: lanes
            .into_iter()
            .zip(&standing.lanes)
            .map(|(lane, (top, height))| PlacedLane { lane, top: HEAD + top, height: *height })
            .collect(),
        boxes: groups
            .into_iter()
            .zip(&standing.tops)
            .map(|(group, top)| PlacedBox { left: left(group.column), top: HEAD + top, group })
            .collect(),
        lines: drawn,
    }
}

fn kinds_in(groups: &[Group], column: usize) -> Vec<String> {
    let kinds: BTreeSet<&String> =
        groups.iter().filter(|group| group.column == column).map(|group| &group.kind).collect();
    kinds.into_iter().cloned().collect()
}

#[cfg(test)]
mod tests;
