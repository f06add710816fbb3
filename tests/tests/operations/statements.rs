//! Statements: which one holds, what it leaves unknown, and which tubs answer otherwise because of it.

use chrono::NaiveDate;
use tubtrail_operations::Request;
use tubtrail_operations::allergen_checks::Step;
use tubtrail_operations::allergen_words::{AllergenList, Answer};
use tubtrail_operations::quantities::Amount;
use tubtrail_operations::statements::{NewStatement, Protein, StatementsAsked};
use tubtrail_tests::batches::{of, untracked};
use tubtrail_tests::house::{KITCHEN, SHOP, day};
use tubtrail_tests::{Backend, on_both};

use crate::nuts::*;
use crate::shelf::{problem, refused};

on_both!(
    each_list_leaves_unknown_what_it_does_not_ask_for,
    tree_nuts_without_a_name_make_every_tree_nut_possible,
    the_statement_of_the_day_holds,
    a_warning_about_one_lot_hides_nothing,
    a_newer_list_that_does_not_ask_clears_nothing,
    the_maker_only_adds_to_what_it_made,
    water_needs_a_statement_too,
    a_correction_flips_the_tubs_it_reaches_and_only_those,
    bad_statements_name_the_field,
    gaps_name_what_is_missing,
);

use Answer::{Contains, MayContain, NotRecorded, Unknown};

fn each_list_leaves_unknown_what_it_does_not_ask_for(backend: Backend) {
    let house = house(backend);
    let lot = |list: AllergenList, code: &str| {
        let lot = house.receive("dairy", "sugar", code, 1000);
        let new = NewStatement {
            lists: vec![list],
            lot: Some(lot.clone()),
            document: code.into(),
            ..NewStatement::default()
        };
        state(&house, new);
        lot
    };
    let lots = [lot(AllergenList::Eu, "S-1"), lot(AllergenList::Us, "S-2"), lot(AllergenList::Ca, "S-3")];
    // EU 1169/2011 Annex II, FD&C 201(qq) with FDA's nuts of 2025, Canada B.01.010.1: pine nut is on the US and the Canadian
    // list, celery and lupin on the EU's alone, mustard and molluscs on the EU's and Canada's, coconut and chestnut on none.
    for (allergen, due) in [
        ("pine_nut", [Unknown, NotRecorded, NotRecorded]),
        ("celery", [NotRecorded, Unknown, Unknown]),
        ("lupin", [NotRecorded, Unknown, Unknown]),
        ("mustard", [NotRecorded, Unknown, NotRecorded]),
        ("molluscs", [NotRecorded, Unknown, NotRecorded]),
        ("sulphites", [NotRecorded, Unknown, NotRecorded]),
        ("coconut", [Unknown; 3]),
        ("chestnut", [Unknown; 3]),
        ("hazelnut", [NotRecorded; 3]),
    ] {
        let found = lots.each_ref().map(|lot| answer(&house, lot, allergen));
        assert_eq!(found, due, "{allergen}");
    }
    // Exactly 10 ppm of sulphites is declared in Canada and not in the European Union.
    let ten = |list: AllergenList, code: &str| {
        let lot = house.receive("dairy", "sugar", code, 1000);
        let sulphites_ppm = Some(Amount("10".into()));
        let new = NewStatement {
            lists: vec![list],
            sulphites_ppm,
            lot: Some(lot.clone()),
            document: code.into(),
            ..NewStatement::default()
        };
        state(&house, new);
        answer(&house, &lot, "sulphites")
    };
    assert_eq!((ten(AllergenList::Eu, "S-4"), ten(AllergenList::Ca, "S-5")), (NotRecorded, Contains));
}

fn tree_nuts_without_a_name_make_every_tree_nut_possible(backend: Backend) {
    let house = house(backend);
    let paste = house.receive("nut-mill", "hazelnut-paste", "H-1", 5000);
    state(&house, stated("hazelnut-paste", "nut-mill", &["tree_nuts"]));
    let group = explained(&house, &paste, "tree_nuts");
    assert_eq!(group.answer, Contains, "one of them is in there");
    let possible = group.members.iter().filter(|member| member.answer == MayContain).count();
    // The twelve of FDA's questions and answers, Edition 5, Table 1, and the one of which nobody said which; pine nut is
    // among the twelve, which the European list does not ask for.
    assert_eq!((group.members.len(), possible), (13, 12));
    assert_eq!(answer(&house, &paste, "pine_nut"), MayContain);
    assert_eq!(answer(&house, &paste, "peanut"), NotRecorded, "no tree nut");
}

