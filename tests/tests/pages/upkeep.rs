//! Looking after it, in a real browser: somebody let in, a statement entered, a file taken in.

use serde_json::{Value, json};
use tubtrail_tests::{Backend, on_both};

use crate::browser::Browser;
use crate::shop::Shop;

on_both!(
    an_owner_lets_somebody_in_and_closes_a_gap,
    a_file_with_a_bad_line_then_a_good_one,
    an_inspector_reads_and_changes_nothing,
    every_page_of_upkeep_can_be_used_by_everyone,
);

fn text(browser: &mut Browser, css: &str) -> String {
    let said = browser.ask("text_of", json!({"css": css}));
    said.as_str().unwrap_or_else(|| panic!("{css}: {said}")).replace('\u{a0}', " ")
}

/// By touch on a tablet. Milk, sugar and water have no statement; the paste has one.
fn an_owner_lets_somebody_in_and_closes_a_gap(backend: Backend) {
    let shop = Shop::open(backend);
    let mut browser = Browser::open(&shop.house, "owner", "/upkeep", "tablet", "light");
    assert_eq!(text(&mut browser, "#gaps"), "3 items without a statement");
    browser.ask("press_link", json!({"name": "People"}));
    browser.ask("reveal", json!({"name": "Somebody new"}));
    browser.ask("fill", json!({"label": "Name", "text": "Ines at the market"}));
    browser.ask("fill", json!({"label": "Login", "text": "ines"}));
    browser.ask("fill", json!({"label": "Password, 12 characters or more", "text": "short"}));
    browser.ask("pick", json!({"label": "Role 1", "option": "shop"}));
    browser.ask("pick", json!({"label": "At (role 1)", "option": "market"}));
    browser.ask("press_button", json!({"name": "Let them in"}));
    assert!(text(&mut browser, "#wrong-password").contains("12"), "too short");
    assert_eq!(browser.ask("value_of", json!({"label": "Login"})), json!("ines"), "what was typed is kept");
    let password = json!({"label": "Password, 12 characters or more"});
    assert_eq!(browser.ask("value_of", password), json!(""), "but for the password");
    browser.ask("fill", json!({"label": "Password, 12 characters or more", "text": "three scoops, one cone"}));
    browser.ask("press_button", json!({"name": "Let them in"}));
    assert!(text(&mut browser, "#people").contains("Shop: market"));
    let come = json!({"login": "ines", "password": "three scoops, one cone"});
    shop.house.world.server.client().post("/v1/sessions", &come).expect(201).done();
    browser.ask("press_link", json!({"name": "Ines at the market"}));
    browser.ask("press_button", json!({"name": "Write it down"}));
    browser.ask("see", json!({"css": ".said"}));

    browser.ask("go", json!({"path": "/upkeep/statements"}));
    browser.ask("press_link", json!({"name": "Enter a statement: milk"}));
    browser.ask("press_button", json!({"name": "Write it down"}));
    assert!(!text(&mut browser, "#wrong-lists").is_empty(), "nothing is stated by a tap alone: by whose list?");
    browser.ask("tick", json!({"label": "European Union", "inside": "#lists"}));
    browser.ask("press_button", json!({"name": "Write it down"}));
    assert!(!text(&mut browser, "#wrong-document").is_empty(), "on which paper?");
    browser.ask("pick", json!({"label": "Whose statement", "option": "dairy"}));
    browser.ask("fill", json!({"label": "The paper it stands on", "text": "Specification 3"}));
    browser.ask("tick", json!({"label": "milk", "inside": "#contains"}));
    browser.ask("pick", json!({"label": "Protein of (2)", "option": "milk"}));
    browser.ask("fill", json!({"label": "Grams in a hundred (2)", "text": "330"}));
    browser.ask("press_button", json!({"name": "Write it down"}));
    assert_eq!(text(&mut browser, "#proteins .refused"), "no more than 100 grams are in a hundred");
    browser.ask("picture", json!({"what": "upkeep-proteins"}));
    browser.ask("fill", json!({"label": "Grams in a hundred (2)", "text": "3,3"}));
    browser.ask("press_button", json!({"name": "Write it down"}));
    assert_eq!(text(&mut browser, "#gaps"), "2 items without a statement");
    let stated = shop.house.owner.get("/v1/statements?item=milk").expect(200);
    assert_eq!(stated.json["items"][0]["contains"], json!(["milk"]), "{}", stated.text());
    assert_eq!(stated.json["items"][0]["lists"], json!(["eu"]));
    let protein = json!([{"allergen": "milk", "percent": "3.3"}]);
    assert_eq!(stated.json["items"][0]["proteins"], protein);
    let listed = text(&mut browser, "main");
    assert!(listed.contains("3.3 g protein of milk in a hundred"), "{listed}");
    assert!(listed.contains("Specification 3, Dairy"), "whose it is, by name: {listed}");
    // It left out soy: put right with a reason.
    let id = stated.json["items"][0]["id"].clone();
    browser.ask("press_link", json!({"name": format!("Put it right: {id}")}));
    browser.ask("tick", json!({"label": "soy", "inside": "#may_contain"}));
    browser.ask("fill", json!({"label": "Why the other one was wrong", "text": "soy was left out"}));
    browser.ask("press_button", json!({"name": "Write it down"}));
    let stated = shop.house.owner.get("/v1/statements?item=milk").expect(200);
    assert_eq!(stated.json["items"][0]["may_contain"], json!(["soy"]), "{}", stated.text());
    assert_eq!(stated.json["items"][0]["proteins"], protein, "what is put right keeps what was right");
    assert_eq!(stated.json["items"][0]["corrects"], id);

    // A device is given its key, which is shown once, and it is taken back.
    browser.ask("go", json!({"path": "/upkeep/devices"}));
    browser.ask("reveal", json!({"name": "A new device"}));
    browser.ask("fill", json!({"label": "Name", "text": "Till"}));
    browser.ask("fill", json!({"label": "Code, which never changes", "text": "till"}));
    browser.ask("pick", json!({"label": "Where it stands", "option": "harbour"}));
    browser.ask("press_button", json!({"name": "Give it a key"}));
    let key = text(&mut browser, "#key");
    let till = shop.house.world.server.client().with_token(&key);
    till.get("/v1/me").expect(200).done();
    browser.ask("go", json!({"path": "/upkeep/devices"}));
    assert_eq!(browser.ask("count_of", json!({"css": "#key"})), json!(0), "once");
    browser.ask("reveal", json!({"name": "Take its key back"}));
    browser.ask("fill", json!({"label": "Why", "text": "stolen"}));
    browser.ask("press_button", json!({"name": "It may not come in any more"}));
    assert!(text(&mut browser, "#device-till").contains("stolen"));
    assert_eq!(till.get("/v1/me").status, 401);
    assert_eq!(browser.close()["complaints"], json!([]));
}

