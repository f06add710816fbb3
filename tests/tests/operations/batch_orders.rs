//! Batch orders: in which order a day's batches need the fewest cleans.

use tubtrail_operations::Request;
use tubtrail_operations::batch_orders::{BatchOrder, NewBatchOrder};
use tubtrail_tests::house::{KITCHEN, SHOP};
use tubtrail_tests::{Backend, TestHouse, on_both};

use crate::nuts::{churn, clean, house, minute, state, state_all, stated, with_paste};
use crate::shelf::{problem, refused};

on_both!(
    what_has_least_in_it_comes_first,
    what_is_on_the_machine_counts,
    what_is_not_on_hand_is_what_is_stated_of_it,
    bad_orders_name_the_field,
);

fn order(house: &TestHouse, equipment: Option<&str>, recipes: &[&str]) -> BatchOrder {
    house
        .tubtrail
        .order_batches(&Request::system(), &wanted(equipment, recipes))
        .unwrap_or_else(|error| panic!("{error}"))
}

fn wanted(equipment: Option<&str>, recipes: &[&str]) -> NewBatchOrder {
    NewBatchOrder {
        site: KITCHEN.into(),
        equipment: equipment.map(str::to_owned),
        recipes: recipes.iter().map(|recipe| (*recipe).to_owned()).collect(),
    }
}

fn in_order(order: &BatchOrder) -> Vec<&str> {
    order.order.iter().map(|batch| batch.recipe.as_str()).collect()
}

/// Plain milk may be followed by either nut without a clean; from one nut to the other the machine has to be cleaned. As sent
/// (hazelnut, milk, pistachio, hazelnut) it is cleaned before the milk and before the last: twice. The fewest is once.
fn what_has_least_in_it_comes_first(backend: Backend) {
    let house = house(backend);
    state_all(&house);
    for (supplier, item) in [("dairy", "milk"), ("nut-mill", "hazelnut-paste"), ("nut-mill", "pistachio-paste")] {
        house.receive(supplier, item, item, 50_000);
    }
    let found = order(&house, None, &["gianduja", "fiordilatte", "verde", "gianduja"]);
    assert_eq!((found.cleans, found.cleans_as_sent, found.on_it_now.is_none()), (1, 2, true));
    let cleaned: Vec<_> = found.order.iter().filter(|batch| !batch.clear_before.is_empty()).collect();
    assert_eq!(cleaned.len(), 1);
    let place = |recipe: &str| in_order(&found).iter().position(|one| *one == recipe).unwrap();
    assert!(place("fiordilatte") == 0 || found.order[place("fiordilatte")].clear_before.is_empty());
    assert_eq!(cleaned[0].clean_kinds.first().map(String::as_str), Some("allergen-clean"));
    let mut positions: Vec<_> = found.order.iter().map(|batch| batch.position).collect();
    positions.sort_unstable();
    assert_eq!(positions, [0, 1, 2, 3], "every batch stands in it once");
}

fn what_is_on_the_machine_counts(backend: Backend) {
    let house = house(backend);
    house.clock.set(minute(600));
    state_all(&house);
    let milk = house.receive("dairy", "milk", "M-1", 100_000);
    let paste = house.receive("nut-mill", "hazelnut-paste", "H-1", 50_000);
    churn(&house, "gianduja", with_paste(&milk, &paste), "freezer-1", 0, 30);
    let ordered = |equipment| order(&house, equipment, &["fiordilatte", "gianduja"]);
    let found = ordered(Some("freezer-1"));
    assert_eq!(
        found.on_it_now.as_ref().map(|on_it| on_it.may_contain.clone()),
        Some(vec!["milk".into(), "hazelnut".into()])
    );
    // Hazelnut first needs none before it, and one before the milk; milk first needs one before it and none after.
    assert_eq!((found.cleans, found.cleans_as_sent), (1, 1));
    let cleaned = found.order.iter().find(|batch| !batch.clear_before.is_empty()).expect("one clean");
    assert_eq!(
        (cleaned.recipe.as_str(), cleaned.clear_before.as_slice()),
        ("fiordilatte", &["hazelnut".to_owned()][..])
    );
    assert_eq!(cleaned.clean_kinds, ["allergen-clean", "hazelnut-clean"], "a rinse would not do");
    clean(&house, "freezer-1", "hazelnut-clean", 40);
    let found = ordered(Some("freezer-1"));
    assert_eq!((found.cleans, in_order(&found)), (0, vec!["fiordilatte", "gianduja"]));
    assert_eq!(ordered(Some("freezer-2")).cleans, 0, "it was never used");
}

fn what_is_not_on_hand_is_what_is_stated_of_it(backend: Backend) {
    let house = house(backend);
    house.recipe("white-base", "white-base", &[("milk", 1000)], 1000);
    house.recipe("gelato", "fiordilatte", &[("white-base", 1000)], 1000);
    state(&house, stated("milk", "dairy", &["milk"]));
    let found = order(&house, None, &["gelato", "gianduja"]);
    let says = |recipe: &str| found.order.iter().find(|batch| batch.recipe == recipe).unwrap().says.clone();
    assert_eq!(says("gelato").contains, ["milk"], "by way of the recipe of its base");
    assert!(says("gianduja").unknown.contains(&"hazelnut".to_owned()), "nobody said what is in the paste");
}

fn bad_orders_name_the_field(backend: Backend) {
    let house = house(backend);
    let try_to = |new: &NewBatchOrder| refused(house.tubtrail.order_batches(&Request::system(), new));
    assert_eq!(try_to(&wanted(None, &["verde"])), problem("invalid", "recipes"));
    assert_eq!(try_to(&wanted(None, &["verde"; 61])), problem("invalid", "recipes"));
    assert_eq!(try_to(&wanted(None, &["verde", "blue"])), problem("unknown-code", "recipes[1]"));
    assert_eq!(try_to(&wanted(Some("spoon"), &["verde", "verde"])), problem("unknown-code", "equipment"));
    let at_the_shop = NewBatchOrder { site: SHOP.into(), ..wanted(Some("freezer-1"), &["verde", "verde"]) };
    assert_eq!(try_to(&at_the_shop), problem("equipment-elsewhere", "equipment"));
}
