//! Where a lot stands, asked for in one statement: whatever is done with a lot begins with it.

use chrono::NaiveDate;
use diesel::prelude::*;
use diesel::sql_types::{BigInt, Nullable, Text};
use tubtrail_domain::lot_number::LotNumber;
use tubtrail_domain::place::{Place, State};

use crate::kept::{Kept, Value, asked_together, rows};
use crate::lots::{LotRow, lots};
use crate::stock::{HoldRow, LotRejectionRow, rejection_of};
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
    /// Every place that ever held some of it, or gave some, with the milligrams it holds now, in order of site and the word of the
    /// state; empty ones too.
    pub places: Vec<(Place, i64)>,
}

type Columns = (lots::SqlType, Text, Nullable<Text>, Nullable<BigInt>, Nullable<BigInt>);

type Found = (LotRow, String, Option<String>, Option<i64>, Option<i64>);

/// By the two halves of its number.
pub fn by_number(conn: &mut AnyConnection, number: LotNumber) -> Result<Option<StandingRow>, StorageError> {
    Ok(by_numbers(conn, &[number])?.pop())
}

/// By the two halves of their numbers, in no order; those that are nobody's are left out.
pub fn by_numbers(conn: &mut AnyConnection, numbers: &[LotNumber]) -> Result<Vec<StandingRow>, StorageError> {
    let halves = numbers.iter().filter_map(|number| Some((number.day(), i32::try_from(number.serial()).ok()?)));
    let halves: Vec<(NaiveDate, i32)> = halves.collect();
    let mut found = Vec::with_capacity(halves.len());
    for these in asked_together(&halves) {
        let condition = of_numbers(these.len());
        let values = these.iter().flat_map(|(day, serial)| [Value::Day(*day), Value::Small(*serial)]);
        found.append(&mut find(conn, &condition, values.collect())?);
    }
    Ok(found)
}

fn of_numbers(numbers: usize) -> String {
    format!("(l.day, l.serial) IN (VALUES {})", rows(numbers, 2))
}

/// By its row id.
pub fn by_id(conn: &mut AnyConnection, id: i64) -> Result<Option<StandingRow>, StorageError> {
    Ok(find(conn, "l.id = ?", vec![Value::Number(id)])?.pop())
}

/// A row for every lot, its places in one text: a row for every place would be all of the lot six times over, and its holds looked
/// up as often. The plus and the limit keep PostgreSQL to the holds of the lot: without them it may find the oldest, or the released,
/// by going through all holds there ever were in their order, which costs as little while there are few and stays planned.
fn find(conn: &mut AnyConnection, condition: &str, values: Vec<Value<'_>>) -> Result<Vec<StandingRow>, StorageError> {
    let found: Vec<Found> = Kept::<Columns>::new(text(condition), values).load(conn)?;
    let hold_ids: Vec<i64> = found.iter().filter_map(|(.., hold_id, _)| *hold_id).collect();
    let holds = HoldRow::among(conn, "id", &hold_ids)?;
    let standing = |(lot, item_code, places, hold_id, rejection_id): Found| {
        let hold = holds.iter().find(|hold| Some(hold.id) == hold_id).cloned();
        let rejection = if rejection_id.is_some() { rejection_of(conn, lot.id)? } else { None };
        let places = places_of(lot.id, places.as_deref().unwrap_or_default())?;
        Ok(StandingRow { lot, item_code, hold, rejection, places })
    };
    found.into_iter().map(standing).collect()
}

fn text(condition: &str) -> String {
    let columns: Vec<String> = LotRow::COLUMNS.iter().map(|column| format!("l.{column}")).collect();
    format!(
        "SELECT {}, i.code, (SELECT STRING_AGG(b.site_id || ' ' || b.state || ' ' || b.mass_mg, ',') FROM balances b \
         WHERE b.lot_id = l.id), (SELECT MIN(h.id + 0) FROM holds h WHERE h.lot_id = l.id \
         AND NOT EXISTS (SELECT 1 FROM hold_releases r WHERE r.hold_id = h.id LIMIT 1 OFFSET 0)), j.id \
         FROM lots l JOIN items i ON i.id = l.item_id LEFT JOIN lot_rejections j ON j.lot_id = l.id WHERE {condition}",
        columns.join(", ")
    )
}

/// The places of a lot, as [`find`] asks for them: `1000 available 1600000,1001 open 0`.
fn places_of(lot_id: i64, told: &str) -> Result<Vec<(Place, i64)>, StorageError> {
    let place = |told: &str| {
        let mut parts = told.split(' ');
        let (site_id, state, mass_mg) = (parts.next()?, parts.next()?, parts.next()?);
        Some((Place { site_id: site_id.parse().ok()?, state: State::from_word(state)? }, mass_mg.parse().ok()?))
    };
    let corrupt = || StorageError::Corrupt(format!("the balances of lot row {lot_id} read {told:?}"));
    let each = told.split(',').filter(|told| !told.is_empty());
    let mut places = each.map(|told| place(told).ok_or_else(corrupt)).collect::<Result<Vec<(Place, i64)>, _>>()?;
    places.sort_unstable_by_key(|(place, _)| (place.site_id, place.state.word()));
    Ok(places)
}

#[cfg(test)]
mod tests {
    use super::{of_numbers, text};
    use crate::kept::tests::sqlite_plan;

    /// However many lots and holds there are, a lot is found by itself, and so are its holds.
    #[test]
    fn a_lot_is_looked_up_by_both_halves_of_its_number() {
        for numbers in [1, 2, 64] {
            let plan = sqlite_plan(&text(&of_numbers(numbers)));
            for search in [
                "SEARCH l USING INDEX sqlite_autoindex_lots_2 (day=? AND serial=?)",
                "SEARCH h USING INDEX holds_by_lot (lot_id=?)",
            ] {
                assert!(plan.contains(search), "{plan}");
            }
        }
    }
}
