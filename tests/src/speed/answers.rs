//! Answers over HTTP: a whole trace with its lots, places and grams beside the same rows from the database's own recursive query;
//! an answer about one lot beside a handler that says the same to all.

use std::collections::HashSet;

use chrono::{NaiveDate, NaiveDateTime};
use diesel::connection::SimpleConnection;
use diesel::sql_types::{BigInt, Date, Integer, Nullable, Text, Timestamp};
use diesel::{QueryableByName, RunQueryDsl, sql_query};
use serde_json::json;
use tubtrail_domain::allergens::Substance;
use tubtrail_domain::lot_number::LotNumber;
use tubtrail_operations::{Tubtrail, system_clock};
use tubtrail_storage::AnyConnection;

use super::Failure;
use super::asked::Asked;
use super::clock::{Turn, figures_by_turns, per_second, seconds_by_turns};
use super::launched::{Launched, Served};
use super::lineage::microseconds_of_one;
use super::report::{Line, Report, Target};
use super::scale::Scale;
use super::wire::Wire;
use super::worlds::{Named, Picked, add_owner};
use crate::{Backend, TestDatabase};

/// What is asked of a tub.
const AVOID: [&str; 3] = ["hazelnut", "milk", "gluten_cereals"];
/// Who asks at the same time.
const CLIENTS: usize = 16;

// Every lot that holds any of one, with what it is, where it came from and where it lies now: what a trace says, but for the
// grams of the seed in each lot, which a recursive query cannot tell, and for holds, rejections and voided uses, which are
// given to it. By batches, which is several times as fast as lot by lot: a batch of six tubs is followed once.
macro_rules! joined {
    ($join:literal) => {
        concat!(
            "WITH RECURSIVE reached (batch_id) AS ( ",
            "SELECT uses.batch_id FROM uses WHERE uses.lot_id = {} ",
            "UNION SELECT uses.batch_id FROM reached ",
            $join,
            " lots ON lots.batch_id = reached.batch_id ",
            $join,
            " uses ON uses.lot_id = lots.id) ",
            "SELECT lots.id, lots.day, lots.serial, lots.kind, lots.mass_mg, items.code, item_versions.name, ",
            "batches.started_at, recipes.code, recipe_versions.name, sites.code, balances.state, balances.mass_mg ",
            "FROM reached ",
            $join,
            " lots ON lots.batch_id = reached.batch_id ",
            $join,
            " items ON items.id = lots.item_id ",
            $join,
            " item_versions ON item_versions.item_id = items.id ",
            $join,
            " batches ON batches.id = lots.batch_id ",
            $join,
            " recipe_versions ON recipe_versions.id = batches.recipe_version_id ",
            $join,
            " recipes ON recipes.id = recipe_versions.recipe_id ",
            "LEFT JOIN balances ON balances.lot_id = lots.id AND balances.state NOT IN ('supplier', 'production') ",
            "LEFT JOIN sites ON sites.id = balances.site_id"
        )
    };
}
const JOINED: &str = joined!("JOIN");
/// SQLite takes a cross join for the order to join in; left to itself it goes through all lots.
const JOINED_IN_ORDER: &str = joined!("CROSS JOIN");

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
    Ok(match conn {
        AnyConnection::Postgres(conn) => Asked::<JoinedColumns>::about(JOINED, row).load(conn)?,
        AnyConnection::Sqlite(conn) => Asked::<JoinedColumns>::about(JOINED_IN_ORDER, row).load(conn)?,
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

/// Answers of one lot, many clients: what is recorded of allergens in a tub that stands open, and all there is to know of a
/// lot, beside what a server can say at all.
fn lookups(
    scale: &Scale,
    report: &mut Report,
    database: &TestDatabase,
    served: &Served,
    picked: &Picked,
) -> Result<(), Failure> {
    let open = open_tubs(&mut database.connect())?;
    let mut wire = served.wire()?;
    let bytes = check(&mut wire, open.first().ok_or("no tub stands open in this world")?)?.len();
    let constant = Launched::constant(bytes)?;
    let house = TestDatabase::new(database.backend());
    house.spoiled();
    add_owner(&Tubtrail::open(&house.address(), system_clock())?)?;
    let behind = Served::constant(&house, bytes)?;
    let mut behind = with_dice(behind.wires(CLIENTS)?);
    let lot = |dice: &mut fastrand::Rng| &picked.tubs[dice.usize(..picked.tubs.len())];
    let tub = |dice: &mut fastrand::Rng| &open[dice.usize(..open.len())];
    let mut ours = with_dice(served.wires(CLIENTS)?);
    let others: Result<Vec<Wire>, Failure> = (0..CLIENTS).map(|_| constant.wire()).collect();
    let mut others = with_dice(others?);
    let mut turns = figures_by_turns(scale.rounds, 5, |which| match which {
        // Asked the same, signed in the same; what answers has nothing to look up.
        4 => per_second(scale.turn, &mut behind, |(wire, dice)| check(wire, tub(dice)).map(drop)),
        0 => per_second(scale.turn, &mut ours, |(wire, dice)| check(wire, tub(dice)).map(drop)),
        1 => per_second(scale.turn, &mut ours, |(wire, dice)| lookup(wire, lot(dice)).map(drop)),
        // A few bytes for anybody, who need not be signed in and asks for nothing.
        2 => per_second(scale.turn, &mut ours, |(wire, _)| wire.get("/healthz").map(drop)),
        _ => per_second(scale.turn, &mut others, |(wire, dice)| lookup(wire, lot(dice)).map(drop)),
    })?;
    // Never the same twice, but for chance: an answer that was told before is told again until something changes. Apart from
    // the others: what was told before is forgotten over it.
    turns.extend(figures_by_turns(scale.rounds, 1, |_| {
        per_second(scale.turn, &mut ours, |(wire, dice)| check_of(wire, tub(dice), &some(dice)).map(drop))
    })?);
    let is_sqlite = database.backend() == Backend::Sqlite;
    let mut add = |ids: [&'static str; 2], what: &str, at: (usize, usize), other, target| {
        report.add(Line {
            id: ids[usize::from(!is_sqlite)],
            what: format!("{what} over HTTP on {}, {CLIENTS} clients", database.backend()),
            ours: turns.median(at.0),
            unit: "a second",
            other,
            others: turns.median(at.1),
            ratio: turns.ratio(at.0, at.1),
            target,
        });
    };
    let (same, open) = ("a constant of the same server", "15 bytes of the same server for anybody");
    let bare = "a constant of a bare server";
    add(["allergens-sqlite", "allergens-postgres"], "allergens of a tub", (0, 4), same, Target::AtLeast(0.8));
    let anew = "allergens of a tub, worked out anew,";
    add(["allergens-anew-sqlite", "allergens-anew-postgres"], anew, (5, 4), same, Target::None);
    add(["allergens-open-sqlite", "allergens-open-postgres"], "allergens of a tub", (0, 2), open, Target::None);
    add(["allergens-bare-sqlite", "allergens-bare-postgres"], "allergens of a tub", (0, 3), bare, Target::None);
    add(["lot-sqlite", "lot-postgres"], "a lot", (1, 4), same, Target::None);
    Ok(())
}

/// A tub that stands open, where, and the usual question about it: what it takes to put it into words is not what is measured.
pub struct OpenTub {
    number: String,
    site: String,
    question: String,
}

/// The tubs that stand open.
pub fn open_tubs(conn: &mut AnyConnection) -> Result<Vec<OpenTub>, Failure> {
    #[derive(QueryableByName)]
    struct Found {
        #[diesel(sql_type = Date)]
        day: NaiveDate,
        #[diesel(sql_type = Integer)]
        serial: i32,
        #[diesel(sql_type = Text)]
        site: String,
    }
    let found: Vec<Found> = sql_query(
        "SELECT lots.day, lots.serial, sites.code AS site FROM balances JOIN lots ON lots.id = balances.lot_id \
         JOIN sites ON sites.id = balances.site_id WHERE balances.state = 'open' AND balances.mass_mg > 0",
    )
    .load(conn)?;
    let number = |tub: &Found| LotNumber::new(tub.day, tub.serial.unsigned_abs());
    let open = found.into_iter().map(|tub| {
        let number = number(&tub)?.to_string();
        Ok(OpenTub { question: question(&tub.site, &number, &AVOID), number, site: tub.site })
    });
    open.collect()
}

/// Begins to ask what is recorded of some allergens in a tub.
pub fn begin_check(wire: &mut Wire, tub: &OpenTub) -> Result<(), Failure> {
    wire.begin_post(CHECKS, CHECK_KEY, &tub.question)
}

/// What is recorded of some allergens in a tub.
pub fn check<'w>(wire: &'w mut Wire, tub: &OpenTub) -> Result<&'w [u8], Failure> {
    ask(wire, &tub.question)
}

