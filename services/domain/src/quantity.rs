//! Quantities: what was typed, in the unit it was typed in, and what that is in exact milligrams.
//!
//! Stock is kept as a whole number of milligrams. Every conversion is integer arithmetic with the exact factor of the
//! unit, rounded once, at the end, half to even.

use std::fmt;
use std::str::FromStr;

use crate::decimal::Decimal;
use crate::saying::Saying;
use crate::spirit::Strength;
use crate::{say, speaks};

/// Why a quantity cannot be used, in words for the person who entered it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum QuantityError {
    /// Below zero.
    Negative,
    /// Exactly zero was entered.
    Zero,
    /// More than nothing, but it rounds to no milligrams at all.
    TooSmall,
    /// Above [`Mass::MAX`].
    TooLarge,
    /// Not the symbol of a [`Unit`].
    UnknownUnit {
        /// The beginning of what was given.
        given: String,
    },
    /// A volume of an item that has no density.
    NeedsDensity {
        /// The unit that was entered.
        unit: Unit,
    },
    /// A number of pieces of an item whose pieces have no mass.
    NeedsPieceMass {
        /// The unit that was entered.
        unit: Unit,
    },
    /// A density outside [`Density::MIN`]..=[`Density::MAX`].
    DensityOutOfRange,
    /// A density with more decimals than are kept.
    DensityTooFine,
}

impl QuantityError {
    /// In words.
    pub fn saying(&self) -> Saying {
        match self {
            Self::Negative => say!("a quantity cannot be below zero"),
            Self::Zero => say!("the quantity is zero: enter how much there is"),
            Self::TooSmall => say!("the quantity is too small: stock is kept in whole milligrams"),
            Self::TooLarge => say!("the quantity is more than 1000000 kg: check the amount and the unit"),
            Self::UnknownUnit { given } => {
                say!("“{given}” is not a unit: use one of {units}", units = symbol_list(), given)
            }
            Self::NeedsDensity { unit } => say!(
                "“{unit}” is a volume and this item has no density: weigh it, or give the item a density first",
                unit
            ),
            Self::NeedsPieceMass { unit } => say!(
                "“{unit}” is a count and this item has no mass per piece: weigh it, or give the item a mass per piece first",
                unit
            ),
            Self::DensityOutOfRange => say!(
                "a density must be between 300 and 2000 kg/m³, where water is 1000: a figure in kg/L is a thousand times less"
            ),
            Self::DensityTooFine => say!("a density is kept to three decimals of a kg/m³: leave the further ones out"),
        }
    }
}

speaks!(QuantityError);

/// A mass in whole milligrams, from zero to [`Mass::MAX`].
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Mass(i64);

impl Mass {
    /// Nothing.
    pub const ZERO: Self = Self(0);

    /// 1 000 000 kg.
    ///
    /// Far above any delivery a gelato maker takes, so a larger figure is a slip of the unit; and so far below what an
    /// `i64` holds that adding up nine million masses of this size does not overflow.
    pub const MAX: Self = Self(1_000_000_000_000);

    /// A mass of `mg` milligrams.
    pub const fn from_mg(mg: i64) -> Result<Self, QuantityError> {
        if mg < 0 {
            Err(QuantityError::Negative)
        } else if mg > Self::MAX.0 {
            Err(QuantityError::TooLarge)
        } else {
            Ok(Self(mg))
        }
    }

    /// A mass of `grams` grams.
    pub const fn from_grams(grams: i64) -> Result<Self, QuantityError> {
        // Saturating is enough: either end of an `i64` is refused.
        Self::from_mg(grams.saturating_mul(1000))
    }

    /// The mass in milligrams.
    pub const fn mg(self) -> i64 {
        self.0
    }

    /// Whether there is nothing.
    pub const fn is_zero(self) -> bool {
        self.0 == 0
    }

    /// The sum, or `None` above [`Mass::MAX`].
    pub fn checked_add(self, other: Self) -> Option<Self> {
        Self::from_mg(self.0.checked_add(other.0)?).ok()
    }

    /// The difference, or `None` below zero.
    pub fn checked_sub(self, other: Self) -> Option<Self> {
        Self::from_mg(self.0.checked_sub(other.0)?).ok()
    }

