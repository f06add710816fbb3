//! Which lots what a recall begins with stands for: asked of all facts, or of those of some journal entries.

use std::collections::BTreeSet;

use chrono::NaiveDateTime;
use diesel::prelude::*;
use tubtrail_domain::lot_codes::{CodeRange, begins_with, compare};
use tubtrail_domain::place::State;

use crate::cleans::equipment_voids;
use crate::ids::CHUNK;
use crate::lots::{BatchEquipmentRow, batch_equipment, completions, lots};
use crate::recalls::RecallSeedRow;
use crate::stock::{balances, movements};
use crate::{AnyConnection, StorageError};

/// What new facts mean for a seed.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct SeedNews {
    /// Lots it stands for now.
    pub joined: Vec<i64>,
    /// Lots it does not stand for, and may have before.
    pub left: Vec<i64>,
}

/// The lots that a seed stands for, by the facts up to a journal entry; in order of id.
pub fn lots_of_seed(conn: &mut AnyConnection, seed: &RecallSeedRow, until: i64) -> Result<Vec<i64>, StorageError> {
    let found = match Seed::of(seed)? {
        Seed::Lot(lot_id) => BTreeSet::from([lot_id]),
        Seed::FromSupplier(supplier_id) => received(conn, seed, supplier_id, 0, until)?,
        Seed::Equipment(equipment_id) => made_on(conn, seed, equipment_id, 0, until)?,
        Seed::Place(site_id) => {
            let candidates = possibly_at(conn, seed, site_id, until)?;
            lay_at(conn, seed, site_id, &candidates, until)?
        }
    };
    Ok(found.into_iter().collect())
}

/// What the facts after a journal entry, up to and including another, change in what a seed stands for.
pub fn news_of_seed(
    conn: &mut AnyConnection,
    seed: &RecallSeedRow,
    after: i64,
    until: i64,
) -> Result<SeedNews, StorageError> {
    let (joined, left) = match Seed::of(seed)? {
        Seed::Lot(_) => (BTreeSet::new(), BTreeSet::new()),
        Seed::FromSupplier(supplier_id) => (received(conn, seed, supplier_id, after, until)?, BTreeSet::new()),
        Seed::Equipment(equipment_id) => {
            let joined = made_on(conn, seed, equipment_id, after, until)?;
            (joined, no_longer_made_on(conn, equipment_id, after, until)?)
        }
        Seed::Place(site_id) => {
            let moved = moved_at(conn, seed, site_id, after, until)?;
            let joined = lay_at(conn, seed, site_id, &moved, until)?;
            let left = moved.difference(&joined).copied().collect();
            (joined, left)
        }
    };
    Ok(SeedNews { joined: joined.into_iter().collect(), left: left.into_iter().collect() })
}

enum Seed {
    Lot(i64),
    FromSupplier(i64),
    Equipment(i64),
    Place(i64),
}

impl Seed {
    fn of(row: &RecallSeedRow) -> Result<Self, StorageError> {
        let corrupt =
            || StorageError::Corrupt(format!("recall seed {}: kind {:?} and what belongs to it", row.id, row.kind));
        let found = match row.kind.as_str() {
            "lot" => row.lot_id.map(Self::Lot),
            "equipment" => row.equipment_id.map(Self::Equipment),
            "place" => row.site_id.map(Self::Place),
            _ => row.supplier_id.map(Self::FromSupplier),
        };
        found.ok_or_else(corrupt)
    }
}

/// Received lots of a supplier that fit.
fn received(
    conn: &mut AnyConnection,
    seed: &RecallSeedRow,
    supplier_id: i64,
    after: i64,
    until: i64,
) -> Result<BTreeSet<i64>, StorageError> {
    let mut query = lots::table
        .filter(lots::supplier_id.eq(supplier_id))
        .filter(lots::entry.gt(after))
        .filter(lots::entry.le(until))
        .into_boxed();
    if let Some(item_id) = seed.item_id {
        query = query.filter(lots::item_id.eq(item_id));
    }
    if let Some(day) = seed.day_from {
        query = query.filter(lots::day.ge(day));
    }
    if let Some(day) = seed.day_until {
        query = query.filter(lots::day.le(day));
    }
    let rows: Vec<(i64, Option<String>)> = query.select((lots::id, lots::supplier_lot_code)).load(conn)?;
    let fits = code_fits(seed)?;
    Ok(rows.into_iter().filter(|(_, code)| fits(code.as_deref().unwrap_or(""))).map(|(id, _)| id).collect())
}

type Fits = Box<dyn Fn(&str) -> bool>;

