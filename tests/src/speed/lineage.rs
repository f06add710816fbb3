//! Traces in memory, ids only: ours against static arrays, petgraph, and the recursive queries of both databases.

use petgraph::Direction;
use petgraph::graph::DiGraph;
use tubtrail_lineage::{Graph, LotIx, Scratch};

use super::Failure;
use super::clock::seconds_by_turns;
use super::contenders::{Rows, Search, Told, petgraph};
use super::edges::Edges;
use super::report::{Line, Report, Target};
use super::scale::Scale;
use crate::Backend;

/// Turns of what takes microseconds: many, for a short one is easily disturbed.
const MANY: usize = 8;

/// Fills the report with its lines.
pub fn measure(scale: &Scale, report: &mut Report) -> Result<(), Failure> {
    let told = Told::of(scale.world, scale.seed);
    let mut dice = fastrand::Rng::with_seed(scale.seed);
    let received = told.some_received(scale.questions, &mut dice);
    let tubs = told.some_tubs(scale.questions, &mut dice);
    let mut contest = Contest::new(&told);
    contest.hold(scale, report, &FORWARD, &received)?;
    contest.hold(scale, report, &BACKWARD, &tubs)
}

/// A way to trace, with the names of its lines in the report.
struct Way {
    forward: bool,
    of: &'static str,
    ids: [&'static str; 4],
    targets: [Target; 4],
}

const FORWARD: Way = Way {
    forward: true,
    of: "forward from a supplier lot",
    ids: ["forward-arrays", "forward-petgraph", "forward-postgres", "forward-sqlite"],
    targets: [Target::AtMost(2.0), Target::None, Target::AtLeast(50.0), Target::None],
};
const BACKWARD: Way = Way {
    forward: false,
    of: "backward from a tub",
    ids: ["backward-arrays", "backward-petgraph", "backward-postgres", "backward-sqlite"],
    targets: [Target::None; 4],
};

struct Contest<'t> {
    told: &'t Told,
    graph: Graph,
    scratch: Scratch,
    rows: [Rows; 2],
    search: Search,
    petgraph: DiGraph<(), ()>,
    other_search: Search,
}

impl<'t> Contest<'t> {
    fn new(told: &'t Told) -> Self {
        let turned = told.edges().map(|(from, to)| (to, from));
        Self {
            told,
            graph: told.graph(),
            scratch: Scratch::new(),
            rows: [Rows::of(told.nodes(), told.edges()), Rows::of(told.nodes(), turned)],
            search: Search::new(told.nodes()),
            petgraph: petgraph(told.nodes(), told.edges()),
            other_search: Search::new(told.nodes()),
        }
    }

    fn hold(&mut self, scale: &Scale, report: &mut Report, way: &Way, from: &[u32]) -> Result<(), Failure> {
        let on = [Backend::Postgres, Backend::Sqlite];
        let mut databases = on.map(|backend| Edges::of(backend, self.told));
        let [Ok(postgres), Ok(sqlite)] = &mut databases else {
            return databases.into_iter().try_for_each(|database| database.map(drop));
        };
        let lots = self.agree(way, from, postgres, sqlite)?;
        let what = format!("trace {}, {lots:.0} lots", way.of);
        let Self { graph, scratch, rows, search, petgraph, other_search, .. } = self;
        let rows = &rows[usize::from(!way.forward)];
        let (mut sum, mut sum_of_rows, mut sum_of_petgraph) = (0, 0, 0);
        let ours: &mut dyn FnMut() -> Result<(), Failure> = &mut || {
            sum += from.iter().map(|lot| trace(graph, scratch, way.forward, *lot).len()).sum::<usize>();
            Ok(())
        };
        let arrays: &mut dyn FnMut() -> Result<(), Failure> = &mut || {
            sum_of_rows += from.iter().map(|lot| search.in_rows(rows, &[*lot]).len()).sum::<usize>();
            Ok(())
        };
        let direction = if way.forward { Direction::Outgoing } else { Direction::Incoming };
        let pet: &mut dyn FnMut() -> Result<(), Failure> = &mut || {
            let found = from.iter().map(|lot| other_search.in_petgraph(petgraph, *lot, direction).len());
            sum_of_petgraph += found.sum::<usize>();
            Ok(())
        };
        let quick = seconds_by_turns(scale.rounds * MANY, &mut [&mut *ours, arrays, pet])?;
        let on_postgres: &mut dyn FnMut() -> Result<(), Failure> =
            &mut || from.iter().try_for_each(|lot| postgres.reached(*lot, way.forward).map(drop));
        let on_sqlite: &mut dyn FnMut() -> Result<(), Failure> =
            &mut || from.iter().try_for_each(|lot| sqlite.reached(*lot, way.forward).map(drop));
        let slow = seconds_by_turns(scale.rounds, &mut [ours, on_postgres, on_sqlite])?;
        let others = ["static arrays", "petgraph", "PostgreSQL, recursive", "SQLite, recursive"];
        let each = microseconds_of_one(from.len());
        for (at, name) in others.into_iter().enumerate() {
            let (turns, other) = if at < 2 { (&quick, at + 1) } else { (&slow, at - 1) };
            // The one that is a limit: how much longer ours takes. The others: how much longer they take.
            let ratio = if at == 0 { turns.ratio(0, other) } else { turns.ratio(other, 0) };
            report.add(Line {
                id: way.ids[at],
                what: what.clone(),
                ours: turns.median(0) * each,
                unit: "us",
                other: name,
                others: turns.median(other) * each,
                ratio,
                target: way.targets[at],
            });
        }
        Ok(())
    }

    /// All find the same lots; how many on average.
    fn agree(&mut self, way: &Way, from: &[u32], postgres: &mut Edges, sqlite: &mut Edges) -> Result<f64, Failure> {
        let first_batch = self.told.first_batch();
        let direction = if way.forward { Direction::Outgoing } else { Direction::Incoming };
        let mut lots = 0;
        for lot in from {
            let ours = trace(&self.graph, &mut self.scratch, way.forward, *lot).len();
            let count = |nodes: &[u32]| nodes.iter().filter(|node| **node < first_batch).count();
            let count_rows = |nodes: Vec<i32>| nodes.iter().filter(|node| node.unsigned_abs() < first_batch).count();
            let others = [
                count(self.search.in_rows(&self.rows[usize::from(!way.forward)], &[*lot])),
                count(self.other_search.in_petgraph(&self.petgraph, *lot, direction)),
                count_rows(postgres.reached(*lot, way.forward)?),
                count_rows(sqlite.reached(*lot, way.forward)?),
            ];
            if others.iter().any(|other| *other != ours) {
                return Err(format!("from lot {lot} ours finds {ours} lots, the others {others:?}").into());
            }
            lots += ours;
        }
        #[expect(clippy::cast_precision_loss, reason = "a few thousand lots")]
        Ok(lots as f64 / from.len() as f64)
    }
}

/// Our trace.
pub fn trace<'s>(graph: &Graph, scratch: &'s mut Scratch, forward: bool, lot: u32) -> &'s [LotIx] {
    let lot = LotIx::from_index(lot);
    if forward { graph.forward(scratch, &[lot]) } else { graph.backward(scratch, lot) }
}

/// From the seconds that so many took to the microseconds of one.
pub fn microseconds_of_one(count: usize) -> f64 {
    #[expect(clippy::cast_precision_loss, reason = "a few hundred")]
    let count = count as f64;
    1e6 / count
}
