//! Prints: each time a label is printed, or given out to be drawn by the caller, with what it said.
//!
//! What a print says is a fact: it is what stands on the tub. What its printer made of it is in [`crate::print_queue`].

mod ordering;

use std::collections::HashMap;

use chrono::{DateTime, Utc};
use serde::{Deserialize, Serialize};
use tubtrail_domain::say;
use tubtrail_storage::labels::{
    JobFilter, LabelPrintRow, PrintStepRow, jobs_after, label_print, prints_of_lot, steps_of,
};
use tubtrail_storage::master_data::{Noun, Printer};
use tubtrail_storage::search::{authors, site_codes};
use tubtrail_storage::{AnyConnection, StorageError};
use utoipa::{IntoParams, ToSchema};

pub use self::ordering::{Fits, NewPrint};
use crate::error::{OperationError, Result};
use crate::fields;
use crate::labels::{Dpi, Label, LabelSize};
use crate::lots;
use crate::master_data::{MOST, Page};
use crate::print_queue::PrintState;
use crate::reach::{self, Actor, Operation, Request};
use crate::tubtrail::Tubtrail;

/// A print as it stands.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[schema(example = json!({"print": 9012, "number": 1, "site": "quay-kitchen", "printer": "kitchen-labels", "size": "60x40",
    "dpi": 203, "copies": 1, "state": "queued", "steps": [{"state": "queued", "at": "2026-11-25T10:00:00Z"}],
    "printed_at": "2026-11-25T10:00:00Z", "printed_by": "user:ines", "entry": 8300,
    "label": {"lot": "261125-0042-7", "item": "pistachio", "kind": "tub", "jurisdiction": "eu", "language": "en",
        "name": "Pistachio gelato", "subtitle": "Tub 3 of 5", "ingredients": [], "statements": [], "dates": [],
        "storage": [], "maker": [], "codes": [{"symbology": "qr", "text": "261125-0042-7"}],
        "least_letters_micrometres": 1200, "warnings": [], "caution": "This label says what was written down."}}))]
pub struct Print {
    /// Its number.
    pub print: i64,
    /// Which print of its lot it is, from 1: all above that are reprints.
    pub number: i32,
    /// The code of the site where it was printed.
    pub site: String,
    /// The code of its printer; absent: the caller drew it.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub printer: Option<String>,
    /// The size of the label.
    pub size: LabelSize,
    /// Dots in an inch.
    #[schema(value_type = u32)]
    pub dpi: Dpi,
    /// How many alike.
    pub copies: i32,
    /// Why it was printed although something was unknown or spoke against it.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub override_reason: Option<String>,
    /// Why it was printed again.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub reprint_reason: Option<String>,
    /// What its printer made of it; absent: the caller drew it.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub state: Option<PrintState>,
    /// How it came to that, step by step.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub steps: Vec<PrintStep>,
    /// What the label says.
    pub label: Label,
    /// When it was asked for.
    pub printed_at: DateTime<Utc>,
    /// By whom.
    pub printed_by: String,
    /// The journal entry that holds it.
    pub entry: i64,
}

/// A step of a print.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub struct PrintStep {
    /// What it came to.
    pub state: PrintState,
    /// When.
    pub at: DateTime<Utc>,
    /// In words.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub said: Option<String>,
    /// The printer's own number for it.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub printer_job: Option<i32>,
}

/// Which prints of printers to list.
#[derive(Clone, Debug, Deserialize, IntoParams)]
#[serde(deny_unknown_fields)]
#[into_params(parameter_in = Query)]
pub struct PrintsAsked {
    /// At this site, by code.
    #[param(max_length = 40)]
    #[serde(default)]
    pub site: Option<String>,
    /// On this printer, by code.
    #[param(max_length = 40)]
    #[serde(default)]
    pub printer: Option<String>,
    /// In this state.
    #[param(inline)]
    #[serde(default)]
    pub state: Option<PrintState>,
    /// The `next` of the page before.
    #[param(max_length = 100)]
    #[serde(default)]
    pub after: String,
    /// Most rows on the page, 1 to 500.
    #[param(minimum = 1, maximum = 500)]
    #[serde(default = "fields::usual_page", deserialize_with = "crate::master_data::limit")]
    pub limit: u32,
}

impl Tubtrail {
    /// The prints of a lot, oldest first.
    pub fn list_lot_prints(&self, request: &Request, lot: &str, after: &str, limit: u32) -> Result<Page<Print>> {
        let after = fields::after_id("after", after)?;
        let limit = limit.clamp(1, MOST);
        self.read_at_once(|conn| {
            let lot = lots::addressed(conn, lot)?;
            lots::within_reach(conn, &request.actor, &reach::LIST_LOT_PRINTS, &lot)?;
            let rows = prints_of_lot(conn, lot.id, after, i64::from(limit) + 1)?;
            page(conn, rows, limit)
        })
    }

    /// What printers have or had to print, oldest first.
    pub fn list_prints(&self, request: &Request, asked: &PrintsAsked) -> Result<Page<Print>> {
        request.actor.may_anywhere(&reach::LIST_PRINTS)?;
        let after = fields::after_id("after", &asked.after)?;
        let limit = asked.limit.clamp(1, MOST);
        self.read_at_once(|conn| {
            let sites = fields::sites_asked(conn, asked.site.as_deref(), &request.actor, &reach::LIST_PRINTS)?;
            let printer = asked.printer.as_deref().map(|code| named_printer(conn, code, &request.actor)).transpose()?;
            let states = asked.state.into_iter().map(PrintState::word).collect();
            let filter = JobFilter { sites, printer_id: printer.map(|printer| printer.row.id), states };
            let rows = jobs_after(conn, &filter, after, i64::from(limit) + 1)?;
            page(conn, rows, limit)
        })
    }