fn the_statement_of_the_day_holds(backend: Backend) {
    let house = house(backend);
    let on = |day: u32| NaiveDate::from_ymd_opt(2026, 11, day);
    let dated = |from: u32, contains: &[&str]| NewStatement {
        in_force_from: on(from),
        ..stated("hazelnut-paste", "nut-mill", contains)
    };
    let early = house.receive("nut-mill", "hazelnut-paste", "H-1", 5000);
    house.clock.set(day(10, 6));
    let late = house.receive("nut-mill", "hazelnut-paste", "H-2", 5000);
    let others = house.receive("dairy", "hazelnut-paste", "H-3", 5000);
    assert_eq!(answer(&house, &early, "hazelnut"), Unknown, "nobody said anything");

    state(&house, dated(5, &["hazelnut", "almond"]));
    let both = |allergen: &str| (answer(&house, &early, allergen), answer(&house, &late, allergen));
    assert_eq!(both("almond"), (Unknown, Contains), "it came on the 2nd, before the 5th");
    state(&house, dated(1, &["hazelnut"]));
    assert_eq!(both("almond"), (NotRecorded, Contains), "the newest-dated in force on the day");
    state(&house, dated(5, &["hazelnut", "cashew"]));
    assert_eq!(both("cashew"), (NotRecorded, Contains), "of one date the last entered");
    assert_eq!(both("almond"), (NotRecorded, NotRecorded));
    assert_eq!(answer(&house, &others, "hazelnut"), Unknown, "another supplier's");

    let makers = NewStatement { supplier: None, ..dated(1, &["hazelnut", "pecan"]) };
    state(&house, makers);
    assert_eq!(answer(&house, &others, "pecan"), Contains, "the maker's own, where the supplier said nothing");
    assert_eq!(answer(&house, &late, "pecan"), NotRecorded, "the supplier's comes first");
    let of_lot = NewStatement {
        item: None,
        lot: Some(late.clone()),
        in_force_from: None,
        ..stated("hazelnut-paste", "nut-mill", &["hazelnut", "peanut"])
    };
    state(&house, of_lot);
    assert_eq!(both("peanut"), (NotRecorded, Contains), "of that very lot and no other");
    assert_eq!(both("cashew"), (NotRecorded, NotRecorded), "it stands in for what is said of the item");
}

/// The supplier telephones: peanuts may have got into this one. It says so by no list, so that all else stays as stated.
fn a_warning_about_one_lot_hides_nothing(backend: Backend) {
    let house = house(backend);
    state_all(&house);
    let (warned, other) =
        (house.receive("dairy", "milk", "M-1", 20_000), house.receive("dairy", "milk", "M-2", 20_000));
    let of_lot = |document: &str| NewStatement {
        lot: Some(warned.clone()),
        document: document.into(),
        ..NewStatement::default()
    };
    let telephoned = NewStatement { may_contain: vec!["peanut".into()], ..of_lot("By telephone") };
    let first = state(&house, telephoned);
    let answers = |allergen: &str| (answer(&house, &warned, allergen), answer(&house, &other, allergen));
    assert_eq!(answers("peanut"), (MayContain, NotRecorded));
    assert_eq!(answers("milk"), (Contains, Contains), "as stated of the item");
    assert_eq!(answers("celery"), (NotRecorded, NotRecorded), "its list asks for it");
    assert_eq!(answers("coconut"), (Unknown, Unknown), "nobody was asked");

    let written = state(&house, NewStatement { contains: vec!["egg".into()], ..of_lot("A letter") });
    assert_eq!(answers("egg"), (Contains, NotRecorded));
    assert_eq!(answers("peanut"), (MayContain, NotRecorded), "the letter does not take the call back");
    let because = |allergen: &str| explained(&house, &warned, allergen).because.remove(0);
    assert!(because("peanut").to_string().contains(&format!("statement {} (By telephone)", first.statement.id)));
    assert!(because("egg").to_string().contains(&format!("statement {} (A letter)", written.statement.id)));
    assert!(because("milk").to_string().contains("(Specification)"), "{}", because("milk"));

    let settled = NewStatement {
        lists: vec![AllergenList::Eu],
        contains: vec!["milk".into()],
        ..of_lot("Certificate of the lot")
    };
    state(&house, settled);
    assert_eq!(answers("peanut"), (NotRecorded, NotRecorded), "asked and answered for this very lot");
    assert_eq!(answers("egg"), (NotRecorded, NotRecorded));
}

