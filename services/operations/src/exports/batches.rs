//! Batches as they were written down when they were completed, and each way they were put right since.

use std::collections::{BTreeMap, BTreeSet, HashMap};

use tubtrail_storage::AnyConnection;
use tubtrail_storage::lots::{BatchRow, CompletionRow, LotRow, UntrackedInputRow, UseRow, UseVoidRow, voids_of};
use tubtrail_storage::search::{lots_of_batches, untracked_of_batches, uses_of_batches};
use tubtrail_storage::tracking::{Source, completions_with_batches};

use super::loading::{Known, Loader, Said};
use super::{EventKind, Goods, Paper, PaperKind, TrackingEvent, Withdrawn};
use crate::error::Result;
use crate::fields;

/// Some batches with all that was written down of them up to a journal entry.
pub(super) struct Written {
    batches: Vec<Batch>,
    voids: HashMap<i64, UseVoidRow>,
    known: Known,
}

/// A batch that was completed.
pub(super) struct Batch {
    pub completion: CompletionRow,
    row: BatchRow,
    uses: Vec<UseRow>,
    loose: Vec<UntrackedInputRow>,
    lots: Vec<LotRow>,
}

impl Written {
    /// Reads some by the row ids of their completions.
    pub fn of(conn: &mut AnyConnection, completion_ids: &[i64], until: i64) -> Result<Self> {
        let mut rows: Vec<(CompletionRow, BatchRow)> = completions_with_batches(conn, completion_ids)?
            .into_values()
            .filter(|(row, _)| row.entry <= until)
            .collect();
        rows.sort_by_key(|(completion, _)| completion.id);
        let ids: Vec<i64> = rows.iter().map(|(_, batch)| batch.id).collect();
        let mut uses = by_batch(uses_of_batches(conn, &ids)?, |row| (row.batch_id, row.entry, row.id), until);
        let mut loose = by_batch(untracked_of_batches(conn, &ids)?, |row| (row.batch_id, row.entry, row.id), until);
        let mut lots =
            by_batch(lots_of_batches(conn, &ids)?, |row| (row.batch_id.unwrap_or(0), row.entry, row.id), until);
        let use_ids: Vec<i64> = uses.values().flatten().map(|row| row.id).collect();
        let voids: HashMap<i64, UseVoidRow> = voids_of(conn, &use_ids)?
            .into_iter()
            .filter(|void| void.entry <= until)
            .map(|void| (void.use_id, void))
            .collect();
        let batches: Vec<Batch> = rows
            .into_iter()
            .map(|(completion, row)| Batch {
                uses: uses.remove(&row.id).unwrap_or_default(),
                loose: loose.remove(&row.id).unwrap_or_default(),
                lots: lots.remove(&row.id).unwrap_or_default(),
                completion,
                row,
            })
            .collect();
        let went_in = batches.iter().flat_map(|batch| batch.uses.iter().map(|row| row.lot_id));
        let mut written = Self { known: Known::of(conn, went_in, [])?, batches, voids };
        let entries: Vec<i64> = written.batches.iter().flat_map(|batch| written.ways(batch)).collect();
        written.known.commits = Known::of(conn, [], entries)?.commits;
        Ok(written)
    }

    /// Them.
    pub fn batches(&self) -> &[Batch] {
        &self.batches
    }

    /// The journal entries by which a batch stood in one way and then in another: its completion, and what put it right since.
    fn ways(&self, batch: &Batch) -> BTreeSet<i64> {
        let voided = batch.uses.iter().filter_map(|row| self.voids.get(&row.id)).map(|void| void.entry);
        let added = batch.uses.iter().map(|row| row.entry).chain(batch.loose.iter().map(|row| row.entry));
        let completed = batch.completion.entry;
        voided.chain(added).filter(|entry| *entry > completed).chain([completed]).collect()
    }

