//! Several servers on one PostgreSQL: what a second one brings, and how far behind it is.

use std::sync::atomic::{AtomicUsize, Ordering};
use std::time::Instant;

use super::clock::{figures_by_turns, median};
use super::launched::Served;
use super::report::{Line, Report, Target};
use super::scale::Scale;
use super::wire::Wire;
use super::worlds::Picked;
use super::writes::{CLIENTS, REASON};
use super::{Failure, crowd};
use crate::TestDatabase;
use crate::client::fresh_key;

/// Holds after each of which the other server is asked.
const ASKED: usize = 200;

/// Fills the report with its lines; one server runs already.
pub fn measure(
    scale: &Scale,
    report: &mut Report,
    database: &TestDatabase,
    one: &Served,
    picked: &Picked,
) -> Result<(), Failure> {
    let other = Served::start(database)?;
    let body = serde_json::json!({ "reason": REASON }).to_string();
    let taken = AtomicUsize::new(0);
    let next = || &picked.tubs[taken.fetch_add(1, Ordering::Relaxed) % picked.tubs.len()].number;
    let hold = |wire: &mut Wire| {
        let path = format!("/v1/lots/{}/holds", next());
        wire.begin_post(&path, &fresh_key(), &body)
    };
    let mut alone = one.wires(CLIENTS)?;
    let mut shared = one.wires(CLIENTS / 2)?;
    shared.extend(other.wires(CLIENTS / 2)?);
    let turns = figures_by_turns(scale.rounds, 2, |which| match which {
        0 => crowd::per_second(scale.turn, &mut shared, 201, hold),
        _ => crowd::per_second(scale.turn, &mut alone, 201, hold),
    })?;
    report.add(Line {
        id: "writes-two-servers",
        what: format!("holds over HTTP by two servers, {CLIENTS} clients"),
        ours: turns.median(0),
        unit: "a second",
        other: "one server",
        others: turns.median(1),
        ratio: turns.ratio(0, 1),
        target: Target::None,
    });
    let (mut here, mut there) = (one.wire()?, other.wire()?);
    let mut micros = [Vec::new(), Vec::new()];
    for turn in 0..scale.questions.min(ASKED) {
        let path = format!("/v1/lots/{}", next());
        here.post(&format!("{path}/holds"), &fresh_key(), &body, 201)?;
        // By turns, so that each is asked first after a commit as often as the other.
        let asked = turn % 2;
        let began = Instant::now();
        let answer = if asked == 0 { there.get(&path)? } else { here.get(&path)? };
        micros[asked].push(began.elapsed().as_secs_f64() * 1e6);
        if !String::from_utf8_lossy(answer).contains(REASON) {
            return Err("a server did not know of a hold that was answered".into());
        }
    }
    let [there, here] = micros.map(median);
    report.add(Line {
        id: "behind-another-server",
        what: "a lot, asked of the other server right after a hold".into(),
        ours: there,
        unit: "us",
        other: "of the same server",
        others: here,
        ratio: there / here,
        target: Target::None,
    });
    Ok(())
}
