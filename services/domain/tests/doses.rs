//! Reference doses, action levels and carry-over, against published tables and sums on paper.

use tubtrail_domain::allergens::Substance;
use tubtrail_domain::doses::{Carried, DoseError, Estimate, Origin, action_level, reference_dose};

fn assert_near(actual: f64, expected: f64, tolerance: f64, what: &str) {
    // A printed figure may stem from one exactly half-way, where the last bit would decide.
    let tolerance = tolerance + 1e-9;
    assert!((actual - expected).abs() <= tolerance, "{what}: {actual} is not {expected} ± {tolerance}");
}

fn level(dose_mg: f64, amount_g: f64) -> f64 {
    action_level(dose_mg, amount_g).expect("figures above zero")
}

fn dose(word: &str) -> Option<f64> {
    reference_dose(Substance::from_word(word).expect(word)).map(|dose| dose.protein_mg)
}

#[test]
fn doses_of_the_fao_who_consultation() {
    // mg of total protein. FAO/WHO, Food Safety and Quality Series 15 (2022); almond provisional.
    for (word, mg) in [
        ("walnut", 1.0),
        ("pecan", 1.0),
        ("cashew", 1.0),
        ("pistachio", 1.0),
        ("almond", 1.0),
        ("peanut", 2.0),
        ("egg", 2.0),
        ("milk", 2.0),
        ("sesame", 2.0),
        ("hazelnut", 3.0),
        ("wheat", 5.0),
        ("fish", 5.0),
        ("crustaceans", 200.0),
        // FAO/WHO, Food Safety and Quality Series 23 (2023).
        ("celery", 1.0),
        ("brazil_nut", 1.0),
        ("macadamia", 1.0),
        ("pine_nut", 1.0),
        ("mustard", 1.0),
        ("lupin", 10.0),
        ("buckwheat", 10.0),
        ("soy", 10.0),
    ] {
        assert_eq!(dose(word), Some(mg), "{word}");
    }
    assert_eq!(Substance::ALL.into_iter().filter_map(reference_dose).count(), 21);
}

#[test]
fn where_no_dose_is_published_there_is_none() {
    // Series 23 sets none for oats.
    for word in ["oats", "rye", "black_walnut", "unspecified_tree_nut", "molluscs", "sulphites", "coconut", "alcohol"] {
        assert_eq!(dose(word), None, "{word}");
    }
}

#[test]
fn a_dose_names_who_published_it() {
    let source = |substance| reference_dose(substance).expect("a dose").source;
    assert!(source(Substance::Hazelnut).ends_with("Series 15 (2022)"));
    assert!(source(Substance::Almond).ends_with("provisional"));
    assert!(source(Substance::Soy).ends_with("Series 23 (2023)"));
}

#[test]
fn action_levels_of_the_belgian_scientific_committee() {
    // FASFC Scientific Committee, opinion 24-2017: dose in mg, mg/kg at 25 g and at 400 g, as printed. Its doses are
    // older than those above; the arithmetic is the same. Egg is printed as 0.3 and reckoned with 0.31.
    for (what, dose, at_25, at_400) in [
        ("peanut", 1.1, 44.0, 2.8),
        ("milk", 1.2, 48.0, 3.0),
        ("egg", 0.31, 12.4, 0.8),
        ("hazelnut", 0.5, 20.0, 1.3),
        ("sesame", 0.4, 16.0, 1.0),
        ("cashew", 0.6, 24.0, 1.5),
        ("soy", 2.9, 116.0, 7.3),
        ("wheat", 1.3, 52.0, 3.3),
        ("lupin", 4.5, 180.0, 11.3),
        ("shrimp", 12.1, 484.0, 30.3),
    ] {
        // Half a unit of the last printed digit.
        assert_near(level(dose, 25.0), at_25, 0.05, what);
        assert_near(level(dose, 400.0), at_400, 0.05, what);
    }
}

#[test]
fn a_tenth_of_a_milligram_of_milk_in_a_hundred_grams_is_one_part_in_a_million() {
    // AOAC ISPAM 2017.
    assert_near(level(0.1, 100.0), 1.0, 0.0, "milk");
}

#[test]
fn action_levels_of_the_fao_who_doses_at_three_portions() {
    // mg/kg at 66, 100 and 120 g, worked out by dose × 1000 / amount and rounded to two decimals.
    for (dose, at_66, at_100, at_120) in [
        (1.0, 15.15, 10.0, 8.33),
        (2.0, 30.30, 20.0, 16.67),
        (3.0, 45.45, 30.0, 25.0),
        (5.0, 75.76, 50.0, 41.67),
        (10.0, 151.52, 100.0, 83.33),
    ] {
        assert_near(level(dose, 66.0), at_66, 0.005, "66 g");
        assert_near(level(dose, 100.0), at_100, 0.005, "100 g");
        assert_near(level(dose, 120.0), at_120, 0.005, "120 g");
    }
}

#[test]
fn doses_and_amounts_of_nothing_are_refused() {
    for (dose, amount) in [(0.0, 66.0), (-1.0, 66.0), (1.0, 0.0), (1.0, -66.0), (f64::NAN, 66.0), (1.0, f64::INFINITY)]
    {
        assert_eq!(action_level(dose, amount), Err(DoseError::NotAboveZero), "{dose} mg, {amount} g");
    }
}

