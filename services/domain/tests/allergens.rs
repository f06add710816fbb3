//! Allergens: the lists of three laws, and what a statement by them says, leaves unknown and never takes away.

use std::collections::HashSet;

use tubtrail_domain::allergens::{
    AllergenList, Answer, Declared, EVERY_SUBSTANCE, Group, Named, StatementError, StatementGiven, Substance,
};
use tubtrail_domain::decimal::Decimal;

use Answer::{Contains, MayContain, NotRecorded, Unknown};

/// A statement by these lists (`eu,ca`) that names these words.
fn given(lists: &str, contains: &str, may_contain: &str) -> StatementGiven {
    let lists = words(lists).map(|word| AllergenList::from_word(word).expect(word)).collect();
    StatementGiven {
        lists,
        contains: names(contains),
        may_contain: names(may_contain),
        sulphites_ppm: None,
        alcohol_percent_vol: None,
    }
}

fn words(text: &str) -> impl Iterator<Item = &str> {
    text.split(',').filter(|word| !word.is_empty())
}

fn names(text: &str) -> Vec<Named> {
    words(text).map(named).collect()
}

fn named(word: &str) -> Named {
    Named::from_word(word).expect(word)
}

fn decimal(text: &str) -> Decimal {
    text.parse().expect(text)
}

fn declared(lists: &str, contains: &str, may_contain: &str) -> Declared {
    given(lists, contains, may_contain).check().expect("a statement")
}

fn refusal(lists: &str, contains: &str, may_contain: &str) -> StatementError {
    given(lists, contains, may_contain).check().expect_err("no statement")
}

fn sulphites(lists: &str, ppm: &str) -> Answer {
    let statement = StatementGiven { sulphites_ppm: Some(decimal(ppm)), ..given(lists, "", "") };
    statement.check().expect(ppm).answer(Substance::Sulphites)
}

/// Holds the answers of something against `word: answer`.
fn assert_answers(declared: Declared, expected: &[(&str, Answer)]) {
    for (word, answer) in expected {
        assert_eq!(declared.answer(named(word)), *answer, "{word}");
    }
}

/// What a statement by one list that names nothing leaves unknown, or settles: by EU, US and Canada.
fn assert_listed(word: &str, by_list: [bool; 3]) {
    for (list, is_listed) in AllergenList::ALL.into_iter().zip(by_list) {
        let answer = declared(list.word(), "", "").answer(named(word));
        assert_eq!(answer, if is_listed { NotRecorded } else { Unknown }, "{word} by the list of {}", list.saying());
    }
}

mod words_and_bits {
    use super::*;

    #[test]
    fn every_substance_has_a_bit_of_its_own_that_stays() {
        assert_eq!(Substance::ALL.map(Substance::bit), std::array::from_fn(|position| 1 << position));
        assert_eq!(EVERY_SUBSTANCE, (1 << 35) - 1);
        assert_eq!((Substance::Wheat.bit(), Substance::Milk.bit(), Substance::Alcohol.bit()), (1, 1 << 10, 1 << 34));
    }

    #[test]
    fn words_are_read_back_and_no_two_are_the_same() {
        let substances = Substance::ALL.map(Named::Substance);
        let all: Vec<Named> = substances.into_iter().chain(Group::ALL.map(Named::Group)).collect();
        for named in &all {
            assert_eq!(Named::from_word(named.word()), Some(*named));
            assert!(named.word().bytes().all(|byte| byte.is_ascii_lowercase() || byte == b'_'), "{named}");
        }
        assert_eq!(all.iter().map(|named| named.word()).collect::<HashSet<_>>().len(), all.len());
        for foreign in ["", "Milk", "milk ", "nuts", "hazel_nut", "gluten", "brazil nut"] {
            assert_eq!(Named::from_word(foreign), None, "{foreign:?}");
        }
        assert_eq!(Substance::BrazilNut.to_string(), "brazil nut");
    }

