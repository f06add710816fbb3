//! Records for others: how long until the last byte, of a week, and of an item over all the years.

use chrono::Days;

use super::Failure;
use super::clock::seconds_by_turns;
use super::launched::Served;
use super::report::{Line, Report, Target};
use super::scale::Scale;
use crate::TestDatabase;
use crate::reference::{Size, add_papers, first_day};

/// Most rounds: each takes seconds.
const ROUNDS: usize = 3;
/// What "within seconds" is taken to mean; it is what was promised of a date range and items at five years.
const SECONDS: f64 = 10.0;

/// Fills the report with its lines for a database.
pub fn measure(scale: &Scale, report: &mut Report, database: &TestDatabase, served: &Served) -> Result<(), Failure> {
    add_papers(&mut database.connect())?;
    for (id, what, path) in asked(scale.world) {
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
            id,
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

/// A name, what it is in words, and the path. Ingredient 20 goes into some flavours, flavour 7 is one of forty.
fn asked(world: Size) -> [(&'static str, &'static str, String); 5] {
    let day = |number: u32| first_day() + Days::new(number.into());
    let (from, to) = (day(world.days.saturating_sub(30)), day(world.days.saturating_sub(24)));
    let (first, last) = (day(0), day(world.days));
    [
        ("export-week", "FSMA 204 sheet of a week", format!("/v1/exports/fsma204.xlsx?day_from={from}&day_to={to}")),
        (
            "export-week-of-item",
            "the same of an item",
            format!("/v1/exports/fsma204.xlsx?day_from={from}&day_to={to}&items=ingredient-20"),
        ),
        (
            "export-ingredient",
            "FSMA 204 sheet of an ingredient, all years",
            format!("/v1/exports/fsma204.xlsx?day_from={first}&day_to={last}&items=ingredient-20"),
        ),
        (
            "export-ingredient-sfcr",
            "SFCR file of the same",
            format!("/v1/exports/sfcr.csv?day_from={first}&day_to={last}&items=ingredient-20"),
        ),
        (
            "export-flavour",
            "FSMA 204 sheet of a flavour, all years",
            format!("/v1/exports/fsma204.xlsx?day_from={first}&day_to={last}&items=flavour-7"),
        ),
    ]
}
