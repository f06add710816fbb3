//! Speed: ours and others side by side on the reference world, for `tests/speed`. Nothing here is a test, and nothing in the
//! test suite fails on a clock; what is measured is printed with its ratio to another's, taken in turns in one run.

mod answers;
mod asked;
mod busy;
mod clock;
mod constant;
mod contenders;
mod crowd;
mod edges;
mod exports;
mod growth;
mod launched;
mod lineage;
mod machine;
mod plot;
mod report;
mod scale;
mod several;
mod start;
mod statements;
mod wire;
mod worlds;
mod writes;

use std::error::Error;
use std::path::Path;

pub use constant::serve as serve_constant;
pub use report::{Line, Report};
pub use scale::{Part, Scale};
pub use start::count_memory;

/// Why it could not be measured.
pub type Failure = Box<dyn Error + Send + Sync>;

/// Measures all that is asked for and writes `figures.json` and `growth.svg` into a folder.
///
/// # Errors
/// If a database, a server or the folder fails; what was measured until then was printed.
pub fn run(scale: &Scale, folder: &Path) -> Result<Report, Failure> {
    let mut report = Report::new(machine::describe(), scale);
    print!("{}", report.heading());
    if scale.does(Part::Lineage) {
        lineage::measure(scale, &mut report)?;
    }
    if scale.does(Part::Growth) {
        growth::of_lineage(scale, &mut report)?;
    }
    statements::count()?;
    if [Part::Start, Part::Writes, Part::Answers, Part::Exports].into_iter().any(|part| scale.does(part)) {
        worlds::measure(scale, &mut report)?;
    }
    if scale.does(Part::Growth) {
        growth::of_answers(scale, &mut report)?;
    }
    std::fs::create_dir_all(folder)?;
    std::fs::write(folder.join("figures.json"), report.json()?)?;
    std::fs::write(folder.join("growth.svg"), plot::draw(&report.growth))?;
    Ok(report)
}
