//! The queue of the printers: what became of each print, step by step.
//!
//! The newest step of a print is its state; nothing is changed in place. A step is taken only after the one that was seen
//! ([`Tubtrail::note_print_step`]), so that of two servers on one database one has a print in hand.

use std::collections::BTreeMap;

use chrono::NaiveDateTime;
use serde::{Deserialize, Serialize};
use tubtrail_domain::say;
use tubtrail_domain::saying::Saying;
use tubtrail_storage::labels::{PrintStepRow, label_print, last_step, steps_after};
use tubtrail_storage::master_data::{Noun, Printer};
use tubtrail_storage::{AnyConnection, StorageError, WriteTx};
use utoipa::ToSchema;

use crate::error::{OperationError, Result};
use crate::labels::{Dpi, Label, LabelSize};
use crate::prints::{Print, addressed, one_print, words};
use crate::reach::{self, NOTE_PRINT_STEP, Request};
use crate::tubtrail::{Answered, Tubtrail};
use crate::{fields, problems};

/// Steps read at a time.
const CHUNK: i64 = 1000;
/// Longest that is kept of what a printer says, in characters.
const LONGEST_SAID: usize = 500;

/// What a printer made of a print.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum PrintState {
    /// It is next when the printer is free.
    Queued,
    /// The printer cannot take it now; it is tried again.
    Waiting,
    /// It is on the way to the printer.
    Sending,
    /// The printer has it.
    Sent,
    /// The printer says it is done, or a person does.
    Printed,
    /// The printer will not print it; a person may have it tried again.
    Refused,
    /// Nobody knows whether it came out: a person looks and says.
    Uncertain,
    /// A person took it back.
    Cancelled,
}

impl PrintState {
    const ALL: [Self; 8] = [
        Self::Queued,
        Self::Waiting,
        Self::Sending,
        Self::Sent,
        Self::Printed,
        Self::Refused,
        Self::Uncertain,
        Self::Cancelled,
    ];

    /// What it is in a sentence.
    const fn saying(self) -> Saying {
        match self {
            Self::Queued => say!("queued"),
            Self::Waiting => say!("waiting"),
            Self::Sending => say!("sending"),
            Self::Sent => say!("sent"),
            Self::Printed => say!("printed"),
            Self::Refused => say!("refused"),
            Self::Uncertain => say!("uncertain"),
            Self::Cancelled => say!("cancelled"),
        }
    }

    /// The word for it in the database and in every answer.
    pub const fn word(self) -> &'static str {
        match self {
            Self::Queued => "queued",
            Self::Waiting => "waiting",
            Self::Sending => "sending",
            Self::Sent => "sent",
            Self::Printed => "printed",
            Self::Refused => "refused",
            Self::Uncertain => "uncertain",
            Self::Cancelled => "cancelled",
        }
    }

    pub(crate) fn of(row: &PrintStepRow) -> Result<Self> {
        let found = Self::ALL.into_iter().find(|state| state.word() == row.state);
        Ok(found.ok_or_else(|| StorageError::Corrupt(format!("print step {}: state {:?}", row.id, row.state)))?)
    }

    /// Whether the printer still has something to do with it.
    pub const fn is_open(self) -> bool {
        matches!(self, Self::Queued | Self::Waiting | Self::Sending | Self::Sent)
    }
}

/// A print is taken back.
#[derive(Clone, Debug, Default, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(example = json!({"reason": "the wrong tub"}))]
pub struct PrintCancellation {
    /// Why.
    #[serde(default)]
    #[schema(max_length = 500)]
    pub reason: Option<String>,
}

/// What a person found of a print that nobody knows to have come out, or that the printer refused.
#[derive(Clone, Debug, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(example = json!({"came_out": false, "note": "the paper was out"}))]
pub struct PrintSettlement {
    /// Whether it came out; if not, it is tried again.
    pub came_out: bool,
    /// Remarks.
    #[serde(default)]
    #[schema(max_length = 500)]
    pub note: Option<String>,
}

/// The newest step of a print, for whoever works the printers.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct StepSeen {
    /// Its row.
    pub id: i64,
    /// Of which print.
    pub print: i64,
    /// What it came to.
    pub state: PrintState,
    /// When.
    pub at: NaiveDateTime,
    /// Which process has it in hand.
    pub process: Option<String>,
    /// The printer's own number for it.
    pub printer_job: Option<i32>,
    /// In words.
    pub said: Option<String>,
}