/// By keyboard at a desk: 600 rows of items of which lines 3 and 5 are wrong; nothing is written; then all of them right.
fn a_file_with_a_bad_line_then_a_good_one(backend: Backend) {
    let shop = Shop::open(backend);
    let folder = tempfile::tempdir().expect("a folder");
    let head = "code,name,kind,counted_by,density_kg_per_m3,piece_grams,percent_vol,sweetened,tracked,kept,\
        warmest_arrival_celsius,portion_grams,shelf_life_days,active\n";
    let row = |code: &str, kind: &str, portion: &str| format!("{code},Fruit {code},{kind},,,,,,,,,{portion},,\n");
    let rows: Vec<String> = (0..600).map(|number| row(&format!("fruit-{number}"), "ingredient", "")).collect();
    let mut bad = rows.clone();
    bad[1] = row("fruit-1", "vegetable", "");
    bad[3] = row("fruit-3", "ingredient", "some");
    let file = |name: &str, rows: &[String]| {
        let path = folder.path().join(name);
        std::fs::write(&path, format!("{head}{}", rows.concat())).expect("a file");
        path.to_str().expect("a path").to_owned()
    };
    let (bad, good) = (file("bad.csv", &bad), file("good.csv", &rows));
    let items =
        |shop: &Shop| shop.house.owner.get("/v1/items?limit=500&after=fruit-0").expect(200).json["items"].clone();
    let before = items(&shop);
    let mut browser = Browser::open(&shop.house, "owner", "/upkeep/import", "desk", "light");
    browser.ask("key_button", json!({"name": "Take it in"}));
    assert!(!text(&mut browser, "#wrong-noun").is_empty(), "of what?");
    browser.ask("pick", json!({"label": "What is in it", "option": "items"}));
    browser.ask("upload", json!({"label": "The file", "file": bad}));
    browser.ask("key_button", json!({"name": "Take it in"}));
    browser.ask("see", json!({"css": "#faults"}));
    let faults = browser.ask("texts_of", json!({"css": "#faults > li"}));
    let faults: Vec<String> = serde_json::from_value(faults).expect("texts");
    assert_eq!(faults.len(), 2, "{faults:?}");
    assert!(faults[0].starts_with("line 3: kind") && faults[1].starts_with("line 5: portion_grams"), "{faults:?}");
    browser.ask("picture", json!({"what": "upkeep-refused"}));
    assert_eq!(items(&shop), before, "nothing was written down");
    browser.ask("go", json!({"path": "/upkeep/import"}));
    browser.ask("pick", json!({"label": "What is in it", "option": "items"}));
    browser.ask("upload", json!({"label": "The file", "file": good}));
    browser.ask("key_button", json!({"name": "Take it in"}));
    browser.ask("see", json!({"css": "[data-done].said"}));
    assert!(text(&mut browser, "[data-done]").contains("600 new, 0 changed, 0 as they were"));
    let after = items(&shop);
    assert_eq!(after.as_array().map(Vec::len), Some(500), "a page full of fruit");
    // Of an import that another server takes in, or that is long over, the page says so, and where to look.
    browser.ask("go", json!({"path": "/upkeep/import/of-another-server"}));
    let elsewhere = text(&mut browser, "main");
    assert!(elsewhere.contains("Of this import nothing is known here"), "{elsewhere}");
    browser.ask("press_link", json!({"name": "Imports in the journal"}));
    assert_eq!(browser.ask("count_of", json!({"css": ".entries li"})), json!(1), "the one that was taken in");
    assert_eq!(browser.close()["complaints"], json!([]));
}

