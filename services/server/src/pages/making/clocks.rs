//! The clocks of a batch: how long it has been heated, cooled, left to mature, churned. A clock runs from a reading of which
//! nobody said how long it was held, to the next of the same step of which somebody did.

use chrono::{DateTime, Duration, Utc};
use tubtrail_operations::readings::{Reading, Step};

use crate::pages::figures::Wall;
use crate::pages::texts::Texts;

/// The steps that always have a clock; another has one where something was taken.
const STEPS: [Step; 4] = [Step::Heating, Step::Cooling, Step::Maturing, Step::Churning];

/// A clock.
pub struct Clock {
    /// Of which step.
    pub step: Step,
    /// Since when it runs.
    pub since: Option<DateTime<Utc>>,
    /// When it is done at the earliest, where that is known.
    pub until: Option<DateTime<Utc>>,
    /// The time at which that is, on the wall.
    pub until_time: Option<String>,
    /// What was taken.
    pub taken: Vec<Taken>,
}

/// A temperature taken.
pub struct Taken {
    /// The reading's number.
    pub id: i64,
    /// In words.
    pub text: String,
    /// Why it was not as written, where somebody said so.
    pub voided: Option<String>,
}

impl Clock {
    /// The clocks of a batch, by its readings in order of time. `rest` is how long it has to mature.
    pub fn all(texts: &Texts, readings: &[Reading], rest: Option<Duration>, wall: Wall) -> Vec<Self> {
        let has_clock = |step: &Step| STEPS.contains(step) || readings.iter().any(|reading| reading.step == *step);
        Step::ALL.into_iter().filter(has_clock).map(|step| Self::of(texts, step, readings, rest, wall)).collect()
    }

    fn of(texts: &Texts, step: Step, readings: &[Reading], rest: Option<Duration>, wall: Wall) -> Self {
        let of_it = || readings.iter().filter(|reading| reading.step == step);
        let since = running_since(readings, step);
        let until = rest.filter(|rest| step == Step::Maturing && !rest.is_zero()).and_then(|rest| Some(since? + rest));
        let taken = of_it().map(|reading| {
            let held = reading.held_seconds.map_or_else(String::new, |seconds| format!(", {}", spell(seconds)));
            let celsius = reading.temperature_celsius.to_string().replace('.', &texts.say("point"));
            let text = format!("{} {celsius} °C{held}", wall.time(reading.taken_at));
            Taken { id: reading.id, text, voided: reading.voided.clone() }
        });
        Self { step, since, until, until_time: until.map(|at| wall.day_and_time(at)), taken: taken.collect() }
    }

    /// The moment for the script, in seconds since 1970.
    pub fn since_seconds(&self) -> i64 {
        self.since.map_or(0, |since| since.timestamp())
    }

    /// The same of the end; 0 where none is known.
    pub fn until_seconds(&self) -> i64 {
        self.until.map_or(0, |until| until.timestamp())
    }

    /// How long it has run.
    pub fn elapsed(&self) -> String {
        let seconds = self.since.map_or(0, |since| (Utc::now() - since).num_seconds().max(0));
        spell(i32::try_from(seconds).unwrap_or(i32::MAX))
    }
}

/// Since when the clock of a step runs: it was begun, and not ended since.
pub fn running_since(readings: &[Reading], step: Step) -> Option<DateTime<Utc>> {
    let last = counting(readings).filter(|reading| reading.step == step).max_by_key(|reading| order(reading))?;
    last.held_seconds.is_none().then_some(last.taken_at)
}

/// From when until when the last step was, as far as it has come.
pub fn last_span(readings: &[Reading]) -> Option<(DateTime<Utc>, Option<DateTime<Utc>>)> {
    let last = counting(readings).max_by_key(|reading| order(reading))?;
    let taken_at = last.taken_at;
    Some(last.held_seconds.map_or((taken_at, None), |held| (taken_at - Duration::seconds(held.into()), Some(taken_at))))
}

/// The readings that were not voided.
fn counting(readings: &[Reading]) -> impl Iterator<Item = &Reading> {
    readings.iter().filter(|reading| reading.voided.is_none())
}

/// In order of time, and of when they were written down.
fn order(reading: &Reading) -> (DateTime<Utc>, i64) {
    (reading.taken_at, reading.id)
}

/// Hours, minutes and seconds, as the script writes them.
fn spell(seconds: i32) -> String {
    let (hours, minutes, seconds) = (seconds / 3600, seconds / 60 % 60, seconds % 60);
    if hours > 0 { format!("{hours}:{minutes:02}:{seconds:02}") } else { format!("{minutes}:{seconds:02}") }
}