/// What became of a print.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct NewStep {
    /// What it came to.
    pub state: PrintState,
    /// Which process has it in hand; with [`PrintState::Sending`] alone.
    pub process: Option<String>,
    /// The printer's own number for it.
    pub printer_job: Option<i32>,
    /// In words.
    pub said: Option<String>,
}

impl NewStep {
    /// One with nothing to say.
    pub const fn to(state: PrintState) -> Self {
        Self { state, process: None, printer_job: None, said: None }
    }

    /// The same in words.
    #[must_use]
    pub fn saying(self, said: impl Into<String>) -> Self {
        Self { said: Some(said.into()), ..self }
    }
}

/// What the printers still have something to do with, kept up by [`Tubtrail::follow_queue`].
#[derive(Debug, Default)]
pub struct Queue {
    read_to: i64,
    open: BTreeMap<i64, StepSeen>,
}

impl Queue {
    /// The newest step of each, by print, oldest print first.
    pub fn open(&self) -> impl Iterator<Item = &StepSeen> {
        self.open.values()
    }

    /// The newest step of one, while its printer still has something to do with it.
    pub fn of(&self, print: i64) -> Option<&StepSeen> {
        self.open.get(&print)
    }
}

/// Everything it takes to print one.
#[derive(Clone, Debug)]
pub struct PrintWork {
    /// Which printer, by row.
    pub printer_id: i64,
    /// Its name.
    pub printer: String,
    /// Where it listens.
    pub uri: String,
    /// Its certificate need not be signed by anybody known.
    pub any_certificate: bool,
    /// It is in use.
    pub active: bool,
    /// The size of the label.
    pub size: LabelSize,
    /// Dots in an inch.
    pub dpi: Dpi,
    /// How many alike.
    pub copies: i32,
    /// What the label says.
    pub label: Label,
}

impl Tubtrail {
    /// Takes a print back, as long as it is not on its way to the printer.
    pub fn cancel_print(&self, request: &Request, id: i64, new: PrintCancellation) -> Result<Answered<Print>> {
        request.actor.may_anywhere(&reach::CANCEL_PRINT)?;
        let actor = request.actor.clone();
        self.write(request, &reach::CANCEL_PRINT, move |tx| {
            let row = addressed(tx.conn()?, &actor, &reach::CANCEL_PRINT, id)?;
            let reason = said("reason", new.reason.as_deref())?;
            let reason =
                reason.ok_or_else(|| OperationError::new(&problems::NEEDS_REASON, say!("say why")).at("reason"))?;
            let open = [PrintState::Queued, PrintState::Waiting, PrintState::Refused, PrintState::Uncertain];
            refuse_unless(tx.conn()?, row.id, &open, say!("it can no longer be taken back here"))?;
            tx.at_site(row.site_id);
            record(tx, row.id, NewStep::to(PrintState::Cancelled).saying(reason))?;
            one_print(tx.conn()?, row)
        })
    }

    /// Says whether a print came out, of which nobody knows it or which the printer refused; if not, it is tried again.
    pub fn settle_print(&self, request: &Request, id: i64, new: PrintSettlement) -> Result<Answered<Print>> {
        request.actor.may_anywhere(&reach::SETTLE_PRINT)?;
        let actor = request.actor.clone();
        self.write(request, &reach::SETTLE_PRINT, move |tx| {
            let row = addressed(tx.conn()?, &actor, &reach::SETTLE_PRINT, id)?;
            let note = said("note", new.note.as_deref())?;
            let unsettled = [PrintState::Refused, PrintState::Uncertain];
            refuse_unless(tx.conn()?, row.id, &unsettled, say!("there is nothing to settle"))?;
            tx.at_site(row.site_id);
            let state = if new.came_out { PrintState::Printed } else { PrintState::Queued };
            let said = note.or_else(|| Some(format!("said by {}", actor.name)));
            record(tx, row.id, NewStep { said, ..NewStep::to(state) })?;
            one_print(tx.conn()?, row)
        })
    }

    /// Takes in every step since the last time, of whatever process.
    pub fn follow_queue(&self, queue: &mut Queue) -> Result<()> {
        loop {
            let rows = self.read(|conn| Ok(steps_after(conn, queue.read_to, CHUNK)?))?;
            for row in &rows {
                queue.read_to = row.id;
                let state = PrintState::of(row)?;
                if !state.is_open() {
                    queue.open.remove(&row.print_id);
                    continue;
                }
                let seen = StepSeen {
                    id: row.id,
                    print: row.print_id,
                    state,
                    at: row.happened_at,
                    process: row.process.clone(),
                    printer_job: row.printer_job,
                    said: row.said.clone(),
                };
                queue.open.insert(row.print_id, seen);
            }
            if rows.is_empty() {
                return Ok(());
            }
        }
    }

