//! Durable commands: ours, which share a commit with whoever waits at the same time, beside one transaction per request with the
//! same work in it.

use std::sync::Mutex;
use std::sync::atomic::{AtomicUsize, Ordering};

use diesel::connection::SimpleConnection;
use diesel::prelude::*;
use serde_json::json;
use tubtrail_operations::holds::Because;
use tubtrail_operations::{Request, Tubtrail};
use tubtrail_storage::connection::connect_to_write;
use tubtrail_storage::journal::{self, Head, JournalRow};
use tubtrail_storage::stock::HoldRow;
use tubtrail_storage::{AnyConnection, Fact, standing};

use super::busy::Busy;
use super::clock::{figures_by_turns, median, per_second};
use super::growth::recall_a_supplier;
use super::launched::Served;
use super::report::{Line, Report, Target};
use super::scale::Scale;
use super::wire::Wire;
use super::worlds::{Named, Picked};
use super::{Failure, crowd, statements};
use crate::client::fresh_key;
use crate::reference::Size;
use crate::{Backend, TestDatabase};

/// Who writes at the same time.
pub const CLIENTS: usize = 64;
/// Why a lot is held.
pub const REASON: &str = "to see how fast it can be held";

/// Lots for the taking: each is held once, until all were.
struct Next<'p> {
    lots: &'p [Named],
    taken: AtomicUsize,
}

impl<'p> Next<'p> {
    fn of(lots: &'p [Named]) -> Self {
        Self { lots, taken: AtomicUsize::new(0) }
    }

    fn lot(&self) -> &'p Named {
        &self.lots[self.taken.fetch_add(1, Ordering::Relaxed) % self.lots.len()]
    }
}

/// Fills the report with its lines for the operations on a database, without HTTP.
pub fn measure(
    scale: &Scale,
    report: &mut Report,
    database: &TestDatabase,
    tubtrail: &Tubtrail,
    picked: &Picked,
) -> Result<(), Failure> {
    let busy = Busy::of(database, tubtrail, scale.world.days)?;
    let tubs: Vec<Named> = picked.tubs.iter().filter(|tub| !busy.serves(tub.row)).cloned().collect();
    let next = Next::of(&tubs);
    let theirs = Theirs::of(database)?;
    let hold = |(): &mut ()| {
        let because = Because { reason: Some(REASON.into()) };
        tubtrail.hold_lot(&Request::system(), &next.lot().number, because)?;
        Ok(())
    };
    // Refused by the command itself, after it has begun: a hold needs a reason.
    let refused = |(): &mut ()| match tubtrail.hold_lot(&Request::system(), &next.lot().number, Because::default()) {
        Err(_) => Ok(()),
        Ok(_) => Err("a hold without a reason was taken".into()),
    };
    let hold_theirs = |client: &mut usize| theirs.hold(*client, next.lot());
    let (mut ours, mut clients) = (vec![(); CLIENTS], (0..CLIENTS).collect::<Vec<_>>());
    let mut each = [Statements::default(); 5];
    let many = figures_by_turns(scale.rounds, 5, |which| {
        let before = statements::sent();
        let figure = match which {
            0 => per_second(scale.turn, &mut ours, hold),
            1 => per_second(scale.turn, &mut clients, hold_theirs),
            2 => per_second(scale.turn, &mut ours, refused),
            3 => per_second(scale.turn, &mut ours, |(): &mut ()| busy.serve(tubtrail)),
            _ => per_second(scale.turn, &mut ours, |(): &mut ()| busy.add_use(tubtrail)),
        }?;
        each[which].add(statements::sent() - before, figure * scale.turn.as_secs_f64());
        Ok(figure)
    })?;
    let alone = figures_by_turns(scale.rounds, 2, |which| match which {
        0 => per_second(scale.turn, &mut ours[..1], hold),
        _ => per_second(scale.turn, &mut clients[..1], hold_theirs),
    })?;
    let sqlite = database.backend() == Backend::Sqlite;
    let id = |on_sqlite, on_postgres| if sqlite { on_sqlite } else { on_postgres };
    report.add(Line {
        id: id("writes-sqlite", "writes-postgres"),
        what: format!("holds on {}, {CLIENTS} clients", database.backend()),
        ours: many.median(0),
        unit: "a second",
        other: "a transaction each",
        others: many.median(1),
        ratio: many.ratio(0, 1),
        target: Target::AtLeast(5.0),
    });
    report.add(Line {
        id: id("refusals-sqlite", "refusals-postgres"),
        what: "the same, refused".into(),
        ours: many.median(2),
        unit: "a second",
        other: "taken",
        others: many.median(0),
        ratio: many.ratio(2, 0),
        target: Target::None,
    });
    for (which, on_sqlite, on_postgres, what) in [
        (3, "servings-sqlite", "servings-postgres", "servings, as many clients"),
        (4, "uses-sqlite", "uses-postgres", "uses, as many clients"),
    ] {
        report.add(Line {
            id: id(on_sqlite, on_postgres),
            what: what.into(),
            ours: many.median(which),
            unit: "a second",
            other: "holds",
            others: many.median(0),
            ratio: many.ratio(which, 0),
            target: Target::None,
        });
    }
    for (which, on_sqlite, on_postgres, what) in [
        (0, "statements-sqlite", "statements-postgres", "statements a hold, with what a commit takes"),
        (3, "statements-serving-sqlite", "statements-serving-postgres", "statements a serving"),
        (4, "statements-use-sqlite", "statements-use-postgres", "statements a use"),
    ] {
        let (ours, others) = (each[which].of_each(), each[1].of_each());
        report.add(Line {
            id: id(on_sqlite, on_postgres),
            what: what.into(),
            ours,
            unit: "",
            other: "a hold in a transaction of its own",
            others,
            ratio: ours / others,
            target: Target::None,
        });
    }
    report.add(Line {
        id: id("write-alone-sqlite", "write-alone-postgres"),
        what: "a hold, one client".into(),
        ours: 1e6 / alone.median(0),
        unit: "us",
        other: "a transaction each",
        others: 1e6 / alone.median(1),
        ratio: alone.ratio(1, 0),
        target: Target::None,
    });
    Ok(())
}

