//! A batch in a real browser, from its beginning to labelled tubs, with mistakes put right on the way.

use serde_json::{Value, json};
use tubtrail_tests::{Backend, RestHouse, on_both};

use crate::browser::Browser;
use crate::delivery::kitchen;

on_both!(a_cook_makes_tubs_and_puts_a_mistake_right, a_base_matures_by_the_clock, the_kitchen_can_be_used_by_everyone);

const HERE: &str = "/making/kitchen";

/// What is in the house before a batch.
struct Stock {
    house: RestHouse,
    base: String,
    paste: String,
    /// On hold.
    held: String,
    sugar: String,
}

/// 9500 g of base; 500 g of paste, and as much that is on hold; a freezer, and a way to clean it. The recipe wants 4000 g of
/// base, 500 g of paste and 100 g of water.
#[track_caller]
fn stock(backend: Backend) -> Stock {
    let house = kitchen(backend);
    let milk = house.receive("milk", "M-1", 8000);
    let sugar = house.receive("sugar", "S-1", 3000);
    let paste = house.receive("pistachio-paste", "24-118", 500);
    let held = house.receive("pistachio-paste", "24-119", 500);
    let base = house.make("white-base", &[(&milk, 8000), (&sugar, 2000)], "base", &[9500]).remove(0);
    let why = json!({"reason": "a splinter was found"});
    house.owner.post(&format!("/v1/lots/{held}/holds"), why).expect(201).done();
    let lines = json!([{"item": "white-base", "grams": 4000}, {"item": "pistachio-paste", "grams": 500},
        {"item": "water", "grams": 100}]);
    let recipe = json!({"code": "pistachio-fresh", "item": "pistachio", "name": "Pistachio, fresh", "lines": lines,
        "expected_yield_grams": 4400, "method": "Churn until it stands."});
    house.create("recipes", recipe);
    let freezer =
        json!({"code": "freezer", "name": "Batch freezer", "site": "kitchen", "touches": ["base", "flavour"]});
    house.create("equipment", freezer);
    house.create("clean-kinds", json!({"code": "rinse", "name": "Rinse", "clears": []}));
    Stock { house, base, paste, held, sugar }
}

#[track_caller]
fn contains(seen: &Value, part: &str) {
    // Between a number and its unit a line does not end.
    assert!(seen.as_str().is_some_and(|text| text.replace('\u{a0}', " ").contains(part)), "{part}: {seen}");
}

/// Takes a lot: scanned, then its grams, which stand there already where they are what is missing.
#[track_caller]
fn take(browser: &mut Browser, lot: &str, grams: Option<&str>) {
    try_to_take(browser, lot, grams);
    browser.ask("see", json!({"css": ".said"}));
}

#[track_caller]
fn try_to_take(browser: &mut Browser, lot: &str, grams: Option<&str>) {
    browser.ask("scans", json!({"text": lot}));
    browser.ask("see", json!({"css": ".notice"}));
    if let Some(grams) = grams {
        browser.ask("fill", json!({"label": "Grams", "text": grams}));
    }
    browser.ask("press_button", json!({"name": "It goes in", "inside": ".scan"}));
}

fn batch_of(house: &RestHouse, path: &Value) -> Value {
    let id = path.as_str().and_then(|path| path.split('?').next()).and_then(|path| path.rsplit('/').next());
    house.owner.get(&format!("/v1/batches/{}", id.expect("a batch"))).expect(200).json
}

