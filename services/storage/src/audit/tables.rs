//! The tables of facts as the audit reads them: each forward by its ids, side by side.

use std::collections::{HashMap, VecDeque};

use super::PAGE;
use crate::fact::Fact;
use crate::write::encode;
use crate::{
    AnyConnection, StorageError, cleans, documents, gtins, labels, lots, master_data, people, readings, recalls,
    statements, stock, webhooks,
};

/// Every fact table, read forward in order of id, a page at a time; ids grow with entries.
pub(super) struct Tables {
    streams: Vec<Stream>,
    /// The highest row id seen of all but the lots.
    pub last_id: i64,
    /// The highest of a lot.
    pub last_lot_id: i64,
}

type Page = fn(&mut AnyConnection, i64) -> Result<Vec<Encoded>, StorageError>;

struct Stream {
    table: &'static str,
    page: Page,
    buffer: VecDeque<Encoded>,
    /// Where the next page begins, unless there is none.
    from: Option<i64>,
}

struct Encoded {
    id: i64,
    entry: i64,
    bytes: Vec<u8>,
}

fn page_of<F: Fact>(conn: &mut AnyConnection, from: i64) -> Result<Vec<Encoded>, StorageError> {
    F::page(conn, from, PAGE)?
        .iter()
        .map(|row| Ok(Encoded { id: row.id(), entry: row.entry(), bytes: encode(row)? }))
        .collect()
}

fn stream<F: Fact>() -> Stream {
    Stream { table: F::TABLE, page: page_of::<F>, buffer: VecDeque::new(), from: Some(i64::MIN) }
}

impl Tables {
    /// All of them, at their first rows.
    pub fn new() -> Self {
        Self {
            streams: vec![
                stream::<master_data::SiteRow>(),
                stream::<master_data::SiteVersionRow>(),
                stream::<master_data::PartnerRow>(),
                stream::<master_data::PartnerVersionRow>(),
                stream::<master_data::ItemRow>(),
                stream::<master_data::ItemVersionRow>(),
                stream::<master_data::ReorderLevelRow>(),
                stream::<master_data::RecipeRow>(),
                stream::<master_data::RecipeVersionRow>(),
                stream::<master_data::RecipeLineRow>(),
                stream::<master_data::EquipmentRow>(),
                stream::<master_data::EquipmentVersionRow>(),
                stream::<people::UserRow>(),
                stream::<people::UserVersionRow>(),
                stream::<people::UserRoleRow>(),
                stream::<people::DeviceRow>(),
                stream::<people::DeviceRevocationRow>(),
                stream::<people::LoginAttemptRow>(),
                stream::<lots::DeliveryRow>(),
                stream::<lots::BatchRow>(),
                stream::<lots::LotRow>(),
                stream::<lots::DeliveryLineRow>(),
                stream::<lots::UseRow>(),
                stream::<lots::UseVoidRow>(),
                stream::<lots::UntrackedInputRow>(),
                stream::<lots::BatchEquipmentRow>(),
                stream::<readings::ReadingRow>(),
                stream::<readings::ReadingVoidRow>(),
                stream::<lots::CompletionRow>(),
                stream::<stock::MovementRow>(),
                stream::<stock::TransferRow>(),
                stream::<stock::TransferLineRow>(),
                stream::<stock::ReceiptRow>(),
                stream::<stock::ReceiptLineRow>(),
                stream::<stock::CountRow>(),
                stream::<stock::CountLineRow>(),
                stream::<stock::HoldRow>(),
                stream::<stock::HoldReleaseRow>(),
                stream::<stock::LotRejectionRow>(),
                stream::<statements::StatementRow>(),
                stream::<statements::StatementProteinRow>(),
                stream::<cleans::CleanKindRow>(),
                stream::<cleans::CleanKindVersionRow>(),
                stream::<cleans::CleanRow>(),
                stream::<cleans::CleanVoidRow>(),
                stream::<cleans::EquipmentVoidRow>(),
                stream::<cleans::ServingWayRow>(),
                stream::<cleans::ResidueRow>(),
                stream::<cleans::CarryOverDefaultRow>(),
                stream::<recalls::RecallRow>(),
                stream::<recalls::RecallSeedRow>(),
                stream::<recalls::RecallConfirmationRow>(),
                stream::<recalls::RecallNoticeRow>(),
                stream::<recalls::RecallReplyRow>(),
                stream::<recalls::RecallEndingRow>(),
                stream::<gtins::ItemGtinRow>(),
                stream::<gtins::GtinWithdrawalRow>(),
                stream::<webhooks::WebhookRow>(),
                stream::<webhooks::WebhookSecretRow>(),
                stream::<webhooks::WebhookSwitchRow>(),
                stream::<webhooks::WebhookTestRow>(),
                stream::<webhooks::WebhookAttemptRow>(),
                stream::<webhooks::RecallReachRow>(),
                stream::<labels::MakerRow>(),
                stream::<labels::MakerVersionRow>(),
                stream::<labels::ItemLabelRow>(),
                stream::<labels::ItemLabelVersionRow>(),
                stream::<labels::PrinterRow>(),
                stream::<labels::PrinterVersionRow>(),
                stream::<labels::LabelPrintRow>(),
                stream::<labels::PrintStepRow>(),
                stream::<documents::DeliveryDocumentRow>(),
            ],
            last_id: 0,
            last_lot_id: 0,
        }
    }

