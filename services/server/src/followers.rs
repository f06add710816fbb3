//! Whoever follows the journal: how many there may be, and how they hear of a commit.

use std::time::{Duration, Instant};

use parking_lot::Mutex;
use tokio::sync::watch;
use tubtrail_domain::say;
use tubtrail_operations::Tubtrail;

use crate::house::{House, off_thread};
use crate::problem::Problem;
use crate::seats::{Seat, Seats};

/// Most at a time.
const MOST: usize = 64;
/// How often it is looked for commits of other processes, while anyone follows.
const LOOK_EVERY: Duration = Duration::from_millis(500);

/// Everyone who follows.
pub struct Followers {
    position: watch::Sender<i64>,
    stopping: watch::Sender<bool>,
    seats: Seats,
    looked: Mutex<Instant>,
}

/// One who follows, while they do.
pub struct Follower {
    position: watch::Receiver<i64>,
    stopping: watch::Receiver<bool>,
    _seat: Seat,
}

/// Why someone who waited is awake.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Woken {
    /// There may be news.
    News,
    /// They have waited as long as they wanted to.
    Time,
    /// The server is about to stop.
    Stop,
}

impl Followers {
    /// Nobody yet; hears of every commit that reaches the index.
    pub fn of(tubtrail: &Tubtrail) -> Self {
        let (position, _) = watch::channel(0);
        let teller = position.clone();
        tubtrail.on_commit(move |now| {
            teller.send_replace(now);
        });
        let (stopping, _) = watch::channel(false);
        Self {
            position,
            stopping,
            seats: Seats::new(MOST, say!("follow the journal")),
            looked: Mutex::new(Instant::now()),
        }
    }

    /// One more, unless there are too many.
    pub fn join(&self) -> Result<Follower, Problem> {
        let seat = self.seats.take()?;
        Ok(Follower { position: self.position.subscribe(), stopping: self.stopping.subscribe(), _seat: seat })
    }

    /// Sends everyone home.
    pub fn stop(&self) {
        self.stopping.send_replace(true);
    }

    /// Whether it is time to look for commits of other processes; who is told so looks, and nobody else meanwhile.
    fn should_look(&self) -> bool {
        let mut looked = self.looked.lock();
        let due = looked.elapsed() >= LOOK_EVERY;
        if due {
            *looked = Instant::now();
        }
        due
    }
}

impl Follower {
    /// Whether the server is about to stop.
    pub fn is_sent_home(&self) -> bool {
        *self.stopping.borrow()
    }

    /// What is there now counts as seen: [`Self::wait`] returns for what comes after this. The last entry that this server
    /// heard of; 0 before it heard of any.
    pub fn look(&mut self) -> i64 {
        *self.position.borrow_and_update()
    }

    /// Waits for news, but not beyond `until`. While it waits, it looks for commits of other processes.
    pub async fn wait(&mut self, house: &House, until: Instant) -> Result<Woken, Problem> {
        loop {
            if self.is_sent_home() {
                return Ok(Woken::Stop);
            }
            let left = until.saturating_duration_since(Instant::now());
            if left.is_zero() {
                return Ok(Woken::Time);
            }
            tokio::select! {
                changed = self.position.changed() => return Ok(if changed.is_ok() { Woken::News } else { Woken::Stop }),
                stopped = self.stopping.changed() => if stopped.is_err() { return Ok(Woken::Stop) },
                () = tokio::time::sleep(left.min(LOOK_EVERY)) => {}
            }
            if house.followers.should_look() {
                let at = house.clone();
                // Brings the index up to date, which wakes everyone if it was not.
                off_thread(move || at.tubtrail.is_ready()).await?;
            }
        }
    }
}
