//! Lots and what ties them together: deliveries, batches, uses.

use chrono::{NaiveDate, NaiveDateTime};
use diesel::prelude::*;
use diesel::sql_types::Bool;
use tubtrail_domain::lot_number::LotNumber;

use crate::ids::CHUNK;
use crate::{AnyConnection, Fact, StorageError};

fact! {
    /// One receipt from a supplier.
    deliveries => DeliveryRow {
        /// Who brought it.
        supplier_id: i64 => BigInt,
        /// Where it arrived.
        site_id: i64 => BigInt,
        /// The supplier's paper.
        document: String => Text,
        /// When.
        arrived_at: NaiveDateTime => Timestamp,
        /// Remarks.
        note: Option<String> => Nullable<Text>,
    }
}

fact! {
    /// One production run.
    batches => BatchRow {
        /// Of which version of a recipe.
        recipe_version_id: i64 => BigInt,
        /// Where.
        site_id: i64 => BigInt,
        /// When it began.
        started_at: NaiveDateTime => Timestamp,
        /// Remarks.
        note: Option<String> => Nullable<Text>,
    }
}

fact! {
    /// A quantity of one item with one history. Its ids are dense, in a sequence of their own.
    lots => LotRow {
        /// First half of its number: the day, where it came to be.
        day: NaiveDate => Date,
        /// Second half: the serial of that day.
        serial: i32 => Integer,
        /// Of what.
        item_id: i64 => BigInt,
        /// Where it came to be.
        site_id: i64 => BigInt,
        /// received, base, component, tub, remainder or rework.
        kind: String => Text,
        /// From whom, if received.
        supplier_id: Option<i64> => Nullable<BigInt>,
        /// The supplier's own code for it.
        supplier_lot_code: Option<String> => Nullable<Text>,
        /// With which delivery.
        delivery_id: Option<i64> => Nullable<BigInt>,
        /// By which batch, if made.
        batch_id: Option<i64> => Nullable<BigInt>,
        /// How much came to be.
        mass_mg: i64 => BigInt,
        /// When it was received or made.
        came_to_be_at: NaiveDateTime => Timestamp,
        /// From when it may be used.
        mature_at: Option<NaiveDateTime> => Nullable<Timestamp>,
        /// Last day it may be used.
        expires_on: Option<NaiveDate> => Nullable<Date>,
        /// `best_before` or `use_by`.
        expiry_kind: Option<String> => Nullable<Text>,
    }
}

impl LotRow {
    /// Its number.
    ///
    /// # Errors
    /// [`StorageError::Corrupt`] if its halves make none.
    pub fn number(&self) -> Result<LotNumber, StorageError> {
        let number = u32::try_from(self.serial).ok().and_then(|serial| LotNumber::new(self.day, serial).ok());
        number.ok_or_else(|| StorageError::Corrupt(format!("lot row {} has no number", self.id)))
    }
}

fact! {
    /// One supplier lot on a delivery.
    delivery_lines => DeliveryLineRow {
        /// Of which delivery.
        delivery_id: i64 => BigInt,
        /// From 1.
        line: i32 => Integer,
        /// Of what.
        item_id: i64 => BigInt,
        /// The supplier's own code.
        supplier_lot_code: String => Text,
        /// The figure as typed.
        entered_amount: String => Text,
        /// Its unit.
        entered_unit: String => Text,
        /// What it comes to.
        mass_mg: i64 => BigInt,
        /// As printed on it.
        expires_on: Option<NaiveDate> => Nullable<Date>,
        /// `best_before` or `use_by`.
        expiry_kind: Option<String> => Nullable<Text>,
        /// On arrival, tenths of a degree Celsius.
        temperature_tenths: Option<i32> => Nullable<Integer>,
        /// accepted, `put_aside` or rejected.
        decision: String => Text,
        /// Why, if not simply accepted.
        reason: Option<String> => Nullable<Text>,
        /// The lot it became, unless rejected.
        lot_id: Option<i64> => Nullable<BigInt>,
    }
}

fact! {
    /// So much of a lot went into a batch.
    uses => UseRow {
        /// Into which batch.
        batch_id: i64 => BigInt,
        /// Of which lot.
        lot_id: i64 => BigInt,
        /// How much.
        mass_mg: i64 => BigInt,
        /// The figure as typed.
        entered_amount: String => Text,
        /// Its unit.
        entered_unit: String => Text,
        /// When.
        used_at: NaiveDateTime => Timestamp,
        /// Whether the recipe names the item.
        in_recipe: bool => Bool,
        /// Why it was used although a rule spoke against it.
        override_reason: Option<String> => Nullable<Text>,
    }
}

fact! {
    /// A use that did not happen as written.
    use_voids => UseVoidRow {
        /// Which.
        use_id: i64 => BigInt,
        /// Why.
        reason: String => Text,
    }
}

