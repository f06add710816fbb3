//! Readings: temperatures taken while a batch is made.

use std::collections::HashMap;

use chrono::{DateTime, NaiveDateTime, Utc};
use serde::{Deserialize, Serialize};
use tubtrail_domain::say;
use tubtrail_storage::readings::{ReadingRow, ReadingVoidRow, reading, reading_voids_of, readings_of_batch};
use tubtrail_storage::{AnyConnection, StorageError, WriteTx};
use utoipa::ToSchema;

use crate::batches::{self, Making};
use crate::error::{OperationError, Result};
use crate::reach::{self, Request};
use crate::tubtrail::{Answered, Tubtrail};
use crate::{fields, problems};

/// Most readings of one request.
const MOST_READINGS: usize = 100;
/// Most readings of one batch.
const MOST_OF_A_BATCH: usize = 1000;
/// Longest that a temperature is held: a week.
const LONGEST_SECONDS: i32 = 604_800;

/// What was being done when a temperature was taken.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum Step {
    /// In the pasteuriser, going up or held.
    Heating,
    /// Down again, fast.
    Cooling,
    /// Kept cold before it is used.
    Maturing,
    /// In the batch freezer.
    Churning,
    /// In the hardening cabinet.
    Hardening,
}

impl Step {
    /// Every step, in the order of the work.
    pub const ALL: [Self; 5] = [Self::Heating, Self::Cooling, Self::Maturing, Self::Churning, Self::Hardening];

    /// The word for it.
    pub const fn word(self) -> &'static str {
        match self {
            Self::Heating => "heating",
            Self::Cooling => "cooling",
            Self::Maturing => "maturing",
            Self::Churning => "churning",
            Self::Hardening => "hardening",
        }
    }
}

/// Temperatures as they are written down.
#[derive(Clone, Debug, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(example = json!({"readings": [{"step": "heating", "temperature_celsius": 85.2, "held_seconds": 16,
    "taken_at": "2026-11-25T06:25:00Z"}]}))]
pub struct NewReadings {
    /// One a measurement.
    #[schema(min_items = 1, max_items = 100)]
    pub readings: Vec<NewReading>,
}

/// A temperature as it is written down.
#[derive(Clone, Debug, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct NewReading {
    /// What was being done.
    pub step: Step,
    /// As measured.
    #[schema(minimum = -100, maximum = 300)]
    pub temperature_celsius: f64,
    /// How long it was held there.
    #[serde(default)]
    #[schema(minimum = 0, maximum = 604_800)]
    pub held_seconds: Option<i32>,
    /// When it was taken; now, if absent.
    #[serde(default)]
    pub taken_at: Option<DateTime<Utc>>,
}

/// Why a temperature was not as it was written down.
#[derive(Clone, Debug, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(example = json!({"reason": "a figure too many", "temperature_celsius": 85.2}))]
pub struct ReadingVoid {
    /// In words.
    #[schema(max_length = 2000)]
    pub reason: String,
    /// What it was in truth, where it was only mistyped: it is written down in its place, of the same step and time.
    #[serde(default)]
    #[schema(minimum = -100, maximum = 300)]
    pub temperature_celsius: Option<f64>,
}

/// A temperature taken.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct Reading {
    /// The reading's number, by which it is voided.
    pub id: i64,
    /// What was being done.
    pub step: Step,
    /// As measured.
    pub temperature_celsius: f64,
    /// How long it was held there.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub held_seconds: Option<i32>,
    /// When it was taken.
    pub taken_at: DateTime<Utc>,
    /// Why it was not as written; it then counts for nothing.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub voided: Option<String>,
    /// The journal entry that brought it.
    pub entry: i64,
}

/// All the temperatures of a batch.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, ToSchema)]
#[schema(example = json!({"batch": 4711, "readings": [
    {"id": 5131, "step": "heating", "temperature_celsius": 8.5, "held_seconds": 16, "taken_at": "2026-11-25T06:25:00Z",
        "voided": "the point is in the wrong place", "entry": 8002},
    {"id": 5133, "step": "heating", "temperature_celsius": 85.2, "held_seconds": 16, "taken_at": "2026-11-25T06:25:00Z",
        "entry": 8005}]}))]
pub struct Readings {
    /// The batch's number.
    pub batch: i64,
    /// In order of time; voided ones too.
    pub readings: Vec<Reading>,
}

impl Tubtrail {
    /// Writes down temperatures of a batch: all of them, or none.
    pub fn add_readings(&self, request: &Request, batch: i64, new: NewReadings) -> Result<Answered<Readings>> {
        let actor = request.actor.clone();
        self.write(request, &reach::ADD_READINGS, move |tx| {
            let making = batches::addressed(tx.conn()?, &actor, &reach::ADD_READINGS, batch)?;
            fields::between("readings", new.readings.len(), 1, MOST_READINGS)?;
            let checked = check(&new.readings, tx.now())?;
            let before = readings_of_batch(tx.conn()?, batch)?.len();
            fields::between("readings", before + checked.len(), 1, MOST_OF_A_BATCH)?;
            tx.at_site(making.row.site_id);
            record(tx, &making, &checked)?;
            Ok(Readings { batch, readings: of_batch(tx.conn()?, batch)? })
        })
    }

