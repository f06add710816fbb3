//! What goes into a batch: its form is checked and its names found, then it is judged and recorded, one after the other.

use std::collections::HashMap;

use chrono::NaiveDateTime;
use tubtrail_domain::place::{Place, State};
use tubtrail_domain::quantity::Mass;
use tubtrail_domain::say;
use tubtrail_storage::lots::{LotRow, UntrackedInputRow, UseRow, lots_by_ids};
use tubtrail_storage::master_data::{Item, Noun};
use tubtrail_storage::stock::{MovementRow, here_since};
use tubtrail_storage::{AnyConnection, StorageError, WriteTx};

use super::{MOST_USES, NewUse};
use crate::batches::Making;
use crate::error::{OperationError, Result};
use crate::index::{Index, lot_ix, lot_row};
use crate::items::counting;
use crate::lots::{self, movement};
use crate::quantities::QuantityEntered;
use crate::reach::Actor;
use crate::standing::Standing;
use crate::use_rules::{Asked, judge};
use crate::{fields, problems};

/// What goes into a batch, its form checked and its names found.
pub(crate) struct Input {
    pub(super) lot: Option<NamedLot>,
    pub(super) item: Item,
    entered: QuantityEntered,
    pub(super) mass: Mass,
    said_at: Option<NaiveDateTime>,
    reason: Option<String>,
}

/// A lot that was named; what is kept without lots has none.
pub(super) struct NamedLot {
    pub(super) row: LotRow,
    number: String,
}

/// Checks the form of what goes in and finds what it names, in order of line.
pub(crate) fn check(conn: &mut AnyConnection, actor: &Actor, new: &[NewUse], now: NaiveDateTime) -> Result<Vec<Input>> {
    fields::between("uses", new.len(), 0, MOST_USES)?;
    new.iter().enumerate().map(|(position, one)| check_input(conn, actor, one, now).map_err(under(position))).collect()
}

fn under(position: usize) -> impl FnOnce(OperationError) -> OperationError {
    move |error| error.in_list("uses", position)
}

fn check_input(conn: &mut AnyConnection, actor: &Actor, new: &NewUse, now: NaiveDateTime) -> Result<Input> {
    let said_at = new.used_at.map(|said| fields::occurred_at("used_at", Some(said), now)).transpose()?;
    let reason = fields::optional_note("reason", new.reason.as_deref())?;
    let (lot, item) = match (&new.lot, &new.item) {
        (Some(number), None) => named_lot(conn, actor, number)?,
        (None, Some(code)) => (None, untracked_item(conn, code, said_at)?),
        (Some(_), Some(_)) => return Err(OperationError::invalid("item", say!("name the lot or the item, not both"))),
        (None, None) => {
            return Err(OperationError::invalid("lot", say!("name the lot, or an item that is kept without lots")));
        }
    };
    let mass = new.quantity.to_mass(&counting(&item.current)?).map_err(|error| error.under("quantity"))?;
    Ok(Input { lot, item, entered: new.quantity.clone(), mass, said_at, reason })
}

fn named_lot(conn: &mut AnyConnection, actor: &Actor, number: &str) -> Result<(Option<NamedLot>, Item)> {
    let row = Standing::named(conn, actor, "lot", number)?.lot;
    let item = Item::by_id(conn, row.item_id)?
        .ok_or_else(|| StorageError::Corrupt(format!("item row {} is missing", row.item_id)))?;
    let number = lots::number(&row)?.to_string();
    Ok((Some(NamedLot { row, number }), item))
}

fn untracked_item(conn: &mut AnyConnection, code: &str, said_at: Option<NaiveDateTime>) -> Result<Item> {
    let item = fields::item(conn, "item", code)?;
    if item.current.tracked {
        let detail = say!("{item} is kept by lot: name the lot", item = item.current.name);
        return Err(OperationError::new(&problems::WRONG_KIND, detail).at("item"));
    }
    if said_at.is_some() {
        return Err(OperationError::invalid("used_at", say!("a time is kept for lots only")));
    }
    Ok(item)
}

/// Refuses what is written down after the batch was completed without saying why.
pub(super) fn refuse_late(inputs: &[Input]) -> Result<()> {
    match inputs.iter().position(|input| input.reason.is_none()) {
        None => Ok(()),
        Some(position) => {
            let detail = say!("the batch is already completed: say why this is written down now");
            Err(under(position)(OperationError::new(&problems::NEEDS_REASON, detail).at("reason")))
        }
    }
}

