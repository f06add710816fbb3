//! What the index knows of contents: the statements that count, what ran on each piece of equipment, and how both are fed
//! to the graph.

use std::collections::{BTreeMap, HashMap};

use chrono::{NaiveDate, NaiveDateTime};
use chrono_tz::Tz;
use tubtrail_domain::allergens::{Declared, EVERY_SUBSTANCE};
use tubtrail_domain::cleans::Clears;
use tubtrail_lineage::{BatchIx, Changed, Clean, ContactChange, Content, Graph, LotIx, Run, Scratch, Timeline};
use tubtrail_storage::StorageError;
use tubtrail_storage::contents::{ContentChanges, EquipmentClean, EquipmentRun, StatedInput, StatedLot, Voided};

use super::batches::Batches;
use super::stated::{Stated, Statements};
use super::{Inside, lot_ix};

/// Everything that says what is in lots, besides the graph that keeps what follows from it.
#[derive(Default)]
pub struct Contents {
    /// The statements that count.
    pub statements: Statements,
    /// The papers on which statements stand, by statement.
    documents: HashMap<i64, Box<str>>,
    zones: Zones,
    equipment: Vec<i64>,
    via_of: HashMap<i64, u32>,
    timelines: Vec<Timeline>,
}

/// When a batch ran on a piece of equipment.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct RanOn {
    /// From when.
    pub from: NaiveDateTime,
    /// Until when, where that was written down and is later.
    pub until: Option<NaiveDateTime>,
}

/// The time zones of sites, each from a journal entry on: a day of a batch stays the day it was, whatever is said later.
#[derive(Default)]
struct Zones {
    of_site: HashMap<i64, Vec<(i64, Tz)>>,
}

impl Contents {
    /// The row of the equipment that a contact happened on.
    pub fn equipment_row(&self, via: u32) -> i64 {
        self.equipment[via as usize]
    }

    /// The paper on which a statement stands.
    pub fn document(&self, statement: i64) -> Result<&str, StorageError> {
        let document = self.documents.get(&statement).map(AsRef::as_ref);
        document.ok_or_else(|| StorageError::Corrupt(format!("statement {statement} is named and missing")))
    }

    /// When a batch ran on a piece of equipment, the first time first.
    pub fn runs_on(&self, equipment: i64, batch: BatchIx) -> Vec<RanOn> {
        let timeline = self.via_of.get(&equipment).map(|via| &self.timelines[*via as usize]);
        let runs = timeline.map(|timeline| timeline.runs_of(batch)).unwrap_or_default();
        let moment = |micros| chrono::DateTime::from_timestamp_micros(micros).map(|at| at.naive_utc());
        let ran = |(from, end): (i64, i64)| {
            Some(RanOn { from: moment(from)?, until: if end > from { moment(end) } else { None } })
        };
        runs.into_iter().filter_map(ran).collect()
    }

    /// What would be declared of a batch by these inputs without lots, all that it has.
    pub fn of_inputs(&self, statements: &Statements, inputs: &[StatedInput]) -> Result<Content, StorageError> {
        inputs.iter().try_fold(Content::NOTHING, |sum, input| {
            Ok(sum.union(statements.of_input(input.item_id, self.zones.day_of(input)?).own))
        })
    }

    /// The day of an input without a lot: by it, it is known which statement holds.
    pub fn day_of_input(&self, input: &StatedInput) -> Result<NaiveDate, StorageError> {
        self.zones.day_of(input)
    }

    /// What is on a piece of equipment at a moment, and may get into what is made on it then: as if a batch began.
    pub fn left_on(&self, graph: &Graph, equipment: i64, at: NaiveDateTime) -> Option<Content> {
        let via = *self.via_of.get(&equipment)?;
        let mut timeline = self.timelines[via as usize].clone();
        let next = BatchIx::from_index(u32::MAX);
        let met = timeline.add_run(Run { batch: next, from: micros(at), until: None, id: i64::MAX });
        let met = met.into_iter().filter(|change| change.after == next);
        Some(met.fold(Content::NOTHING, |left, change| left.union(carried(graph, &change))))
    }

    /// Takes in what was stated, before any lot that came with it.
    pub(super) fn take_statements(&mut self, changes: &ContentChanges) -> Result<(), StorageError> {
        for zone in &changes.zones {
            self.zones.add(zone.site_id, zone.entry, &zone.time_zone)?;
        }
        self.statements.add_spirits(&changes.spirits);
        let mut proteins: HashMap<i64, Vec<_>> = HashMap::new();
        for row in &changes.proteins {
            proteins.entry(row.statement_id).or_default().push(row);
        }
        for row in &changes.statements {
            self.documents.insert(row.id, row.document.as_str().into());
            let proteins = proteins.remove(&row.id).unwrap_or_default();
            self.statements.add(Stated::read(row, &proteins)?);
        }
        for row in &changes.corrected {
            self.statements.remove(row.item_id, row.lot_id, row.id);
        }
        Ok(())
    }