    /// What it takes to print one.
    pub fn print_work(&self, print: i64) -> Result<PrintWork> {
        self.read_at_once(|conn| {
            let row = label_print(conn, print)?.ok_or_else(|| OperationError::not_found(say!("print"), print))?;
            let corrupt = || StorageError::Corrupt(format!("print {print} names no printer"));
            let printer = Printer::by_id(conn, row.printer_id.ok_or_else(corrupt)?)?.ok_or_else(corrupt)?;
            Ok(PrintWork {
                printer_id: printer.row.id,
                printer: printer.current.name,
                uri: printer.current.uri,
                any_certificate: printer.current.any_certificate,
                active: printer.current.active,
                size: LabelSize::from_word(&row.size).ok_or_else(corrupt)?,
                dpi: Dpi::from_column(row.dpi).ok_or_else(corrupt)?,
                copies: row.copies,
                label: words(&row)?,
            })
        })
    }

    /// Notes what became of a print, unless something else has since the step that was seen: the new step, if it was noted.
    pub fn note_print_step(&self, seen: &StepSeen, next: NewStep) -> Result<Option<StepSeen>> {
        let (print, id, noted) = (seen.print, seen.id, next.clone());
        let done = self.write(&Request::system(), &NOTE_PRINT_STEP, move |tx| {
            if last_step(tx.conn()?, print)?.is_none_or(|last| last.id != id) {
                return Err(OperationError::new(&problems::PRINT_UNDER_WAY, say!("another has it in hand")));
            }
            let row = record(tx, print, next)?;
            Ok((row.id, row.happened_at, row.said))
        });
        let (id, at, said) = match done {
            Ok(done) => done.answer,
            Err(error) if error.problem == &problems::PRINT_UNDER_WAY => return Ok(None),
            Err(error) => return Err(error),
        };
        let NewStep { state, process, printer_job, .. } = noted;
        Ok(Some(StepSeen { id, print, state, at, process, printer_job, said }))
    }

    /// Whether no other process can serve this database: whatever another had in hand, it has no longer.
    pub fn is_alone(&self) -> bool {
        self.last_commit_of_all().is_some()
    }

    /// The time, as the house has it.
    pub fn now(&self) -> NaiveDateTime {
        (self.clock)()
    }
}

/// The first step of a print.
pub(crate) fn first_step(tx: &mut WriteTx<'_>, print: i64) -> Result<PrintStepRow> {
    record(tx, print, NewStep::to(PrintState::Queued))
}

fn record(tx: &mut WriteTx<'_>, print_id: i64, step: NewStep) -> Result<PrintStepRow> {
    let row = PrintStepRow {
        id: tx.id(),
        entry: tx.entry(),
        print_id,
        state: step.state.word().to_owned(),
        happened_at: tx.now(),
        process: step.process,
        printer_job: step.printer_job,
        said: step.said.map(|said| plain(&said)),
    };
    tx.record(&row)?;
    Ok(row)
}

#[expect(clippy::needless_pass_by_value, reason = "it is made for this")]
fn refuse_unless(conn: &mut AnyConnection, print: i64, states: &[PrintState], otherwise: Saying) -> Result<()> {
    let state = last_step(conn, print)?.map(|last| PrintState::of(&last)).transpose()?;
    let detail = match state {
        Some(state) if states.contains(&state) => return Ok(()),
        Some(state) => say!("it is {state}: {otherwise}", state = state.saying(), otherwise),
        None => say!("no printer of ours has it: whoever asked for it drew it"),
    };
    Err(OperationError::new(&problems::PRINT_UNDER_WAY, detail))
}

fn said(field: &str, text: Option<&str>) -> Result<Option<String>> {
    let note = fields::optional_note(field, text)?;
    if note.as_ref().is_some_and(|note| note.chars().count() > LONGEST_SAID) {
        return Err(OperationError::invalid(field, say!("this is longer than {most} characters", most = LONGEST_SAID)));
    }
    Ok(note)
}

/// What a printer says may hold anything; what is kept of it is a line of text.
fn plain(said: &str) -> String {
    said.chars().map(|one| if one.is_control() { ' ' } else { one }).take(LONGEST_SAID).collect()
}