/// Refuses a lot that was itself made from what this batch yielded.
///
/// Each is looked at alone, and that is enough although they come together: all of them lead into this one batch, so a
/// loop through two of them would pass through the batch twice, and the part between is a loop through one.
pub(super) fn refuse_loops(tx: &mut WriteTx<'_>, making: &Making, inputs: &[Input], index: &Index) -> Result<()> {
    for (position, input) in inputs.iter().enumerate() {
        let Some(NamedLot { row, number }) = &input.lot else { continue };
        let lot = lot_ix(row.id)?;
        let closed = index.look(|inside, scratch| -> Result<Vec<i64>> {
            let batch = inside.batch(making.row.id)?;
            let found = inside.graph.would_loop(scratch, lot, batch);
            Ok(found.map_or_else(Vec::new, |found| found.lots.into_iter().map(lot_row).collect()))
        })?;
        if !closed.is_empty() {
            return Err(under(position)(would_loop(tx.conn()?, number, &closed)?));
        }
    }
    Ok(())
}

fn would_loop(conn: &mut AnyConnection, number: &str, chain: &[i64]) -> Result<OperationError> {
    let numbers: HashMap<i64, String> = lots_by_ids(conn, chain)?
        .iter()
        .map(|lot| Ok((lot.id, lots::number(lot)?.to_string())))
        .collect::<Result<_>>()?;
    let chain: Vec<String> = chain.iter().filter_map(|id| numbers.get(id).cloned()).collect();
    let detail =
        say!("lot {number} was made from what this batch yielded: {chain}", number, chain = chain.join(", then "));
    Ok(OperationError::new(&problems::WOULD_LOOP, detail).at("lot").about(chain))
}

/// When something went in where nobody says.
#[derive(Clone, Copy, Debug)]
pub(crate) enum Unsaid {
    /// At a moment, or as soon after it as the lot was there.
    At(NaiveDateTime),
    /// By when the batch was completed.
    Completed(NaiveDateTime),
}

impl Unsaid {
    fn used_at(self, here_since: NaiveDateTime) -> NaiveDateTime {
        match self {
            // A lot brought by a device whose clock runs ahead may be a moment younger than our own now.
            Self::At(at) => at.max(here_since),
            Self::Completed(at) => at,
        }
    }

    const fn completed_at(self) -> Option<NaiveDateTime> {
        match self {
            Self::At(_) => None,
            Self::Completed(at) => Some(at),
        }
    }
}

/// Judges and records what goes in, one after the other, so that two uses of one lot count together.
pub(crate) fn record(
    tx: &mut WriteTx<'_>,
    index: &Index,
    actor: &Actor,
    making: &Making,
    inputs: &[Input],
    unsaid: Unsaid,
) -> Result<(Vec<UseRow>, Vec<UntrackedInputRow>)> {
    let (mut uses, mut untracked) = (Vec::new(), Vec::new());
    for (position, input) in inputs.iter().enumerate() {
        match &input.lot {
            Some(NamedLot { row, number }) => {
                let here_since = here_since(tx.conn()?, row.id, making.row.site_id)?.unwrap_or(row.came_to_be_at);
                let used_at = input.said_at.unwrap_or(unsaid.used_at(here_since));
                let (mass_mg, with_reason) = (input.mass.mg(), input.reason.is_some());
                let completed_at = unsaid.completed_at();
                let asked = Asked { lot: row, number, mass_mg, used_at, here_since, completed_at, with_reason };
                judge(tx, index, actor, making, &asked).map_err(under(position))?;
                uses.push(record_use(tx, making, input, row, used_at)?);
            }
            None => untracked.push(record_untracked(tx, making, input)?),
        }
    }
    Ok((uses, untracked))
}

fn record_use(
    tx: &mut WriteTx<'_>,
    making: &Making,
    input: &Input,
    lot: &LotRow,
    used_at: NaiveDateTime,
) -> Result<UseRow> {
    let row = UseRow {
        id: tx.id(),
        entry: tx.entry(),
        batch_id: making.row.id,
        lot_id: lot.id,
        mass_mg: input.mass.mg(),
        entered_amount: input.entered.amount.0.clone(),
        entered_unit: input.entered.unit.clone(),
        used_at,
        in_recipe: making.names(lot.item_id),
        override_reason: input.reason.clone(),
    };
    tx.record(&row)?;
    let site_id = making.row.site_id;
    let moved =
        movement(tx, lot, "used", Place::new(site_id, State::Available), Place::new(site_id, State::Production));
    tx.move_mass(&MovementRow { mass_mg: row.mass_mg, occurred_at: used_at, use_id: Some(row.id), ..moved })?;
    Ok(row)
}

fn record_untracked(tx: &mut WriteTx<'_>, making: &Making, input: &Input) -> Result<UntrackedInputRow> {
    let row = UntrackedInputRow {
        id: tx.id(),
        entry: tx.entry(),
        batch_id: making.row.id,
        item_id: input.item.row.id,
        mass_mg: input.mass.mg(),
        entered_amount: input.entered.amount.0.clone(),
        entered_unit: input.entered.unit.clone(),
        reason: input.reason.clone(),
    };
    tx.record(&row)?;
    Ok(row)
}
