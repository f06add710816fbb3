//! Answers over HTTP: a whole trace with its lots, places and grams beside the same rows from the database's own recursive query;
//! an answer about one lot beside a handler that says the same to all.

use std::collections::HashSet;

use chrono::{NaiveDate, NaiveDateTime};
use diesel::RunQueryDsl;
use diesel::connection::SimpleConnection;
use diesel::sql_types::{BigInt, Date, Integer, Nullable, Text, Timestamp};
use tubtrail_storage::AnyConnection;

use super::Failure;
use super::asked::Asked;
use super::clock::{Turn, figures_by_turns, per_second, seconds_by_turns};
use super::launched::{Launched, Served};
use super::lineage::microseconds_of_one;
use super::report::{Line, Report, Target};
use super::scale::Scale;
use super::wire::Wire;
use super::worlds::{Named, Picked};
use crate::{Backend, TestDatabase};

/// Who asks at the same time.
const CLIENTS: usize = 16;

/// Every lot that holds any of one, with what it is, where it came from and where it lies now: what a trace says, but for the
/// grams of the seed in each lot, which a recursive query cannot tell, and for holds, rejections and voided uses, which are
/// given to it. By batches, which is several times as fast as lot by lot: a batch of six tubs is followed once.
///
/// To PostgreSQL a cross join with a condition is a join like any other; SQLite joins in the order in which they stand, and
/// left to itself goes through all lots.
const JOINED: &str = "WITH RECURSIVE reached (batch_id) AS ( \
        SELECT uses.batch_id FROM uses WHERE uses.lot_id = {} \
        UNION SELECT uses.batch_id FROM reached CROSS JOIN lots CROSS JOIN uses \
        WHERE lots.batch_id = reached.batch_id AND uses.lot_id = lots.id) \
    SELECT lots.id, lots.day, lots.serial, lots.kind, lots.mass_mg, items.code, item_versions.name, \
        batches.started_at, recipes.code, recipe_versions.name, sites.code, balances.state, balances.mass_mg \
    FROM reached CROSS JOIN lots CROSS JOIN items CROSS JOIN item_versions CROSS JOIN batches \
    CROSS JOIN recipe_versions CROSS JOIN recipes \
    LEFT JOIN balances ON balances.lot_id = lots.id AND balances.state NOT IN ('supplier', 'production') \
    LEFT JOIN sites ON sites.id = balances.site_id \
    WHERE lots.batch_id = reached.batch_id AND items.id = lots.item_id AND item_versions.item_id = items.id \
    AND batches.id = lots.batch_id AND recipe_versions.id = batches.recipe_version_id \
    AND recipes.id = recipe_versions.recipe_id";

/// PostgreSQL reckons with a hundred times the rows that there are, and goes through whole tables; told not to, it follows
/// the indexes.
const FOLLOW_INDEXES: &str = "SET enable_hashjoin = off; SET enable_mergejoin = off";

type JoinedColumns = (
    BigInt,
    Date,
    Integer,
    Text,
    BigInt,
    Text,
    Text,
    Timestamp,
    Text,
    Text,
    Nullable<Text>,
    Nullable<Text>,
    Nullable<BigInt>,
);
type JoinedRow = (
    i64,
    NaiveDate,
    i32,
    String,
    i64,
    String,
    String,
    NaiveDateTime,
    String,
    String,
    Option<String>,
    Option<String>,
    Option<i64>,
);

/// Fills the report with its lines for a served database. `postgres` is the one whose own query is the measure.
pub fn measure(
    scale: &Scale,
    report: &mut Report,
    database: &TestDatabase,
    postgres: &TestDatabase,
    served: &Served,
    picked: &Picked,
) -> Result<(), Failure> {
    whole_traces(scale, report, database, postgres, served, picked)?;
    lookups(scale, report, database, served, picked)
}

fn whole_traces(
    scale: &Scale,
    report: &mut Report,
    database: &TestDatabase,
    postgres: &TestDatabase,
    served: &Served,
    picked: &Picked,
) -> Result<(), Failure> {
    // Each takes milliseconds; a quarter will do.
    let of = &picked.received[..picked.received.len().div_ceil(4)];
    let mut wire = served.wire()?;
    let (mut planned, mut told, mut sqlite) = (postgres.connect(), postgres.connect(), database.connect());
    told.batch_execute(FOLLOW_INDEXES)?;
    let is_sqlite = database.backend() == Backend::Sqlite;
    if is_sqlite {
        sqlite.batch_execute("PRAGMA cache_size = -500000")?;
    }
    let lots = agree(of, &mut wire, &mut planned)?;
    let mut ours = || of.iter().try_for_each(|lot| trace(&mut wire, lot).map(drop));
    let mut as_planned = || of.iter().try_for_each(|lot| joined(&mut planned, lot.row).map(drop));
    let mut as_told = || of.iter().try_for_each(|lot| joined(&mut told, lot.row).map(drop));
    let mut on_sqlite = || of.iter().try_for_each(|lot| joined(&mut sqlite, lot.row).map(drop));
    let mut all: Vec<Turn<'_>> = vec![&mut ours, &mut as_planned, &mut as_told];
    if is_sqlite {
        all.push(&mut on_sqlite);
    }
    let turns = seconds_by_turns(scale.rounds, &mut all)?;
    let each = microseconds_of_one(of.len()) / 1000.0;
    let mut add = |ids: [&'static str; 2], at: usize, other, target| {
        report.add(Line {
            id: ids[usize::from(!is_sqlite)],
            what: format!("whole trace over HTTP on {}, {lots:.0} lots", database.backend()),
            ours: turns.median(0) * each,
            unit: "ms",
            other,
            others: turns.median(at) * each,
            ratio: turns.ratio(at, 0),
            target,
        });
    };
    add(["trace-sqlite", "trace-postgres"], 1, "PostgreSQL, with joins", Target::AtLeast(20.0));
    add(["trace-told-sqlite", "trace-told-postgres"], 2, "the same, told to follow indexes", Target::None);
    if is_sqlite {
        add(["trace-sqlite-sqlite", ""], 3, "SQLite, with joins", Target::None);
    }
    Ok(())
}