/// In: 4000 g of base, 500 g of paste, 100 g of water. Out: two tubs of 2200 g and one of 150.5 g; lost: 49.5 g.
fn a_cook_makes_tubs_and_puts_a_mistake_right(backend: Backend) {
    let Stock { house, base, paste, held, sugar } = stock(backend);
    let mut browser = Browser::open(&house, "cook", HERE, "tablet", "light");
    browser.ask("pick", json!({"label": "Begin a batch", "option": "pistachio-fresh"}));
    browser.ask("press_button", json!({"name": "Begin"}));
    browser.ask("see", json!({"css": ".wants"}));
    let path = browser.ask("at", json!({}));
    contains(&browser.ask("text_of", json!({"css": ".wants"})), &base);
    contains(&browser.ask("text_of", json!({"css": ".wants"})), "4 kg missing");

    // What is wrong is refused in its place: no number of ours, a lot on hold, a lot that the recipe does not name.
    browser.ask("scans", json!({"text": "261125-0001-0"}));
    browser.ask("see", json!({"css": "#lot[aria-invalid=true]"}));
    try_to_take(&mut browser, &held, None);
    contains(&browser.ask("text_of", json!({"css": ".scan .refused"})), "a splinter was found");
    browser.ask("go", json!({"path": path}));
    browser.ask("scans", json!({"text": sugar}));
    contains(&browser.ask("text_of", json!({"css": ".notice"})), "The recipe does not name this.");
    browser.ask("press_button", json!({"name": "It goes in", "inside": ".scan"}));
    browser.ask("see", json!({"css": ".notice .choice"}));
    assert_eq!(batch_of(&house, &path)["uses"], json!([]), "nothing went in");

    browser.ask("go", json!({"path": path}));
    take(&mut browser, &base, None);
    take(&mut browser, &paste, Some("50"));
    browser.ask("see", json!({"css": ".uses li:nth-child(2)"}));
    contains(&browser.ask("text_of", json!({"css": ".wants"})), "450 g missing");
    // A nought was missing: the use did not happen as written, and is written down as it did.
    browser.ask("reveal", json!({"name": "That was wrong", "inside": ".uses li"}));
    browser.ask("press_button", json!({"name": "It did not happen", "inside": ".uses li"}));
    contains(&browser.ask("text_of", json!({"css": ".uses .refused"})), "say why");
    browser.ask("picture", json!({"what": "making-void-refused"}));
    browser.ask("fill", json!({"label": "What went wrong", "text": "a nought was missing", "inside": ".uses"}));
    browser.ask("press_button", json!({"name": "It did not happen", "inside": ".uses li"}));
    contains(&browser.ask("text_of", json!({"css": ".said"})), "Put right");
    take(&mut browser, &paste, None);
    browser.ask("press_button", json!({"name": "It goes in", "inside": ".beside"}));
    // All of it is in.
    browser.ask("see", json!({"css": ".wants .missing", "state": "detached"}));

    let churning = ".clock:last-child";
    browser.ask("fill", json!({"label": "Temperature, °C", "text": "−4", "inside": churning}));
    browser.ask("press_button", json!({"name": "Begins now", "inside": churning}));
    browser.ask("see", json!({"css": ".clock.runs [data-since]"}));
    browser.ask("fill", json!({"label": "Temperature, °C", "text": "-8,5", "inside": churning}));
    browser.ask("press_button", json!({"name": "Ends now", "inside": churning}));
    browser.ask("see", json!({"css": ".clock.runs", "state": "detached"}));
    browser.ask("pick", json!({"label": "It ran on", "option": "freezer"}));
    browser.ask("press_button", json!({"name": "Write it down"}));
    browser.ask("see", json!({"css": ".runs"}));
    browser.ask("picture", json!({"what": "making-batch"}));

    for (grams, count, row) in [("2200", "2", 1), ("150,5", "1", 2)] {
        browser.ask("fill", json!({"label": "Net weight, grams", "text": grams, "inside": "#weighing .triple"}));
        browser.ask("fill", json!({"label": "How many", "text": count, "inside": "#weighing .triple"}));
        browser.ask("press_button", json!({"name": "Take this weight"}));
        browser.ask("see", json!({"css": format!(".weights li:nth-child({row})")}));
    }
    contains(&browser.ask("text_of", json!({"css": "#weighing"})), "Weighed 4.5505 kg; 4.6 kg went in.");
    browser.ask("press_button", json!({"name": "The batch is done"}));
    browser.ask("see", json!({"css": ".made"}));
    browser.ask("picture", json!({"what": "making-made"}));
    let made = batch_of(&house, &path);
    let grams: Vec<&Value> = made["outputs"].as_array().expect("tubs").iter().map(|tub| &tub["grams"]).collect();
    assert_eq!(grams, [&json!(2200), &json!(2200), &json!(150.5)]);
    assert_eq!((&made["in_grams"], &made["loss_grams"]), (&json!(4600), &json!(49.5)));
    let uses: Vec<bool> = made["uses"].as_array().expect("uses").iter().map(|one| one["voided"].is_null()).collect();
    assert_eq!(uses, [true, false, true]);
    let held: Vec<bool> =
        made["readings"].as_array().expect("readings").iter().map(|one| one["held_seconds"].is_null()).collect();
    assert_eq!(held, [true, false], "the reading that ends the clock says how long it was");
    assert_eq!(made["equipment"][0]["equipment"], json!("freezer"));

    // Nobody has said what is in the paste, so the labels are printed for a reason alone.
    browser.ask("press_link", json!({"name": "Labels for what was made"}));
    browser.ask("press_button", json!({"name": "Print them all"}));
    browser.ask("see", json!({"css": "form .refused"}));
    let despite = "Why it is printed despite what is unknown; it stands on the label";
    browser.ask("fill", json!({"label": despite, "text": "statement on its way"}));
    browser.ask("picture", json!({"what": "making-labels"}));
    browser.ask("press_button", json!({"name": "Print them all"}));
    browser.ask("see", json!({"css": ".labels img"}));
    assert_eq!(browser.ask("count_of", json!({"css": ".labels img"})), json!(3));
    browser.ask("picture", json!({"what": "making-labels-printed"}));
    let tub = made["outputs"][0]["lot"].as_str().expect("a tub");
    let prints = house.owner.get(&format!("/v1/lots/{tub}/prints")).expect(200).json;
    assert_eq!(prints["items"][0]["override_reason"], json!("statement on its way"));
    let printed = format!("/labels/kitchen?print={}", prints["items"][0]["print"]);
    assert_eq!(browser.ask("look", json!({"path": printed}))["violations"], json!([]));
    let said = browser.close();
    assert_eq!((&said["elsewhere"], &said["complaints"]), (&json!([]), &json!([])));
}

