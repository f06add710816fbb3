//! The index as a server builds it when it starts: from all the facts at once, the two largest tables read side by side where
//! there are two connections.

use std::collections::HashMap;

use tubtrail_domain::allergens::EVERY_SUBSTANCE;
use tubtrail_lineage::{BatchIx, Clean, Content, Graph, LotIx, Run, Timeline, Use, Whole, WholeContact, WholeLots};
use tubtrail_storage::contents::{EquipmentClean, EquipmentRun, StatedInput, StatedLot};
use tubtrail_storage::graph_changes::GraphLot;
use tubtrail_storage::stock::counted_masses;
use tubtrail_storage::whole_graph::{
    each_lot, each_use, whole_batches, whole_cleans, whole_inputs, whole_runs, whole_statements, whole_untracked,
};
use tubtrail_storage::{AnyConnection, StorageError};

use super::batches::{Batches, Finder};
use super::contents::{Contents, as_clean, as_run, by_batch};
use super::{Inside, lot_ix, lot_row};

/// Where the facts are read from: what any of them reads is the same, for it was committed before.
pub(super) struct Sources<'c> {
    pub first: &'c mut AnyConnection,
    pub second: Option<&'c mut AnyConnection>,
}

/// What joins lots and batches, and batches with each other.
struct Joins {
    uses: Vec<Use>,
    untracked: Vec<(BatchIx, i64)>,
    inputs: Vec<StatedInput>,
    runs: Vec<EquipmentRun>,
    cleans: Vec<EquipmentClean>,
}

impl Inside {
    /// Everything up to and including an entry, but for the recalls and what is kept beside the graph; with what went into
    /// batches without lots.
    pub(super) fn whole(sources: Sources<'_>, until: i64) -> Result<(Self, Vec<StatedInput>), StorageError> {
        let Sources { first, second } = sources;
        let mut contents = Contents::default();
        contents.take_statements(&whole_statements(first, until)?)?;
        let batches = Batches::of(whole_batches(first, until)?);
        let lots = |conn: &mut AnyConnection| lots(conn, &contents, &batches, until);
        let joins = |conn: &mut AnyConnection| Joins::read(conn, &batches, until);
        let (lots, joins) = match second {
            None => (lots(first), joins(first)),
            Some(second) => std::thread::scope(|scope| {
                let joins = scope.spawn(|| joins(second));
                let lots = lots(first);
                (lots, joins.join().unwrap_or_else(|panic| std::panic::resume_unwind(panic)))
            }),
        };
        let (lots, joins) = (lots?, joins?);
        refuse_unknown(&joins.uses, lots.len())?;
        let contacts = contents.meet(joins.runs, &joins.cleans, &batches)?;
        let declared = declared(&contents, &batches, &joins.inputs)?;
        let (uses, untracked) = (joins.uses, joins.untracked);
        let whole = Whole { batches: batches.len(), lots, uses, untracked, declared, contacts };
        let mut graph = Graph::of(whole).map_err(|circle| contains_itself(&circle.lots))?;
        for (lot, mass_mg) in counted_masses(first, 0, until)? {
            graph.set_mass(lot_ix(lot)?, mass_mg);
        }
        Ok((Self { graph, contents, batches, ..Self::default() }, joins.inputs))
    }
}

/// Every lot, with what is stated of it.
fn lots(
    conn: &mut AnyConnection,
    contents: &Contents,
    batches: &Batches,
    until: i64,
) -> Result<WholeLots, StorageError> {
    let (mut lots, mut early, mut finder) = (WholeLots::default(), HashMap::new(), batches.finder());
    let mut add = |lots: &mut WholeLots, row: GraphLot| -> Result<(), StorageError> {
        let GraphLot { id, item_id, supplier_id, batch_id, mass_mg, day } = row;
        let made_by = batch_id.map(|batch| finder.find(batch)).transpose()?;
        let own = contents.statements.own_of_lot(&StatedLot { id, item_id, supplier_id, batch_id, day });
        lots.add(made_by, mass_mg, own);
        Ok(())
    };
    let next = |lots: &WholeLots| i64::try_from(lots.len()).unwrap_or(i64::MAX) + 1;
    each_lot(conn, until, |row| {
        if row.id != next(&lots) {
            // The table may lie otherwise than it was written.
            early.insert(row.id, row);
            return Ok(());
        }
        add(&mut lots, row)?;
        while let Some(row) = early.remove(&next(&lots)) {
            add(&mut lots, row)?;
        }
        Ok(())
    })?;
    match early.into_keys().min() {
        None => Ok(lots),
        Some(id) => Err(StorageError::Corrupt(format!("lot rows are not dense at {id}"))),
    }
}

