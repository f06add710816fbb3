//! What a batch ran on, from when until when: what ran there before it may be in it.

use std::collections::HashMap;

use chrono::{DateTime, NaiveDateTime, Utc};
use serde::{Deserialize, Serialize};
use tubtrail_domain::say;
use tubtrail_storage::cleans::equipment_voids_of;
use tubtrail_storage::lots::{BatchEquipmentRow, equipment_of_batch};
use tubtrail_storage::master_data::{Equipment, Noun, Site};
use tubtrail_storage::{AnyConnection, StorageError, WriteTx};
use utoipa::ToSchema;

use crate::batches::{self, Making};
use crate::error::{OperationError, Result};
use crate::reach::{self, Request};
use crate::tubtrail::{Answered, Tubtrail};
use crate::{fields, problems};

/// Most runs of one request.
const MOST_RUNS: usize = 50;
/// Most runs of one batch.
const MOST_OF_A_BATCH: usize = 200;

/// What a batch ran on.
#[derive(Clone, Debug, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(example = json!({"equipment": [{"equipment": "batch-freezer-1", "from": "2026-11-25T09:10:00Z",
    "until": "2026-11-25T09:40:00Z"}]}))]
pub struct NewEquipmentRuns {
    /// One a machine or vessel.
    #[schema(min_items = 1, max_items = 50)]
    pub equipment: Vec<NewEquipmentRun>,
}

/// One machine or vessel a batch ran on.
#[derive(Clone, Debug, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct NewEquipmentRun {
    /// Its code; it must stand at the site of the batch.
    #[schema(max_length = 40)]
    pub equipment: String,
    /// From when.
    pub from: DateTime<Utc>,
    /// Until when.
    #[serde(default)]
    pub until: Option<DateTime<Utc>>,
}

/// A machine or vessel a batch ran on.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[schema(example = json!({"id": 5120, "equipment": "batch-freezer-1", "from": "2026-11-25T09:10:00Z",
    "until": "2026-11-25T09:40:00Z", "voided": "it ran on the other one", "entry": 8003}))]
pub struct EquipmentRun {
    /// The run's number, by which it is voided.
    pub id: i64,
    /// Its code.
    pub equipment: String,
    /// From when.
    pub from: DateTime<Utc>,
    /// Until when, where that was written down.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub until: Option<DateTime<Utc>>,
    /// Why it did not happen as written; it then touched nothing.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub voided: Option<String>,
    /// The journal entry that brought it.
    pub entry: i64,
}

/// All that a batch ran on.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[schema(example = json!({"batch": 4711, "equipment": [{"id": 5120, "equipment": "batch-freezer-1", "from": "2026-11-25T09:10:00Z", "until": "2026-11-25T09:40:00Z", "entry": 8003}]}))]
pub struct EquipmentRuns {
    /// The batch's number.
    pub batch: i64,
    /// In the order in which it was written down.
    pub equipment: Vec<EquipmentRun>,
}

impl Tubtrail {
    /// Writes down what a batch ran on: all of it, or none.
    pub fn add_batch_equipment(
        &self,
        request: &Request,
        batch: i64,
        new: NewEquipmentRuns,
    ) -> Result<Answered<EquipmentRuns>> {
        let actor = request.actor.clone();
        self.write(request, &reach::ADD_EQUIPMENT, move |tx| {
            let making = batches::addressed(tx.conn()?, &actor, &reach::ADD_EQUIPMENT, batch)?;
            fields::between("equipment", new.equipment.len(), 1, MOST_RUNS)?;
            let checked = check(tx, &making, &new.equipment)?;
            let before = equipment_of_batch(tx.conn()?, batch)?.len();
            fields::between("equipment", before + checked.len(), 1, MOST_OF_A_BATCH)?;
            tx.at_site(making.row.site_id);
            record(tx, &making, &checked)?;
            let rows = equipment_of_batch(tx.conn()?, batch)?;
            Ok(EquipmentRuns { batch, equipment: answer(tx.conn()?, rows)? })
        })
    }
}

pub(crate) struct CheckedRun {
    equipment_id: i64,
    from: NaiveDateTime,
    until: Option<NaiveDateTime>,
}

pub(crate) fn check(tx: &mut WriteTx<'_>, making: &Making, new: &[NewEquipmentRun]) -> Result<Vec<CheckedRun>> {
    fields::between("equipment", new.len(), 0, MOST_RUNS)?;
    new.iter()
        .enumerate()
        .map(|(position, run)| check_run(tx, making, run).map_err(|error| error.in_list("equipment", position)))
        .collect()
}

fn check_run(tx: &mut WriteTx<'_>, making: &Making, run: &NewEquipmentRun) -> Result<CheckedRun> {
    let now = tx.now();
    let from = fields::occurred_at("from", Some(run.from), now)?;
    let until = run.until.map(|until| fields::occurred_at("until", Some(until), now)).transpose()?;
    if until.is_some_and(|until| until < from) {
        return Err(OperationError::new(&problems::OUT_OF_ORDER, say!("it ended before it began")).at("until"));
    }
    let equipment = fields::equipment(tx.conn()?, "equipment", &run.equipment)?;
    let stands_at = equipment.current.site_id;
    if stands_at != making.row.site_id {
        let site = Site::by_id(tx.conn()?, stands_at)?
            .ok_or_else(|| StorageError::Corrupt(format!("site row {stands_at} is missing")))?;
        let detail = say!("{equipment} stands at {site}", equipment = equipment.current.name, site = site.current.name);
        return Err(OperationError::new(&problems::EQUIPMENT_ELSEWHERE, detail).at("equipment"));
    }
    Ok(CheckedRun { equipment_id: equipment.row.id, from, until })
}

pub(crate) fn record(tx: &mut WriteTx<'_>, making: &Making, runs: &[CheckedRun]) -> Result<()> {
    for run in runs {
        let row = BatchEquipmentRow {
            id: tx.id(),
            entry: tx.entry(),
            batch_id: making.row.id,
            equipment_id: run.equipment_id,
            used_from: run.from,
            used_until: run.until,
        };
        tx.record(&row)?;
    }
    Ok(())
}

pub(crate) fn answer(conn: &mut AnyConnection, rows: Vec<BatchEquipmentRow>) -> Result<Vec<EquipmentRun>> {
    let voids = equipment_voids_of(conn, &rows.iter().map(|row| row.id).collect::<Vec<_>>())?;
    let mut voids: HashMap<i64, String> =
        voids.into_iter().map(|void| (void.batch_equipment_id, void.reason)).collect();
    rows.into_iter()
        .map(|row| {
            let equipment = Equipment::by_id(conn, row.equipment_id)?
                .ok_or_else(|| StorageError::Corrupt(format!("equipment row {} is missing", row.equipment_id)))?;
            Ok(EquipmentRun {
                id: row.id,
                voided: voids.remove(&row.id),
                equipment: equipment.row.code,
                from: fields::utc(row.used_from),
                until: row.used_until.map(fields::utc),
                entry: row.entry,
            })
        })
        .collect()
}