    /// Says of a new lot what is stated of it.
    pub(super) fn declare_new(&self, graph: &mut Graph, lot: LotIx, stated: &StatedLot) {
        let own = self.statements.own_of_lot(stated);
        if own != graph.declared_of_lot(lot) {
            graph.declare_lot(lot, own);
        }
    }

    /// What runs, cleans and their voids make of the contacts: those that changed, in order.
    fn follow_equipment(
        &mut self,
        graph: &mut Graph,
        changes: &ContentChanges,
        batches: &Batches,
    ) -> Result<Vec<ContactChange>, StorageError> {
        let mut contacts = Vec::new();
        for run in &changes.runs {
            let batch = batches.find(run.batch_id)?;
            contacts.extend(self.alter(graph, run.equipment_id, |timeline| timeline.add_run(as_run(run, batch))));
        }
        for clean in &changes.cleans {
            let clean = as_clean(clean)?;
            contacts.extend(self.alter(graph, clean.0, |timeline| timeline.add_clean(clean.1)));
        }
        for void in &changes.run_voids {
            contacts.extend(self.take_back(graph, void, "run", |timeline| timeline.remove_run(void.id))?);
        }
        for void in &changes.clean_voids {
            contacts.extend(self.take_back(graph, void, "clean", |timeline| timeline.remove_clean(void.id))?);
        }
        Ok(contacts)
    }

    fn take_back(
        &mut self,
        graph: &mut Graph,
        void: &Voided,
        what: &str,
        change: impl FnOnce(&mut Timeline) -> Option<Vec<ContactChange>>,
    ) -> Result<Vec<ContactChange>, StorageError> {
        let mut found = true;
        let changed = self.alter(graph, void.equipment_id, |timeline| {
            change(timeline).unwrap_or_else(|| {
                found = false;
                Vec::new()
            })
        });
        if found { Ok(changed) } else { Err(StorageError::Corrupt(format!("{what} {} is not in the index", void.id))) }
    }

    fn alter(
        &mut self,
        graph: &mut Graph,
        equipment: i64,
        change: impl FnOnce(&mut Timeline) -> Vec<ContactChange>,
    ) -> Vec<ContactChange> {
        let via = self.via(equipment);
        let mut changed = change(&mut self.timelines[via as usize]);
        for contact in &mut changed {
            contact.carries &= EVERY_SUBSTANCE;
            graph.add_contact(contact.before, contact.after, contact.carries, via);
        }
        changed
    }

    /// The number of a piece of equipment in the graph, in the order in which they first ran or were cleaned.
    pub(super) fn via(&mut self, equipment: i64) -> u32 {
        *self.via_of.entry(equipment).or_insert_with(|| {
            self.equipment.push(equipment);
            self.timelines.push(Timeline::default());
            // Nobody has four thousand million machines.
            u32::try_from(self.equipment.len() - 1).unwrap_or(u32::MAX)
        })
    }

    /// Puts a book that was written elsewhere in the place of an empty one.
    pub(super) fn set_timeline(&mut self, via: u32, timeline: Timeline) {
        self.timelines[via as usize] = timeline;
    }
}

impl Inside {
    /// Takes in what changed of contents, the lots and uses being there already; answers which contacts changed.
    pub(super) fn take_in_contents(&mut self, changes: &ContentChanges) -> Result<Vec<ContactChange>, StorageError> {
        for lot in &changes.lots {
            let ix = lot_ix(lot.id)?;
            let own = self.contents.statements.own_of_lot(lot);
            if own != self.graph.declared_of_lot(ix) {
                self.graph.declare_lot(ix, own);
            }
        }
        for (batch, inputs) in by_batch(&changes.inputs) {
            let own = self.contents.of_inputs(&self.contents.statements, &inputs)?;
            self.declare_batch(batch, own)?;
        }
        for (batch, inputs) in by_batch(&changes.untracked) {
            let more = self.contents.of_inputs(&self.contents.statements, &inputs)?;
            let own = self.graph.declared_of_batch(self.batch(batch)?).union(more);
            self.declare_batch(batch, own)?;
        }
        self.contents.follow_equipment(&mut self.graph, changes, &self.batches)
    }

    fn declare_batch(&mut self, row: i64, own: Content) -> Result<(), StorageError> {
        let batch = self.batch(row)?;
        if own != self.graph.declared_of_batch(batch) {
            self.graph.declare_batch(batch, own);
        }
        Ok(())
    }

