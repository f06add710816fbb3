//! Voids: a use that did not happen as it was written.

use serde::{Deserialize, Serialize};
use tubtrail_domain::place::{Place, State};
use tubtrail_domain::say;
use tubtrail_storage::lots::{UseRow, UseVoidRow, completion_of, lot, use_by_id, voids_of};
use tubtrail_storage::stock::MovementRow;
use tubtrail_storage::{StorageError, WriteTx};
use utoipa::ToSchema;

use crate::batches::{self, Making};
use crate::error::{OperationError, Result};
use crate::lots::movement;
use crate::quantities::in_grams;
use crate::reach::{self, Request};
use crate::tubtrail::{Answered, Tubtrail};
use crate::uses::{BatchUse, answer_uses, went_in};
use crate::{fields, problems};

/// Why a use did not happen as written.
#[derive(Clone, Debug, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(example = json!({"reason": "scanned the wrong sack"}))]
pub struct UseVoid {
    /// In words.
    #[schema(max_length = 2000)]
    pub reason: String,
}

impl Tubtrail {
    /// Says that a use did not happen: what was used is back on the shelf, and nothing descends from it any more.
    pub fn void_use(&self, request: &Request, id: i64, new: UseVoid) -> Result<Answered<BatchUse>> {
        let actor = request.actor.clone();
        self.write(request, &reach::VOID_USE, move |tx| {
            let not_found = || OperationError::not_found(say!("use"), id);
            let row = use_by_id(tx.conn()?, id)?.ok_or_else(not_found)?;
            let making = batches::addressed(tx.conn()?, &actor, &reach::VOID_USE, row.batch_id)
                .map_err(|error| error.if_not_found(not_found))?;
            let reason = fields::reason("reason", Some(&new.reason))?;
            refuse_void(tx, &row)?;
            record_void(tx, &making, &row, reason)?;
            only(answer_uses(tx.conn()?, vec![row])?)
        })
    }
}

fn only(mut uses: Vec<BatchUse>) -> Result<BatchUse> {
    Ok(uses.pop().ok_or_else(|| StorageError::Corrupt("a use has no answer".into()))?)
}

fn refuse_void(tx: &mut WriteTx<'_>, row: &UseRow) -> Result<()> {
    if !voids_of(tx.conn()?, &[row.id])?.is_empty() {
        return Err(OperationError::new(&problems::ALREADY_VOIDED, say!("use {id} was already voided", id = row.id)));
    }
    let Some(completion) = completion_of(tx.conn()?, row.batch_id)? else { return Ok(()) };
    let left_mg = went_in(tx.conn()?, row.batch_id)?.mass_mg - row.mass_mg;
    if left_mg >= completion.out_mg {
        return Ok(());
    }
    let detail = say!(
        "without it {inside} went in, and {out} came out; write down first what went in instead",
        inside = in_grams(left_mg),
        out = in_grams(completion.out_mg)
    );
    Err(OperationError::new(&problems::MORE_OUT_THAN_IN, detail))
}

fn record_void(tx: &mut WriteTx<'_>, making: &Making, row: &UseRow, reason: String) -> Result<()> {
    let site_id = making.row.site_id;
    tx.at_site(site_id);
    let void = UseVoidRow { id: tx.id(), entry: tx.entry(), use_id: row.id, reason: reason.clone() };
    tx.record(&void)?;
    let used = lot(tx.conn()?, row.lot_id)?;
    let back =
        movement(tx, &used, "put_right", Place::new(site_id, State::Production), Place::new(site_id, State::Available));
    tx.move_mass(&MovementRow { mass_mg: row.mass_mg, reason: Some(reason), use_id: Some(row.id), ..back })?;
    Ok(())
}
