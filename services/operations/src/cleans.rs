//! Cleans: equipment was cleaned, in one of the house's ways. What a clean clears does not get into the next batch.

use std::collections::HashMap;

use chrono::{DateTime, NaiveDateTime, Utc};
use serde::{Deserialize, Serialize};
use tubtrail_domain::say;
use tubtrail_domain::saying::Quoted;
use tubtrail_storage::cleans::{
    CleanRow, CleanVoidRow, EquipmentVoidRow, clean, clean_kind_version, clean_voids_of, cleans_of, equipment_voids_of,
};
use tubtrail_storage::lots::equipment_run;
use tubtrail_storage::master_data::{CleanKind, Equipment, Noun};
use tubtrail_storage::search::{author, authors};
use tubtrail_storage::{AnyConnection, StorageError};
use utoipa::{IntoParams, ToSchema};

use crate::batch_equipment::{self, EquipmentRun};
use crate::error::{OperationError, Result};
use crate::holds::Because;
use crate::master_data::{MOST, Page};
use crate::reach::{self, Actor, Operation, Request};
use crate::tubtrail::{Answered, Tubtrail};
use crate::{batches, clean_kinds, fields, problems};

/// A clean as it is written down.
#[derive(Clone, Debug, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(example = json!({"equipment": "batch-freezer-1", "kind": "allergen-clean",
    "cleaned_at": "2026-11-25T09:50:00Z"}))]
pub struct NewClean {
    /// The code of what was cleaned.
    #[schema(max_length = 40)]
    pub equipment: String,
    /// The code of the way in which it was cleaned.
    #[schema(max_length = 40)]
    pub kind: String,
    /// When it was done; now, if absent. A clean while something ran clears nothing.
    #[serde(default)]
    pub cleaned_at: Option<DateTime<Utc>>,
    /// Remarks.
    #[serde(default)]
    #[schema(max_length = 2000)]
    pub note: Option<String>,
}

/// A clean as it stands.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[schema(example = json!({"id": 6201, "equipment": "batch-freezer-1", "kind": "allergen-clean",
    "name": "Allergen clean: taken apart and washed", "clears": ["everything"], "cleaned_at": "2026-11-25T09:50:00Z",
    "recorded_by": "user:ines", "entry": 8310}))]
pub struct Clean {
    /// Its number.
    pub id: i64,
    /// The code of what was cleaned.
    pub equipment: String,
    /// The code of the way in which it was cleaned.
    pub kind: String,
    /// What that way was called then.
    pub name: String,
    /// What it cleared, as its kind said then; nothing, as a rinse does.
    pub clears: Vec<String>,
    /// When.
    pub cleaned_at: DateTime<Utc>,
    /// Remarks.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub note: Option<String>,
    /// Why it did not happen as written; it then clears nothing.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub voided: Option<String>,
    /// Who wrote it down.
    pub recorded_by: String,
    /// The journal entry that brought it.
    pub entry: i64,
}

/// Which cleans to list.
#[derive(Clone, Debug, Deserialize, IntoParams)]
#[serde(deny_unknown_fields)]
#[into_params(parameter_in = Query)]
pub struct CleansAsked {
    /// Of this equipment, by code.
    #[param(max_length = 40)]
    pub equipment: String,
    /// The `next` of the page before.
    #[param(max_length = 100)]
    #[serde(default)]
    pub after: String,
    /// Most rows on the page, 1 to 500.
    #[param(minimum = 1, maximum = 500)]
    #[serde(default = "fields::usual_page", deserialize_with = "crate::master_data::limit")]
    pub limit: u32,
}

impl Tubtrail {
    /// Writes down that equipment was cleaned.
    pub fn record_clean(&self, request: &Request, new: NewClean) -> Result<Answered<Clean>> {
        request.actor.may_anywhere(&reach::RECORD_CLEAN)?;
        let actor = request.actor.clone();
        self.write(request, &reach::RECORD_CLEAN, move |tx| {
            let equipment = named(tx.conn()?, &actor, &reach::RECORD_CLEAN, &new.equipment)?;
            let cleaned_at = fields::occurred_at("cleaned_at", new.cleaned_at, tx.now())?;
            let note = fields::optional_note("note", new.note.as_deref())?;
            let kind: CleanKind = fields::named(tx.conn()?, say!("clean kind"), "kind", &new.kind)?;
            if !kind.current.active {
                let detail = say!("the clean kind {kind} is no longer in use", kind = Quoted(&new.kind));
                return Err(OperationError::new(&problems::NOT_IN_USE, detail).at("kind"));
            }
            tx.at_site(equipment.current.site_id);
            let row = CleanRow {
                id: tx.id(),
                entry: tx.entry(),
                equipment_id: equipment.row.id,
                clean_kind_version_id: kind.current.id,
                cleaned_at,
                note,
            };
            tx.record(&row)?;
            answer(tx.conn()?, &equipment, row, None, actor.name)
        })
    }