/// By the keyboard. A base rests for 12 hours (common practice, no source) from when its clock begins, and as a lot from when
/// the batch is done.
fn a_base_matures_by_the_clock(backend: Backend) {
    let house = kitchen(backend);
    let milk = house.receive("milk", "M-1", 8000);
    let lines = json!([{"item": "milk", "grams": 6000}]);
    let recipe = json!({"code": "night-base", "item": "white-base", "name": "Base over night", "lines": lines,
        "expected_yield_grams": 5900});
    house.create("recipes", recipe);
    let batch = json!({"recipe": "night-base", "site": "kitchen"});
    let batch = house.owner.post("/v1/batches", batch).expect(201).json["id"].to_string();
    let path = format!("{HERE}/batches/{batch}");
    let mut browser = Browser::open(&house, "cook", &path, "desk", "dark");
    browser.ask("fill", json!({"label": "Scan the lot that goes in", "text": milk}));
    browser.ask("fill", json!({"label": "Grams", "text": "6000"}));
    browser.ask("key", json!({"key": "Enter"}));
    browser.ask("see", json!({"css": ".uses"}));
    let maturing = ".clock:nth-child(3)";
    browser.ask("key_button", json!({"name": "Begins now", "inside": maturing}));
    contains(&browser.ask("text_of", json!({"css": ".clock .refused"})), "measure it");
    browser.ask("fill", json!({"label": "Temperature, °C", "text": "40", "inside": maturing}));
    browser.ask("key_button", json!({"name": "Begins now", "inside": maturing}));
    // A figure too many: the clock has run since it began, whatever was typed.
    let truly = "What it was in truth, °C; empty if none was taken";
    browser.ask("reveal", json!({"name": "That was wrong", "inside": maturing}));
    browser.ask("fill", json!({"label": truly, "text": "four", "inside": maturing}));
    browser.ask("fill", json!({"label": "What went wrong", "text": "a figure too many", "inside": maturing}));
    browser.ask("key_button", json!({"name": "It does not count", "inside": maturing}));
    contains(&browser.ask("text_of", json!({"css": ".taken .refused"})), "as in 85.2");
    browser.ask("picture", json!({"what": "making-reading-refused"}));
    browser.ask("fill", json!({"label": truly, "text": "4", "inside": maturing}));
    browser.ask("key_button", json!({"name": "It does not count", "inside": maturing}));
    contains(&browser.ask("text_of", json!({"css": ".said"})), "Put right");
    contains(&browser.ask("text_of", json!({"css": ".taken .voided"})), "Does not count: a figure too many");
    browser.ask("picture", json!({"what": "making-reading-put-right"}));
    let readings = house.owner.get(&format!("/v1/batches/{batch}")).expect(200).json["readings"].clone();
    let told: Vec<_> = readings
        .as_array()
        .expect("readings")
        .iter()
        .map(|one| (&one["temperature_celsius"], one.get("voided")))
        .collect();
    assert_eq!(told, [(&json!(40.0), Some(&json!("a figure too many"))), (&json!(4.0), None)]);
    let left = browser.ask("text_of", json!({"css": ".clock [data-until]"}));
    assert!(left.as_str().is_some_and(|left| left.starts_with("−11:59:") || left == "−12:00:00"), "{left}");
    browser.ask("fill", json!({"label": "Net weight, grams", "text": "5900"}));
    browser.ask("key_button", json!({"name": "The batch is done"}));
    contains(&browser.ask("text_of", json!({"css": ".made .mark"})), "Matures until");
    browser.close();
}

