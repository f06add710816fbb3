//! The threads that work the printers: one takes what is queued and remembers what is tried again and when, and for each print that
//! something is to be done about another speaks with its printer, so that none waits for a printer that does not answer.
//!
//! They may be stopped at any moment. Before a word of a print leaves, a step is noted that it is being sent, and by whom; so a
//! print whose sender is gone is asked about at the printer, and if that does not know, a person is: nothing is printed twice in
//! silence.

mod ipp;

use std::collections::{HashMap, HashSet};
use std::panic::{AssertUnwindSafe, catch_unwind};
use std::sync::Arc;
use std::sync::mpsc::{Receiver, RecvTimeoutError, Sender, channel};
use std::thread::JoinHandle;
use std::time::{Duration, Instant};

use tubtrail_operations::print_queue::{NewStep, PrintState, PrintWork, Queue, StepSeen};
use tubtrail_operations::{OperationError, Tubtrail};

use self::ipp::{Abilities, Became, Document, Ipp, Trouble};
use crate::house::House;
use crate::labels::{LabelFormat, draw};

/// The first wait before something is tried again.
const SOON: Duration = Duration::from_secs(1);
/// The longest.
const LATER: Duration = Duration::from_mins(1);
/// How often it is looked for what was queued, by whatever process.
const LOOK_EVERY: Duration = Duration::from_millis(500);
/// How long a print may be on its way in another process before that is taken to be gone.
const GIVEN_UP_AFTER: chrono::TimeDelta = chrono::TimeDelta::minutes(2);

/// Printers that are spoken with at the same time, at most.
const AT_ONCE: usize = 16;

/// What the first of the threads is told.
enum Told {
    /// Something came of looking after a print, or it failed.
    Through { print: i64, printer: i64, came: Option<Came> },
    /// It is to stop.
    Stop,
}

/// The threads, while they run.
pub struct Printing {
    tell: Sender<Told>,
    thread: Option<JoinHandle<()>>,
}

impl Printing {
    /// Starts them.
    ///
    /// # Errors
    /// If the system has no thread to give.
    pub fn start(house: &House) -> std::io::Result<Self> {
        let (tell, told) = channel();
        let process = format!("{}-{:016x}", std::process::id(), getrandom::u64().unwrap_or_default());
        let worker = Worker {
            hand: Hand { house: house.clone(), process: process.into() },
            tell: tell.clone(),
            queue: Queue::default(),
            busy: HashSet::new(),
            printers: HashMap::new(),
            prints: HashMap::new(),
        };
        let thread = std::thread::Builder::new().name("printing".into()).spawn(move || worker.run(&told))?;
        Ok(Self { tell, thread: Some(thread) })
    }
}

impl Drop for Printing {
    /// Waits until what is on its way has been sent.
    fn drop(&mut self) {
        // One that has ended hears nothing, and needs to hear nothing.
        let _ = self.tell.send(Told::Stop);
        if self.thread.take().is_some_and(|thread| thread.join().is_err()) {
            tracing::error!("the thread of the printers had panicked");
        }
    }
}

/// When something is tried again, and how long it was waited before.
#[derive(Clone, Copy)]
struct Again {
    at: Instant,
    waited: Duration,
}

impl Again {
    fn after(before: Option<&Self>) -> Self {
        let waited = before.map_or(SOON, |before| (before.waited * 2).min(LATER));
        Self { at: Instant::now() + waited, waited }
    }
}

struct Worker {
    hand: Hand,
    tell: Sender<Told>,
    queue: Queue,
    /// Printers that are spoken with, by row.
    busy: HashSet<i64>,
    /// Printers that were away or busy, by row.
    printers: HashMap<i64, Again>,
    /// Prints that are followed, by number.
    prints: HashMap<i64, Again>,
}

/// What came of looking after a print.
#[derive(Clone, Copy)]
enum Came {
    /// Something was noted, or is not ours to note.
    On,
    /// It is looked at again later.
    Later,
    /// Its printer is away or busy: so for all its prints.
    PrinterLater,
}

impl Worker {
    fn run(mut self, told: &Receiver<Told>) {
        loop {
            if let Err(error) = self.look_after() {
                tracing::error!(%error, "the printers were not looked after");
            }
            match told.recv_timeout(LOOK_EVERY) {
                Ok(Told::Through { print, printer, came }) => self.through(print, printer, came),
                Ok(Told::Stop) | Err(RecvTimeoutError::Disconnected) => break,
                Err(RecvTimeoutError::Timeout) => {}
            }
        }
        while !self.busy.is_empty() {
            if let Ok(Told::Through { print, printer, came }) = told.recv() {
                self.through(print, printer, came);
            }
        }
    }

