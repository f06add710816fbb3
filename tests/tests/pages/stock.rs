//! In the house, in a real browser: a transfer received with a tub missing, a shelf counted by scanning, a tub put on hold.

use serde_json::{Value, json};
use tubtrail_tests::rest::grams;
use tubtrail_tests::{Backend, on_both};

use crate::browser::{Browser, look_at_all};
use crate::shop::Shop;

on_both!(a_hand_receives_counts_and_puts_right, a_cook_sends_what_was_scanned, what_needs_deciding_is_seen_at_once);

fn text(browser: &mut Browser, css: &str) -> String {
    let said = browser.ask("text_of", json!({"css": css}));
    said.as_str().unwrap_or_else(|| panic!("{css}: {said}")).replace('\u{a0}', " ")
}

/// Two tubs more of 2200 g each leave the kitchen for the harbour: 4000 g of base and 500 g of paste, as in the recipe.
fn send_two_more(shop: &Shop) -> (i64, Vec<String>) {
    let house = &shop.house;
    let paste = house.receive("pistachio-paste", "24-119", 500);
    let tubs = house.make("pistachio", &[(&shop.made.base, 4000), (&paste, 500)], "tub", &[2200, 2200]);
    let lines: Vec<_> = tubs.iter().map(|lot| json!({"lot": lot})).collect();
    let sent =
        house.owner.post("/v1/transfers", json!({"from": "kitchen", "to": "harbour", "lines": lines})).expect(201);
    (sent.json["id"].as_i64().expect("a number"), tubs)
}

/// The grams of a lot at the harbour, by state.
fn at_the_harbour(shop: &Shop, lot: &str, state: &str) -> Value {
    let lot = shop.house.owner.get(&format!("/v1/lots/{lot}")).expect(200);
    let places = lot.json["places"].as_array().cloned().unwrap_or_default();
    let found = places.into_iter().find(|place| place["site"] == "harbour" && place["state"] == state);
    found.map_or(Value::Null, |place| place["grams"].clone())
}

