//! Seats: how many may be at something that lasts, at a time.

use std::sync::Arc;

use tokio::sync::{OwnedSemaphorePermit, Semaphore};
use tubtrail_domain::say;
use tubtrail_domain::saying::Saying;
use tubtrail_operations::{OperationError, problems};

use crate::problem::Problem;

/// A number of seats.
pub struct Seats {
    free: Arc<Semaphore>,
    doing: Saying,
    most: usize,
}

/// A seat that is taken, until it is dropped.
pub struct Seat {
    _permit: OwnedSemaphorePermit,
}

impl Seats {
    /// So many; `doing` is what those do who sit there, as in "read a trace".
    pub fn new(most: usize, doing: Saying) -> Self {
        Self { free: Arc::new(Semaphore::new(most)), doing, most }
    }

    /// Takes one, unless all are taken.
    pub fn take(&self) -> Result<Seat, Problem> {
        let permit = Arc::clone(&self.free).try_acquire_owned().map_err(|_| {
            let detail =
                say!("{most} {doing} already; try again when one has left", most = self.most, doing = self.doing);
            OperationError::new(&problems::BUSY, detail)
        })?;
        Ok(Seat { _permit: permit })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_seat_that_is_left_is_taken_again() {
        let seats = Seats::new(2, say!("sit there"));
        let first = seats.take().unwrap_or_else(|problem| panic!("{problem}"));
        let _second = seats.take().unwrap_or_else(|problem| panic!("{problem}"));
        assert!(seats.take().is_err_and(|problem| problem.is(&problems::BUSY)), "both are taken");
        drop(first);
        assert!(seats.take().is_ok(), "one has left");
    }
}