fact! {
    /// Water and the like in a batch.
    untracked_inputs => UntrackedInputRow {
        /// Into which batch.
        batch_id: i64 => BigInt,
        /// Of what.
        item_id: i64 => BigInt,
        /// How much.
        mass_mg: i64 => BigInt,
        /// The figure as typed.
        entered_amount: String => Text,
        /// Its unit.
        entered_unit: String => Text,
        /// Why it was written down after the batch was completed.
        reason: Option<String> => Nullable<Text>,
    }
}

fact! {
    /// A batch ran on equipment.
    batch_equipment => BatchEquipmentRow {
        /// Which batch.
        batch_id: i64 => BigInt,
        /// On what.
        equipment_id: i64 => BigInt,
        /// From when.
        used_from: NaiveDateTime => Timestamp,
        /// Until when.
        used_until: Option<NaiveDateTime> => Nullable<Timestamp>,
    }
}

fact! {
    /// A batch is finished; its lots carry its id.
    completions => CompletionRow {
        /// Which batch.
        batch_id: i64 => BigInt,
        /// When.
        completed_at: NaiveDateTime => Timestamp,
        /// Everything that went in, water too.
        in_mg: i64 => BigInt,
        /// Everything that came out; the rest was lost.
        out_mg: i64 => BigInt,
        /// Remarks.
        note: Option<String> => Nullable<Text>,
    }
}

diesel::allow_tables_to_appear_in_same_query!(batches, completions);

/// A lot by row id.
pub fn lot(conn: &mut AnyConnection, id: i64) -> Result<LotRow, StorageError> {
    Ok(lots::table.find(id).first(conn)?)
}

/// A lot by the two halves of its number.
pub fn lot_by_number(conn: &mut AnyConnection, day: NaiveDate, serial: i32) -> Result<Option<LotRow>, StorageError> {
    Ok(lots::table.filter(lots::day.eq(day)).filter(lots::serial.eq(serial)).first(conn).optional()?)
}

/// The last serial given out for a day; 0 if none was.
pub fn last_serial(conn: &mut AnyConnection, day: NaiveDate) -> Result<i32, StorageError> {
    let last = lots::table.filter(lots::day.eq(day)).order(lots::serial.desc()).select(lots::serial).first(conn);
    Ok(last.optional()?.unwrap_or(0))
}

/// Lots by row id, in order of id.
pub fn lots_by_ids(conn: &mut AnyConnection, ids: &[i64]) -> Result<Vec<LotRow>, StorageError> {
    let mut found = LotRow::among(conn, "id", ids)?;
    found.sort_by_key(|lot| lot.id);
    Ok(found)
}

/// Which of some lots are tubs, in the order given.
pub fn tubs_among(conn: &mut AnyConnection, ids: &[i64]) -> Result<Vec<i64>, StorageError> {
    let mut found = Vec::new();
    for chunk in ids.chunks(CHUNK) {
        let tubs = lots::table.filter(lots::id.eq_any(chunk.to_vec())).filter(lots::kind.eq("tub"));
        found.extend(tubs.order(lots::id).select(lots::id).load::<i64>(conn)?);
    }
    Ok(found)
}

/// The lots a batch yielded, in order of number.
pub fn lots_of_batch(conn: &mut AnyConnection, batch_id: i64) -> Result<Vec<LotRow>, StorageError> {
    Ok(lots::table.filter(lots::batch_id.eq(batch_id)).order(lots::id).load(conn)?)
}

/// The lots of a delivery, in order of line.
pub fn lots_of_delivery(conn: &mut AnyConnection, delivery_id: i64) -> Result<Vec<LotRow>, StorageError> {
    Ok(lots::table.filter(lots::delivery_id.eq(delivery_id)).order(lots::id).load(conn)?)
}

/// A batch by row id.
pub fn batch(conn: &mut AnyConnection, id: i64) -> Result<Option<BatchRow>, StorageError> {
    Ok(batches::table.find(id).first(conn).optional()?)
}

/// Which batches a list asks for.
#[derive(Clone, Debug, Default)]
pub struct BatchesAsked {
    /// Only at these sites; all, if absent.
    pub sites: Option<Vec<i64>>,
    /// Only those begun within one of these spans.
    pub spans: Option<Vec<SitesSpan>>,
    /// Only of these versions of recipes.
    pub recipe_versions: Option<Vec<i64>>,
    /// Only those not completed.
    pub open_only: bool,
    /// Only those written down before this one.
    pub before_id: Option<i64>,
}

/// A span of time at some sites, UTC: the days of a site begin when they begin there.
#[derive(Clone, Debug)]
pub struct SitesSpan {
    /// Which sites.
    pub site_ids: Vec<i64>,
    /// From when.
    pub from: Option<NaiveDateTime>,
    /// Until just before when.
    pub until: Option<NaiveDateTime>,
}

type Backend = <AnyConnection as Connection>::Backend;
type Condition = Box<dyn BoxableExpression<batches::table, Backend, SqlType = Bool>>;