    #[test]
    fn groups_hold_their_members_and_the_unspecified_one() {
        let nuts: Vec<&str> = Substance::of_mask(Group::TreeNuts.members()).map(Substance::word).collect();
        assert_eq!(
            nuts.join(" "),
            "almond hazelnut walnut black_walnut california_walnut heartnut cashew pecan brazil_nut pistachio \
             macadamia pine_nut unspecified_tree_nut"
        );
        let cereals: Vec<&str> = Substance::of_mask(Group::GlutenCereals.members()).map(Substance::word).collect();
        assert_eq!(cereals.join(" "), "wheat rye barley oats triticale unspecified_gluten_cereal");
        let walnuts: Vec<&str> = Substance::of_mask(Group::Walnuts.members()).map(Substance::word).collect();
        assert_eq!(walnuts.join(" "), "walnut black_walnut california_walnut heartnut");
    }

    #[test]
    fn answers_are_ordered_worst_first() {
        assert!(Contains < MayContain && MayContain < Unknown && Unknown < NotRecorded);
        assert_eq!(Answer::ALL.map(Answer::word), ["contains", "may_contain", "unknown", "not_recorded"]);
        assert_eq!(Answer::ALL.map(|answer| Answer::from_word(answer.word())), Answer::ALL.map(Some));
        assert_eq!(Answer::from_word("no"), None);
    }
}

mod lists {
    use super::*;

