//! The thread that sends: one thing a webhook at a time, so that each hears in order and none waits for another.

use std::collections::HashSet;
use std::panic::{AssertUnwindSafe, catch_unwind};
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::mpsc::{self, Receiver, RecvTimeoutError, channel};
use std::thread::JoinHandle;
use std::time::{Duration, Instant};

use chrono::Utc;
use tubtrail_operations::OperationError;
use tubtrail_operations::webhooks::{Delivery, Desk, Outcome, Turn};

use super::post::Post;
use crate::house::House;

/// How often it is looked for what other processes committed, and for whose turn it is.
const LOOK_EVERY: Duration = Duration::from_millis(500);
/// The same where there are no others: what is committed here is told.
const LOOK_ALONE: Duration = Duration::from_mins(1);
/// How long is waited between two looks at least, however much is committed.
const BREATHE: Duration = Duration::from_millis(50);
/// How long is waited after something went wrong with the database.
const RECOVER: Duration = Duration::from_secs(2);
/// How long what is on its way may still take when the server stops; what is not written down then is sent again.
const STOP_WITHIN: Duration = Duration::from_secs(1);

enum Told {
    /// Something was committed here.
    Committed,
    /// A delivery is through.
    Through(Box<(Delivery, Outcome)>),
    /// The server stops.
    Stop,
}

/// The thread, while it runs.
pub struct Sender {
    tell: mpsc::Sender<Told>,
    thread: JoinHandle<()>,
}

impl Sender {
    /// Starts it.
    ///
    /// # Errors
    /// If the system has no thread to give.
    pub fn start(house: House) -> std::io::Result<Self> {
        let (tell, told) = channel();
        let woken = Arc::new(AtomicBool::new(false));
        let (teller, flag) = (tell.clone(), Arc::clone(&woken));
        house.tubtrail.on_commit(move |_| {
            if !flag.swap(true, Ordering::AcqRel) {
                // After the thread has ended nobody hears it, and nobody needs to.
                let _ = teller.send(Told::Committed);
            }
        });
        let post = Post::new(&house.outgoing);
        let state = State {
            turn: house.tubtrail.turn_to_send(),
            house,
            post,
            tell: tell.clone(),
            woken,
            desk: Desk::default(),
            busy: HashSet::new(),
            through: Vec::new(),
            seen: None,
            again: None,
        };
        let thread = std::thread::Builder::new().name("webhooks".into()).spawn(move || state.run(&told))?;
        Ok(Self { tell, thread })
    }

    /// Stops it, and waits until it has.
    pub fn stop(self) {
        let _ = self.tell.send(Told::Stop);
        if self.thread.join().is_err() {
            tracing::error!("the thread that sends webhooks had panicked");
        }
    }
}

struct State {
    house: House,
    post: Post,
    tell: mpsc::Sender<Told>,
    woken: Arc<AtomicBool>,
    desk: Desk,
    turn: Turn,
    /// Webhooks that something is being sent to, or of which it is not written down yet.
    busy: HashSet<i64>,
    /// What is to be written down.
    through: Vec<(Delivery, Outcome)>,
    /// The journal's position at the last look; none, where it must be looked again whatever it is.
    seen: Option<i64>,
    /// When something is to be sent again.
    again: Option<Instant>,
}

impl State {
    fn run(mut self, told: &Receiver<Told>) {
        let mut wait = Duration::ZERO;
        loop {
            match told.recv_timeout(wait) {
                Ok(Told::Stop) | Err(RecvTimeoutError::Disconnected) => break,
                Ok(Told::Through(through)) => self.through.push(*through),
                Ok(Told::Committed) => {
                    std::thread::sleep(BREATHE);
                    self.woken.store(false, Ordering::Release);
                }
                Err(RecvTimeoutError::Timeout) => {}
            }
            wait = match self.round() {
                Ok(()) => self.until_next_look(),
                Err(error) => {
                    self.seen = None;
                    tracing::error!(%error, "webhooks cannot be sent for the moment");
                    RECOVER
                }
            };
        }
        self.end(told);
    }

    fn until_next_look(&self) -> Duration {
        let usual = if self.turn.is_shared() { LOOK_EVERY } else { LOOK_ALONE };
        self.again.map_or(usual, |again| again.saturating_duration_since(Instant::now()).min(usual))
    }

    /// Writes down what is through, and sends what is due.
    fn round(&mut self) -> Result<(), OperationError> {
        while let Some((delivery, outcome)) = self.through.pop() {
            if let Err(error) = self.house.tubtrail.record_delivery(&delivery, outcome.clone()) {
                self.through.push((delivery, outcome));
                return Err(error);
            }
            self.busy.remove(&delivery.webhook);
            self.seen = None;
        }
        if !self.turn.is_ours()? {
            self.seen = None;
            return Ok(());
        }
        let position = self.house.tubtrail.is_ready()?;
        let is_due = self.again.is_some_and(|again| again <= Instant::now());
        if self.seen == Some(position) && !is_due {
            return Ok(());
        }
        let due = self.desk.look(&self.house.tubtrail, &self.house.outgoing, &self.busy)?;
        self.seen = Some(position);
        self.again = due.next_at.map(|at| Instant::now() + (at - Utc::now()).to_std().unwrap_or(Duration::ZERO));
        due.deliveries.into_iter().for_each(|delivery| self.send(delivery));
        Ok(())
    }

    /// On a thread of its own, which holds nothing of the house: the server need not wait for it.
    fn send(&mut self, delivery: Delivery) {
        self.busy.insert(delivery.webhook);
        let (post, tell, sent) = (self.post.clone(), self.tell.clone(), delivery.clone());
        let thread = std::thread::Builder::new().name("webhook".into()).spawn(move || {
            let outcome = catch_unwind(AssertUnwindSafe(|| post.send(&sent))).unwrap_or_else(|_| not_sent("it failed"));
            let _ = tell.send(Told::Through(Box::new((sent, outcome))));
        });
        if let Err(error) = thread {
            self.through.push((delivery, not_sent(&error.to_string())));
        }
    }

    /// Waits a moment for what is on its way, and writes that down.
    fn end(mut self, told: &Receiver<Told>) {
        let until = Instant::now() + STOP_WITHIN;
        while self.busy.len() > self.through.len() {
            match told.recv_timeout(until.saturating_duration_since(Instant::now())) {
                Ok(Told::Through(through)) => self.through.push(*through),
                Ok(Told::Committed | Told::Stop) => {}
                Err(RecvTimeoutError::Timeout | RecvTimeoutError::Disconnected) => break,
            }
        }
        for (delivery, outcome) in self.through {
            if let Err(error) = self.house.tubtrail.record_delivery(&delivery, outcome) {
                tracing::warn!(%error, webhook = delivery.code, "a delivery is not written down; it will be sent again");
            }
        }
    }
}

fn not_sent(why: &str) -> Outcome {
    Outcome { took: Duration::ZERO, status: None, said: format!("not sent: {why}"), asks_to_wait: None }
}
