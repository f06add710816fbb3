//! Quantities: typed numbers, units, and the exact mass they come to.

use std::collections::HashSet;

use tubtrail_domain::decimal::{Decimal, DecimalError};
use tubtrail_domain::quantity::{Counting, Density, Dimension, Entered, Mass, QuantityError, Unit, to_mass};
use tubtrail_domain::spirit::Strength;

fn decimal(text: &str) -> Decimal {
    text.parse().expect(text)
}

fn density(kg_per_m3: &str) -> Density {
    Density::from_kg_per_m3(&decimal(kg_per_m3)).expect(kg_per_m3)
}

fn volume(kg_per_m3: &str) -> Counting {
    Counting::ByVolume { density: density(kg_per_m3) }
}

fn piece(mg: i64) -> Counting {
    Counting::ByPiece { piece_mass: Mass::from_mg(mg).unwrap() }
}

fn mass_of(amount: &str, unit: Unit, counting: &Counting) -> Result<i64, QuantityError> {
    to_mass(&Entered { amount: decimal(amount), unit }, counting).map(Mass::mg)
}

mod typed_numbers {
    use super::*;

    #[test]
    fn are_shown_as_typed() {
        for text in ["0", "12", "12.5", "12.50", "0.000", "0.05", "1000", "999999999999.999999999"] {
            assert_eq!(decimal(text).to_string(), text);
        }
        assert_eq!(decimal("  007.50 ").to_string(), "7.50");
        assert_eq!(Decimal::from_integer(u64::MAX).to_string(), u64::MAX.to_string());
    }

    #[test]
    fn give_their_digits() {
        assert_eq!((decimal("12.50").units(), decimal("12.50").scale()), (1250, 2));
        assert_eq!(decimal("999999999999.999999999").units(), 999_999_999_999_999_999_999);
        assert_eq!(decimal("1.50").scaled_exactly(3), Some(1500));
        assert_eq!(decimal("1.500").scaled_exactly(1), Some(15));
        assert_eq!(decimal("1.501").scaled_exactly(2), None);
        assert_eq!(decimal("1").scaled_exactly(100), None);
        assert!(decimal("0.00").is_zero() && !decimal("0.01").is_zero());
    }

    #[test]
    fn compare_by_value() {
        assert_eq!(decimal("1.5"), decimal("1.50"));
        assert_eq!(decimal("3"), Decimal::from_integer(3));
        assert!(decimal("1.5") < decimal("1.500000001"));
        assert!(decimal("10") > decimal("9.999999999"));
        assert!(Decimal::from_integer(u64::MAX) > decimal("999999999999.999999999"));
        let same: HashSet<Decimal> = ["2", "2.0", "2.000000000"].map(decimal).into();
        assert_eq!(same.len(), 1);
    }

    #[test]
    fn are_refused_with_the_reason() {
        for (text, error) in [
            ("", DecimalError::Empty),
            ("  ", DecimalError::Empty),
            ("-1", DecimalError::Negative),
            ("\u{2212}1", DecimalError::Negative),
            ("-", DecimalError::Negative),
            ("12,5", DecimalError::Comma),
            ("1,234.5", DecimalError::Comma),
            (".5", DecimalError::NoDigitBeforePoint),
            (".", DecimalError::NoDigitBeforePoint),
            ("5.", DecimalError::NoDigitAfterPoint),
            ("1.2.3", DecimalError::WrongCharacter { found: '.' }),
            ("1e3", DecimalError::WrongCharacter { found: 'e' }),
            ("+1", DecimalError::WrongCharacter { found: '+' }),
            ("1 000", DecimalError::WrongCharacter { found: ' ' }),
            ("1-2", DecimalError::WrongCharacter { found: '-' }),
            ("1'000", DecimalError::WrongCharacter { found: '\'' }),
            ("NaN", DecimalError::WrongCharacter { found: 'N' }),
            ("１２", DecimalError::WrongCharacter { found: '１' }),
            ("1\n", DecimalError::WrongCharacter { found: '\n' }),
            ("1234567890123", DecimalError::TooLong),
            ("0.1234567890", DecimalError::TooLong),
        ] {
            assert_eq!(text.parse::<Decimal>(), Err(error), "{text:?}");
        }
        assert!(DecimalError::Comma.to_string().contains("use a point"));
        assert_eq!("9".repeat(100_000).parse::<Decimal>(), Err(DecimalError::TooLong));
    }
}

