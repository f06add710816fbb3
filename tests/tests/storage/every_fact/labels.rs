//! A maker, what labels say, a printer, and what was printed.

use tubtrail_storage::labels::{
    ItemLabelRow, ItemLabelVersionRow, LabelPrintRow, MakerRow, MakerVersionRow, PrintStepRow, PrinterRow,
    PrinterVersionRow,
};

/// What labels say, a printer, and a label of the base on it.
use tubtrail_storage::{StorageError, WriteTx};

use super::{Places, at, text};
use crate::house::add;

pub fn labels(tx: &mut WriteTx<'_>, full: bool, places: Places, base: i64) -> Result<(), StorageError> {
    let (kitchen, _, _, item, ..) = places;
    let entry = tx.entry();
    let mark = if full { "a" } else { "b" };
    let maker = add(tx, |id| MakerRow { id, entry, code: format!("maker-{mark}") })?;
    add(tx, |id| MakerVersionRow {
        id,
        entry,
        maker_id: maker,
        version: 1,
        name: "Gelateria".into(),
        address: "1 Harbour Street\nNorthquay".into(),
        jurisdiction: "ca".into(),
        link_stem: text(full, "https://northquay.example"),
        active: full,
    })?;
    let label = add(tx, |id| ItemLabelRow { id, entry, code: format!("milk-{mark}"), item_id: item })?;
    add(tx, |id| ItemLabelVersionRow {
        id,
        entry,
        item_label_id: label,
        version: 1,
        name: "whole milk".into(),
        made_of: if full { "listed" } else { "single" }.into(),
        listed: text(full, "milk\ncream"),
        shown: text(full, "in_brackets"),
        sugars_based: full,
        percent_shown: full,
        storage: text(full, "Keep cold."),
        opened_days: full.then_some(3),
        largest_surface_cm2: full.then_some(79),
    })?;
    let printer = add(tx, |id| PrinterRow { id, entry, code: format!("printer-{mark}") })?;
    add(tx, |id| PrinterVersionRow {
        id,
        entry,
        printer_id: printer,
        version: 1,
        name: "Label printer".into(),
        site_id: kitchen,
        uri: "ipp://192.168.1.40/ipp/print".into(),
        size: "60x40".into(),
        dpi: 203,
        any_certificate: full,
        active: true,
    })?;
    let print = add(tx, |id| LabelPrintRow {
        id,
        entry,
        lot_id: base,
        site_id: kitchen,
        number: if full { 2 } else { 1 },
        size: "60x40".into(),
        dpi: 203,
        copies: 1,
        printer_id: full.then_some(printer),
        override_reason: text(full, "for the freezer"),
        reprint_reason: text(full, "it came off"),
        words: "{}".into(),
    })?;
    add(tx, |id| PrintStepRow {
        id,
        entry,
        print_id: print,
        state: if full { "sending" } else { "queued" }.into(),
        happened_at: at(15),
        process: text(full, "7-abc.1"),
        printer_job: full.then_some(7),
        said: text(full, "on its way"),
    })?;
    Ok(())
}