fn an_inspector_reads_and_changes_nothing(backend: Backend) {
    let shop = Shop::open(backend);
    let inspector = json!({"login": "inspector", "name": "Inspector", "password": tubtrail_tests::world::PASSWORD,
        "roles": [{"role": "inspector"}]});
    shop.house.owner.post("/v1/users", inspector).expect(201).done();
    let mut browser = Browser::open(&shop.house, "inspector", "/upkeep", "desk", "light");
    let places = text(&mut browser, "main");
    assert!(places.contains("Journal") && !places.contains("Take in a file"), "{places}");
    for path in [
        "/upkeep/recipes/pistachio",
        "/upkeep/people",
        "/upkeep/devices",
        "/upkeep/statements",
        "/upkeep/sites/harbour",
    ] {
        browser.ask("go", json!({"path": path}));
        let buttons = browser.ask("count_of", json!({"css": "main button, main a[href$='/new']"}));
        assert_eq!(buttons, json!(0), "{path}");
    }
    browser.ask("go", json!({"path": "/upkeep/journal?actor=owner"}));
    let entry = text(&mut browser, ".entries > li");
    assert!(entry.contains("user:owner") && entry.contains("create user"), "{entry}");
    browser.ask("go", json!({"path": "/upkeep/journal?day=2020-01-01"}));
    assert_eq!(browser.ask("count_of", json!({"css": ".entries"})), json!(0), "nothing was written that early");
    browser.ask("go", json!({"path": "/upkeep/health"}));
    let health = text(&mut browser, "main");
    let backend = match backend {
        Backend::Sqlite => "SQLite",
        Backend::Postgres => "PostgreSQL",
    };
    assert!(health.contains(backend) && health.contains("level with the journal"), "{health}");
    browser.close();
}

fn every_page_of_upkeep_can_be_used_by_everyone(backend: Backend) {
    let shop = Shop::open(backend);
    let mut browser = Browser::open(&shop.house, "owner", "/upkeep/recipes/pistachio", "desk", "light");
    browser.ask("fill", json!({"label": "Line 2: grams", "text": "a lot"}));
    browser.ask("press_button", json!({"name": "Write it down"}));
    browser.ask("see", json!({"css": "[aria-invalid=true]"}));
    browser.ask("fill", json!({"label": "Line 2: grams", "text": "450"}));
    browser.ask("press_button", json!({"name": "Write it down"}));
    assert!(text(&mut browser, "main").contains("Version 2"));
    browser.close();
    let recipe = shop.house.owner.get("/v1/recipes/pistachio").expect(200);
    let expected = json!([{"item": "white-base", "grams": 4000}, {"item": "pistachio-paste", "grams": 450}]);
    assert_eq!((&recipe.json["lines"], &recipe.json["version"]), (&expected, &json!(2)));
    let paths: [&str; 14] = [
        "/upkeep",
        "/upkeep/people",
        "/upkeep/people/hand",
        "/upkeep/devices",
        "/upkeep/statements",
        "/upkeep/statements/new?item=milk",
        "/upkeep/items",
        "/upkeep/items/pistachio",
        "/upkeep/recipes/pistachio",
        "/upkeep/clean-kinds/new",
        "/upkeep/printers/new",
        "/upkeep/import",
        "/upkeep/journal",
        "/upkeep/health",
    ];
    for (size, scheme) in [("phone", "light"), ("tablet", "dark"), ("desk", "light")] {
        let mut browser = Browser::open(&shop.house, "owner", "/upkeep", size, scheme);
        for path in paths {
            let found = browser.ask("look", json!({"path": path}));
            assert_eq!(found["violations"], json!([]), "{size} {scheme} {path}");
            assert_eq!(found["wider_than_the_screen"], json!(false), "{size} {path}");
            let weight = found["bytes"].as_u64().expect("a weight");
            assert!(weight < 60_000, "{path} weighs {weight} bytes");
        }
        let said: Value = browser.close();
        assert_eq!((&said["elsewhere"], &said["complaints"]), (&json!([]), &json!([])));
    }
}
