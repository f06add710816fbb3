//! Every application identifier, in order of its digits.
//!
//! What is told here (lengths, which belong together, where they stand in a link) is the content of the GS1 Barcode Syntax
//! Dictionary, release of January 2026 with what followed until July 2026: copyright 2020-2021 BWIPP project and Zint
//! Project, 2021-2026 GS1 AISBL, licensed under the Apache License, Version 2.0
//! (<http://www.apache.org/licenses/LICENSE-2.0>). Changed: told in types of our own, with titles in plain words.

use super::rules::Rule;
use super::table::{Characters, Identifier, Part};

const fn part(characters: Characters, least: usize, most: usize) -> Part {
    Part { characters, least, most, optional: false, rules: &[] }
}

/// Exactly so many digits.
const fn digits(count: usize) -> Part {
    part(Characters::Digits, count, count)
}

/// One digit, up to so many.
const fn digits_to(most: usize) -> Part {
    part(Characters::Digits, 1, most)
}

/// Exactly so many characters of text.
const fn text(count: usize) -> Part {
    part(Characters::Text, count, count)
}

/// One character of text, up to so many.
const fn text_to(most: usize) -> Part {
    part(Characters::Text, 1, most)
}

impl Part {
    const fn fits(self, rules: &'static [Rule]) -> Self {
        Self { rules, ..self }
    }

    const fn or_none(self) -> Self {
        Self { optional: true, ..self }
    }
}

const fn row(first: &'static str, title: &'static str, parts: &'static [Part]) -> Identifier {
    rows(first, first, title, parts)
}

/// As most are: a separator follows, and it may stand behind the question mark of a link.
const fn rows(first: &'static str, last: &'static str, title: &'static str, parts: &'static [Part]) -> Identifier {
    Identifier { first, last, title, predefined: false, attribute: true, parts, needs: "", not_with: "", key: None }
}

impl Identifier {
    const fn predefined(self) -> Self {
        Self { predefined: true, ..self }
    }

    const fn never_behind_question_mark(self) -> Self {
        Self { attribute: false, ..self }
    }

    const fn needs(self, needs: &'static str) -> Self {
        Self { needs, ..self }
    }

    const fn not_with(self, not_with: &'static str) -> Self {
        Self { not_with, ..self }
    }

    /// A link may begin with it, and these qualifiers follow.
    const fn key(self, qualifiers: &'static str) -> Self {
        Self { key: Some(qualifiers), ..self }
    }
}

/// A measure of a thing that is sold by it: `n` is where the decimals begin.
const fn measure(first: &'static str, last: &'static str, same: &'static str, title: &'static str) -> Identifier {
    rows(first, last, title, SIX_DIGITS).predefined().needs("01,02").not_with(same)
}

/// A measure of a thing that is sent.
const fn sent(first: &'static str, last: &'static str, same: &'static str, title: &'static str) -> Identifier {
    measure(first, last, same, title).needs("00,01")
}

const ARTICLE: &[Part] = &[digits(14).fits(&[Rule::CheckDigit, Rule::PrefixBehindOne])];
const PIECES: &[Part] =
    &[digits(14).fits(&[Rule::CheckDigit, Rule::PrefixBehindOne]), digits(4).fits(&[Rule::PieceOfTotal])];
