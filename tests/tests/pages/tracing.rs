//! Where it went, by its page: from what is in hand to the picture; a thousand tubs are drawn, opened, and printed on a page.

use std::process::Command;
use std::time::Instant;

use serde_json::{Value, json};
use tubtrail_tests::{Backend, RestHouse, on_both};

use crate::browser::Browser;
use crate::shop::Shop;

on_both!(from_what_is_in_hand_to_what_is_in_it, a_thousand_tubs_are_drawn_opened_and_printed);

#[track_caller]
fn text(said: &Value) -> String {
    said.as_str().unwrap_or_else(|| panic!("{said} is no text")).to_owned()
}

/// A hand scans a tub and sees what is in it; types the supplier's code and sees where that went; asks for a supplier's days.
fn from_what_is_in_hand_to_what_is_in_it(backend: Backend) {
    let shop = Shop::open(backend);
    let mut browser = Browser::open(&shop.house, "owner", "/tracing", "tablet", "light");
    browser.ask("scans", json!({"text": shop.made.tubs[0]}));
    let words = text(&browser.ask("text_of", json!({"css": ".words"})));
    assert!(words.contains("4 other lots are in it; 3 of all came from suppliers"), "{words}");
    assert_eq!(browser.ask("count_of", json!({"css": "svg.trace a.box"})), json!(5));

    browser.ask("go", json!({"path": "/tracing"}));
    browser.ask("fill", json!({"label": "What do you have in hand?", "text": "M-1"}));
    browser.ask("press_button", json!({"name": "Look"}));
    // 8000 g of milk in 9500 g of base of 10 000 g used: 7600 g held, 400 g lost with the base; 4000 of 9500 g of base go on,
    // with them 3200 g of milk, of which 4400 of 4500 g stay: 71.1 g more are lost.
    let words = text(&browser.ask("text_of", json!({"css": ".words"}))).replace('\u{202f}', " ");
    assert!(words.contains("It is in 3 other lots; 2 of all are tubs."), "{words}");
    assert!(words.contains("Of its 8 000 g") && words.contains("471 g were lost in the making"), "{words}");
    let seen = text(&browser.ask("text_of", json!({"css": "main"})));
    assert!(seen.contains("clears nothing"), "the caution is there");
    browser.ask("picture", json!({"what": "trace-small"}));
    // By the keyboard into the picture: a box is a link to the trace of its lot.
    let label = format!("pistachio, {}", shop.made.tubs[1]);
    browser.ask("key_link", json!({"name": label}));
    browser.ask("see", json!({"css": format!("h1:has-text(\"{}\")", shop.made.tubs[1])}));
    assert_eq!(text(&browser.ask("at", json!({}))), format!("/tracing/lots/{}", shop.made.tubs[1]));

    browser.ask("go", json!({"path": "/tracing"}));
    browser.ask("pick", json!({"label": "Supplier", "option": "dairy"}));
    browser.ask("press_button", json!({"name": "Show what they brought"}));
    browser.ask("see", json!({"css": ".found"}));
    assert_eq!(browser.ask("count_of", json!({"css": ".found li"})), json!(3));
    browser.ask("fill", json!({"label": "What do you have in hand?", "text": "nobody-has-this"}));
    browser.ask("press_button", json!({"name": "Look"}));
    assert_eq!(browser.ask("value_of", json!({"label": "What do you have in hand?"})), json!("nobody-has-this"));
    browser.ask("see", json!({"css": "#hand[aria-invalid=true]"}));
    let drawn = shop.house.owner.get(&format!("/v1/lots/{}/trace.svg?direction=forward", shop.made.milk)).expect(200);
    assert_eq!(drawn.header("Content-Type"), Some("image/svg+xml"));
    assert!(drawn.text().contains("<title>") && !drawn.text().contains("href"), "it stands alone");
    browser.close();
}

