//! What keeps lots from being used, how sites serve, and what equipment keeps back: few rows, all kept.

use std::collections::{BTreeMap, HashMap};

use tubtrail_storage::cleans::{ServingWayRow, carry_over_in_force};
use tubtrail_storage::journal::Touched;
use tubtrail_storage::stock::{HoldReleaseRow, HoldRow, LotRejectionRow};
use tubtrail_storage::{AnyConnection, StorageError};

use super::names::{Reading, first_other};
use crate::serving_ways::SharedSpans;

/// Holds in force, rejections, serving ways, and how much stays behind.
#[derive(Default)]
pub struct Kept {
    /// By lot, the holds that were not released, the oldest first.
    holds: HashMap<i64, Vec<HoldRow>>,
    lot_of_hold: BTreeMap<i64, i64>,
    /// By lot.
    rejections: HashMap<i64, String>,
    /// By site, in order of beginning.
    ways: HashMap<i64, Vec<ServingWayRow>>,
    spans: HashMap<i64, SharedSpans>,
    /// By equipment, milligrams.
    carry_over: HashMap<i64, i64>,
    never_said: SharedSpans,
}

/// What new facts mean for these.
#[derive(Default)]
pub(super) struct KeptNews {
    holds: Vec<HoldRow>,
    releases: Vec<HoldReleaseRow>,
    rejections: Vec<LotRejectionRow>,
    ways: Vec<ServingWayRow>,
    carry_over: Option<HashMap<i64, i64>>,
}

/// What says how much of a batch stays behind on equipment.
const CARRY_OVER: [&str; 4] = ["residues", "carry_over_defaults", "equipment", "equipment_versions"];

impl Kept {
    /// The hold that keeps a lot, if one does: the oldest not released.
    pub fn hold(&self, lot_id: i64) -> Option<&HoldRow> {
        self.holds.get(&lot_id)?.first()
    }

    /// Why a lot was turned away after all, if it was.
    pub fn rejection(&self, lot_id: i64) -> Option<&str> {
        self.rejections.get(&lot_id).map(String::as_str)
    }

    /// When one scoop served the case of a site, or may have.
    pub fn spans(&self, site_id: i64) -> &SharedSpans {
        self.spans.get(&site_id).unwrap_or(&self.never_said)
    }

    /// How much of a batch stays behind on each piece of equipment of which that is known, in milligrams.
    pub fn carry_over(&self) -> &HashMap<i64, i64> {
        &self.carry_over
    }

    pub(super) fn take_in(&mut self, news: KeptNews) {
        for row in news.holds {
            self.lot_of_hold.insert(row.id, row.lot_id);
            self.holds.entry(row.lot_id).or_default().push(row);
        }
        for row in news.releases {
            let Some(lot) = self.lot_of_hold.remove(&row.hold_id) else { continue };
            let list = self.holds.entry(lot).or_default();
            list.retain(|hold| hold.id != row.hold_id);
            if list.is_empty() {
                self.holds.remove(&lot);
            }
        }
        self.rejections.extend(news.rejections.into_iter().map(|row| (row.lot_id, row.reason)));
        for row in news.ways {
            let site = row.site_id;
            let list = self.ways.entry(site).or_default();
            list.push(row);
            list.sort_by_key(|way| (way.since, way.id));
            self.spans.insert(site, SharedSpans::of(list));
        }
        if let Some(carry_over) = news.carry_over {
            self.carry_over = carry_over;
        }
    }

    /// The first in which another, at the same position, is not like this one: table, row id.
    pub(super) fn first_difference(&self, other: &Self) -> Option<(&'static str, i64)> {
        let found = [
            ("holds", first_other(&self.holds, &other.holds)),
            ("lot_rejections", first_other(&self.rejections, &other.rejections)),
            ("serving_ways", first_other(&self.ways, &other.ways)),
            ("residues", first_other(&self.carry_over, &other.carry_over)),
        ];
        found.into_iter().find_map(|(table, id)| Some((table, id?)))
    }
}

impl KeptNews {
    /// Reads what the entries in `(after, until]` brought.
    pub fn read(conn: &mut AnyConnection, touched: &Touched, after: i64, until: i64) -> Result<Self, StorageError> {
        let mut reading = Reading { conn, touched, after, until };
        Ok(Self {
            holds: reading.rows()?,
            releases: reading.rows()?,
            rejections: reading.rows()?,
            ways: reading.rows()?,
            carry_over: touched.any(&CARRY_OVER).then(|| carry_over_in_force(reading.conn)).transpose()?,
        })
    }
}
