//! Labels: the order of ingredients by what really went in, the words of three laws, dates, net quantities, and
//! refusals.

use chrono::NaiveDate;
use tubtrail_domain::allergens::{AllergenList, Declared, Group, Substance};
use tubtrail_domain::labels::{
    Composition, DateKind, DateRefused, Despite, Inside, LabelAsked, LabelField, LabelRefusal, ListOnLabel, Shown,
    Unknown, WentIn, compose, date_wording, least_figure_height, least_letter_height, net_quantity,
};
use tubtrail_domain::quantity::Mass;

use AllergenList::{Ca, Eu, Us};

fn mask(substances: &[Substance]) -> u64 {
    substances.iter().fold(0, |mask, substance| mask | substance.bit())
}

/// Everything about it is stated, and these are in it.
fn containing(substances: &[Substance]) -> Declared {
    Declared { contains: mask(substances), may_contain: 0, unknown: 0 }
}

fn grams(grams: i64) -> Mass {
    Mass::from_grams(grams).expect("a mass")
}

/// A single ingredient, and how much of it went in.
fn single(name: &str, mass: i64, substances: &[Substance]) -> WentIn {
    WentIn {
        item: format!("house {name}"),
        label_name: Some(name.to_owned()),
        mass: grams(mass),
        declared: containing(substances),
        sugars_based: false,
        percent_shown: false,
        inside: Inside::Single,
    }
}

fn sugar(name: &str, mass: i64) -> WentIn {
    WentIn { sugars_based: true, ..single(name, mass, &[]) }
}

/// A bought compound ingredient with the list of its supplier.
fn bought(name: &str, mass: i64, list: &str, substances: &[Substance]) -> WentIn {
    let list = list.split(", ").map(str::to_owned).collect();
    WentIn { inside: Inside::Listed(list), ..single(name, mass, substances) }
}

/// So much of something made in the house, of which `weight` grams came of the parts.
fn made(name: &str, mass: i64, parts: Vec<WentIn>, weight: i64, shown: Shown) -> WentIn {
    WentIn { inside: Inside::Made { parts, weight: grams(weight), shown }, ..single(name, mass, &[]) }
}

fn asked(law: AllergenList) -> LabelAsked {
    LabelAsked { law, list: ListOnLabel::Printed, traces: 0, unknown_traces: 0, missing: Vec::new(), despite: None }
}

fn composed(went_in: &[WentIn], law: AllergenList) -> Composition {
    compose(went_in, &asked(law)).expect("a label")
}

fn list(went_in: &[WentIn], law: AllergenList) -> String {
    composed(went_in, law).ingredients.expect("a list").text()
}

fn statements(composition: &Composition) -> Vec<String> {
    composition.statements().map(tubtrail_domain::labels::Wording::text).collect()
}

fn refusal(went_in: &[WentIn], asked: &LabelAsked) -> LabelRefusal {
    compose(went_in, asked).expect_err("a refusal")
}

/// The hazelnut biscuit of Northquay.
///
/// Into the base mix went 6000 g milk, 2000 g cream, 1600 g sugar, 400 g milk powder = 10 000 g; 9800 g came of it,
/// the rest steamed off. The batch took 4900 g of it, half: 3000 g milk, 1000 g cream, 800 g sugar, 200 g milk powder.
/// Besides it took two lots of hazelnut paste (300 + 200 g), 100 g sugar, 150 g glucose syrup, 250 g water and 400 g
/// biscuit.
///
/// |                     | g    |
/// | whole milk          | 3000 |
/// | cream               | 1000 |
/// | sugar, 800 + 100    |  900 |
/// | hazelnut paste      |  500 |
/// | biscuit             |  400 |
/// | water               |  250 |
/// | skimmed milk powder |  200 |
/// | glucose syrup       |  150 |
/// | all                 | 6400 |
///
/// 500 / 6400 = 7.8 %, printed as 8 %.
fn hazelnut_biscuit() -> Vec<WentIn> {
    let base = vec![
        sugar("sugar", 1600),
        single("skimmed milk powder", 400, &[Substance::Milk]),
        single("cream", 2000, &[Substance::Milk]),
        single("whole milk", 6000, &[Substance::Milk]),
    ];
    let paste = |mass| WentIn { percent_shown: true, ..single("hazelnut paste", mass, &[Substance::Hazelnut]) };
    vec![
        single("water", 250, &[]),
        paste(300),
        bought("biscuit", 400, "wheat flour, butter, sugar", &[Substance::Wheat, Substance::Milk]),
        sugar("sugar", 100),
        made("white base", 4900, base, 9800, Shown::Dispersed),
        sugar("glucose syrup", 150),
        paste(200),
    ]
}