    /// Which lots would have another content if `statements` counted instead, and what content; of those given and all that
    /// came of them.
    pub fn supposing(
        &self,
        scratch: &mut Scratch,
        statements: &Statements,
        lots: &[StatedLot],
        inputs: &[StatedInput],
    ) -> Result<Vec<Changed>, StorageError> {
        let mut declared = Vec::new();
        for lot in lots {
            let (ix, own) = (lot_ix(lot.id)?, statements.own_of_lot(lot));
            if own != self.graph.declared_of_lot(ix) {
                declared.push((ix, own));
            }
        }
        let mut batches = Vec::new();
        for (batch, inputs) in by_batch(inputs) {
            batches.push((self.batch(batch)?, self.contents.of_inputs(statements, &inputs)?));
        }
        Ok(self.graph.would_change(scratch, &declared, &batches))
    }

    /// What of a lot's contents is not as in another index at the same position.
    pub(super) fn lot_contents_differ(&self, other: &Self, lot: LotIx) -> Option<&'static str> {
        (self.graph.content(lot) != other.graph.content(lot)).then_some("what is in it differs")
    }

    /// What of a batch's contents and contacts is not as in another index at the same position.
    pub(super) fn batch_contents_differ(&self, other: &Self, batch: BatchIx) -> Option<&'static str> {
        if self.graph.batch_content(batch) != other.graph.batch_content(batch) {
            return Some("what is in it differs");
        }
        (self.contacts_into(batch) != other.contacts_into(batch)).then_some("its contacts differ")
    }

    fn contacts_into(&self, batch: BatchIx) -> Vec<(BatchIx, u64, i64)> {
        let contacts = self.graph.contacts_before(batch);
        super::sorted(
            contacts.map(|contact| (contact.other, contact.carries, self.contents.equipment_row(contact.via))),
        )
    }
}

impl Zones {
    fn add(&mut self, site: i64, entry: i64, zone: &str) -> Result<(), StorageError> {
        let zone = zone.parse().map_err(|_| StorageError::Corrupt(format!("time zone {zone:?}")))?;
        self.of_site.entry(site).or_default().push((entry, zone));
        Ok(())
    }

    /// The day on which a batch began, as its site counted days when it was written down.
    fn day_of(&self, input: &StatedInput) -> Result<NaiveDate, StorageError> {
        let zones = self.of_site.get(&input.site_id).map_or(&[][..], Vec::as_slice);
        let zone = zones.iter().rev().find(|(entry, _)| *entry <= input.batch_entry);
        let (_, zone) =
            zone.ok_or_else(|| StorageError::Corrupt(format!("site row {}: its time zone", input.site_id)))?;
        Ok(input.started_at.and_utc().with_timezone(zone).date_naive())
    }
}

/// The inputs of each batch, in order of the batch.
pub(super) fn by_batch(inputs: &[StatedInput]) -> BTreeMap<i64, Vec<StatedInput>> {
    let mut batches: BTreeMap<i64, Vec<StatedInput>> = BTreeMap::new();
    for input in inputs {
        batches.entry(input.batch_id).or_default().push(*input);
    }
    batches
}

fn carried(graph: &Graph, change: &ContactChange) -> Content {
    let before = graph.batch_content(change.before);
    let carries = change.carries & EVERY_SUBSTANCE;
    let may_contain = (before.contains | before.may_contain) & carries;
    Content { contains: 0, may_contain, unknown: before.unknown & carries }
}

pub(super) fn as_run(run: &EquipmentRun, batch: BatchIx) -> Run {
    Run { batch, from: micros(run.from), until: run.until.map(micros), id: run.id }
}

/// The equipment and what the timeline keeps of a clean.
pub(super) fn as_clean(clean: &EquipmentClean) -> Result<(i64, Clean), StorageError> {
    let corrupt = |error| StorageError::Corrupt(format!("clean {}: {error}", clean.id));
    let clears = Clears::from_words(&clean.clears).map_err(corrupt)?.mask();
    Ok((clean.equipment_id, Clean { at: micros(clean.at), clears, id: clean.id }))
}

/// A moment in microseconds.
fn micros(at: NaiveDateTime) -> i64 {
    at.and_utc().timestamp_micros()
}

/// What a content says, as the domain speaks of it.
pub fn declares(content: Content) -> Declared {
    Declared {
        contains: content.contains & EVERY_SUBSTANCE,
        may_contain: content.may_contain & EVERY_SUBSTANCE,
        unknown: content.unknown & EVERY_SUBSTANCE,
    }
}
