//! Malformed and impossible requests: each with its status, its problem and the field at fault, and none leaves a trace.

use serde_json::{Value, json};
use tubtrail_tests::rest::{Tubs, grams, text};
use tubtrail_tests::{Backend, RestHouse, on_both};

on_both!(bad_input_is_named_and_leaves_no_trace);

/// Method, address, body, and what must be answered.
struct Case {
    method: &'static str,
    path: String,
    body: Body,
    status: u16,
    problem: &'static str,
    field: Option<&'static str>,
}

enum Body {
    None,
    Json(Value),
    Raw(&'static str, Vec<u8>),
}

fn bad_input_is_named_and_leaves_no_trace(backend: Backend) {
    let house = RestHouse::open(backend);
    let made = house.make_two_tubs();
    let batch = house.owner.post("/v1/batches", json!({"recipe": "white-base", "site": "kitchen"})).expect(201);
    let cases = cases(&made, &batch.json["id"].to_string());
    assert!(cases.len() >= 60, "{} cases", cases.len());
    let before = journal_position(&house);
    let mut wrong = Vec::new();
    for case in &cases {
        if let Err(said) = check(&house, case) {
            wrong.push(said);
        }
    }
    assert!(wrong.is_empty(), "{} of {} cases:\n{}", wrong.len(), cases.len(), wrong.join("\n"));
    assert_eq!(journal_position(&house), before, "what is refused leaves no journal entry");
}

fn check(house: &RestHouse, case: &Case) -> Result<(), String> {
    let request = house.owner.request(case.method, &case.path);
    let answer = match &case.body {
        Body::None => request.send(),
        Body::Json(body) => request.json(body).send(),
        Body::Raw(content_type, bytes) => request.body(content_type, bytes.clone()).send(),
    };
    let expected = (case.status, Some(format!("/problems/{}", case.problem)), case.field.map(str::to_owned));
    let got = (
        answer.status,
        answer.json["type"].as_str().map(str::to_owned),
        answer.json["field"].as_str().map(str::to_owned),
    );
    let sentence = answer.json["detail"].as_str().is_some_and(|detail| detail.len() > 8);
    if got == expected && sentence {
        return Ok(());
    }
    Err(format!(
        "{} {} {}\n  expected {expected:?}\n  got      {}",
        case.method,
        case.path,
        shown(&case.body),
        answer.text()
    ))
}

fn shown(body: &Body) -> String {
    match body {
        Body::None => String::new(),
        Body::Json(body) => body.to_string(),
        Body::Raw(_, bytes) => format!("{:?}", String::from_utf8_lossy(&bytes[..bytes.len().min(80)])),
    }
}

fn journal_position(house: &RestHouse) -> Value {
    house.owner.get("/v1/journal?limit=1").expect(200).json["items"][0]["seq"].clone()
}

fn get(path: impl Into<String>, status: u16, problem: &'static str, field: Option<&'static str>) -> Case {
    Case { method: "GET", path: path.into(), body: Body::None, status, problem, field }
}

fn post(path: impl Into<String>, body: Value, status: u16, problem: &'static str, field: Option<&'static str>) -> Case {
    Case { method: "POST", path: path.into(), body: Body::Json(body), status, problem, field }
}

fn raw(content_type: &'static str, bytes: impl Into<Vec<u8>>, status: u16, problem: &'static str) -> Case {
    let body = Body::Raw(content_type, bytes.into());
    Case { method: "POST", path: "/v1/deliveries".into(), body, status, problem, field: None }
}

/// `base` with the member at `pointer` replaced, or removed where `value` is null.
fn but(base: &Value, pointer: &str, value: Value) -> Value {
    let mut changed = base.clone();
    let (parent, member) = pointer.rsplit_once('/').expect("a pointer begins with a slash");
    let parent = changed.pointer_mut(parent).and_then(Value::as_object_mut).expect("the pointer leads somewhere");
    match value {
        Value::Null => parent.remove(member),
        value => parent.insert(member.to_owned(), value),
    };
    changed
}

fn cases(made: &Tubs, batch: &str) -> Vec<Case> {
    let mut cases = unreadable();
    cases.extend(master_data());
    cases.extend(deliveries());
    cases.extend(lots(made));
    cases.extend(batches(made, batch));
    cases.extend(stock(made));
    cases.extend(scans());
    cases
}

fn scans() -> Vec<Case> {
    let scan = |field: &'static str, value: Value| {
        let mut body = json!({"site": "kitchen", "text": "9520123456788"});
        body[field] = value;
        post("/v1/scans", body, 422, "invalid", Some(field))
    };
    let gtin = |body: Value, problem, field| post("/v1/items/milk/gtins", body, 422, problem, Some(field));
    vec![
        scan("text", json!("")),
        scan("text", json!("a\u{0}b")),
        scan("text", json!("1".repeat(401))),
        scan("symbology", json!("C1")),
        post("/v1/scans", json!({"site": "nowhere", "text": "1"}), 422, "unknown-code", Some("site")),
        gtin(json!({"gtin": "9520123456789"}), "invalid", "gtin"),
        gtin(json!({"gtin": "9520123456788", "supplier": "bistro"}), "wrong-kind", "supplier"),
        gtin(json!({"gtin": "9520123456788", "grams_per_unit": 0}), "invalid", "grams_per_unit"),
        get("/v1/gtins/9520123456789", 422, "invalid", Some("gtin")),
        get("/v1/gtins/9520123456788", 404, "not-found", None),
    ]
}

