//! How quantities travel: typed in any unit, answered in grams.

use std::borrow::Cow;
use std::fmt;

use serde::de::{self, Visitor};
use serde::{Deserialize, Deserializer, Serialize, Serializer};
use tubtrail_domain::decimal::{Decimal, DecimalError};
use tubtrail_domain::quantity::{Counting, Entered, Mass, QuantityError, Unit, to_mass};
use tubtrail_domain::saying::{Fills, Gap, Saying};
use utoipa::openapi::schema::{ObjectBuilder, Schema, SchemaType, Type};
use utoipa::openapi::{OneOfBuilder, RefOr};
use utoipa::{PartialSchema, ToSchema};

use crate::error::{OperationError, Result};
use crate::problems;

/// Grams with up to three decimals: whole milligrams inside, a JSON number outside. Exact up to a million tonnes.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Grams {
    mg: i64,
}

impl Grams {
    /// From milligrams; may be below zero, for differences.
    pub const fn from_mg(mg: i64) -> Self {
        Self { mg }
    }

    /// In milligrams.
    pub const fn mg(self) -> i64 {
        self.mg
    }
}

impl From<Mass> for Grams {
    fn from(mass: Mass) -> Self {
        Self { mg: mass.mg() }
    }
}

/// Milligrams as grams in a sentence: `1200.5 g`; may be below zero.
#[derive(Clone, Copy)]
pub(crate) struct InGrams(i64);

/// Milligrams as grams in a sentence.
pub(crate) const fn in_grams(mg: i64) -> InGrams {
    InGrams(mg)
}

impl fmt::Display for InGrams {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let (sign, mg) = (if self.0 < 0 { "-" } else { "" }, self.0.unsigned_abs());
        let text = format!("{sign}{}.{:03}", mg / 1000, mg % 1000);
        write!(f, "{} g", text.trim_end_matches('0').trim_end_matches('.'))
    }
}

impl Fills for InGrams {
    fn fill(&self) -> Gap {
        Gap::Figure(self.to_string())
    }
}

impl Serialize for Grams {
    #[allow(clippy::cast_precision_loss)] // Below 2^53 the nearest double prints as the decimal it came from.
    fn serialize<S: Serializer>(&self, serializer: S) -> std::result::Result<S::Ok, S::Error> {
        if self.mg % 1000 == 0 {
            serializer.serialize_i64(self.mg / 1000)
        } else {
            serializer.serialize_f64(self.mg as f64 / 1000.0)
        }
    }
}

impl<'de> Deserialize<'de> for Grams {
    #[allow(clippy::cast_possible_truncation)] // The range is checked first.
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> std::result::Result<Self, D::Error> {
        let mg = f64::deserialize(deserializer)? * 1000.0;
        if mg.abs() >= 9e15 {
            return Err(de::Error::custom("not a mass in grams"));
        }
        // Read as a double, a decimal of three places is off by far less than this.
        if (mg - mg.round()).abs() > 1e-4_f64.max(mg.abs() * 1e-15) {
            return Err(de::Error::custom("grams have at most three decimals"));
        }
        Ok(Self { mg: mg.round() as i64 })
    }
}

impl PartialSchema for Grams {
    fn schema() -> RefOr<Schema> {
        ObjectBuilder::new()
            .schema_type(SchemaType::new(Type::Number))
            .description(Some("Grams, with up to three decimals."))
            .examples([serde_json::json!(4750.5)])
            .into()
    }
}

impl ToSchema for Grams {
    fn name() -> Cow<'static, str> {
        "Grams".into()
    }
}

/// Most characters of an amount: twelve digits, a point, nine digits.
const LONGEST_AMOUNT: usize = 22;

/// An amount as typed: a JSON number, or text for those who must not lose a digit.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
#[serde(transparent)]
pub struct Amount(pub String);

impl<'de> Deserialize<'de> for Amount {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> std::result::Result<Self, D::Error> {
        struct AmountVisitor;
        impl Visitor<'_> for AmountVisitor {
            type Value = Amount;
            fn expecting(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
                f.write_str("a number, or a number as text")
            }
            fn visit_str<E: de::Error>(self, text: &str) -> std::result::Result<Amount, E> {
                // It is kept as typed, so it must not be more than an amount can be.
                if text.len() > LONGEST_AMOUNT {
                    return Err(E::custom(format_args!("an amount has at most {LONGEST_AMOUNT} characters")));
                }
                Ok(Amount(text.to_owned()))
            }
            fn visit_u64<E: de::Error>(self, number: u64) -> std::result::Result<Amount, E> {
                Ok(Amount(number.to_string()))
            }
            fn visit_i64<E: de::Error>(self, number: i64) -> std::result::Result<Amount, E> {
                Ok(Amount(number.to_string()))
            }
            fn visit_f64<E: de::Error>(self, number: f64) -> std::result::Result<Amount, E> {
                // The shortest text that reads back as this number: what was typed, up to 15 digits.
                Ok(Amount(number.to_string()))
            }
        }
        deserializer.deserialize_any(AmountVisitor)
    }
}

impl PartialSchema for Amount {
    fn schema() -> RefOr<Schema> {
        OneOfBuilder::new()
            .item(ObjectBuilder::new().schema_type(SchemaType::new(Type::Number)))
            .item(
                ObjectBuilder::new()
                    .schema_type(SchemaType::new(Type::String))
                    .pattern(Some(r"^\d{1,12}(\.\d{1,9})?$")),
            )
            .description(Some("A number, or the same as text, with a point and at most nine decimals."))
            .examples([serde_json::json!("12.5")])
            .into()
    }
}

impl ToSchema for Amount {
    fn name() -> Cow<'static, str> {
        "Amount".into()
    }
}

/// A quantity as typed.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields, expecting = "an amount and its unit, as in {\"amount\": 5, \"unit\": \"kg\"}")]
pub struct QuantityEntered {
    /// How many.
    pub amount: Amount,
    /// Of what: mg g kg lb oz, ml cl l `us_fl_oz` `us_gal` `imp_fl_oz` `imp_gal`, piece dozen.
    #[schema(example = "kg", max_length = 12)]
    pub unit: String,
}

impl QuantityEntered {
    /// What it comes to, counted as the item is. The fields at fault are `amount` and `unit`.
    pub fn to_mass(&self, counting: &Counting) -> Result<Mass> {
        let bad = |field: &str, detail: Saying| OperationError::new(&problems::BAD_QUANTITY, detail).at(field);
        let amount: Decimal = self.amount.0.parse().map_err(|error: DecimalError| bad("amount", error.saying()))?;
        let unit: Unit = self.unit.parse().map_err(|error: QuantityError| bad("unit", error.saying()))?;
        to_mass(&Entered { amount, unit }, counting).map_err(|error| {
            let field = if matches!(error, QuantityError::NeedsDensity { .. } | QuantityError::NeedsPieceMass { .. }) {
                "unit"
            } else {
                "amount"
            };
            bad(field, error.saying())
        })
    }

    /// As [`Self::to_mass`], but nothing is a quantity too: what was counted or received may be none.
    pub fn to_mass_or_nothing(&self, counting: &Counting) -> Result<Mass> {
        let is_nothing = self.amount.0.parse::<Decimal>().is_ok_and(Decimal::is_zero);
        if !is_nothing {
            return self.to_mass(counting);
        }
        let one = Self { amount: Amount("1".into()), unit: self.unit.clone() };
        one.to_mass(counting).map(|_| Mass::ZERO)
    }
}
