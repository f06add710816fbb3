//! Transfers: what was put together and left, what arrived and was taken out of it, and what did not arrive.

use tubtrail_domain::moving::{Settlement, settle};
use tubtrail_storage::AnyConnection;
use tubtrail_storage::stock::{ReceiptLineRow, ReceiptRow, TransferLineRow, TransferRow};
use tubtrail_storage::tracking::{self, Source};

use super::loading::{Known, Loader, Said};
use super::{EventKind, Paper, PaperKind, TrackingEvent};
use crate::error::Result;

impl Loader {
    /// What left in some transfers, by row id.
    pub fn transfers(&mut self, conn: &mut AnyConnection, ids: &[i64]) -> Result<Vec<(i64, TrackingEvent)>> {
        let until = self.until;
        let rows = tracking::transfers_with_lines(conn, ids, &self.wanted)?;
        let lots = rows.values().flat_map(|(_, lines)| lines.iter().map(|line| line.lot_id));
        let known = Known::of(conn, lots, rows.values().map(|(row, _)| row.entry))?;
        let mut events = Vec::new();
        for (row, lines) in rows.values().filter(|(row, _)| row.entry <= until) {
            events.extend(self.transfer(conn, &known, row, lines)?.map(|event| (row.id, event)));
        }
        Ok(events)
    }

    /// It was put together, and it left.
    fn transfer(
        &mut self,
        conn: &mut AnyConnection,
        known: &Known,
        row: &TransferRow,
        lines: &[TransferLineRow],
    ) -> Result<[TrackingEvent; 2]> {
        let said = Said {
            kind: EventKind::Dispatched,
            told_by: Source::Transfers.table(),
            row: row.id,
            entry: row.entry,
            at: row.dispatched_at,
            site_id: row.from_site_id,
        };
        let goods = self.goods_of(conn, known, lines.iter().map(|line| (line.lot_id, line.mass_mg)))?;
        let other = Some(self.told.site(conn, row.to_site_id)?);
        let sent = TrackingEvent { other, paper: Some(paper(row)), goods, ..self.begin(conn, known, &said)? };
        let (_, id) = known.identity(row.entry, "transfers, packed", row.id)?;
        Ok([TrackingEvent { id, kind: EventKind::Packed, ..sent.clone() }, sent])
    }

    /// What came of some receipts, by row id.
    pub fn receipts(&mut self, conn: &mut AnyConnection, ids: &[i64]) -> Result<Vec<(i64, TrackingEvent)>> {
        let until = self.until;
        let rows = tracking::receipts_with_lines(conn, ids, &self.wanted)?;
        let lots = rows.values().flat_map(|(_, _, lines)| lines.iter().map(|line| line.lot_id));
        let known = Known::of(conn, lots, rows.values().map(|(row, ..)| row.entry))?;
        let mut events = Vec::new();
        for (row, transfer, lines) in rows.values().filter(|(row, ..)| row.entry <= until) {
            let receipt = Receipt { row, transfer, lines };
            for kind in [EventKind::Arrived, EventKind::Unpacked, EventKind::Missed] {
                events.extend(self.receipt(conn, &known, &receipt, kind)?.map(|event| (row.id, event)));
            }
        }
        Ok(events)
    }

    fn receipt(
        &mut self,
        conn: &mut AnyConnection,
        known: &Known,
        receipt: &Receipt<'_>,
        kind: EventKind,
    ) -> Result<Option<TrackingEvent>> {
        let Receipt { row, transfer, lines } = *receipt;
        let goods = self.goods_of(conn, known, lines.iter().map(|line| (line.lot_id, mass_mg(kind, line))))?;
        if goods.is_empty() {
            return Ok(None);
        }
        let said = Said {
            kind,
            told_by: match kind {
                EventKind::Unpacked => "receipts, unpacked",
                EventKind::Missed => "receipts, missed",
                _ => Source::Receipts.table(),
            },
            row: row.id,
            entry: row.entry,
            at: row.received_at,
            site_id: transfer.to_site_id,
        };
        let other = Some(self.told.site(conn, transfer.from_site_id)?);
        let event = TrackingEvent { other, paper: Some(paper(transfer)), goods, ..self.begin(conn, known, &said)? };
        Ok(Some(TrackingEvent { reason: lines.iter().find_map(|line| reason(kind, line)), ..event }))
    }
}

/// A receipt with what it is of.
struct Receipt<'r> {
    row: &'r ReceiptRow,
    transfer: &'r TransferRow,
    lines: &'r [ReceiptLineRow],
}

/// How much of a line arrived whole, was taken out of the transfer, or did not arrive. What arrived damaged was in it too; it
/// is told again where it was thrown away. What was found beyond what was sent was never put in.
fn mass_mg(kind: EventKind, line: &ReceiptLineRow) -> i64 {
    let Settlement { whole_mg, damaged_mg, missing_mg, .. } = settle(line.sent_mg, line.received_mg, line.damaged_mg);
    match kind {
        EventKind::Unpacked => whole_mg + damaged_mg,
        EventKind::Missed => missing_mg,
        _ => line.received_mg,
    }
}

/// Why something did not arrive.
fn reason(kind: EventKind, line: &ReceiptLineRow) -> Option<String> {
    line.reason.clone().filter(|_| kind == EventKind::Missed && mass_mg(kind, line) > 0)
}

fn paper(row: &TransferRow) -> Paper {
    Paper { kind: PaperKind::Transfer, number: row.id.to_string() }
}
