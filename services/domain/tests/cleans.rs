//! What a clean clears, and how it is stored.

use tubtrail_domain::allergens::{EVERY_SUBSTANCE, Group, Named, Substance};
use tubtrail_domain::cleans::{Clears, ClearsError};

fn read(words: &str) -> Clears {
    Clears::from_words(words).expect(words)
}

#[test]
fn a_rinse_clears_nothing() {
    assert_eq!(Clears::nothing().mask(), 0);
    assert!(Clears::nothing().is_nothing() && !Clears::Everything.is_nothing());
    assert_eq!(read(""), Clears::nothing());
}

#[test]
fn a_full_clean_clears_every_substance() {
    assert_eq!(read("everything").mask(), EVERY_SUBSTANCE);
}

#[test]
fn a_clean_shown_for_hazelnut_leaves_a_nut_of_no_stated_kind() {
    assert_eq!(read("hazelnut").mask(), Substance::Hazelnut.bit());
    let nuts = read("milk,tree_nuts").mask();
    assert_eq!(nuts, Substance::Milk.bit() | Group::TreeNuts.members());
    assert_ne!(nuts & Substance::UnspecifiedTreeNut.bit(), 0, "it goes with the group");
    assert_eq!(nuts & Substance::Peanut.bit(), 0);
}

#[test]
fn words_are_read_back() {
    for words in ["", "everything", "milk", "hazelnut,tree_nuts", "wheat,milk,alcohol,walnuts"] {
        assert_eq!(read(words).words(), words);
        assert_eq!(Clears::from_words(&read(words).words()), Ok(read(words)));
    }
    assert_eq!(read("tree_nuts,hazelnut").words(), "hazelnut,tree_nuts");
    let names = [Named::Group(Group::TreeNuts), Named::Substance(Substance::Hazelnut)];
    assert_eq!(Clears::only(names), Ok(read("hazelnut,tree_nuts")));
}

#[test]
fn other_words_are_refused() {
    for (words, word) in [("nuts", "nuts"), ("milk,", ""), ("milk, egg", " egg"), ("milk,everything", "everything")] {
        assert_eq!(Clears::from_words(words), Err(ClearsError::UnknownWord { given: word.to_owned() }));
    }
    let long = "x".repeat(100_000);
    assert_eq!(Clears::from_words(&long), Err(ClearsError::UnknownWord { given: "x".repeat(40) }));
    let milk = Named::Substance(Substance::Milk);
    assert_eq!(Clears::from_words("milk,egg,milk"), Err(ClearsError::Repeated { named: milk }));
    let unspecified = Named::Substance(Substance::UnspecifiedTreeNut);
    assert_eq!(Clears::from_words("unspecified_tree_nut"), Err(ClearsError::Unspecified { named: unspecified }));
}
