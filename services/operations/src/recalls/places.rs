//! Where a lot of a recall is, and how much of the seeds is in each place.

use std::collections::BTreeMap;

use tubtrail_domain::place::State;
use tubtrail_storage::StorageError;
use tubtrail_storage::lots::LotRow;
use tubtrail_storage::stock::BalanceRow;

use super::apportion::apportion;
use super::outline::Reached;

/// What became of some of a lot at a site.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub(super) enum Fate {
    /// In a place of the house, or in one of the accounts that take.
    In(State),
    /// Went into batches.
    Used,
    /// Went back to the supplier.
    Returned,
}

impl Fate {
    /// The word for it in every answer.
    pub const fn word(self) -> &'static str {
        match self {
            Self::In(state) => state.word(),
            Self::Used => "used",
            Self::Returned => "returned",
        }
    }

    /// Whether it is in the house.
    pub const fn is_on_hand(self) -> bool {
        matches!(self, Self::In(state) if state.is_on_hand())
    }
}

/// So much of a lot at a site, and what of that is seed. Milligrams.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Part {
    pub site_id: i64,
    pub fate: Fate,
    /// Below zero where a count found more than it missed.
    pub mass_mg: i64,
    /// None of it where it went into batches: there it is in what they made.
    pub seed_mg: i64,
}

/// How much of a lot is where, in milligrams, by site and fate.
pub(super) type Sums = BTreeMap<(i64, Fate), i64>;

/// The parts of a lot, in order of site and fate, from its balances.
pub(super) fn parts(lot: &LotRow, reached: &Reached, balances: &[BalanceRow]) -> Result<Vec<Part>, StorageError> {
    let mut sums = Sums::new();
    let (made_mg, received_mg) = if lot.batch_id.is_some() { (lot.mass_mg, 0) } else { (0, lot.mass_mg) };
    *sums.entry((lot.site_id, Fate::Used)).or_insert(0) += made_mg;
    *sums.entry((lot.site_id, Fate::Returned)).or_insert(0) += received_mg;
    for row in balances {
        let fate = match row.place()?.state {
            State::Production => Fate::Used,
            State::Supplier => Fate::Returned,
            state => Fate::In(state),
        };
        *sums.entry((row.site_id, fate)).or_insert(0) += row.mass_mg;
    }
    Ok(divided(sums, reached))
}

/// The seed in a lot is divided among its parts in proportion to their mass, but for what went into batches. What counts found
/// at one site and missed at another is the same stuff: only what they missed on the whole holds any of the seed.
pub(super) fn divided(sums: Sums, reached: &Reached) -> Vec<Part> {
    let missed_mg: i64 = sums.iter().filter(|((_, fate), _)| is_difference(*fate)).map(|(_, mg)| mg).sum();
    let differences: i64 =
        sums.iter().filter(|((_, fate), mg)| is_difference(*fate) && **mg > 0).map(|(_, mg)| mg).sum();
    let found: Vec<((i64, Fate), i64)> = sums.into_iter().filter(|(_, mass_mg)| *mass_mg != 0).collect();
    let weight = |fate: Fate, mass_mg: i64| match fate {
        Fate::Used => 0.0,
        _ if is_difference(fate) => ratio(missed_mg.max(0), differences) * number(mass_mg.max(0)),
        _ => number(mass_mg.max(0)),
    };
    let weights: Vec<f64> = found.iter().map(|((_, fate), mass_mg)| weight(*fate, *mass_mg)).collect();
    let seeds = apportion(reached.seed_mg, &weights);
    let parts = found.into_iter().zip(seeds);
    parts.map(|(((site_id, fate), mass_mg), seed_mg)| Part { site_id, fate, mass_mg, seed_mg }).collect()
}

const fn is_difference(fate: Fate) -> bool {
    matches!(fate, Fate::In(State::CountDifference))
}

#[expect(clippy::cast_precision_loss, reason = "milligrams are far below 2^53")]
const fn number(mg: i64) -> f64 {
    mg as f64
}

fn ratio(part: i64, whole: i64) -> f64 {
    if whole == 0 { 0.0 } else { number(part) / number(whole) }
}
