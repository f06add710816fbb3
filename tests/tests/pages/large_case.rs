//! The case of thousands of lots by its page: what matters first, the lots page by page, what is confirmed meanwhile, and the paper.

use std::time::{Duration, Instant};

use serde_json::json;
use tubtrail_tests::{Backend, RestHouse, on_both};

use crate::browser::{Browser, assert_kept_to_itself};

on_both!(a_case_of_ten_thousand_lots_is_looked_through);

/// Batches, and tubs of each.
const BATCHES: u32 = 20;
const TUBS: usize = 500;

/// A drill of one milk, all of which is in one base, all of which is in ten thousand tubs of 2 kg; two thousand of them are at the
/// harbour. Answers its number, and the tubs.
#[track_caller]
fn ten_thousand(house: &RestHouse) -> (i64, Vec<String>) {
    // In grams: 500 tubs of 2000 g out of 900 000 of base and 100 000 of paste.
    let milk = house.receive("milk", "M-1", 17_000_000);
    let sugar = house.receive("sugar", "S-1", 1_000_000);
    let paste = house.receive("pistachio-paste", "24-118", 2_000_000);
    let base = house.make("white-base", &[(&milk, 17_000_000), (&sugar, 1_000_000)], "base", &[18_000_000]).remove(0);
    let mut tubs = Vec::new();
    for _ in 0..BATCHES {
        tubs.extend(house.make("pistachio", &[(&base, 900_000), (&paste, 100_000)], "tub", &[2000; TUBS]));
    }
    for parcel in tubs[..2000].chunks(200) {
        let lines: Vec<_> = parcel.iter().map(|lot| json!({"lot": lot})).collect();
        let transfer = json!({"from": "kitchen", "to": "harbour", "lines": lines});
        let transfer = house.owner.post("/v1/transfers", transfer).expect(201);
        let receipt = format!("/v1/transfers/{}/receipt", transfer.json["id"]);
        house.owner.post(&receipt, json!({"all_as_sent": true})).expect(201).done();
    }
    let drill = json!({"kind": "drill", "class": 2, "hazard": "glass", "with_contact": false,
        "seeds": [{"by": "supplier_lots", "supplier": "dairy", "codes": ["M-1"]}]});
    let begun = house.owner.post("/v1/recalls", drill).expect(201);
    (begun.json["recall"].as_i64().expect("a number"), tubs)
}

#[track_caller]
fn text(browser: &mut Browser, css: &str) -> String {
    let said = browser.ask("text_of", json!({"css": css}));
    said.as_str().unwrap_or_else(|| panic!("{css}: {said}")).replace('\u{202f}', " ")
}

/// Which lots are shown, as the page says it.
#[track_caller]
fn shown(browser: &mut Browser) -> String {
    text(browser, "div:has(> .sorts)")
}

/// How often the lots were asked for again.
#[track_caller]
fn looks(browser: &mut Browser) -> u64 {
    let said = browser.ask("asked_for", json!({"part": "/lots"}));
    said.as_u64().unwrap_or_else(|| panic!("{said} is no number"))
}

#[track_caller]
fn confirm(house: &RestHouse, recall: i64, lot: &str) {
    let line = json!({"site": "harbour", "name": "Nora", "lines": [{"lot": lot, "outcome": "found"}]});
    house.owner.post(&format!("/v1/recalls/{recall}/confirmations"), line).expect(201).done();
}