/// The mill once declared celery by the European list. Its next paper goes by the list of the United States, which does not
/// ask for celery (FD&C 201(qq)): it neither repeats nor withdraws it.
fn a_newer_list_that_does_not_ask_clears_nothing(backend: Backend) {
    let house = house(backend);
    let first = |contains: &[&str]| stated("hazelnut-paste", "nut-mill", contains);
    state(&house, first(&["hazelnut", "celery"]));
    let newer = NewStatement {
        in_force_from: NaiveDate::from_ymd_opt(2026, 11, 2),
        lists: vec![AllergenList::Us],
        ..first(&["hazelnut"])
    };
    state(&house, newer);
    let paste = house.receive("nut-mill", "hazelnut-paste", "H-1", 5000);
    assert_eq!(answer(&house, &paste, "celery"), Contains, "nobody took it back");
    assert_eq!(answer(&house, &paste, "lupin"), Unknown, "the older paper cleared it; the newer does not ask");
    assert_eq!(answer(&house, &paste, "hazelnut"), Contains);
    assert_eq!(answer(&house, &paste, "almond"), NotRecorded);
    state(&house, NewStatement { supplier: None, ..first(&["hazelnut"]) });
    assert_eq!(answer(&house, &paste, "lupin"), NotRecorded, "the maker answers what its supplier left open");
    assert_eq!(answer(&house, &paste, "celery"), Contains, "and takes nothing away from what it said");
}

fn the_maker_only_adds_to_what_it_made(backend: Backend) {
    let house = house(backend);
    state_all(&house);
    let milk = house.receive("dairy", "milk", "M-1", 20_000);
    let (_, _, tub) = churn(&house, "fiordilatte", milk_only(&milk), "freezer-1", -60, -50);
    let makers = |contains: &[&str]| NewStatement { supplier: None, ..stated("fiordilatte", "dairy", contains) };
    let written = state(&house, makers(&["soy"]));
    assert_eq!((written.changed.lots, written.changed.tubs), (1, 1));
    assert_eq!(answer(&house, &tub, "soy"), Contains);
    assert_eq!(answer(&house, &tub, "milk"), Contains, "its silence takes nothing away");
    assert_eq!(answer(&house, &tub, "coconut"), Unknown, "nor does it settle anything");
    let suppliers = stated("fiordilatte", "dairy", &[]);
    let error = refused(house.tubtrail.create_statement(&Request::system(), suppliers));
    assert_eq!(error, problem("wrong-kind", "supplier"), "we made it");
}

fn water_needs_a_statement_too(backend: Backend) {
    let house = house(backend);
    state_all(&house);
    let milk = house.receive("dairy", "milk", "M-1", 20_000);
    let uses = vec![of(&milk, 9000), untracked("water", 1000)];
    let (batch, _, tub) = churn(&house, "fiordilatte", uses, "freezer-1", -60, -50);
    let unknown = explained(&house, &tub, "hazelnut");
    assert_eq!(unknown.answer, Unknown);
    assert!(
        unknown.because[0].to_string().starts_with("water, kept without lots, went into batch"),
        "{:?}",
        unknown.because
    );
    assert!(
        matches!(&unknown.steps[0], Step::Input { batch: of, item, statement: None } if *of == batch && item == "water")
    );
    let written = state(&house, NewStatement { supplier: None, ..stated("water", "dairy", &[]) });
    assert_eq!(written.changed.tubs, 1);
    assert_eq!(answer(&house, &tub, "hazelnut"), NotRecorded);
}

