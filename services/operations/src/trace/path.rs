//! The way from one lot to another, as evidence.

use serde::{Deserialize, Serialize};
use tubtrail_domain::quantity::Mass;
use tubtrail_domain::say;
use tubtrail_domain::saying::Saying;
use tubtrail_storage::lots::{LotRow, lots_by_ids};
use tubtrail_storage::master_data::{Noun, Site};
use tubtrail_storage::search::{NamedBatch, item_labels, named_batches};
use tubtrail_storage::{AnyConnection, StorageError};
use utoipa::ToSchema;

use super::CAUTION;
use crate::error::{OperationError, Result};
use crate::fields;
use crate::index::{lot_ix, lot_row};
use crate::known::{MadeBy, made_by};
use crate::lots::{addressed, named, number, within_reach};
use crate::quantities::Grams;
use crate::reach::{self, Request};
use crate::tubtrail::{Tubtrail, at_once};

/// A shortest way by which one lot got into another.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, ToSchema)]
#[schema(example = json!({"from": "261125-0042-7", "to": "261125-0051-7", "found": true,
    "steps": [{"lot": "261125-0042-7", "name": "Whole milk", "grams": 12000,
        "batch": {"batch": 12, "recipe": "white-base", "name": "White base", "started_at": "2026-11-25T07:30:00Z"},
        "made": "261125-0051-7"}],
    "in_words": "12000 g of lot 261125-0042-7 (Whole milk) went into batch 12 (White base, 25 Nov 2026), which made lot 261125-0051-7 (White base).",
    "journal_position": 9120,
    "caution": "This is what was recorded. What was not written down, or written down wrongly, is not in it; that a lot is missing from this list clears nothing."}))]
pub struct Path {
    /// The lot it begins with.
    pub from: String,
    /// The lot it ends with.
    pub to: String,
    /// Whether the records hold such a way.
    pub found: bool,
    /// One step a batch.
    pub steps: Vec<PathStep>,
    /// The same in plain words.
    #[schema(value_type = String)]
    pub in_words: Saying,
    /// The last journal entry it takes into account.
    pub journal_position: i64,
    /// What it does not say.
    pub caution: String,
}

/// A lot went into a batch, which made the next.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct PathStep {
    /// The lot that went in.
    pub lot: String,
    /// The name of its item.
    pub name: String,
    /// How much of it, over all its uses in this batch.
    pub grams: Grams,
    /// The batch it went into.
    pub batch: MadeBy,
    /// The lot that batch made.
    pub made: String,
}

/// A step as the graph knows it: lot row, batch row, milligrams.
struct Step {
    lot: i64,
    batch: Option<i64>,
    mg: i64,
}

impl Tubtrail {
    /// A shortest way by which one lot got into another, in plain words.
    pub fn show_path(&self, request: &Request, from: &str, to: &str) -> Result<Path> {
        self.read(|conn| {
            let from = addressed(conn, from)?;
            within_reach(conn, &request.actor, &reach::SHOW_PATH, &from)?;
            let target = named(conn, "to", to)?;
            let (position, way) = self.way(conn, from.id, target.id)?;
            if way.is_none() {
                // What is out of reach is as unknown as what is not there.
                let unknown = || OperationError::unknown(say!("lot"), to, "to");
                let reached = within_reach(conn, &request.actor, &reach::SHOW_PATH, &target);
                reached.map_err(|error| error.if_not_found(unknown))?;
            }
            at_once(conn, |conn| show(conn, &from, &target, position, way))
        })
    }

    fn way(&self, conn: &mut AnyConnection, from: i64, to: i64) -> Result<(i64, Option<Vec<Step>>)> {
        let (from, to) = (lot_ix(from)?, lot_ix(to)?);
        Ok(self.current_index(conn)?.look(|inside, scratch| {
            let way = inside.graph.path(scratch, from, to).map(|steps| {
                let step = |step: tubtrail_lineage::Step| Step {
                    lot: lot_row(step.lot),
                    batch: step.batch.map(|batch| inside.batch_row(batch)),
                    mg: inside
                        .graph
                        .uses_of(step.lot)
                        .filter(|(batch, _)| Some(*batch) == step.batch)
                        .map(|(_, mg)| mg)
                        .sum(),
                };
                steps.into_iter().map(step).collect()
            });
            (inside.position, way)
        }))
    }
}

fn show(
    conn: &mut AnyConnection,
    from: &LotRow,
    to: &LotRow,
    journal_position: i64,
    way: Option<Vec<Step>>,
) -> Result<Path> {
    let (from_number, to_number) = (number(from)?.to_string(), number(to)?.to_string());
    let found = way.is_some();
    let (steps, sentences) = show_steps(conn, &way.unwrap_or_default())?;
    let sentences = Saying::joined(sentences, |one, other| say!("{one} {other}", one, other));
    let in_words = match (found, sentences) {
        (true, Some(sentences)) => sentences,
        (true, None) => say!("This is lot {lot} itself.", lot = from_number),
        (false, _) => say!(
            "The records hold no way by which lot {lot} got into lot {other}.",
            lot = from_number,
            other = to_number
        ),
    };
    Ok(Path {
        from: from_number,
        to: to_number,
        found,
        steps,
        in_words,
        journal_position,
        caution: CAUTION.to_string(),
    })
}

fn show_steps(conn: &mut AnyConnection, way: &[Step]) -> Result<(Vec<PathStep>, Vec<Saying>)> {
    let rows = lots_by_ids(conn, &way.iter().map(|step| step.lot).collect::<Vec<_>>())?;
    let items = item_labels(conn, &rows.iter().map(|row| row.item_id).collect::<Vec<_>>())?;
    let batches = named_batches(conn, &way.iter().filter_map(|step| step.batch).collect::<Vec<_>>())?;
    let corrupt = || StorageError::Corrupt("a path leads through a missing row".into());
    let label = |lot: i64| -> Result<(String, String)> {
        let row = rows.iter().find(|row| row.id == lot).ok_or_else(corrupt)?;
        let (_, name) = items.get(&row.item_id).cloned().ok_or_else(corrupt)?;
        Ok((number(row)?.to_string(), name))
    };
    let (mut steps, mut sentences) = (Vec::new(), Vec::new());
    for pair in way.windows(2) {
        let ((lot, name), (made, made_name)) = (label(pair[0].lot)?, label(pair[1].lot)?);
        let batch = pair[0].batch.and_then(|id| batches.get(&id)).ok_or_else(corrupt)?;
        let grams = Grams::from_mg(pair[0].mg);
        sentences.push(say!(
            "{grams} of lot {lot} ({name}) went into batch {batch} ({recipe}, {day}), which made lot {made} ({made_name}).",
            grams = in_grams(pair[0].mg)?,
            lot,
            name,
            batch = batch.batch.id,
            recipe = batch.name,
            day = day_of(conn, batch)?,
            made,
            made_name
        ));
        steps.push(PathStep { lot, name, grams, batch: made_by(batch), made });
    }
    Ok((steps, sentences))
}

/// The day a batch began, at its site.
fn day_of(conn: &mut AnyConnection, batch: &NamedBatch) -> Result<String> {
    let site = Site::by_id(conn, batch.batch.site_id)?
        .ok_or_else(|| StorageError::Corrupt(format!("batch {} names a missing site", batch.batch.id)))?;
    Ok(fields::day_at(&site, batch.batch.started_at)?.format("%-d %b %Y").to_string())
}

fn in_grams(mg: i64) -> Result<Mass> {
    Ok(Mass::from_mg(mg).map_err(|error| StorageError::Corrupt(error.to_string()))?)
}