fn code_fits(seed: &RecallSeedRow) -> Result<Fits, StorageError> {
    let corrupt = |what: &str| StorageError::Corrupt(format!("recall seed {}: {what}", seed.id));
    let from = || seed.code_from.clone().ok_or_else(|| corrupt("no code"));
    Ok(match seed.kind.as_str() {
        "supplier_days" => Box::new(|_| true),
        "supplier_lot" => {
            let wanted = from()?;
            Box::new(move |code| compare(code, &wanted).is_eq())
        }
        "supplier_lot_prefix" => {
            let wanted = from()?;
            Box::new(move |code| begins_with(code, &wanted))
        }
        "supplier_lot_range" => {
            let last = seed.code_until.clone().ok_or_else(|| corrupt("no last code"))?;
            let range = CodeRange::new(&from()?, &last).map_err(|error| corrupt(&error.to_string()))?;
            Box::new(move |code| range.is_between(code))
        }
        other => return Err(corrupt(other)),
    })
}

/// The lots of batches that ran on equipment within the time, where the run or the lot is new.
fn made_on(
    conn: &mut AnyConnection,
    seed: &RecallSeedRow,
    equipment_id: i64,
    after: i64,
    until: i64,
) -> Result<BTreeSet<i64>, StorageError> {
    let mut query = batch_equipment::table
        .filter(batch_equipment::equipment_id.eq(equipment_id))
        .filter(batch_equipment::entry.le(until))
        .into_boxed();
    if let Some(last) = seed.time_until {
        query = query.filter(batch_equipment::used_from.le(last));
    }
    let runs: Vec<BatchEquipmentRow> = query.order(batch_equipment::id).load(conn)?;
    let voided = voided_runs(conn, &runs, until)?;
    let runs: Vec<_> = runs.into_iter().filter(|run| !voided.contains(&run.id)).collect();
    let ended = ended_before(conn, seed.time_from, &runs, until)?;
    let runs = runs.iter().filter(|run| !ended.contains(&run.id));
    let (new, known): (Vec<_>, Vec<_>) = runs.partition(|run| run.entry > after);
    let batches = |runs: &[&BatchEquipmentRow]| -> Vec<i64> { runs.iter().map(|run| run.batch_id).collect() };
    let mut found = outputs(conn, &batches(&new), 0, until)?;
    found.extend(outputs(conn, &batches(&known), after, until)?);
    Ok(found)
}

/// The runs that were over before a moment. One without an end lasted until its batch was completed.
fn ended_before(
    conn: &mut AnyConnection,
    moment: Option<NaiveDateTime>,
    runs: &[BatchEquipmentRow],
    until: i64,
) -> Result<BTreeSet<i64>, StorageError> {
    let Some(moment) = moment else { return Ok(BTreeSet::new()) };
    let endless: Vec<i64> = runs.iter().filter(|run| run.used_until.is_none()).map(|run| run.batch_id).collect();
    let mut completed = std::collections::HashMap::new();
    for chunk in endless.chunks(CHUNK) {
        let rows: Vec<(i64, NaiveDateTime)> = completions::table
            .filter(completions::batch_id.eq_any(chunk.to_vec()))
            .filter(completions::entry.le(until))
            .select((completions::batch_id, completions::completed_at))
            .load(conn)?;
        completed.extend(rows);
    }
    let end = |run: &BatchEquipmentRow| run.used_until.or_else(|| completed.get(&run.batch_id).copied());
    Ok(runs.iter().filter(|run| end(run).is_some_and(|end| end < moment)).map(|run| run.id).collect())
}

fn voided_runs(
    conn: &mut AnyConnection,
    runs: &[BatchEquipmentRow],
    until: i64,
) -> Result<BTreeSet<i64>, StorageError> {
    let mut found = BTreeSet::new();
    for chunk in runs.chunks(CHUNK) {
        let rows: Vec<i64> = equipment_voids::table
            .filter(equipment_voids::entry.le(until))
            .filter(equipment_voids::batch_equipment_id.eq_any(chunk.iter().map(|run| run.id).collect::<Vec<_>>()))
            .select(equipment_voids::batch_equipment_id)
            .load(conn)?;
        found.extend(rows);
    }
    Ok(found)
}

/// The lots of batches of which a run on the equipment was taken back.
fn no_longer_made_on(
    conn: &mut AnyConnection,
    equipment_id: i64,
    after: i64,
    until: i64,
) -> Result<BTreeSet<i64>, StorageError> {
    let voided: Vec<i64> = equipment_voids::table
        .filter(equipment_voids::entry.gt(after))
        .filter(equipment_voids::entry.le(until))
        .select(equipment_voids::batch_equipment_id)
        .load(conn)?;
    let mut batches = Vec::new();
    for chunk in voided.chunks(CHUNK) {
        let rows: Vec<i64> = batch_equipment::table
            .filter(batch_equipment::id.eq_any(chunk.to_vec()))
            .filter(batch_equipment::equipment_id.eq(equipment_id))
            .select(batch_equipment::batch_id)
            .load(conn)?;
        batches.extend(rows);
    }
    outputs(conn, &batches, 0, until)
}