mod order {
    use super::*;

    #[test]
    fn a_list_is_in_descending_order_by_what_really_went_in() {
        // Regulation (EU) 1169/2011 art. 18(1); the figures are in the table above.
        assert_eq!(
            list(&hazelnut_biscuit(), Eu),
            "Ingredients: whole milk, cream (milk), sugar, hazelnut paste 8 %, biscuit (wheat flour, butter, sugar; \
             contains milk), water, skimmed milk powder, glucose syrup"
        );
        // 21 CFR 101.4(a)(1).
        assert_eq!(
            list(&hazelnut_biscuit(), Us),
            "Ingredients: whole milk, cream, sugar, hazelnut paste 8 %, biscuit (wheat flour, butter, sugar), water, \
             skimmed milk powder, glucose syrup"
        );
    }

    #[test]
    fn canada_has_all_sugars_together_where_their_sum_belongs() {
        // 900 g sugar + 150 g glucose syrup = 1050 g, more than the 1000 g of cream. Food and Drug Regulations
        // B.01.008.3.
        assert_eq!(
            list(&hazelnut_biscuit(), Ca),
            "Ingredients: Whole milk, Sugars (sugar, glucose syrup), Cream, Hazelnut paste 8 %, Biscuit (wheat flour, \
             butter, sugar), Water, Skimmed milk powder"
        );
    }

    #[test]
    fn a_component_that_people_know_by_its_name_has_its_parts_in_brackets() {
        // 400 g ripple of 1000 g: 240 g cherries, 160 g sugar. Less than the 600 g milk, more than the 200 g sugar.
        let ripple = || vec![sugar("sugar", 400), single("cherries", 600, &[])];
        let tub = |shown| {
            let ripple = made("cherry ripple", 400, ripple(), 1000, shown);
            [sugar("sugar", 200), ripple, single("milk", 600, &[Substance::Milk])]
        };
        assert_eq!(
            list(&tub(Shown::InBrackets), Eu),
            "Ingredients: milk, cherry ripple (cherries, sugar), sugar",
            "one in the brackets and one outside are two"
        );
        // Dispersed: sugar 200 + 160 = 360 g, before the 240 g cherries.
        assert_eq!(list(&tub(Shown::Dispersed), Eu), "Ingredients: milk, sugar, cherries");
    }

    #[test]
    fn two_lots_of_a_component_are_merged_part_by_part() {
        // 100 g of 1000 g (700 cherries + 300 sugar) and 300 g of 1000 g (400 cherries + 600 sugar):
        // cherries 70 + 120 = 190 g, sugar 30 + 180 = 210 g.
        let lot = |mass, cherries, sugars| {
            let parts = vec![single("cherries", cherries, &[]), sugar("sugar", sugars)];
            made("cherry ripple", mass, parts, 1000, Shown::InBrackets)
        };
        assert_eq!(list(&[lot(100, 700, 300), lot(300, 400, 600)], Us), "Ingredients: cherry ripple (sugar, cherries)");
    }

    #[test]
    fn two_suppliers_lists_that_differ_stay_apart() {
        let wheat = bought("biscuit", 100, "wheat flour, sugar", &[Substance::Wheat]);
        let same = bought("Biscuit", 50, "Wheat flour, Sugar", &[Substance::Wheat]);
        let rye = bought("biscuit", 120, "rye flour, sugar", &[Substance::Rye]);
        assert_eq!(
            list(&[wheat, rye, same], Us),
            "Ingredients: biscuit (wheat flour, sugar), biscuit (rye flour, sugar)",
            "100 + 50 g before 120 g"
        );
    }

