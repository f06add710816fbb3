//! schemathesis asks every operation what the description allows, and what it does not: the examples, the edges of every
//! field, and some things nobody thinks of, by a fixed seed. It judges each answer by the description.

use std::fmt::Write as _;
use std::time::Instant;

use serde_json::{Value, json};
use tubtrail_tests::rest::text;
use tubtrail_tests::{Backend, RestHouse, on_both};

use super::tools::{run, tool};

on_both!(no_answer_surprises_an_owner, no_answer_surprises_a_device);

/// What it finds by it, it finds again.
const SEED: &str = "1126";
/// Cases an operation in the fuzzing phase, beside the examples and the edges.
const FUZZED: &str = "3";

/// All checks are on. One of them counts a 422 as acceptance: what a description cannot say (a code that names nothing, a day
/// before another, a lot number that is mistyped) is answered with 422 and the field at fault, by design; 400 is none. The
/// stream of changes is left out: it does not end.
fn configuration(house: &RestHouse) -> String {
    let mut text = String::from(
        "[checks]\npositive_data_acceptance.expected-statuses = \
         [\"2xx\", \"3xx\", \"401\", \"403\", \"404\", \"409\", \"422\", \"429\", \"5xx\"]\n\n[parameters]\n",
    );
    for (name, value) in things(house) {
        let _ = writeln!(text, "\"path.{name}\" = {value}");
    }
    text
}

/// One of everything that is addressed.
fn things(house: &RestHouse) -> Vec<(&'static str, Value)> {
    let made = house.make_two_tubs();
    let post = |path: &str, body: Value| house.owner.post(path, body).expect(201).json;
    let hold = post(&format!("/v1/lots/{}/holds", made.sugar), json!({"reason": "a smell"}));
    let delivery = house.owner.get("/v1/deliveries?limit=1").expect(200).json["items"][0]["id"].clone();
    let batch = house.owner.get("/v1/batches?limit=1").expect(200).json["items"][0]["id"].clone();
    let transfer = json!({"from": "kitchen", "to": "harbour", "lines": [{"lot": made.tubs[0]}]});
    let transfer = post("/v1/transfers", transfer);
    let seeds = json!([{"by": "lots", "lots": [made.milk]}]);
    let drill = json!({"kind": "drill", "class": 1, "hazard": "listeria", "holds": false, "seeds": seeds});
    let drill = post("/v1/recalls", drill);
    post("/v1/equipment", json!({"code": "freezer", "name": "Freezer", "site": "kitchen", "touches": ["base"]}));
    post("/v1/items/milk/gtins", json!({"gtin": "9520123456788"}));
    vec![
        ("lot", json!(made.tubs[1])),
        ("hold", hold["id"].clone()),
        ("delivery", delivery),
        ("batch", batch),
        ("transfer", transfer["id"].clone()),
        ("recall", drill["recall"].clone()),
        ("site", json!("kitchen")),
        ("partner", json!("dairy")),
        ("item", json!("milk")),
        ("recipe", json!("pistachio")),
        ("equipment", json!("freezer")),
        ("gtin", json!("9520123456788")),
    ]
}

fn fuzz(house: &RestHouse, token: &str, more: &[&str]) {
    let folder = tempfile::tempdir().expect("a folder");
    std::fs::write(folder.path().join("schemathesis.toml"), configuration(house)).expect("the test's own folder");
    let description = format!("{}/openapi.json", house.world.server.base());
    let bearer = format!("Authorization: Bearer {token}");
    let asked = ["run", &description, "-H", &bearer, "--seed", SEED, "--generation-database", "none", "--no-color"];
    let bounds = ["--max-examples", FUZZED, "--phases", "examples,coverage,fuzzing"];
    let began = Instant::now();
    let arguments = [&asked[..], &bounds[..], more].concat();
    let output = run(&tool("python/bin/schemathesis"), folder.path(), &arguments, &[]);
    let said = String::from_utf8_lossy(&output.stdout);
    assert!(output.status.success(), "after {:?}:\n{}", began.elapsed(), found(&said));
    // It did ask: a run that stands before a closed door finds nothing either.
    assert!(said.contains("Examples") && said.contains("Coverage"), "{said}");
    println!("{:?}\n{}", began.elapsed(), said.split("SUMMARY").last().unwrap_or_default());
}

/// What it found, without what it only remarks.
fn found(said: &str) -> &str {
    said.split_once("= FAILURES =").map_or(said, |(_, found)| found.split("= WARNINGS =").next().unwrap_or(found))
}

fn no_answer_surprises_an_owner(backend: Backend) {
    let house = RestHouse::open(backend);
    let token = house.owner.token().expect("signed in").to_owned();
    fuzz(&house, &token, &["--exclude-operation-id", "follow_changes"]);
}

fn no_answer_surprises_a_device(backend: Backend) {
    let house = RestHouse::open(backend);
    let new = json!({"code": "till", "name": "Till", "site": "kitchen"});
    let till = text(&house.owner.post("/v1/devices", new).expect(201).json["token"]);
    let api = house.owner.get("/openapi.json").expect(200).json;
    let operations =
        api["paths"].as_object().expect("paths").values().flat_map(|path| path.as_object().expect("methods"));
    let is_theirs = |roles: &Value| roles.as_array().is_some_and(|roles| roles.contains(&json!("device")));
    let theirs: Vec<_> = operations.filter(|(_, operation)| is_theirs(&operation["x-roles"])).collect();
    let ids = theirs.iter().map(|(_, operation)| operation["operationId"].as_str().expect("an id"));
    let only: Vec<_> = ids.flat_map(|id| ["--include-operation-id", id]).collect();
    assert!(only.len() > 20, "devices do a lot: {only:?}");
    fuzz(&house, &till, &only);
}