fn a_correction_flips_the_tubs_it_reaches_and_only_those(backend: Backend) {
    let house = house(backend);
    state_all(&house);
    let milk = house.receive("dairy", "milk", "M-1", 40_000);
    let paste = house.receive("nut-mill", "hazelnut-paste", "H-1", 5000);
    let (_, _, plain) = churn(&house, "fiordilatte", milk_only(&milk), "freezer-1", -60, -50);
    let (_, _, nutty) = churn(&house, "gianduja", with_paste(&milk, &paste), "freezer-2", -60, -50);
    let asked = StatementsAsked {
        item: Some("hazelnut-paste".into()),
        supplier: None,
        lot: None,
        corrected_too: false,
        after: String::new(),
        limit: 100,
    };
    let list = |asked: &StatementsAsked| house.tubtrail.list_statements(&Request::system(), asked).unwrap().items;
    let wrong = list(&asked)[0].id;
    let correction = || NewStatement {
        corrects: Some(wrong),
        reason: Some("almond was left out".into()),
        may_contain: vec!["almond".into()],
        ..stated("hazelnut-paste", "nut-mill", &["hazelnut"])
    };
    assert_eq!(answer(&house, &nutty, "almond"), NotRecorded);
    let answered = house.tubtrail.create_statement(&Request::system(), correction()).unwrap();
    let changed = &answered.answer.changed;
    // The paste and the tub made with it; the plain one not.
    assert_eq!((changed.lots, changed.tubs, changed.complete), (2, 1, true));
    let listed = &changed.listed[0];
    assert_eq!((listed.lot.as_str(), listed.item.as_str(), listed.on_hand), (nutty.as_str(), "gianduja", true));
    let change = &listed.changes[0];
    assert_eq!((change.allergen.as_str(), change.before, change.after), ("almond", NotRecorded, MayContain));
    assert_eq!(listed.changes.len(), 1);
    assert_eq!((answer(&house, &nutty, "almond"), answer(&house, &plain, "almond")), (MayContain, NotRecorded));

    // The journal says so too, under the entry that did it.
    let journal = house
        .tubtrail
        .list_journal(&Request::system(), &tubtrail_operations::journal::JournalSearch::default(), 1)
        .unwrap();
    assert_eq!((journal.items[0].seq, journal.items[0].operation.as_str()), (answered.entry, "create_statement"));
    let kept = journal.items[0].answer.as_ref().unwrap();
    assert_eq!(kept["changed"]["listed"][0]["lot"], nutty.as_str());

    let again = refused(house.tubtrail.create_statement(&Request::system(), correction()));
    assert_eq!(again, problem("already-corrected", "corrects"));
    let standing = list(&asked);
    assert_eq!(standing.len(), 1);
    assert_eq!((standing[0].corrects, standing[0].corrected_by), (Some(wrong), None));
    let all = list(&StatementsAsked { corrected_too: true, ..asked });
    assert_eq!((all.len(), all[0].corrected_by), (2, Some(standing[0].id)));
}

