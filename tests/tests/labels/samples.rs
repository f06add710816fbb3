//! Labels of Northquay, made as the service makes them: words by the domain, picture by the documents.

use chrono::NaiveDate;
use tubtrail_documents::labels::{
    CodeContent, LabelContent, LabelSettings, LabelSize, LabelText, Labelled, Resolution, TextPiece,
};
use tubtrail_domain::allergens::{AllergenList, Declared, Substance};
use tubtrail_domain::labels::{
    DateKind, Despite, Inside, LabelAsked, ListOnLabel, Shown, Tone, WentIn, Wording, compose, date_wording,
    net_quantity,
};
use tubtrail_domain::quantity::Mass;

/// GTIN of GS1's demonstration prefix 952, best before 2027-05-25, lot: all of fixed length or last, so without a
/// separator. The check digit is in the standards' own vectors: `(01)09520123456788`.
pub const ELEMENTS: &str = "01095201234567881727052510261125-0042";
/// The lot before a date, and so with a separator behind it.
pub const ELEMENTS_WITH_SEPARATOR: &str = "010952012345678810ABC1\u{1d}17180426";
/// Of the same form as the vector of GS1's syntax engine,
/// `https://id.gs1.org/01/09520123456788/10/ABC1/21/12345?17=180426`.
pub const LINK: &str = "https://id.gs1.org/01/09520123456788/10/261125-0042?17=270525";
/// A number of our own, where there is no GTIN.
pub const OWN_NUMBER: &str = "261125-0042-3";

pub fn grams(grams: i64) -> Mass {
    Mass::from_grams(grams).expect("a mass")
}

fn containing(substances: &[Substance]) -> Declared {
    Declared {
        contains: substances.iter().fold(0, |mask, substance| mask | substance.bit()),
        may_contain: 0,
        unknown: 0,
    }
}

pub fn single(name: &str, mass: i64, substances: &[Substance]) -> WentIn {
    WentIn {
        item: name.to_owned(),
        label_name: Some(name.to_owned()),
        mass: grams(mass),
        declared: containing(substances),
        sugars_based: name.contains("sugar") || name.contains("syrup"),
        percent_shown: false,
        inside: Inside::Single,
    }
}

/// The hazelnut biscuit gelato whose list is worked out on paper in the tests of the domain: 3000 g milk, 1000 g
/// cream, 900 g sugar, 500 g hazelnut paste, 400 g biscuit, 250 g water, 200 g milk powder, 150 g glucose syrup.
pub fn hazelnut_biscuit() -> Vec<WentIn> {
    let base = vec![
        single("whole milk", 6000, &[Substance::Milk]),
        single("cream", 2000, &[Substance::Milk]),
        single("sugar", 1600, &[]),
        single("skimmed milk powder", 400, &[Substance::Milk]),
    ];
    let biscuit = Inside::Listed(["wheat flour", "butter", "sugar"].map(str::to_owned).to_vec());
    vec![
        WentIn {
            inside: Inside::Made { parts: base, weight: grams(9800), shown: Shown::Dispersed },
            ..single("white base", 4900, &[])
        },
        WentIn { percent_shown: true, ..single("hazelnut paste", 500, &[Substance::Hazelnut]) },
        WentIn { inside: biscuit, ..single("biscuit", 400, &[Substance::Wheat, Substance::Milk]) },
        single("water", 250, &[]),
        single("glucose syrup", 150, &[]),
        single("sugar", 100, &[]),
    ]
}

fn text(wording: &Wording) -> LabelText {
    let piece =
        |span: &tubtrail_domain::labels::Span| TextPiece { text: span.text.clone(), bold: span.tone != Tone::Plain };
    LabelText { pieces: wording.spans().iter().map(piece).collect() }
}

pub fn labelled(label: &str, value: &str) -> Labelled {
    Labelled { label: label.to_owned(), value: value.to_owned() }
}

/// A tub of 2437.9 g under a law.
pub fn tub(law: AllergenList, went_in: &[WentIn], despite: Option<&str>) -> LabelContent {
    let asked = LabelAsked {
        law,
        list: ListOnLabel::Printed,
        traces: Substance::Almond.bit() | Substance::Pistachio.bit(),
        unknown_traces: 0,
        missing: Vec::new(),
        despite: despite.map(|reason| Despite::new(reason).expect("a reason")),
    };
    let composition = compose(went_in, &asked).expect("a composition");
    let day = NaiveDate::from_ymd_opt(2027, 5, 25).expect("a day");
    let date = date_wording(law, DateKind::BestBefore, day).expect("a date");
    let weight = Mass::from_mg(2_437_900).expect("a mass");
    LabelContent {
        name: "Hazelnut gelato".to_owned(),
        subtitle: "Tub 3 of 5".to_owned(),
        ingredients: text(composition.ingredients.as_ref().expect("a list")),
        statements: composition.statements().map(text).collect(),
        notice: composition.notice.clone().unwrap_or_default(),
        net_quantity: net_quantity(law, weight).expect("a quantity"),
        dates: vec![labelled(date.label, &date.date)],
        lot: labelled("Lot", "261125-0042"),
        gtin: labelled("GTIN", "09520123456788"),
        storage: "Keep at −18 °C or below.".to_owned(),
        maker: "Northquay Gelato, 1 Harbour Street, Northquay".to_owned(),
        codes: vec![CodeContent::GsOneDataMatrix(ELEMENTS.to_owned())],
        language: "en".to_owned(),
    }
}

/// A lot that was received, under our own number.
pub fn received() -> LabelContent {
    LabelContent {
        name: "Pistachio paste".to_owned(),
        subtitle: "Received lot · their lot P-7781".to_owned(),
        dates: vec![labelled("Best before", "25 May 2027"), labelled("Received", "25 November 2026")],
        lot: labelled("Lot", "261125-0042"),
        net_quantity: "5 kg".to_owned(),
        storage: "Keep cool and dry.".to_owned(),
        codes: vec![CodeContent::Qr(OWN_NUMBER.to_owned())],
        language: "en".to_owned(),
        ..LabelContent::default()
    }
}

/// A component of our own.
pub fn component() -> LabelContent {
    LabelContent {
        name: "White base".to_owned(),
        subtitle: "Component".to_owned(),
        dates: vec![labelled("Use by", "28 November 2026")],
        codes: vec![CodeContent::Qr(LINK.to_owned())],
        ..received()
    }
}

/// Every size at every resolution.
pub fn every_printing() -> Vec<LabelSettings> {
    let at = |size| Resolution::ALL.map(|resolution| LabelSettings { size, resolution, ..LabelSettings::default() });
    LabelSize::ALL.into_iter().flat_map(at).collect()
}
