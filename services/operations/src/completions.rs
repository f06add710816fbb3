//! Completions: what came out of a batch, each output a lot under a number of its own.

use chrono::{DateTime, Duration, NaiveDate, NaiveDateTime, Utc};
use serde::{Deserialize, Serialize};
use tubtrail_domain::quantity::Mass;
use tubtrail_domain::say;
use tubtrail_domain::saying::Saying;
use tubtrail_storage::lots::{CompletionRow, LotRow, completion_of};
use tubtrail_storage::master_data::Item;
use tubtrail_storage::{AnyConnection, StorageError, WriteTx};
use utoipa::ToSchema;

use crate::batches::{self, Making, code_of, item_codes};
use crate::deliveries::{Expiry, ExpiryKind, expiry};
use crate::error::{OperationError, Result};
use crate::items::{ItemKind, counting};
use crate::lots::{self, NewLot, record_lot};
use crate::quantities::{Grams, QuantityEntered, in_grams};
use crate::reach::{self, Request};
use crate::tubtrail::{Answered, Tubtrail};
use crate::uses::went_in;
use crate::{fields, problems};

/// Most outputs of one batch.
const MOST_OUTPUTS: usize = 500;

/// What sort of lot came out.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum OutputKind {
    /// A base; from a recipe that makes one.
    Base,
    /// A component; from a recipe that makes one.
    Component,
    /// One tub of a flavour; from a recipe that makes one.
    Tub,
    /// What was left over and goes into another batch.
    Remainder,
    /// What did not come out right and goes into another batch.
    Rework,
}

impl OutputKind {
    /// Every sort.
    pub const ALL: [Self; 5] = [Self::Base, Self::Component, Self::Tub, Self::Remainder, Self::Rework];

    /// What it is called in a sentence.
    pub(crate) const fn saying(self) -> Saying {
        match self {
            Self::Base => say!("base"),
            Self::Component => say!("component"),
            Self::Tub => say!("tub"),
            Self::Remainder => say!("remainder"),
            Self::Rework => say!("rework"),
        }
    }

    /// The word for it.
    pub const fn word(self) -> &'static str {
        match self {
            Self::Base => "base",
            Self::Component => "component",
            Self::Tub => "tub",
            Self::Remainder => "remainder",
            Self::Rework => "rework",
        }
    }

    fn from_word(word: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|kind| kind.word() == word)
    }

    /// Whether it goes into another batch, whatever was being made.
    const fn is_left_over(self) -> bool {
        matches!(self, Self::Remainder | Self::Rework)
    }

    /// Whether it comes of a recipe that makes such an item.
    pub const fn comes_of(self, makes: ItemKind) -> bool {
        match self {
            Self::Base => matches!(makes, ItemKind::Base),
            Self::Component => matches!(makes, ItemKind::Component),
            Self::Tub => matches!(makes, ItemKind::Flavour),
            Self::Remainder | Self::Rework => true,
        }
    }
}

/// What came out of a batch, as it is written down.
#[derive(Clone, Debug, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(example = json!({"completed_at": "2026-11-25T09:45:00Z", "outputs": [
    {"kind": "tub", "quantity": {"amount": 4750, "unit": "g"}},
    {"kind": "remainder", "quantity": {"amount": 0.8, "unit": "kg"}}]}))]
pub struct NewCompletion {
    /// When it was done; now, if absent.
    #[serde(default)]
    pub completed_at: Option<DateTime<Utc>>,
    /// One a lot. Nothing at all may have come out; then the note says why.
    #[schema(max_items = 500)]
    pub outputs: Vec<NewOutput>,
    /// Remarks.
    #[serde(default)]
    #[schema(max_length = 2000)]
    pub note: Option<String>,
}

/// One lot that came out.
#[derive(Clone, Debug, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct NewOutput {
    /// What sort of lot.
    pub kind: OutputKind,
    /// How much, net.
    pub quantity: QuantityEntered,
    /// The code of what it is; what the recipe makes, if absent. Only a remainder or rework may be something else.
    #[serde(default)]
    #[schema(max_length = 40)]
    pub item: Option<String>,
    /// The last day it may be used; if absent, as many days on as the item keeps.
    #[serde(default)]
    pub expiry: Option<Expiry>,
}

/// How a batch was completed: the figures as they were written down then.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub struct Completion {
    /// When.
    pub completed_at: DateTime<Utc>,
    /// What had gone in.
    pub in_grams: Grams,
    /// What came out.
    pub out_grams: Grams,
    /// What was lost.
    pub loss_grams: Grams,
    /// Remarks.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub note: Option<String>,
    /// The journal entry that brought it.
    pub entry: i64,
}

/// A lot that came out of a batch.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub struct MadeLot {
    /// Its number.
    #[schema(example = "261125-0042-7")]
    pub lot: String,
    /// What sort of lot.
    pub kind: OutputKind,
    /// The item's code.
    pub item: String,
    /// How much, net.
    pub grams: Grams,
    /// From when it may be used; absent: at once.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub mature_at: Option<DateTime<Utc>>,
    /// The last day it may be used.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub expiry: Option<Expiry>,
}

