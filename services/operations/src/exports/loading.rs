//! Turns rows into events.

use std::collections::{BTreeSet, HashMap};

use chrono::NaiveDateTime;
use sha2::{Digest as _, Sha256};
use tubtrail_domain::place::State;
use tubtrail_storage::lots::{DeliveryLineRow, DeliveryRow, LotRow, lots_by_ids};
use tubtrail_storage::stock::{CountLineRow, CountRow, MovementRow};
use tubtrail_storage::tracking::{self, Key, Source, Wanted};
use tubtrail_storage::{AnyConnection, StorageError};

use super::batches::Written;
use super::told::Told;
use super::{EventKind, Goods, Paper, PaperKind, TrackingEvent};
use crate::error::Result;
use crate::fields;
use crate::quantities::Grams;

/// Reads events up to a journal entry.
pub(super) struct Loader {
    pub told: Told,
    /// What was written down later is not told.
    pub until: i64,
    /// Of these lines alone goods are told; of a batch, of all.
    pub wanted: Wanted,
}

/// What is known of a page of rows.
pub(super) struct Known {
    pub lots: HashMap<i64, LotRow>,
    pub commits: HashMap<i64, (NaiveDateTime, String)>,
}

impl Known {
    pub fn of(
        conn: &mut AnyConnection,
        lots: impl IntoIterator<Item = i64>,
        entries: impl IntoIterator<Item = i64>,
    ) -> Result<Self> {
        let lots: Vec<i64> = lots.into_iter().collect::<BTreeSet<_>>().into_iter().collect();
        let entries: Vec<i64> = entries.into_iter().collect();
        Ok(Self {
            lots: lots_by_ids(conn, &lots)?.into_iter().map(|lot| (lot.id, lot)).collect(),
            commits: tracking::commits(conn, &entries)?,
        })
    }

    pub fn lot(&self, id: i64) -> Result<&LotRow> {
        Ok(self.lots.get(&id).ok_or_else(|| StorageError::Corrupt(format!("lot row {id} is named and missing")))?)
    }

    /// When an entry was committed, and the identity of an event that a row of it tells.
    pub fn identity(&self, entry: i64, table: &str, row: i64) -> Result<(NaiveDateTime, String)> {
        let missing = || StorageError::Corrupt(format!("journal entry {entry} is named and missing"));
        let (recorded_at, hash) = self.commits.get(&entry).ok_or_else(missing)?;
        Ok((*recorded_at, identity(hash, table, row)))
    }
}

/// A UUID made from the hash of a journal entry, which is no other house's, and the row (RFC 9562, version 8: one's own way).
fn identity(hash: &str, table: &str, row: i64) -> String {
    let digest = Sha256::digest(format!("{hash} {table} {row}"));
    let mut bytes = [0_u8; 16];
    bytes.copy_from_slice(&digest[..16]);
    bytes[6] = (bytes[6] & 0x0f) | 0x80;
    bytes[8] = (bytes[8] & 0x3f) | 0x80;
    let number = u128::from_be_bytes(bytes);
    let part = |from: u32, digits: usize| format!("{:0digits$x}", (number >> from) & ((1 << (4 * digits)) - 1));
    let parts = [part(96, 8), part(80, 4), part(64, 4), part(48, 4), part(0, 12)];
    format!("urn:uuid:{}", parts.join("-"))
}

/// What a row says of an event before anything is looked up.
pub(super) struct Said {
    pub kind: EventKind,
    /// The table of the row, and which of several things it tells.
    pub told_by: &'static str,
    pub row: i64,
    pub entry: i64,
    pub at: NaiveDateTime,
    pub site_id: i64,
}

impl Loader {
    pub fn new(until: i64, wanted: Wanted) -> Self {
        Self { told: Told::default(), until, wanted }
    }

    /// The events of some rows, in their order.
    pub fn load(&mut self, conn: &mut AnyConnection, keys: &[(Source, Key)]) -> Result<Vec<TrackingEvent>> {
        let mut found: HashMap<(Source, i64), Vec<TrackingEvent>> = HashMap::new();
        for source in Source::ALL {
            let ids: Vec<i64> = keys.iter().filter(|(of, _)| *of == source).map(|(_, key)| key.id).collect();
            if ids.is_empty() {
                continue;
            }
            let events = match source {
                Source::Deliveries => self.deliveries(conn, &ids)?,
                Source::Completions => self.batches(conn, &ids)?,
                Source::Transfers => self.transfers(conn, &ids)?,
                Source::Receipts => self.receipts(conn, &ids)?,
                Source::Gone => self.gone(conn, &ids)?,
                Source::CountLines => self.counted(conn, &ids)?,
            };
            for (row, event) in events {
                found.entry((source, row)).or_default().push(event);
            }
        }
        Ok(keys.iter().filter_map(|(source, key)| found.remove(&(*source, key.id))).flatten().collect())
    }

    /// An event with nothing in it yet.
    pub(super) fn begin(&mut self, conn: &mut AnyConnection, known: &Known, said: &Said) -> Result<TrackingEvent> {
        let (recorded_at, id) = known.identity(said.entry, said.told_by, said.row)?;
        Ok(TrackingEvent {
            id,
            kind: said.kind,
            at: fields::utc(said.at),
            offset_minutes: self.told.offset_minutes(conn, said.site_id, said.at)?,
            recorded_at: fields::utc(recorded_at),
            entry: said.entry,
            site: self.told.site(conn, said.site_id)?,
            other: None,
            paper: None,
            goods: Vec::new(),
            made: Vec::new(),
            expected: None,
            reason: None,
            withdrawn: None,
        })
    }