mod mass {
    use super::*;

    #[test]
    fn is_never_negative_nor_above_a_thousand_tonnes() {
        assert_eq!(Mass::from_mg(-1), Err(QuantityError::Negative));
        assert_eq!(Mass::from_mg(0), Ok(Mass::ZERO));
        assert_eq!(Mass::from_mg(Mass::MAX.mg()), Ok(Mass::MAX));
        assert_eq!(Mass::from_mg(Mass::MAX.mg() + 1), Err(QuantityError::TooLarge));
        assert_eq!(Mass::from_grams(1_000_000_000), Ok(Mass::MAX));
        assert_eq!(Mass::from_grams(1_000_000_001), Err(QuantityError::TooLarge));
        assert_eq!(Mass::from_grams(i64::MAX), Err(QuantityError::TooLarge));
        assert_eq!(Mass::from_grams(i64::MIN), Err(QuantityError::Negative));
    }

    #[test]
    fn adds_and_subtracts_within_its_range() {
        let (one, two) = (Mass::from_mg(1).unwrap(), Mass::from_mg(2).unwrap());
        assert_eq!(one.checked_add(one), Some(two));
        assert_eq!(two.checked_sub(one), Some(one));
        assert_eq!(one.checked_sub(one), Some(Mass::ZERO));
        assert_eq!(one.checked_sub(two), None);
        assert_eq!(Mass::MAX.checked_add(one), None);
        assert!(Mass::ZERO.is_zero() && !one.is_zero());
    }

    #[test]
    fn is_shown_in_grams_exactly() {
        for (mg, grams) in [
            (0, "0"),
            (1, "0.001"),
            (10, "0.01"),
            (1000, "1"),
            (10_000, "10"),
            (1_234_500, "1234.5"),
            (1_234_567, "1234.567"),
            (1_000_000_000_000, "1000000000"),
        ] {
            let mass = Mass::from_mg(mg).unwrap();
            assert_eq!(mass.grams_text(), grams);
            assert_eq!(mass.to_string(), format!("{grams} g"));
        }
    }
}

mod units {
    use super::*;

    #[test]
    fn are_named_by_one_symbol_each() {
        let symbols: HashSet<&str> = Unit::ALL.map(Unit::symbol).into();
        assert_eq!(symbols.len(), Unit::ALL.len());
        for unit in Unit::ALL {
            assert_eq!(unit.symbol().parse(), Ok(unit));
            assert_eq!(unit.to_string(), unit.symbol());
        }
    }

    #[test]
    fn other_spellings_are_refused_and_quoted_in_part() {
        for given in ["", "KG", "L", "gal", "fl_oz", " kg", "pieces"] {
            assert_eq!(given.parse::<Unit>(), Err(QuantityError::UnknownUnit { given: given.to_owned() }));
        }
        let error = "é".repeat(5000).parse::<Unit>().unwrap_err();
        assert_eq!(error, QuantityError::UnknownUnit { given: "é".repeat(20) });
        assert!(
            "KG".parse::<Unit>().unwrap_err().to_string().starts_with("“KG” is not a unit: use one of mg, g, kg, lb,")
        );
    }

    /// Enough of a unit to make its defining figure a whole number of milligrams. The figures are those of NIST SP 811
    /// and Handbook 44 Appendix C (from memory), and 1 imp fl oz = 28.4130625 mL.
    #[test]
    fn of_mass_have_their_exact_size() {
        for (amount, unit, mg) in [
            ("1", Unit::Milligram, 1),
            ("1", Unit::Gram, 1000),
            ("1", Unit::Kilogram, 1_000_000),
            ("100", Unit::Pound, 45_359_237),
            ("1000000", Unit::Ounce, 28_349_523_125),
            ("0.123456", Unit::Kilogram, 123_456),
        ] {
            assert_eq!(mass_of(amount, unit, &Counting::ByMass), Ok(mg), "{amount} {unit}");
        }
    }