fn unreadable() -> Vec<Case> {
    vec![
        raw("application/json", "{", 400, "malformed"),
        raw("application/json", "", 400, "malformed"),
        Case { field: Some("supplier"), ..raw("application/json", "{} {}", 422, "invalid") },
        raw("application/json", b"\xff\xfe".to_vec(), 400, "malformed"),
        raw("text/plain", "{}", 415, "wrong-content-type"),
        raw("application/json", "[]", 422, "invalid"),
        raw("application/json", "null", 422, "invalid"),
        raw("application/json", "[".repeat(5000), 400, "malformed"),
        raw("application/json", "[".repeat(5000) + &"]".repeat(5000), 422, "invalid"),
        raw("application/json", " ".repeat(1_100_000), 413, "too-large"),
        get("/v1/nothing", 404, "not-found", None),
        get("/v1/sites?limit=many", 422, "invalid", Some("limit")),
        get("/v1/sites?limit=0", 422, "invalid", Some("limit")),
        get("/v1/sites?limit=501", 422, "invalid", Some("limit")),
        get("/v1/sites?page=2", 422, "invalid", Some("page")),
        get("/v1/sites?limit=2&limit=3", 422, "invalid", Some("limit")),
    ]
}

fn master_data() -> Vec<Case> {
    let site = json!({"code": "pier", "name": "Pier", "kind": "shop", "time_zone": "Europe/Lisbon"});
    let item = json!({"code": "rum", "name": "Rum", "kind": "ingredient", "counted": {"by": "mass"}});
    let recipe = json!({"code": "r", "item": "pistachio", "name": "R", "expected_yield_grams": 100,
        "lines": [{"item": "white-base", "grams": 100}]});
    let counted = |counted: Value| but(&item, "/counted", counted);
    vec![
        post("/v1/sites", but(&site, "/code", json!("Pier 1")), 422, "invalid", Some("code")),
        post("/v1/sites", but(&site, "/code", Value::Null), 422, "invalid", Some("code")),
        post("/v1/sites", but(&site, "/code", json!("kitchen")), 409, "code-taken", Some("code")),
        post("/v1/sites", but(&site, "/name", json!(" ")), 422, "invalid", Some("name")),
        post("/v1/sites", but(&site, "/name", json!("a\u{0}b")), 422, "invalid", Some("name")),
        post("/v1/sites", but(&site, "/name", json!("x".repeat(121))), 422, "invalid", Some("name")),
        post("/v1/sites", but(&site, "/name", json!(7)), 422, "invalid", Some("name")),
        post("/v1/sites", but(&site, "/kind", json!("garage")), 422, "invalid", Some("kind")),
        post("/v1/sites", but(&site, "/time_zone", json!("Nowhere/Quay")), 422, "invalid", Some("time_zone")),
        post("/v1/sites", but(&site, "/gln", json!("1234567890129")), 422, "invalid", Some("gln")),
        post("/v1/sites", but(&site, "/colour", json!("red")), 422, "invalid", Some("colour")),
        post("/v1/sites", but(&site, "/version", json!(1)), 422, "invalid", Some("version")),
        post("/v1/partners", json!({"code": "p", "name": "P"}), 422, "invalid", Some("supplies")),
        post("/v1/items", counted(json!({"by": "volume"})), 422, "invalid", Some("counted.density_kg_per_m3")),
        post(
            "/v1/items",
            counted(json!({"by": "volume", "density_kg_per_m3": 1.03})),
            422,
            "invalid",
            Some("counted.density_kg_per_m3"),
        ),
        post(
            "/v1/items",
            counted(json!({"by": "piece", "piece_grams": 0})),
            422,
            "invalid",
            Some("counted.piece_grams"),
        ),
        post(
            "/v1/items",
            counted(json!({"by": "strength", "percent_vol": 120})),
            422,
            "invalid",
            Some("counted.percent_vol"),
        ),
        post(
            "/v1/items",
            counted(json!({"by": "strength", "percent_vol": 17, "sweetened": true})),
            422,
            "needs-density",
            Some("counted.sweetened"),
        ),
        post("/v1/recipes", but(&recipe, "/item", json!("milk")), 422, "wrong-kind", Some("item")),
        post("/v1/recipes", but(&recipe, "/lines", json!([])), 422, "invalid", Some("lines")),
        post(
            "/v1/recipes",
            but(&recipe, "/expected_yield_grams", json!(101)),
            422,
            "invalid",
            Some("expected_yield_grams"),
        ),
        Case {
            method: "PUT",
            path: "/v1/sites/kitchen".into(),
            body: Body::Json(
                json!({"code": "kitchen", "name": "K", "kind": "kitchen", "time_zone": "UTC", "version": 9}),
            ),
            status: 409,
            problem: "version-moved",
            field: Some("version"),
        },
        get("/v1/sites/nowhere", 404, "not-found", None),
    ]
}

