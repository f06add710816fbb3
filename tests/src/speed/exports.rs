//! Records for others: how long until the last byte, of a week, and of an item over all the years.

use chrono::Days;

use super::Failure;
use super::clock::seconds_by_turns;
use super::launched::Served;
use super::report::{Line, Report, Target};
use super::scale::Scale;
use crate::reference::{Size, add_papers, first_day};
use crate::{Backend, TestDatabase};

/// Most rounds: each takes seconds.
const ROUNDS: usize = 3;
/// What "within seconds" is taken to mean; it is what was promised of a date range and items at five years.
const SECONDS: f64 = 10.0;

/// Fills the report with its lines for a database.
pub fn measure(scale: &Scale, report: &mut Report, database: &TestDatabase, served: &Served) -> Result<(), Failure> {
    add_papers(&mut database.connect())?;
    for (ids, what, path) in asked(scale.world) {
        let mut wire = served.wire()?;
        let mut bytes = 0;
        let mut ask = || {
            bytes = wire.get(&path)?.len();
            Ok(())
        };
        let turns = seconds_by_turns(scale.rounds.min(ROUNDS), &mut [&mut ask])?;
        let seconds = turns.median(0);
        #[expect(clippy::cast_precision_loss, reason = "fewer than 2^52 bytes")]
        let size = bytes as f64 / 1e6;
        report.add(Line {
            id: ids[usize::from(database.backend() == Backend::Postgres)],
            what: format!("{what} on {}, {size:.1} MB", database.backend()),
            ours: seconds,
            unit: "s",
            other: "within seconds,",
            others: SECONDS,
            ratio: seconds / SECONDS,
            target: Target::AtMost(1.0),
        });
    }
    Ok(())
}

/// A name on SQLite and on PostgreSQL, what it is in words, and the path. Ingredient 20 goes into some flavours, flavour 7 is one
/// of forty.
fn asked(world: Size) -> [([&'static str; 2], &'static str, String); 5] {
    let day = |number: u32| first_day() + Days::new(number.into());
    let days = |from: u32, to: u32| format!("day_from={}&day_to={}", day(from), day(to));
    let week = days(world.days.saturating_sub(30), world.days.saturating_sub(24));
    let years = days(0, world.days);
    [
        (
            ["export-week-sqlite", "export-week-postgres"],
            "FSMA 204 sheet of a week",
            format!("/v1/exports/fsma204.xlsx?{week}"),
        ),
        (
            ["export-week-of-item-sqlite", "export-week-of-item-postgres"],
            "the same of an ingredient",
            format!("/v1/exports/fsma204.xlsx?{week}&items=ingredient-20"),
        ),
        (
            ["export-item-sqlite", "export-item-postgres"],
            "FSMA 204 sheet of an ingredient, all years",
            format!("/v1/exports/fsma204.xlsx?{years}&items=ingredient-20"),
        ),
        (
            ["export-item-sfcr-sqlite", "export-item-sfcr-postgres"],
            "SFCR file of the same",
            format!("/v1/exports/sfcr.csv?{years}&items=ingredient-20"),
        ),
        (
            ["export-flavour-sqlite", "export-flavour-postgres"],
            "FSMA 204 sheet of a flavour, all years",
            format!("/v1/exports/fsma204.xlsx?{years}&items=flavour-7"),
        ),
    ]
}
