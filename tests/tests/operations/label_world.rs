//! Northquay with everything its labels need: a base, a praline and a pistachio flavour, stated and named.
//!
//! On paper: 6000 g milk, 2000 g cream and 2000 g sugar gave 9800 g of base (200 g were lost). 300 g sugar and 200 g hazelnut
//! paste gave 490 g of praline (10 g stuck). Into the flavour went 4900 g of base, which is half of it: 3000 g milk, 1000 g
//! cream, 1000 g sugar; 450 g pistachio paste (the recipe has 1200 g), 150 g water, and 98 g of praline, a fifth: 60 g sugar,
//! 40 g hazelnut paste. 5598 g went in and three tubs came out, of 2437.9 g, 1500 g and 1500 g.

use chrono::NaiveDate;
use tubtrail_operations::allergen_words::AllergenList;
use tubtrail_operations::batch_equipment::{NewEquipmentRun, NewEquipmentRuns};
use tubtrail_operations::completions::{NewOutput, OutputKind};
use tubtrail_operations::deliveries::{Expiry, ExpiryKind};
use tubtrail_operations::item_labels::{ItemLabel, MadeOf};
use tubtrail_operations::items::ItemKind;
use tubtrail_operations::labels::{Label, LabelPiece, LabelTone};
use tubtrail_operations::makers::Maker;
use tubtrail_operations::quantities::Amount;
use tubtrail_operations::statements::NewStatement;
use tubtrail_operations::{OperationError, QuantityEntered, Request};
use tubtrail_tests::batches::{of, out, untracked};
use tubtrail_tests::house::day;
use tubtrail_tests::{Backend, TestHouse};

/// The lots of the paper above.
pub struct LabelWorld {
    pub house: TestHouse,
    pub milk: String,
    pub base: String,
    pub praline: String,
    pub tubs: Vec<String>,
    pub flavour_batch: i64,
}

pub fn statement(item: &str, supplier: Option<&str>, contains: &[&str], may_contain: &[&str]) -> NewStatement {
    let words = |words: &[&str]| words.iter().map(ToString::to_string).collect();
    NewStatement {
        item: Some(item.into()),
        supplier: supplier.map(str::to_owned),
        in_force_from: NaiveDate::from_ymd_opt(2026, 11, 1),
        lists: vec![AllergenList::Eu, AllergenList::Us, AllergenList::Ca],
        contains: words(contains),
        may_contain: words(may_contain),
        document: "Specification".into(),
        ..NewStatement::default()
    }
}

pub fn item_label(code: &str, name: &str, made_of: MadeOf) -> ItemLabel {
    ItemLabel {
        code: code.into(),
        name: name.into(),
        made_of,
        shown: None,
        sugars_based: false,
        percent_shown: false,
        storage: None,
        opened_days: None,
        largest_surface_cm2: None,
        version: None,
    }
}

pub fn maker() -> Maker {
    Maker {
        code: "northquay".into(),
        name: "Northquay Gelato".into(),
        address: vec!["1 Harbour Street".into(), "Northquay".into()],
        jurisdiction: AllergenList::Eu,
        link_stem: None,
        active: true,
        version: None,
    }
}

/// The last day of the tubs: a year and a half on.
pub fn last_day() -> NaiveDate {
    NaiveDate::from_ymd_opt(2027, 5, 25).expect("a day")
}

/// The words of a list or a statement in one.
pub fn text(pieces: &[LabelPiece]) -> String {
    pieces.iter().map(|piece| piece.text.as_str()).collect()
}

/// What stands out as an allergen.
pub fn standing_out(pieces: &[LabelPiece]) -> Vec<&str> {
    pieces.iter().filter(|piece| piece.tone == LabelTone::Allergen).map(|piece| piece.text.as_str()).collect()
}

fn tub(amount: &str, last_day: NaiveDate) -> NewOutput {
    NewOutput {
        quantity: QuantityEntered { amount: Amount(amount.into()), unit: "g".into() },
        expiry: Some(Expiry { kind: ExpiryKind::BestBefore, on: last_day }),
        ..out(OutputKind::Tub, 1)
    }
}

