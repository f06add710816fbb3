//! Answering: those whose commands shared a commit are told on a thread of its own.

use std::sync::mpsc::{SendError, Sender, channel};
use std::thread::JoinHandle;

use crate::StorageError;
use crate::writer::Job;

/// A group that is done.
pub(crate) struct Answers {
    /// Its commands.
    pub jobs: Vec<Box<dyn Job>>,
    /// Why none of them was committed, if they were not.
    pub outcome: Result<(), String>,
}

impl Answers {
    fn tell(self) {
        for job in self.jobs {
            job.answer(self.outcome.clone());
        }
    }
}

/// Tells those who wait on a thread of its own: to wake one takes as long as to run its command, and the next group need not
/// wait for it. Dropping it tells the rest and stops.
pub(crate) struct Answering {
    groups: Option<Sender<Answers>>,
    thread: Option<JoinHandle<()>>,
}

impl Answering {
    /// So few are told at once: to wake the other thread takes longer.
    const FEW: usize = 4;

    /// Starts the thread.
    pub fn start() -> Result<Self, StorageError> {
        let (groups, done) = channel::<Answers>();
        let thread = std::thread::Builder::new()
            .name("answers".into())
            .spawn(move || done.into_iter().for_each(Answers::tell))
            .map_err(|error| StorageError::WriterStopped(error.to_string()))?;
        Ok(Self { groups: Some(groups), thread: Some(thread) })
    }

    /// Tells all of a group.
    pub fn give(&self, answers: Answers) {
        let Some(groups) = self.groups.as_ref().filter(|_| answers.jobs.len() > Self::FEW) else {
            return answers.tell();
        };
        // It does not go before the writer does; should it have panicked, they are told here.
        if let Err(SendError(answers)) = groups.send(answers) {
            answers.tell();
        }
    }
}

impl Drop for Answering {
    fn drop(&mut self) {
        self.groups = None;
        if let Some(thread) = self.thread.take()
            && thread.join().is_err()
        {
            tracing::error!("the thread that answers had panicked");
        }
    }
}
