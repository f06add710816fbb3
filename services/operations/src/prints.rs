//! Prints: each time a label is printed, or given out to be drawn by the caller, with what it said.
//!
//! What a print says is a fact: it is what stands on the tub. What its printer made of it is in [`crate::print_queue`].

use std::collections::HashMap;
use std::sync::Arc;

use chrono::{DateTime, NaiveDateTime, Utc};
use serde::{Deserialize, Serialize};
use tubtrail_domain::labels::Despite;
use tubtrail_domain::place::State;
use tubtrail_domain::say;
use tubtrail_domain::saying::Quoted;
use tubtrail_storage::labels::{
    JobFilter, LabelPrintRow, PrintStepRow, jobs_after, label_print, prints_of_lot, prints_so_far, steps_of,
};
use tubtrail_storage::master_data::{Noun, Printer, Site};
use tubtrail_storage::search::{authors, site_codes};
use tubtrail_storage::{AnyConnection, StorageError, WriteTx};
use utoipa::{IntoParams, ToSchema};

use crate::allergen_words::AllergenList;
use crate::error::{OperationError, Result};
use crate::index::Index;
use crate::labels::{Dpi, Label, LabelSize, label_of};
use crate::lots;
use crate::master_data::{MOST, Page};
use crate::print_queue::{PrintState, first_step};
use crate::reach::{self, Actor, Operation, Request};
use crate::standing::Standing;
use crate::tubtrail::{Answered, Tubtrail, at_once};
use crate::{fields, problems};

/// Most labels alike in one print.
const MOST_COPIES: u32 = 100;

/// Says whether a label fits on one of a size, in the dots of a printer; refuses with the field that is too much.
pub type Fits = Arc<dyn Fn(&Label, LabelSize, Dpi) -> Result<()> + Send + Sync>;

/// A label is to be printed.
#[derive(Clone, Debug, Default, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(example = json!({"printer": "kitchen-labels", "copies": 1}))]
pub struct NewPrint {
    /// The code of the printer; absent: the caller draws it and prints it.
    #[serde(default)]
    #[schema(max_length = 40)]
    pub printer: Option<String>,
    /// The code of the site where the caller prints it; needed only where the book does not tell.
    #[serde(default)]
    #[schema(max_length = 40)]
    pub site: Option<String>,
    /// The size of the label; that of the printer, if absent.
    #[serde(default)]
    pub size: Option<LabelSize>,
    /// Dots in an inch, 203 or 300; those of the printer, if absent.
    #[serde(default)]
    #[schema(value_type = Option<u32>)]
    pub dpi: Option<Dpi>,
    /// Whose law it follows; the maker's, if absent.
    #[serde(default)]
    pub jurisdiction: Option<AllergenList>,
    /// How many alike, 1 to 100.
    #[serde(default = "one")]
    #[schema(minimum = 1, maximum = 100)]
    pub copies: u32,
    /// Why it is printed although something is unknown or speaks against it; it stands on the label.
    #[serde(default)]
    #[schema(max_length = 120)]
    pub override_reason: Option<String>,
    /// Why it is printed again, where it was printed before.
    #[serde(default)]
    #[schema(max_length = 2000)]
    pub reprint_reason: Option<String>,
}

const fn one() -> u32 {
    1
}

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
    /// Prints the label of a lot: writes down what it says and that it was printed, and gives it to the printer's queue.
    pub fn print_label(&self, request: &Request, lot: &str, new: NewPrint, fits: Fits) -> Result<Answered<Print>> {
        request.actor.may_anywhere(&reach::PRINT_LABEL)?;
        let (actor, lot) = (request.actor.clone(), lot.to_owned());
        let fitted = self.fit_before(&actor, &lot, &new, &fits)?;
        self.write_with_graph(request, &reach::PRINT_LABEL, move |tx, index| {
            let asked = Asked::of(&new)?;
            let standing = Standing::addressed(tx.conn()?, &lot)?;
            let place = asked.place(tx.conn()?, &standing, &actor)?;
            let now = tx.now();
            let label = asked.label(tx.conn()?, index, &standing, &actor, &place, now)?;
            let due = Fitted { label, size: place.size, dpi: place.dpi };
            if fitted.as_ref() != Some(&due) {
                fits(&due.label, due.size, due.dpi)?;
            }
            tx.at_site(place.site.row.id);
            let (row, step) = asked.record(tx, &standing, &place, &due.label)?;
            show(
                &row,
                due.label,
                step.as_slice(),
                place.site.row.code,
                place.printer.map(|one| one.row.code),
                actor.name,
                fields::utc(now),
            )
        })
    }

    /// Sees whether a label fits before the writer's turn comes: drawing takes longer than all else, and nobody can write
    /// meanwhile. What does not fit or is refused is none: what the label says then decides.
    fn fit_before(&self, actor: &Actor, lot: &str, new: &NewPrint, fits: &Fits) -> Result<Option<Fitted>> {
        let now = (self.clock)();
        let due = self.read(|conn| {
            let index = self.current_index(conn)?;
            at_once(conn, |conn| {
                let asked = Asked::of(new)?;
                let standing = Standing::addressed(conn, lot)?;
                let place = asked.place(conn, &standing, actor)?;
                let label = asked.label(conn, index, &standing, actor, &place, now)?;
                Ok(Fitted { label, size: place.size, dpi: place.dpi })
            })
        });
        match due {
            Ok(due) => Ok(fits(&due.label, due.size, due.dpi).is_ok().then_some(due)),
            Err(error) if error.cause.is_none() => Ok(None),
            Err(error) => Err(error),
        }
    }

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