/// A batch just completed.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[schema(example = json!({"batch": 4711, "completion": {"completed_at": "2026-11-25T09:45:00Z", "in_grams": 5000, "out_grams": 4750, "loss_grams": 250, "entry": 8004}, "outputs": [{"lot": "261125-0042-7", "kind": "tub", "item": "pistachio", "grams": 4750}]}))]
pub struct Completed {
    /// The batch's number.
    pub batch: i64,
    /// The figures.
    pub completion: Completion,
    /// The lots, in the order in which they were written down.
    pub outputs: Vec<MadeLot>,
}

impl Tubtrail {
    /// Completes a batch: its outputs become lots, and no more may come out than went in.
    pub fn complete_batch(&self, request: &Request, batch: i64, new: NewCompletion) -> Result<Answered<Completed>> {
        let actor = request.actor.clone();
        self.write(request, &reach::COMPLETE_BATCH, move |tx| {
            let making = batches::addressed(tx.conn()?, &actor, &reach::COMPLETE_BATCH, batch)?;
            let checked = check(tx, &making, &new)?;
            tx.at_site(making.row.site_id);
            let (completion, lots) = record(tx, &making, &checked)?;
            Ok(Completed { batch, completion: answer(completion), outputs: answer_lots(tx.conn()?, &lots)? })
        })
    }
}

/// A completion, its form checked and its names found.
pub(crate) struct Checked {
    said_at: Option<NaiveDateTime>,
    outputs: Vec<CheckedOutput>,
    note: Option<String>,
}

struct CheckedOutput {
    kind: OutputKind,
    item: Item,
    mass: Mass,
    expiry: Option<Expiry>,
}

/// Checks the form of a completion and finds what it names.
pub(crate) fn check(tx: &mut WriteTx<'_>, making: &Making, new: &NewCompletion) -> Result<Checked> {
    let now = tx.now();
    let said_at = new.completed_at.map(|said| fields::occurred_at("completed_at", Some(said), now)).transpose()?;
    fields::between("outputs", new.outputs.len(), 0, MOST_OUTPUTS)?;
    let note = fields::optional_note("note", new.note.as_deref())?;
    if new.outputs.is_empty() && note.is_none() {
        let detail = say!("nothing came out: say what became of it");
        return Err(OperationError::new(&problems::NEEDS_REASON, detail).at("note"));
    }
    let outputs = new
        .outputs
        .iter()
        .enumerate()
        .map(|(position, output)| {
            check_output(tx.conn()?, making, output).map_err(|error| error.in_list("outputs", position))
        })
        .collect::<Result<_>>()?;
    Ok(Checked { said_at, outputs, note })
}

fn check_output(conn: &mut AnyConnection, making: &Making, output: &NewOutput) -> Result<CheckedOutput> {
    let makes = kind_of(&making.makes)?;
    if !output.kind.comes_of(makes) {
        let (makes, output) = (makes.saying(), output.kind.saying());
        let detail = say!("a recipe that makes a {makes} yields no {output}", makes, output);
        return Err(OperationError::new(&problems::WRONG_KIND, detail).at("kind"));
    }
    let item = match &output.item {
        None => making.makes.clone(),
        Some(code) => named_item(conn, making, output.kind, code)?,
    };
    let mass = output.quantity.to_mass(&counting(&item.current)?).map_err(|error| error.under("quantity"))?;
    Ok(CheckedOutput { kind: output.kind, item, mass, expiry: output.expiry })
}

fn named_item(conn: &mut AnyConnection, making: &Making, kind: OutputKind, code: &str) -> Result<Item> {
    if code == making.makes.row.code {
        return Ok(making.makes.clone());
    }
    let item = fields::item(conn, "item", code)?;
    let wrong = |detail: Saying| Err(OperationError::new(&problems::WRONG_KIND, detail).at("item"));
    if !kind.is_left_over() {
        return wrong(say!(
            "this recipe makes {makes}; only a remainder or rework may be another item",
            makes = making.makes.row.code
        ));
    }
    if kind_of(&item)? == ItemKind::Ingredient {
        return wrong(say!("{item} comes from a supplier; nothing we make is one", item = item.current.name));
    }
    Ok(item)
}

fn kind_of(item: &Item) -> Result<ItemKind> {
    let corrupt = || StorageError::Corrupt(format!("item {}: its kind", item.row.id));
    Ok(ItemKind::from_word(&item.row.kind).ok_or_else(corrupt)?)
}