    #[test]
    fn what_weighs_the_same_stands_by_name_and_a_milligram_counts() {
        let fruit = |name: &str, mg| WentIn { mass: Mass::from_mg(mg).expect("a mass"), ..single(name, 1, &[]) };
        assert_eq!(list(&[fruit("pear", 500_000), fruit("Fig", 500_000)], Us), "Ingredients: Fig, pear");
        assert_eq!(list(&[fruit("fig", 500_000), fruit("pear", 500_001)], Us), "Ingredients: pear, fig");
    }

    #[test]
    fn a_third_of_a_third_is_not_lost() {
        // 1 mg of 3 mg of 3 mg: a ninth of a milligram of vanilla beside a tenth of one of salt.
        let mg = |mg| Mass::from_mg(mg).expect("a mass");
        let one = |name: &str| WentIn { mass: mg(1), ..single(name, 1, &[]) };
        let mixed = |parts: Vec<WentIn>, weight| WentIn {
            inside: Inside::Made { parts, weight: mg(weight), shown: Shown::Dispersed },
            ..one("mix")
        };
        let vanilla = mixed(vec![mixed(vec![one("vanilla")], 3)], 3);
        let salt = mixed(vec![one("salt")], 10);
        assert_eq!(list(&[salt, vanilla], Us), "Ingredients: vanilla, salt");
    }

    #[test]
    fn more_used_than_came_of_it_counts_as_the_whole() {
        let base = made("base", 1200, vec![single("milk", 900, &[])], 1000, Shown::Dispersed);
        assert_eq!(
            list(&[base, single("fig", 901, &[])], Us),
            "Ingredients: fig, milk",
            "900 g of milk went in, no more"
        );
    }

    #[test]
    fn a_share_is_rounded_as_the_guidance_has_it() {
        // The Commission's notice 2017/C 393/05, from memory: whole percent, below 5 % to the nearest half.
        let share = |mass| {
            let shown = WentIn { percent_shown: true, ..single("fig", mass, &[]) };
            list(&[shown, single("milk", 100_000 - mass, &[])], Us)
        };
        for (mass, printed) in [
            (12_500, "fig 13 %"),
            (12_499, "fig 12 %"),
            (5_000, "fig 5 %"),
            (4_740, "fig 4.5 %"),
            (2_250, "fig 2.5 %"),
            (300, "fig 0.5 %"),
            (200, "fig less than 0.5 %"),
        ] {
            assert_eq!(share(mass), format!("Ingredients: milk, {printed}"), "{mass} g of 100 000 g");
        }
    }
}

mod allergens {
    use super::*;

    /// What stands out in the list, each once.
    fn standing_out(went_in: &[WentIn]) -> Vec<String> {
        let list = composed(went_in, Eu).ingredients.expect("a list");
        list.allergens().into_iter().map(str::to_owned).collect()
    }

    #[test]
    fn in_the_eu_they_stand_out_in_the_list_and_no_statement_repeats_them() {
        // Regulation (EU) 1169/2011 art. 21(1).
        let label = composed(&hazelnut_biscuit(), Eu);
        assert_eq!(label.contains, None);
        assert_eq!(
            label.ingredients.expect("a list").allergens(),
            ["milk", "milk", "hazelnut", "wheat", "milk", "milk"],
            "whole milk, cream (milk), hazelnut paste, wheat flour, biscuit (… milk), skimmed milk powder"
        );
    }

    #[test]
    fn without_a_list_a_statement_says_what_is_in_it() {
        // Regulation (EU) 1169/2011 art. 21(1), last sentence (from memory).
        let asked = LabelAsked { list: ListOnLabel::LeftOut, ..asked(Eu) };
        let label = compose(&hazelnut_biscuit(), &asked).expect("a label");
        assert_eq!(label.ingredients, None);
        assert_eq!(statements(&label), ["Contains: wheat, milk, hazelnuts"]);
    }