    #[test]
    fn of_volume_have_their_exact_size() {
        // At 1000 kg/m³ a millilitre is a gram.
        for (amount, unit, mg) in [
            ("1", Unit::Millilitre, 1000),
            ("1", Unit::Centilitre, 10_000),
            ("1", Unit::Litre, 1_000_000),
            ("10000000", Unit::UsFluidOunce, 295_735_295_625),
            ("1000", Unit::UsGallon, 3_785_411_784),
            ("10000", Unit::ImperialFluidOunce, 284_130_625),
            ("1000", Unit::ImperialGallon, 4_546_090_000),
        ] {
            assert_eq!(mass_of(amount, unit, &volume("1000")), Ok(mg), "{amount} {unit}");
        }
    }

    #[test]
    fn of_one_system_agree_with_each_other() {
        let water = volume("1000");
        for (many, small, one, large) in [
            ("16", Unit::Ounce, "1", Unit::Pound),
            ("128", Unit::UsFluidOunce, "1", Unit::UsGallon),
            ("160", Unit::ImperialFluidOunce, "1", Unit::ImperialGallon),
            ("100", Unit::Centilitre, "1", Unit::Litre),
        ] {
            assert_eq!(mass_of(many, small, &water), mass_of(one, large, &water), "{small} and {large}");
        }
        assert_eq!(mass_of("12", Unit::Piece, &piece(58_123)), mass_of("1", Unit::Dozen, &piece(58_123)));
    }
}

mod densities {
    use super::*;

    #[test]
    fn are_kept_exactly() {
        assert_eq!(density("1030.5").g_per_m3(), 1_030_500);
        assert_eq!(density("1030.5000").to_string(), "1030.5 kg/m³");
        assert_eq!(density("300"), Density::MIN);
        assert_eq!(density("2000.000"), Density::MAX);
        assert_eq!(Density::from_g_per_m3(1_030_500), Ok(density("1030.5")));
    }

    #[test]
    fn of_no_food_are_refused() {
        for text in ["0", "1.03", "299.999", "299.9999", "2000.001", "2000.0001", "999999999999"] {
            assert_eq!(Density::from_kg_per_m3(&decimal(text)), Err(QuantityError::DensityOutOfRange), "{text}");
        }
        assert_eq!(Density::from_kg_per_m3(&decimal("1030.0005")), Err(QuantityError::DensityTooFine));
        assert_eq!(Density::from_g_per_m3(299_999), Err(QuantityError::DensityOutOfRange));
        assert_eq!(Density::from_g_per_m3(-1), Err(QuantityError::DensityOutOfRange));
    }
}

mod masses_of_entered_quantities {
    use super::*;

    #[test]
    fn of_milk_and_cream_by_volume() {
        // Densities of D. Goff, University of Guelph: producer milk 1.030 kg/L and heavy cream 0.994 kg/L at 20 °C,
        // heavy cream 1.008 kg/L at 4.4 °C.
        assert_eq!(mass_of("10", Unit::Litre, &volume("1030")), Ok(10_300_000));
        assert_eq!(mass_of("2.5", Unit::Litre, &volume("994")), Ok(2_485_000));
        assert_eq!(mass_of("75", Unit::Centilitre, &volume("1008")), Ok(756_000));
        // 3785.411784 mL × 1.030 g/mL = 3898.97413752 g
        assert_eq!(mass_of("1", Unit::UsGallon, &volume("1030")), Ok(3_898_974));
    }

    #[test]
    fn of_spirits_by_volume() {
        // OIML R 22: 40 % vol has 948.045 kg/m³ at 20 °C, 96 % vol 807.419.
        let rum = Counting::ByStrength { strength: Strength::from_percent(&decimal("40")).unwrap() };
        assert_eq!(mass_of("1", Unit::Litre, &rum), Ok(948_045));
        assert_eq!(mass_of("70", Unit::Centilitre, &rum), Ok(663_632)); // 663631.5, to even
        let neutral = Counting::ByStrength { strength: Strength::from_percent(&decimal("96")).unwrap() };
        assert_eq!(mass_of("0.5", Unit::Litre, &neutral), Ok(403_710)); // 403709.5, to even
        assert_eq!(mass_of("1", Unit::Kilogram, &rum), Ok(1_000_000));
    }

    #[test]
    fn of_eggs_by_the_piece() {
        // EU class L starts at 63 g an egg, US Large at 24 oz a dozen.
        assert_eq!(mass_of("1", Unit::Dozen, &piece(63_000)), Ok(756_000));
        assert_eq!(mass_of("30", Unit::Piece, &piece(63_000)), Ok(1_890_000));
        assert_eq!(mass_of("0.5", Unit::Piece, &piece(63_000)), Ok(31_500));
        assert_eq!(mass_of("24", Unit::Ounce, &piece(63_000)), Ok(680_389)); // 680388.555
    }