    /// What the tables are called.
    pub fn names(&self) -> impl Iterator<Item = &'static str> {
        self.streams.iter().map(|stream| stream.table)
    }

    /// Notes that a row was there.
    pub fn saw(&mut self, table: &str, id: i64) {
        let last = if table == lots::LotRow::TABLE { &mut self.last_lot_id } else { &mut self.last_id };
        *last = id.max(*last);
    }

    /// A row that keeps its stream from reaching one that is due and there: it says its entry is to come, and its id is
    /// lower all the same. Ids grow with entries, so it was slipped in.
    pub fn slipped_in_before(
        &self,
        conn: &mut AnyConnection,
        table: &str,
        due: i64,
    ) -> Result<Option<(i64, i64)>, StorageError> {
        let Some(stream) = self.streams.iter().find(|stream| stream.table == table) else { return Ok(None) };
        let Some(front) = stream.buffer.front().filter(|row| row.id < due) else { return Ok(None) };
        let is_there = (stream.page)(conn, due)?.first().is_some_and(|row| row.id == due && row.entry < front.entry);
        Ok(is_there.then_some((front.id, front.entry)))
    }

    /// The rows that say they belong to an entry, or to one before it.
    pub fn rows_of(
        &mut self,
        conn: &mut AnyConnection,
        entry: i64,
    ) -> Result<HashMap<(String, i64), Vec<u8>>, StorageError> {
        let mut rows = HashMap::new();
        for stream in &mut self.streams {
            while let Some(row) = stream.next_until(conn, entry)? {
                rows.insert((stream.table.to_owned(), row.id), row.bytes);
            }
        }
        Ok(rows)
    }

    /// The first row that is left: its table, its id, the entry that it names.
    pub fn first_left(&mut self, conn: &mut AnyConnection) -> Result<Option<(&'static str, i64, i64)>, StorageError> {
        for stream in &mut self.streams {
            if let Some(row) = stream.next_until(conn, i64::MAX)? {
                return Ok(Some((stream.table, row.id, row.entry)));
            }
        }
        Ok(None)
    }
}

impl Stream {
    fn next_until(&mut self, conn: &mut AnyConnection, entry: i64) -> Result<Option<Encoded>, StorageError> {
        if self.buffer.is_empty()
            && let Some(from) = self.from
        {
            self.buffer = (self.page)(conn, from)?.into();
            self.from = self.buffer.back().and_then(|row| row.id.checked_add(1));
        }
        Ok(self.buffer.pop_front_if(|row| row.entry <= entry))
    }
}