    #[test]
    fn us_and_canada_name_every_source_after_the_list() {
        // FD&C Act 403(w)(1): milk, nuts by kind, wheat. Canada B.01.010.3(1)(b) and (c), in the order of
        // B.01.010.1(1).
        assert_eq!(statements(&composed(&hazelnut_biscuit(), Us)), ["Contains: Milk, Hazelnuts, Wheat"]);
        assert_eq!(statements(&composed(&hazelnut_biscuit(), Ca)), ["Contains: Hazelnuts, Wheat, Milk"]);
    }

    #[test]
    fn each_law_declares_what_is_on_its_own_list() {
        let pesto =
            [single("pesto", 10, &[Substance::PineNut, Substance::Mustard, Substance::Celery, Substance::Coconut])];
        assert_eq!(standing_out(&pesto), ["celery", "mustard"], "Annex II has no pine nut");
        assert_eq!(statements(&composed(&pesto, Us)), ["Contains: Pine nuts"]);
        assert_eq!(statements(&composed(&pesto, Ca)), ["Contains: Pine nuts, Mustard"]);
    }

    #[test]
    fn a_word_counts_only_where_it_means_the_allergen() {
        for (name, substance, worded) in [
            ("buttermilk", Substance::Milk, "buttermilk (milk)"),
            ("coconut milk", Substance::Milk, "coconut milk (milk)"),
            ("Oat-milk", Substance::Milk, "Oat-milk (milk)"),
            ("Milk, whole", Substance::Milk, "Milk, whole"),
            ("buckwheat", Substance::Wheat, "buckwheat (wheat)"),
            ("spelt", Substance::Wheat, "spelt (wheat)"),
            ("eggplant", Substance::Egg, "eggplant (eggs)"),
            ("lecithin", Substance::Soy, "lecithin (soybeans)"),
            ("brazil nut butter", Substance::BrazilNut, "brazil nut butter"),
            ("crème fraîche", Substance::Milk, "crème fraîche (milk)"),
        ] {
            let went_in = [single(name, 10, &[substance])];
            assert_eq!(list(&went_in, Eu), format!("Ingredients: {worded}"));
            assert_eq!(standing_out(&went_in).len(), 1, "{name}");
        }
        assert!(standing_out(&[single("coconut milk", 10, &[])]).is_empty(), "nothing is declared of it");
    }

    #[test]
    fn several_in_one_name_stand_out_each() {
        let went_in =
            [single("almond milk with soya and egg", 10, &[Substance::Almond, Substance::Soy, Substance::Egg])];
        assert_eq!(standing_out(&went_in), ["almond", "soya", "egg"]);
    }

    #[test]
    fn what_the_makers_own_statement_adds_is_not_lost_with_the_name() {
        // The parts say nothing of soy, the maker does: the base keeps its name, and says so behind its parts.
        let mut base = made("white base", 100, vec![single("water", 100, &[])], 100, Shown::Dispersed);
        base.declared = containing(&[Substance::Soy]);
        assert_eq!(list(&[base.clone()], Eu), "Ingredients: white base (water; contains soybeans)");
        assert_eq!(statements(&composed(&[base], Us)), ["Contains: Soy"]);
    }

    #[test]
    fn may_contain_comes_from_the_ingredients_and_from_the_kitchen() {
        let mut milk = single("milk", 100, &[Substance::Milk]);
        milk.declared.may_contain = mask(&[Substance::Soy]);
        let asked = |law| LabelAsked { traces: mask(&[Substance::Almond, Substance::Milk]), ..asked(law) };
        let label = |law| statements(&compose(std::slice::from_ref(&milk), &asked(law)).expect("a label"));
        assert_eq!(label(Eu), ["May contain: soybeans, almonds"], "milk is in it, and so not possible only");
        assert_eq!(label(Us), ["Contains: Milk", "May contain: Almonds, Soy"]);
        assert_eq!(label(Ca), ["Contains: Milk", "May contain: Almonds, Soy"], "B.01.010.4: after “Contains”");
    }