/// By touch and by scanner, on a phone: of two tubs on the way one arrives, and the other is missing; then three are counted, one
/// of them 150 g short, one mistyped by 1000 g and put right.
fn a_hand_receives_counts_and_puts_right(backend: Backend) {
    let shop = Shop::open(backend);
    let (transfer, tubs) = send_two_more(&shop);
    let mut browser = Browser::open(&shop.house, "hand", "/stock/harbour", "phone", "light");
    let today = text(&mut browser, "main");
    assert!(today.contains("From kitchen") && today.contains("2 × pistachio, 4.4 kg"), "{today}");
    browser.ask("picture", json!({"what": "stock-today"}));
    browser.ask("press_link", json!({"name": "something differs"}));
    assert_eq!(browser.ask("at", json!({})), json!(format!("/stock/harbour/transfers/{transfer}")));
    browser.ask("scans", json!({"text": tubs[0]}));
    let ticked = text(&mut browser, ".tick");
    assert!(ticked.contains("1 of 2 are here"), "{ticked}");
    // What was not scanned is not taken to be there.
    browser.ask("press_button", json!({"name": "Receive"}));
    let refused = text(&mut browser, ".refused");
    assert!(refused.contains(&tubs[1]), "{refused}");
    let second = format!("#lot-{}", tubs[1]);
    browser.ask("tick", json!({"label": "Missing", "inside": second}));
    browser.ask("press_button", json!({"name": "Receive"}));
    assert_eq!(text(&mut browser, &format!("{second} .why .refused")), "say why, in a few words");
    browser.ask("picture", json!({"what": "stock-receiving"}));
    browser.ask("fill", json!({"label": "Why this one differs", "text": "not in the van", "inside": second}));
    browser.ask("press_button", json!({"name": "Receive"}));
    assert_eq!(text(&mut browser, ".said"), "Received, and on the shelf.");
    assert_eq!(at_the_harbour(&shop, &tubs[0], "available"), json!(2200));
    let received = shop.house.owner.get(&format!("/v1/transfers/{transfer}")).expect(200);
    assert_eq!(received.json["lines"][1]["missing_grams"], json!(2200), "{}", received.text());
    assert_eq!(received.json["lines"][1]["reason"], json!("not in the van"));

    // The shelf: the one that came, one of 2200 g that was there, and one of 2200 g open in the case.
    browser.ask("press_link", json!({"name": "Count", "inside": "main"}));
    assert_eq!(text(&mut browser, "[data-follow] h2"), "Not counted yet: 3");
    let shown = text(&mut browser, "#left");
    assert!(!shown.contains("2.2"), "whoever counts is not told what the book says: {shown}");
    browser.ask("scans", json!({"text": tubs[0]}));
    let blind = text(&mut browser, ".in-hand");
    assert!(blind.contains("pistachio") && !blind.contains("2.2"), "{blind}");
    browser.ask("fill", json!({"label": "How much is there?", "text": "2200"}));
    browser.ask("key", json!({"key": "Enter"}));
    browser.ask("see", json!({"css": "#counted"}));
    assert!(text(&mut browser, "#counted").contains("2.2 kg, as in the book"));
    // 2200 g less 150 g that nobody wrote down.
    browser.ask("scans", json!({"text": shop.made.tubs[0]}));
    browser.ask("fill", json!({"label": "How much is there?", "text": "2050"}));
    browser.ask("press_button", json!({"name": "Write it down"}));
    assert!(text(&mut browser, ".differ").contains("The book says 2.2 kg."), "now that it was said");
    browser.ask("picture", json!({"what": "stock-counting"}));
    browser.ask("fill", json!({"label": "Why it differs", "text": "scoops were not weighed"}));
    browser.ask("press_button", json!({"name": "Write it down"}));
    assert!(text(&mut browser, "#counted").contains("2.05 kg, 150 g less than in the book. scoops were not weighed"));
    // 1200 g were typed where 2200 g are.
    browser.ask("scans", json!({"text": shop.made.tubs[1]}));
    browser.ask("fill", json!({"label": "How much is there?", "text": "1200"}));
    browser.ask("press_button", json!({"name": "Write it down"}));
    browser.ask("fill", json!({"label": "Why it differs", "text": "who knows"}));
    browser.ask("press_button", json!({"name": "Write it down"}));
    assert_eq!(at_the_harbour(&shop, &shop.made.tubs[1], "available"), json!(1200));
    browser.ask("press_link", json!({"name": "Mistyped? Put it right", "inside": "#counted"}));
    assert_eq!(browser.ask("value_of", json!({"label": "Why it differs"})), json!("mistyped before as 1200 g"));
    browser.ask("fill", json!({"label": "How much is there?", "text": "2200"}));
    browser.ask("press_button", json!({"name": "Write it down"}));
    assert!(text(&mut browser, "#counted").contains("2.2 kg, 1 kg more than in the book. mistyped before as 1200 g"));
    assert_eq!(at_the_harbour(&shop, &shop.made.tubs[1], "available"), json!(2200));
    let lot = shop.house.owner.get(&format!("/v1/lots/{}", shop.made.tubs[1])).expect(200);
    assert_eq!(lot.json["grams"], json!(2200), "what was put right leaves nothing behind");
    let counting = shop.house.owner.get("/v1/sites/harbour/counting").expect(200);
    assert_eq!((&counting.json["lots_counted"], &counting.json["lots_left"]), (&json!(3), &json!(0)));
    assert_eq!(browser.close()["complaints"], json!([]));
}