    #[test]
    fn weighing_always_works() {
        for counting in [Counting::ByMass, volume("1030"), piece(1)] {
            assert_eq!(mass_of("1.5", Unit::Kilogram, &counting), Ok(1_500_000));
        }
    }

    #[test]
    fn are_rounded_half_to_even_at_the_milligram() {
        for (mg, rounded) in [
            ("0.500000001", 1),
            ("1.499999999", 1),
            ("1.5", 2),
            ("2.5", 2),
            ("2.500000001", 3),
            ("3.5", 4),
            ("999999999999.5", 1_000_000_000_000),
        ] {
            assert_eq!(mass_of(mg, Unit::Milligram, &Counting::ByMass), Ok(rounded), "{mg}");
        }
    }

    #[test]
    fn agree_with_the_rounding_of_a_fraction_by_long_division() {
        // 1/16 lb steps: n × 45359237 / 1600 mg, checked against the remainder and not against another division.
        for sixteenths in 1..2000_i64 {
            let mg = mass_of(&sixteenths.to_string(), Unit::Ounce, &Counting::ByMass).unwrap();
            let off = sixteenths * 45_359_237 - mg * 1600;
            assert!(off.abs() < 800 || (off.abs() == 800 && mg % 2 == 0), "{sixteenths} oz is off by {off}/1600 mg");
        }
    }

    #[test]
    fn need_a_density_for_a_volume() {
        for unit in Unit::ALL.into_iter().filter(|unit| unit.dimension() == Dimension::Volume) {
            for counting in [Counting::ByMass, piece(63_000)] {
                assert_eq!(mass_of("1", unit, &counting), Err(QuantityError::NeedsDensity { unit }));
            }
        }
    }

    #[test]
    fn need_a_mass_per_piece_for_a_count() {
        let rum = Counting::ByStrength { strength: Strength::from_thousandths(40_000).unwrap() };
        for unit in [Unit::Piece, Unit::Dozen] {
            for counting in [Counting::ByMass, volume("1030"), rum, piece(0)] {
                assert_eq!(mass_of("1", unit, &counting), Err(QuantityError::NeedsPieceMass { unit }));
            }
        }
    }

    #[test]
    fn of_nothing_are_refused() {
        for unit in Unit::ALL {
            assert_eq!(mass_of("0.000", unit, &volume("1000")), Err(QuantityError::Zero), "{unit}");
        }
        assert_eq!(mass_of("0.5", Unit::Milligram, &Counting::ByMass), Err(QuantityError::TooSmall));
        assert_eq!(mass_of("0.000000001", Unit::Gram, &Counting::ByMass), Err(QuantityError::TooSmall));
    }

    #[test]
    fn too_large_are_refused_and_never_overflow() {
        assert_eq!(mass_of("1000000", Unit::Kilogram, &Counting::ByMass), Ok(Mass::MAX.mg()));
        assert_eq!(mass_of("1000000.000001", Unit::Kilogram, &Counting::ByMass), Err(QuantityError::TooLarge));
        for unit in Unit::ALL {
            let counting = match unit.dimension() {
                Dimension::Count => Counting::ByPiece { piece_mass: Mass::MAX },
                _ => volume("2000"),
            };
            for amount in [decimal("999999999999.999999999"), Decimal::from_integer(u64::MAX)] {
                let entered = Entered { amount, unit };
                // 1e12 mg and less than a half of one is the only one of these that rounds to the limit itself.
                let fits = unit == Unit::Milligram && amount < Decimal::from_integer(1_000_000_000_000);
                let expected = if fits { Ok(Mass::MAX) } else { Err(QuantityError::TooLarge) };
                assert_eq!(to_mass(&entered, &counting), expected, "{entered}");
            }
        }
    }

    #[test]
    fn are_shown_as_entered() {
        assert_eq!(Entered { amount: decimal("12.50"), unit: Unit::UsGallon }.to_string(), "12.50 us_gal");
        let error = mass_of("1", Unit::Litre, &Counting::ByMass).unwrap_err();
        assert_eq!(
            error.to_string(),
            "“l” is a volume and this item has no density: weigh it, or give the item a density first"
        );
    }
}