    #[test]
    fn traces_of_nuts_are_one_name_where_the_law_lets_them() {
        let asked = |law| LabelAsked { traces: Group::TreeNuts.members(), ..asked(law) };
        let label = |law| statements(&compose(&[single("water", 100, &[])], &asked(law)).expect("a label")).join("");
        assert_eq!(label(Eu), "May contain: nuts of every kind");
        assert_eq!(label(Us), "May contain: Nuts of every kind");
        // B.01.010.4(2) wants the names of B.01.010.1(6).
        assert_eq!(
            label(Ca),
            "May contain: Almonds, Brazil nuts, Cashews, Hazelnuts, Macadamia nuts, Pecans, Pine nuts, Pistachios, \
             Walnuts, Nuts (kind not known)"
        );
    }

    #[test]
    fn no_label_clears_anything() {
        let water = [single("water", 100, &[])];
        for law in AllergenList::ALL {
            let label = composed(&water, law);
            assert_eq!(label.statements().count(), 0);
            let text = label.ingredients.expect("a list").text().to_lowercase();
            assert!(!text.contains("free") && !text.contains("safe") && !text.contains("no "), "{text}");
        }
    }
}

mod refusals {
    use super::*;

    fn unstated(item: &str) -> WentIn {
        WentIn {
            declared: Declared { unknown: mask(&[Substance::Egg, Substance::Coconut]), ..containing(&[]) },
            ..single(item, 10, &[])
        }
    }

    #[test]
    fn whatever_is_unknown_is_named_with_its_item() {
        let nameless = WentIn { label_name: None, ..single("paste 7", 10, &[]) };
        let closed = WentIn { inside: Inside::NotKnown, ..single("wafer", 10, &[]) };
        let empty = WentIn { inside: Inside::Listed(Vec::new()), ..single("cone", 10, &[]) };
        let went_in = [unstated("jam"), nameless, closed, empty];
        let asked = LabelAsked { missing: vec![LabelField::Date], ..asked(Eu) };
        let refused = refusal(&went_in, &asked);
        let item = |item: &str| format!("house {item}");
        assert_eq!(
            refused.unknown,
            [
                Unknown::Allergens { item: item("jam"), names: vec!["Eggs"] },
                Unknown::LabelName { item: item("paste 7") },
                Unknown::Inside { item: item("wafer") },
                Unknown::Inside { item: item("cone") },
                Unknown::Field(LabelField::Date),
            ]
        );
        assert_eq!(
            refused.to_string(),
            "the label is refused: nobody has stated whether “house jam” contains Eggs; “house paste 7” has no \
             name for labels; nobody has entered what “house wafer” is made of; nobody has entered what “house cone” is made of; \
             the date it keeps until is missing: enter what is missing, or give a reason to print it all the same"
        );
    }

    #[test]
    fn a_part_of_a_part_is_asked_as_well_and_each_thing_is_said_once() {
        let inner = made("custard", 10, vec![unstated("yolk"), unstated("yolk")], 20, Shown::Dispersed);
        let refused = refusal(&[made("base", 10, vec![inner], 10, Shown::Dispersed)], &asked(Us));
        assert_eq!(refused.unknown, [Unknown::Allergens { item: "house yolk".to_owned(), names: vec!["Egg"] }]);
    }

    #[test]
    fn only_what_the_law_lists_is_asked_for() {
        // Mustard is on the lists of the EU and Canada.
        let declared = Declared { unknown: mask(&[Substance::Mustard]), ..containing(&[]) };
        let went_in = [WentIn { declared, ..single("jam", 10, &[]) }];
        assert_eq!(compose(&went_in, &asked(Us)).map(|label| label.notice), Ok(None));
        for law in [Eu, Ca] {
            assert_eq!(refusal(&went_in, &asked(law)).unknown.len(), 1, "{}", law.saying());
        }
    }