impl LabelWorld {
    /// All of it; hazelnuts were made on the batch freezer before.
    pub fn new(backend: Backend) -> Self {
        let house = TestHouse::new(backend);
        house.put(maker());
        let state = |new: NewStatement| {
            house.tubtrail.create_statement(&Request::system(), new).unwrap_or_else(|error| panic!("{error}"));
        };
        state(statement("milk", Some("dairy"), &["milk"], &[]));
        state(statement("cream", Some("dairy"), &["milk"], &[]));
        state(statement("sugar", Some("dairy"), &[], &[]));
        state(statement("water", None, &[], &[]));
        state(statement("pistachio-paste", Some("nut-mill"), &["pistachio"], &["almond"]));
        state(statement("hazelnut-paste", Some("nut-mill"), &["hazelnut"], &[]));
        for (code, name) in
            [("milk", "whole milk"), ("cream", "cream"), ("water", "water"), ("hazelnut-paste", "hazelnut paste")]
        {
            house.put(item_label(code, name, MadeOf::Single));
        }
        house.put(ItemLabel { sugars_based: true, ..item_label("sugar", "sugar", MadeOf::Single) });
        house
            .put(ItemLabel { percent_shown: true, ..item_label("pistachio-paste", "pistachio paste", MadeOf::Single) });
        house.put(item_label("praline", "praline", MadeOf::WhatWentIn));
        house.put(ItemLabel {
            storage: Some("Keep at −18 °C or below.".into()),
            opened_days: Some(3),
            ..item_label("pistachio", "pistachio gelato", MadeOf::WhatWentIn)
        });
        house.recipe("base", "white-base", &[("milk", 6000), ("cream", 2000), ("sugar", 2000)], 10_000);
        house.recipe("praline", "praline", &[("sugar", 300), ("hazelnut-paste", 200)], 500);
        let pistachio = [("white-base", 4900), ("pistachio-paste", 1200), ("praline", 98), ("water", 150)];
        house.recipe("pistachio", "pistachio", &pistachio, 5600);
        house.equipment("freezer", &[ItemKind::Flavour, ItemKind::Base, ItemKind::Component]);
        let milk = house.receive("dairy", "milk", "M-1", 10_000);
        let cream = house.receive("dairy", "cream", "C-1", 5000);
        let sugar = house.receive("dairy", "sugar", "S-1", 20_000);
        let pistachios = house.receive("nut-mill", "pistachio-paste", "P-7781", 5000);
        let hazelnuts = house.receive("nut-mill", "hazelnut-paste", "H-12", 5000);
        let base = vec![of(&milk, 6000), of(&cream, 2000), of(&sugar, 2000)];
        let base = house.make("base", base, vec![out(OutputKind::Base, 9800)]);
        let praline =
            house.make("praline", vec![of(&sugar, 300), of(&hazelnuts, 200)], vec![out(OutputKind::Component, 490)]);
        // A base is matured first, unless the recipe says otherwise: the next day.
        house.clock.set(day(3, 6));
        let (base, praline) = (base.outputs[0].lot.clone(), praline.outputs[0].lot.clone());
        let uses = vec![of(&base, 4900), of(&pistachios, 450), of(&praline, 98), untracked("water", 150)];
        let tubs = vec![tub("2437.9", last_day()), tub("1500", last_day()), tub("1500", last_day())];
        let flavour = house.make("pistachio", uses, tubs);
        let tubs = flavour.outputs.iter().map(|lot| lot.lot.clone()).collect();
        Self { milk, base, praline, tubs, flavour_batch: flavour.id, house }
    }

    /// What the label of a lot says.
    pub fn label(&self, lot: &str, jurisdiction: Option<AllergenList>) -> Result<Label, OperationError> {
        self.house.tubtrail.show_label(&Request::system(), lot, jurisdiction)
    }

    /// The flavour ran on the freezer, and before it a batch of this recipe did.
    pub fn ran_before(&self, earlier: i64) {
        let run = |batch: i64, date: u32, hour: u32| {
            let run = NewEquipmentRun { equipment: "freezer".into(), from: day(date, hour), until: None };
            let runs = NewEquipmentRuns { equipment: vec![run] };
            let done = self.house.tubtrail.add_batch_equipment(&Request::system(), batch, runs);
            done.unwrap_or_else(|error| panic!("{error}"));
        };
        run(earlier, 3, 5);
        run(self.flavour_batch, 3, 6);
    }
}