    /// The events of a batch: every way in which it stood, each but the last withdrawn.
    pub fn events(&self, conn: &mut AnyConnection, loader: &mut Loader, batch: &Batch) -> Result<Vec<TrackingEvent>> {
        let mut events: Vec<TrackingEvent> = Vec::new();
        for entry in self.ways(batch) {
            let (at, id) = self.known.identity(entry, Source::Completions.table(), batch.completion.id)?;
            let event = self.event(conn, loader, batch, entry)?;
            if let Some(before) = events.last_mut() {
                let instead = event.is_some().then_some(id);
                let reason = self.reason(batch, entry);
                before.withdrawn = Some(Withdrawn { at: fields::utc(at), instead, reason });
            }
            events.extend(event);
        }
        Ok(events)
    }

    /// The batch as it stood at an entry; nothing where nothing went in and nothing came out.
    fn event(
        &self,
        conn: &mut AnyConnection,
        loader: &mut Loader,
        batch: &Batch,
        entry: i64,
    ) -> Result<Option<TrackingEvent>> {
        let goods = self.went_in(conn, loader, batch, entry)?;
        let made =
            batch.lots.iter().map(|lot| loader.told.goods(conn, lot, lot.mass_mg)).collect::<Result<Vec<_>>>()?;
        if goods.is_empty() && made.is_empty() {
            return Ok(None);
        }
        let said = Said {
            kind: EventKind::Transformed,
            told_by: Source::Completions.table(),
            row: batch.completion.id,
            entry,
            at: batch.completion.completed_at,
            site_id: batch.row.site_id,
        };
        let paper = Some(Paper { kind: PaperKind::Batch, number: batch.row.id.to_string() });
        Ok(Some(TrackingEvent { paper, goods, made, ..loader.begin(conn, &self.known, &said)? }))
    }

    /// Each lot once, with all that was used of it.
    fn went_in(&self, conn: &mut AnyConnection, loader: &mut Loader, batch: &Batch, entry: i64) -> Result<Vec<Goods>> {
        let is_void = |row: &UseRow| self.voids.get(&row.id).is_some_and(|void| void.entry <= entry);
        let mut used: BTreeMap<i64, i64> = BTreeMap::new();
        for row in batch.uses.iter().filter(|row| row.entry <= entry && !is_void(row)) {
            *used.entry(row.lot_id).or_default() += row.mass_mg;
        }
        let mut loose: BTreeMap<i64, i64> = BTreeMap::new();
        for row in batch.loose.iter().filter(|row| row.entry <= entry) {
            *loose.entry(row.item_id).or_default() += row.mass_mg;
        }
        let mut goods = Vec::with_capacity(used.len() + loose.len());
        for (lot, mass_mg) in used {
            goods.push(loader.told.goods(conn, self.known.lot(lot)?, mass_mg)?);
        }
        for (item, mass_mg) in loose {
            goods.push(loader.told.loose(conn, item, mass_mg)?);
        }
        Ok(goods)
    }

    /// Why it was put right by an entry.
    fn reason(&self, batch: &Batch, entry: i64) -> Option<String> {
        let voids = batch.uses.iter().filter_map(|row| self.voids.get(&row.id));
        let void = voids.filter(|void| void.entry == entry).map(|void| void.reason.clone());
        let used = batch.uses.iter().filter(|row| row.entry == entry).filter_map(|row| row.override_reason.clone());
        let loose = batch.loose.iter().filter(|row| row.entry == entry).filter_map(|row| row.reason.clone());
        void.chain(used).chain(loose).next()
    }
}

/// Rows by batch, in the order in which they were written down, up to an entry. `key` gives batch, entry and row.
fn by_batch<T>(mut rows: Vec<T>, key: impl Fn(&T) -> (i64, i64, i64), until: i64) -> HashMap<i64, Vec<T>> {
    rows.sort_by_key(&key);
    let mut found: HashMap<i64, Vec<T>> = HashMap::new();
    for row in rows {
        let (batch, entry, _) = key(&row);
        if entry <= until {
            found.entry(batch).or_default().push(row);
        }
    }
    found
}
