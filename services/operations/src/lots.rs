//! Lots: how one comes to be, how one is named, and how they are found.

mod one;
mod search;

pub use search::{HoldShown, Lot, LotKind, LotMovement, LotSearch};
pub(crate) use search::{show_one, within_reach};

use chrono::{NaiveDate, NaiveDateTime};
use tubtrail_domain::lot_number::LotNumber;
use tubtrail_domain::place::{Place, State};
use tubtrail_domain::say;
use tubtrail_storage::lots::{LotRow, last_serial, lot_by_number};
use tubtrail_storage::stock::MovementRow;
use tubtrail_storage::{AnyConnection, WriteTx};

use crate::error::{OperationError, Result};
use crate::problems;

/// What a new lot is, besides its number.
#[derive(Clone, Debug)]
pub(crate) struct NewLot {
    pub day: NaiveDate,
    pub item_id: i64,
    pub site_id: i64,
    pub kind: &'static str,
    pub supplier_id: Option<i64>,
    pub supplier_lot_code: Option<String>,
    pub delivery_id: Option<i64>,
    pub batch_id: Option<i64>,
    pub mass_mg: i64,
    pub came_to_be_at: NaiveDateTime,
    pub mature_at: Option<NaiveDateTime>,
    pub expires_on: Option<NaiveDate>,
    pub expiry_kind: Option<String>,
}

/// Records a lot under the next number of its day, and moves its mass from where it came from onto the shelf.
pub(crate) fn record_lot(tx: &mut WriteTx<'_>, new: NewLot) -> Result<LotRow> {
    let serial = last_serial(tx.conn()?, new.day)? + 1;
    let row = LotRow {
        id: tx.lot_id(),
        entry: tx.entry(),
        day: new.day,
        serial,
        item_id: new.item_id,
        site_id: new.site_id,
        kind: new.kind.to_owned(),
        supplier_id: new.supplier_id,
        supplier_lot_code: new.supplier_lot_code,
        delivery_id: new.delivery_id,
        batch_id: new.batch_id,
        mass_mg: new.mass_mg,
        came_to_be_at: new.came_to_be_at,
        mature_at: new.mature_at,
        expires_on: new.expires_on,
        expiry_kind: new.expiry_kind,
    };
    number(&row)?;
    tx.record(&row)?;
    let (kind, from) = match row.batch_id {
        Some(_) => ("made", State::Production),
        None => ("received", State::Supplier),
    };
    let movement = movement(tx, &row, kind, Place::new(row.site_id, from), Place::new(row.site_id, State::Available));
    tx.move_mass(&MovementRow { occurred_at: row.came_to_be_at, partner_id: row.supplier_id, ..movement })?;
    Ok(row)
}

/// A movement of the whole of a lot, now; change what differs.
pub(crate) fn movement(tx: &mut WriteTx<'_>, lot: &LotRow, kind: &str, from: Place, to: Place) -> MovementRow {
    MovementRow {
        id: tx.id(),
        entry: tx.entry(),
        lot_id: lot.id,
        kind: kind.to_owned(),
        from_site_id: from.site_id,
        from_state: from.state.word().to_owned(),
        to_site_id: to.site_id,
        to_state: to.state.word().to_owned(),
        mass_mg: lot.mass_mg,
        occurred_at: tx.now(),
        reason: None,
        use_id: None,
        transfer_id: None,
        count_id: None,
        partner_id: None,
        document: None,
    }
}

/// A lot's number.
pub(crate) fn number(lot: &LotRow) -> Result<LotNumber> {
    Ok(lot.number()?)
}

/// The lot a number in a request's field names. Who asks must be checked by the caller.
pub(crate) fn named(conn: &mut AnyConnection, field: &str, text: &str) -> Result<LotRow> {
    let number = parse(text).map_err(|error| error.at(field))?;
    find(conn, number)?.ok_or_else(|| OperationError::unknown(say!("lot"), text, field))
}

/// The lot a number in a request's address names. Who asks must be checked by the caller.
pub(crate) fn addressed(conn: &mut AnyConnection, text: &str) -> Result<LotRow> {
    let number = parse(text)?;
    find(conn, number)?.ok_or_else(|| OperationError::not_found(say!("lot"), text))
}

pub(crate) fn find(conn: &mut AnyConnection, number: LotNumber) -> Result<Option<LotRow>> {
    let serial = i32::try_from(number.serial()).map_err(|_| OperationError::not_found(say!("lot"), number))?;
    Ok(lot_by_number(conn, number.day(), serial)?)
}

pub(crate) fn parse(text: &str) -> Result<LotNumber> {
    text.parse().map_err(|error| OperationError::new(&problems::BAD_LOT_NUMBER, error))
}