/// By keyboard and scanner, at a desk: of the base and the paste that were scanned the base stays, and of 500 g of paste 200 g go.
fn a_cook_sends_what_was_scanned(backend: Backend) {
    let shop = Shop::open(backend);
    let house = &shop.house;
    let paste = house.receive("pistachio-paste", "24-120", 500);
    let mut browser = Browser::open(house, "owner", "/stock/kitchen/send", "desk", "light");
    browser.ask("scans", json!({"text": "24-118"}));
    assert!(text(&mut browser, "#wrong-scan").len() > 10, "a supplier's own code alone is no lot of ours");
    browser.ask("fill", json!({"label": "Scan what goes", "text": ""}));
    browser.ask("scans", json!({"text": shop.made.base}));
    browser.ask("scans", json!({"text": paste}));
    assert!(text(&mut browser, ".tick").contains("2 so far"));
    browser.ask("key_button", json!({"name": format!("Leave it here: {}", shop.made.base)}));
    assert_eq!(browser.ask("count_of", json!({"css": ".arriving > li"})), json!(1));
    browser.ask("fill", json!({"label": "Grams, if not all of it", "text": "900"}));
    browser.ask("key_button", json!({"name": "Send"}));
    assert!(text(&mut browser, "#wrong-to").len() > 5, "nobody said where to");
    browser.ask("pick", json!({"label": "Where to", "option": "market"}));
    browser.ask("key_button", json!({"name": "Send"}));
    let short = text(&mut browser, &format!("#wrong-lot-{paste}, #wrong-grams-{paste}, #wrong"));
    assert!(short.contains("500 g"), "there are not 900 g: {short}");
    browser.ask("fill", json!({"label": "Grams, if not all of it", "text": "200"}));
    browser.ask("key_button", json!({"name": "Send"}));
    assert_eq!(text(&mut browser, ".said"), "Sent: it is on its way.");
    let market = house.owner.get("/v1/transfers?site=market&direction=incoming&on_the_way=true").expect(200);
    assert_eq!(market.json["items"][0]["sent_grams"], json!(200), "{}", market.text());
    assert_eq!(browser.close()["complaints"], json!([]));
}