/// Judges and records a completion and its lots.
pub(crate) fn record(tx: &mut WriteTx<'_>, making: &Making, checked: &Checked) -> Result<(CompletionRow, Vec<LotRow>)> {
    let id = making.row.id;
    if let Some(before) = completion_of(tx.conn()?, id)? {
        let at = fields::wall_clock(&making.site, before.completed_at)?;
        return Err(OperationError::new(&problems::BATCH_COMPLETED, say!("it was completed at {at}", at)));
    }
    let went_in = went_in(tx.conn()?, id)?;
    let earliest = went_in.last_at.map_or(making.row.started_at, |last| last.max(making.row.started_at));
    let completed_at = checked.said_at.unwrap_or(tx.now().max(earliest));
    if completed_at < earliest {
        let at = fields::wall_clock(&making.site, earliest)?;
        let detail = say!("it began, or the last of it went in, only at {at}", at);
        return Err(OperationError::new(&problems::OUT_OF_ORDER, detail).at("completed_at"));
    }
    let out_mg = checked.outputs.iter().map(|output| output.mass.mg()).sum::<i64>();
    if out_mg > went_in.mass_mg {
        let (out, inside) = (in_grams(out_mg), in_grams(went_in.mass_mg));
        let detail = say!("{out} came out, and only {inside} went in", out, inside);
        return Err(OperationError::new(&problems::MORE_OUT_THAN_IN, detail).at("outputs"));
    }
    let row = CompletionRow {
        id: tx.id(),
        entry: tx.entry(),
        batch_id: id,
        completed_at,
        in_mg: went_in.mass_mg,
        out_mg,
        note: checked.note.clone(),
    };
    tx.record(&row)?;
    let lots = record_lots(tx, making, &checked.outputs, completed_at)?;
    Ok((row, lots))
}

fn record_lots(
    tx: &mut WriteTx<'_>,
    making: &Making,
    outputs: &[CheckedOutput],
    completed_at: NaiveDateTime,
) -> Result<Vec<LotRow>> {
    let day = fields::day_at(&making.site, completed_at)?;
    let rest = making.version.maturing_minutes;
    let mature_at = (rest > 0).then(|| completed_at + Duration::minutes(i64::from(rest)));
    let mut lots = Vec::with_capacity(outputs.len());
    for (position, output) in outputs.iter().enumerate() {
        let keeps_until = keeps_until(output, day).map_err(|error| error.in_list("outputs", position))?;
        let new = NewLot {
            day,
            item_id: output.item.row.id,
            site_id: making.row.site_id,
            kind: output.kind.word(),
            supplier_id: None,
            supplier_lot_code: None,
            delivery_id: None,
            batch_id: Some(making.row.id),
            mass_mg: output.mass.mg(),
            came_to_be_at: completed_at,
            mature_at,
            expires_on: keeps_until.map(|expiry| expiry.on),
            expiry_kind: keeps_until.map(|expiry| expiry.kind.word().to_owned()),
        };
        lots.push(record_lot(tx, new)?);
    }
    Ok(lots)
}

/// The date given, or the one that follows from how long the item keeps. The latter speaks of quality alone: what is
/// still safe to use is for the responsible person to say, with a date of their own.
fn keeps_until(output: &CheckedOutput, day: NaiveDate) -> Result<Option<Expiry>> {
    match (output.expiry, output.item.current.shelf_life_days) {
        (Some(given), _) if given.on < day => {
            Err(OperationError::invalid("expiry.on", say!("this lies before the day it was made, {day}", day)))
        }
        (Some(given), _) => Ok(Some(given)),
        (None, Some(days)) => {
            let on = day.checked_add_signed(Duration::days(i64::from(days)));
            let on =
                on.ok_or_else(|| OperationError::invalid("expiry", say!("it would keep longer than there are days")))?;
            Ok(Some(Expiry { kind: ExpiryKind::BestBefore, on }))
        }
        (None, None) => Ok(None),
    }
}

pub(crate) fn answer(row: CompletionRow) -> Completion {
    Completion {
        completed_at: fields::utc(row.completed_at),
        in_grams: Grams::from_mg(row.in_mg),
        out_grams: Grams::from_mg(row.out_mg),
        loss_grams: Grams::from_mg(row.in_mg - row.out_mg),
        note: row.note,
        entry: row.entry,
    }
}

/// Lots that came out of a batch, as they were then.
pub(crate) fn answer_lots(conn: &mut AnyConnection, rows: &[LotRow]) -> Result<Vec<MadeLot>> {
    let items = item_codes(conn, rows.iter().map(|row| row.item_id))?;
    rows.iter()
        .map(|row| {
            let corrupt = || StorageError::Corrupt(format!("lot row {}: its kind {:?}", row.id, row.kind));
            Ok(MadeLot {
                lot: lots::number(row)?.to_string(),
                kind: OutputKind::from_word(&row.kind).ok_or_else(corrupt)?,
                item: code_of(&items, row.item_id)?,
                grams: Grams::from_mg(row.mass_mg),
                mature_at: row.mature_at.map(fields::utc),
                expiry: expiry(row.expires_on, row.expiry_kind.as_deref()),
            })
        })
        .collect()
}