/// One milk in five bases, each in four batches of one of ten flavours, fifty tubs a batch, over two shops.
#[track_caller]
fn a_thousand_tubs(house: &RestHouse) -> String {
    let milk = house.receive("milk", "M-1000", 2_000_000);
    let sugar = house.receive("sugar", "S-1000", 500_000);
    let paste = house.receive("pistachio-paste", "24-1000", 300_000);
    let mut tubs = Vec::new();
    for flavour in 0..10 {
        let code = format!("flavour-{flavour}");
        let item = json!({"code": code, "name": format!("Flavour {flavour}"), "kind": "flavour", "counted": {"by": "mass"},
            "portion_grams": 80});
        house.create("items", item);
        house.create(
            "recipes",
            json!({"code": code, "item": code, "name": format!("Flavour {flavour}"), "expected_yield_grams": 100_000,
                "lines": [{"item": "white-base", "grams": 95_000}, {"item": "pistachio-paste", "grams": 5000}]}),
        );
    }
    for base in 0..5 {
        let uses = [(milk.as_str(), 400_000), (sugar.as_str(), 100_000)];
        let base_lot = house.make("white-base", &uses, "base", &[480_000]).remove(0);
        for batch in 0..4 {
            let flavour = format!("flavour-{}", (base * 4 + batch) % 10);
            let uses = [(base_lot.as_str(), 110_000), (paste.as_str(), 10_000)];
            tubs.extend(house.make(&flavour, &uses, "tub", &[2300; 50]));
        }
    }
    assert_eq!(tubs.len(), 1000);
    for (at, parcel) in tubs.chunks(200).enumerate().skip(1) {
        let to = if at % 2 == 0 { "harbour" } else { "market" };
        let lines: Vec<_> = parcel.iter().map(|lot| json!({"lot": lot})).collect();
        let transfer =
            house.owner.post("/v1/transfers", json!({"from": "kitchen", "to": to, "lines": lines})).expect(201);
        let receipt = format!("/v1/transfers/{}/receipt", transfer.json["id"]);
        house.owner.post(&receipt, json!({"all_as_sent": true})).expect(201).done();
    }
    milk
}

fn a_thousand_tubs_are_drawn_opened_and_printed(backend: Backend) {
    let house = RestHouse::open(backend);
    let milk = a_thousand_tubs(&house);
    let path = format!("/tracing/lots/{milk}?way=forward");
    let mut browser = Browser::open(&house, "owner", "/tracing", "desk", "light");
    let found = browser.ask("look", json!({"path": path}));
    assert_eq!(found["violations"], json!([]));
    let weight = found["bytes"].as_u64().expect("a weight");
    println!("{backend:?}: the trace of a thousand tubs weighs {weight} bytes");
    assert!(weight < 60_000, "it weighs {weight} bytes");
    let boxes = browser.ask("count_of", json!({"css": "svg.trace a.box"}));
    assert!(boxes.as_u64().is_some_and(|boxes| boxes <= 60), "{boxes} boxes");
    let words = text(&browser.ask("text_of", json!({"css": ".words"})));
    assert!(words.contains("It is in 1005 other lots; 1000 of all are tubs."), "{words}");
    println!("{backend:?}: {}", browser.ask("times", json!({})));

    // Opened by the keyboard, without the page being loaded again; the address says so.
    let before = boxes.as_u64().unwrap_or(0);
    browser.ask("key_link", json!({"name": "Flavour 0, "}));
    browser.ask("see", json!({"css": "#picture .row a"}));
    let after = browser.ask("count_of", json!({"css": "svg.trace a.box"})).as_u64().unwrap_or(0);
    assert!(after > before, "{before} boxes, then {after}");
    assert!(text(&browser.ask("at", json!({}))).contains("open="));
    browser.ask("picture", json!({"what": "trace-thousand-opened"}));
    browser.ask("press_link", json!({"name": "Fold up"}));
    browser.ask("see", json!({"css": "#picture .row a", "state": "detached"}));

    for path in [path, "/recalls/begin?by=supplier_lots&supplier=dairy&codes=M-1000".to_owned()] {
        browser.ask("go", json!({"path": path}));
        let paper = text(&browser.ask("paper", json!({"what": format!("trace-thousand-{}", path.len())})));
        let told = Command::new("pdfinfo").arg(&paper).output().expect("pdfinfo");
        let told = String::from_utf8_lossy(&told.stdout).into_owned();
        assert!(told.lines().any(|line| line.starts_with("Pages:") && line.ends_with(" 1")), "{path}: {told}");
        assert!(told.contains("841.9") || told.contains("842"), "A4, across: {told}");
    }
    browser.ask("go", json!({"path": format!("/tracing/lots/{milk}?way=forward")}));
    let begun = Instant::now();
    let sheet = browser.ask("download_by_button", json!({"name": "XLSX"}));
    println!("{backend:?}: a spreadsheet of it after {:?}", begun.elapsed());
    assert_eq!(sheet["name"], json!(format!("trace-lot-{milk}.xlsx")));
    let said = browser.close();
    assert_eq!((&said["elsewhere"], &said["complaints"]), (&json!([]), &json!([])));
}