    /// The exact mass in grams, without needless zeros: `1234.5`.
    pub fn grams_text(self) -> String {
        thousandths_text(self.0)
    }
}

impl fmt::Display for Mass {
    fn fmt(&self, formatter: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(formatter, "{} g", self.grams_text())
    }
}

/// A non-negative number of thousandths, written as a decimal without trailing zeros.
pub(crate) fn thousandths_text(thousandths: i64) -> String {
    let text = format!("{}.{:03}", thousandths / 1000, thousandths % 1000);
    text.trim_end_matches('0').trim_end_matches('.').to_owned()
}

/// What a unit measures.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Dimension {
    /// Mass, counted in milligrams.
    Mass,
    /// Volume, counted in millilitres.
    Volume,
    /// A number of pieces.
    Count,
}

/// A unit in which a quantity may be entered.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Unit {
    /// Milligram.
    Milligram,
    /// Gram.
    Gram,
    /// Kilogram.
    Kilogram,
    /// Avoirdupois pound.
    Pound,
    /// Avoirdupois ounce, a sixteenth of a pound.
    Ounce,
    /// Millilitre.
    Millilitre,
    /// Centilitre.
    Centilitre,
    /// Litre.
    Litre,
    /// US fluid ounce, a 128th of a US gallon.
    UsFluidOunce,
    /// US liquid gallon, 231 cubic inches.
    UsGallon,
    /// Imperial fluid ounce, a 160th of an imperial gallon.
    ImperialFluidOunce,
    /// Imperial (British and Canadian) gallon.
    ImperialGallon,
    /// One piece.
    Piece,
    /// Twelve pieces.
    Dozen,
}

impl Unit {
    /// Every unit, in the order in which a form should offer them.
    pub const ALL: [Self; 14] = [
        Self::Milligram,
        Self::Gram,
        Self::Kilogram,
        Self::Pound,
        Self::Ounce,
        Self::Millilitre,
        Self::Centilitre,
        Self::Litre,
        Self::UsFluidOunce,
        Self::UsGallon,
        Self::ImperialFluidOunce,
        Self::ImperialGallon,
        Self::Piece,
        Self::Dozen,
    ];

    /// The one text that stands for this unit in forms, files and the API.
    pub const fn symbol(self) -> &'static str {
        match self {
            Self::Milligram => "mg",
            Self::Gram => "g",
            Self::Kilogram => "kg",
            Self::Pound => "lb",
            Self::Ounce => "oz",
            Self::Millilitre => "ml",
            Self::Centilitre => "cl",
            Self::Litre => "l",
            Self::UsFluidOunce => "us_fl_oz",
            Self::UsGallon => "us_gal",
            Self::ImperialFluidOunce => "imp_fl_oz",
            Self::ImperialGallon => "imp_gal",
            Self::Piece => "piece",
            Self::Dozen => "dozen",
        }
    }

    /// What the unit measures.
    pub const fn dimension(self) -> Dimension {
        match self {
            Self::Milligram | Self::Gram | Self::Kilogram | Self::Pound | Self::Ounce => Dimension::Mass,
            Self::Piece | Self::Dozen => Dimension::Count,
            Self::Millilitre
            | Self::Centilitre
            | Self::Litre
            | Self::UsFluidOunce
            | Self::UsGallon
            | Self::ImperialFluidOunce
            | Self::ImperialGallon => Dimension::Volume,
        }
    }

    /// How many milligrams, millilitres or pieces one of this unit is, exactly.
    ///
    /// The customary units are defined by these figures: NIST Handbook 44 Appendix C and SP 811 (1 lb = 453.592 37 g,
    /// 1 US gal = 3.785 411 784 L); the imperial gallon is 4.546 09 L.
    const fn in_base(self) -> Ratio {
        match self {
            Self::Milligram | Self::Millilitre | Self::Piece => Ratio::whole(1),
            Self::Centilitre => Ratio::whole(10),
            Self::Dozen => Ratio::whole(12),
            Self::Gram | Self::Litre => Ratio::whole(1000),
            Self::Kilogram => Ratio::whole(1_000_000),
            Self::Pound => Ratio::new(45_359_237, 100),
            Self::Ounce => Ratio::new(45_359_237, 100 * 16),
            Self::UsGallon => Ratio::new(3_785_411_784, 1_000_000),
            Self::UsFluidOunce => Ratio::new(3_785_411_784, 1_000_000 * 128),
            Self::ImperialGallon => Ratio::new(454_609, 100),
            Self::ImperialFluidOunce => Ratio::new(454_609, 100 * 160),
        }
    }
}

