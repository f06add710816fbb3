//! The balance of a recall in words: what came, and all that it comes to, to the milligram.

use tubtrail_operations::Grams;
use tubtrail_operations::recalls::RecallMass;

use crate::pages::figures::exact;
use crate::pages::texts::Texts;

/// A line of the balance.
pub(super) struct MassRow {
    /// What.
    pub what: String,
    /// How much, exactly.
    pub grams: String,
    /// It is a sum, or what is left of one.
    pub is_sum: bool,
}

/// The balance: what came, then all that it comes to.
pub(super) fn mass_rows(texts: &Texts, mass: &RecallMass) -> Vec<MassRow> {
    let row = |name: &str, grams: Grams, is_sum: bool| MassRow {
        what: texts.say(&format!("mass-{name}")).into_owned(),
        grams: exact(texts, grams),
        is_sum,
    };
    let parts = [
        ("available", mass.available_grams),
        ("open", mass.open_grams),
        ("in_transit", mass.in_transit_grams),
        ("served", mass.served_grams),
        ("consigned", mass.consigned_grams),
        ("discarded", mass.discarded_grams),
        ("returned", mass.returned_grams),
        ("count_difference", mass.count_difference_grams),
        ("in_open_batches", mass.in_open_batches_grams),
        ("lost", mass.lost_grams),
        ("in_seeds", mass.in_seeds_grams),
    ];
    let mut rows = vec![row("received", mass.received_grams, true)];
    if mass.found_grams != Grams::default() {
        rows.push(row("found", mass.found_grams, true));
    }
    let told = parts.into_iter().filter(|(_, grams)| *grams != Grams::default());
    rows.extend(told.map(|(name, grams)| row(name, grams, false)));
    rows.push(row("unaccounted", mass.unaccounted_grams, true));
    rows
}