fn bad_statements_name_the_field(backend: Backend) {
    let house = house(backend);
    let lot = house.receive("dairy", "milk", "M-1", 1000);
    let good = || stated("milk", "dairy", &["milk"]);
    let try_to = |new: NewStatement| refused(house.tubtrail.create_statement(&Request::system(), new));
    let words = |words: &[&str]| words.iter().map(|word| (*word).to_owned()).collect::<Vec<String>>();
    assert_eq!(try_to(NewStatement { item: Some("mlik".into()), ..good() }), problem("unknown-code", "item"));
    assert_eq!(try_to(NewStatement { item: None, ..good() }), problem("invalid", "item"));
    assert_eq!(try_to(NewStatement { supplier: Some("bistro".into()), ..good() }), problem("wrong-kind", "supplier"));
    assert_eq!(try_to(NewStatement { in_force_from: None, ..good() }), problem("invalid", "in_force_from"));
    assert_eq!(try_to(NewStatement { lot: Some(lot.clone()), ..good() }), problem("invalid", "in_force_from"));
    let of_lot = || NewStatement { lot: Some(lot.clone()), in_force_from: None, ..good() };
    assert_eq!(try_to(NewStatement { item: Some("cream".into()), ..of_lot() }), problem("invalid", "item"));
    assert_eq!(
        try_to(NewStatement { supplier: Some("nut-mill".into()), ..of_lot() }),
        problem("wrong-kind", "supplier")
    );
    assert_eq!(
        try_to(NewStatement { contains: words(&["mlik"]), ..good() }),
        problem("unknown-allergen", "contains[0]")
    );
    assert_eq!(
        try_to(NewStatement { may_contain: words(&["nut"]), ..good() }),
        problem("unknown-allergen", "may_contain[0]")
    );
    assert_eq!(try_to(NewStatement { may_contain: words(&["milk"]), ..good() }), problem("repeated", "may_contain"));
    assert_eq!(try_to(NewStatement { contains: words(&["egg", "egg"]), ..good() }), problem("repeated", "contains"));
    assert_eq!(try_to(NewStatement { contains: words(&["alcohol"]), ..good() }), problem("invalid", "contains"));
    let silent = NewStatement { lists: Vec::new(), contains: Vec::new(), ..good() };
    assert_eq!(try_to(silent), problem("says-nothing", "lists"));
    let twice = NewStatement { lists: vec![AllergenList::Eu, AllergenList::Eu], ..good() };
    assert_eq!(try_to(twice), problem("repeated", "lists"));
    let amount = |text: &str| Some(Amount(text.into()));
    assert_eq!(try_to(NewStatement { sulphites_ppm: amount("much"), ..good() }), problem("invalid", "sulphites_ppm"));
    let strong = NewStatement { alcohol_percent_vol: amount("101"), ..good() };
    assert_eq!(try_to(strong), problem("invalid", "alcohol_percent_vol"));
    assert_eq!(try_to(NewStatement { document: String::new(), ..good() }), problem("invalid", "document"));
    let protein = |allergen: &str, percent: &str| {
        let proteins = vec![Protein { allergen: allergen.into(), percent: Amount(percent.into()) }];
        try_to(NewStatement { proteins, ..good() })
    };
    assert_eq!(protein("tree_nuts", "3"), problem("unknown-allergen", "proteins[0].allergen"));
    assert_eq!(protein("egg", "3"), problem("invalid", "proteins[0].allergen"));
    assert_eq!(protein("milk", "101"), problem("invalid", "proteins[0].percent"));
    assert_eq!(
        try_to(NewStatement { corrects: Some(1), reason: Some("so".into()), ..good() }),
        problem("unknown-code", "corrects")
    );
    assert_eq!(try_to(NewStatement { reason: Some("so".into()), ..good() }), problem("invalid", "reason"));
    let id = state(&house, good()).statement.id;
    assert_eq!(try_to(NewStatement { corrects: Some(id), ..good() }), problem("needs-reason", "reason"));
}

fn gaps_name_what_is_missing(backend: Backend) {
    use tubtrail_operations::statement_gaps::GapsAsked;
    let house = house(backend);
    let milk = house.receive("dairy", "milk", "M-1", 1000);
    let gaps = |site: Option<&str>, list| {
        let asked = GapsAsked { site: site.map(str::to_owned), list };
        house.tubtrail.list_statement_gaps(&Request::system(), &asked).unwrap()
    };
    let found = gaps(None, AllergenList::Eu);
    // milk, cream, sugar, two pastes, water.
    assert_eq!((found.items_without_statement, found.lots_with_unknown, found.complete), (6, 1, true));
    assert!(found.items.iter().any(|item| item.item == "water" && !item.tracked));
    assert_eq!(found.lots[0].lot, milk);
    state(&house, stated("milk", "dairy", &["milk"]));
    let from = NaiveDate::from_ymd_opt(2026, 11, 20);
    state(&house, NewStatement { in_force_from: from, ..stated("cream", "dairy", &["milk"]) });
    let found = gaps(Some(KITCHEN), AllergenList::Eu);
    assert_eq!((found.items_without_statement, found.lots_with_unknown), (5, 0), "the cream's is not in force yet");
    let found = gaps(Some(KITCHEN), AllergenList::Us);
    // A statement by the European list leaves four of the United States' nuts unknown.
    assert_eq!(found.lots[0].unknown, ["black_walnut", "california_walnut", "heartnut", "pine_nut"]);
    assert_eq!(gaps(Some(SHOP), AllergenList::Us).lots_with_unknown, 0);
}
