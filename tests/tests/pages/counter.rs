//! The counter in a real browser: by touch, by keyboard, by scanner, on three sizes, in the light and in the dark.

use serde_json::{Value, json};
use tubtrail_tests::{Backend, on_both};

use crate::browser::Browser;
use crate::shop::Shop;

on_both!(a_hand_answers_a_customer, a_hold_and_a_lost_line_are_seen_at_once, every_page_can_be_used_by_everyone);

const COUNTER: &str = "/counter/harbour";

#[track_caller]
fn texts(said: &Value) -> Vec<String> {
    let list = said.as_array().unwrap_or_else(|| panic!("{said} is no list"));
    list.iter().map(|text| text.as_str().unwrap_or_default().to_owned()).collect()
}

/// Touch, then keyboard, then scanner: what is in the tub, why, the other tub opened, the first emptied.
fn a_hand_answers_a_customer(backend: Backend) {
    let shop = Shop::open(backend);
    let tubs = &shop.made.tubs;
    let mut browser = Browser::open(&shop.house, "hand", COUNTER, "phone", "light");
    assert_eq!(browser.ask("answers", json!({})), json!([]), "nothing is answered before anything is named");
    browser.ask("tap", json!({"choice": "pistachio"}));
    assert_eq!(texts(&browser.ask("answers", json!({}))), ["Contains pistachio"]);
    let because = browser.ask("why", json!({}));
    let because = because.as_str().expect("reasons");
    for part in ["Specification 7", "24-118", tubs[0].as_str()] {
        assert!(because.contains(part), "{part}: {because}");
    }
    browser.ask("press", json!({"choice": "milk"}));
    assert_eq!(texts(&browser.ask("answers", json!({}))), ["Not known: milk", "Contains pistachio"]);
    let text = browser.ask("text", json!({})).to_string().to_lowercase();
    assert!(text.contains("it clears nothing"), "the caution is there");
    assert!(!text.contains("safe") && !text.contains("free from"), "{text}");

    browser.ask("open", json!({"lot": tubs[1]}));
    let open = browser.ask("tubs", json!({}));
    assert_eq!(texts(&open).len(), 2, "{open}");
    // A hand scanner types what stands on the label and ends with Enter.
    browser.ask("scan", json!({"text": tubs[1]}));
    assert_eq!(texts(&browser.ask("tubs", json!({}))), [tubs[1].as_str()]);
    assert_eq!(
        texts(&browser.ask("answers", json!({}))),
        ["Not known: milk", "Contains pistachio"],
        "the same question"
    );
    browser.ask("empty", json!({"lot": tubs[1]}));
    let lot = shop.house.owner.get(&format!("/v1/lots/{}", tubs[1])).expect(200);
    assert!(lot.text().contains("\"served\""), "what was in it was served: {}", lot.text());
    browser.close();
}

/// The page stands open while things happen elsewhere.
fn a_hold_and_a_lost_line_are_seen_at_once(backend: Backend) {
    let mut shop = Shop::open(backend);
    let mut browser = Browser::open(&shop.house, "hand", COUNTER, "tablet", "light");
    browser.ask("tap", json!({"choice": "pistachio"}));
    let tub = shop.made.tubs[0].clone();
    browser.ask("expect_halt", json!({}));
    shop.house
        .owner
        .post(&format!("/v1/lots/{tub}/holds"), json!({"reason": "a splinter was found"}))
        .expect(201)
        .done();
    let seen = browser.ask("halt", json!({}));
    assert!(seen["text"].as_str().is_some_and(|text| text.contains("a splinter was found")), "{seen}");
    assert!(seen["text"].as_str().is_some_and(|text| text.to_lowercase().contains("do not serve")), "{seen}");
    assert_eq!(seen["can_be_emptied"], json!(false), "it is kept as it is");

    browser.ask("offline", json!({"offline": true}));
    let lost = browser.ask("stale", json!({}));
    assert_eq!(lost, json!({"stale": true, "answers": false}), "no answer is shown that may be old");
    browser.ask("offline", json!({"offline": false}));
    assert_eq!(browser.ask("fresh", json!({})), json!({"stale": false, "answers": true}));

    shop.house.world.server.kill9();
    assert_eq!(browser.ask("stale", json!({})), json!({"stale": true, "answers": false}));
    browser.close();
    shop.house.world.server.restart();
}

fn every_page_can_be_used_by_everyone(backend: Backend) {
    let shop = Shop::open(backend);
    for (size, scheme) in [("phone", "light"), ("tablet", "dark"), ("desk", "light")] {
        let mut browser = Browser::open(&shop.house, "hand", COUNTER, size, scheme);
        browser.ask("tap", json!({"choice": "tree_nuts"}));
        for path in ["/counter/harbour?avoid=tree_nuts&avoid=milk", "/counter", "/sign-in", "/counter/nowhere"] {
            let found = browser.ask("look", json!({"path": path}));
            assert_eq!(found["violations"], json!([]), "{size} {scheme} {path}");
            assert_eq!(found["wider_than_the_screen"], json!(false), "{size} {path}");
            let weight = found["bytes"].as_u64().expect("a weight");
            assert!(weight < 60_000, "{path} weighs {weight} bytes");
        }
        let said = browser.close();
        assert_eq!(said["elsewhere"], json!([]), "no request leaves the origin");
        assert_eq!(said["complaints"], json!([]), "the browser has nothing to complain of");
    }
}
