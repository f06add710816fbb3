//! The balances, recomputed from the movements.

use std::collections::BTreeMap;

use diesel::prelude::*;

use super::{Report, Wrong};
use crate::stock::{BalanceRow, MovementRow, balances, movements};
use crate::{AnyConnection, StorageError, journal};

/// Lots whose balances are recomputed at a time.
const LOTS: i64 = 10_000;

/// Adds the movements up anew, and compares.
pub(super) fn check(conn: &mut AnyConnection, report: &mut Report) -> Result<Option<Wrong>, StorageError> {
    let last = journal::head(conn)?.last_lot_id;
    let of_no_lot: Option<BalanceRow> = balances::table
        .filter(balances::lot_id.le(0).or(balances::lot_id.gt(last)))
        .order((balances::lot_id, balances::site_id, balances::state))
        .first(conn)
        .optional()?;
    if let Some(row) = of_no_lot {
        return Ok(Some(wrong_balance(&(row.lot_id, row.site_id, row.state), Some(row.mass_mg), 0)));
    }
    let mut after = 0;
    while after < last {
        let until = after + LOTS;
        let summed = sums(conn, after, until)?;
        let mut stored: BTreeMap<(i64, i64, String), i64> = balances::table
            .filter(balances::lot_id.gt(after))
            .filter(balances::lot_id.le(until))
            .load::<BalanceRow>(conn)?
            .into_iter()
            .map(|row| ((row.lot_id, row.site_id, row.state), row.mass_mg))
            .collect();
        for (place, sum_mg) in summed {
            let stored_mg = stored.remove(&place);
            if stored_mg != Some(sum_mg) {
                return Ok(Some(wrong_balance(&place, stored_mg, sum_mg)));
            }
            report.balances += 1;
        }
        if let Some((place, stored_mg)) = stored.into_iter().next() {
            return Ok(Some(wrong_balance(&place, Some(stored_mg), 0)));
        }
        after = until;
    }
    Ok(None)
}

fn sums(conn: &mut AnyConnection, after: i64, until: i64) -> Result<BTreeMap<(i64, i64, String), i64>, StorageError> {
    let rows: Vec<MovementRow> =
        movements::table.filter(movements::lot_id.gt(after)).filter(movements::lot_id.le(until)).load(conn)?;
    let mut sums = BTreeMap::new();
    for row in rows {
        *sums.entry((row.lot_id, row.from_site_id, row.from_state)).or_insert(0) -= row.mass_mg;
        *sums.entry((row.lot_id, row.to_site_id, row.to_state)).or_insert(0) += row.mass_mg;
    }
    Ok(sums)
}

fn wrong_balance(place: &(i64, i64, String), stored_mg: Option<i64>, sum_mg: i64) -> Wrong {
    let (lot_id, site_id, state) = place;
    let stored = stored_mg.map_or("nothing".to_owned(), |mg| format!("{mg} mg"));
    Wrong {
        table: "balances".into(),
        row: format!("lot {lot_id}, site {site_id}, {state}"),
        entry: None,
        what: format!("it says {stored}, the movements add up to {sum_mg} mg"),
    }
}
