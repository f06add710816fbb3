//! Plain spirits: the density of ethanol and water by strength.
//!
//! The formula is that of OIML R 22, "International alcoholometric tables" (1973, edition 1975), which the annex of
//! Directive 76/766/EEC repeats. It is for ethanol and water and nothing else: anything with sugar in it (a liqueur, a
//! cream, a fortified syrup) is denser than its strength says and needs a measured density.

use std::fmt;

use crate::decimal::Decimal;
use crate::quantity::{Density, thousandths_text};
use crate::saying::Saying;
use crate::{say, speaks};

/// The density of pure ethanol at 20 °C in kg/m³, by which strength by volume is defined (OIML R 22).
pub const ETHANOL_KG_PER_M3: f64 = 789.24;

/// Why a spirit cannot be computed.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum SpiritError {
    /// Mass fraction not in 0..=1.
    MassFraction,
    /// Temperature not in −20..=40 °C.
    Temperature,
    /// Strength not above 0 and up to 100 % vol.
    Strength,
    /// A strength with more decimals than are kept.
    StrengthTooFine,
}

impl SpiritError {
    /// In words.
    pub fn saying(&self) -> Saying {
        match self {
            Self::MassFraction => say!("the ethanol content by mass must be between 0 and 1"),
            Self::Temperature => say!("the temperature must be between -20 and 40 °C"),
            Self::Strength => say!("the strength must be above 0 and at most 100 % vol"),
            Self::StrengthTooFine => {
                say!("a strength is kept to three decimals of a % vol: leave the further ones out")
            }
        }
    }
}

speaks!(SpiritError);

/// The density in kg/m³ of a mixture of ethanol and water at a temperature in °C.
///
/// `mass_fraction` is the mass of ethanol by the mass of the mixture, 0 to 1. That is not the strength on the label,
/// which is by volume: [`Strength`] knows both. Valid from −20 to 40 °C while the mixture is liquid.
pub fn density_kg_per_m3(mass_fraction: f64, celsius: f64) -> Result<f64, SpiritError> {
    if !(0.0..=1.0).contains(&mass_fraction) {
        return Err(SpiritError::MassFraction);
    }
    if !(-20.0..=40.0).contains(&celsius) {
        return Err(SpiritError::Temperature);
    }
    Ok(density_by_formula(mass_fraction, celsius - 20.0))
}

/// The strength in % vol at 20 °C of a mixture with this mass fraction of ethanol (0 to 1).
///
/// Pure ethanol comes out at 99.9999 and not 100, since the formula gives 789.2391 kg/m³ where the definition says
/// 789.24.
pub fn percent_by_volume(mass_fraction: f64) -> Result<f64, SpiritError> {
    Ok(density_kg_per_m3(mass_fraction, 20.0)? * mass_fraction / ETHANOL_KG_PER_M3 * 100.0)
}

/// OIML R 22: ρ = Σ `A_k` p^(k−1) + Σ `B_k` τ^k + Σ Σ `C_ik` p^k τ^i, with τ = t − 20 °C.
fn density_by_formula(p: f64, tau: f64) -> f64 {
    let thermal = coefficients::C.iter().rev().fold(0.0, |sum, row| sum * tau + polynomial(row, p) * p);
    polynomial(&coefficients::A, p) + polynomial(&coefficients::B, tau) * tau + thermal * tau
}

/// Σ `coefficients[k]` x^k, by Horner's scheme.
fn polynomial(coefficients: &[f64], x: f64) -> f64 {
    coefficients.iter().rev().fold(0.0, |sum, coefficient| sum * x + coefficient)
}

/// The alcoholic strength by volume at 20 °C of a plain spirit, in thousandths of a % vol, above 0 and up to 100.
///
/// For spirits without sugar only: see the module.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Strength(u32);

impl Strength {
    const MAX_THOUSANDTHS: u32 = 100_000;

    /// The strength on the label: 37.5 for 37.5 % vol.
    pub fn from_percent(percent: &Decimal) -> Result<Self, SpiritError> {
        if percent.is_zero() || *percent > Decimal::from_integer(100) {
            return Err(SpiritError::Strength);
        }
        let thousandths = percent.scaled_exactly(3).ok_or(SpiritError::StrengthTooFine)?;
        Self::from_thousandths(u32::try_from(thousandths).map_err(|_| SpiritError::Strength)?)
    }

