//! What element strings say of goods.

use chrono::NaiveDate;
use tubtrail_domain::gs1::goods::{Goods, LastDay, Measure};
use tubtrail_domain::quantity::Unit;

use super::{YEAR, read};

fn goods(text: &str) -> Goods {
    Goods::of(&read(text).unwrap_or_else(|error| panic!("{text}: {error}")), YEAR)
}

fn day(year: i32, month: u32, day: u32) -> NaiveDate {
    NaiveDate::from_ymd_opt(year, month, day).expect("a day")
}

fn measure(amount: &str, unit: Unit) -> Measure {
    Measure { amount: amount.into(), unit }
}

#[test]
fn the_last_digit_of_a_measure_says_where_its_decimals_begin() {
    for (element, due) in [
        // The package biip, run: 15.00 kg.
        ("(3102)001500", measure("15.00", Unit::Kilogram)),
        // GS1 Digital Link, its own example: 0.195 kg.
        ("(3103)000195", measure("0.195", Unit::Kilogram)),
        ("(3100)000012", measure("12", Unit::Kilogram)),
        ("(3105)123456", measure("1.23456", Unit::Kilogram)),
        ("(3201)000055", measure("5.5", Unit::Pound)),
        ("(3153)001000", measure("1.000", Unit::Litre)),
        ("(3610)000002", measure("2", Unit::UsGallon)),
    ] {
        assert_eq!(goods(&format!("(01)09520123456788{element}")).measures, [due], "{element}");
    }
    assert_eq!(goods("(01)09520123456788(3103)000000").measures, [], "weighed as nothing is not weighed");
    assert_eq!(goods("(01)09520123456788(3302)001500(3112)000100").measures, [], "neither gross nor long");
}

#[test]
fn kilograms_come_before_pounds() {
    let both = goods("(01)09520123456788(3201)000055(3103)002495");
    assert_eq!(both.measures, [measure("2.495", Unit::Kilogram), measure("5.5", Unit::Pound)]);
}

#[test]
fn a_use_by_day_comes_before_a_best_before_day() {
    assert_eq!(goods("(01)09520123456788(15)261231").last_day, Some(LastDay::BestBefore(day(2026, 12, 31))));
    assert_eq!(goods("(01)09520123456788(15)261231(17)261210").last_day, Some(LastDay::UseBy(day(2026, 12, 10))));
    assert_eq!(goods("(01)09520123456788(17)270200").last_day, Some(LastDay::UseBy(day(2027, 2, 28))));
    assert_eq!(goods("(01)09520123456788(7003)2612091030").last_day, Some(LastDay::UseBy(day(2026, 12, 9))));
    assert_eq!(goods("(01)09520123456788(7003)2612091030(17)261208").last_day, Some(LastDay::UseBy(day(2026, 12, 8))));
    assert_eq!(goods("(01)09520123456788(11)261125(16)261201").last_day, None, "made on and sell by are no last days");
}

/// A label of a pallet: what is inside, how many, and which pallet.
#[test]
fn a_pallet_says_what_is_on_it() {
    let pallet = goods("(00)095201234567891235(02)09520123456788(37)25(10)L26(15)261200");
    assert_eq!(pallet.article, Some("9520123456788".parse().expect("a GTIN")));
    assert_eq!(pallet.pallet, Some("095201234567891235".parse().expect("an SSCC")));
    assert_eq!((pallet.articles, pallet.lot.as_deref()), (Some(25), Some("L26")));
    assert_eq!(pallet.last_day, Some(LastDay::BestBefore(day(2026, 12, 31))));
    assert_eq!(goods("(414)9520123456788(410)6291041500213").place, Some("9520123456788".parse().expect("a GLN")));
}
