//! Readings: temperatures taken while a batch is made.

use chrono::{DateTime, NaiveDateTime, Utc};
use serde::{Deserialize, Serialize};
use tubtrail_domain::say;
use tubtrail_storage::lots::{ReadingRow, readings_of_batch};
use tubtrail_storage::{StorageError, WriteTx};
use utoipa::ToSchema;

use crate::batches::{self, Making};
use crate::error::{OperationError, Result};
use crate::fields;
use crate::reach::{self, Request};
use crate::tubtrail::{Answered, Tubtrail};

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

/// A temperature taken.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct Reading {
    /// What was being done.
    pub step: Step,
    /// As measured.
    pub temperature_celsius: f64,
    /// How long it was held there.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub held_seconds: Option<i32>,
    /// When it was taken.
    pub taken_at: DateTime<Utc>,
    /// The journal entry that brought it.
    pub entry: i64,
}

/// All the temperatures of a batch.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, ToSchema)]
#[schema(example = json!({"batch": 4711, "readings": [{"step": "heating", "temperature_celsius": 85.2, "held_seconds": 16, "taken_at": "2026-11-25T06:25:00Z", "entry": 8002}]}))]
pub struct Readings {
    /// The batch's number.
    pub batch: i64,
    /// In order of time.
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
            Ok(Readings { batch, readings: answer(readings_of_batch(tx.conn()?, batch)?)? })
        })
    }
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
        .map(|(position, reading)| {
            check_reading(reading, now).map_err(|error| error.under(&format!("readings[{position}]")))
        })
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

pub(crate) fn answer(rows: Vec<ReadingRow>) -> Result<Vec<Reading>> {
    rows.into_iter()
        .map(|row| {
            let step = Step::ALL.into_iter().find(|step| step.word() == row.step);
            let corrupt = || StorageError::Corrupt(format!("reading {}: its step {:?}", row.id, row.step));
            Ok(Reading {
                step: step.ok_or_else(corrupt)?,
                temperature_celsius: f64::from(row.celsius_tenths) / 10.0,
                held_seconds: row.held_seconds,
                taken_at: fields::utc(row.taken_at),
                entry: row.entry,
            })
        })
        .collect()
}
