//! What labels say besides what was made, printers, and what was printed.

use std::collections::HashMap;
use std::fmt::Write as _;

use chrono::NaiveDateTime;
use diesel::prelude::*;
use diesel::sql_query;
use diesel::sql_types::BigInt;

use crate::gtins::{ItemGtinRow, gtin_in_force, item_gtins};
use crate::ids::{CHUNK, listed};
use crate::master_data::{Maker, Noun};
use crate::{AnyConnection, Fact, StorageError};

fact! {
    /// Who makes what is on the labels.
    makers => MakerRow {
        /// What it is called in addresses and files.
        code: String => Text,
    }
}

fact! {
    /// A version of a maker.
    maker_versions => MakerVersionRow {
        /// Of which.
        maker_id: i64 => BigInt,
        /// From 1.
        version: i32 => Integer,
        /// As it stands on labels.
        name: String => Text,
        /// Its lines, a line end between two.
        address: String => Text,
        /// Whose law its labels follow unless another is asked for: eu, us, ca.
        jurisdiction: String => Text,
        /// Where the links in its codes begin; none: where GS1's own do.
        link_stem: Option<String> => Nullable<Text>,
        /// In use.
        active: bool => Bool,
    }
}

fact! {
    /// What labels say of an item.
    item_labels => ItemLabelRow {
        /// That of the item.
        code: String => Text,
        /// Which.
        item_id: i64 => BigInt,
    }
}

fact! {
    /// A version of what labels say of an item.
    item_label_versions => ItemLabelVersionRow {
        /// Of which.
        item_label_id: i64 => BigInt,
        /// From 1.
        version: i32 => Integer,
        /// What it is called on labels.
        name: String => Text,
        /// single, listed, `not_known` or `what_went_in`.
        made_of: String => Text,
        /// The list of its supplier's label, a line end between two.
        listed: Option<String> => Nullable<Text>,
        /// dispersed or `in_brackets`; none: as is usual for its kind.
        shown: Option<String> => Nullable<Text>,
        /// Canada counts it among the sugars.
        sugars_based: bool => Bool,
        /// Its share is printed beside it.
        percent_shown: bool => Bool,
        /// How to keep it.
        storage: Option<String> => Nullable<Text>,
        /// How many days it keeps once it is opened.
        opened_days: Option<i32> => Nullable<Integer>,
        /// The largest surface of the pack, in square centimetres.
        largest_surface_cm2: Option<i32> => Nullable<Integer>,
    }
}

fact! {
    /// A printer.
    printers => PrinterRow {
        /// What it is called in addresses and files.
        code: String => Text,
    }
}

fact! {
    /// A version of a printer.
    printer_versions => PrinterVersionRow {
        /// Of which.
        printer_id: i64 => BigInt,
        /// From 1.
        version: i32 => Integer,
        /// As shown.
        name: String => Text,
        /// Where it stands.
        site_id: i64 => BigInt,
        /// Where it listens.
        uri: String => Text,
        /// The labels in it: 60x40 or 100x50.
        size: String => Text,
        /// Its dots in an inch: 203 or 300.
        dpi: i32 => Integer,
        /// Its certificate need not be signed by anybody known.
        any_certificate: bool => Bool,
        /// In use.
        active: bool => Bool,
    }
}

fact! {
    /// A label was printed, or was given out to be.
    label_prints => LabelPrintRow {
        /// Of which lot.
        lot_id: i64 => BigInt,
        /// Where.
        site_id: i64 => BigInt,
        /// Which print of the lot it is, from 1.
        number: i32 => Integer,
        /// 60x40 or 100x50.
        size: String => Text,
        /// 203 or 300.
        dpi: i32 => Integer,
        /// How many alike.
        copies: i32 => Integer,
        /// On which; none: the caller draws it.
        printer_id: Option<i64> => Nullable<BigInt>,
        /// Why it was printed although something spoke against it.
        override_reason: Option<String> => Nullable<Text>,
        /// Why it was printed again.
        reprint_reason: Option<String> => Nullable<Text>,
        /// What the label said, as JSON.
        words: String => Text,
    }
}

fact! {
    /// What became of a print at its printer.
    print_steps => PrintStepRow {
        /// Which print.
        print_id: i64 => BigInt,
        /// queued, waiting, sending, sent, printed, refused, uncertain or cancelled.
        state: String => Text,
        /// When.
        happened_at: NaiveDateTime => Timestamp,
        /// Which process has it in hand, while it is sent.
        process: Option<String> => Nullable<Text>,
        /// The printer's own number for it.
        printer_job: Option<i32> => Nullable<Integer>,
        /// In words.
        said: Option<String> => Nullable<Text>,
    }
}

/// The makers in use, the oldest first.
pub fn makers_in_use(conn: &mut AnyConnection) -> Result<Vec<Maker>, StorageError> {
    let ids: Vec<i64> = makers::table.order(makers::id).select(makers::id).load(conn)?;
    let mut found = Vec::new();
    for id in ids {
        found.extend(Maker::by_id(conn, id)?.filter(|maker| maker.current.active));
    }
    Ok(found)
}

/// What labels say of some items now, by item.
pub fn item_labels_of(
    conn: &mut AnyConnection,
    item_ids: &[i64],
) -> Result<HashMap<i64, ItemLabelVersionRow>, StorageError> {
    let mut found = HashMap::new();
    for chunk in item_ids.chunks(CHUNK) {
        let rows: Vec<(i64, ItemLabelVersionRow)> = item_label_versions::table
            .inner_join(item_labels::table)
            .filter(item_labels::item_id.eq_any(chunk.to_vec()))
            .order(item_label_versions::version)
            .select((item_labels::item_id, ItemLabelVersionRow::as_select()))
            .load(conn)?;
        // The newest comes last.
        found.extend(rows);
    }
    Ok(found)
}