    /// Which of the lists, EU, US and Canada, covers what.
    fn covered(list: AllergenList) -> Vec<&'static str> {
        Substance::of_mask(list.covers()).filter(|substance| !substance.is_unspecified()).map(Substance::word).collect()
    }

    #[test]
    fn the_european_union_names_the_fourteen_of_annex_ii() {
        // Regulation (EU) 1169/2011 Annex II. Triticale as a hybridised strain: inference.
        assert_eq!(
            covered(AllergenList::Eu).join(" "),
            "wheat rye barley oats triticale crustaceans molluscs fish egg milk peanut soy almond hazelnut walnut \
             cashew pecan brazil_nut pistachio macadamia celery mustard sesame lupin sulphites"
        );
    }

    #[test]
    fn the_united_states_name_nine_and_of_nuts_the_twelve_of_table_1() {
        // FD&C Act 201(qq); FDA questions and answers, Edition 5 (January 2025), Table 1. Triticale as a wheat: from
        // memory.
        assert_eq!(
            covered(AllergenList::Us).join(" "),
            "wheat triticale crustaceans fish egg milk peanut soy almond hazelnut walnut black_walnut \
             california_walnut heartnut cashew pecan brazil_nut pistachio macadamia pine_nut sesame"
        );
        let nuts = AllergenList::Us.covers() & Group::TreeNuts.members() & !Substance::UnspecifiedTreeNut.bit();
        assert_eq!(nuts.count_ones(), 12);
    }

    #[test]
    fn canada_names_its_allergens_gluten_sources_and_sulphites() {
        // Food and Drug Regulations B.01.010.1(1). The walnuts beside the common one: inference.
        assert_eq!(
            covered(AllergenList::Ca).join(" "),
            "wheat rye barley oats triticale crustaceans molluscs fish egg milk peanut soy almond hazelnut walnut \
             black_walnut california_walnut heartnut cashew pecan brazil_nut pistachio macadamia pine_nut mustard \
             sesame sulphites"
        );
    }

    #[test]
    fn pine_nut_is_not_on_the_european_list() {
        // FDA Edition 5 Table 1; FDR B.01.010.1(1)(a); absent from Regulation (EU) 1169/2011 Annex II.
        assert_listed("pine_nut", [false, true, true]);
    }

    #[test]
    fn coconut_and_chestnut_and_buckwheat_are_on_none() {
        // FDA Edition 5 (January 2025) took coconut and chestnut off its table; Annex II and B.01.010.1 never had them.
        for word in ["coconut", "chestnut", "buckwheat", "alcohol"] {
            assert_listed(word, [false, false, false]);
        }
    }

    #[test]
    fn mustard_is_on_the_european_and_canadian_lists() {
        // Annex II; B.01.010.1(1)(k); not in 201(qq).
        assert_listed("mustard", [true, false, true]);
    }

    #[test]
    fn celery_and_lupin_are_on_the_european_list_only() {
        // Annex II; neither in 201(qq) nor in B.01.010.1(1).
        assert_listed("celery", [true, false, false]);
        assert_listed("lupin", [true, false, false]);
    }

    #[test]
    fn molluscs_are_not_on_the_american_list_and_crustaceans_are() {
        // Annex II; B.01.010.1(1)(h) and (i); 201(qq) has crustacean shellfish only.
        assert_listed("molluscs", [true, false, true]);
        assert_listed("crustaceans", [true, true, true]);
    }

    #[test]
    fn of_the_cereals_the_american_list_has_wheat() {
        // Annex II; 201(qq); gluten sources of B.01.010.1(1).
        assert_listed("wheat", [true, true, true]);
        for word in ["rye", "barley", "oats", "gluten_cereals", "unspecified_gluten_cereal"] {
            assert_listed(word, [true, false, true]);
        }
        // EU: a hybridised strain (inference). US: counted as wheat by FDA (from memory). Canada: named beside wheat.
        assert_listed("triticale", [true, true, true]);
    }

    #[test]
    fn other_walnuts_are_not_on_the_european_list() {
        // FDA Edition 5 Table 1 names each; Canada's “walnuts” without a species covers them by inference; Annex II
        // has Juglans regia only.
        assert_listed("walnut", [true, true, true]);
        for word in ["black_walnut", "california_walnut", "heartnut"] {
            assert_listed(word, [false, true, true]);
        }
    }

    #[test]
    fn sesame_is_on_all_three() {
        // Annex II; 201(qq) since 2023-01-01; B.01.010.1(1)(c).
        assert_listed("sesame", [true, true, true]);
    }

    #[test]
    fn sulphites_are_not_on_the_american_list() {
        // Not in FD&C Act 201(qq).
        assert_listed("sulphites", [true, false, true]);
    }

    #[test]
    fn sheets_have_a_column_for_each_covered_substance_and_for_none_twice() {
        for list in AllergenList::ALL {
            let mut seen = 0;
            for column in list.columns() {
                assert!(column.mask != 0 && column.mask & seen == 0, "{}", column.title);
                seen |= column.mask;
            }
            assert_eq!(seen, list.covers(), "{}", list.saying());
            let titles: HashSet<&str> = list.columns().iter().map(|column| column.title).collect();
            assert_eq!(titles.len(), list.columns().len(), "{}", list.saying());
            assert_eq!(AllergenList::from_word(list.word()), Some(list));
        }
        assert_eq!(AllergenList::Eu.columns().len(), 14 - 2 + 8 + 1 + 5 + 1, "nuts and cereals one by one");
    }

    #[test]
    fn a_sheet_shows_nuts_of_no_stated_kind_and_that_each_may_be_one() {
        let praline = declared("eu", "tree_nuts,milk", "");
        let shown = |title: &str| {
            let column = AllergenList::Eu.columns().iter().find(|column| column.title == title).expect(title);
            praline.answer_to(column.mask)
        };
        assert_eq!(shown("Nuts, kind not stated"), Contains);
        assert_eq!(shown("Hazelnuts"), MayContain);
        assert_eq!(shown("Milk"), Contains);
        assert_eq!(shown("Peanuts"), NotRecorded);
    }
}

mod statements {
    use super::*;

    #[test]
    fn what_is_on_the_list_and_not_named_is_not_recorded_and_the_rest_unknown() {
        assert_answers(
            declared("us", "milk,hazelnut", "pistachio"),
            &[
                ("milk", Contains),
                ("hazelnut", Contains),
                ("pistachio", MayContain),
                ("almond", NotRecorded),
                ("celery", Unknown),
                ("sulphites", Unknown),
                ("alcohol", Unknown),
                ("coconut", Unknown),
            ],
        );
    }