    #[test]
    fn a_nut_without_a_kind_and_a_fish_without_a_species_are_refused() {
        let nuts = [single("praline", 10, &[Substance::UnspecifiedTreeNut])];
        for law in AllergenList::ALL {
            let unknown = refusal(&nuts, &asked(law)).unknown;
            assert_eq!(unknown, [Unknown::Kind { substance: Substance::UnspecifiedTreeNut }]);
        }
        let gelatine = [single("fish gelatine", 10, &[Substance::Fish])];
        assert_eq!(refusal(&gelatine, &asked(Us)).unknown, [Unknown::Species { substance: Substance::Fish }]);
        assert_eq!(list(&gelatine, Eu), "Ingredients: fish gelatine", "Annex II says “fish”");
    }

    #[test]
    fn nothing_went_in_is_no_empty_list() {
        assert_eq!(refusal(&[], &asked(Eu)).unknown, [Unknown::WhatWentIn]);
        let made_of_nothing = made("base", 10, Vec::new(), 10, Shown::Dispersed);
        assert_eq!(
            refusal(&[made_of_nothing], &asked(Eu)).unknown,
            [Unknown::Inside { item: "house base".to_owned() }]
        );
    }

    #[test]
    fn printed_all_the_same_it_says_so_with_the_reason() {
        let despite = Some(Despite::new(" for the tasting at home ").expect("a reason"));
        let went_in = [unstated("jam"), WentIn { inside: Inside::NotKnown, ..single("wafer", 5, &[Substance::Wheat]) }];
        let label = compose(&went_in, &LabelAsked { despite: despite.clone(), ..asked(Eu) }).expect("a label");
        assert_eq!(
            label.notice.as_deref(),
            Some(
                "Not everything in it is known: all allergens of house jam; the composition of house wafer. Printed \
                 because: for the tasting at home"
            )
        );
        assert_eq!(
            label.ingredients.expect("a list").text(),
            "Ingredients: jam, wafer (composition not known; contains wheat)"
        );
        // A reason on a label that needs none is not printed.
        let whole = compose(&[single("water", 1, &[])], &LabelAsked { despite, ..asked(Eu) }).expect("a label");
        assert_eq!(whole.notice, None);
    }

    #[test]
    fn a_reason_is_a_line_of_text() {
        assert!(Despite::new("  ").is_err());
        assert!(Despite::new("a\nb").is_err());
        assert!(Despite::new(&"x".repeat(121)).is_err());
    }
}

mod figures {
    use super::*;

    fn day(year: i32, month: u32, day: u32) -> NaiveDate {
        NaiveDate::from_ymd_opt(year, month, day).expect("a day")
    }

    fn dated(law: AllergenList, kind: DateKind, day: NaiveDate) -> String {
        let wording = date_wording(law, kind, day).expect("a date");
        format!("{}: {}", wording.label, wording.date)
    }

    #[test]
    fn a_date_has_the_order_and_the_words_of_the_law() {
        // Regulation (EU) 1169/2011 Annex X.
        assert_eq!(dated(Eu, DateKind::BestBefore, day(2027, 5, 3)), "Best before: 3 May 2027");
        assert_eq!(dated(Eu, DateKind::UseBy, day(2027, 12, 31)), "Use by: 31 December 2027");
        // The agency's own example for 2012-06-28 under B.01.007(4) and (5): “12 JN 28”. The year has four figures
        // here.
        assert_eq!(dated(Ca, DateKind::BestBefore, day(2012, 6, 28)), "Best before / Meilleur avant: 2012 JN 28");
        assert_eq!(dated(Ca, DateKind::Packed, day(2027, 1, 5)), "Packaged on / Empaqueté le: 2027 JA 05");
        assert_eq!(dated(Us, DateKind::BestBefore, day(2027, 5, 3)), "Best if used by: May 3, 2027");
    }