/// Statements that commands took.
#[derive(Clone, Copy, Default)]
struct Statements {
    sent: f64,
    commands: f64,
}

impl Statements {
    fn add(&mut self, sent: usize, commands: f64) {
        #[expect(clippy::cast_precision_loss, reason = "fewer than 2^52 statements")]
        let sent = sent as f64;
        self.sent += sent;
        self.commands += commands;
    }

    fn of_each(self) -> f64 {
        self.sent / self.commands
    }
}

/// Holds a second over HTTP by our server, were it to commit each by itself. It has the database for itself meanwhile.
pub fn apart(scale: &Scale, database: &TestDatabase, picked: &Picked) -> Result<Vec<f64>, Failure> {
    let served = Served::apart(database)?;
    let next = Next::of(&picked.tubs);
    let mut wires = served.wires(CLIENTS)?;
    (0..scale.rounds).map(|_| crowd::per_second(scale.turn, &mut wires, 201, |wire| hold_over(wire, &next))).collect()
}

/// Fills the report with its lines for the operations over HTTP; `apart` is what [`apart`] came to.
pub fn measure_served(
    scale: &Scale,
    report: &mut Report,
    database: &TestDatabase,
    served: &Served,
    picked: &Picked,
    apart: Vec<f64>,
) -> Result<(), Failure> {
    let next = Next::of(&picked.tubs);
    let theirs = Theirs::of(database)?;
    let mut ours = served.wires(CLIENTS)?;
    let mut clients = (0..CLIENTS).collect::<Vec<_>>();
    let turns = figures_by_turns(scale.rounds, 2, |which| match which {
        0 => crowd::per_second(scale.turn, &mut ours, 201, |wire| hold_over(wire, &next)),
        _ => per_second(scale.turn, &mut clients, |client| theirs.hold(*client, next.lot())),
    })?;
    let sqlite = database.backend() == Backend::Sqlite;
    let apart = median(apart);
    report.add(Line {
        id: if sqlite { "writes-http-sqlite" } else { "writes-http-postgres" },
        what: format!("holds over HTTP on {}, {CLIENTS} clients", database.backend()),
        ours: turns.median(0),
        unit: "a second",
        other: "the same server, a transaction each",
        others: apart,
        ratio: turns.median(0) / apart,
        target: Target::AtLeast(5.0),
    });
    report.add(Line {
        id: if sqlite { "writes-http-bare-sqlite" } else { "writes-http-bare-postgres" },
        what: "the same".into(),
        ours: turns.median(0),
        unit: "a second",
        other: "a transaction each, no HTTP and no rules",
        others: turns.median(1),
        ratio: turns.ratio(0, 1),
        target: Target::None,
    });
    let holds = |wires: &mut [Wire]| crowd::per_second(scale.turn, wires, 201, |wire| hold_over(wire, &next));
    let turns = figures_by_turns(scale.rounds, 2, |which| match which {
        0 => while_recalled(scale.world, served, || holds(&mut ours)),
        _ => holds(&mut ours),
    })?;
    report.add(Line {
        id: if sqlite { "writes-recalled-sqlite" } else { "writes-recalled-postgres" },
        what: "the same, while a supplier's lots of 90 days are recalled".into(),
        ours: turns.median(0),
        unit: "a second",
        other: "without a recall",
        others: turns.median(1),
        ratio: turns.ratio(0, 1),
        target: Target::AtLeast(0.8),
    });
    Ok(())
}

