//! Fields that nobody knows, in every object of every body: each is refused by its name, and none is dropped in silence.

use serde_json::{Map, Value, json};
use tubtrail_tests::{Backend, RestHouse, on_both};

use crate::arrays::{Description, changed_at};

on_both!(a_field_that_nobody_knows_is_refused, a_figure_of_another_kind_is_refused);

/// Comes before every field of ours, so that a reader meets it first.
const STRAY: &str = "_stray";

/// Puts a field too many into an object.
fn add_stray(object: &mut Value) {
    let members = object.as_object_mut().expect("an object");
    let mut with_stray = Map::from_iter([(STRAY.to_owned(), json!(40))]);
    with_stray.append(members);
    *members = with_stray;
}

fn a_field_that_nobody_knows_is_refused(backend: Backend) {
    let house = RestHouse::open(backend);
    Description::of(&house).each_object(|method, address, body, place| {
        // A document of another's standard is described there, and held against it by itself.
        if body.as_object().is_some_and(Map::is_empty) {
            return;
        }
        let wrong = changed_at(body, place, add_stray);
        let answer = house.owner.request(method, address).json(&wrong).send();
        let due = if place.is_empty() { STRAY.to_owned() } else { format!("{place}.{STRAY}") };
        let problem = answer.refused(422, "/problems/invalid");
        assert_eq!(problem.field(), Some(due.as_str()), "{method} {address} with {wrong}: {}", answer.text());
        let detail = problem.detail();
        assert!(detail.is_some_and(|detail| detail.contains("there is no field `_stray`")), "{}", answer.text());
    });
}

/// What belongs to another way of counting, or to another thing that an item is made of.
fn a_figure_of_another_kind_is_refused(backend: Backend) {
    let house = RestHouse::open(backend);
    for (counted, field) in [
        (json!({"by": "mass", "percent_vol": "40"}), "counted.percent_vol"),
        (json!({"percent_vol": "40", "by": "mass"}), "counted.percent_vol"),
        (json!({"by": "volume", "density_kg_per_m3": "1032", "piece_grams": 58}), "counted.piece_grams"),
        (json!({"by": "piece", "piece_grams": 58, "density_kg_per_m3": "1032"}), "counted.density_kg_per_m3"),
        (json!({"by": "strength", "percent_vol": "40", "piece_grams": 58}), "counted.piece_grams"),
    ] {
        let item = json!({"code": "rum", "name": "Rum", "kind": "ingredient", "counted": counted});
        let refused = house.owner.post("/v1/items", &item);
        assert_eq!(refused.refused(422, "/problems/invalid").field(), Some(field), "{item}");
    }
    for by in ["single", "not_known", "what_went_in"] {
        let made_of = json!({"by": by, "ingredients": ["milk"]});
        let label = json!({"code": "milk", "name": "whole milk", "made_of": made_of});
        let refused = house.owner.post("/v1/item-labels", label);
        assert_eq!(refused.refused(422, "/problems/invalid").field(), Some("made_of.ingredients"), "{by}");
    }
    let seed = json!({"by": "lots", "lots": ["261125-0001-6"], "prefix": "24-"});
    let recall = json!({"kind": "drill", "class": 1, "hazard": "a drill", "holds": false, "seeds": [seed]});
    let refused = house.owner.post("/v1/recalls", recall);
    assert_eq!(refused.refused(422, "/problems/invalid").field(), Some("seeds[0].prefix"));
    let rum = json!({"code": "rum", "name": "Rum", "kind": "ingredient", "counted": {"by": "mass"}});
    house.owner.post("/v1/items", rum).expect(201).done();
}