    #[test]
    fn canadas_months_are_those_of_the_regulation() {
        // B.01.007(5).
        let symbols = ["JA", "FE", "MR", "AL", "MA", "JN", "JL", "AU", "SE", "OC", "NO", "DE"];
        for (month, symbol) in (1..).zip(symbols) {
            assert!(dated(Ca, DateKind::BestBefore, day(2027, month, 9)).ends_with(&format!("2027 {symbol} 09")));
        }
    }

    #[test]
    fn a_date_no_law_has_is_refused() {
        assert_eq!(date_wording(Ca, DateKind::UseBy, day(2027, 5, 3)), Err(DateRefused::NoUseBy));
        assert_eq!(date_wording(Eu, DateKind::UseBy, day(10_000, 5, 3)), Err(DateRefused::Year));
        assert_eq!(date_wording(Eu, DateKind::UseBy, day(999, 5, 3)), Err(DateRefused::Year));
    }

    fn quantity(law: AllergenList, mg: i64) -> Option<String> {
        net_quantity(law, Mass::from_mg(mg).expect("a mass"))
    }

    #[test]
    fn a_net_quantity_never_overstates() {
        for (law, mg, printed) in [
            (Eu, 999_999, "999 g"),
            (Eu, 1_000_000, "1 kg"),
            (Eu, 2_437_900, "2.437 kg"),
            (Eu, 2_500_000, "2.5 kg"),
            // Safe Food for Canadians Regulations 233: three figures, two below 100 g.
            (Ca, 85_600, "85 g"),
            (Ca, 980_000, "980 g"),
            (Ca, 2_437_900, "2.43 kg"),
            (Ca, 12_376_000, "12.3 kg"),
            (Ca, 123_999_000, "123 kg"),
            (Ca, 2_500_000, "2.5 kg"),
            // 1 lb 8 oz = 680.388 g; 8 oz = 226.796 g; 21 oz = 595 339.986 mg, printed “595 g” on a box of cereal.
            (Us, 680_389, "Net Wt 1 lb 8 oz (680 g)"),
            (Us, 226_797, "Net Wt 8 oz (226 g)"),
            (Us, 595_340, "Net Wt 1 lb 5 oz (595 g)"),
            (Us, 595_339, "Net Wt 1 lb 4.9 oz (595 g)"),
            // 5 lb = 2267.96185 g; 2437.9 g = 85.994 oz = 5 lb 5.99 oz.
            (Us, 2_267_962, "Net Wt 5 lb (2.26 kg)"),
            (Us, 2_437_900, "Net Wt 5 lb 5.9 oz (2.43 kg)"),
        ] {
            assert_eq!(quantity(law, mg).as_deref(), Some(printed), "{mg} mg, {}", law.saying());
        }
        for law in AllergenList::ALL {
            assert_eq!(quantity(law, 999), None);
        }
        assert_eq!(quantity(Us, 2_000), None, "2 g is no tenth of an ounce");
    }

    #[test]
    fn letters_are_as_large_as_the_law_has_them() {
        // Regulation (EU) 1169/2011 art. 13(2) and (3): 1.2 mm; 0.9 mm below 80 cm².
        assert_eq!(least_letter_height(Eu, None), 1200);
        assert_eq!([79, 80].map(|cm2| least_letter_height(Eu, Some(cm2))), [900, 1200]);
        // Safe Food for Canadians Regulations 210(2) and (3): 1.6 mm; 0.8 mm up to 10 cm².
        assert_eq!([10, 11].map(|cm2| least_letter_height(Ca, Some(cm2))), [800, 1600]);
        // 21 CFR 101.2(c), from memory: 1/16 inch = 1.5875 mm.
        assert_eq!(least_letter_height(Us, None), 1588);
        // Directive 76/211/EEC Annex I point 3.1.
        let heights = [50, 51, 200, 201, 1000, 1001].map(|nominal| least_figure_height(Eu, grams(nominal)));
        assert_eq!(heights, [2000, 3000, 3000, 4000, 4000, 6000].map(Some));
        assert_eq!(least_figure_height(Us, grams(500)), None);
    }
}