/// Dates, holds, levels; a hold appears on an open page; what may be done about a lot; and everybody can use it.
fn what_needs_deciding_is_seen_at_once(backend: Backend) {
    let shop = Shop::open(backend);
    let house = &shop.house;
    let line = json!({"item": "milk", "supplier_lot_code": "M-2", "quantity": grams(4000),
        "expiry": {"kind": "use_by", "on": "2099-01-01"}});
    let delivery = json!({"supplier": "dairy", "site": "kitchen", "document": "DN-2", "lines": [line]});
    house.owner.post("/v1/deliveries", delivery).expect(201).done();
    house.owner.put("/v1/items/sugar/reorder-levels/kitchen", json!({"grams": 5000})).expect(200).done();
    // Paste with ten days left: nobody is told of it three days before its last one, but fourteen days before.
    let in_ten_days = (chrono::Utc::now() + chrono::Duration::days(10)).date_naive().to_string();
    let line = json!({"item": "pistachio-paste", "supplier_lot_code": "24-130", "quantity": grams(500),
        "expiry": {"kind": "best_before", "on": in_ten_days}});
    let delivery = json!({"supplier": "dairy", "site": "kitchen", "document": "DN-3", "lines": [line]});
    let paste = house.owner.post("/v1/deliveries", delivery).expect(201).json["lines"][0]["lot"].clone();
    let paste = paste.as_str().expect("a lot").to_owned();
    let soon = |house: &tubtrail_tests::RestHouse| {
        let soon = house.owner.get("/v1/stock?site=kitchen&expires_soon=true").expect(200);
        soon.json["items"].as_array().expect("rows").iter().any(|row| row["lot"] == json!(paste))
    };
    let mut browser = Browser::open(house, "owner", "/stock/kitchen", "tablet", "light");
    let page = text(&mut browser, "main");
    assert!(page.contains("0 g here, 5 kg wanted"), "{page}");
    assert!(!page.contains("Must stay where it is"), "{page}");
    assert!(!page.contains("Last day soon") && !soon(house), "{page}");
    let base = shop.made.base.clone();
    house.owner.post(&format!("/v1/lots/{base}/holds"), json!({"reason": "smells of cardboard"})).expect(201).done();
    browser.ask("see", json!({"css": "#stay"}));
    assert!(text(&mut browser, "section .stop").contains("On hold: smells of cardboard"));
    browser.ask("scans", json!({"text": base}));
    assert_eq!(browser.ask("at", json!({})), json!(format!("/lots/{base}")));
    let lot = text(&mut browser, "main");
    for part in ["milk", "sugar", "pistachio", "On hold: smells of cardboard", "5.5 kg"] {
        assert!(lot.contains(part), "{part}: {lot}");
    }
    assert!(!lot.contains("Send it on"), "what is on hold stays: {lot}");
    browser.ask("reveal", json!({"name": "Lift the hold"}));
    browser.ask("press_button", json!({"name": "Lift the hold"}));
    assert_eq!(text(&mut browser, "#wrong-reason"), "say why, in a few words");
    browser.ask("fill", json!({"label": "Why it may be used again", "text": "it was the box"}));
    browser.ask("press_button", json!({"name": "Lift the hold"}));
    assert_eq!(text(&mut browser, ".said"), "Written down.");
    browser.ask("reveal", json!({"name": "Throw it away"}));
    browser.ask("fill", json!({"label": "Grams, if not all of it", "text": "500"}));
    browser.ask("fill", json!({"label": "Why", "text": "spilled"}));
    browser.ask("press_button", json!({"name": "It is thrown away"}));
    let after = text(&mut browser, "main");
    assert!(after.contains("Thrown away: 500 g") && after.contains("5 kg"), "{after}");
    browser.ask("go", json!({"path": "/upkeep/items/pistachio-paste"}));
    let days = "Days before its last day that it is told of, if not the usual";
    browser.ask("fill", json!({"label": days, "text": "fourteen"}));
    browser.ask("press_button", json!({"name": "Write it down"}));
    browser.ask("see", json!({"css": "#warn_days[aria-invalid=true]"}));
    browser.ask("fill", json!({"label": days, "text": "14"}));
    browser.ask("press_button", json!({"name": "Write it down"}));
    browser.ask("see", json!({"css": ".said"}));
    for path in ["/stock/kitchen", "/stock/kitchen?days=7"] {
        browser.ask("go", json!({"path": path}));
        let near = text(&mut browser, "section[aria-labelledby=stock-soon]");
        assert!(near.contains(&paste) && soon(house), "{path}: {near}");
    }
    let mut kitchen = house.owner.get("/v1/sites/kitchen").expect(200).json;
    kitchen["name"] = json!("Kitchen on the old quay");
    house.owner.put("/v1/sites/kitchen", kitchen).expect(200).done();
    browser.ask("go", json!({"path": format!("/lots/{paste}")}));
    let lot = text(&mut browser, "main");
    for name in ["Dairy", "Kitchen on the old quay"] {
        assert!(lot.contains(name), "who brought it and where it lies, by name: {lot}");
    }
    browser.close();
    house.owner.post(&format!("/v1/lots/{base}/holds"), json!({"reason": "look again"})).expect(201).done();
    let transfer = house.owner.get("/v1/transfers").expect(200).json["items"][0]["id"].clone();
    let pages = [
        "/stock/kitchen".to_owned(),
        "/stock/harbour/count".to_owned(),
        format!("/stock/harbour/count?lot={}", shop.made.tubs[0]),
        format!("/stock/kitchen/send?lot={base}&lot={}", shop.made.milk),
        format!("/stock/harbour/transfers/{transfer}"),
        format!("/lots/{base}"),
    ];
    look_at_all(house, ("owner", "/stock/kitchen"), &pages);
}