fn the_kitchen_can_be_used_by_everyone(backend: Backend) {
    let Stock { house, base, paste, .. } = stock(backend);
    let id = |value: &Value| value["id"].to_string();
    let delivery = house.owner.get("/v1/deliveries").expect(200).json["items"][3]["id"].to_string();
    let begin = json!({"recipe": "pistachio-fresh", "site": "kitchen"});
    let open = id(&house.owner.post("/v1/batches", begin).expect(201).json);
    let uses = json!({"uses": [{"lot": base, "quantity": {"amount": 4, "unit": "kg"}},
        {"lot": paste, "quantity": {"amount": 100, "unit": "g"}}]});
    house.owner.post(&format!("/v1/batches/{open}/uses"), uses).expect(201).done();
    let readings = json!({"readings": [{"step": "churning", "temperature_celsius": -4.0}]});
    house.owner.post(&format!("/v1/batches/{open}/readings"), readings).expect(201).done();
    let run = json!({"equipment": [{"equipment": "freezer", "from": "2026-01-05T08:00:00Z"}]});
    house.owner.post(&format!("/v1/batches/{open}/equipment"), run).expect(201).done();
    house.owner.post("/v1/cleans", json!({"equipment": "freezer", "kind": "rinse"})).expect(201).done();
    let tubs = house.make("pistachio", &[(&base, 4000), (&paste, 400)], "tub", &[2200, 2100]);
    let listed = house.owner.get("/v1/batches?site=kitchen").expect(200).json;
    let done = id(&listed["items"][0]);
    for (size, scheme) in [("phone", "light"), ("tablet", "dark"), ("desk", "light")] {
        let mut browser = Browser::open(&house, "cook", HERE, size, scheme);
        for path in [
            "/delivery/kitchen".to_owned(),
            format!("/delivery/kitchen/{delivery}"),
            format!("{HERE}?plan=pistachio&plan=pistachio-fresh"),
            format!("{HERE}/batches/{open}"),
            format!("{HERE}/batches/{done}"),
            format!("/labels/kitchen?lot={}", tubs[0]),
        ] {
            let found = browser.ask("look", json!({"path": path}));
            assert_eq!(found["violations"], json!([]), "{size} {scheme} {path}");
            assert_eq!(found["wider_than_the_screen"], json!(false), "{size} {path}");
            let weight = found["bytes"].as_u64().expect("a weight");
            assert!(weight < 60_000, "{path} weighs {weight} bytes");
        }
        browser.ask("go", json!({"path": "/delivery/kitchen"}));
        browser.ask("scans", json!({"text": "]C1010952012345678831030100001729120910M-118"}));
        browser.ask("picture", json!({"what": "delivery-line"}));
        let said = browser.close();
        assert_eq!((&said["elsewhere"], &said["complaints"]), (&json!([]), &json!([])), "{size}");
    }
}
