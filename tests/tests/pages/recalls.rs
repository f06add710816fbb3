//! Recalls by their pages: an owner drills one in three steps, the hands in the shop scan what they find, the case follows.

use std::time::Instant;

use serde_json::{Value, json};
use tubtrail_tests::rest::Tubs;
use tubtrail_tests::world::PASSWORD;
use tubtrail_tests::{Backend, RestHouse, on_both};

use crate::browser::{Browser, assert_kept_to_itself, look_at_all};

on_both!(
    a_drill_from_its_beginning_to_its_report,
    what_a_machine_touched_is_drawn_apart,
    recalls_can_be_used_by_everyone,
);

/// Milk M-1 is in four tubs, three of which are at the harbour, one open; the fourth and what is left of the base are in the
/// kitchen; a fifth, of other milk, is at the harbour too.
struct Spread {
    house: RestHouse,
    made: Tubs,
    /// Of the second batch: one at the harbour, one in the kitchen.
    more: Vec<String>,
}

impl Spread {
    #[track_caller]
    fn open(backend: Backend) -> Self {
        let house = RestHouse::open(backend);
        let made = house.make_two_tubs();
        let paste = house.receive("pistachio-paste", "24-119", 500);
        let more = house.make("pistachio", &[(&made.base, 4000), (&paste, 500)], "tub", &[2200, 2200]);
        let lines: Vec<_> = made.tubs.iter().chain(&more[..1]).map(|lot| json!({"lot": lot})).collect();
        let transfer = json!({"from": "kitchen", "to": "harbour", "lines": lines});
        let transfer = house.owner.post("/v1/transfers", transfer).expect(201);
        let receipt = format!("/v1/transfers/{}/receipt", transfer.json["id"]);
        house.owner.post(&receipt, json!({"all_as_sent": true})).expect(201).done();
        house.owner.post(&format!("/v1/lots/{}/opening", made.tubs[0]), json!({})).expect(201).done();
        let hand = json!({"login": "hand", "name": "Nora at the harbour", "password": PASSWORD,
            "roles": [{"role": "shop", "site": "harbour"}]});
        house.owner.post("/v1/users", hand).expect(201).done();
        Self { house, made, more }
    }

    /// A drill of the milk by the API, for what is not about beginning one.
    #[track_caller]
    fn drill(&self) -> i64 {
        let drill = json!({"kind": "drill", "class": 2, "hazard": "glass", "instructions": "Put it aside.",
            "seeds": [{"by": "supplier_lots", "supplier": "dairy", "codes": ["M-1"]}]});
        let begun = self.house.owner.post("/v1/recalls", drill).expect(201);
        begun.json["recall"].as_i64().expect("a number")
    }
}

#[track_caller]
fn text(said: &Value) -> String {
    said.as_str().unwrap_or_else(|| panic!("{said} is no text")).to_owned()
}