/// Batches, the last written down first.
pub fn batches_page(conn: &mut AnyConnection, asked: &BatchesAsked, limit: i64) -> Result<Vec<BatchRow>, StorageError> {
    let mut query = batches::table.into_boxed::<Backend>();
    if let Some(sites) = &asked.sites {
        query = query.filter(batches::site_id.eq_any(sites.clone()));
    }
    if let Some(spans) = &asked.spans {
        let Some(within) = spans.iter().flat_map(within).reduce(|one, other| Box::new(one.or(other))) else {
            return Ok(Vec::new());
        };
        query = query.filter(within);
    }
    if let Some(versions) = &asked.recipe_versions {
        query = query.filter(batches::recipe_version_id.eq_any(versions.clone()));
    }
    if asked.open_only {
        let completed = completions::table.filter(completions::batch_id.eq(batches::id));
        query = query.filter(diesel::dsl::not(diesel::dsl::exists(completed)));
    }
    if let Some(id) = asked.before_id {
        query = query.filter(batches::id.lt(id));
    }
    Ok(query.order(batches::id.desc()).limit(limit).load(conn)?)
}

/// A condition for every so many sites: one for each would be a deeper tree than SQLite takes.
fn within(span: &SitesSpan) -> impl Iterator<Item = Condition> + '_ {
    span.site_ids.chunks(CHUNK).map(|sites| {
        let mut condition: Condition = Box::new(batches::site_id.eq_any(sites.to_vec()));
        if let Some(from) = span.from {
            condition = Box::new(condition.and(batches::started_at.ge(from)));
        }
        if let Some(until) = span.until {
            condition = Box::new(condition.and(batches::started_at.lt(until)));
        }
        condition
    })
}

/// The completions of some batches.
pub fn completions_of(conn: &mut AnyConnection, batch_ids: &[i64]) -> Result<Vec<CompletionRow>, StorageError> {
    Ok(CompletionRow::among(conn, "batch_id", batch_ids)?)
}

/// A batch's completion, once it has one.
pub fn completion_of(conn: &mut AnyConnection, batch_id: i64) -> Result<Option<CompletionRow>, StorageError> {
    Ok(completions::table.filter(completions::batch_id.eq(batch_id)).first(conn).optional()?)
}

/// A use by row id.
pub fn use_by_id(conn: &mut AnyConnection, id: i64) -> Result<Option<UseRow>, StorageError> {
    Ok(uses::table.find(id).first(conn).optional()?)
}

/// A batch's uses, voided ones too, in order of entry.
pub fn uses_of_batch(conn: &mut AnyConnection, batch_id: i64) -> Result<Vec<UseRow>, StorageError> {
    Ok(uses::table.filter(uses::batch_id.eq(batch_id)).order(uses::id).load(conn)?)
}

/// The voids among some uses.
pub fn voids_of(conn: &mut AnyConnection, use_ids: &[i64]) -> Result<Vec<UseVoidRow>, StorageError> {
    Ok(UseVoidRow::among(conn, "use_id", use_ids)?)
}

/// What went into a batch without lots.
pub fn untracked_inputs_of(conn: &mut AnyConnection, batch_id: i64) -> Result<Vec<UntrackedInputRow>, StorageError> {
    Ok(untracked_inputs::table
        .filter(untracked_inputs::batch_id.eq(batch_id))
        .order(untracked_inputs::id)
        .load(conn)?)
}

/// What a batch ran on.
pub fn equipment_of_batch(conn: &mut AnyConnection, batch_id: i64) -> Result<Vec<BatchEquipmentRow>, StorageError> {
    Ok(batch_equipment::table.filter(batch_equipment::batch_id.eq(batch_id)).order(batch_equipment::id).load(conn)?)
}

/// A run on equipment by row id.
pub fn equipment_run(conn: &mut AnyConnection, id: i64) -> Result<Option<BatchEquipmentRow>, StorageError> {
    Ok(batch_equipment::table.find(id).first(conn).optional()?)
}

/// A delivery by row id.
pub fn delivery(conn: &mut AnyConnection, id: i64) -> Result<Option<DeliveryRow>, StorageError> {
    Ok(deliveries::table.find(id).first(conn).optional()?)
}

/// A delivery's lines, in order.
pub fn lines_of_delivery(conn: &mut AnyConnection, delivery_id: i64) -> Result<Vec<DeliveryLineRow>, StorageError> {
    Ok(delivery_lines::table
        .filter(delivery_lines::delivery_id.eq(delivery_id))
        .order(delivery_lines::line)
        .load(conn)?)
}

/// The lines a supplier already brought under a document and a lot code of their own.
pub fn lines_seen_before(
    conn: &mut AnyConnection,
    supplier_id: i64,
    document: &str,
    supplier_lot_code: &str,
) -> Result<Vec<DeliveryLineRow>, StorageError> {
    let ids: Vec<i64> = deliveries::table
        .filter(deliveries::supplier_id.eq(supplier_id))
        .filter(deliveries::document.eq(document))
        .select(deliveries::id)
        .load(conn)?;
    Ok(delivery_lines::table
        .filter(delivery_lines::delivery_id.eq_any(ids))
        .filter(delivery_lines::supplier_lot_code.eq(supplier_lot_code))
        .load(conn)?)
}