fn deliveries() -> Vec<Case> {
    let good = json!({"supplier": "dairy", "site": "kitchen", "document": "D",
        "lines": [{"item": "milk", "supplier_lot_code": "L", "quantity": grams(1)}]});
    let line = |member: &str, value: Value| {
        let mut changed = good.clone();
        changed["lines"][0][member] = value;
        changed
    };
    let post = |body, status, problem, field| post("/v1/deliveries", body, status, problem, Some(field));
    let quantity = |amount: Value, unit: &str| line("quantity", json!({"amount": amount, "unit": unit}));
    vec![
        post(but(&good, "/supplier", json!("nobody")), 422, "unknown-code", "supplier"),
        post(but(&good, "/supplier", json!("bistro")), 422, "wrong-kind", "supplier"),
        post(but(&good, "/site", json!("nowhere")), 422, "unknown-code", "site"),
        post(but(&good, "/document", json!("")), 422, "invalid", "document"),
        post(but(&good, "/lines", json!([])), 422, "invalid", "lines"),
        post(but(&good, "/lines", Value::Array(vec![good["lines"][0].clone(); 201])), 422, "invalid", "lines"),
        post(but(&good, "/arrived_at", json!("2126-01-01T00:00:00Z")), 422, "in-the-future", "arrived_at"),
        post(but(&good, "/arrived_at", json!("yesterday")), 422, "invalid", "arrived_at"),
        post(
            but(&good, "/lines", Value::Array(vec![good["lines"][0].clone(); 2])),
            422,
            "repeated",
            "lines[1].supplier_lot_code",
        ),
        post(line("item", json!("nothing")), 422, "unknown-code", "lines[0].item"),
        post(but(&good, "/lines", json!([{"item": "milk"}])), 422, "invalid", "lines[0].supplier_lot_code"),
        post(line("item", json!("white-base")), 422, "wrong-kind", "lines[0].item"),
        post(line("item", json!("water")), 422, "wrong-kind", "lines[0].item"),
        post(line("supplier_lot_code", json!("a\nb")), 422, "invalid", "lines[0].supplier_lot_code"),
        post(quantity(json!(0), "g"), 422, "bad-quantity", "lines[0].quantity.amount"),
        post(quantity(json!(-1), "g"), 422, "bad-quantity", "lines[0].quantity.amount"),
        post(quantity(json!("1,5"), "kg"), 422, "bad-quantity", "lines[0].quantity.amount"),
        post(quantity(json!("1e3"), "g"), 422, "bad-quantity", "lines[0].quantity.amount"),
        post(quantity(json!(9_999_999_999_999_i64), "kg"), 422, "bad-quantity", "lines[0].quantity.amount"),
        post(line("quantity", json!(5)), 422, "invalid", "lines[0].quantity"),
        post(quantity(json!(true), "g"), 422, "invalid", "lines[0].quantity.amount"),
        post(quantity(json!(1), "stone"), 422, "bad-quantity", "lines[0].quantity.unit"),
        post(quantity(json!(1), "l"), 422, "bad-quantity", "lines[0].quantity.unit"),
        post(quantity(json!(1), "dozen"), 422, "bad-quantity", "lines[0].quantity.unit"),
        post(line("expiry", json!({"kind": "use_by", "on": "2020-02-30"})), 422, "invalid", "lines[0].expiry.on"),
        post(line("expiry", json!({"kind": "use_by", "on": "2020-02-28"})), 422, "past-its-date", "lines[0].expiry.on"),
        post(line("expiry", json!({"kind": "use_by", "on": "-4800-01-01"})), 422, "invalid", "lines[0].expiry.on"),
        post(line("expiry", json!({"kind": "use_by", "on": "+12000-01-01"})), 422, "invalid", "lines[0].expiry.on"),
        post(quantity(json!(format!("{}1", " ".repeat(900_000))), "g"), 422, "invalid", "lines[0].quantity.amount"),
        post(line("temperature_celsius", json!(900)), 422, "invalid", "lines[0].temperature_celsius"),
        post(line("rejected", json!(true)), 422, "needs-reason", "lines[0].reason"),
    ]
}