/// The number under the bars of what we make of an item, in fourteen digits: of those that are its own now and nobody's who
/// brings it, the newest.
pub fn own_gtin_of(conn: &mut AnyConnection, item_id: i64) -> Result<Option<String>, StorageError> {
    let rows: Vec<ItemGtinRow> = item_gtins::table
        .filter(item_gtins::item_id.eq(item_id))
        .filter(item_gtins::supplier_id.is_null())
        .order((item_gtins::since.desc(), item_gtins::id.desc()))
        .load(conn)?;
    for row in rows {
        if gtin_in_force(conn, &row.gtin)?.is_some_and(|now| now.item_id == item_id) {
            return Ok(Some(row.gtin));
        }
    }
    Ok(None)
}

/// A print by row id.
pub fn label_print(conn: &mut AnyConnection, id: i64) -> Result<Option<LabelPrintRow>, StorageError> {
    Ok(label_prints::table.find(id).first(conn).optional()?)
}

/// The prints of a lot after one, oldest first.
pub fn prints_of_lot(
    conn: &mut AnyConnection,
    lot_id: i64,
    after: i64,
    limit: i64,
) -> Result<Vec<LabelPrintRow>, StorageError> {
    Ok(label_prints::table
        .filter(label_prints::lot_id.eq(lot_id))
        .filter(label_prints::id.gt(after))
        .order(label_prints::id)
        .limit(limit)
        .load(conn)?)
}

/// How many prints of a lot there are.
pub fn prints_so_far(conn: &mut AnyConnection, lot_id: i64) -> Result<i32, StorageError> {
    let last: Option<i32> = label_prints::table
        .filter(label_prints::lot_id.eq(lot_id))
        .order(label_prints::number.desc())
        .select(label_prints::number)
        .first(conn)
        .optional()?;
    Ok(last.unwrap_or(0))
}

/// The steps of some prints, in the order in which they happened.
pub fn steps_of(conn: &mut AnyConnection, print_ids: &[i64]) -> Result<HashMap<i64, Vec<PrintStepRow>>, StorageError> {
    let mut rows = PrintStepRow::among(conn, "print_id", print_ids)?;
    rows.sort_by_key(|row| row.id);
    let mut found: HashMap<i64, Vec<PrintStepRow>> = HashMap::new();
    for row in rows {
        found.entry(row.print_id).or_default().push(row);
    }
    Ok(found)
}

/// The newest step of a print; none, where no printer was named.
pub fn last_step(conn: &mut AnyConnection, print_id: i64) -> Result<Option<PrintStepRow>, StorageError> {
    Ok(print_steps::table
        .filter(print_steps::print_id.eq(print_id))
        .order(print_steps::id.desc())
        .first(conn)
        .optional()?)
}

/// Which prints of printers to list; absent fields do not narrow.
#[derive(Clone, Debug, Default)]
pub struct JobFilter {
    /// At one of these sites.
    pub sites: Option<Vec<i64>>,
    /// On this printer.
    pub printer_id: Option<i64>,
    /// Whose newest step is one of these.
    pub states: Vec<&'static str>,
}

#[derive(QueryableByName)]
struct Found {
    #[diesel(sql_type = BigInt)]
    id: i64,
}

/// The next prints of printers after one, oldest first.
pub fn jobs_after(
    conn: &mut AnyConnection,
    filter: &JobFilter,
    after: i64,
    limit: i64,
) -> Result<Vec<LabelPrintRow>, StorageError> {
    // Row ids and states are words of ours, never text of a request.
    let mut query = "SELECT p.id FROM label_prints p WHERE p.printer_id IS NOT NULL AND p.id > $1".to_owned();
    if let Some(sites) = &filter.sites {
        let _ = write!(query, " AND p.site_id IN ({})", listed(sites));
    }
    if let Some(printer) = filter.printer_id {
        let _ = write!(query, " AND p.printer_id = {printer}");
    }
    if !filter.states.is_empty() {
        let _ = write!(
            query,
            " AND (SELECT s.state FROM print_steps s WHERE s.print_id = p.id ORDER BY s.id DESC LIMIT 1) IN ('{}')",
            filter.states.join("', '")
        );
    }
    query.push_str(" ORDER BY p.id LIMIT $2");
    let ids: Vec<Found> = sql_query(query).bind::<BigInt, _>(after).bind::<BigInt, _>(limit).load(conn)?;
    prints_by_ids(conn, &ids.into_iter().map(|found| found.id).collect::<Vec<_>>())
}

fn prints_by_ids(conn: &mut AnyConnection, ids: &[i64]) -> Result<Vec<LabelPrintRow>, StorageError> {
    let mut found = LabelPrintRow::among(conn, "id", ids)?;
    found.sort_by_key(|row| row.id);
    Ok(found)
}

/// The next steps after one, of any print, in the order in which they happened.
pub fn steps_after(conn: &mut AnyConnection, after: i64, limit: i64) -> Result<Vec<PrintStepRow>, StorageError> {
    Ok(print_steps::table.filter(print_steps::id.gt(after)).order(print_steps::id).limit(limit).load(conn)?)
}

diesel::joinable!(item_label_versions -> item_labels (item_label_id));
