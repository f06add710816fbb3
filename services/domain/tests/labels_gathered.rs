//! What went in, gathered through what was made on the way: the list stays the same, and a chain of rests does not grow.

use tubtrail_domain::allergens::{AllergenList, Declared, Substance};
use tubtrail_domain::labels::{
    Inside, LabelAsked, LabelRefusal, ListOnLabel, Shown, Unknown, WentIn, compose, gathered,
};
use tubtrail_domain::quantity::Mass;

fn grams(grams: i64) -> Mass {
    Mass::from_grams(grams).expect("a mass")
}

fn single(name: &str, mass: i64, contains: u64) -> WentIn {
    WentIn {
        item: name.to_owned(),
        label_name: Some(name.to_owned()),
        mass: grams(mass),
        declared: Declared { contains, may_contain: 0, unknown: 0 },
        sugars_based: false,
        percent_shown: false,
        inside: Inside::Single,
    }
}

fn made(name: &str, mass: i64, parts: Vec<WentIn>, weight: i64, shown: Shown) -> WentIn {
    WentIn { inside: Inside::Made { parts, weight: grams(weight), shown }, ..single(name, mass, 0) }
}

fn asked(law: AllergenList) -> LabelAsked {
    LabelAsked { law, list: ListOnLabel::Printed, traces: 0, unknown_traces: 0, missing: Vec::new(), despite: None }
}

fn list(went_in: &[WentIn]) -> String {
    let composition = compose(went_in, &asked(AllergenList::Eu)).expect("a label");
    composition.ingredients.expect("a list").text()
}

/// 6000 g milk and 2000 g sugar gave 7840 g of base; 3920 g of it, 500 g of pistachio and 100 g of praline went into a
/// flavour. The praline is 300 g sugar and 200 g hazelnuts, which gave 490 g; 98 g of it were used.
fn flavour() -> Vec<WentIn> {
    let base = vec![single("milk", 6000, Substance::Milk.bit()), single("sugar", 2000, 0)];
    let praline = vec![single("sugar", 300, 0), single("hazelnuts", 200, Substance::Hazelnut.bit())];
    vec![
        made("white base", 3920, base, 7840, Shown::Dispersed),
        single("pistachios", 500, Substance::Pistachio.bit()),
        made("praline", 98, praline, 490, Shown::InBrackets),
    ]
}

#[test]
fn gathering_changes_no_list() {
    // Half of the base: 3000 g milk, 1000 g sugar. A fifth of the praline: 60 g sugar, 40 g hazelnuts; 98 g in all.
    let expected = "Ingredients: milk, sugar, pistachios, praline (sugar, hazelnuts)";
    assert_eq!(list(&flavour()), expected);
    let gathered = gathered(flavour());
    assert_eq!(list(&gathered), expected);
    let masses: Vec<_> = gathered.iter().map(|one| (one.item.as_str(), one.mass.mg() / 1000)).collect();
    assert_eq!(masses, [("milk", 3000), ("sugar", 1000), ("pistachios", 500), ("praline", 98)]);
    let Inside::Made { parts, weight, .. } = &gathered[3].inside else { panic!("{gathered:?}") };
    assert_eq!(*weight, grams(98));
    assert_eq!(parts.iter().map(|part| part.mass).collect::<Vec<_>>(), [grams(60), grams(40)]);
}

#[test]
fn a_chain_of_rests_says_no_more_than_there_are_different_things_in_it() {
    // Every day 900 g of milk and 100 g of yesterday's base give 1000 g. On day n, 1/10^(n-1) of the sugar of the first
    // day is left: 100 g, 10 g, 1 g, then less than a milligram, and it is listed all the same.
    let first = vec![single("milk", 900, Substance::Milk.bit()), single("sugar", 100, 0)];
    let mut yesterday = gathered(first);
    for day in 2..2000 {
        let rest = made("white base", 100, yesterday, 1000, Shown::Dispersed);
        yesterday = gathered(vec![single("milk", 900, Substance::Milk.bit()), rest]);
        assert_eq!(yesterday.len(), 2, "day {day}");
        if day == 3 {
            assert_eq!(yesterday[1].mass, grams(1));
        }
    }
    assert_eq!(list(&yesterday), "Ingredients: milk, sugar");
}

#[test]
fn brackets_within_brackets_end() {
    // Praline with a rest of caramel in it, caramel with a rest of praline, day after day.
    let mut praline = vec![single("sugar", 100, 0)];
    for day in 0..50 {
        let name = if day % 2 == 0 { "praline" } else { "caramel" };
        let rest = made(name, 10, praline, 110, Shown::InBrackets);
        praline = gathered(vec![single("sugar", 100, 0), rest]);
    }
    let list = list(&praline);
    assert!(list.matches('(').count() <= 4, "{list}");
}

#[test]
fn what_the_maker_adds_keeps_its_name() {
    let mut base = made("white base", 500, vec![single("water", 1000, 0)], 1000, Shown::Dispersed);
    base.declared.contains = Substance::Soy.bit();
    assert_eq!(list(&gathered(vec![base])), "Ingredients: white base (water; contains soybeans)");
}

#[test]
fn what_nobody_knows_to_have_got_in_is_asked_once() {
    // Of hazelnut nobody knows, but almond is declared to be in it: that is no question any more.
    let traces = Substance::Almond.bit() | Substance::Sesame.bit();
    let marzipan = [single("almonds", 100, Substance::Almond.bit())];
    let asked = |law| LabelAsked { unknown_traces: traces, ..asked(law) };
    for law in AllergenList::ALL {
        let refusal: LabelRefusal = compose(&marzipan, &asked(law)).expect_err("refused");
        let [Unknown::Traces { names }] = refusal.unknown.as_slice() else { panic!("{refusal}") };
        assert_eq!(names.len(), 1, "{refusal}");
    }
    // What is unknown of an ingredient is said of it, and not again of the equipment.
    let mut unstated = marzipan.clone();
    unstated[0].declared.unknown = Substance::Sesame.bit();
    let refusal = compose(&unstated, &asked(AllergenList::Eu)).expect_err("refused");
    assert!(matches!(refusal.unknown.as_slice(), [Unknown::Allergens { .. }]), "{refusal}");
    // Lupin is on the list of the EU only.
    let lupin = |law| LabelAsked { unknown_traces: Substance::Lupin.bit(), ..self::asked(law) };
    assert!(compose(&marzipan, &lupin(AllergenList::Eu)).is_err());
    assert!(compose(&marzipan, &lupin(AllergenList::Us)).is_ok());
}
