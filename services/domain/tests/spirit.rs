//! Spirits: the formula of OIML R 22 against published figures, and strengths by it.

use tubtrail_domain::decimal::Decimal;
use tubtrail_domain::quantity::Density;
use tubtrail_domain::spirit::{SpiritError, Strength, density_kg_per_m3, percent_by_volume};

fn density(mass_fraction: f64, celsius: f64) -> f64 {
    density_kg_per_m3(mass_fraction, celsius).expect("in range")
}

fn strength(percent: &str) -> Strength {
    Strength::from_percent(&decimal(percent)).expect(percent)
}

fn decimal(text: &str) -> Decimal {
    text.parse().expect(text)
}

fn assert_near(actual: f64, expected: f64, tolerance: f64, what: &str) {
    // A printed figure may stem from one exactly half-way (37.5 × 7.8924 = 295.965), where the last bit would decide.
    let tolerance = tolerance + 1e-10;
    assert!((actual - expected).abs() <= tolerance, "{what}: {actual} is not {expected} ± {tolerance}");
}

#[test]
fn densities_published_with_oiml_r_22() {
    // Half a unit of the last printed digit.
    for (p, celsius, printed) in [(0.0, 0.0, 999.84), (0.0, 10.0, 999.70), (1.0, 20.0, 789.24), (1.0, 40.0, 771.93)] {
        assert_near(density(p, celsius), printed, 0.005, &format!("p {p}, {celsius} °C"));
    }
}

#[test]
fn densities_that_another_program_computed_from_oiml_r_22() {
    // Computed by an independent program from the coefficients of OIML R 22. Those away from 20 °C with a mass
    // fraction between 0 and 1 are the ones that the cross terms decide.
    for (p, celsius, computed) in [
        (0.0, 0.0, 999.836_93),
        (1.0, 0.0, 806.215_12),
        (0.5, 20.0, 913.770_60),
        (0.05, 10.0, 990.984_46),
        (0.25, 5.0, 968.881_46),
    ] {
        assert_near(density(p, celsius), computed, 0.000_005, &format!("p {p}, {celsius} °C"));
    }
}

#[test]
fn strengths_by_volume_have_the_tabled_mass_fraction_and_density() {
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
        let spirit = strength(percent);
        assert_near(spirit.mass_fraction() * 100.0, mass_percent, 0.000_5, percent);
        assert_near(spirit.ethanol_mg_per_ml(), ethanol, 0.005, percent);
        assert_eq!(Ok(spirit.density()), Density::from_kg_per_m3(&decimal(kg_per_m3)), "{percent}");
    }
}

#[test]
fn water_is_densest_near_four_degrees() {
    let densest = (0..=200).max_by(|a, b| density(0.0, tenths(*a)).total_cmp(&density(0.0, tenths(*b)))).unwrap();
    assert!((38..=42).contains(&densest), "{densest} tenths of a degree");
}

fn tenths(celsius: i32) -> f64 {
    f64::from(celsius) / 10.0
}

#[test]
fn density_falls_as_a_mixture_warms() {
    for hundredths in 30..=100 {
        let p = f64::from(hundredths) / 100.0;
        assert!((-200..400).all(|t| density(p, tenths(t + 1)) < density(p, tenths(t))), "p {p}");
    }
}

#[test]
fn volume_to_mass_fraction_and_back_is_the_same_volume() {
    for thousandths in (1..100_000).step_by(37) {
        let spirit = Strength::from_thousandths(thousandths).unwrap();
        let percent = percent_by_volume(spirit.mass_fraction()).unwrap();
        assert_near(percent, f64::from(thousandths) / 1000.0, 1e-9, &spirit.to_string());
    }
}

#[test]
fn a_stronger_spirit_is_lighter_and_holds_more_ethanol() {
    let spirits: Vec<Strength> = (1..=1000).map(|tenth| Strength::from_thousandths(tenth * 100).unwrap()).collect();
    for pair in spirits.windows(2) {
        assert!(pair[0] < pair[1]);
        assert!(pair[0].mass_fraction() < pair[1].mass_fraction(), "{}", pair[1]);
        assert!(pair[0].density() > pair[1].density(), "{}", pair[1]);
    }
}

#[test]
fn pure_ethanol_is_a_strength_too() {
    assert_near(strength("100").mass_fraction(), 1.0, 1e-12, "mass fraction");
    assert_eq!(strength("100").density().g_per_m3(), 789_239);
    assert_near(percent_by_volume(1.0).unwrap(), 100.0, 0.000_2, "% vol of the formula");
    assert_eq!(percent_by_volume(0.0), Ok(0.0));
}

#[test]
fn a_strength_keeps_and_shows_what_was_typed() {
    assert_eq!(strength("37.50").to_string(), "37.5 % vol");
    assert_eq!(strength("40").to_string(), "40 % vol");
    assert_eq!(strength("0.001").percent_text(), "0.001");
    assert_eq!(strength("37.5").thousandths(), 37_500);
    assert_eq!(Strength::from_thousandths(37_500), Ok(strength("37.5000")));
}

#[test]
fn other_strengths_are_refused() {
    for (percent, error) in [
        ("0", SpiritError::Strength),
        ("0.000", SpiritError::Strength),
        ("100.001", SpiritError::Strength),
        ("100.0000001", SpiritError::Strength),
        ("999999999999", SpiritError::Strength),
        ("0.0001", SpiritError::StrengthTooFine),
        ("40.1234", SpiritError::StrengthTooFine),
    ] {
        assert_eq!(Strength::from_percent(&decimal(percent)), Err(error), "{percent}");
    }
    assert_eq!(Strength::from_thousandths(0), Err(SpiritError::Strength));
    assert_eq!(Strength::from_thousandths(100_001), Err(SpiritError::Strength));
}

#[test]
fn the_formula_is_refused_outside_its_range() {
    for p in [-1e-9, 1.000_000_1, f64::NAN, f64::INFINITY] {
        assert_eq!(density_kg_per_m3(p, 20.0), Err(SpiritError::MassFraction), "{p}");
        assert_eq!(percent_by_volume(p), Err(SpiritError::MassFraction), "{p}");
    }
    for celsius in [-20.1, 40.1, f64::NAN, f64::NEG_INFINITY] {
        assert_eq!(density_kg_per_m3(0.5, celsius), Err(SpiritError::Temperature), "{celsius}");
    }
    assert!(density_kg_per_m3(0.5, -20.0).is_ok() && density_kg_per_m3(0.5, 40.0).is_ok());
}
