//! How cost grows with the number of lots: it should not, but with the length of the answer.

use std::cell::Cell;

use serde_json::{Value, json};
use tubtrail_lineage::{Graph, LotIx, Scratch};
use tubtrail_operations::{Tubtrail, system_clock};

use super::Failure;
use super::clock::{figures_by_turns, seconds_by_turns};
use super::contenders::{Rows, Search, Told};
use super::launched::Served;
use super::lineage::{microseconds_of_one, trace};
use super::report::{Line, Report, Target};
use super::scale::Scale;
use super::worlds::{Picked, add_owner, filled};
use super::{answers, crowd, wire::Wire};
use crate::client::fresh_key;
use crate::reference::{SUPPLIERS, Size, first_day};
use crate::{Backend, TestDatabase};

const TRACE: &str = "a forward trace in memory";
const WHOLE: &str = "a whole trace over HTTP";
const LOOKUP: &str = "a lot over HTTP";
const CHECK: &str = "an allergen answer over HTTP";
const RECALL: &str = "a line of a supplier's recall over HTTP";

/// How far back a recall of all that a supplier brought goes, in days.
const DAYS: u32 = 90;
/// And how far for comparison: what nine days touch a processor may have close by, what 900 do it has not.
const FEW_DAYS: u32 = 9;
const MANY_DAYS: u32 = 900;
/// How often each is asked: a single one is easily disturbed.
const MANY: usize = 20;
/// How often a whole recall is read, which takes long.
const RECALLED: usize = 2;
/// Who asks at the same time.
const CLIENTS: usize = 16;

/// Traces in memory in worlds of every size, and the recall of a supplier in the largest.
pub fn of_lineage(scale: &Scale, report: &mut Report) -> Result<(), Failure> {
    let mut sizes: Vec<Size> = scale.smaller.clone();
    sizes.push(scale.world);
    sizes.extend(&scale.in_memory);
    for size in sizes {
        let told = Told::of(size, scale.seed);
        let from = told.some_received(scale.questions, &mut fastrand::Rng::with_seed(scale.seed));
        let graph = told.graph();
        let mut scratch = Scratch::new();
        let mut found = 0;
        let turns = seconds_by_turns(
            scale.rounds * MANY,
            &mut [&mut || {
                found += from.iter().map(|lot| trace(&graph, &mut scratch, true, *lot).len()).sum::<usize>();
                Ok(())
            }],
        )?;
        report.growth.add(TRACE, told.lots.len(), turns.median(0) * microseconds_of_one(from.len()));
        if size == scale.world {
            recall(scale, report, &told)?;
        }
    }
    if let Some((smallest, largest)) = report.growth.ends(TRACE) {
        report.add(grown("growth-trace", TRACE, smallest, largest, Target::None));
    }
    Ok(())
}

/// All that a supplier brought in the last days of the world, traced together: beside static arrays, and beside fewer and
/// more days.
fn recall(scale: &Scale, report: &mut Report, told: &Told) -> Result<(), Failure> {
    let mut traced = Recall { scale, told, graph: told.graph(), scratch: Scratch::new() };
    let (few, some, many) = (traced.of_days(FEW_DAYS)?, traced.of_days(DAYS)?, traced.of_days(MANY_DAYS)?);
    let in_arrays = traced.in_arrays(DAYS, some.lots)?;
    let line = |id, days, recalled: &Recalled, other, others| Line {
        id,
        what: format!("recall of a supplier's {days} days, {} lots, each", recalled.lots),
        ours: recalled.ns,
        unit: "ns",
        other,
        others,
        ratio: recalled.ns / others,
        target: Target::AtMost(2.0),
    };
    report.add(line("recall-of-a-supplier-arrays", DAYS, &some, "static arrays", in_arrays));
    report.add(line("recall-of-a-supplier", DAYS, &some, "of its last 9 days", few.ns));
    report.add(line("recall-of-a-supplier-long", MANY_DAYS, &many, "of its last 90 days", some.ns));
    Ok(())
}

struct Recall<'a> {
    scale: &'a Scale,
    told: &'a Told,
    graph: Graph,
    scratch: Scratch,
}

/// What a recall found, and the nanoseconds a lot that it took.
struct Recalled {
    lots: usize,
    ns: f64,
}

impl Recall<'_> {
    fn seeds(&self, days: u32) -> impl Iterator<Item = u32> {
        let first = self.scale.world.days.saturating_sub(days);
        let of_supplier =
            self.told.received.iter().filter(move |(_, day, item)| *day >= first && item % SUPPLIERS == 0);
        of_supplier.map(|(lot, ..)| *lot)
    }

    fn of_days(&mut self, days: u32) -> Result<Recalled, Failure> {
        let seeds: Vec<LotIx> = self.seeds(days).map(LotIx::from_index).collect();
        let mut lots = 0;
        let seconds = self.seconds(|recall| lots = recall.graph.forward(&mut recall.scratch, &seeds).len())?;
        Ok(Recalled { lots, ns: seconds * nanoseconds_of_one(lots) })
    }

    /// Nanoseconds for each of so many lots, which static arrays must find too.
    fn in_arrays(&mut self, days: u32, lots: usize) -> Result<f64, Failure> {
        let seeds: Vec<u32> = self.seeds(days).collect();
        let rows = Rows::of(self.told.nodes(), self.told.edges());
        let mut search = Search::new(self.told.nodes());
        let first_batch = self.told.first_batch();
        let found = search.in_rows(&rows, &seeds).iter().filter(|node| **node < first_batch).count();
        if found != lots {
            return Err(format!("static arrays found {found} lots where ours found {lots}").into());
        }
        let mut nodes = 0;
        let seconds = self.seconds(|_| nodes += search.in_rows(&rows, &seeds).len())?;
        Ok(seconds * nanoseconds_of_one(lots))
    }

    /// How long it takes, by the middle of many times.
    fn seconds(&mut self, mut trace: impl FnMut(&mut Self)) -> Result<f64, Failure> {
        let turns = self.scale.rounds * MANY;
        let turns = seconds_by_turns(
            turns,
            &mut [&mut || {
                trace(self);
                Ok(())
            }],
        )?;
        Ok(turns.median(0))
    }
}

