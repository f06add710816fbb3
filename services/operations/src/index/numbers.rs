//! The numbers of lots. Lots come to be known in the order of their numbers, but for the turn of a day: so a number is kept for
//! a run of lots and not for each.

use std::collections::HashMap;

use chrono::NaiveDate;
use tubtrail_domain::lot_number::LotNumber;
use tubtrail_lineage::LotIx;

/// Lots one after another, with serials one after another of one day.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Run {
    /// The first lot's index.
    pub at: u32,
    /// The first lot's serial.
    pub serial: u32,
    /// The day of all.
    pub day: NaiveDate,
}

/// Which lot bears a number.
#[derive(Debug, Default)]
pub struct Numbers {
    /// By day, runs and how long they are, in order of serial.
    of_day: HashMap<NaiveDate, Vec<(Run, u32)>>,
}

impl Run {
    /// The serial of a lot of this run.
    pub fn serial_of(self, lot: u32) -> u32 {
        self.serial + (lot - self.at)
    }

    /// Whether a lot is the next of this run, or one of it.
    pub fn goes_on_with(self, other: Self) -> bool {
        self.day == other.day && self.at <= other.at && self.serial_of(other.at) == other.serial
    }
}

impl Numbers {
    /// The lot with a number, if it is kept.
    pub fn find(&self, number: LotNumber) -> Option<LotIx> {
        let runs = self.of_day.get(&number.day())?;
        let after = runs.partition_point(|(run, _)| run.serial <= number.serial());
        let (run, length) = runs[..after].last()?;
        let along = number.serial() - run.serial;
        (along < *length).then(|| LotIx::from_index(run.at + along))
    }

    /// Keeps the number of one more lot, given as a run of one.
    pub fn add(&mut self, one: Run) {
        let runs = self.of_day.entry(one.day).or_default();
        let after = runs.partition_point(|(run, _)| run.serial <= one.serial);
        if let Some((run, length)) = runs[..after].last_mut()
            && run.goes_on_with(one)
        {
            *length = (*length).max(one.at - run.at + 1);
            return;
        }
        runs.insert(after, (one, 1));
    }
}