    #[test]
    fn two_lists_together_leave_less_unknown() {
        let by_both = declared("us,eu", "milk", "");
        assert_answers(by_both, &[("pine_nut", NotRecorded), ("celery", NotRecorded), ("coconut", Unknown)]);
    }

    #[test]
    fn without_a_list_nothing_is_settled_but_what_is_named() {
        let by_none = declared("", "coconut", "sesame");
        assert_answers(by_none, &[("coconut", Contains), ("sesame", MayContain), ("milk", Unknown)]);
        assert_eq!(by_none.contains | by_none.may_contain | by_none.unknown, EVERY_SUBSTANCE);
    }

    #[test]
    fn what_is_on_no_list_of_the_statement_is_taken_when_it_is_named() {
        assert_answers(declared("us", "lupin", "celery"), &[("lupin", Contains), ("celery", MayContain)]);
    }

    #[test]
    fn tree_nuts_without_a_kind_make_each_of_them_possible() {
        // Pine nut and black walnut are on no European list, and may be meant all the same.
        assert_answers(
            declared("eu", "tree_nuts", ""),
            &[
                ("tree_nuts", Contains),
                ("unspecified_tree_nut", Contains),
                ("hazelnut", MayContain),
                ("pine_nut", MayContain),
                ("black_walnut", MayContain),
                ("walnuts", MayContain),
                ("peanut", NotRecorded),
                ("coconut", Unknown),
            ],
        );
    }

    #[test]
    fn a_group_beside_a_member_leaves_the_others_possible() {
        let expected = [("hazelnut", Contains), ("almond", MayContain), ("tree_nuts", Contains)];
        assert_answers(declared("eu", "tree_nuts,hazelnut", ""), &expected);
        // “Contains hazelnuts. May contain other nuts.”
        assert_answers(declared("eu", "hazelnut", "tree_nuts"), &expected);
        assert_answers(declared("eu", "tree_nuts", "hazelnut"), &[("hazelnut", MayContain), ("tree_nuts", Contains)]);
    }

    #[test]
    fn a_group_that_may_be_in_there_makes_no_member_contained() {
        assert_answers(
            declared("ca", "milk", "tree_nuts"),
            &[("tree_nuts", MayContain), ("unspecified_tree_nut", MayContain), ("pine_nut", MayContain)],
        );
    }

    #[test]
    fn cereals_with_gluten_without_a_kind_make_each_of_them_possible() {
        // A cone on the American list: only wheat is covered there, and rye may be meant.
        assert_answers(
            declared("us", "gluten_cereals", ""),
            &[("gluten_cereals", Contains), ("wheat", MayContain), ("rye", MayContain), ("oats", MayContain)],
        );
    }

    #[test]
    fn walnuts_are_all_four() {
        let fudge = declared("ca", "walnuts", "");
        for word in ["walnuts", "walnut", "black_walnut", "california_walnut", "heartnut", "tree_nuts"] {
            assert_answers(fudge, &[(word, Contains)]);
        }
        assert_answers(fudge, &[("pecan", NotRecorded), ("unspecified_tree_nut", NotRecorded)]);
    }

    #[test]
    fn one_name_for_several_leaves_the_unnamed_of_them_unknown() {
        // Canada writes “walnuts” for each of the four; the American table tells them apart.
        assert_answers(declared("ca", "walnut", ""), &[("walnut", Contains), ("black_walnut", Unknown)]);
        assert_answers(declared("us,ca", "walnut", ""), &[("black_walnut", NotRecorded)]);
        // The American “wheat” stands for triticale too (from memory); Canada names each.
        assert_answers(declared("us", "", "wheat"), &[("wheat", MayContain), ("triticale", Unknown)]);
        assert_answers(declared("ca", "wheat", ""), &[("triticale", NotRecorded)]);
    }

