//! A label is to be printed: what is asked, where, whether it fits and whether it may be; and then it is written down.

use std::sync::Arc;

use chrono::NaiveDateTime;
use serde::{Deserialize, Serialize};
use tubtrail_domain::labels::Despite;
use tubtrail_domain::place::State;
use tubtrail_domain::say;
use tubtrail_domain::saying::Quoted;
use tubtrail_storage::labels::{LabelPrintRow, PrintStepRow, prints_so_far};
use tubtrail_storage::master_data::{Noun, Printer, Site};
use tubtrail_storage::{AnyConnection, StorageError, WriteTx};
use utoipa::ToSchema;

use super::{Print, named_printer, show};
use crate::allergen_words::AllergenList;
use crate::error::{OperationError, Result};
use crate::index::Index;
use crate::labels::{Dpi, Label, LabelSize, label_of};
use crate::print_queue::first_step;
use crate::reach::{self, Actor, Request};
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