fn lots(made: &Tubs) -> Vec<Case> {
    let swapped = swap_last_two(&made.milk);
    vec![
        get(format!("/v1/lots/{swapped}"), 422, "bad-lot-number", None),
        get("/v1/lots/abc", 422, "bad-lot-number", None),
        get("/v1/lots?day_from=-4800-01-01", 422, "invalid", Some("day_from")),
        get("/v1/deliveries?day_to=-200000-01-01", 422, "invalid", Some("day_to")),
        get("/v1/batches?from=-200000-01-01", 422, "invalid", Some("from")),
        get("/v1/stock?expires_by=%2B12000-01-01", 422, "invalid", Some("expires_by")),
        get("/v1/lots/000101-0001-5", 422, "bad-lot-number", None),
        get(format!("/v1/lots/{}/trace?direction=sideways", made.milk), 422, "invalid", Some("direction")),
        get("/v1/deliveries/999999", 404, "not-found", None),
        get("/v1/deliveries/abc", 404, "not-found", None),
    ]
}

/// A lot number mistyped: its last two digits the other way round, or, where they are the same, the last one changed.
fn swap_last_two(number: &str) -> String {
    let mut digits: Vec<char> = number.chars().collect();
    let (serial, check) = (digits.len() - 3, digits.len() - 1);
    if digits[serial] == digits[check] {
        digits[check] = if digits[check] == '9' { '0' } else { '9' };
    } else {
        digits.swap(serial, check);
    }
    digits.into_iter().collect()
}