const PLACE: &[Part] = &[digits(13).fits(&[Rule::CheckDigit, Rule::Prefix])];
const SERVICE: &[Part] = &[digits(18).fits(&[Rule::CheckDigit, Rule::Prefix])];
const DAY_OR_MONTH: &[Part] = &[digits(6).fits(&[Rule::DayOrMonth])];
const DAY: &[Part] = &[digits(6).fits(&[Rule::Day])];
const DAY_OR_MONTH_AND_MINUTE: &[Part] = &[digits(6).fits(&[Rule::DayOrMonth]), digits(4).fits(&[Rule::HourMinute])];
const COUNTRY: &[Part] = &[digits(3).fits(&[Rule::Country])];
const COUNTRIES: &[Part] = &[
    digits(3).fits(&[Rule::Country]),
    digits(3).fits(&[Rule::Country]).or_none(),
    digits(3).fits(&[Rule::Country]).or_none(),
    digits(3).fits(&[Rule::Country]).or_none(),
    digits(3).fits(&[Rule::Country]).or_none(),
];
const PROCESSOR: &[Part] = &[digits(3).fits(&[Rule::CountryOrMany]), text_to(27)];
const TEMPERATURE: &[Part] = &[digits(6), text(1).fits(&[Rule::Minus]).or_none()];
const COUNTRY_LETTERS: &[Part] = &[text(2).fits(&[Rule::CountryLetters])];
const YES_NO: &[Part] = &[digits(1).fits(&[Rule::YesNo])];
const CERTIFICATE: &[Part] = &[text(2), text_to(28)];
const ASSET: &[Part] = &[text_to(30).fits(&[Rule::Prefix])];
const PRICE: &[Part] = &[digits_to(15)];
const PRICE_IN: &[Part] = &[digits(3), digits_to(15)];
const ENCODED_35: &[Part] = &[text_to(35).fits(&[Rule::PercentCode])];
const ENCODED_40: &[Part] = &[text_to(40).fits(&[Rule::PercentCode])];
const ENCODED_70: &[Part] = &[text_to(70).fits(&[Rule::PercentCode])];
const SIX_DIGITS: &[Part] = &[digits(6)];
const UP_TO_8_DIGITS: &[Part] = &[digits_to(8)];
const UP_TO_20: &[Part] = &[text_to(20)];
const UP_TO_30: &[Part] = &[text_to(30)];
const UP_TO_70: &[Part] = &[text_to(70)];
const UP_TO_90: &[Part] = &[text_to(90)];

/// What is said of an article, by itself or in a case, made to order, or in pieces.
const OF_AN_ARTICLE: &str = "01,02,03,8006,8026";

