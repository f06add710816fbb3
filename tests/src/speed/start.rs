//! Start-up: how long until the index stands, beside a scan of the same rows by the database itself, and how much memory it
//! takes.

use std::process::Command;

use diesel::connection::SimpleConnection;
use serde::{Deserialize, Serialize};
use tubtrail_operations::{DatabaseUrl, Tubtrail, system_clock};
use tubtrail_storage::connection;

use super::Failure;
use super::clock::seconds_by_turns;
use super::report::{Line, Report, Target};
use super::scale::Scale;
use crate::{Backend, TestDatabase};

/// The program that counts memory; it lies beside this one.
const COUNTER: &str = "speed-memory";
/// Most rounds: each takes seconds.
const ROUNDS: usize = 3;

/// The columns that we read in bulk, of the same rows, read and not handed out: all that a database must do to have seen them.
const SCAN: [&str; 7] = [
    "SELECT COUNT(id) FROM batches",
    "SELECT COUNT(id), COUNT(batch_id), SUM(mass_mg), COUNT(item_id), COUNT(supplier_id), COUNT(day) FROM lots",
    "SELECT COUNT(id), COUNT(lot_id), COUNT(batch_id), SUM(mass_mg) FROM uses",
    "SELECT COUNT(use_id) FROM use_voids",
    "SELECT COUNT(batch_id), SUM(mass_mg) FROM untracked_inputs",
    "SELECT COUNT(id), COUNT(batch_id), COUNT(equipment_id), COUNT(used_from), COUNT(used_until) FROM batch_equipment",
    "SELECT COUNT(id), COUNT(equipment_id), COUNT(cleaned_at) FROM cleans",
];

/// What the index of a database takes.
#[derive(Clone, Copy, Debug, Serialize, Deserialize)]
pub struct Memory {
    /// Bytes that are in use because the database is open.
    pub bytes: usize,
    /// Bytes that were in use at most while it was opened.
    pub most: usize,
}

/// Fills the report with its lines for a database.
pub fn measure(scale: &Scale, report: &mut Report, database: &TestDatabase, lots: usize) -> Result<(), Failure> {
    let address = database.address();
    let mut conn = database.connect();
    conn.batch_execute(match database.backend() {
        Backend::Postgres => "SET statement_timeout = 0",
        // Twice what lies in memory by itself: the scan shall not wait for a disk.
        Backend::Sqlite => "PRAGMA cache_size = -500000",
    })?;
    let mut open = || Ok(Tubtrail::open(&address, system_clock()).map(drop)?);
    let mut scan = || SCAN.iter().try_for_each(|sql| Ok(conn.batch_execute(sql)?));
    let turns = seconds_by_turns(scale.rounds.min(ROUNDS), &mut [&mut open, &mut scan])?;
    let (id, other, target) = match database.backend() {
        Backend::Sqlite => ("start-sqlite", "SQLite, scan of the same rows", Target::AtMost(2.0)),
        Backend::Postgres => ("start-postgres", "PostgreSQL, scan of the same rows", Target::None),
    };
    report.add(Line {
        id,
        what: format!("start-up on {}, {lots} lots", database.backend()),
        ours: turns.median(0) * 1000.0,
        unit: "ms",
        other,
        others: turns.median(1) * 1000.0,
        ratio: turns.ratio(0, 1),
        target,
    });
    if database.backend() == Backend::Sqlite {
        memory(report, database, lots)?;
    }
    Ok(())
}

fn memory(report: &mut Report, database: &TestDatabase, lots: usize) -> Result<(), Failure> {
    let program = std::env::current_exe()?.with_file_name(COUNTER);
    let output = Command::new(&program).arg(database.url()).output()?;
    if !output.status.success() {
        return Err(format!("{}: {}", program.display(), String::from_utf8_lossy(&output.stderr)).into());
    }
    let memory: Memory = serde_json::from_slice(&output.stdout)?;
    #[expect(clippy::cast_precision_loss, reason = "fewer than 2^52 bytes")]
    let [ours, most] = [memory.bytes, memory.most].map(|bytes| bytes as f64 / lots as f64);
    let line = |id, what: &str, ours, target| Line {
        id,
        what: what.to_owned(),
        ours,
        unit: "bytes",
        other: "150 bytes a lot,",
        others: 150.0,
        ratio: ours / 150.0,
        target,
    };
    report.add(line("memory", "memory a lot, by the allocator's count", ours, Target::AtMost(1.0)));
    report.add(line("memory-at-start", "the same at its most, while it starts", most, Target::None));
    Ok(())
}

/// Opens a database and says what that took, by the counts of the allocator: in use now, and at most.
///
/// # Errors
/// If it cannot be opened.
pub fn count_memory(address: &str, in_use: impl Fn() -> usize, at_most: impl Fn() -> usize) -> Result<Memory, Failure> {
    let address = DatabaseUrl::parse(address)?;
    // What the libraries keep once they were used at all is not the index's.
    drop(connection::connect(&address)?);
    let before = in_use();
    let tubtrail = Tubtrail::open(&address, system_clock())?;
    // All that it ever keeps: a server reads it while it serves.
    tubtrail.read_ahead(|_| true)?;
    let memory = Memory { bytes: in_use().saturating_sub(before), most: at_most().saturating_sub(before) };
    drop(tubtrail);
    Ok(memory)
}
