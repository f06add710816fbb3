//! Allergens over HTTP: a check leaves no trace, a correction is found in the journal, and the sheet can be printed.

use serde_json::json;
use tubtrail_tests::{Backend, RestHouse, on_both};

on_both!(a_check_only_reads, a_correction_is_in_the_journal, the_sheet_is_printed, bad_bodies_name_the_field);

fn milk_states(house: &RestHouse, contains: &[&str]) -> serde_json::Value {
    let statement = json!({"item": "milk", "supplier": "dairy", "in_force_from": "2026-01-01", "lists": ["eu"],
        "contains": contains, "document": "Specification"});
    house.owner.post("/v1/statements", statement).expect(201).json
}

fn a_check_only_reads(backend: Backend) {
    let house = RestHouse::open(backend);
    let made = house.make_two_tubs();
    milk_states(&house, &["milk"]);
    let position = || house.owner.get("/readyz").expect(200).json["position"].clone();
    let before = position();
    // The milk and the base are used up; what is left lies in the tubs.
    let question = json!({"site": "kitchen", "avoid": ["milk", "tree_nuts"], "lots": [made.tubs[0]]});
    let answer = house.owner.post("/v1/allergen-checks", question).expect(200);
    assert_eq!(answer.header("Tubtrail-Entry"), None, "no entry holds it");
    let tub = &answer.json["tubs"][0];
    assert_eq!(tub["allergens"][0]["answer"], "contains");
    assert_eq!(tub["allergens"][1]["answer"], "unknown", "nobody said what is in the sugar");
    assert_eq!(answer.json["journal_position"], before);
    let order = json!({"site": "kitchen", "recipes": ["pistachio", "white-base"]});
    assert_eq!(house.owner.post("/v1/batch-orders", order).expect(200).json["order"].as_array().map(Vec::len), Some(2));
    assert_eq!(position(), before, "nothing was written down");
    let nothing = json!({"site": "harbour", "avoid": ["milk"]});
    let nothing = house.owner.post("/v1/allergen-checks", nothing).expect(200).json;
    assert_eq!((&nothing["tubs"], &nothing["note"]), (&json!([]), &json!("Nothing stands open at harbour now.")));
    for text in [answer.text().to_lowercase(), nothing.to_string().to_lowercase()] {
        assert!(!text.contains("safe") && !text.contains("free from"), "{text}");
    }
}

fn a_correction_is_in_the_journal(backend: Backend) {
    let house = RestHouse::open(backend);
    house.make_two_tubs();
    let wrong = milk_states(&house, &["milk"])["statement"]["id"].clone();
    let right = json!({"item": "milk", "supplier": "dairy", "in_force_from": "2026-01-01", "lists": ["eu"],
        "contains": ["milk", "soy"], "document": "Specification 2", "corrects": wrong, "reason": "soy was left out"});
    let written = house.owner.post("/v1/statements", right.clone()).expect(201);
    assert_eq!(written.json["changed"]["tubs"], 2);
    let entry = &house.owner.get("/v1/journal?limit=1").expect(200).json["items"][0];
    assert_eq!((&entry["operation"], &entry["answer"]), (&json!("create_statement"), &written.json));
    house.owner.post("/v1/statements", right).refused(409, "/problems/already-corrected");
    let gaps = house.owner.get("/v1/statement-gaps?site=kitchen&list=us").expect(200).json;
    assert_eq!(gaps["items_without_statement"], 3, "sugar, the paste, water");
}

fn the_sheet_is_printed(backend: Backend) {
    let house = RestHouse::open(backend);
    let sheet = |format: &str| {
        house.owner.get(&format!("/v1/sites/harbour/allergen-sheet?list=ca&format={format}")).expect(200)
    };
    assert_eq!(sheet("json").json["law"], "Food and Drug Regulations, B.01.010.1(1)");
    let page = sheet("html");
    assert!(page.header("Content-Type").is_some_and(|kind| kind.starts_with("text/html")));
    assert!(page.text().contains("Food and Drug Regulations") && page.text().contains("It clears nothing"));
    assert_eq!(sheet("pdf").header("Content-Type"), Some("application/pdf"));
    house.owner.get("/v1/sites/harbour/allergen-sheet?list=jp").refused(422, "/problems/invalid");
    house.owner.get("/v1/sites/nowhere/allergen-sheet").refused(404, "/problems/not-found");
}

fn bad_bodies_name_the_field(backend: Backend) {
    let house = RestHouse::open(backend);
    let field = |path: &str, body, word: &str| {
        let answer = house.owner.post(path, body);
        answer.refused(422, word);
        answer.json["field"].as_str().unwrap_or("").to_owned()
    };
    let check = |avoid| json!({"site": "kitchen", "avoid": avoid});
    let path = "/v1/allergen-checks";
    assert_eq!(field(path, check(json!([])), "/problems/invalid"), "avoid");
    assert_eq!(field(path, check(json!(["nuts"])), "/problems/unknown-allergen"), "avoid[0]");
    assert_eq!(field(path, check(json!("milk")), "/problems/invalid"), "avoid");
    let list = json!({"item": "milk", "in_force_from": "2026-01-01", "lists": ["jp"], "document": "x"});
    assert_eq!(field("/v1/statements", list, "/problems/invalid"), "lists[0]");
    let kind = json!({"code": "wash", "name": "Wash", "clears": ["everything", "milk"]});
    assert_eq!(field("/v1/clean-kinds", kind, "/problems/invalid"), "clears[0]");
    let kind = json!({"code": "wash", "name": "Wash", "clears": ["unspecified_tree_nut"]});
    assert_eq!(field("/v1/clean-kinds", kind, "/problems/invalid"), "clears");
    let clean = json!({"equipment": "spoon", "kind": "wash"});
    assert_eq!(field("/v1/cleans", clean, "/problems/unknown-code"), "equipment");
    let residue = json!({"grams": -1});
    assert_eq!(field("/v1/sites/kitchen/carry-over", residue, "/problems/invalid"), "grams");
}
