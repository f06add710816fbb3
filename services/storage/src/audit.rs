//! Recomputes what can be recomputed, and names the first row that is wrong.

use std::collections::{BTreeMap, HashMap, HashSet, VecDeque};

use base64::Engine as _;
use base64::engine::general_purpose::URL_SAFE_NO_PAD;
use diesel::prelude::*;
use sha2::{Digest, Sha256};

use crate::fact::Fact;
use crate::journal::{self, JournalRow};
use crate::stock::{BalanceRow, MovementRow, balances, movements};
use crate::write::{ROW_DIGEST_BYTES, encode, entry_hash};
use crate::{
    AnyConnection, StorageError, cleans, documents, gtins, labels, lots, master_data, people, readings, recalls,
    statements, stock, webhooks,
};

/// Rows read at a time.
const PAGE: i64 = 2000;

/// What an audit found.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Report {
    /// Journal entries read.
    pub entries: u64,
    /// Fact rows read.
    pub rows: u64,
    /// Balances recomputed.
    pub balances: u64,
    /// The first thing that is wrong.
    pub wrong: Option<Wrong>,
}

/// A row that is not what it should be.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Wrong {
    /// Its table.
    pub table: String,
    /// Its row id, or the lot, site and state of a balance.
    pub row: String,
    /// The journal entry it belongs to, where it has one.
    pub entry: Option<i64>,
    /// What is wrong with it.
    pub what: String,
}

impl Wrong {
    fn row(table: &str, id: i64, entry: i64, what: impl Into<String>) -> Self {
        Self { table: table.into(), row: id.to_string(), entry: Some(entry), what: what.into() }
    }
}

/// Recomputes the chain over every fact, then the balances from the movements, then the hashes of files; then looks whether
/// changes would still be refused. Read it within one snapshot.
pub fn check(conn: &mut AnyConnection) -> Result<Report, StorageError> {
    let mut report = Report::default();
    report.wrong = check_chain(conn, &mut report)?;
    if report.wrong.is_none() {
        report.wrong = check_balances(conn, &mut report)?;
    }
    if report.wrong.is_none() {
        report.wrong = documents::check(conn)?;
    }
    if report.wrong.is_none() {
        report.wrong = check_guards(conn)?;
    }
    Ok(report)
}

/// The first table whose triggers no longer refuse changes.
fn check_guards(conn: &mut AnyConnection) -> Result<Option<Wrong>, StorageError> {
    #[derive(diesel::QueryableByName)]
    struct Trigger {
        #[diesel(sql_type = diesel::sql_types::Text)]
        name: String,
    }
    let (of_each_table, listed): (&[&str], _) = match conn {
        AnyConnection::Sqlite(_) => {
            (&["refuse_update", "refuse_delete"], "SELECT name FROM sqlite_master WHERE type = 'trigger'")
        }
        AnyConnection::Postgres(_) => {
            let listed = "SELECT tgname::text AS name FROM pg_trigger WHERE NOT tgisinternal AND tgenabled <> 'D'";
            (&["refuse_change"], listed)
        }
    };
    let there: HashSet<String> =
        diesel::sql_query(listed).load::<Trigger>(conn)?.into_iter().map(|trigger| trigger.name).collect();
    let tables = Tables::new();
    let guarded = ["journal", documents::PIECES].into_iter().chain(tables.streams.iter().map(|stream| stream.table));
    let missing = guarded
        .flat_map(|table| of_each_table.iter().map(move |kind| (table, format!("{table}_{kind}"))))
        .find(|(_, trigger)| !there.contains(trigger));
    Ok(missing.map(|(table, trigger)| Wrong {
        table: table.into(),
        row: format!("trigger {trigger}"),
        entry: None,
        what: "it is missing or switched off: changes would no longer be refused".into(),
    }))
}

fn check_chain(conn: &mut AnyConnection, report: &mut Report) -> Result<Option<Wrong>, StorageError> {
    let head = journal::head(conn)?;
    let mut tables = Tables::new();
    let mut previous_hash = "0".repeat(64);
    let mut seq = 0;
    loop {
        let page = journal::entries_after(conn, seq, PAGE)?;
        if page.is_empty() {
            break;
        }
        for entry in page {
            if entry.seq != seq + 1 {
                return Ok(Some(Wrong::row("journal", seq + 1, seq + 1, "the entry is missing")));
            }
            if entry.previous_hash != previous_hash {
                return Ok(Some(Wrong::row("journal", entry.seq, entry.seq, "it does not follow the entry before it")));
            }
            if let Some(wrong) = check_entry(conn, &mut tables, &entry, report)? {
                return Ok(Some(wrong));
            }
            report.entries += 1;
            seq = entry.seq;
            previous_hash = entry.hash;
        }
    }
    if let Some((table, id, entry)) = tables.first_left(conn)? {
        if seq < entry && entry <= head.seq {
            return Ok(Some(Wrong::row("journal", seq + 1, seq + 1, "the entry is missing")));
        }
        return Ok(Some(Wrong::row(table, id, entry, "no command wrote it")));
    }
    // Ids may be given out and not used; lots are dense.
    if head.last_id < tables.last_id || head.last_lot_id != tables.last_lot_id {
        return Ok(Some(Wrong::row("journal_head", 1, head.seq, "it does not name the last row ids")));
    }
    if head.seq != seq || head.hash != previous_hash {
        return Ok(Some(Wrong::row("journal_head", 1, head.seq, "it does not name the last entry")));
    }
    Ok(None)
}