    /// One print.
    pub fn get_print(&self, request: &Request, id: i64) -> Result<Print> {
        self.show_print(request, &reach::GET_PRINT, id)
    }

    /// One print, for another operation on it that only reads.
    pub fn show_print(&self, request: &Request, operation: &'static Operation, id: i64) -> Result<Print> {
        request.actor.may_anywhere(operation)?;
        self.read_at_once(|conn| {
            let row = addressed(conn, &request.actor, operation, id)?;
            one_print(conn, row)
        })
    }
}

/// The print a number in an address names, for someone who may do this at its site.
pub(crate) fn addressed(
    conn: &mut AnyConnection,
    actor: &Actor,
    operation: &Operation,
    id: i64,
) -> Result<LabelPrintRow> {
    let not_found = || OperationError::not_found(say!("print"), id);
    let row = label_print(conn, id)?.ok_or_else(not_found)?;
    if !actor.reaches(row.site_id) {
        return Err(not_found());
    }
    actor.may(operation, row.site_id)?;
    Ok(row)
}

/// A print as it stands.
pub(crate) fn one_print(conn: &mut AnyConnection, row: LabelPrintRow) -> Result<Print> {
    let missing = || StorageError::Corrupt("a print has gone".to_owned());
    Ok(prints(conn, vec![row])?.pop().ok_or_else(missing)?)
}

/// A printer named in a field; one out of reach is unknown.
fn named_printer(conn: &mut AnyConnection, code: &str, actor: &Actor) -> Result<Printer> {
    let printer = Printer::by_code(conn, code)?.filter(|printer| actor.reaches(printer.current.site_id));
    printer.ok_or_else(|| OperationError::unknown(say!("printer"), code, "printer"))
}

fn page(conn: &mut AnyConnection, rows: Vec<LabelPrintRow>, limit: u32) -> Result<Page<Print>> {
    let page = Page::cut(rows, limit as usize, |row| row.id.to_string());
    Ok(Page { items: prints(conn, page.items)?, next: page.next })
}

fn prints(conn: &mut AnyConnection, rows: Vec<LabelPrintRow>) -> Result<Vec<Print>> {
    let steps = steps_of(conn, &rows.iter().map(|row| row.id).collect::<Vec<_>>())?;
    let authors = authors(conn, &rows.iter().map(|row| row.entry).collect::<Vec<_>>())?;
    let sites = site_codes(conn, &rows.iter().map(|row| row.site_id).collect::<Vec<_>>())?;
    let mut printers: HashMap<i64, String> = HashMap::new();
    for id in rows.iter().filter_map(|row| row.printer_id) {
        if let Some(printer) = Printer::by_id(conn, id)?.filter(|_| !printers.contains_key(&id)) {
            printers.insert(id, printer.row.code);
        }
    }
    let shown = rows.into_iter().map(|row| {
        let missing = || StorageError::Corrupt(format!("print {} names something missing", row.id));
        let site = sites.get(&row.site_id).cloned().ok_or_else(missing)?;
        let (by, at) = authors.get(&row.entry).cloned().ok_or_else(missing)?;
        let printer = row.printer_id.map(|id| printers.get(&id).cloned().ok_or_else(missing)).transpose()?;
        let steps = steps.get(&row.id).map_or(&[][..], Vec::as_slice);
        show(&row, words(&row)?, steps, site, printer, by, fields::utc(at))
    });
    shown.collect()
}

/// What a print said.
pub(crate) fn words(row: &LabelPrintRow) -> Result<Label> {
    let corrupt = |error| StorageError::Corrupt(format!("print {}: its words: {error}", row.id));
    Ok(serde_json::from_str(&row.words).map_err(corrupt)?)
}

#[allow(clippy::too_many_arguments)] // Two callers, which have them all.
fn show(
    row: &LabelPrintRow,
    label: Label,
    steps: &[PrintStepRow],
    site: String,
    printer: Option<String>,
    printed_by: String,
    printed_at: DateTime<Utc>,
) -> Result<Print> {
    let corrupt = || StorageError::Corrupt(format!("print {}", row.id));
    let steps: Vec<PrintStep> = steps.iter().map(shown_step).collect::<Result<_>>()?;
    Ok(Print {
        print: row.id,
        number: row.number,
        site,
        printer,
        size: LabelSize::from_word(&row.size).ok_or_else(corrupt)?,
        dpi: Dpi::from_column(row.dpi).ok_or_else(corrupt)?,
        copies: row.copies,
        override_reason: row.override_reason.clone(),
        reprint_reason: row.reprint_reason.clone(),
        state: steps.last().map(|step| step.state),
        steps,
        label,
        printed_at,
        printed_by,
        entry: row.entry,
    })
}

fn shown_step(row: &PrintStepRow) -> Result<PrintStep> {
    Ok(PrintStep {
        state: PrintState::of(row)?,
        at: fields::utc(row.happened_at),
        said: row.said.clone(),
        printer_job: row.printer_job,
    })
}