    pub(super) fn goods_of(
        &mut self,
        conn: &mut AnyConnection,
        known: &Known,
        lots: impl IntoIterator<Item = (i64, i64)>,
    ) -> Result<Vec<Goods>> {
        let each = lots.into_iter().filter(|(_, mass_mg)| *mass_mg > 0);
        each.map(|(lot, mass_mg)| self.told.goods(conn, known.lot(lot)?, mass_mg)).collect()
    }

    fn deliveries(&mut self, conn: &mut AnyConnection, ids: &[i64]) -> Result<Vec<(i64, TrackingEvent)>> {
        let until = self.until;
        let rows = tracking::deliveries_with_lines(conn, ids, &self.wanted)?;
        let lots = rows.values().flat_map(|(_, lines)| lines.iter().filter_map(|line| line.lot_id));
        let known = Known::of(conn, lots, rows.values().map(|(row, _)| row.entry))?;
        let mut events = Vec::new();
        for (row, lines) in rows.values().filter(|(row, _)| row.entry <= until) {
            if let Some(event) = self.delivery(conn, &known, row, lines)? {
                events.push((row.id, event));
            }
        }
        Ok(events)
    }

    /// What was turned away at the door became no lot, and a delivery of which all was is no event.
    fn delivery(
        &mut self,
        conn: &mut AnyConnection,
        known: &Known,
        row: &DeliveryRow,
        lines: &[DeliveryLineRow],
    ) -> Result<Option<TrackingEvent>> {
        let taken = lines.iter().filter_map(|line| Some((line.lot_id?, line.mass_mg)));
        let goods = self.goods_of(conn, known, taken)?;
        if goods.is_empty() {
            return Ok(None);
        }
        let said = Said {
            kind: EventKind::Received,
            told_by: Source::Deliveries.table(),
            row: row.id,
            entry: row.entry,
            at: row.arrived_at,
            site_id: row.site_id,
        };
        let other = Some(self.told.partner(conn, row.supplier_id)?);
        let paper = Some(Paper { kind: PaperKind::Delivery, number: row.document.clone() });
        Ok(Some(TrackingEvent { other, paper, goods, ..self.begin(conn, known, &said)? }))
    }

    fn batches(&mut self, conn: &mut AnyConnection, ids: &[i64]) -> Result<Vec<(i64, TrackingEvent)>> {
        let mut events = Vec::new();
        let written = Written::of(conn, ids, self.until)?;
        for batch in written.batches() {
            for event in written.events(conn, self, batch)? {
                events.push((batch.completion.id, event));
            }
        }
        Ok(events)
    }

    fn gone(&mut self, conn: &mut AnyConnection, ids: &[i64]) -> Result<Vec<(i64, TrackingEvent)>> {
        let until = self.until;
        let rows = tracking::movements_by_ids(conn, ids)?;
        let (lots, entries) = (rows.values().map(|row| row.lot_id), rows.values().map(|row| row.entry));
        let known = Known::of(conn, lots, entries)?;
        let mut events = Vec::new();
        for row in rows.values().filter(|row| row.entry <= until) {
            events.push((row.id, self.one_gone(conn, &known, row)?));
        }
        Ok(events)
    }

    fn one_gone(&mut self, conn: &mut AnyConnection, known: &Known, row: &MovementRow) -> Result<TrackingEvent> {
        let kind = match row.to()?.state {
            State::Consigned => EventKind::Consigned,
            State::Supplier => EventKind::Returned,
            _ => EventKind::Destroyed,
        };
        let lot = known.lot(row.lot_id)?;
        let partner = match kind {
            EventKind::Returned => row.partner_id.or(lot.supplier_id),
            _ => row.partner_id,
        };
        let said = Said {
            kind,
            told_by: Source::Gone.table(),
            row: row.id,
            entry: row.entry,
            at: row.occurred_at,
            site_id: row.to_site_id,
        };
        let paper = |number: &String| Paper { kind: PaperKind::Consignment, number: number.clone() };
        Ok(TrackingEvent {
            other: partner.map(|id| self.told.partner(conn, id)).transpose()?,
            paper: row.document.as_ref().map(paper),
            goods: vec![self.told.goods(conn, lot, row.mass_mg)?],
            reason: row.reason.clone(),
            ..self.begin(conn, known, &said)?
        })
    }

    fn counted(&mut self, conn: &mut AnyConnection, ids: &[i64]) -> Result<Vec<(i64, TrackingEvent)>> {
        let until = self.until;
        let rows = tracking::count_lines_with_counts(conn, ids)?;
        let (lots, entries) = (rows.values().map(|(line, _)| line.lot_id), rows.values().map(|(line, _)| line.entry));
        let known = Known::of(conn, lots, entries)?;
        let mut events = Vec::new();
        for (line, count) in rows.values().filter(|(line, _)| line.entry <= until) {
            events.push((line.id, self.one_counted(conn, &known, line, count)?));
        }
        Ok(events)
    }

    fn one_counted(
        &mut self,
        conn: &mut AnyConnection,
        known: &Known,
        line: &CountLineRow,
        count: &CountRow,
    ) -> Result<TrackingEvent> {
        let said = Said {
            kind: EventKind::Counted,
            told_by: Source::CountLines.table(),
            row: line.id,
            entry: line.entry,
            at: count.counted_at,
            site_id: count.site_id,
        };
        Ok(TrackingEvent {
            goods: vec![self.told.goods(conn, known.lot(line.lot_id)?, line.found_mg)?],
            expected: Some(Grams::from_mg(line.expected_mg)),
            reason: line.reason.clone(),
            ..self.begin(conn, known, &said)?
        })
    }
}