/// What is asked, its form checked.
struct Asked<'a> {
    new: &'a NewPrint,
    copies: i32,
    despite: Option<Despite>,
    reprint_reason: Option<String>,
}

/// Where it is printed, and on what.
struct PrintPlace {
    site: Site,
    printer: Option<Printer>,
    size: LabelSize,
    dpi: Dpi,
}

/// A label that fits.
#[derive(PartialEq, Eq)]
struct Fitted {
    label: Label,
    size: LabelSize,
    dpi: Dpi,
}

impl<'a> Asked<'a> {
    fn of(new: &'a NewPrint) -> Result<Self> {
        if !(1..=MOST_COPIES).contains(&new.copies) {
            return Err(OperationError::invalid(
                "copies",
                say!("1 to {most} are printed at a time", most = MOST_COPIES),
            ));
        }
        let despite = new.override_reason.as_deref().filter(|reason| !reason.trim().is_empty());
        let despite = despite.map(Despite::new).transpose();
        let despite = despite.map_err(|error| OperationError::invalid("override_reason", error))?;
        let reprint_reason = fields::optional_note("reprint_reason", new.reprint_reason.as_deref())?;
        if new.printer.is_some() && new.site.is_some() {
            return Err(OperationError::invalid("site", say!("the printer says where: leave this out")));
        }
        Ok(Self { new, copies: i32::try_from(new.copies).unwrap_or(1), despite, reprint_reason })
    }

    fn place(&self, conn: &mut AnyConnection, standing: &Standing, actor: &Actor) -> Result<PrintPlace> {
        standing.sites_of(actor, &reach::PRINT_LABEL)?;
        let Some(code) = &self.new.printer else {
            let named = self.new.site.as_deref();
            let wanted = [State::Available, State::Open];
            let site = standing.site(conn, actor, &reach::PRINT_LABEL, named, &wanted)?;
            let (labels, dpi) = (self.new.size.unwrap_or_default(), self.new.dpi.unwrap_or_default());
            return Ok(PrintPlace { site, printer: None, size: labels, dpi });
        };
        let printer = named_printer(conn, code, actor)?;
        actor.may(&reach::PRINT_LABEL, printer.current.site_id).map_err(|error| error.at("printer"))?;
        if !printer.current.active {
            let detail = say!("the printer {code} is no longer in use", code = Quoted(&code));
            return Err(OperationError::new(&problems::NOT_IN_USE, detail).at("printer"));
        }
        let corrupt = || StorageError::Corrupt(format!("printer version {}", printer.current.id));
        let size = LabelSize::from_word(&printer.current.size).ok_or_else(corrupt)?;
        let dpi = Dpi::from_column(printer.current.dpi).ok_or_else(corrupt)?;
        if self.new.size.is_some_and(|asked| asked != size) {
            let detail =
                say!("in {printer} there are labels of {size} mm", printer = printer.current.name, size = size.word());
            return Err(OperationError::invalid("size", detail));
        }
        if self.new.dpi.is_some_and(|asked| asked != dpi) {
            let detail =
                say!("{printer} has {dots} dots in an inch", printer = printer.current.name, dots = u32::from(dpi));
            return Err(OperationError::invalid("dpi", detail));
        }
        let stands_at = Site::by_id(conn, printer.current.site_id)?.ok_or_else(corrupt)?;
        Ok(PrintPlace { site: stands_at, printer: Some(printer), size, dpi })
    }

    /// What it says; an order to print it despite something is an owner's or a cook's to give.
    fn label(
        &self,
        conn: &mut AnyConnection,
        index: &Index,
        standing: &Standing,
        actor: &Actor,
        place: &PrintPlace,
        now: NaiveDateTime,
    ) -> Result<Label> {
        if self.despite.is_some() {
            actor.may(&reach::OVERRIDE_LABEL, place.site.row.id).map_err(|error| error.at("override_reason"))?;
        }
        let label = label_of(conn, index, &standing.lot, self.new.jurisdiction, self.despite.as_ref(), now)?;
        if self.despite.is_some() && label.notices.is_empty() {
            let detail = say!("nothing in it is unknown or speaks against it: leave this out");
            return Err(OperationError::invalid("override_reason", detail));
        }
        Ok(label)
    }

    fn record(
        &self,
        tx: &mut WriteTx<'_>,
        standing: &Standing,
        place: &PrintPlace,
        label: &Label,
    ) -> Result<(LabelPrintRow, Option<PrintStepRow>)> {
        let number = prints_so_far(tx.conn()?, standing.lot.id)? + 1;
        if number > 1 && self.reprint_reason.is_none() {
            let lot = standing.number()?;
            let detail =
                say!("the label of lot {lot} was printed before: say why again, and destroy the other one", lot);
            return Err(OperationError::new(&problems::NEEDS_REASON, detail).at("reprint_reason").about([lot]));
        }
        let row = LabelPrintRow {
            id: tx.id(),
            entry: tx.entry(),
            lot_id: standing.lot.id,
            site_id: place.site.row.id,
            number,
            size: place.size.word().to_owned(),
            dpi: place.dpi.column(),
            copies: self.copies,
            printer_id: place.printer.as_ref().map(|printer| printer.row.id),
            override_reason: self.new.override_reason.clone().filter(|_| self.despite.is_some()),
            reprint_reason: self.reprint_reason.clone().filter(|_| number > 1),
            words: serde_json::to_string(label).map_err(StorageError::from)?,
        };
        tx.record(&row)?;
        let step = row.printer_id.is_some().then(|| first_step(tx, row.id)).transpose()?;
        Ok((row, step))
    }
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