impl fmt::Display for Unit {
    fn fmt(&self, formatter: &mut fmt::Formatter<'_>) -> fmt::Result {
        formatter.write_str(self.symbol())
    }
}

impl FromStr for Unit {
    type Err = QuantityError;

    /// Reads exactly a [`Unit::symbol`]. Other spellings are refused: `L`, `Lb` and `gal` leave room for doubt.
    fn from_str(given: &str) -> Result<Self, Self::Err> {
        Self::ALL.into_iter().find(|unit| unit.symbol() == given).ok_or_else(|| unknown_unit(given))
    }
}

/// The error for a text that is no unit. It quotes only the beginning, since the text may be anything.
fn unknown_unit(given: &str) -> QuantityError {
    QuantityError::UnknownUnit { given: given.chars().take(20).collect() }
}

fn symbol_list() -> String {
    Unit::ALL.map(Unit::symbol).join(", ")
}

/// A density in whole g/m³ (a thousandth of a kg/m³), from [`Density::MIN`] to [`Density::MAX`].
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Density(i64);

impl Density {
    /// 300 kg/m³. Even loose powders are denser; a figure such as 1.03 is one in kg/L.
    pub const MIN: Self = Self(300_000);

    /// 2000 kg/m³. Even heavy syrups are less dense; a figure above it has a digit too many.
    pub const MAX: Self = Self(2_000_000);

    /// A density as it is typed, in kg/m³ (which is the same figure as in g/L).
    pub fn from_kg_per_m3(kg_per_m3: &Decimal) -> Result<Self, QuantityError> {
        if *kg_per_m3 < Decimal::from_integer(300) || *kg_per_m3 > Decimal::from_integer(2000) {
            return Err(QuantityError::DensityOutOfRange);
        }
        let g_per_m3 = kg_per_m3.scaled_exactly(3).ok_or(QuantityError::DensityTooFine)?;
        Self::from_g_per_m3(i64::try_from(g_per_m3).map_err(|_| QuantityError::DensityOutOfRange)?)
    }

    /// A density as it is kept, in g/m³.
    pub const fn from_g_per_m3(g_per_m3: i64) -> Result<Self, QuantityError> {
        if g_per_m3 < Self::MIN.0 || g_per_m3 > Self::MAX.0 {
            return Err(QuantityError::DensityOutOfRange);
        }
        Ok(Self(g_per_m3))
    }

    /// The nearest density in range to a computed one, for formulas that cannot leave the range.
    pub(crate) fn from_formula(g_per_m3: i64) -> Self {
        debug_assert!(Self::from_g_per_m3(g_per_m3).is_ok(), "{g_per_m3} g/m³ is no density of food");
        Self(g_per_m3.clamp(Self::MIN.0, Self::MAX.0))
    }

    /// The density in g/m³.
    pub const fn g_per_m3(self) -> i64 {
        self.0
    }

    /// The exact density in kg/m³, without needless zeros: `1030.5`.
    pub fn kg_per_m3_text(self) -> String {
        thousandths_text(self.0)
    }

    /// 1 g/m³ is a thousandth of a mg/mL.
    fn mg_per_ml(self) -> Ratio {
        Ratio::new(i128::from(self.0), 1000)
    }
}

impl fmt::Display for Density {
    fn fmt(&self, formatter: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(formatter, "{} kg/m³", self.kg_per_m3_text())
    }
}

