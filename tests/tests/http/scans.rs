//! From the scanner to the shelf: a case is scanned, received as it was read, and told again by the number of its lot.

use serde_json::{Value, json};
use tubtrail_tests::{Backend, RestHouse, on_both};

on_both!(a_scanned_case_is_received_and_known, the_api_says_that_a_scan_only_reads);

/// GS1's prefix for demonstrations; 10.000 kg, best before the last day of a year 99, lot L26.
const CASE: &str = "]C10109520123456788310301000015991231\u{1d}10L26";

fn a_scanned_case_is_received_and_known(backend: Backend) {
    let house = RestHouse::open(backend);
    let scan = |text: &str| house.owner.post("/v1/scans", json!({"site": "kitchen", "text": text})).expect(200).json;
    let unknown = scan(CASE);
    assert_eq!((&unknown["kind"], &unknown["printed"]), (&json!("unknown_item"), &json!("9520123456788")));

    let given = json!({"gtin": "9520123456788", "supplier": "dairy"});
    house.owner.post("/v1/items/milk/gtins", given).expect(201).done();
    let known = house.owner.get("/v1/gtins/09520123456788").expect(200).json;
    assert_eq!((&known["item"], &known["supplier"]), (&json!("milk"), &json!("dairy")));

    // Year 99 is 1999: this code is of another century, and so it is past its date.
    let late = scan(CASE);
    assert_eq!(late["line"]["expiry"], json!({"kind": "best_before", "on": "1999-12-31"}));
    assert!(late["cautions"][0].as_str().is_some_and(|caution| caution.contains("can only be rejected")), "{late}");

    let case = scan(&CASE.replace("15991231", ""));
    assert_eq!((&case["kind"], &case["missing"], &case["cautions"]), (&json!("delivery_line"), &json!([]), &json!([])));
    let delivery =
        json!({"supplier": case["supplier"], "site": "kitchen", "document": "DN-1", "lines": [case["line"]]});
    let received = house.owner.post("/v1/deliveries", delivery).expect(201).json;
    let lot = received["lines"][0]["lot"].as_str().expect("it became a lot").to_owned();
    assert_eq!(received["lines"][0]["grams"], json!(10_000));

    let told = scan(&lot);
    assert_eq!((&told["kind"], &told["lot"]["lot"]), (&json!("lot"), &json!(lot)));
    assert_eq!(told["lot"]["came_from"]["supplier_lot_code"], json!("L26"));
    let wrong = scan("]C1010952012345678810L#6");
    assert_eq!((&wrong["kind"], &wrong["position"]), (&json!("wrong"), &json!(23)));
}

/// No key, no entry of the journal: a POST that leaves nothing behind.
fn the_api_says_that_a_scan_only_reads(backend: Backend) {
    let house = RestHouse::open(backend);
    let api = house.owner.get("/openapi.json").expect(200).json;
    let scan = &api["paths"]["/v1/scans"]["post"];
    assert_eq!(scan["operationId"], json!("scan"));
    assert_eq!(scan["parameters"], Value::Null, "no Idempotency-Key");
    assert_eq!(scan["responses"]["200"]["headers"], Value::Null, "no Tubtrail-Entry");
    let before = house.owner.get("/v1/journal?limit=200").expect(200).json;
    let answer = house.owner.post("/v1/scans", json!({"site": "kitchen", "text": "hello"})).expect(200);
    answer.done();
    assert_eq!(house.owner.get("/v1/journal?limit=200").expect(200).json, before);
}
