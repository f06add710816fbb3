//! `tubtrail migrate`

use tubtrail_operations::Database;

use super::Outcome;
use crate::config::Settings;

pub fn run(settings: &Settings) -> Outcome {
    let applied = Database::migrate(&settings.database)?;
    if applied.is_empty() {
        println!("{}: the tables are up to date", settings.database);
    }
    for name in applied {
        println!("{}: applied {name}", settings.database);
    }
    Ok(())
}