    /// Says that a temperature was not as written: it counts for nothing any more, and what it was in truth stands beside it.
    pub fn void_reading(&self, request: &Request, id: i64, new: ReadingVoid) -> Result<Answered<Readings>> {
        let actor = request.actor.clone();
        self.write(request, &reach::VOID_READING, move |tx| {
            let not_found = || OperationError::not_found(say!("reading"), id);
            let row = reading(tx.conn()?, id)?.ok_or_else(not_found)?;
            let making = batches::addressed(tx.conn()?, &actor, &reach::VOID_READING, row.batch_id)
                .map_err(|error| error.if_not_found(not_found))?;
            let reason = fields::reason("reason", Some(&new.reason))?;
            let instead = new.temperature_celsius.map(|celsius| in_its_place(tx, &row, celsius)).transpose()?;
            if !reading_voids_of(tx.conn()?, &[id])?.is_empty() {
                return Err(OperationError::new(
                    &problems::ALREADY_VOIDED,
                    say!("reading {id} was already voided", id),
                ));
            }
            tx.at_site(making.row.site_id);
            let void = ReadingVoidRow { id: tx.id(), entry: tx.entry(), reading_id: id, reason };
            tx.record(&void)?;
            record(tx, &making, instead.as_slice())?;
            Ok(Readings { batch: row.batch_id, readings: of_batch(tx.conn()?, row.batch_id)? })
        })
    }
}

/// What a mistyped reading was in truth.
fn in_its_place(tx: &mut WriteTx<'_>, row: &ReadingRow, celsius: f64) -> Result<CheckedReading> {
    let celsius_tenths = fields::celsius_tenths("temperature_celsius", celsius)?;
    if readings_of_batch(tx.conn()?, row.batch_id)?.len() >= MOST_OF_A_BATCH {
        let detail = say!("a batch takes at most {most} readings", most = MOST_OF_A_BATCH);
        return Err(OperationError::invalid("temperature_celsius", detail));
    }
    let step = step_of(row)?;
    Ok(CheckedReading { step, celsius_tenths, held_seconds: row.held_seconds, taken_at: row.taken_at })
}

pub(crate) struct CheckedReading {
    step: Step,
    celsius_tenths: i32,
    held_seconds: Option<i32>,
    taken_at: NaiveDateTime,
}

pub(crate) fn check(new: &[NewReading], now: NaiveDateTime) -> Result<Vec<CheckedReading>> {
    fields::between("readings", new.len(), 0, MOST_READINGS)?;
    new.iter()
        .enumerate()
        .map(|(position, reading)| check_reading(reading, now).map_err(|error| error.in_list("readings", position)))
        .collect()
}

fn check_reading(reading: &NewReading, now: NaiveDateTime) -> Result<CheckedReading> {
    if reading.held_seconds.is_some_and(|seconds| !(0..=LONGEST_SECONDS).contains(&seconds)) {
        let detail = say!("this is 0 to {most} seconds (a week)", most = LONGEST_SECONDS);
        return Err(OperationError::invalid("held_seconds", detail));
    }
    Ok(CheckedReading {
        step: reading.step,
        celsius_tenths: fields::celsius_tenths("temperature_celsius", reading.temperature_celsius)?,
        held_seconds: reading.held_seconds,
        taken_at: fields::occurred_at("taken_at", reading.taken_at, now)?,
    })
}

pub(crate) fn record(tx: &mut WriteTx<'_>, making: &Making, readings: &[CheckedReading]) -> Result<()> {
    for reading in readings {
        let row = ReadingRow {
            id: tx.id(),
            entry: tx.entry(),
            batch_id: making.row.id,
            step: reading.step.word().to_owned(),
            celsius_tenths: reading.celsius_tenths,
            held_seconds: reading.held_seconds,
            taken_at: reading.taken_at,
        };
        tx.record(&row)?;
    }
    Ok(())
}

/// The temperatures of a batch, in order of time.
pub(crate) fn of_batch(conn: &mut AnyConnection, batch: i64) -> Result<Vec<Reading>> {
    let rows = readings_of_batch(conn, batch)?;
    let voids = reading_voids_of(conn, &rows.iter().map(|row| row.id).collect::<Vec<_>>())?;
    let mut voids: HashMap<i64, String> = voids.into_iter().map(|void| (void.reading_id, void.reason)).collect();
    rows.into_iter()
        .map(|row| {
            Ok(Reading {
                id: row.id,
                step: step_of(&row)?,
                temperature_celsius: f64::from(row.celsius_tenths) / 10.0,
                held_seconds: row.held_seconds,
                taken_at: fields::utc(row.taken_at),
                voided: voids.remove(&row.id),
                entry: row.entry,
            })
        })
        .collect()
}

fn step_of(row: &ReadingRow) -> Result<Step> {
    let step = Step::ALL.into_iter().find(|step| step.word() == row.step);
    let corrupt = || StorageError::Corrupt(format!("reading {}: its step {:?}", row.id, row.step));
    Ok(step.ok_or_else(corrupt)?)
}