    /// The strength as it is kept: 37 500 for 37.5 % vol.
    pub const fn from_thousandths(thousandths: u32) -> Result<Self, SpiritError> {
        if thousandths == 0 || thousandths > Self::MAX_THOUSANDTHS {
            return Err(SpiritError::Strength);
        }
        Ok(Self(thousandths))
    }

    /// The strength in thousandths of a % vol.
    pub const fn thousandths(self) -> u32 {
        self.0
    }

    /// The exact strength in % vol, without needless zeros: `37.5`.
    pub fn percent_text(self) -> String {
        thousandths_text(i64::from(self.0))
    }

    /// The mass of ethanol by the mass of the spirit, 0 to 1, to better than 1e-12.
    pub fn mass_fraction(self) -> f64 {
        let wanted = self.ethanol_mg_per_ml();
        let (mut low, mut high) = (0.0, 1.0);
        // The ethanol in a litre rises with the mass fraction, so halving is safe; 50 halvings leave 1e-15. From the
        // last 0.0001 % vol below 100, which the formula does not reach, it ends at 1.
        for _ in 0..50 {
            let middle = f64::midpoint(low, high);
            if density_by_formula(middle, 0.0) * middle < wanted {
                low = middle;
            } else {
                high = middle;
            }
        }
        high
    }

    /// The density at 20 °C, to the nearest g/m³.
    pub fn density(self) -> Density {
        let g_per_m3 = (density_by_formula(self.mass_fraction(), 0.0) * 1000.0).round();
        #[expect(clippy::cast_possible_truncation, reason = "rounded, and between 789 239 and 998 201")]
        Density::from_formula(g_per_m3 as i64)
    }

    /// The mass of ethanol in a millilitre of the spirit at 20 °C, in milligrams (the same figure as in g/L).
    pub fn ethanol_mg_per_ml(self) -> f64 {
        f64::from(self.0) / f64::from(Self::MAX_THOUSANDTHS) * ETHANOL_KG_PER_M3
    }
}

impl fmt::Display for Strength {
    fn fmt(&self, formatter: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(formatter, "{} % vol", self.percent_text())
    }
}

/// The coefficients of OIML R 22.
#[expect(clippy::unreadable_literal, clippy::excessive_precision, reason = "kept comparable with the printed table")]
mod coefficients {
    /// kg/m³, by power of the mass fraction from 0 up.
    pub const A: [f64; 12] = [
        998.20123,
        -192.9769495,
        389.1238958,
        -1668.103923,
        13522.15441,
        -88292.78388,
        306287.4042,
        -613838.1234,
        747017.2998,
        -547846.1354,
        223446.0334,
        -39032.85426,
    ];

    /// kg/m³, by power of the temperature difference from 1 up.
    pub const B: [f64; 6] = [-0.20618513, -5.2682542e-3, 3.6130013e-5, -3.8957702e-7, 7.1693540e-9, -9.9739231e-11];

    /// kg/m³; one row for each power of the temperature difference from 1 up, in it each power of the mass fraction
    /// from 1 up.
    pub const C: [&[f64]; 5] = [
        &[
            0.1693443461530087,
            -10.46914743455169,
            71.96353469546523,
            -704.7478054272792,
            3924.090430035045,
            -12101.64659068747,
            22486.46550400788,
            -26055.62982188164,
            18523.73922069467,
            -7420.201433430137,
            1285.617841998974,
        ],
        &[
            -0.01193013005057010,
            0.2517399633803461,
            -2.170575700536993,
            13.53034988843029,
            -50.29988758547014,
            109.6355666577570,
            -142.2753946421155,
            108.0435942856230,
            -44.14153236817392,
            7.442971530188783,
        ],
        &[
            -6.802995733503803e-4,
            1.876837790289664e-2,
            -0.2002561813734156,
            1.022992966719220,
            -2.895696483903638,
            4.810060584300675,
            -4.672147440794683,
            2.458043105903461,
            -0.5411227621436812,
        ],
        &[4.075376675622027e-6, -8.763058573471110e-6, 6.515031360099368e-6, -1.515784836987210e-6],
        &[-2.788074354782409e-8, 1.345612883493354e-8],
    ];
}