fn a_drill_from_its_beginning_to_its_report(backend: Backend) {
    let Spread { house, made, more } = Spread::open(backend);
    let mut owner = Browser::open(&house, "owner", "/recalls", "desk", "light");
    // What is recalled; by the keyboard.
    owner.ask("key_link", json!({"name": "Begin a recall or a drill"}));
    owner.ask("reveal", json!({"name": "A supplier's lot codes"}));
    owner.ask("pick", json!({"label": "Supplier", "option": "dairy", "inside": "details:nth-of-type(2)"}));
    owner.ask("fill", json!({"label": "Codes, one a line", "text": "M-7"}));
    owner.ask("key_button", json!({"name": "See what these codes reach"}));
    let refused = text(&owner.ask("text_of", json!({"css": ".refused"})));
    assert!(refused.contains("no lot fits"), "{refused}");
    assert_eq!(owner.ask("value_of", json!({"label": "Codes, one a line"})), json!("M-7"), "what was typed is kept");
    owner.ask("fill", json!({"label": "Codes, one a line", "text": "M-1"}));
    owner.ask("key_button", json!({"name": "See what these codes reach"}));

    // What that reaches: milk, base, four tubs; of them the base and the tubs are in the house.
    owner.ask("see", json!({"css": ".figures"}));
    let figures = owner.ask("texts_of", json!({"css": ".figures dd"}));
    assert_eq!((&figures[0], &figures[1], &figures[4]), (&json!("1"), &json!("6"), &json!("5")), "{figures}");
    assert_eq!(owner.ask("count_of", json!({"css": "svg.trace a.box"})), json!(6), "each lot is drawn");
    owner.ask("picture", json!({"what": "recall-outlook"}));
    let none = house.owner.get("/v1/recalls").expect(200);
    assert_eq!(none.json["items"], json!([]), "nothing is written down by looking");

    // Why, and begin.
    owner.ask("key_link", json!({"name": "Go on: say why"}));
    owner.ask("tick", json!({"label": "A drill"}));
    owner.ask("fill", json!({"label": "What may be wrong, in a few words; the counter shows it", "text": "glass"}));
    owner.ask("pick", json!({"label": "Class, as the authority says", "option": "2"}));
    owner.ask("fill", json!({"label": "What to do, for the sites and the customers", "text": "Put it aside."}));
    owner.ask("picture", json!({"what": "recall-why"}));
    owner.ask("key_button", json!({"name": "Begin it now"}));
    owner.ask("see", json!({"css": ".drill"}));
    let path = text(&owner.ask("at", json!({})));
    let recall: i64 = path.trim_start_matches("/recalls/").split('?').next().unwrap_or("").parse().expect("a number");
    assert_eq!(owner.ask("count_of", json!({"css": ".lines tbody tr"})), json!(5), "nobody has confirmed anything");

    // The shop sees it at the counter, and goes through its tubs with a scanner.
    let mut hand = Browser::open(&house, "hand", "/counter/harbour", "phone", "light");
    hand.ask("press_link", json!({"name": "go through your tubs"}));
    hand.ask("see", json!({"css": ".pull"}));
    assert_eq!(text(&hand.ask("at", json!({}))), format!("/recalls/{recall}/sites/harbour"));
    assert_eq!(hand.ask("count_of", json!({"css": ".pull li.open"})), json!(3));
    hand.ask("scans", json!({"text": made.tubs[0]}));
    hand.ask("see", json!({"css": is_confirmed(&made.tubs[0])}));
    assert_eq!(hand.ask("count_of", json!({"css": ".pull li.open"})), json!(2));
    hand.ask("picture", json!({"what": "recall-site"}));

    // The case, which stood open meanwhile, shows it by itself: one less is to be confirmed.
    owner.ask("see", json!({"css": is_not_listed(&made.tubs[0])}));
    assert_eq!(owner.ask("count_of", json!({"css": ".lines tbody tr"})), json!(4));
    owner.ask("press_link", json!({"name": "Confirmed 1"}));
    owner.ask("see", json!({"css": ".sorts [aria-current]:has-text(\"Confirmed\")"}));
    let line = text(&owner.ask("text_of", json!({"css": ".lines tbody tr"})));
    assert!(line.contains("Found, put aside") && line.contains("Nora at the harbour"), "{line}");
    hand.ask("tick", json!({"label": "Destroyed"}));
    let scanned = Instant::now();
    hand.ask("scans", json!({"text": made.tubs[1]}));
    owner.ask("see", json!({"css": format!(".lines tr:has-text(\"{}\")", made.tubs[1])}));
    println!("{backend:?}: seen on the case {:?} after the scanner began to type", scanned.elapsed());
    hand.ask("see", json!({"css": is_confirmed(&made.tubs[1])}));
    assert_eq!(hand.ask("count_of", json!({"css": ".pull li.open"})), json!(1), "two of three");
    // A tub that is under no recall.
    hand.ask("scans", json!({"text": "261125-0001-0"}));
    hand.ask("see", json!({"css": "#scan[aria-invalid=true]"}));

    // What is missing is seen, and keeps it open; what was typed is kept.
    owner.ask("press_link", json!({"name": "Still to be confirmed 3"}));
    owner.ask("see", json!({"css": ".sorts [aria-current]:has-text(\"Still\")"}));
    let missing = text(&owner.ask("text_of", json!({"css": ".lines"})));
    assert!(missing.contains(&more[0]) && missing.contains(&more[1]) && missing.contains(&made.base), "{missing}");
    assert!(!missing.contains(&made.tubs[0]) && !missing.contains(&made.tubs[1]), "{missing}");
    owner.ask("picture", json!({"what": "recall-case"}));
    close(&mut owner, "all found");
    let refused = text(&owner.ask("text_of", json!({"css": ".refused"})));
    assert!(refused.contains("still to be confirmed"), "{refused}");
    assert_eq!(owner.ask("value_of", json!({"label": "Why"})), json!("all found"));

    // The third is not there; the kitchen finds its own.
    let row = format!(".pull li:has-text(\"{}\")", more[0]);
    hand.ask("go", json!({"path": format!("/recalls/{recall}/sites/harbour")}));
    hand.ask("press_button", json!({"name": format!("Not found: {}", more[0]), "inside": row}));
    hand.ask("see", json!({"css": is_confirmed(&more[0])}));
    assert_eq!(hand.ask("count_of", json!({"css": ".pull li.open"})), json!(0));
    for lot in [&more[1], &made.base] {
        owner.ask("go", json!({"path": format!("/recalls/{recall}/sites/kitchen?outcome=destroyed")}));
        owner.ask("scans", json!({"text": lot}));
        owner.ask("see", json!({"css": ".said"}));
    }
    owner.ask("go", json!({"path": format!("/recalls/{recall}")}));
    let text_of_it = text(&owner.ask("text_of", json!({"css": "main"})));
    assert!(text_of_it.contains("It adds up") && text_of_it.contains("Nothing: everything"), "{text_of_it}");
    close(&mut owner, "all accounted for");
    owner.ask("see", json!({"css": ".said"}));
    let ended = house.owner.get(&format!("/v1/recalls/{recall}")).expect(200);
    assert_eq!(ended.json["ending"]["way"], json!("closed"), "{}", ended.text());

    // The report, to hand over.
    let paper = owner.ask("download_by_button", json!({"name": "PDF"}));
    let bytes = std::fs::read(text(&paper["path"])).expect("a file");
    assert!(bytes.starts_with(b"%PDF-"), "{paper}");
    assert_eq!(paper["name"], json!(format!("recall-{recall}.pdf")));
    // Whoever asked for it may fetch it again, and nobody else.
    let paper = text(&paper["at"]).trim_end_matches("/file").to_owned();
    let kept = owner.ask("look", json!({"path": paper}));
    assert_eq!(kept["violations"], json!([]));
    assert!(text(&owner.ask("text_of", json!({"css": "main"}))).contains("It is ready"));
    hand.ask("go", json!({"path": paper}));
    assert!(text(&hand.ask("text_of", json!({"css": "main"}))).contains("This paper is not here"));
    owner.ask("go", json!({"path": format!("/recalls/{recall}")}));
    let sheet = owner.ask("download", json!({"name": "CSV"}));
    let csv = std::fs::read_to_string(text(&sheet)).expect("a file");
    assert!(csv.contains(&made.tubs[0]) && csv.contains("not found"), "{csv}");
    for browser in [owner, hand] {
        assert_kept_to_itself(browser);
    }
}

