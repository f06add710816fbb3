//! Uses: so many grams of a lot went into a batch. They are the edges of the lot graph.

mod going_in;

use std::collections::HashMap;

use chrono::{DateTime, NaiveDateTime, Utc};
use serde::{Deserialize, Serialize};
use tubtrail_domain::say;
use tubtrail_storage::lots::{
    LotRow, UntrackedInputRow, UseRow, UseVoidRow, completion_of, lots_by_ids, untracked_inputs_of, uses_of_batch,
    voids_of,
};
use tubtrail_storage::{AnyConnection, StorageError, WriteTx};
use utoipa::ToSchema;

pub(crate) use self::going_in::{Input, Unsaid, check, record};
use self::going_in::{refuse_late, refuse_loops};
use crate::batches::{self, Making, code_of, item_codes};
use crate::error::{OperationError, Result};
use crate::index::Index;
use crate::quantities::{Amount, Grams, QuantityEntered};
use crate::reach::{self, Actor, Request};
use crate::tubtrail::{Answered, Tubtrail};
use crate::{fields, lots, problems};

/// Most uses of one request.
const MOST_USES: usize = 100;
/// Most uses and untracked inputs of one batch.
const MOST_OF_A_BATCH: usize = 1000;

/// What went into a batch, as it is written down.
#[derive(Clone, Debug, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(example = json!({"uses": [{"lot": "261125-0003-1", "quantity": {"amount": 42, "unit": "kg"}},
    {"item": "water", "quantity": {"amount": 2.5, "unit": "l"}}]}))]
pub struct NewUses {
    /// One a lot, and one an item kept without lots. A lot that ran out and the lot it went on with are two.
    #[schema(min_items = 1, max_items = 100)]
    pub uses: Vec<NewUse>,
}

/// One thing that went into a batch: a lot, or an item that is kept without lots.
#[derive(Clone, Debug, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct NewUse {
    /// The lot's number.
    #[serde(default)]
    #[schema(max_length = 20, example = "261125-0003-1")]
    pub lot: Option<String>,
    /// Instead of a lot, the code of an item that is kept without lots: water.
    #[serde(default)]
    #[schema(max_length = 40)]
    pub item: Option<String>,
    /// How much.
    pub quantity: QuantityEntered,
    /// When it went in; if absent, now, or when the batch was completed if it was. Not after that, and not before the lot
    /// was on the shelf here; but it may lie before the batch began, for ingredients are weighed out beforehand.
    #[serde(default)]
    pub used_at: Option<DateTime<Utc>>,
    /// Needed for what is written down after the batch was completed, and to use a lot before it is mature.
    #[serde(default)]
    #[schema(max_length = 2000)]
    pub reason: Option<String>,
}

/// A use as it stands.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[schema(example = json!({"id": 5012, "lot": "261125-0042-7", "item": "whole-milk", "quantity": {"amount": 42, "unit": "kg"}, "grams": 42000, "used_at": "2026-11-25T05:50:00Z", "in_recipe": true, "entry": 8001}))]
pub struct BatchUse {
    /// Its number.
    pub id: i64,
    /// The lot's number.
    pub lot: String,
    /// The code of the lot's item.
    pub item: String,
    /// As typed.
    pub quantity: QuantityEntered,
    /// What that comes to.
    pub grams: Grams,
    /// When it went in.
    pub used_at: DateTime<Utc>,
    /// Whether the recipe names the item.
    pub in_recipe: bool,
    /// Why, where that was asked.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub reason: Option<String>,
    /// It did not happen as written.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub voided: Option<Voided>,
    /// The journal entry that brought it.
    pub entry: i64,
}

/// That a use did not happen.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub struct Voided {
    /// Why it was written down, or what went wrong.
    pub reason: String,
    /// The journal entry that voided it.
    pub entry: i64,
}

/// Something that went in without a lot.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub struct UntrackedInput {
    /// The item's code.
    pub item: String,
    /// As typed.
    pub quantity: QuantityEntered,
    /// What that comes to.
    pub grams: Grams,
    /// Whether the recipe names the item.
    pub in_recipe: bool,
    /// Why, where that was asked.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub reason: Option<String>,
    /// The journal entry that brought it.
    pub entry: i64,
}