fn check_entry(
    conn: &mut AnyConnection,
    tables: &mut Tables,
    entry: &JournalRow,
    report: &mut Report,
) -> Result<Option<Wrong>, StorageError> {
    let Ok(changes) = serde_json::from_str::<Vec<(String, i64, i64)>>(&entry.changes) else {
        return Ok(Some(Wrong::row("journal", entry.seq, entry.seq, "its list of changes cannot be read")));
    };
    let Ok(digests) = URL_SAFE_NO_PAD.decode(&entry.digests) else {
        return Ok(Some(Wrong::row("journal", entry.seq, entry.seq, "its digests cannot be read")));
    };
    let mut rows = tables.rows_of(conn, entry.seq)?;
    let mut digests = digests.chunks(ROW_DIGEST_BYTES);
    let mut facts = Sha256::new();
    for (table, first, count) in changes {
        let Some(end) = first.checked_add(count) else {
            return Ok(Some(Wrong::row("journal", entry.seq, entry.seq, "its list of changes cannot be read")));
        };
        for id in first..end {
            let Some(bytes) = rows.remove(&(table.clone(), id)) else {
                if let Some((before, its_entry)) = tables.slipped_in_before(conn, &table, id)? {
                    return Ok(Some(Wrong::row(&table, before, its_entry, "no command wrote it")));
                }
                return Ok(Some(Wrong::row(&table, id, entry.seq, "the row is missing")));
            };
            let digest = Sha256::digest(bytes);
            if digests.next() != Some(&digest[..ROW_DIGEST_BYTES]) {
                return Ok(Some(Wrong::row(&table, id, entry.seq, "the row is not as it was written")));
            }
            facts.update(digest);
            tables.saw(&table, id);
            report.rows += 1;
        }
    }
    if let Some((table, id)) = rows.keys().min() {
        return Ok(Some(Wrong::row(table, *id, entry.seq, "no command wrote it")));
    }
    if entry_hash(entry, &facts.finalize())? != entry.hash {
        return Ok(Some(Wrong::row("journal", entry.seq, entry.seq, "the entry is not as it was written")));
    }
    Ok(None)
}

/// Every fact table, read forward in order of id, a page at a time; ids grow with entries.
struct Tables {
    streams: Vec<Stream>,
    last_id: i64,
    last_lot_id: i64,
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
    fn new() -> Self {
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

    fn saw(&mut self, table: &str, id: i64) {
        let last = if table == lots::LotRow::TABLE { &mut self.last_lot_id } else { &mut self.last_id };
        *last = id.max(*last);
    }

    /// A row that keeps its stream from reaching one that is due and there: it says its entry is to come, and its id is
    /// lower all the same. Ids grow with entries, so it was slipped in.
    fn slipped_in_before(
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
    fn rows_of(
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

    fn first_left(&mut self, conn: &mut AnyConnection) -> Result<Option<(&'static str, i64, i64)>, StorageError> {
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

/// Lots whose balances are recomputed at a time.
const LOTS: i64 = 10_000;

fn check_balances(conn: &mut AnyConnection, report: &mut Report) -> Result<Option<Wrong>, StorageError> {
    let last = journal::head(conn)?.last_lot_id;
    let of_no_lot: Option<BalanceRow> = balances::table
        .filter(balances::lot_id.le(0).or(balances::lot_id.gt(last)))
        .order((balances::lot_id, balances::site_id, balances::state))
        .first(conn)
        .optional()?;
    if let Some(row) = of_no_lot {
        return Ok(Some(wrong_balance(&(row.lot_id, row.site_id, row.state), Some(row.mass_mg), 0)));
    }
    let mut after = 0;
    while after < last {
        let until = after + LOTS;
        let summed = sums(conn, after, until)?;
        let mut stored: BTreeMap<(i64, i64, String), i64> = balances::table
            .filter(balances::lot_id.gt(after))
            .filter(balances::lot_id.le(until))
            .load::<BalanceRow>(conn)?
            .into_iter()
            .map(|row| ((row.lot_id, row.site_id, row.state), row.mass_mg))
            .collect();
        for (place, sum_mg) in summed {
            let stored_mg = stored.remove(&place);
            if stored_mg != Some(sum_mg) {
                return Ok(Some(wrong_balance(&place, stored_mg, sum_mg)));
            }
            report.balances += 1;
        }
        if let Some((place, stored_mg)) = stored.into_iter().next() {
            return Ok(Some(wrong_balance(&place, Some(stored_mg), 0)));
        }
        after = until;
    }
    Ok(None)
}

fn sums(conn: &mut AnyConnection, after: i64, until: i64) -> Result<BTreeMap<(i64, i64, String), i64>, StorageError> {
    let rows: Vec<MovementRow> =
        movements::table.filter(movements::lot_id.gt(after)).filter(movements::lot_id.le(until)).load(conn)?;
    let mut sums = BTreeMap::new();
    for row in rows {
        *sums.entry((row.lot_id, row.from_site_id, row.from_state)).or_insert(0) -= row.mass_mg;
        *sums.entry((row.lot_id, row.to_site_id, row.to_state)).or_insert(0) += row.mass_mg;
    }
    Ok(sums)
}

fn wrong_balance(place: &(i64, i64, String), stored_mg: Option<i64>, sum_mg: i64) -> Wrong {
    let (lot_id, site_id, state) = place;
    let stored = stored_mg.map_or("nothing".to_owned(), |mg| format!("{mg} mg"));
    Wrong {
        table: "balances".into(),
        row: format!("lot {lot_id}, site {site_id}, {state}"),
        entry: None,
        what: format!("it says {stored}, the movements add up to {sum_mg} mg"),
    }
}