/// Milk M-1 is in two tubs that ran on the freezer; then two of other milk ran on it, with no clean between: those are under the
/// recall by contact alone.
fn what_a_machine_touched_is_drawn_apart(backend: Backend) {
    let house = RestHouse::open(backend);
    let mut kitchen = house.owner.get("/v1/sites/kitchen").expect(200).json;
    kitchen["name"] = json!("Kitchen on the old harbour quay, Northqu");
    house.owner.put("/v1/sites/kitchen", kitchen).expect(200).done();
    house.create("equipment", json!({"code": "freezer", "name": "Freezer", "site": "kitchen", "touches": ["flavour"]}));
    let made = house.make_two_tubs();
    let milk = house.receive("milk", "M-2", 8000);
    let sugar = house.receive("sugar", "S-2", 2000);
    let paste = house.receive("pistachio-paste", "24-119", 500);
    let base = house.make("white-base", &[(&milk, 8000), (&sugar, 2000)], "base", &[9500]).remove(0);
    let after = house.make("pistachio", &[(&base, 4000), (&paste, 500)], "tub", &[2200, 2200]);
    let now = chrono::Utc::now();
    for (lot, from, until) in [(&made.tubs[0], 50, 40), (&after[0], 30, 20)] {
        let batch = house.owner.get(&format!("/v1/lots/{lot}")).expect(200).json["came_from"]["batch"].clone();
        let at = |minutes: i64| now - chrono::Duration::minutes(minutes);
        let run = json!({"equipment": [{"equipment": "freezer", "from": at(from), "until": at(until)}]});
        house.owner.post(&format!("/v1/batches/{batch}/equipment"), run).expect(201).done();
    }
    let drill = json!({"kind": "drill", "class": 2, "hazard": "glass", "with_contact": true,
        "seeds": [{"by": "supplier_lots", "supplier": "dairy", "codes": ["M-1"]}]});
    let recall = house.owner.post("/v1/recalls", drill).expect(201).json["recall"].clone();
    let mut browser = Browser::open(&house, "owner", "/recalls", "desk", "light");
    for path in [
        format!("/recalls/{recall}/picture"),
        "/recalls/begin?by=supplier_lots&supplier=dairy&codes=M-1&with_contact=yes".to_owned(),
    ] {
        browser.ask("go", json!({"path": path}));
        // Milk, base, two tubs; and the two that came after.
        assert_eq!(browser.ask("count_of", json!({"css": "svg.trace a.box"})), json!(6), "{path}");
        assert_eq!(browser.ask("count_of", json!({"css": "svg.trace a.box.contact"})), json!(2), "{path}");
        // Each of the first two to each of the other two.
        assert_eq!(browser.ask("count_of", json!({"css": "svg.trace path.line.contact[stroke-dasharray]"})), json!(4));
        let seen = text(&browser.ask("text_of", json!({"css": "main"})));
        assert!(seen.contains("2 lots are reached by contact alone"), "{seen}");
        assert!(seen.contains("how much is in it is not known"), "the legend says so: {seen}");
        let lane = browser.ask("contents_of", json!({"css": ".trace .lane tspan"}));
        let lane: Vec<String> = lane.as_array().expect("its lines").iter().map(text).collect();
        assert_eq!(lane.join(" "), "Kitchen on the old harbour quay, Northqu");
    }
    browser.ask("go", json!({"path": format!("/recalls/{recall}/picture")}));
    browser.ask("picture", json!({"what": "recall-by-contact"}));
    let found = browser.ask("look", json!({"path": format!("/recalls/{recall}/picture")}));
    assert_eq!(found["violations"], json!([]));
    let drawn = house.owner.get(&format!("/v1/recalls/{recall}/trace.svg")).expect(200);
    assert!(drawn.text().contains("reached by contact alone"), "{}", drawn.text());
    assert_kept_to_itself(browser);
}