/// 2 kg of hazelnut paste in 10 kg of hazelnut gelato; hazelnuts hold 15 g protein in 100 g.
fn hazelnut_gelato() -> Origin {
    Origin { source_mg: 2_000_000.0, output_mg: 10_000_000.0, protein_fraction: Some(0.15) }
}

/// So many g left in a batch of so many kg.
fn left(grams: f64, kilograms: f64) -> Carried {
    Carried { residue_mg: grams * 1000.0, output_mg: kilograms * 1_000_000.0 }
}

const PORTION_MG: f64 = 66_000.0;

fn estimate(origin: Origin, carried: &[Carried]) -> Result<Estimate, DoseError> {
    Estimate::of(&origin, carried, PORTION_MG)
}

#[test]
fn what_stayed_in_the_machine_is_spread_over_the_next_batch() {
    // The gelato is 2/10 × 0.15 = 3 % hazelnut protein. 30 g left hold 900 mg; in 10 kg that is 90 mg/kg; 66 g of it
    // hold 5.94 mg.
    let milk_gelato = estimate(hazelnut_gelato(), &[left(30.0, 10.0)]).expect("an estimate");
    assert_near(milk_gelato.protein_mg, 5.94, 0.0, "mg in a portion");
    assert!(!milk_gelato.is_upper_bound);
}

#[test]
fn each_further_batch_multiplies() {
    // Of that milk gelato 20 g stayed behind for 8 kg of lemon: 90 mg/kg × 0.020 kg = 1.8 mg in 8 kg, 0.225 mg/kg;
    // 66 g hold 0.01485 mg.
    let lemon = estimate(hazelnut_gelato(), &[left(30.0, 10.0), left(20.0, 8.0)]).expect("an estimate");
    assert_near(lemon.protein_mg, 0.014_85, 0.0, "mg in a portion");
}

#[test]
fn without_a_stated_share_the_whole_ingredient_counts_as_protein() {
    // 2/10 × 30 g = 6 g in 10 kg, 600 mg/kg; 66 g hold 39.6 mg, which is more than there can be.
    let unstated = Origin { protein_fraction: None, ..hazelnut_gelato() };
    let estimate = estimate(unstated, &[left(30.0, 10.0)]).expect("an estimate");
    assert_near(estimate.protein_mg, 39.6, 0.0, "mg in a portion");
    assert!(estimate.is_upper_bound);
}

#[test]
fn a_portion_of_the_batch_itself_holds_its_share() {
    // 3 % of 66 g.
    assert_near(estimate(hazelnut_gelato(), &[]).expect("an estimate").protein_mg, 1980.0, 0.0, "mg in a portion");
}

#[test]
fn nothing_left_carries_nothing() {
    let estimate = estimate(hazelnut_gelato(), &[left(0.0, 10.0), left(20.0, 8.0)]).expect("an estimate");
    assert_near(estimate.protein_mg, 0.0, 0.0, "mg in a portion");
}

#[test]
fn a_portion_at_the_action_level_holds_the_dose() {
    // 3 mg of hazelnut in 66 g is 45.45 mg/kg; half of the 90 mg/kg above plus a little.
    let hazelnut = reference_dose(Substance::Hazelnut).expect("a dose");
    let mg_per_kg = level(hazelnut.protein_mg, 66.0);
    let residue_g = mg_per_kg * 10.0 / 0.03 / 1000.0;
    let estimate = estimate(hazelnut_gelato(), &[left(residue_g, 10.0)]).expect("an estimate");
    assert_near(estimate.protein_mg, 3.0, 0.0, "mg in a portion");
}

#[test]
fn figures_that_cannot_be_are_refused() {
    let origin = hazelnut_gelato();
    for fraction in [-0.1, 1.000_001, f64::NAN] {
        let wrong = Origin { protein_fraction: Some(fraction), ..origin };
        assert_eq!(estimate(wrong, &[]), Err(DoseError::ProteinFraction), "{fraction}");
    }
    assert_eq!(estimate(Origin { source_mg: -1.0, ..origin }, &[]), Err(DoseError::Negative));
    assert_eq!(estimate(Origin { output_mg: 0.0, ..origin }, &[]), Err(DoseError::NotAboveZero));
    assert_eq!(estimate(origin, &[left(-1.0, 10.0)]), Err(DoseError::Negative));
    assert_eq!(estimate(origin, &[left(f64::NAN, 10.0)]), Err(DoseError::Negative));
    assert_eq!(estimate(origin, &[left(30.0, 0.0)]), Err(DoseError::NotAboveZero));
    assert_eq!(estimate(origin, &[left(10_001.0, 20.0)]), Err(DoseError::Residue), "more than was made before");
    assert_eq!(estimate(origin, &[left(5001.0, 5.0)]), Err(DoseError::Residue), "more than was made after");
    let small = [left(30.0, 1.0), left(1001.0, 5.0)];
    assert_eq!(estimate(origin, &small), Err(DoseError::Residue), "more than the small batch between");
    assert_eq!(Estimate::of(&origin, &[], 0.0), Err(DoseError::NotAboveZero));
}