#[rustfmt::skip]
pub(super) const ROWS: &[Identifier] = &[
    row("00", "pallet (SSCC)", &[digits(18).fits(&[Rule::CheckDigit, Rule::PrefixBehindOne])]).predefined().key(""),
    row("01", "article (GTIN)", ARTICLE).predefined().not_with("255,37").key("22,10,21|235"),
    row("02", "article inside (GTIN)", ARTICLE).predefined().needs("37").not_with("01,03"),
    row("03", "made-to-order article (GTIN)", ARTICLE).predefined().never_behind_question_mark()
        .not_with("01,02,37,235"),
    row("10", "lot", UP_TO_20).needs(OF_AN_ARTICLE),
    row("11", "made on", DAY_OR_MONTH).predefined().needs(OF_AN_ARTICLE),
    row("12", "due on", DAY_OR_MONTH).predefined().needs("8020"),
    row("13", "packed on", DAY_OR_MONTH).predefined().needs(OF_AN_ARTICLE),
    row("15", "best before", DAY_OR_MONTH).predefined().needs(OF_AN_ARTICLE),
    row("16", "sell by", DAY_OR_MONTH).predefined().needs(OF_AN_ARTICLE),
    row("17", "use by", DAY_OR_MONTH).predefined().needs("01,02,03,255,8006,8026"),
    row("20", "variant", &[digits(2)]).predefined().needs(OF_AN_ARTICLE),
    row("21", "serial number", UP_TO_20).never_behind_question_mark().needs("01,03,8006").not_with("235"),
    row("22", "variant for consumers", UP_TO_20).never_behind_question_mark().needs("01"),
    row("235", "serial number given by law", &[text_to(28)]).never_behind_question_mark().needs("01"),
    row("240", "maker's further number", UP_TO_30).needs(OF_AN_ARTICLE),
    row("241", "customer's number", UP_TO_30).needs(OF_AN_ARTICLE),
    row("242", "made-to-order variation", &[digits_to(6)]).needs("01,02,8006,8026"),
    row("243", "packaging component", UP_TO_20).needs("01,03"),
    row("250", "second serial number", UP_TO_30).needs("01+21,03+21,8006+21"),
    row("251", "source", UP_TO_30).needs("01,03,8006"),
    row("253", "document", &[digits(13).fits(&[Rule::CheckDigit, Rule::Prefix]), text_to(17).or_none()]).key(""),
    row("254", "place within the place", UP_TO_20).never_behind_question_mark().needs("414"),
    row("255", "coupon", &[digits(13).fits(&[Rule::CheckDigit, Rule::Prefix]), digits_to(12).or_none()])
        .not_with("01,02,415,8006,8020,8026").key(""),
    row("30", "number of items", UP_TO_8_DIGITS).needs("01,02"),
    measure("3100", "3105", "310n", "net weight in kg"),
    measure("3110", "3115", "311n", "length in m"),
    measure("3120", "3125", "312n", "width in m"),
    measure("3130", "3135", "313n", "height in m"),
    measure("3140", "3145", "314n", "area in m²"),
    measure("3150", "3155", "315n", "net volume in l"),
    measure("3160", "3165", "316n", "net volume in m³"),
    measure("3200", "3205", "320n", "net weight in lb"),
    measure("3210", "3215", "321n", "length in inches"),
    measure("3220", "3225", "322n", "length in feet"),
    measure("3230", "3235", "323n", "length in yards"),
    measure("3240", "3245", "324n", "width in inches"),
    measure("3250", "3255", "325n", "width in feet"),
    measure("3260", "3265", "326n", "width in yards"),
    measure("3270", "3275", "327n", "height in inches"),
    measure("3280", "3285", "328n", "height in feet"),
    measure("3290", "3295", "329n", "height in yards"),
    sent("3300", "3305", "330n", "gross weight in kg"),
    sent("3310", "3315", "331n", "length as sent in m"),
    sent("3320", "3325", "332n", "width as sent in m"),
    sent("3330", "3335", "333n", "height as sent in m"),
    sent("3340", "3345", "334n", "area as sent in m²"),
    sent("3350", "3355", "335n", "volume as sent in l"),
    sent("3360", "3365", "336n", "volume as sent in m³"),
    measure("3370", "3375", "337n", "kg a square metre").needs("01"),
    sent("3400", "3405", "340n", "gross weight in lb"),
    sent("3410", "3415", "341n", "length as sent in inches"),
    sent("3420", "3425", "342n", "length as sent in feet"),
    sent("3430", "3435", "343n", "length as sent in yards"),
    sent("3440", "3445", "344n", "width as sent in inches"),
    sent("3450", "3455", "345n", "width as sent in feet"),
    sent("3460", "3465", "346n", "width as sent in yards"),
    sent("3470", "3475", "347n", "height as sent in inches"),
    sent("3480", "3485", "348n", "height as sent in feet"),
    sent("3490", "3495", "349n", "height as sent in yards"),
    measure("3500", "3505", "350n", "area in square inches"),
    measure("3510", "3515", "351n", "area in square feet"),
    measure("3520", "3525", "352n", "area in square yards"),
    sent("3530", "3535", "353n", "area as sent in square inches"),
    sent("3540", "3545", "354n", "area as sent in square feet"),
    sent("3550", "3555", "355n", "area as sent in square yards"),
    measure("3560", "3565", "356n", "net weight in troy ounces"),
    measure("3570", "3575", "357n", "net weight or volume in ounces"),
    measure("3600", "3605", "360n", "net volume in US quarts"),
    measure("3610", "3615", "361n", "net volume in US gallons"),
    sent("3620", "3625", "362n", "volume as sent in US quarts"),
    sent("3630", "3635", "363n", "volume as sent in US gallons"),
    measure("3640", "3645", "364n", "net volume in cubic inches"),
    measure("3650", "3655", "365n", "net volume in cubic feet"),
    measure("3660", "3665", "366n", "net volume in cubic yards"),
    sent("3670", "3675", "367n", "volume as sent in cubic inches"),
    sent("3680", "3685", "368n", "volume as sent in cubic feet"),
    sent("3690", "3695", "369n", "volume as sent in cubic yards"),
    row("37", "number of articles inside", UP_TO_8_DIGITS).needs("00+02,00+8026"),
    rows("3900", "3909", "amount", PRICE).needs("255,8020").not_with("390n,391n,394n,8111"),
    rows("3910", "3919", "amount in a currency", PRICE_IN).needs("8020").not_with("391n"),
    rows("3920", "3929", "price", PRICE).needs("01+30,01+31nn,01+32nn,01+35nn,01+36nn").not_with("392n,393n"),
    rows("3930", "3939", "price in a currency", PRICE_IN).needs("30,31nn,32nn,35nn,36nn").not_with("393n"),
    rows("3940", "3943", "per cent off", &[digits(4)]).needs("255").not_with("394n,8111"),
    rows("3950", "3955", "price a unit", SIX_DIGITS).needs("30,31nn,32nn,35nn,36nn")
        .not_with("392n,393n,395n,8005"),
    row("400", "order number", UP_TO_30),
    row("401", "consignment", ASSET).key(""),
    row("402", "shipment", &[digits(17).fits(&[Rule::CheckDigit, Rule::Prefix])]).key(""),
    row("403", "routing code", UP_TO_30).needs("00"),
    row("410", "ship to (GLN)", PLACE).predefined(),
    row("411", "bill to (GLN)", PLACE).predefined(),
    row("412", "bought from (GLN)", PLACE).predefined(),
    row("413", "ship for (GLN)", PLACE).predefined(),
    row("414", "place (GLN)", PLACE).predefined().key("254|7040"),
    row("415", "pay to (GLN)", PLACE).predefined().needs("8020").key("8020"),
    row("416", "made at (GLN)", PLACE).predefined(),
    row("417", "party (GLN)", PLACE).predefined().key("7040"),
    row("420", "post code", UP_TO_20).not_with("421"),
    row("421", "country and post code", &[digits(3).fits(&[Rule::Country]), text_to(9)]).not_with("4307"),
    row("422", "country of origin", COUNTRY).needs(OF_AN_ARTICLE).not_with("426"),
    row("423", "countries of first processing", COUNTRIES).needs("01,02,03").not_with("426"),
    row("424", "country of processing", COUNTRY).needs("01,02,03").not_with("426"),
    row("425", "countries of cutting", COUNTRIES).needs("01,02,03").not_with("426"),
    row("426", "country of all processing", COUNTRY).needs("01,02,03"),
    row("427", "region of origin", &[text_to(3)]).needs("01+422,02+422,03+422"),
    row("4300", "ship to company", ENCODED_35).needs("00"),
    row("4301", "ship to name", ENCODED_35).needs("00"),
    row("4302", "ship to address", ENCODED_70).needs("00"),
    row("4303", "ship to address, second line", ENCODED_70).needs("4302"),
    row("4304", "ship to suburb", ENCODED_70).needs("00"),
    row("4305", "ship to town", ENCODED_70).needs("00"),
    row("4306", "ship to region", ENCODED_70).needs("00"),
    row("4307", "ship to country", COUNTRY_LETTERS).needs("00"),
    row("4308", "ship to telephone", UP_TO_30).needs("00"),
    row("4309", "ship to position", &[digits(10).fits(&[Rule::Latitude]), digits(10).fits(&[Rule::Longitude])])
        .needs("00"),
    row("4310", "return to company", ENCODED_35).needs("00"),
    row("4311", "return to name", ENCODED_35).needs("00"),
    row("4312", "return to address", ENCODED_70).needs("00"),
    row("4313", "return to address, second line", ENCODED_70).needs("4312"),
    row("4314", "return to suburb", ENCODED_70).needs("00"),
    row("4315", "return to town", ENCODED_70).needs("00"),
    row("4316", "return to region", ENCODED_70).needs("00"),
    row("4317", "return to country", COUNTRY_LETTERS).needs("00"),
    row("4318", "return to post code", UP_TO_20).needs("00"),
    row("4319", "return to telephone", UP_TO_30).needs("00"),
    row("4320", "kind of service", ENCODED_35).needs("00"),
    row("4321", "dangerous goods", YES_NO).needs("00"),
    row("4322", "may be left", YES_NO).needs("00"),
    row("4323", "must be signed for", YES_NO).needs("00"),
    row("4324", "not delivered before", DAY_OR_MONTH_AND_MINUTE).needs("00"),
    row("4325", "not delivered after", DAY_OR_MONTH_AND_MINUTE).needs("00"),
    row("4326", "released on", DAY).needs("00"),
    row("4330", "warmest in °F", TEMPERATURE).needs("00").not_with("4331"),
    row("4331", "warmest in °C", TEMPERATURE).needs("00").not_with("4330"),
    row("4332", "coldest in °F", TEMPERATURE).needs("00").not_with("4333"),
    row("4333", "coldest in °C", TEMPERATURE).needs("00").not_with("4332"),
    row("7001", "stock number", &[digits(13)]).needs("01,02,8006,8026"),
    row("7002", "meat cut", UP_TO_30).needs("01,02"),
    row("7003", "use by, to the minute", &[digits(6).fits(&[Rule::Day]), digits(4).fits(&[Rule::HourMinute])])
        .needs("01,02,03"),
    row("7004", "potency", &[digits_to(4)]).needs("01+10,03+10"),
    row("7005", "catch area", &[text_to(12)]).needs("01,02"),
    row("7006", "first frozen on", DAY).needs("01,02"),
    row("7007", "harvested on", &[digits(6).fits(&[Rule::Day]), digits(6).fits(&[Rule::Day]).or_none()])
        .needs("01,02"),
    row("7008", "species", &[text_to(3)]).needs("01,02"),
    row("7009", "fishing gear", &[text_to(10)]).needs("01,02"),
    row("7010", "production method", &[text_to(2)]).needs("01,02,03"),
    row("7011", "test by", &[digits(6).fits(&[Rule::Day]), digits(4).fits(&[Rule::HourMinute]).or_none()])
        .needs("01,02,03"),
    row("7020", "refurbishment lot", UP_TO_20).needs("01+416,03+416,8006+416"),
    row("7021", "working state", UP_TO_20).needs("01,03,8006"),
    row("7022", "revision", UP_TO_20).needs("01+7021,03+7021,8006+7021"),
    row("7023", "asset put together", ASSET),
    rows("7030", "7039", "processor", PROCESSOR).needs("01,02"),
    row("7040", "tobacco importer", &[digits(1), text(1), text(1), text(1).fits(&[Rule::ImporterIndex])])
        .never_behind_question_mark(),
    row("7041", "freight unit", &[text_to(4).fits(&[Rule::PackageType])]).never_behind_question_mark().needs("00"),
    rows("710", "717", "national health number", UP_TO_20).needs("01"),
    rows("7230", "7239", "certificate", CERTIFICATE).needs("01,8004"),
    row("7240", "protocol", UP_TO_20).needs("01,8006").not_with("03"),
    row("7241", "kind of medium", &[digits(2).fits(&[Rule::MediaType])]).needs("8017,8018"),
    row("7242", "version control number", &[text_to(25)]).needs("8017,8018"),
    row("7250", "born on", &[digits(8).fits(&[Rule::LongDay])]).needs("8018").not_with("7251"),
    row("7251", "born at", &[digits(8).fits(&[Rule::LongDay]), digits(4).fits(&[Rule::HourMinute])])
        .needs("8018").not_with("7250"),
    row("7252", "sex", &[digits(1).fits(&[Rule::Sex])]).needs("8018"),
    row("7253", "family name", ENCODED_40).needs("8017,8018").not_with("7256,7259"),
    row("7254", "given name", ENCODED_40).needs("8017,8018").not_with("7256,7259"),
    row("7255", "suffix of name", &[text_to(10)]).needs("8017,8018").not_with("7256,7259"),
    row("7256", "full name", &[text_to(90).fits(&[Rule::PercentCode])]).needs("8017,8018"),
    row("7257", "address of person", ENCODED_70).needs("8018"),
    row("7258", "place in birth", &[text(3).fits(&[Rule::PlaceInRow])]).needs("8018+7259"),
    row("7259", "baby of", ENCODED_40).needs("8018").not_with("7256"),
    row("8001", "roll", &[
        digits(4).fits(&[Rule::NotZero]), digits(5).fits(&[Rule::NotZero]), digits(3).fits(&[Rule::NotZero]),
        digits(1).fits(&[Rule::Winding]), digits(1),
    ]).needs("01"),
    row("8002", "mobile telephone", UP_TO_20),
    row("8003", "returnable asset", &[
        digits(1).fits(&[Rule::Zero]), digits(13).fits(&[Rule::CheckDigit, Rule::Prefix]), text_to(16).or_none(),
    ]).key(""),
    row("8004", "asset", ASSET).key("7040"),
    row("8005", "price of a unit", SIX_DIGITS).needs("01,02"),
    row("8006", "piece of an article", PIECES).not_with("01,03,37").key("22,10,21"),
    row("8007", "bank account", &[text_to(34).fits(&[Rule::Iban])]).needs("415"),
    row("8008", "made at", &[
        digits(6).fits(&[Rule::Day]), digits(2).fits(&[Rule::Hour]), digits(2).fits(&[Rule::Minute]).or_none(),
        digits(2).fits(&[Rule::Minute]).or_none(),
    ]).needs("01,02,03"),
    row("8009", "sensor", &[text_to(50)]).needs("00,01,03"),
    row("8010", "component", &[part(Characters::Capitals, 1, 30).fits(&[Rule::Prefix])]).key("8011"),
    row("8011", "component serial number", &[digits_to(12).fits(&[Rule::NoZeroInFront])])
        .never_behind_question_mark().needs("8010"),
    row("8012", "software version", UP_TO_20).needs("01,03,8006"),
    row("8013", "model", &[text_to(25).fits(&[Rule::CheckPair, Rule::Prefix])]).key(""),
    row("8014", "registered device", &[text_to(25).fits(&[Rule::CheckPair, Rule::Prefix, Rule::NotDigitsAlone])])
        .never_behind_question_mark().needs("01"),
    row("8017", "who provides a service", SERVICE).not_with("8018").key("8019"),
    row("8018", "who receives a service", SERVICE).not_with("8017").key("8019"),
    row("8019", "service given", &[digits_to(10)]).never_behind_question_mark().needs("8017,8018"),
    row("8020", "payment slip", &[text_to(25)]).never_behind_question_mark().needs("415"),
    row("8026", "piece of an article inside", PIECES).needs("37").not_with("02,03,8006"),
    row("8030", "digital signature", &[part(Characters::Base64, 1, 90)])
        .needs("00,01+21,03+21,253,255,8003,8004,8006+21,8010+8011,8017,8018"),
    row("8040", "device number (IMEI)", &[digits(15)]).never_behind_question_mark().needs("01+21"),
    row("8041", "second device number (IMEI)", &[digits(15)]).never_behind_question_mark().needs("01+21+8040"),
    row("8042", "embedded SIM", &[digits(32)]).never_behind_question_mark().needs("01+21+8040"),
    row("8043", "SIM card", &[digits(18), digits_to(2).or_none()]).never_behind_question_mark()
        .needs("01+21+8040"),
    row("8110", "coupon code", UP_TO_70),
    row("8111", "points", &[digits(4)]).needs("255"),
    row("8112", "coupon code on file", UP_TO_70),
    row("8200", "web address", UP_TO_70).never_behind_question_mark().needs("01"),
    row("90", "agreed between partners", UP_TO_30),
    rows("91", "99", "company's own", UP_TO_90),
];
