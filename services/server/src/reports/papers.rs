//! Papers that take a while: each is made on a thread of its own, says how far it is, and waits in memory until it is fetched. It
//! is gone with the process, and where several serve one house only the one that makes it knows it.

use std::collections::HashMap;
use std::sync::Arc;
use std::sync::atomic::{AtomicUsize, Ordering};
use std::time::{Duration, Instant};

use actix_web::web::Bytes;
use parking_lot::Mutex;
use tubtrail_domain::say;
use tubtrail_operations::{OperationError, problems};

use super::{ReportFormat, Source, make};
use crate::house::House;
use crate::problem::Problem;
use crate::seats::Seat;

/// Most at a time, made or being made.
const MOST: usize = 12;
/// How long one waits to be fetched.
const KEPT: Duration = Duration::from_mins(10);

/// All of them.
#[derive(Default)]
pub struct Papers(Mutex<HashMap<String, Arc<Paper>>>);

/// One.
pub struct Paper {
    /// Whose: as in the journal. Nobody else gets it.
    actor: String,
    /// What the file is called.
    pub name: String,
    /// What it is.
    pub format: ReportFormat,
    /// The page it was asked for on.
    pub back: String,
    /// How many lots it is about.
    pub total: usize,
    begun: Instant,
    read: AtomicUsize,
    stand: Mutex<Stand>,
}

/// How far one is.
#[derive(Clone)]
pub enum Stand {
    /// It is being made.
    Making,
    /// It can be fetched.
    Made(Bytes),
    /// It could not be made; why, is in the log.
    Failed,
}

impl Papers {
    /// Begins one; answers its number. The seat is kept until it is made.
    pub fn begin<S, L>(
        house: &House,
        seat: Seat,
        actor: &str,
        format: ReportFormat,
        source: Source<S, L>,
        (number, back): (String, &str),
    ) -> Result<String, Problem>
    where
        S: Send + 'static,
        L: Send + 'static,
    {
        let paper = Arc::new(Paper {
            actor: actor.to_owned(),
            name: format!("{}.{}", source.name, format.ending()),
            format,
            back: back.to_owned(),
            total: source.total,
            begun: Instant::now(),
            read: AtomicUsize::new(0),
            stand: Mutex::new(Stand::Making),
        });
        house.papers.keep(number.clone(), Arc::clone(&paper))?;
        let at = house.clone();
        actix_web::rt::task::spawn_blocking(move || {
            let under_way = UnderWay(paper);
            let paper = &under_way.0;
            let made = make(&at.tubtrail, format, source, |read| paper.read.store(read, Ordering::Relaxed));
            *paper.stand.lock() = made.map_or(Stand::Failed, |bytes| Stand::Made(Bytes::from(bytes)));
            drop(seat);
        });
        Ok(number)
    }

    /// Somebody's own.
    pub fn get(&self, actor: &str, number: &str) -> Option<Arc<Paper>> {
        self.0.lock().get(number).filter(|paper| paper.actor == actor).cloned()
    }

    fn keep(&self, number: String, paper: Arc<Paper>) -> Result<(), Problem> {
        let mut papers = self.0.lock();
        papers.retain(|_, paper| paper.is_being_made() || paper.begun.elapsed() < KEPT);
        if papers.len() >= MOST {
            let made = papers.iter().filter(|(_, paper)| !paper.is_being_made());
            let oldest = made.min_by_key(|(_, paper)| paper.begun).map(|(number, _)| number.clone());
            let busy = || {
                OperationError::new(&problems::BUSY, say!("{most} papers are being made; try again soon", most = MOST))
            };
            papers.remove(&oldest.ok_or_else(busy)?);
        }
        papers.insert(number, paper);
        Ok(())
    }
}

impl Paper {
    /// How many lots were read.
    pub fn read(&self) -> usize {
        self.read.load(Ordering::Relaxed)
    }

    /// How far it is.
    pub fn stand(&self) -> Stand {
        self.stand.lock().clone()
    }

    fn is_being_made(&self) -> bool {
        matches!(*self.stand.lock(), Stand::Making)
    }
}

/// Whatever happens to the thread, nobody waits for it for good.
struct UnderWay(Arc<Paper>);

impl Drop for UnderWay {
    fn drop(&mut self) {
        let mut stand = self.0.stand.lock();
        if matches!(*stand, Stand::Making) {
            *stand = Stand::Failed;
        }
    }
}