impl Joins {
    fn read(conn: &mut AnyConnection, batches: &Batches, until: i64) -> Result<Self, StorageError> {
        let uses = uses(conn, &mut batches.finder(), until)?;
        let mut finder = batches.finder();
        let untracked = whole_untracked(conn, until)?.into_iter();
        let untracked = untracked.map(|(batch, mass_mg)| Ok((finder.find(batch)?, mass_mg)));
        Ok(Self {
            uses,
            untracked: untracked.collect::<Result<_, StorageError>>()?,
            inputs: whole_inputs(conn, until)?,
            runs: whole_runs(conn, until)?,
            cleans: whole_cleans(conn, until)?,
        })
    }
}

/// Every use, in order of id.
fn uses(conn: &mut AnyConnection, finder: &mut Finder<'_>, until: i64) -> Result<Vec<Use>, StorageError> {
    let (mut uses, mut ids): (Vec<Use>, Vec<i64>) = (Vec::new(), Vec::new());
    each_use(conn, until, |row| {
        ids.push(row.id);
        uses.push(Use { lot: lot_ix(row.lot_id)?, batch: finder.find(row.batch_id)?, mass_mg: row.mass_mg });
        Ok(())
    })?;
    if !ids.is_sorted() {
        let mut places: Vec<usize> = (0..ids.len()).collect();
        places.sort_unstable_by_key(|place| ids[*place]);
        uses = places.into_iter().map(|place| uses[place]).collect();
    }
    Ok(uses)
}

fn refuse_unknown(uses: &[Use], lots: usize) -> Result<(), StorageError> {
    match uses.iter().find(|one| one.lot.index() as usize >= lots) {
        None => Ok(()),
        Some(one) => Err(StorageError::Corrupt(format!("lot row {} is used and missing", lot_row(one.lot)))),
    }
}

fn declared(
    contents: &Contents,
    batches: &Batches,
    inputs: &[StatedInput],
) -> Result<Vec<(BatchIx, Content)>, StorageError> {
    let of_batch = |(batch, inputs): (i64, Vec<StatedInput>)| {
        Ok((batches.find(batch)?, contents.of_inputs(&contents.statements, &inputs)?))
    };
    by_batch(inputs).into_iter().map(of_batch).collect()
}

fn contains_itself(circle: &[LotIx]) -> StorageError {
    let rows: Vec<String> = circle.iter().map(|lot| lot_row(*lot).to_string()).collect();
    StorageError::Corrupt(format!("by their uses, lots contain themselves: rows {}", rows.join(", ")))
}

impl Contents {
    /// Writes down everything that ran and was cleaned, and gives the contacts that follow.
    fn meet(
        &mut self,
        runs: Vec<EquipmentRun>,
        cleans: &[EquipmentClean],
        batches: &Batches,
    ) -> Result<Vec<WholeContact>, StorageError> {
        let mut books: Vec<(Vec<Run>, Vec<Clean>)> = Vec::new();
        let mut finder = batches.finder();
        for run in &runs {
            let run_of = as_run(run, finder.find(run.batch_id)?);
            self.book(run.equipment_id, &mut books).0.push(run_of);
        }
        drop(runs);
        for clean in cleans {
            let (equipment, clean) = as_clean(clean)?;
            self.book(equipment, &mut books).1.push(clean);
        }
        let mut contacts = Vec::new();
        for (via, (runs, cleans)) in (0_u32..).zip(books) {
            let timeline = Timeline::of(runs, cleans);
            contacts.extend(timeline.contacts().map(|(before, after, carries)| {
                let carries = carries & EVERY_SUBSTANCE;
                WholeContact { before, after, carries, via }
            }));
            self.set_timeline(via, timeline);
        }
        Ok(contacts)
    }

    fn book<'b>(
        &mut self,
        equipment: i64,
        books: &'b mut Vec<(Vec<Run>, Vec<Clean>)>,
    ) -> &'b mut (Vec<Run>, Vec<Clean>) {
        let via = self.via(equipment) as usize;
        if books.len() <= via {
            books.resize_with(via + 1, Default::default);
        }
        &mut books[via]
    }
}
