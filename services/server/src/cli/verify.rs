//! `tubtrail verify`

use tubtrail_operations::verify::{Verified, verify};

use super::{Outcome, in_words};
use crate::config::Settings;

/// Checks the database that the settings name.
pub fn run(settings: &Settings) -> Outcome {
    let verified = verify(&settings.database).map_err(|error| in_words(&error))?;
    println!("{}: as of one moment,", settings.database);
    tell(&verified)
}

/// Says what was checked; an error names the first row that is wrong.
pub fn tell(verified: &Verified) -> Outcome {
    println!("  {} journal entries over {} rows, each hash recomputed", verified.entries, verified.rows);
    if let Some(wrong) = &verified.wrong {
        println!("  there the check stopped");
        let entry = wrong.entry.map_or_else(String::new, |entry| format!(" of journal entry {entry}"));
        return Err(format!("wrong: {} {}{entry}: {}", wrong.table, wrong.row, wrong.what).into());
    }
    println!("  {} balances added up from their movements", verified.balances);
    println!("  {} lots, the whole mass of each accounted for", verified.lots);
    println!("  {} completed batches, what went in and came out added up", verified.completions);
    println!(
        "  the lot graph ({} lots, {} batches, {} uses), built in one go and piece by piece",
        verified.graph_lots, verified.graph_batches, verified.graph_uses
    );
    println!("  the shares of {} received lots, and of all of them together", verified.shares);
    println!("nothing is wrong");
    Ok(())
}