fn a_case_of_ten_thousand_lots_is_looked_through(backend: Backend) {
    let house = RestHouse::open(backend);
    let begun = Instant::now();
    let (recall, tubs) = ten_thousand(&house);
    println!("{backend:?}: the house was made in {:?}", begun.elapsed());
    let path = format!("/recalls/{recall}");
    let mut browser = Browser::open(&house, "owner", "/recalls", "desk", "light");
    let found = browser.ask("look", json!({"path": path}));
    assert_eq!(found["violations"], json!([]));
    println!("{backend:?}: the case weighs {} bytes, {}", found["bytes"], browser.ask("times", json!({})));
    browser.ask("go", json!({"path": path}));
    println!("{backend:?}: the case again: {}", browser.ask("times", json!({})));

    // Milk, base and the tubs; the tubs are to be confirmed.
    let figures = text(&mut browser, ".figures");
    assert!(figures.contains("10 002") && figures.contains("10 000"), "{figures}");
    assert_eq!(browser.ask("count_of", json!({"css": ".lines tbody tr"})), json!(50));
    assert!(shown(&mut browser).contains("1 to 50 of 10 000"), "{}", shown(&mut browser));
    let seen = text(&mut browser, "main");
    assert!(seen.contains("It adds up"), "{seen}");
    browser.ask("picture", json!({"what": "case-of-ten-thousand"}));

    // Page by page, by plain links.
    browser.ask("press_link", json!({"name": "Next ones"}));
    assert!(shown(&mut browser).contains("51 to 100 of 10 000"), "{}", shown(&mut browser));
    println!("{backend:?}: the next page: {}", browser.ask("times", json!({})));
    browser.ask("go", json!({"path": format!("{path}?from={}", tubs[9000])}));
    assert!(shown(&mut browser).contains("9 001 to 9 050 of 10 000"), "{}", shown(&mut browser));
    println!("{backend:?}: a page far on: {}", browser.ask("times", json!({})));
    browser.ask("press_link", json!({"name": "Earlier ones"}));
    assert!(shown(&mut browser).contains("8 951 to 9 000 of 10 000"), "{}", shown(&mut browser));
    browser.ask("fill", json!({"label": "Lot number, or a part of it", "text": tubs[9999]}));
    browser.ask("press_button", json!({"name": "Look"}));
    assert!(shown(&mut browser).contains("1 to 1 of 1"), "{}", shown(&mut browser));
    assert!(text(&mut browser, ".lines").contains(&tubs[9999]));
    browser.ask("fill", json!({"label": "Lot number, or a part of it", "text": ""}));
    browser.ask("pick", json!({"label": "Site", "option": "harbour"}));
    browser.ask("press_button", json!({"name": "Look"}));
    assert!(shown(&mut browser).contains("1 to 50 of 2 000"), "{}", shown(&mut browser));

    it_follows_what_concerns_it(&mut browser, backend, &house, (recall, &tubs));
    browser.ask("press_link", json!({"name": "Confirmed 21"}));
    assert!(text(&mut browser, ".lines").contains("Found, put aside"));
    the_paper_is_watched(&mut browser, backend, &path);
    assert_kept_to_itself(browser);
}

/// What concerns the recall is shown by itself, and only that; and no more often than once a second.
fn it_follows_what_concerns_it(
    browser: &mut Browser,
    backend: Backend,
    house: &RestHouse,
    (recall, tubs): (i64, &[String]),
) {
    let before = looks(browser);
    house.receive("milk", "M-2", 1000);
    std::thread::sleep(Duration::from_millis(2500));
    assert_eq!(looks(browser), before, "other milk is none of it");
    let told = Instant::now();
    confirm(house, recall, &tubs[0]);
    browser.ask("see", json!({"css": format!("main:not(:has(.lines tr:has-text(\"{}\")))", tubs[0])}));
    println!("{backend:?}: seen on the page {:?} after it was confirmed", told.elapsed());
    assert!(shown(browser).contains("1 to 50 of 1 999"), "{}", shown(browser));
    let (before, told) = (looks(browser), Instant::now());
    for lot in &tubs[1..21] {
        confirm(house, recall, lot);
    }
    browser.ask("see", json!({"css": "div:has(> .sorts):has-text(\"1\u{202f}979\")"}));
    let looked = looks(browser) - before;
    println!("{backend:?}: twenty confirmations in {:?} were {looked} looks", told.elapsed());
    assert!(looked <= told.elapsed().as_secs() + 2, "{looked} looks in {:?}", told.elapsed());
}

/// While a paper of all of it is written, its page says how far it is; then it can be fetched.
fn the_paper_is_watched(browser: &mut Browser, backend: Backend, path: &str) {
    browser.ask("go", json!({"path": path}));
    let begun = Instant::now();
    browser.ask("press_button", json!({"name": "PDF"}));
    browser.ask("see", json!({"css": "#state progress"}));
    browser.ask("picture", json!({"what": "paper-being-written"}));
    // How many were read, as long as that goes on; then, which takes longer, it is laid out.
    let mut seen: Vec<String> = Vec::new();
    while browser.ask("count_of", json!({"css": "#state progress"})) == json!(1) {
        let said = browser.ask("texts_of", json!({"css": "#state > p"}));
        seen.extend(said[0].as_str().filter(|said| !said.contains("It is ready")).map(str::to_owned));
        assert!(begun.elapsed() < Duration::from_mins(3), "it is not written after three minutes: {seen:?}");
        std::thread::sleep(Duration::from_millis(200));
    }
    seen.dedup();
    println!("{backend:?}: a paper of it after {:?}, seen at {seen:?}", begun.elapsed());
    let last = seen.last().map(String::as_str);
    assert_eq!(last, Some("All 10002 lots are read; now it is laid out in pages."), "{seen:?}");
    assert!(seen[..seen.len() - 1].iter().all(|said| said.contains("of 10002 lots read")), "{seen:?}");
    assert!(text(browser, "#state").contains("It is ready"), "{}", text(browser, "#state"));
    browser.ask("picture", json!({"what": "paper-written"}));
    let paper = browser.ask("download", json!({"name": "Fetch recall-"}));
    let bytes = std::fs::read(paper.as_str().expect("a path")).expect("a file");
    assert!(bytes.starts_with(b"%PDF-"), "{paper}");
}