fn nanoseconds_of_one(count: usize) -> f64 {
    microseconds_of_one(count.max(1)) * 1e3
}

/// Answers in the smaller worlds, beside what was taken in the large one.
pub fn of_answers(scale: &Scale, report: &mut Report) -> Result<(), Failure> {
    for size in &scale.smaller {
        let database = filled(Backend::Sqlite, *size, scale.seed)?;
        let picked = Picked::from(*size, scale, &database)?;
        add_owner(&Tubtrail::open(&database.address(), system_clock())?)?;
        take_answers(scale, report, &database, *size, &Served::start(&database)?, &picked)?;
    }
    for (id, what) in [("growth-lot", LOOKUP), ("growth-allergens", CHECK), ("growth-recall", RECALL)] {
        if let Some((smallest, largest)) = report.growth.ends(what) {
            report.add(grown(id, what, smallest, largest, Target::AtMost(1.5)));
        }
    }
    Ok(())
}

/// Answers in a world that is served on SQLite. Afterwards much of it is recalled.
pub fn take_answers(
    scale: &Scale,
    report: &mut Report,
    database: &TestDatabase,
    size: Size,
    served: &Served,
    picked: &Picked,
) -> Result<(), Failure> {
    let mut wire = served.wire()?;
    let few = &picked.received[..picked.received.len().div_ceil(4)];
    let whole = each(scale, &mut wire, few, |wire, lot| answers::trace(wire, lot).map(drop))?;
    let tubs = &picked.tubs[..picked.tubs.len().min(scale.questions)];
    let lookup = together(scale, served, tubs, answers::begin_lookup)?;
    let mut open = answers::open_tubs(&mut database.connect())?;
    open.truncate(scale.questions);
    let check = together(scale, served, &open, answers::begin_check)?;
    report.growth.add(WHOLE, picked.lots, whole);
    report.growth.add(LOOKUP, picked.lots, lookup);
    report.growth.add(CHECK, picked.lots, check);
    report.growth.add(RECALL, picked.lots, recalled(&mut wire, size)?);
    Ok(())
}

/// Recalls all that a supplier brought in the last days of a world: the number of the recall.
pub fn recall_a_supplier(wire: &mut Wire, size: Size, kind: &str) -> Result<i64, Failure> {
    let day = |day: u32| first_day() + chrono::Days::new(day.into());
    let (from, until) = (day(size.days.saturating_sub(DAYS)), day(size.days.saturating_sub(1)));
    let seed = json!({"by": "supplier_days", "supplier": "supplier-0", "from": from, "until": until});
    let new = json!({"kind": kind, "class": 1, "hazard": "measured", "seeds": [seed]}).to_string();
    let begun: Value = serde_json::from_slice(wire.post("/v1/recalls", &fresh_key(), &new, 201)?)?;
    Ok(begun["recall"].as_i64().ok_or("a recall's number")?)
}

/// Does so, and reads what became of it; microseconds a line.
fn recalled(wire: &mut Wire, size: Size) -> Result<f64, Failure> {
    let recall = recall_a_supplier(wire, size, "drill")?;
    let mut lines = 0;
    let turns = seconds_by_turns(
        RECALLED,
        &mut [&mut || {
            let answer = wire.get(&format!("/v1/recalls/{recall}/lines?format=ndjson"))?;
            lines = answer.split(|byte| *byte == b'\n').skip(1).filter(|line| !line.is_empty()).count();
            Ok(())
        }],
    )?;
    Ok(turns.median(0) * microseconds_of_one(lines.max(1)))
}

fn each<T>(
    scale: &Scale,
    wire: &mut Wire,
    of: &[T],
    ask: impl Fn(&mut Wire, &T) -> Result<(), Failure>,
) -> Result<f64, Failure> {
    let turns = seconds_by_turns(scale.rounds, &mut [&mut || of.iter().try_for_each(|lot| ask(wire, lot))])?;
    Ok(turns.median(0) * microseconds_of_one(of.len()))
}

/// The same of what takes less time than it takes to wake a processor: by so many clients that none falls asleep.
fn together<T>(
    scale: &Scale,
    served: &Served,
    of: &[T],
    ask: impl Fn(&mut Wire, &T) -> Result<(), Failure>,
) -> Result<f64, Failure> {
    let mut wires = served.wires(CLIENTS)?;
    let next = Cell::new(0);
    let ask = |wire: &mut Wire| {
        let at = next.replace((next.get() + 1) % of.len());
        ask(wire, &of[at])
    };
    let turns = figures_by_turns(scale.rounds, 1, |_| crowd::per_second(scale.turn, &mut wires, 200, ask))?;
    Ok(1e6 / turns.median(0))
}

fn grown(id: &'static str, what: &str, from: (usize, f64), to: (usize, f64), target: Target) -> Line {
    Line {
        id,
        what: format!("{what} among {} lots", to.0),
        ours: to.1,
        unit: "us",
        other: "among as few as were tried",
        others: from.1,
        ratio: to.1 / from.1,
        target,
    }
}
