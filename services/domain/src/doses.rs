//! How much of an allergen might be carried over, and the published doses it can be held against.
//!
//! A reference dose is none that nobody reacts to: those of FAO/WHO are built on the dose at which one allergic person in
//! twenty is expected to react (ED05). Below it is not the same as absent, and nothing here says that a food may be eaten.
//! Figures are `f64`: they are estimates, and no stock is reckoned with them.

use crate::allergens::Substance;
use crate::saying::Saying;
use crate::{say, speaks};

/// A published dose of an allergen.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ReferenceDose {
    /// Total protein of the allergenic source, in mg for each occasion of eating.
    pub protein_mg: f64,
    /// Who published it, to print beside it.
    pub source: &'static str,
}

const FSQS_15: &str = "FAO/WHO, Food Safety and Quality Series 15 (2022)";
const FSQS_15_PROVISIONAL: &str = "FAO/WHO, Food Safety and Quality Series 15 (2022), provisional";
const FSQS_23: &str = "FAO/WHO, Food Safety and Quality Series 23 (2023)";

/// The reference dose that the FAO/WHO expert consultation recommends, where it recommends one.
///
/// `None` is “nobody has published one”, never “none is too much”: the consultation set none for oats, and black walnut is
/// not taken to be like walnut.
pub const fn reference_dose(substance: Substance) -> Option<ReferenceDose> {
    let (protein_mg, source) = match substance {
        Substance::Walnut | Substance::Pecan | Substance::Cashew | Substance::Pistachio => (1.0, FSQS_15),
        Substance::Almond => (1.0, FSQS_15_PROVISIONAL),
        Substance::Peanut | Substance::Egg | Substance::Milk | Substance::Sesame => (2.0, FSQS_15),
        Substance::Hazelnut => (3.0, FSQS_15),
        Substance::Wheat | Substance::Fish => (5.0, FSQS_15),
        Substance::Crustaceans => (200.0, FSQS_15),
        Substance::Celery | Substance::BrazilNut | Substance::Macadamia | Substance::PineNut | Substance::Mustard => {
            (1.0, FSQS_23)
        }
        Substance::Lupin | Substance::Buckwheat | Substance::Soy => (10.0, FSQS_23),
        _ => return None,
    };
    Some(ReferenceDose { protein_mg, source })
}

/// Why a dose cannot be computed, in words for the person who entered the figures.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum DoseError {
    /// A dose, a batch or a portion that is not above zero.
    NotAboveZero,
    /// A source or a residue below zero.
    Negative,
    /// A protein fraction not in 0..=1.
    ProteinFraction,
    /// More residue than the batch it stayed behind from, or than the batch it went into.
    Residue,
}

impl DoseError {
    /// In words.
    pub fn saying(&self) -> Saying {
        match self {
            Self::NotAboveZero => say!("the dose, the portion and what a batch yields must be above zero"),
            Self::Negative => say!("a mass cannot be below zero"),
            Self::ProteinFraction => say!("the share of protein must be between 0 and 1"),
            Self::Residue => {
                say!("what stayed in the machine cannot be more than the batch before it or the batch after it")
            }
        }
    }
}

speaks!(DoseError);

/// The mg of protein in a kg of food at which one reference amount of it holds the reference dose: dose × 1000 / amount.
///
/// `dose_mg` in mg protein, `amount_g` in g: what is eaten on one occasion, best the median of that, else the mean (Food
/// and Chemical Toxicology 2023, 113953). It does not hold for food sold on in bulk.
pub fn action_level(dose_mg: f64, amount_g: f64) -> Result<f64, DoseError> {
    Ok(above_zero(dose_mg)? * 1000.0 / above_zero(amount_g)?)
}

/// What an allergen went into first.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Origin {
    /// How much of the allergenic ingredient went into the batch, in mg.
    pub source_mg: f64,
    /// What the batch came to, in mg.
    pub output_mg: f64,
    /// The share of protein in the ingredient by mass, 0 to 1, if it is stated.
    pub protein_fraction: Option<f64>,
}

/// A batch made after another on equipment where some of that was left.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Carried {
    /// What was left of the batch before, in mg.
    pub residue_mg: f64,
    /// What the batch after came to, in mg, the residue among it.
    pub output_mg: f64,
}

/// How much protein of an allergen a portion may hold.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Estimate {
    /// mg of protein in the portion, as if everything were mixed evenly.
    pub protein_mg: f64,
    /// Whether the share of protein was not stated, so that the whole ingredient was taken as protein. The true figure
    /// is then lower.
    pub is_upper_bound: bool,
}

impl Estimate {
    /// Follows the allergen from the batch it went into through each batch that was made after it, and into a portion of
    /// the last, of `portion_mg` mg.
    ///
    /// Each contact multiplies by what was left over what the next batch came to: 50 g left, in a batch of 10 kg, are a
    /// two hundredth. It assumes that what was left mixes evenly. A lump in the first tub is more than this says.
    pub fn of(origin: &Origin, carried: &[Carried], portion_mg: f64) -> Result<Self, DoseError> {
        let protein_fraction = origin.protein_fraction.unwrap_or(1.0);
        if !(0.0..=1.0).contains(&protein_fraction) {
            return Err(DoseError::ProteinFraction);
        }
        let mut before_mg = above_zero(origin.output_mg)?;
        let mut share = not_negative(origin.source_mg)? * protein_fraction / before_mg;
        for contact in carried {
            let after_mg = above_zero(contact.output_mg)?;
            let residue_mg = not_negative(contact.residue_mg)?;
            if residue_mg > before_mg || residue_mg > after_mg {
                return Err(DoseError::Residue);
            }
            share *= residue_mg / after_mg;
            before_mg = after_mg;
        }
        let protein_mg = share * above_zero(portion_mg)?;
        Ok(Self { protein_mg, is_upper_bound: origin.protein_fraction.is_none() })
    }
}

/// Finite and above zero.
fn above_zero(figure: f64) -> Result<f64, DoseError> {
    if figure.is_finite() && figure > 0.0 { Ok(figure) } else { Err(DoseError::NotAboveZero) }
}

/// Finite and not below zero.
fn not_negative(figure: f64) -> Result<f64, DoseError> {
    if figure.is_finite() && figure >= 0.0 { Ok(figure) } else { Err(DoseError::Negative) }
}
