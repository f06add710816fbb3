//! Write-ups: a whole batch from the sheet on which it was kept, in one go.

use chrono::{DateTime, Utc};
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

use crate::batch_equipment::{self, NewEquipmentRun};
use crate::batches::{self, Batch, NewBatch};
use crate::completions::{self, NewCompletion, NewOutput};
use crate::error::Result;
use crate::reach::{self, Request};
use crate::readings::{self, NewReading};
use crate::tubtrail::{Answered, Tubtrail};
use crate::uses::{self, NewUse, Unsaid};

/// A whole batch as it is written up.
#[derive(Clone, Debug, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(example = json!({"recipe": "pistachio-10", "site": "quay-kitchen", "started_at": "2026-11-25T08:50:00Z",
    "uses": [{"lot": "261125-0011-1", "quantity": {"amount": 9, "unit": "kg"}},
        {"lot": "261120-0004-3", "quantity": {"amount": 900, "unit": "g"}}],
    "equipment": [{"equipment": "batch-freezer-1", "from": "2026-11-25T09:10:00Z", "until": "2026-11-25T09:40:00Z"}],
    "readings": [{"step": "churning", "temperature_celsius": -9, "taken_at": "2026-11-25T09:35:00Z"}],
    "completed_at": "2026-11-25T09:45:00Z",
    "outputs": [{"kind": "tub", "quantity": {"amount": 4850, "unit": "g"}},
        {"kind": "tub", "quantity": {"amount": 4850, "unit": "g"}}]}))]
pub struct NewWriteUp {
    /// The recipe's code; the version in force is what counts.
    #[schema(max_length = 40)]
    pub recipe: String,
    /// The code of the site where it was made.
    #[schema(max_length = 40)]
    pub site: String,
    /// When it began; now, if absent.
    #[serde(default)]
    pub started_at: Option<DateTime<Utc>>,
    /// Remarks.
    #[serde(default)]
    #[schema(max_length = 2000)]
    pub note: Option<String>,
    /// What went in. A use without a time of its own went in when the batch began.
    #[schema(max_items = 100)]
    pub uses: Vec<NewUse>,
    /// What it ran on.
    #[serde(default)]
    #[schema(max_items = 50)]
    pub equipment: Vec<NewEquipmentRun>,
    /// Temperatures taken.
    #[serde(default)]
    #[schema(max_items = 100)]
    pub readings: Vec<NewReading>,
    /// When it was done; now, if absent.
    #[serde(default)]
    pub completed_at: Option<DateTime<Utc>>,
    /// The lots that came out. Nothing at all may have; then the note says why.
    #[schema(max_items = 500)]
    pub outputs: Vec<NewOutput>,
}

impl NewWriteUp {
    fn split(self) -> (NewBatch, Vec<NewUse>, Vec<NewEquipmentRun>, Vec<NewReading>, NewCompletion) {
        let begun =
            NewBatch { recipe: self.recipe, site: self.site, started_at: self.started_at, note: self.note.clone() };
        // The sheet has one place for remarks; it stands with the batch, and with the completion where one is asked for.
        let note = if self.outputs.is_empty() { self.note } else { None };
        let done = NewCompletion { completed_at: self.completed_at, outputs: self.outputs, note };
        (begun, self.uses, self.equipment, self.readings, done)
    }
}

impl Tubtrail {
    /// Writes up a whole batch: all of it, or nothing.
    pub fn write_up_batch(&self, request: &Request, new: NewWriteUp) -> Result<Answered<Batch>> {
        let actor = request.actor.clone();
        self.write_with_recalls(request, &reach::WRITE_UP_BATCH, move |tx, index| {
            let (begun, new_uses, equipment, readings, done) = new.split();
            let making = batches::begin(tx, &actor, &reach::WRITE_UP_BATCH, &begun)?;
            let now = tx.now();
            let inputs = uses::check(tx.conn()?, &actor, &new_uses, now)?;
            let equipment = batch_equipment::check(tx, &making, &equipment)?;
            let readings = readings::check(&readings, now)?;
            let done = completions::check(tx, &making, &done)?;
            tx.record(&making.row)?;
            // A batch that has yielded nothing yet cannot close a loop, so the graph need not be asked for one.
            uses::record(tx, index, &actor, &making, &inputs, Unsaid::At(making.row.started_at))?;
            batch_equipment::record(tx, &making, &equipment)?;
            readings::record(tx, &making, &readings)?;
            completions::record(tx, &making, &done)?;
            batches::answer(tx.conn()?, &making)
        })
    }
}
