//! How much of an item is ethanol: OIML R 22 both ways, and where it cannot be known.

use tubtrail_domain::alcohol::{AlcoholError, ethanol_fraction, fraction_by_density};
use tubtrail_domain::decimal::Decimal;
use tubtrail_domain::quantity::{Counting, Density, Mass};
use tubtrail_domain::spirit::{SpiritError, Strength};

fn decimal(text: &str) -> Decimal {
    text.parse().expect(text)
}

fn density(kg_per_m3: &str) -> Density {
    Density::from_kg_per_m3(&decimal(kg_per_m3)).expect(kg_per_m3)
}

fn strength(percent: &str) -> Strength {
    Strength::from_percent(&decimal(percent)).expect(percent)
}

fn fraction(counting: &Counting, percent: &str) -> Result<Option<f64>, AlcoholError> {
    ethanol_fraction(counting, Some(&decimal(percent)))
}

fn assert_near(actual: f64, expected: f64, tolerance: f64, what: &str) {
    let tolerance = tolerance + 1e-10;
    assert!((actual - expected).abs() <= tolerance, "{what}: {actual} is not {expected} ± {tolerance}");
}

#[test]
fn spirits_have_the_tabled_ethanol_by_their_strength_and_by_their_density() {
    // % vol, % mass, kg/m³ at 20 °C, g ethanol per litre: computed by an independent program from OIML R 22.
    for (percent, mass_percent, kg_per_m3, ethanol) in [
        ("5", 3.982, "991.055", 39.46),
        ("15", 12.093, "978.971", 118.39),
        ("20", 16.214, "973.557", 157.85),
        ("30", 24.607, "962.210", 236.77),
        ("37.5", 31.091, "951.936", 295.96),
        ("38", 31.531, "951.177", 299.91),
        ("40", 33.300, "948.045", 315.70),
        ("43", 35.987, "943.056", 339.37),
        ("50", 42.426, "930.142", 394.62),
        ("96", 93.839, "807.419", 757.67),
    ] {
        let by_strength = ethanol_fraction(&Counting::ByStrength { strength: strength(percent) }, None);
        assert_near(by_strength.unwrap().unwrap() * 100.0, mass_percent, 0.000_5, percent);
        let counting = Counting::ByVolume { density: density(kg_per_m3) };
        let by_density = fraction(&counting, percent).unwrap().unwrap();
        assert_near(by_density * 100.0, mass_percent, 0.000_5, percent);
        // A litre weighs as many grams as the density says.
        let grams_per_litre: f64 = kg_per_m3.parse().unwrap();
        assert_near(by_density * grams_per_litre, ethanol, 0.005, percent);
    }
}

#[test]
fn a_liqueur_holds_less_than_a_spirit_of_its_strength() {
    // 28 % vol and measured at 1.090 kg/L: 28 × 7.8924 = 220.9872 g in 1090 g, 20.274 % by mass.
    let liqueur = fraction_by_density(strength("28"), density("1090")).unwrap();
    assert_near(liqueur, 0.202_74, 0.000_005, "liqueur");
    assert!(liqueur < strength("28").mass_fraction());
}

#[test]
fn without_a_strength_or_a_density_it_is_not_known() {
    let piece = Counting::ByPiece { piece_mass: Mass::from_mg(12_000).unwrap() };
    for counting in [Counting::ByMass, piece] {
        assert_eq!(ethanol_fraction(&counting, None), Ok(None));
        assert_eq!(fraction(&counting, "15"), Ok(None), "rum raisins that nobody weighed by the litre");
    }
    assert_eq!(ethanol_fraction(&Counting::ByVolume { density: density("1030") }, None), Ok(None));
}

#[test]
fn a_strength_of_zero_is_none_whatever_it_weighs() {
    for counting in [Counting::ByMass, Counting::ByVolume { density: density("1030") }] {
        assert_eq!(fraction(&counting, "0.0"), Ok(Some(0.0)));
    }
}

#[test]
fn a_plain_spirit_has_its_own_strength() {
    let rum = Counting::ByStrength { strength: strength("40") };
    assert_eq!(fraction(&rum, "12"), ethanol_fraction(&rum, None));
}

#[test]
fn figures_that_cannot_be_are_refused() {
    let milk = Counting::ByVolume { density: density("1030") };
    assert_eq!(fraction(&milk, "100.1"), Err(AlcoholError::Strength(SpiritError::Strength)));
    assert_eq!(fraction(&Counting::ByMass, "100.1"), Err(AlcoholError::Strength(SpiritError::Strength)));
    assert_eq!(fraction(&milk, "5.0001"), Err(AlcoholError::Strength(SpiritError::StrengthTooFine)));
    // 96 % vol is 757.67 g of ethanol in a litre, which cannot weigh 700 g.
    assert_eq!(fraction_by_density(strength("96"), density("700")), Err(AlcoholError::TooLight));
}