/// The lots of a case, once one is not among them any more.
fn is_not_listed(lot: &str) -> String {
    format!("main:not(:has(.lines tr:has-text(\"{lot}\")))")
}

/// The list of a site, once a tub is not open on it any more.
fn is_confirmed(lot: &str) -> String {
    format!(".pull:not(:has(li.open:has-text(\"{lot}\")))")
}

fn close(owner: &mut Browser, why: &str) {
    owner.ask("reveal", json!({"name": "Close it"}));
    owner.ask("fill", json!({"label": "Why", "text": why, "inside": "#closing"}));
    owner.ask("press_button", json!({"name": "Close it now"}));
}

fn recalls_can_be_used_by_everyone(backend: Backend) {
    let open = Spread::open(backend);
    let handed = json!({"customer": "bistro", "document": "DN-1"});
    open.house.owner.post(&format!("/v1/lots/{}/consignments", open.more[1]), handed).expect(201).done();
    let recall = open.drill();
    let pages = [
        "/recalls".to_owned(),
        "/recalls/begin".to_owned(),
        "/recalls/begin?by=supplier_lots&supplier=dairy&codes=M-1".to_owned(),
        "/recalls/begin?by=supplier_lots&supplier=dairy&codes=M-1&step=why".to_owned(),
        format!("/recalls/{recall}"),
        format!("/recalls/{recall}?stand=any&site=harbour"),
        format!("/recalls/{recall}/picture"),
        format!("/recalls/{recall}/customers"),
        format!("/recalls/{recall}/sites/harbour"),
        format!("/tracing/lots/{}", open.made.milk),
        "/tracing".to_owned(),
        "/tracing?supplier=dairy".to_owned(),
        "/tracing?hand=nothing".to_owned(),
    ];
    look_at_all(&open.house, ("owner", "/recalls"), &pages);
}
