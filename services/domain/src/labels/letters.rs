//! How large the letters must be at least, in micrometres.

use crate::allergens::AllergenList;
use crate::quantity::Mass;

/// The least height of a small letter without a stem (“x”, “o”), in micrometres. `largest_surface_cm2` is that of the
/// pack, not of the label, in square centimetres; none where it is not known.
///
/// - EU: 1.2 mm by the “x”, 0.9 mm where the largest surface is less than 80 cm²: Regulation (EU) 1169/2011 art. 13(2)
///   and (3).
/// - Canada: 1.6 mm by the “o”, 0.8 mm where the main panel has 10 cm² or less: Safe Food for Canadians Regulations
///   210 and 211.
/// - US: 1/16 inch by the “o”: 21 CFR 101.2(c) (from memory). Its leave for small packs is not used.
pub const fn least_letter_height(law: AllergenList, largest_surface_cm2: Option<u32>) -> u32 {
    match (law, largest_surface_cm2) {
        (AllergenList::Eu, Some(..80)) => 900,
        (AllergenList::Eu, _) => 1200,
        (AllergenList::Ca, Some(..=10)) => 800,
        (AllergenList::Ca, _) => 1600,
        (AllergenList::Us, _) => 1588,
    }
}

/// The least height of the figures of a net quantity, in micrometres, for packs that all hold the same; `None` where
/// this has no figure for it.
///
/// EU: Directive 76/211/EEC Annex I point 3.1: 6 mm above 1000 g, 4 mm above 200 g, 3 mm above 50 g, else 2 mm. The
/// other two go by the main panel of the pack, which is not known here.
pub const fn least_figure_height(law: AllergenList, nominal: Mass) -> Option<u32> {
    match law {
        AllergenList::Eu => Some(match nominal.mg() {
            1_000_001.. => 6000,
            200_001..=1_000_000 => 4000,
            50_001..=200_000 => 3000,
            _ => 2000,
        }),
        AllergenList::Us | AllergenList::Ca => None,
    }
}
