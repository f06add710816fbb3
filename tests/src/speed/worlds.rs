//! The world in both databases, and what is measured in each.

use diesel::connection::SimpleConnection;
use diesel::prelude::*;
use tubtrail_domain::lot_number::LotNumber;
use tubtrail_operations::holds::Because;
use tubtrail_operations::passwords::Password;
use tubtrail_operations::users::{NewUser, RoleAt};
use tubtrail_operations::{Request, Role, Tubtrail, system_clock};
use tubtrail_storage::AnyConnection;
use tubtrail_storage::lots::lots;

use super::contenders::Told;
use super::launched::{LOGIN, PASSWORD, Served};
use super::report::Report;
use super::scale::{Part, Scale};
use super::{Failure, answers, exports, growth, several, start, writes};
use crate::reference::{Size, fill};
use crate::{Backend, TestDatabase};

/// Most lots that commands are tried on.
const MOST_HELD: usize = 100_000;

/// Lots that questions are asked about, picked at random, the same in both databases.
pub struct Picked {
    /// How many lots the world has.
    pub lots: usize,
    /// Supplier lots.
    pub received: Vec<Named>,
    /// Tubs.
    pub tubs: Vec<Named>,
}

/// A lot.
#[derive(Clone, Debug)]
pub struct Named {
    /// Row id.
    pub row: i64,
    /// Its number.
    pub number: String,
}

/// Fills the report with all that needs a database.
pub fn measure(scale: &Scale, report: &mut Report) -> Result<(), Failure> {
    let [sqlite, postgres] = both(scale)?;
    let picked = Picked::from(scale.world, scale, &sqlite)?;
    if scale.does(Part::Start) {
        start::measure(scale, report, &sqlite, picked.lots)?;
        start::measure(scale, report, &postgres, picked.lots)?;
    }
    for database in [&sqlite, &postgres] {
        let tubtrail = Tubtrail::open(&database.address(), system_clock())?;
        add_owner(&tubtrail)?;
        if scale.does(Part::Writes) {
            hold_some(database, &tubtrail, &picked)?;
            writes::measure(scale, report, database, &tubtrail, &picked)?;
        }
        drop(tubtrail);
        let apart = if scale.does(Part::Writes) { writes::apart(scale, database, &picked)? } else { Vec::new() };
        let served = Served::start(database)?;
        if scale.does(Part::Answers) {
            answers::measure(scale, report, database, &postgres, &served, &picked)?;
        }
        if scale.does(Part::Writes) {
            writes::measure_served(scale, report, database, &served, &picked, apart)?;
            if database.backend() == Backend::Postgres {
                several::measure(scale, report, database, &served, &picked)?;
            }
        }
        if scale.does(Part::Growth) && database.backend() == Backend::Sqlite {
            growth::take_answers(scale, report, database, scale.world, &served, &picked)?;
        }
        // Last: what it adds to the world would stand in the others' way.
        if scale.does(Part::Exports) {
            exports::measure(scale, report, database, &served)?;
        }
    }
    Ok(())
}

/// The world on SQLite and on PostgreSQL, filled at the same time.
fn both(scale: &Scale) -> Result<[TestDatabase; 2], Failure> {
    let make = |backend| filled(backend, scale.world, scale.seed);
    let (sqlite, postgres) = std::thread::scope(|scope| {
        let postgres = scope.spawn(move || make(Backend::Postgres));
        (make(Backend::Sqlite), postgres.join())
    });
    let postgres = postgres.map_err(|_| "filling PostgreSQL panicked")?;
    Ok([sqlite?, postgres?])
}

/// A world in a database of its own, gone when dropped.
pub fn filled(backend: Backend, size: Size, seed: u64) -> Result<TestDatabase, Failure> {
    let database = TestDatabase::new(backend);
    // It has no journal, and need not be whole when it goes.
    database.spoiled();
    fill(&database.address(), size, seed)?;
    if let AnyConnection::Postgres(conn) = &mut database.connect() {
        // What its own upkeep would do in a while.
        conn.batch_execute("SET statement_timeout = 0")?;
        conn.batch_execute("VACUUM ANALYZE")?;
    }
    Ok(database)
}

/// Holds some tubs and releases them, as any house has: what a database plans for a table that never held anything is of no
/// use later.
fn hold_some(database: &TestDatabase, tubtrail: &Tubtrail, picked: &Picked) -> Result<(), Failure> {
    const SOME: usize = 200;
    let because = || Because { reason: Some("to have held some".into()) };
    for tub in picked.tubs.iter().rev().take(SOME) {
        let hold = tubtrail.hold_lot(&Request::system(), &tub.number, because())?.answer;
        tubtrail.release_hold(&Request::system(), hold.id, because())?;
    }
    if let AnyConnection::Postgres(conn) = &mut database.connect() {
        conn.batch_execute("ANALYZE holds; ANALYZE hold_releases")?;
    }
    Ok(())
}

/// Someone who may do all.
pub fn add_owner(tubtrail: &Tubtrail) -> Result<(), Failure> {
    let owner = NewUser {
        login: LOGIN.into(),
        name: "Olga Owner".into(),
        password: Password(PASSWORD.into()),
        roles: vec![RoleAt { role: Role::Owner, site: None }],
    };
    tubtrail.create_user(&Request::system(), owner)?;
    Ok(())
}

impl Picked {
    /// Picks from a world that lies in a database.
    pub fn from(size: Size, scale: &Scale, database: &TestDatabase) -> Result<Self, Failure> {
        let told = Told::of(size, scale.seed);
        let mut dice = fastrand::Rng::with_seed(scale.seed);
        let mut tubs = told.tubs.clone();
        let received = told.some_received(scale.questions, &mut dice);
        dice.shuffle(&mut tubs);
        tubs.truncate(MOST_HELD);
        let mut conn = database.connect();
        Ok(Self { lots: told.lots.len(), received: named(&mut conn, &received)?, tubs: named(&mut conn, &tubs)? })
    }
}

/// The numbers of some lots.
pub fn named(conn: &mut AnyConnection, of: &[u32]) -> Result<Vec<Named>, Failure> {
    let mut all = Vec::with_capacity(of.len());
    for one in of {
        let row = i64::from(*one) + 1;
        let (day, serial): (chrono::NaiveDate, i32) =
            lots::table.find(row).select((lots::day, lots::serial)).first(conn)?;
        let number = LotNumber::new(day, serial.unsigned_abs())?.to_string();
        all.push(Named { row, number });
    }
    Ok(all)
}
