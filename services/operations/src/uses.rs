//! Uses: so many grams of a lot went into a batch. They are the edges of the lot graph.

use std::collections::HashMap;

use chrono::{DateTime, NaiveDateTime, Utc};
use serde::{Deserialize, Serialize};
use tubtrail_domain::place::{Place, State};
use tubtrail_domain::quantity::Mass;
use tubtrail_domain::say;
use tubtrail_storage::lots::{
    LotRow, UntrackedInputRow, UseRow, UseVoidRow, completion_of, lots_by_ids, untracked_inputs_of, uses_of_batch,
    voids_of,
};
use tubtrail_storage::master_data::{Item, Noun};
use tubtrail_storage::stock::{MovementRow, here_since};
use tubtrail_storage::{AnyConnection, StorageError, WriteTx};
use utoipa::ToSchema;

use crate::batches::{self, Making, code_of, item_codes};
use crate::error::{OperationError, Result};
use crate::index::{Index, lot_ix, lot_row};
use crate::items::counting;
use crate::lots::{self, movement};
use crate::quantities::{Amount, Grams, QuantityEntered};
use crate::reach::{self, Actor, Request};
use crate::standing::Standing;
use crate::tubtrail::{Answered, Tubtrail};
use crate::use_rules::{Asked, judge};
use crate::{fields, problems};

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

/// What goes into a batch, its form checked and its names found.
pub(crate) struct Input {
    lot: Option<NamedLot>,
    item: Item,
    entered: QuantityEntered,
    mass: Mass,
    said_at: Option<NaiveDateTime>,
    reason: Option<String>,
}

/// A lot that was named; what is kept without lots has none.
struct NamedLot {
    row: LotRow,
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

fn refuse_late(inputs: &[Input]) -> Result<()> {
    match inputs.iter().position(|input| input.reason.is_none()) {
        None => Ok(()),
        Some(position) => {
            let detail = say!("the batch is already completed: say why this is written down now");
            Err(under(position)(OperationError::new(&problems::NEEDS_REASON, detail).at("reason")))
        }
    }
}

fn completed_meanwhile() -> OperationError {
    let detail = say!("the batch was completed a moment ago; look at it again, and send this again if it still holds");
    OperationError::new(&problems::VERSION_MOVED, detail)
}

/// Refuses a lot that was itself made from what this batch yielded.
///
/// Each is looked at alone, and that is enough although they come together: all of them lead into this one batch, so a
/// loop through two of them would pass through the batch twice, and the part between is a loop through one.
fn refuse_loops(tx: &mut WriteTx<'_>, making: &Making, inputs: &[Input], index: &Index) -> Result<()> {
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