    #[test]
    fn a_group_answers_with_its_worst_member() {
        assert_answers(declared("eu", "milk", ""), &[("tree_nuts", Unknown), ("walnuts", Unknown)]);
        assert_answers(declared("us", "milk", ""), &[("tree_nuts", NotRecorded), ("gluten_cereals", Unknown)]);
        assert_answers(declared("eu", "oats", "wheat"), &[("gluten_cereals", Contains)]);
        assert_answers(declared("eu", "", "wheat"), &[("gluten_cereals", MayContain)]);
    }

    #[test]
    fn masks_never_overlap_and_leave_out_only_what_a_list_covers() {
        for lists in ["", "eu", "us", "ca", "eu,us", "us,ca", "eu,us,ca"] {
            for contains in ["egg", "tree_nuts", "walnuts,almond", "gluten_cereals,wheat"] {
                for may_contain in ["", "hazelnut", "soy,coconut"] {
                    let Declared { contains, may_contain, unknown } = declared(lists, contains, may_contain);
                    assert_eq!(contains & may_contain | contains & unknown | may_contain & unknown, 0);
                    let covers = words(lists).filter_map(AllergenList::from_word).fold(0, |mask, l| mask | l.covers());
                    assert_eq!(EVERY_SUBSTANCE & !(contains | may_contain | unknown) & !covers, 0, "{lists}");
                }
            }
        }
    }

    #[test]
    fn a_makers_own_statement_adds_and_leaves_nothing_unknown() {
        let made = declared("us", "milk", "hazelnut");
        assert_eq!(made.additions(), Declared { unknown: 0, ..made });
        assert_eq!(Declared::NOTHING_STATED.additions().answer(Substance::Milk), NotRecorded);
    }

    #[test]
    fn where_nobody_stated_anything_everything_is_unknown() {
        for substance in Substance::ALL {
            assert_eq!(Declared::NOTHING_STATED.answer(substance), Unknown, "{substance}");
        }
        assert_eq!(declared("eu", "milk", "").answer_to(0), Unknown, "a question about nothing");
    }

    #[test]
    fn where_masks_overlap_the_worse_one_holds() {
        let milk = Substance::Milk.bit();
        let all_three = Declared { contains: milk, may_contain: milk, unknown: milk };
        assert_eq!(all_three.answer(Substance::Milk), Contains);
        assert_eq!(Declared { contains: 0, ..all_three }.answer(Substance::Milk), MayContain);
    }
}

mod figures {
    use super::*;

    #[test]
    fn exactly_ten_of_sulphite_are_declared_in_canada_and_not_in_the_european_union() {
        // Food and Drug Regulations: 10 ppm or more. Regulation (EU) 1169/2011 Annex II: more than 10 mg/kg.
        assert_eq!(sulphites("ca", "10"), Contains);
        assert_eq!(sulphites("eu", "10"), NotRecorded);
        assert_eq!(sulphites("eu", "10.0"), NotRecorded);
        assert_eq!(sulphites("eu", "10.000000001"), Contains);
        assert_eq!(sulphites("ca", "9.999999999"), NotRecorded);
        assert_eq!(sulphites("eu,ca", "10"), Contains, "one of the lists declares it");
        assert_eq!(sulphites("eu,us", "10"), NotRecorded);
        assert_eq!(sulphites("eu", "0"), NotRecorded);
    }

    #[test]
    fn a_figure_without_a_boundary_is_held_against_the_strictest() {
        for lists in ["us", ""] {
            assert_eq!(sulphites(lists, "10"), Contains);
            assert_eq!(sulphites(lists, "9.9"), NotRecorded);
        }
    }

    #[test]
    fn without_a_figure_the_list_decides() {
        assert_answers(declared("eu", "milk", ""), &[("sulphites", NotRecorded)]);
        assert_answers(declared("us", "milk", ""), &[("sulphites", Unknown)]);
        assert_answers(declared("us", "sulphites", ""), &[("sulphites", Contains)]);
    }

