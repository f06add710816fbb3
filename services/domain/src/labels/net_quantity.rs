//! The net quantity of a tub as a law wants it written. By weight; never more than there is.

use crate::allergens::AllergenList;
use crate::quantity::{Mass, thousandths_text};

const MG_PER_G: i64 = 1000;
const MG_PER_KG: i64 = 1_000_000;

/// A mass as a net quantity, rounded down: no figure may overstate what is in there (NIST Handbook 130, Uniform
/// Packaging and Labeling Regulation, on rounding: “in no case shall rounded net contents declarations overstate a
/// quantity”). `None` where nothing would be left.
///
/// - EU: grams, from 1000 g kilograms (Regulation (EU) 1169/2011 art. 23(1)(b): one or the other; from memory), to the
///   whole gram.
/// - Canada: grams below 1000 g, else kilograms; three figures, below 100 g whole grams. Safe Food for Canadians
///   Regulations 231 to 233 and the agency's table of units.
/// - US: pounds and ounces to a tenth of an ounce, grams or kilograms in three figures behind them in brackets: 15 USC
///   1453(a)(2), largest whole unit first (from memory), and NIST Special Publication 1020. 1 lb is 453.592 37 g.
///
/// Some places take frozen desserts by volume, which is custom: this gives the weight.
pub fn net_quantity(law: AllergenList, mass: Mass) -> Option<String> {
    match law {
        AllergenList::Eu => whole_grams(mass),
        AllergenList::Ca => three_figures(mass),
        AllergenList::Us => customary(mass),
    }
}

fn whole_grams(mass: Mass) -> Option<String> {
    let grams = mass.mg() / MG_PER_G;
    match grams {
        0 => None,
        1..1000 => Some(format!("{grams} g")),
        _ => Some(format!("{} kg", thousandths_text(grams))),
    }
}

fn three_figures(mass: Mass) -> Option<String> {
    if mass.mg() < MG_PER_KG {
        return whole_grams(mass);
    }
    let grams = mass.mg() / MG_PER_G;
    let mut step = 1;
    while grams / step >= 1000 {
        step *= 10;
    }
    Some(format!("{} kg", thousandths_text(grams / step * step)))
}

fn customary(mass: Mass) -> Option<String> {
    /// A tenth of an ounce is 45 359 237 / 16 000 mg.
    const TENTHS: (i128, i128) = (16_000, 45_359_237);
    let tenths = i128::from(mass.mg()) * TENTHS.0 / TENTHS.1;
    let (pounds, tenths) = (tenths / 160, tenths % 160);
    let ounces =
        if tenths % 10 == 0 { format!("{} oz", tenths / 10) } else { format!("{}.{} oz", tenths / 10, tenths % 10) };
    let metric = three_figures(mass)?;
    match (pounds, tenths) {
        (0, 0) => None,
        (0, _) => Some(format!("Net Wt {ounces} ({metric})")),
        (_, 0) => Some(format!("Net Wt {pounds} lb ({metric})")),
        _ => Some(format!("Net Wt {pounds} lb {ounces} ({metric})")),
    }
}
