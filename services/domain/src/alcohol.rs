//! How much of an item is ethanol, by mass.

use crate::decimal::Decimal;
use crate::quantity::{Counting, Density};
use crate::saying::Saying;
use crate::spirit::{SpiritError, Strength};
use crate::{say, speaks};

/// Why the ethanol of an item cannot be computed, in words.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum AlcoholError {
    /// The strength is none.
    Strength(SpiritError),
    /// A litre of it would weigh less than the ethanol in it.
    TooLight,
}

impl AlcoholError {
    /// In words.
    pub fn saying(&self) -> Saying {
        match self {
            Self::Strength(error) => error.saying(),
            Self::TooLight => say!("a liquid of this strength cannot be so light: check the density and the strength"),
        }
    }
}

speaks!(AlcoholError);

impl From<SpiritError> for AlcoholError {
    fn from(error: SpiritError) -> Self {
        Self::Strength(error)
    }
}

/// The mass of ethanol by the mass of an item that is counted so, 0 to 1; `None` where it cannot be known.
///
/// A plain spirit has it from its own strength, whatever strength is given beside it. Anything else needs a strength
/// (`percent_vol`, % vol at 20 °C) and a measured density: a liqueur is denser than its strength says. A strength of 0
/// needs none.
pub fn ethanol_fraction(counting: &Counting, percent_vol: Option<&Decimal>) -> Result<Option<f64>, AlcoholError> {
    if let Counting::ByStrength { strength } = counting {
        return Ok(Some(strength.mass_fraction()));
    }
    let Some(percent_vol) = percent_vol else {
        return Ok(None);
    };
    if percent_vol.is_zero() {
        return Ok(Some(0.0));
    }
    let strength = Strength::from_percent(percent_vol)?;
    counting.density().map(|density| fraction_by_density(strength, density)).transpose()
}

/// The mass of ethanol by the mass of a liquid of this strength and this measured density, 0 to 1.
///
/// A litre holds 7.8924 g of ethanol for each % vol, by the definition of strength (OIML R 22, ethanol at 20 °C:
/// 789.24 kg/m³), and weighs what the density says. The density ought to be one at 20 °C too; 10 °C amiss are up to
/// about a hundredth of the result.
pub fn fraction_by_density(strength: Strength, density: Density) -> Result<f64, AlcoholError> {
    #[expect(clippy::cast_precision_loss, reason = "at most 2 000 000")]
    let g_per_litre = density.g_per_m3() as f64 / 1000.0;
    let fraction = strength.ethanol_mg_per_ml() / g_per_litre;
    if fraction > 1.0 { Err(AlcoholError::TooLight) } else { Ok(fraction) }
}