    #[test]
    fn a_low_figure_takes_back_nothing_that_is_named() {
        let low = |contains, may_contain| {
            let statement = StatementGiven { sulphites_ppm: Some(decimal("3")), ..given("eu", contains, may_contain) };
            statement.check().expect("a statement").answer(Substance::Sulphites)
        };
        assert_eq!(low("sulphites", ""), Contains);
        assert_eq!(low("", "sulphites"), MayContain);
        let high = StatementGiven { sulphites_ppm: Some(decimal("2000")), ..given("eu", "", "sulphites") };
        assert_eq!(high.check().expect("a statement").answer(Substance::Sulphites), Contains);
    }

    #[test]
    fn alcohol_is_unknown_without_a_figure_and_contained_above_zero() {
        let by_figure = |percent: Option<&str>| {
            let alcohol_percent_vol = percent.map(decimal);
            let statement = StatementGiven { alcohol_percent_vol, ..given("eu,us,ca", "milk", "") };
            statement.check().expect("a statement").answer(Substance::Alcohol)
        };
        assert_eq!(by_figure(None), Unknown);
        assert_eq!(by_figure(Some("0")), NotRecorded);
        assert_eq!(by_figure(Some("0.00")), NotRecorded);
        assert_eq!(by_figure(Some("0.000000001")), Contains);
        assert_eq!(by_figure(Some("100")), Contains);
    }

    #[test]
    fn out_of_range_are_refused() {
        let ppm = |ppm| StatementGiven { sulphites_ppm: Some(decimal(ppm)), ..given("eu", "", "") }.check();
        assert!(ppm("1000000").is_ok());
        assert_eq!(ppm("1000000.1"), Err(StatementError::SulphitesOutOfRange));
        let percent =
            |percent| StatementGiven { alcohol_percent_vol: Some(decimal(percent)), ..given("eu", "", "") }.check();
        assert_eq!(percent("100.001"), Err(StatementError::AlcoholOutOfRange));
    }
}

mod refusals {
    use super::*;

    #[test]
    fn a_statement_must_say_something() {
        assert_eq!(refusal("", "", ""), StatementError::SaysNothing);
        assert!(given("eu", "", "").check().is_ok(), "a list alone says that none of it is there");
        let rum = StatementGiven { alcohol_percent_vol: Some(decimal("40")), ..given("", "", "") };
        assert_eq!(rum.check().map(|rum| rum.answer(Substance::Milk)), Ok(Unknown));
    }

    #[test]
    fn nothing_is_named_twice() {
        assert_eq!(refusal("eu", "milk,egg,milk", ""), StatementError::Repeated { named: named("milk") });
        assert_eq!(refusal("eu", "", "tree_nuts,tree_nuts"), StatementError::Repeated { named: named("tree_nuts") });
        assert_eq!(refusal("eu", "milk", "egg,milk"), StatementError::ContainedAndPossible { named: named("milk") });
        assert_eq!(refusal("eu,us,eu", "milk", ""), StatementError::RepeatedList { list: AllergenList::Eu });
        assert_eq!(refusal("eu", "soy,soy", "").to_string(), "“soy” is named twice");
        assert_eq!(refusal("us,us", "", "").to_string(), "the list of the United States is given twice");
    }

    #[test]
    fn alcohol_and_unstated_kinds_are_not_named_by_hand() {
        for (contains, may_contain) in [("alcohol", ""), ("", "alcohol")] {
            assert_eq!(refusal("eu", contains, may_contain), StatementError::AlcoholNamed);
        }
        for word in ["unspecified_tree_nut", "unspecified_gluten_cereal"] {
            assert_eq!(refusal("eu", word, ""), StatementError::UnspecifiedNamed);
            assert_eq!(refusal("eu", "", word), StatementError::UnspecifiedNamed);
        }
    }
}