    /// Sees what is queued, and has one print a printer seen to.
    fn look_after(&mut self) -> Result<(), OperationError> {
        let house = self.hand.house.clone();
        let tubtrail = &house.tubtrail;
        tubtrail.follow_queue(&mut self.queue)?;
        let open: Vec<i64> = self.queue.open().map(|seen| seen.print).collect();
        self.prints.retain(|print, _| self.queue.of(*print).is_some());
        let is_due = |again: &Again| again.at <= Instant::now();
        for print in open {
            if self.busy.len() == AT_ONCE {
                return Ok(());
            }
            let Some(seen) = self.queue.of(print).filter(|_| self.prints.get(&print).is_none_or(is_due)) else {
                continue;
            };
            let (seen, work) = (seen.clone(), tubtrail.print_work(print)?);
            if !self.busy.contains(&work.printer_id) && self.printers.get(&work.printer_id).is_none_or(is_due) {
                self.begin(seen, work);
            }
        }
        Ok(())
    }

    fn begin(&mut self, seen: StepSeen, work: PrintWork) {
        let (print, printer) = (seen.print, work.printer_id);
        let (hand, tell) = (self.hand.clone(), self.tell.clone());
        self.busy.insert(printer);
        let thread = std::thread::Builder::new().name("printer".into()).spawn(move || {
            let seen_to = catch_unwind(AssertUnwindSafe(|| hand.see_to(&hand.house.tubtrail, &seen, &work)));
            let came = match seen_to {
                Ok(Ok(came)) => Some(came),
                Ok(Err(error)) => {
                    tracing::error!(%error, print, "a print was not looked after");
                    None
                }
                // The panic is in the log.
                Err(_) => None,
            };
            let _ = tell.send(Told::Through { print, printer, came });
        });
        if let Err(error) = thread {
            tracing::error!(%error, print, "there is no thread to look after a print");
            self.through(print, printer, None);
        }
    }

    fn through(&mut self, print: i64, printer: i64, came: Option<Came>) {
        self.busy.remove(&printer);
        match came {
            Some(Came::On) => {
                self.prints.remove(&print);
                self.printers.remove(&printer);
            }
            Some(Came::Later) => {
                self.prints.insert(print, Again::after(self.prints.get(&print)));
                self.printers.remove(&printer);
            }
            Some(Came::PrinterLater) | None => {
                self.printers.insert(printer, Again::after(self.printers.get(&printer)));
            }
        }
    }
}

/// What it takes to see to a print.
#[derive(Clone)]
struct Hand {
    house: House,
    process: Arc<str>,
}

impl Hand {
    fn see_to(&self, tubtrail: &Tubtrail, seen: &StepSeen, work: &PrintWork) -> Result<Came, OperationError> {
        match seen.state {
            PrintState::Queued | PrintState::Waiting => self.send(tubtrail, seen, work),
            PrintState::Sending if self.is_ours_or_nobodys(tubtrail, seen) => ask_after(tubtrail, seen, work),
            PrintState::Sent => follow(tubtrail, seen, work),
            _ => Ok(Came::Later),
        }
    }

    /// What this process had in hand, or one that is gone.
    fn is_ours_or_nobodys(&self, tubtrail: &Tubtrail, seen: &StepSeen) -> bool {
        let is_ours = seen.process.as_deref().is_some_and(|process| process.starts_with(&*self.process));
        is_ours || tubtrail.is_alone() || tubtrail.now() - seen.at > GIVEN_UP_AFTER
    }

    fn send(&self, tubtrail: &Tubtrail, seen: &StepSeen, work: &PrintWork) -> Result<Came, OperationError> {
        if !work.active {
            return note(tubtrail, seen, NewStep::to(PrintState::Refused).saying("the printer is no longer in use"));
        }
        let ready = Ipp::at(&work.uri, work.any_certificate).and_then(|printer| {
            let abilities = printer.abilities()?;
            let format = format_for(&abilities, work)?;
            Ok((printer, abilities, format))
        });
        let (printer, abilities, format) = match ready {
            Ok(ready) => ready,
            Err(Trouble::Refused(why)) => {
                return note(tubtrail, seen, NewStep::to(PrintState::Refused).saying(Trouble::Refused(why).said()));
            }
            Err(trouble) => return wait(tubtrail, seen, &trouble),
        };
        let bytes = match draw(&work.label, work.size, work.dpi, format) {
            Ok(bytes) => bytes,
            Err(error) => {
                return note(tubtrail, seen, NewStep::to(PrintState::Refused).saying(error.detail.to_string()));
            }
        };
        let (process, name) = (format!("{}.{}", self.process, seen.id), job_name(seen.print, seen.id));
        let sending = NewStep { process: Some(process), ..NewStep::to(PrintState::Sending) };
        let Some(sending) = tubtrail.note_print_step(seen, sending)? else { return Ok(Came::On) };
        let (copies, format) = (work.copies, format.media_type());
        let document = Document { name: &name, format, bytes: &bytes, copies, size: work.size };
        match printer.print(&document, &abilities) {
            Ok(job) => note(tubtrail, &sending, NewStep { printer_job: Some(job), ..NewStep::to(PrintState::Sent) }),
            Err(trouble @ (Trouble::Refused(_) | Trouble::NotKnown)) => {
                note(tubtrail, &sending, NewStep::to(PrintState::Refused).saying(trouble.said()))
            }
            Err(trouble @ (Trouble::Away(_) | Trouble::Busy(_))) => wait(tubtrail, &sending, &trouble),
            // It may have heard all of it: it is asked.
            Err(trouble @ Trouble::Broken(_)) => {
                tracing::warn!(print = seen.print, said = trouble.said(), "a print may or may not have arrived");
                ask_after(tubtrail, &sending, work)
            }
        }
    }
}