/// How an item may be counted besides weighing it, which always works.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Counting {
    /// By mass only.
    ByMass,
    /// Also by volume, with the density of the item as it is measured out.
    ByVolume {
        /// Mass per volume.
        density: Density,
    },
    /// Also by the piece.
    ByPiece {
        /// The mass of one piece.
        piece_mass: Mass,
    },
    /// A plain spirit, also by volume, with the density that its strength gives at 20 °C.
    ByStrength {
        /// The alcoholic strength by volume.
        strength: Strength,
    },
}

impl Counting {
    /// The density of the item, if it has one.
    pub fn density(&self) -> Option<Density> {
        match self {
            Self::ByVolume { density } => Some(*density),
            Self::ByStrength { strength } => Some(strength.density()),
            Self::ByMass | Self::ByPiece { .. } => None,
        }
    }

    /// The mass of one piece, if the item comes in pieces. A mass of zero is none.
    pub fn piece_mass(&self) -> Option<Mass> {
        match self {
            Self::ByPiece { piece_mass } if !piece_mass.is_zero() => Some(*piece_mass),
            _ => None,
        }
    }
}

/// A quantity as it was entered. It is kept beside the mass, since it is what the person can check.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub struct Entered {
    /// How many.
    pub amount: Decimal,
    /// Of what.
    pub unit: Unit,
}

impl fmt::Display for Entered {
    fn fmt(&self, formatter: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(formatter, "{} {}", self.amount, self.unit)
    }
}

/// The mass of an entered quantity of an item that is counted so, to the nearest milligram (half to even).
///
/// A fraction of a piece is a quantity like any other: half a lemon is used, and the other half is stock.
pub fn to_mass(entered: &Entered, counting: &Counting) -> Result<Mass, QuantityError> {
    if entered.amount.is_zero() {
        return Err(QuantityError::Zero);
    }
    let mg_per_base = mg_per_base(entered.unit, counting)?;
    let mg = rounded_product(entered.amount, entered.unit.in_base(), mg_per_base).ok_or(QuantityError::TooLarge)?;
    if mg == 0 {
        return Err(QuantityError::TooSmall);
    }
    Mass::from_mg(i64::try_from(mg).map_err(|_| QuantityError::TooLarge)?)
}

/// What one milligram, millilitre or piece of the item weighs, in milligrams.
fn mg_per_base(unit: Unit, counting: &Counting) -> Result<Ratio, QuantityError> {
    match unit.dimension() {
        Dimension::Mass => Ok(Ratio::whole(1)),
        Dimension::Volume => counting.density().map(Density::mg_per_ml).ok_or(QuantityError::NeedsDensity { unit }),
        Dimension::Count => match counting.piece_mass() {
            Some(mass) => Ok(Ratio::whole(i128::from(mass.mg()))),
            None => Err(QuantityError::NeedsPieceMass { unit }),
        },
    }
}

/// `amount × first × second`, rounded half to even; `None` on overflow.
///
/// Only a numerator above 1.7e38 overflows. The denominators here stay below 1e21 (1e9 of the amount, 1.28e8 of the
/// unit, 1e3 of a density), so such a product is above 1e17 mg and too large by any measure.
fn rounded_product(amount: Decimal, first: Ratio, second: Ratio) -> Option<i128> {
    let numerator = amount.units().checked_mul(first.numerator)?.checked_mul(second.numerator)?;
    let denominator = 10_i128.checked_pow(amount.scale())?.checked_mul(first.denominator * second.denominator)?;
    Some(divide_half_to_even(numerator, denominator))
}

/// Half to even, so that many roundings in a row lean neither up nor down.
pub(crate) const fn divide_half_to_even(numerator: i128, denominator: i128) -> i128 {
    let quotient = numerator / denominator;
    let remainder = numerator % denominator;
    let to_next = denominator - remainder;
    if remainder > to_next || (remainder == to_next && quotient % 2 == 1) { quotient + 1 } else { quotient }
}

/// An exact positive fraction.
#[derive(Clone, Copy)]
struct Ratio {
    numerator: i128,
    denominator: i128,
}

impl Ratio {
    const fn new(numerator: i128, denominator: i128) -> Self {
        Self { numerator, denominator }
    }

    const fn whole(numerator: i128) -> Self {
        Self::new(numerator, 1)
    }
}