/// Measures while a recall is in force, which is withdrawn afterwards.
fn while_recalled(
    world: Size,
    served: &Served,
    measure: impl FnOnce() -> Result<f64, Failure>,
) -> Result<f64, Failure> {
    let mut wire = served.wire()?;
    let recall = recall_a_supplier(&mut wire, world, "real")?;
    let figure = measure()?;
    let over = json!({ "name": "Olga Owner", "reason": "measured" }).to_string();
    wire.post(&format!("/v1/recalls/{recall}/withdrawal"), &fresh_key(), &over, 201)?;
    Ok(figure)
}

fn hold_over(wire: &mut Wire, next: &Next<'_>) -> Result<(), Failure> {
    let path = format!("/v1/lots/{}/holds", next.lot().number);
    let body = json!({ "reason": REASON }).to_string();
    wire.begin_post(&path, &fresh_key(), &body)
}

/// One transaction per request. On PostgreSQL each client has a connection of its own; on SQLite they share one and take
/// turns at it, for more would only wait for the file, and longer.
struct Theirs(Vec<Mutex<AnyConnection>>);

impl Theirs {
    /// Set up as ours are.
    fn of(database: &TestDatabase) -> Result<Self, Failure> {
        let connections = if database.backend() == Backend::Sqlite { 1 } else { CLIENTS };
        let connect = |_| Ok(Mutex::new(connect_to_write(&database.address())?));
        Ok(Self((0..connections).map(connect).collect::<Result<_, Failure>>()?))
    }

    fn hold(&self, client: usize, lot: &Named) -> Result<(), Failure> {
        let mut conn = self.0[client % self.0.len()].lock().map_err(|_| "a client panicked")?;
        let begin = match &*conn {
            AnyConnection::Sqlite(_) => "BEGIN IMMEDIATE",
            AnyConnection::Postgres(_) => "BEGIN",
        };
        conn.batch_execute(begin)?;
        hold(&mut conn, lot)?;
        Ok(conn.batch_execute("COMMIT")?)
    }
}

/// What our command reads and writes, by the same statements, without its rules, its hashes and its savepoint.
fn hold(conn: &mut AnyConnection, lot: &Named) -> Result<(), Failure> {
    let head = journal::lock_head(conn)?;
    let row = standing::by_number(conn, lot.number.parse()?)?.ok_or("the lot is missing")?.lot;
    let (seq, id) = (head.seq + 1, head.last_id + 1);
    HoldRow { id, entry: seq, lot_id: row.id, reason: REASON.into() }.insert(conn)?;
    let entry = JournalRow {
        seq,
        recorded_at: row.came_to_be_at,
        actor: "system".into(),
        operation: "hold_lot".into(),
        site_id: Some(row.site_id),
        request_id: None,
        idempotency_key: None,
        request_hash: None,
        answer: Some(format!("{{\"id\":{id},\"lot\":\"{}\",\"reason\":\"{REASON}\"}}", lot.number)),
        changes: format!("[[\"holds\",{id},1]]"),
        digests: "AAAAAAAA".into(),
        previous_hash: head.hash.clone(),
        hash: head.hash.clone(),
    };
    diesel::insert_into(journal::journal::table).values(&entry).execute(conn)?;
    Ok(journal::store_head(conn, &Head { seq, last_id: id, ..head })?)
}