fn batches(made: &Tubs, batch: &str) -> Vec<Case> {
    let uses = format!("/v1/batches/{batch}/uses");
    let one = |lot: &str, quantity: Value| json!({"uses": [{"lot": lot, "quantity": quantity}]});
    let completion = format!("/v1/batches/{batch}/completion");
    vec![
        post("/v1/batches", json!({"recipe": "nothing", "site": "kitchen"}), 422, "unknown-code", Some("recipe")),
        post("/v1/batches", json!({"recipe": "white-base", "site": "nowhere"}), 422, "unknown-code", Some("site")),
        post("/v1/batches/999999/uses", one(&made.base, grams(1)), 404, "not-found", None),
        post(&uses, json!({"uses": []}), 422, "invalid", Some("uses")),
        post(&uses, one("261199-0001-1", grams(1)), 422, "bad-lot-number", Some("uses[0].lot")),
        post(&uses, one(&made.milk, grams(1)), 409, "not-enough", Some("uses[0].quantity.amount")),
        post(&uses, one(&made.base, grams(9_000)), 409, "not-enough", Some("uses[0].quantity.amount")),
        post(
            &uses,
            json!({"uses": [{"item": "sugar", "quantity": grams(1)}]}),
            422,
            "wrong-kind",
            Some("uses[0].item"),
        ),
        post(
            &completion,
            json!({"outputs": [{"kind": "base", "quantity": grams(1)}]}),
            409,
            "more-out-than-in",
            Some("outputs"),
        ),
        post(
            &completion,
            json!({"outputs": [{"kind": "tub", "quantity": grams(1)}]}),
            422,
            "wrong-kind",
            Some("outputs[0].kind"),
        ),
        post("/v1/uses/999999/void", json!({"reason": "wrong scan"}), 404, "not-found", None),
        post("/v1/readings/999999/void", json!({"reason": "mistyped"}), 404, "not-found", None),
        post("/v1/readings/999999/void", json!({"because": "mistyped"}), 422, "invalid", Some("because")),
    ]
}

fn stock(made: &Tubs) -> Vec<Case> {
    let tub = format!("/v1/lots/{}", made.tubs[0]);
    let transfer = |from: &str, to: &str, lot: &str| json!({"from": from, "to": to, "lines": [{"lot": lot}]});
    vec![
        post(format!("{tub}/servings"), json!({"quantity": grams(80)}), 409, "not-open", None),
        post(format!("/v1/lots/{}/opening", made.base), json!({}), 409, "not-a-tub", None),
        post(format!("{tub}/discards"), json!({}), 422, "needs-reason", Some("reason")),
        post(format!("{tub}/consignments"), json!({"customer": "dairy"}), 422, "wrong-kind", Some("customer")),
        post(format!("{tub}/holds"), json!({"reason": " "}), 422, "needs-reason", Some("reason")),
        post("/v1/transfers", transfer("kitchen", "kitchen", &made.tubs[0]), 422, "invalid", Some("to")),
        post("/v1/transfers", transfer("harbour", "market", &made.tubs[0]), 409, "lot-elsewhere", Some("lines[0].lot")),
        post("/v1/transfers", json!({"from": "kitchen", "to": "harbour", "lines": []}), 422, "invalid", Some("lines")),
        post("/v1/transfers/999999/receipt", json!({"all_as_sent": true}), 404, "not-found", None),
        post(
            "/v1/counts",
            json!({"site": "kitchen", "lines": [{"lot": made.base, "found": grams(1)}]}),
            422,
            "needs-reason",
            Some("lines[0].reason"),
        ),
        post("/v1/holds/999999/release", json!({"reason": "done"}), 404, "not-found", None),
        get(format!("/v1/stock?lot={}", text(&json!("x"))), 422, "bad-lot-number", Some("lot")),
    ]
}