    /// The cleans of a piece of equipment, the last made first; voided ones too.
    pub fn list_cleans(&self, request: &Request, asked: &CleansAsked) -> Result<Page<Clean>> {
        request.actor.may_anywhere(&reach::LIST_CLEANS)?;
        let limit = asked.limit.clamp(1, MOST);
        let before = cursor(&asked.after)?;
        self.read_at_once(|conn| {
            let equipment = named(conn, &request.actor, &reach::LIST_CLEANS, &asked.equipment)?;
            let rows = cleans_of(conn, equipment.row.id, before, i64::from(limit) + 1)?;
            let key = |row: &CleanRow| format!("{}.{}", row.cleaned_at.and_utc().timestamp_micros(), row.id);
            let page = Page::cut(rows, limit as usize, key);
            let ids: Vec<i64> = page.items.iter().map(|row| row.id).collect();
            let mut voids: HashMap<i64, String> =
                clean_voids_of(conn, &ids)?.into_iter().map(|void| (void.clean_id, void.reason)).collect();
            let by = authors(conn, &page.items.iter().map(|row| row.entry).collect::<Vec<_>>())?;
            let items = page.items.into_iter().map(|row| {
                let missing = || StorageError::Corrupt(format!("journal entry {} is missing", row.entry));
                let by = by.get(&row.entry).cloned().ok_or_else(missing)?.0;
                let voided = voids.remove(&row.id);
                answer(conn, &equipment, row, voided, by)
            });
            Ok(Page { items: items.collect::<Result<_>>()?, next: page.next })
        })
    }

    /// Says that a clean did not happen as written: it clears nothing any more.
    pub fn void_clean(&self, request: &Request, id: i64, because: Because) -> Result<Answered<Clean>> {
        request.actor.may_anywhere(&reach::VOID_CLEAN)?;
        let actor = request.actor.clone();
        self.write(request, &reach::VOID_CLEAN, move |tx| {
            let not_found = || OperationError::not_found(say!("clean"), id);
            let row = clean(tx.conn()?, id)?.ok_or_else(not_found)?;
            let equipment = by_id(tx.conn()?, row.equipment_id)?;
            let site = equipment.current.site_id;
            if !actor.reaches(site) {
                return Err(not_found());
            }
            actor.may(&reach::VOID_CLEAN, site)?;
            let reason = fields::reason("reason", because.reason.as_deref())?;
            if !clean_voids_of(tx.conn()?, &[id])?.is_empty() {
                return Err(OperationError::new(&problems::ALREADY_VOIDED, say!("clean {id} was already voided", id)));
            }
            tx.at_site(site);
            let void = CleanVoidRow { id: tx.id(), entry: tx.entry(), clean_id: id, reason: reason.clone() };
            tx.record(&void)?;
            let (by, _) = author(tx.conn()?, row.entry)?;
            answer(tx.conn()?, &equipment, row, Some(reason), by)
        })
    }

    /// Says that a run on equipment did not happen as written: what ran before it is not in it, nor it in what ran after.
    pub fn void_equipment_run(&self, request: &Request, id: i64, because: Because) -> Result<Answered<EquipmentRun>> {
        request.actor.may_anywhere(&reach::VOID_EQUIPMENT_RUN)?;
        let actor = request.actor.clone();
        self.write(request, &reach::VOID_EQUIPMENT_RUN, move |tx| {
            let not_found = || OperationError::not_found(say!("run"), id);
            let row = equipment_run(tx.conn()?, id)?.ok_or_else(not_found)?;
            let making = batches::addressed(tx.conn()?, &actor, &reach::VOID_EQUIPMENT_RUN, row.batch_id)
                .map_err(|error| error.if_not_found(not_found))?;
            let reason = fields::reason("reason", because.reason.as_deref())?;
            if !equipment_voids_of(tx.conn()?, &[id])?.is_empty() {
                return Err(OperationError::new(&problems::ALREADY_VOIDED, say!("run {id} was already voided", id)));
            }
            tx.at_site(making.row.site_id);
            let void = EquipmentVoidRow { id: tx.id(), entry: tx.entry(), batch_equipment_id: id, reason };
            tx.record(&void)?;
            batch_equipment::answer(tx.conn()?, vec![row])?.pop().ok_or_else(not_found)
        })
    }
}

/// Equipment named in a request, in use or not, where the actor may do this; out of their reach it is not found.
pub(crate) fn named(conn: &mut AnyConnection, actor: &Actor, operation: &Operation, code: &str) -> Result<Equipment> {
    let equipment: Equipment = fields::named(conn, say!("equipment"), "equipment", code)?;
    if !actor.reaches(equipment.current.site_id) {
        return Err(OperationError::not_found(say!("equipment"), code).at("equipment"));
    }
    actor.may(operation, equipment.current.site_id).map_err(|error| error.at("equipment"))?;
    Ok(equipment)
}

fn by_id(conn: &mut AnyConnection, id: i64) -> Result<Equipment> {
    Ok(Equipment::by_id(conn, id)?.ok_or_else(|| StorageError::Corrupt(format!("equipment row {id} is missing")))?)
}

fn cursor(after: &str) -> Result<Option<(NaiveDateTime, i64)>> {
    if after.is_empty() {
        return Ok(None);
    }
    let read = || {
        let (micros, id) = after.split_once('.')?;
        let at = DateTime::from_timestamp_micros(micros.parse().ok()?)?;
        Some((at.naive_utc(), id.parse().ok()?))
    };
    read().map(Some).ok_or_else(|| fields::no_next("after"))
}

fn answer(
    conn: &mut AnyConnection,
    equipment: &Equipment,
    row: CleanRow,
    voided: Option<String>,
    recorded_by: String,
) -> Result<Clean> {
    let (kind, version) = clean_kind_version(conn, row.clean_kind_version_id)?;
    Ok(Clean {
        id: row.id,
        equipment: equipment.row.code.clone(),
        kind: kind.code,
        clears: clean_kinds::words(&version),
        name: version.name,
        cleaned_at: fields::utc(row.cleaned_at),
        note: row.note,
        voided,
        recorded_by,
        entry: row.entry,
    })
}
