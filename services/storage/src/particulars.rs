//! What the index keeps of lots and batches beside the graph: what they are, where they came from, and where all of it lies.
//! Read a stretch of rows at a time, and what moved since.

use chrono::{NaiveDate, NaiveDateTime};
use diesel::prelude::*;
use tubtrail_domain::place::State;

use crate::lots::{batches, lots};
use crate::stock::{BalanceRow, balances, movements};
use crate::{AnyConnection, StorageError};

/// A lot, as far as answers show it.
#[derive(Clone, Debug, PartialEq, Eq, Queryable)]
pub struct LotParticulars {
    /// Row id.
    pub id: i64,
    /// First half of its number: the day, where it came to be.
    pub day: NaiveDate,
    /// Second half: the serial of that day.
    pub serial: i32,
    /// Of what.
    pub item_id: i64,
    /// Where it came to be.
    pub site_id: i64,
    /// received, base, component, tub, remainder or rework.
    pub kind: String,
    /// From whom, if received.
    pub supplier_id: Option<i64>,
    /// The supplier's own code for it.
    pub supplier_lot_code: Option<String>,
    /// With which delivery.
    pub delivery_id: Option<i64>,
    /// When it was received or made.
    pub came_to_be_at: NaiveDateTime,
    /// From when it may be used.
    pub mature_at: Option<NaiveDateTime>,
    /// Last day it may be used.
    pub expires_on: Option<NaiveDate>,
    /// `best_before` or `use_by`.
    pub expiry_kind: Option<String>,
}

/// A batch, as far as answers show it.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Queryable)]
pub struct BatchParticulars {
    /// Row id.
    pub id: i64,
    /// Of which version of a recipe.
    pub recipe_version_id: i64,
    /// Where.
    pub site_id: i64,
    /// When it began.
    pub started_at: NaiveDateTime,
}

/// A quantity of a lot left one place and reached another.
#[derive(Clone, Debug, PartialEq, Eq, Queryable)]
pub struct Moved {
    /// Of which lot.
    pub lot_id: i64,
    /// Left which site.
    pub from_site_id: i64,
    /// In which state.
    pub from_state: String,
    /// Reached which site.
    pub to_site_id: i64,
    /// In which state.
    pub to_state: String,
    /// How much.
    pub mass_mg: i64,
    /// When it happened.
    pub occurred_at: NaiveDateTime,
}

/// The lots with row ids from one to another, both included, in order.
pub fn lots_between(conn: &mut AnyConnection, first: i64, last: i64) -> Result<Vec<LotParticulars>, StorageError> {
    let columns = (
        lots::id,
        lots::day,
        lots::serial,
        lots::item_id,
        lots::site_id,
        lots::kind,
        lots::supplier_id,
        lots::supplier_lot_code,
        lots::delivery_id,
        lots::came_to_be_at,
        lots::mature_at,
        lots::expires_on,
        lots::expiry_kind,
    );
    let stretch = lots::table.filter(lots::id.ge(first)).filter(lots::id.le(last));
    Ok(stretch.order(lots::id).select(columns).load(conn)?)
}

/// The batches with row ids from one to another, both included, in order.
pub fn batches_between(conn: &mut AnyConnection, first: i64, last: i64) -> Result<Vec<BatchParticulars>, StorageError> {
    let columns = (batches::id, batches::recipe_version_id, batches::site_id, batches::started_at);
    let stretch = batches::table.filter(batches::id.ge(first)).filter(batches::id.le(last));
    Ok(stretch.order(batches::id).select(columns).load(conn)?)
}

/// Where all of some lots lies, those with row ids from one to another, both included: the balances that are not zero, by lot,
/// but for what suppliers gave and got back and what went into and came out of batches.
pub fn places_between(conn: &mut AnyConnection, first: i64, last: i64) -> Result<Vec<BalanceRow>, StorageError> {
    Ok(balances::table
        .filter(balances::lot_id.ge(first))
        .filter(balances::lot_id.le(last))
        .filter(balances::mass_mg.ne(0))
        .filter(balances::state.ne(State::Supplier.word()))
        .filter(balances::state.ne(State::Production.word()))
        .order((balances::lot_id, balances::site_id, balances::state))
        .load(conn)?)
}

/// What moved by the entries in `(after, until]`, in the order in which it was written down.
pub fn moved_between(conn: &mut AnyConnection, after: i64, until: i64) -> Result<Vec<Moved>, StorageError> {
    Ok(movements::table
        .filter(movements::entry.gt(after))
        .filter(movements::entry.le(until))
        .order(movements::id)
        .select((
            movements::lot_id,
            movements::from_site_id,
            movements::from_state,
            movements::to_site_id,
            movements::to_state,
            movements::mass_mg,
            movements::occurred_at,
        ))
        .load(conn)?)
}
