//! Where a lot stands, asked for in one statement: whatever is done with a lot begins with it.

use diesel::prelude::*;
use diesel::sql_types::{BigInt, Nullable, Text};
use tubtrail_domain::lot_number::LotNumber;

use crate::kept::{Kept, Value};
use crate::lots::{LotRow, lots};
use crate::stock::{BalanceRow, HoldRow, LotRejectionRow, hold, rejection_of};
use crate::{AnyConnection, Fact, StorageError};

/// A lot and what decides what may be done with it.
#[derive(Clone, Debug)]
pub struct StandingRow {
    /// The lot.
    pub lot: LotRow,
    /// The code of its item.
    pub item_code: String,
    /// The hold that keeps it, if one does: the oldest not released.
    pub hold: Option<HoldRow>,
    /// Why it was turned away, if it was.
    pub rejection: Option<LotRejectionRow>,
    /// Every place that ever held some of it, or gave some, with what it holds now, in order; empty ones too.
    pub places: Vec<BalanceRow>,
}

type Columns =
    (lots::SqlType, Text, (Nullable<BigInt>, Nullable<Text>, Nullable<BigInt>), Nullable<BigInt>, Nullable<BigInt>);

type Found = (LotRow, String, (Option<i64>, Option<String>, Option<i64>), Option<i64>, Option<i64>);

/// By the two halves of its number.
pub fn by_number(conn: &mut AnyConnection, number: LotNumber) -> Result<Option<StandingRow>, StorageError> {
    let Ok(serial) = i32::try_from(number.serial()) else { return Ok(None) };
    find(conn, "l.day = ? AND l.serial = ?", vec![Value::Day(number.day()), Value::Small(serial)])
}

/// By its row id.
pub fn by_id(conn: &mut AnyConnection, id: i64) -> Result<Option<StandingRow>, StorageError> {
    find(conn, "l.id = ?", vec![Value::Number(id)])
}

fn find(
    conn: &mut AnyConnection,
    condition: &'static str,
    values: Vec<Value<'_>>,
) -> Result<Option<StandingRow>, StorageError> {
    let columns: Vec<String> = LotRow::COLUMNS.iter().map(|column| format!("l.{column}")).collect();
    let text = format!(
        "SELECT {}, i.code, b.site_id, b.state, b.mass_mg, (SELECT MIN(h.id) FROM holds h WHERE h.lot_id = l.id \
         AND NOT EXISTS (SELECT 1 FROM hold_releases r WHERE r.hold_id = h.id)), j.id \
         FROM lots l JOIN items i ON i.id = l.item_id LEFT JOIN lot_rejections j ON j.lot_id = l.id \
         LEFT JOIN balances b ON b.lot_id = l.id WHERE {condition}",
        columns.join(", ")
    );
    // A row for every place.
    let found: Vec<Found> = Kept::<Columns>::new(text, values).load(conn)?;
    let mut places = Vec::with_capacity(found.len());
    for (lot, _, place, ..) in &found {
        if let (Some(site_id), Some(state), Some(mass_mg)) = place.clone() {
            places.push(BalanceRow { lot_id: lot.id, site_id, state, mass_mg });
        }
    }
    places.sort();
    let Some((lot, item_code, _, hold_id, rejection_id)) = found.into_iter().next() else { return Ok(None) };
    let hold = hold_id.map(|id| hold(conn, id)).transpose()?.flatten();
    let rejection = if rejection_id.is_some() { rejection_of(conn, lot.id)? } else { None };
    Ok(Some(StandingRow { lot, item_code, hold, rejection, places }))
}
