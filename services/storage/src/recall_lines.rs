//! What a recall wants to know of lots: when they were served from, to whom they went, when they last came to a place.

use std::collections::HashMap;

use chrono::NaiveDateTime;
use diesel::dsl::{max, min};
use diesel::prelude::*;
use tubtrail_domain::place::State;

use crate::stock::{MovementRow, movements};
use crate::{AnyConnection, StorageError};

const CHUNK: usize = 500;

/// From when to when a lot was served from at a site.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Served {
    /// When it was opened there, or first served where that is not known.
    pub from: NaiveDateTime,
    /// When it was last served from.
    pub until: NaiveDateTime,
}

/// From when to when some lots were served from, by lot and site.
pub fn servings_of(conn: &mut AnyConnection, lot_ids: &[i64]) -> Result<HashMap<(i64, i64), Served>, StorageError> {
    let mut found = HashMap::new();
    for chunk in lot_ids.chunks(CHUNK) {
        let served: Vec<(i64, i64, Option<NaiveDateTime>, Option<NaiveDateTime>)> = movements::table
            .filter(movements::lot_id.eq_any(chunk.to_vec()))
            .filter(movements::to_state.eq(State::Served.word()))
            .group_by((movements::lot_id, movements::to_site_id))
            .select((
                movements::lot_id,
                movements::to_site_id,
                min(movements::occurred_at),
                max(movements::occurred_at),
            ))
            .load(conn)?;
        let opened: Vec<(i64, i64, Option<NaiveDateTime>)> = movements::table
            .filter(movements::lot_id.eq_any(chunk.to_vec()))
            .filter(movements::to_state.eq(State::Open.word()))
            .group_by((movements::lot_id, movements::to_site_id))
            .select((movements::lot_id, movements::to_site_id, min(movements::occurred_at)))
            .load(conn)?;
        let opened: HashMap<(i64, i64), NaiveDateTime> =
            opened.into_iter().filter_map(|(lot, site, at)| Some(((lot, site), at?))).collect();
        for (lot, site, first, last) in served {
            let (Some(first), Some(until)) = (first, last) else { continue };
            let from = opened.get(&(lot, site)).map_or(first, |opened| first.min(*opened));
            found.insert((lot, site), Served { from, until });
        }
    }
    Ok(found)
}

/// What of some lots was handed to customers, in the order it was written down.
pub fn consigned_of(conn: &mut AnyConnection, lot_ids: &[i64]) -> Result<Vec<MovementRow>, StorageError> {
    let mut found: Vec<MovementRow> = Vec::new();
    for chunk in lot_ids.chunks(CHUNK) {
        found.extend(
            movements::table
                .filter(movements::lot_id.eq_any(chunk.to_vec()))
                .filter(movements::to_state.eq(State::Consigned.word()))
                .load::<MovementRow>(conn)?,
        );
    }
    found.sort_by_key(|row| row.id);
    Ok(found)
}

/// The last journal entry by which some lots came to stand at each site, by lot and site.
pub fn brought_in(conn: &mut AnyConnection, lot_ids: &[i64]) -> Result<HashMap<(i64, i64), i64>, StorageError> {
    let on_hand: Vec<&str> = State::ALL.iter().filter(|state| state.is_on_hand()).map(|state| state.word()).collect();
    let mut found = HashMap::new();
    for chunk in lot_ids.chunks(CHUNK) {
        let rows: Vec<(i64, i64, Option<i64>)> = movements::table
            .filter(movements::lot_id.eq_any(chunk.to_vec()))
            .filter(movements::to_state.eq_any(on_hand.clone()))
            .group_by((movements::lot_id, movements::to_site_id))
            .select((movements::lot_id, movements::to_site_id, max(movements::entry)))
            .load(conn)?;
        found.extend(rows.into_iter().filter_map(|(lot, site, entry)| Some(((lot, site), entry?))));
    }
    Ok(found)
}

/// The lots of which a customer was ever handed any.
pub fn consigned_to(conn: &mut AnyConnection, partner_id: i64) -> Result<Vec<i64>, StorageError> {
    Ok(movements::table
        .filter(movements::partner_id.eq(partner_id))
        .filter(movements::to_state.eq(State::Consigned.word()))
        .select(movements::lot_id)
        .distinct()
        .load(conn)?)
}
