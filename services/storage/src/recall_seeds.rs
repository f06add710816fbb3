//! Which lots what a recall begins with stands for: asked of all facts, or of those of some journal entries.

use std::collections::BTreeSet;

use chrono::{NaiveDate, NaiveDateTime};
use diesel::prelude::*;
use tubtrail_domain::lot_codes::{CodeRange, begins_with, compare};
use tubtrail_domain::place::State;

use crate::cleans::equipment_voids;
use crate::ids::CHUNK;
use crate::journal::Touched;
use crate::lots::{BatchEquipmentRow, batch_equipment, completions, lots};
use crate::recalls::RecallSeedRow;
use crate::stock::{MovementRow, balances, movements};
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
        Seed::FromSupplier(supplier_id) => received_of(conn, seed, supplier_id, until)?,
        Seed::Equipment(equipment_id) => {
            let runs = runs_on(conn, equipment_id, until)?;
            made_in(conn, seed, runs, (0, until))?
        }
        Seed::Place(site_id) => {
            let candidates = possibly_at(conn, seed, site_id, until)?;
            lay_at(conn, seed, site_id, &candidates, until)?
        }
    };
    Ok(found.into_iter().collect())
}

/// What the entries in `(after, until]`, which wrote to these tables, change in what a seed stands for. It is asked with every commit
/// while a recall is in force, and looks at what they brought alone, never at all that a supplier sent or a machine made.
pub fn news_of_seed(
    conn: &mut AnyConnection,
    seed: &RecallSeedRow,
    touched: &Touched,
    (after, until): (i64, i64),
) -> Result<SeedNews, StorageError> {
    let stands_for = Seed::of(seed)?;
    if !touched.any(stands_for.decided_by()) {
        return Ok(SeedNews::default());
    }
    let (joined, left) = match stands_for {
        Seed::Lot(_) => (BTreeSet::new(), BTreeSet::new()),
        Seed::FromSupplier(supplier_id) => {
            (received_between(conn, seed, supplier_id, (after, until))?, BTreeSet::new())
        }
        Seed::Equipment(equipment_id) => {
            let runs = runs_with_news(conn, equipment_id, (after, until))?;
            let joined = made_in(conn, seed, runs, (after, until))?;
            (joined, no_longer_made_on(conn, equipment_id, after, until)?)
        }
        Seed::Place(site_id) => {
            let moved = moved_at(conn, seed, site_id, (after, until))?;
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

    /// The tables that decide which lots it stands for.
    const fn decided_by(&self) -> &'static [&'static str] {
        match self {
            Self::Lot(_) => &[],
            Self::FromSupplier(_) => &["lots"],
            Self::Equipment(_) => &["batch_equipment", "equipment_voids", "lots"],
            Self::Place(_) => &["movements"],
        }
    }
}

/// What decides whether a lot that a supplier sent fits.
#[derive(Queryable)]
struct Received {
    id: i64,
    supplier_id: Option<i64>,
    item_id: i64,
    day: NaiveDate,
    code: Option<String>,
}

/// All the lots of a supplier that fit.
fn received_of(
    conn: &mut AnyConnection,
    seed: &RecallSeedRow,
    supplier_id: i64,
    until: i64,
) -> Result<BTreeSet<i64>, StorageError> {
    let theirs = lots::table.filter(lots::supplier_id.eq(supplier_id)).filter(lots::entry.le(until));
    that_fit(seed, supplier_id, theirs.select(RECEIVED).load(conn)?)
}

/// Those of some entries. Asked by the entries alone, or SQLite goes through all that the supplier ever sent.
fn received_between(
    conn: &mut AnyConnection,
    seed: &RecallSeedRow,
    supplier_id: i64,
    (after, until): (i64, i64),
) -> Result<BTreeSet<i64>, StorageError> {
    let new = lots::table.filter(lots::entry.gt(after)).filter(lots::entry.le(until));
    that_fit(seed, supplier_id, new.select(RECEIVED).load(conn)?)
}

type ReceivedColumns = (lots::id, lots::supplier_id, lots::item_id, lots::day, lots::supplier_lot_code);

const RECEIVED: ReceivedColumns = (lots::id, lots::supplier_id, lots::item_id, lots::day, lots::supplier_lot_code);

fn that_fit(seed: &RecallSeedRow, supplier_id: i64, lots: Vec<Received>) -> Result<BTreeSet<i64>, StorageError> {
    let code_fits = code_fits(seed)?;
    let fits = |lot: &Received| {
        lot.supplier_id == Some(supplier_id)
            && seed.item_id.is_none_or(|item_id| lot.item_id == item_id)
            && seed.day_from.is_none_or(|first| lot.day >= first)
            && seed.day_until.is_none_or(|last| lot.day <= last)
            && code_fits(lot.code.as_deref().unwrap_or(""))
    };
    Ok(lots.into_iter().filter(fits).map(|lot| lot.id).collect())
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

/// All that ever ran on equipment.
fn runs_on(conn: &mut AnyConnection, equipment_id: i64, until: i64) -> Result<Vec<BatchEquipmentRow>, StorageError> {
    Ok(batch_equipment::table
        .filter(batch_equipment::equipment_id.eq(equipment_id))
        .filter(batch_equipment::entry.le(until))
        .load(conn)?)
}

/// The runs on equipment that some entries brought, or lots of the batches of which.
fn runs_with_news(
    conn: &mut AnyConnection,
    equipment_id: i64,
    (after, until): (i64, i64),
) -> Result<Vec<BatchEquipmentRow>, StorageError> {
    let of_new_runs: Vec<i64> = batch_equipment::table
        .filter(batch_equipment::entry.gt(after))
        .filter(batch_equipment::entry.le(until))
        .select(batch_equipment::batch_id)
        .load(conn)?;
    let of_new_lots: Vec<Option<i64>> =
        lots::table.filter(lots::entry.gt(after)).filter(lots::entry.le(until)).select(lots::batch_id).load(conn)?;
    let batches: BTreeSet<i64> = of_new_runs.into_iter().chain(of_new_lots.into_iter().flatten()).collect();
    let batches: Vec<i64> = batches.into_iter().collect();
    let mut found = Vec::new();
    for chunk in batches.chunks(CHUNK) {
        let runs: Vec<BatchEquipmentRow> = batch_equipment::table
            .filter(batch_equipment::batch_id.eq_any(chunk.to_vec()))
            .filter(batch_equipment::entry.le(until))
            .load(conn)?;
        found.extend(runs.into_iter().filter(|run| run.equipment_id == equipment_id));
    }
    Ok(found)
}

/// The lots of batches that ran within the time of a seed, where the run or the lot is new.
fn made_in(
    conn: &mut AnyConnection,
    seed: &RecallSeedRow,
    mut runs: Vec<BatchEquipmentRow>,
    (after, until): (i64, i64),
) -> Result<BTreeSet<i64>, StorageError> {
    runs.retain(|run| is_not_after(seed, run.used_from));
    let voided = voided_runs(conn, &runs, until)?;
    runs.retain(|run| !voided.contains(&run.id));
    let ended = ended_before(conn, seed.time_from, &runs, until)?;
    runs.retain(|run| !ended.contains(&run.id));
    let (new, known): (Vec<_>, Vec<_>) = runs.iter().partition(|run| run.entry > after);
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

/// Whether a moment lies before the end of a seed's time, where it has one.
fn is_not_after(seed: &RecallSeedRow, moment: NaiveDateTime) -> bool {
    seed.time_until.is_none_or(|last| moment <= last)
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
        .filter(movements::occurred_at.ge(since))
        .select(movements::lot_id)
        .distinct()
        .load(conn)?;
    found.extend(left);
    // The balances know of what left by later entries.
    let later: Vec<MovementRow> = movements::table.filter(movements::entry.gt(until)).load(conn)?;
    found.extend(later.into_iter().filter(|movement| movement.from_site_id == site_id).map(|movement| movement.lot_id));
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

/// The lots that moved at a site by new entries, at a time that matters. Asked by the entries alone: with the site in the question,
/// SQLite goes through all that ever moved there.
fn moved_at(
    conn: &mut AnyConnection,
    seed: &RecallSeedRow,
    site_id: i64,
    (after, until): (i64, i64),
) -> Result<BTreeSet<i64>, StorageError> {
    let new: Vec<MovementRow> =
        movements::table.filter(movements::entry.gt(after)).filter(movements::entry.le(until)).load(conn)?;
    let there = |movement: &MovementRow| movement.from_site_id == site_id || movement.to_site_id == site_id;
    let matters = new.into_iter().filter(|movement| there(movement) && is_not_after(seed, movement.occurred_at));
    Ok(matters.map(|movement| movement.lot_id).collect())
}

/// Those of some lots that lay at a site within the time: they were there when it began, or came meanwhile. Asked by the lots alone, as
/// above.
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
        let moved: Vec<MovementRow> = movements::table
            .filter(movements::lot_id.eq_any(chunk.to_vec()))
            .filter(movements::entry.le(until))
            .load(conn)?;
        let mut before = std::collections::HashMap::new();
        for movement in moved.into_iter().filter(|movement| is_not_after(seed, movement.occurred_at)) {
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