fn outputs(conn: &mut AnyConnection, batches: &[i64], after: i64, until: i64) -> Result<BTreeSet<i64>, StorageError> {
    let mut found = BTreeSet::new();
    for chunk in batches.chunks(CHUNK) {
        let rows: Vec<i64> = lots::table
            .filter(lots::batch_id.eq_any(chunk.iter().copied().map(Some).collect::<Vec<_>>()))
            .filter(lots::entry.gt(after))
            .filter(lots::entry.le(until))
            .select(lots::id)
            .load(conn)?;
        found.extend(rows);
    }
    Ok(found)
}

fn states(seed: &RecallSeedRow) -> Vec<String> {
    match &seed.state {
        Some(state) => vec![state.clone()],
        None => State::ALL.iter().filter(|state| state.is_on_hand()).map(|state| state.word().to_owned()).collect(),
    }
}

/// The lots that can have lain at a site within the time: what lies there still, what left since it began, and what came
/// meanwhile.
fn possibly_at(
    conn: &mut AnyConnection,
    seed: &RecallSeedRow,
    site_id: i64,
    until: i64,
) -> Result<BTreeSet<i64>, StorageError> {
    let mut found: BTreeSet<i64> = balances::table
        .filter(balances::site_id.eq(site_id))
        .filter(balances::state.eq_any(states(seed)))
        .filter(balances::mass_mg.gt(0))
        .select(balances::lot_id)
        .load(conn)?
        .into_iter()
        .collect();
    let since = seed.time_from.unwrap_or(NaiveDateTime::MIN);
    let left: Vec<i64> = movements::table
        .filter(movements::from_site_id.eq(site_id))
        .filter(movements::from_state.eq_any(states(seed)))
        .filter(movements::occurred_at.ge(since).or(movements::entry.gt(until)))
        .select(movements::lot_id)
        .distinct()
        .load(conn)?;
    found.extend(left);
    let mut came = movements::table
        .filter(movements::to_site_id.eq(site_id))
        .filter(movements::to_state.eq_any(states(seed)))
        .filter(movements::occurred_at.ge(since))
        .into_boxed();
    if let Some(last) = seed.time_until {
        came = came.filter(movements::occurred_at.le(last));
    }
    found.extend(came.select(movements::lot_id).distinct().load::<i64>(conn)?);
    Ok(found)
}

/// The lots that moved at a site by new entries, at a time that matters.
fn moved_at(
    conn: &mut AnyConnection,
    seed: &RecallSeedRow,
    site_id: i64,
    after: i64,
    until: i64,
) -> Result<BTreeSet<i64>, StorageError> {
    let mut query = movements::table
        .filter(movements::entry.gt(after))
        .filter(movements::entry.le(until))
        .filter(movements::from_site_id.eq(site_id).or(movements::to_site_id.eq(site_id)))
        .into_boxed();
    if let Some(last) = seed.time_until {
        query = query.filter(movements::occurred_at.le(last));
    }
    Ok(query.select(movements::lot_id).distinct().load::<i64>(conn)?.into_iter().collect())
}

/// Those of some lots that lay at a site within the time: they were there when it began, or came meanwhile.
fn lay_at(
    conn: &mut AnyConnection,
    seed: &RecallSeedRow,
    site_id: i64,
    lot_ids: &BTreeSet<i64>,
    until: i64,
) -> Result<BTreeSet<i64>, StorageError> {
    let mut there = BTreeSet::new();
    let lot_ids: Vec<i64> = lot_ids.iter().copied().collect();
    let states = states(seed);
    for chunk in lot_ids.chunks(CHUNK) {
        let mut query = movements::table
            .filter(movements::lot_id.eq_any(chunk.to_vec()))
            .filter(movements::entry.le(until))
            .filter(movements::from_site_id.eq(site_id).or(movements::to_site_id.eq(site_id)))
            .into_boxed();
        if let Some(last) = seed.time_until {
            query = query.filter(movements::occurred_at.le(last));
        }
        let mut before = std::collections::HashMap::new();
        for movement in query.load::<crate::stock::MovementRow>(conn)? {
            let came = movement.to_site_id == site_id && states.contains(&movement.to_state);
            let left = movement.from_site_id == site_id && states.contains(&movement.from_state);
            if seed.time_from.is_none_or(|from| movement.occurred_at >= from) {
                if came {
                    there.insert(movement.lot_id);
                }
            } else {
                let change = i64::from(came) - i64::from(left);
                *before.entry(movement.lot_id).or_insert(0) += change * movement.mass_mg;
            }
        }
        there.extend(before.into_iter().filter(|(_, mass_mg)| *mass_mg > 0).map(|(lot, _)| lot));
    }
    Ok(there)
}
