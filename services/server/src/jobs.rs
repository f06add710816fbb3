//! Long work that a page watches: how far it is, and what came of it. It is known to the process that does it alone, and as long
//! as that runs; what it wrote down is in the journal.

use std::collections::VecDeque;
use std::sync::Arc;

use parking_lot::Mutex;
use tubtrail_domain::say;
use tubtrail_operations::imports::{ImportProgress, Imported};
use tubtrail_operations::{OperationError, Request, problems};

use crate::house::House;
use crate::problem::{Problem, ProblemDetails};

/// Most jobs at work at a time.
const MOST_AT_WORK: usize = 4;
/// Most jobs that are remembered.
const MOST: usize = 50;

/// What came of a job.
pub type JobOutcome = Result<Imported, ProblemDetails>;

/// An import at work, or done.
pub struct Job {
    id: String,
    actor: String,
    /// What is in the file.
    pub noun: String,
    /// What the file is called.
    pub file: String,
    progress: Arc<ImportProgress>,
    outcome: Mutex<Option<JobOutcome>>,
}

impl Job {
    /// How many rows were looked at, and how many there are.
    pub fn so_far(&self) -> (usize, usize) {
        self.progress.so_far()
    }

    /// What came of it, once it is done.
    pub fn outcome(&self) -> Option<JobOutcome> {
        self.outcome.lock().clone()
    }
}

/// The jobs of this process, oldest first.
#[derive(Default)]
pub struct Jobs(Mutex<VecDeque<Arc<Job>>>);

impl Jobs {
    /// Begins an import; answers the job at once.
    ///
    /// # Errors
    /// If too many are at work.
    pub fn import(
        house: &House,
        commands: Request,
        id: String,
        noun: String,
        file: (String, Vec<u8>),
    ) -> Result<Arc<Job>, Problem> {
        let (file, bytes) = file;
        let actor = commands.actor.name.clone();
        let job = Job { id, actor, noun, file, progress: Arc::default(), outcome: Mutex::new(None) };
        let job = house.jobs.enter(Arc::new(job))?;
        let (house, at_work) = (house.clone(), Arc::clone(&job));
        // Nobody waits for it here: whoever watches asks for its progress.
        drop(actix_web::rt::task::spawn_blocking(move || {
            let done = house.tubtrail.import_telling(&commands, &at_work.noun, &bytes, &at_work.progress);
            let outcome = done.map(|done| done.answer).map_err(|error| Problem::from(error).details());
            *at_work.outcome.lock() = Some(outcome);
        }));
        Ok(job)
    }

    fn enter(&self, job: Arc<Job>) -> Result<Arc<Job>, Problem> {
        let mut jobs = self.0.lock();
        // The same form sent twice is the same job.
        if let Some(known) = jobs.iter().find(|known| known.id == job.id && known.actor == job.actor) {
            return Ok(Arc::clone(known));
        }
        let is_at_work = |job: &&Arc<Job>| job.outcome.lock().is_none();
        if jobs.iter().filter(is_at_work).count() >= MOST_AT_WORK {
            let detail = say!("other files are being taken in: wait until one is done");
            return Err(OperationError::new(&problems::BUSY, detail).into());
        }
        if jobs.len() == MOST {
            jobs.pop_front();
        }
        jobs.push_back(Arc::clone(&job));
        Ok(job)
    }

    /// One of somebody's jobs.
    pub fn of(&self, actor: &str, id: &str) -> Option<Arc<Job>> {
        self.0.lock().iter().find(|job| job.id == id && job.actor == actor).cloned()
    }
}