/// What was added to a batch.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[schema(example = json!({"batch": 4711, "uses": [{"id": 5012, "lot": "261125-0042-7", "item": "whole-milk", "quantity": {"amount": 42, "unit": "kg"}, "grams": 42000, "used_at": "2026-11-25T05:50:00Z", "in_recipe": true, "entry": 8001}], "untracked": [], "in_grams": 42000}))]
pub struct AddedUses {
    /// The batch's number.
    pub batch: i64,
    /// The uses added now.
    pub uses: Vec<BatchUse>,
    /// What was added now without lots.
    pub untracked: Vec<UntrackedInput>,
    /// Everything that went into the batch so far and was not voided.
    pub in_grams: Grams,
}

impl Tubtrail {
    /// Writes down what went into a batch: all of it, or nothing.
    ///
    /// It may be late: a batch already completed takes uses that carry a reason, unless one would make a lot contain itself.
    /// Whatever went into it did so before it was completed.
    pub fn add_uses(&self, request: &Request, batch: i64, new: NewUses) -> Result<Answered<AddedUses>> {
        let actor = request.actor.clone();
        // Only a completed batch has yielded anything, so only there can a loop be closed; asking for loops may cost a
        // commit of one's own, which what is written down in order need not pay.
        if self.read(|conn| Ok(completion_of(conn, batch)?.is_some()))? {
            self.write_with_graph(request, &reach::ADD_USES, move |tx, index| add(tx, index, &actor, batch, &new, true))
        } else {
            self.write_with_recalls(request, &reach::ADD_USES, move |tx, index| {
                add(tx, index, &actor, batch, &new, false)
            })
        }
    }
}

fn add(
    tx: &mut WriteTx<'_>,
    index: &Index,
    actor: &Actor,
    batch: i64,
    new: &NewUses,
    may_be_late: bool,
) -> Result<AddedUses> {
    let making = batches::addressed(tx.conn()?, actor, &reach::ADD_USES, batch)?;
    fields::between("uses", new.uses.len(), 1, MOST_USES)?;
    let now = tx.now();
    let inputs = check(tx.conn()?, actor, &new.uses, now)?;
    let before = Before::of(tx.conn()?, batch)?;
    before.refuse_too_many(inputs.len())?;
    let completion = completion_of(tx.conn()?, batch)?;
    if completion.is_some() {
        refuse_late(&inputs)?;
        if !may_be_late {
            return Err(completed_meanwhile());
        }
        refuse_loops(tx, &making, &inputs, index)?;
    }
    tx.at_site(making.row.site_id);
    let unsaid = completion.map_or(Unsaid::At(now), |done| Unsaid::Completed(done.completed_at));
    let (uses, untracked) = record(tx, index, actor, &making, &inputs, unsaid)?;
    let added_mg: i64 = inputs.iter().map(|input| input.mass.mg()).sum();
    let in_grams = Grams::from_mg(before.went_in(tx.conn()?)?.mass_mg + added_mg);
    let (uses, untracked) = answer_new(&making, &inputs, uses, untracked)?;
    Ok(AddedUses { batch, uses, untracked, in_grams })
}

fn completed_meanwhile() -> OperationError {
    let detail = say!("the batch was completed a moment ago; look at it again, and send this again if it still holds");
    OperationError::new(&problems::VERSION_MOVED, detail)
}

/// What went into a batch and was not voided.
pub(crate) struct WentIn {
    /// Milligrams, water and the like included.
    pub mass_mg: i64,
    /// When the last of it did, where that is known.
    pub last_at: Option<NaiveDateTime>,
}

/// What was written down as having gone into a batch, voided or not.
struct Before {
    uses: Vec<UseRow>,
    untracked: Vec<UntrackedInputRow>,
}

impl Before {
    fn of(conn: &mut AnyConnection, batch: i64) -> Result<Self> {
        Ok(Self { uses: uses_of_batch(conn, batch)?, untracked: untracked_inputs_of(conn, batch)? })
    }

    fn refuse_too_many(&self, more: usize) -> Result<()> {
        fields::between("uses", self.uses.len() + self.untracked.len() + more, 0, MOST_OF_A_BATCH)
    }