/// What a job is called at its printer: another name each time it is sent.
fn job_name(print: i64, after: i64) -> String {
    format!("tubtrail-{print}-{after}")
}

/// The name under which a print was sent.
fn name_of(seen: &StepSeen) -> String {
    let after = seen.process.as_deref().and_then(|process| process.rsplit_once('.')).map_or("", |(_, after)| after);
    format!("tubtrail-{}-{after}", seen.print)
}

/// Which of the forms a label is drawn in a printer takes.
fn format_for(abilities: &Abilities, work: &PrintWork) -> Result<LabelFormat, Trouble> {
    if let Some(why) = &abilities.not_now {
        return Err(Trouble::Busy(why.clone()));
    }
    if abilities.most_copies.is_some_and(|most| most < work.copies) {
        let most = abilities.most_copies.unwrap_or(1);
        return Err(Trouble::Refused(format!("it prints {most} alike at most")));
    }
    let is_taken = |format: &LabelFormat| abilities.formats.iter().any(|known| known == format.media_type());
    [LabelFormat::Pdf, LabelFormat::Png].into_iter().find(is_taken).ok_or_else(|| {
        let known = abilities.formats.join(", ");
        Trouble::Refused(format!("it takes neither application/pdf nor image/png, but {known}"))
    })
}

fn note(tubtrail: &Tubtrail, seen: &StepSeen, next: NewStep) -> Result<Came, OperationError> {
    tubtrail.note_print_step(seen, next)?;
    Ok(Came::On)
}

/// Says once that a print waits, and why.
fn wait(tubtrail: &Tubtrail, seen: &StepSeen, trouble: &Trouble) -> Result<Came, OperationError> {
    let said = trouble.said();
    if seen.state != PrintState::Waiting || seen.said.as_ref() != Some(&said) {
        tubtrail.note_print_step(seen, NewStep::to(PrintState::Waiting).saying(said))?;
    }
    Ok(Came::PrinterLater)
}

/// Asks a printer whether a print arrived of which that is not known.
fn ask_after(tubtrail: &Tubtrail, seen: &StepSeen, work: &PrintWork) -> Result<Came, OperationError> {
    let found = Ipp::at(&work.uri, work.any_certificate).and_then(|printer| printer.find(&name_of(seen)));
    match found {
        Ok(Some(job)) => note(tubtrail, seen, NewStep { printer_job: Some(job), ..NewStep::to(PrintState::Sent) }),
        Ok(None) | Err(Trouble::NotKnown | Trouble::Refused(_)) => {
            let said = "it was on its way when the connection broke, and the printer does not know of it: look whether \
                        it came out, and say so";
            note(tubtrail, seen, NewStep::to(PrintState::Uncertain).saying(said))
        }
        Err(Trouble::Away(_) | Trouble::Busy(_) | Trouble::Broken(_)) => Ok(Came::PrinterLater),
    }
}

/// Follows a print that the printer has.
fn follow(tubtrail: &Tubtrail, seen: &StepSeen, work: &PrintWork) -> Result<Came, OperationError> {
    let Some(job) = seen.printer_job else {
        return note(tubtrail, seen, NewStep::to(PrintState::Uncertain).saying("the printer gave no number for it"));
    };
    let to = |state| NewStep { printer_job: Some(job), ..NewStep::to(state) };
    let became = Ipp::at(&work.uri, work.any_certificate).and_then(|printer| printer.became(job));
    match became {
        Ok(Became::Done) => note(tubtrail, seen, to(PrintState::Printed)),
        Ok(Became::UnderWay) => Ok(Came::Later),
        Ok(Became::Stopped(why)) => {
            let said = format!("the printer has stopped: {why}");
            if seen.said.as_ref() == Some(&said) {
                return Ok(Came::Later);
            }
            note(tubtrail, seen, to(PrintState::Sent).saying(said))
        }
        Ok(Became::Failed(why)) => {
            note(tubtrail, seen, to(PrintState::Refused).saying(format!("the printer gave it up: {why}")))
        }
        Err(Trouble::NotKnown | Trouble::Refused(_)) => {
            let said = "the printer had it and no longer knows of it: look whether it came out, and say so";
            note(tubtrail, seen, to(PrintState::Uncertain).saying(said))
        }
        Err(Trouble::Away(_) | Trouble::Busy(_) | Trouble::Broken(_)) => Ok(Came::PrinterLater),
    }
}