/// A whole trace of a lot, forward; the answer's bytes.
pub fn trace<'w>(wire: &'w mut Wire, lot: &Named) -> Result<&'w [u8], Failure> {
    wire.get(&format!("/v1/lots/{}/trace?direction=forward&format=ndjson", lot.number))
}

fn joined(conn: &mut AnyConnection, row: i64) -> Result<Vec<JoinedRow>, Failure> {
    let question = Asked::<JoinedColumns>::about(JOINED, row);
    Ok(match conn {
        AnyConnection::Postgres(conn) => question.load(conn)?,
        AnyConnection::Sqlite(conn) => question.load(conn)?,
    })
}

/// Both answers name as many lots, the seed apart; how many on average, with it.
fn agree(of: &[Named], wire: &mut Wire, conn: &mut AnyConnection) -> Result<f64, Failure> {
    let mut all = 0;
    for lot in of {
        let lines = trace(wire, lot)?.split(|byte| *byte == b'\n').filter(|line| !line.is_empty()).count();
        let ours = lines - 1;
        let rows = joined(conn, lot.row)?;
        let others = 1 + rows.iter().map(|row| row.0).collect::<HashSet<_>>().len();
        if ours != others {
            return Err(format!("lot {}: ours names {ours} lots, the query {others}", lot.number).into());
        }
        all += ours;
    }
    #[expect(clippy::cast_precision_loss, reason = "a few thousand lots")]
    Ok(all as f64 / of.len() as f64)
}

fn lookups(
    scale: &Scale,
    report: &mut Report,
    database: &TestDatabase,
    served: &Served,
    picked: &Picked,
) -> Result<(), Failure> {
    let bytes = lookup(&mut served.wire()?, &picked.tubs[0])?.len();
    let constant = Launched::constant(bytes)?;
    let lot = |dice: &mut fastrand::Rng| &picked.tubs[dice.usize(..picked.tubs.len())];
    let mut ours = with_dice(served.wires(CLIENTS)?);
    let mut idle = with_dice(served.wires(CLIENTS)?);
    let others: Result<Vec<Wire>, Failure> = (0..CLIENTS).map(|_| constant.wire()).collect();
    let mut others = with_dice(others?);
    let turns = figures_by_turns(scale.rounds, 3, |which| match which {
        0 => per_second(scale.turn, &mut ours, |(wire, dice)| lookup(wire, lot(dice)).map(drop)),
        1 => per_second(scale.turn, &mut others, |(wire, dice)| lookup(wire, lot(dice)).map(drop)),
        _ => per_second(scale.turn, &mut idle, |(wire, _)| wire.get("/healthz").map(drop)),
    })?;
    let sqlite = database.backend() == Backend::Sqlite;
    let mut add = |ids: [&'static str; 2], other, at, target| {
        report.add(Line {
            id: ids[usize::from(!sqlite)],
            what: format!("a lot over HTTP on {}, {CLIENTS} clients", database.backend()),
            ours: turns.median(0),
            unit: "a second",
            other,
            others: turns.median(at),
            ratio: turns.ratio(0, at),
            target,
        });
    };
    add(["lot-sqlite", "lot-postgres"], "a constant of the same server", 2, Target::AtLeast(0.8));
    add(["lot-bare-sqlite", "lot-bare-postgres"], "a constant of a bare server", 1, Target::None);
    Ok(())
}

/// What there is to know of a lot. In place of the allergen answer until there is one.
pub fn lookup<'w>(wire: &'w mut Wire, lot: &Named) -> Result<&'w [u8], Failure> {
    wire.get(&format!("/v1/lots/{}", lot.number))
}

fn with_dice(wires: Vec<Wire>) -> Vec<(Wire, fastrand::Rng)> {
    (0..).map(fastrand::Rng::with_seed).zip(wires).map(|(dice, wire)| (wire, dice)).collect()
}