    fn went_in(&self, conn: &mut AnyConnection) -> Result<WentIn> {
        let ids: Vec<i64> = self.uses.iter().map(|one| one.id).collect();
        let voided: Vec<i64> = voids_of(conn, &ids)?.iter().map(|void| void.use_id).collect();
        let live: Vec<&UseRow> = self.uses.iter().filter(|one| !voided.contains(&one.id)).collect();
        let untracked_mg: i64 = self.untracked.iter().map(|one| one.mass_mg).sum();
        Ok(WentIn {
            mass_mg: live.iter().map(|one| one.mass_mg).sum::<i64>() + untracked_mg,
            last_at: live.iter().map(|one| one.used_at).max(),
        })
    }
}

/// Adds up what went into a batch.
pub(crate) fn went_in(conn: &mut AnyConnection, batch: i64) -> Result<WentIn> {
    Before::of(conn, batch)?.went_in(conn)
}

/// What was written down just now: of which lots and items is known, and nothing of it can be voided yet.
fn answer_new(
    making: &Making,
    inputs: &[Input],
    uses: Vec<UseRow>,
    untracked: Vec<UntrackedInputRow>,
) -> Result<(Vec<BatchUse>, Vec<UntrackedInput>)> {
    let items: HashMap<i64, String> =
        inputs.iter().map(|input| (input.item.row.id, input.item.row.code.clone())).collect();
    let lots: HashMap<i64, &LotRow> =
        inputs.iter().filter_map(|input| input.lot.as_ref()).map(|lot| (lot.row.id, &lot.row)).collect();
    let uses = uses.into_iter().map(|row| answer_use(row, &lots, &items, None)).collect::<Result<_>>()?;
    let untracked = untracked.into_iter().map(|row| answer_input(making, row, &items)).collect::<Result<_>>()?;
    Ok((uses, untracked))
}

/// Uses as they stand, in the order given.
pub(crate) fn answer_uses(conn: &mut AnyConnection, rows: Vec<UseRow>) -> Result<Vec<BatchUse>> {
    let ids: Vec<i64> = rows.iter().map(|row| row.id).collect();
    let mut voids: HashMap<i64, UseVoidRow> =
        voids_of(conn, &ids)?.into_iter().map(|void| (void.use_id, void)).collect();
    let lot_ids: Vec<i64> = rows.iter().map(|row| row.lot_id).collect();
    let lots = lots_by_ids(conn, &lot_ids)?;
    let lots: HashMap<i64, &LotRow> = lots.iter().map(|lot| (lot.id, lot)).collect();
    let items = item_codes(conn, lots.values().map(|lot| lot.item_id))?;
    rows.into_iter()
        .map(|row| {
            let voided = voids.remove(&row.id);
            answer_use(row, &lots, &items, voided)
        })
        .collect()
}

fn answer_use(
    row: UseRow,
    lots: &HashMap<i64, &LotRow>,
    items: &HashMap<i64, String>,
    voided: Option<UseVoidRow>,
) -> Result<BatchUse> {
    let lot =
        lots.get(&row.lot_id).ok_or_else(|| StorageError::Corrupt(format!("use {}: its lot is missing", row.id)))?;
    Ok(BatchUse {
        id: row.id,
        lot: lots::number(lot)?.to_string(),
        item: code_of(items, lot.item_id)?,
        quantity: QuantityEntered { amount: Amount(row.entered_amount), unit: row.entered_unit },
        grams: Grams::from_mg(row.mass_mg),
        used_at: fields::utc(row.used_at),
        in_recipe: row.in_recipe,
        reason: row.override_reason,
        voided: voided.map(|void| Voided { reason: void.reason, entry: void.entry }),
        entry: row.entry,
    })
}

/// What went in without lots, in the order given.
pub(crate) fn answer_untracked(
    conn: &mut AnyConnection,
    making: &Making,
    rows: Vec<UntrackedInputRow>,
) -> Result<Vec<UntrackedInput>> {
    let items = item_codes(conn, rows.iter().map(|row| row.item_id))?;
    rows.into_iter().map(|row| answer_input(making, row, &items)).collect()
}

fn answer_input(making: &Making, row: UntrackedInputRow, items: &HashMap<i64, String>) -> Result<UntrackedInput> {
    Ok(UntrackedInput {
        item: code_of(items, row.item_id)?,
        quantity: QuantityEntered { amount: Amount(row.entered_amount), unit: row.entered_unit },
        grams: Grams::from_mg(row.mass_mg),
        in_recipe: making.names(row.item_id),
        reason: row.reason,
        entry: row.entry,
    })
}