/// Three allergens that no other question is likely to name together.
fn some(dice: &mut fastrand::Rng) -> [&'static str; 3] {
    let mut all = Substance::ALL;
    dice.shuffle(&mut all);
    [all[0].word(), all[1].word(), all[2].word()]
}

fn check_of<'w>(wire: &'w mut Wire, tub: &OpenTub, avoid: &[&str; 3]) -> Result<&'w [u8], Failure> {
    ask(wire, &question(&tub.site, &tub.number, avoid))
}

fn question(site: &str, number: &str, avoid: &[&str; 3]) -> String {
    json!({"site": site, "avoid": avoid, "lots": [number]}).to_string()
}

fn ask<'w>(wire: &'w mut Wire, question: &str) -> Result<&'w [u8], Failure> {
    wire.post(CHECKS, CHECK_KEY, question, 200)
}

const CHECKS: &str = "/v1/allergen-checks";
/// A check is kept nowhere, and no key is looked at.
const CHECK_KEY: &str = "asked-and-not-kept";

/// What there is to know of a lot.
pub fn lookup<'w>(wire: &'w mut Wire, lot: &Named) -> Result<&'w [u8], Failure> {
    begin_lookup(wire, lot)?;
    wire.answer(200)
}

/// Begins to ask for it.
pub fn begin_lookup(wire: &mut Wire, lot: &Named) -> Result<(), Failure> {
    wire.begin_get(&format!("/v1/lots/{}", lot.number))
}

fn with_dice(wires: Vec<Wire>) -> Vec<(Wire, fastrand::Rng)> {
    (0..).map(fastrand::Rng::with_seed).zip(wires).map(|(dice, wire)| (wire, dice)).collect()
}
