//! Recalls over HTTP: while many serve, from two servers, streamed, and as papers to hand over.

use std::sync::atomic::{AtomicBool, Ordering};
use std::time::Duration;

use serde_json::{Value, json};
use tubtrail_tests::rest::text;
use tubtrail_tests::{Answer, Backend, Client, RestHouse, TestServer, on_both};

use crate::papers::{pdf_text, sheet};

on_both!(no_tub_is_served_after_the_recall, the_lines_are_streamed, a_recall_is_handed_over, a_trace_is_handed_over);

/// Clients that serve at once.
const CLIENTS: usize = 12;

/// Tubs of two batches, all open at the harbour: those with the recalled paste, and others.
struct Open {
    house: RestHouse,
    recalled: Vec<String>,
    others: Vec<String>,
}

fn open(backend: Backend) -> Open {
    let house = RestHouse::open(backend);
    let made = house.make_two_tubs();
    let other = house.receive("pistachio-paste", "24-119", 500);
    let others = house.make("pistachio", &[(&made.base, 4000), (&other, 500)], "tub", &[2200, 2200]);
    let all: Vec<Value> = made.tubs.iter().chain(&others).map(|lot| json!({"lot": lot})).collect();
    let transfer = json!({"from": "kitchen", "to": "harbour", "lines": all});
    let transfer = house.owner.post("/v1/transfers", transfer).expect(201);
    let receipt = format!("/v1/transfers/{}/receipt", transfer.json["id"]);
    house.owner.post(&receipt, json!({"all_as_sent": true})).expect(201).done();
    for lot in made.tubs.iter().chain(&others) {
        house.owner.post(&format!("/v1/lots/{lot}/opening"), json!({})).expect(201).done();
    }
    Open { house, recalled: made.tubs, others }
}

fn recall() -> Value {
    json!({"kind": "real", "class": 1, "hazard": "listeria",
        "seeds": [{"by": "supplier_lots", "supplier": "dairy", "codes": ["24-118"]}]})
}

fn serve(client: &Client, lot: &str) -> Answer {
    client.post(&format!("/v1/lots/{lot}/servings"), json!({"grams": 1}))
}

fn entry(answer: &Answer) -> i64 {
    answer.header("Tubtrail-Entry").expect("a command has an entry").parse().expect("a number")
}

/// What a client served: the entry, and whether the recall had been answered before it asked.
type Served = Vec<(String, i64, bool)>;

/// Serves from all tubs in turn until told to stop.
fn serve_on(client: &Client, tubs: &[String], recalled: &AtomicBool, stop: &AtomicBool) -> (Served, usize) {
    let (mut served, mut refused) = (Vec::new(), 0);
    for lot in tubs.iter().cycle() {
        if stop.load(Ordering::SeqCst) {
            return (served, refused);
        }
        let after = recalled.load(Ordering::SeqCst);
        let answer = serve(client, lot);
        if answer.status == 409 {
            let problem = answer.refused(409, "/problems/lot-recalled");
            assert!(problem.detail().is_some_and(|detail| detail.contains("tell customers")), "{}", answer.text());
            refused += 1;
        } else {
            served.push((lot.clone(), entry(&answer.expect(201)), after));
        }
    }
    unreachable!("there are tubs to serve from")
}

/// Serves from many clients, spread over some servers, while one begins a recall; checks what was served.
fn race(open: &Open, servers: &[Client]) {
    let tubs: Vec<String> = open.recalled.iter().chain(&open.others).cloned().collect();
    let (recalled, stop) = (AtomicBool::new(false), AtomicBool::new(false));
    let (begun, outcomes) = std::thread::scope(|scope| {
        let clients: Vec<_> = (0..CLIENTS)
            .map(|client| {
                let (client, tubs, recalled, stop) = (&servers[client % servers.len()], &tubs, &recalled, &stop);
                scope.spawn(move || serve_on(client, tubs, recalled, stop))
            })
            .collect();
        std::thread::sleep(Duration::from_millis(400));
        let begun = entry(&servers[0].post("/v1/recalls", recall()).expect(201));
        recalled.store(true, Ordering::SeqCst);
        std::thread::sleep(Duration::from_millis(400));
        stop.store(true, Ordering::SeqCst);
        let outcomes: Vec<_> = clients.into_iter().map(|client| client.join().expect("a client serves")).collect();
        (begun, outcomes)
    });
    let served: Served = outcomes.iter().flat_map(|(served, _)| served.clone()).collect();
    let of_recalled = || served.iter().filter(|(lot, ..)| open.recalled.contains(lot));
    assert!(of_recalled().count() > 0, "some was served before");
    assert!(outcomes.iter().map(|(_, refused)| refused).sum::<usize>() > 0, "some was refused after");
    for (lot, entry, after) in of_recalled() {
        assert!(!after, "{lot} was served after the recall was answered");
        assert!(*entry < begun, "{lot} was served by entry {entry}, and recalled by {begun}");
    }
    let on = served.iter().filter(|(lot, entry, _)| open.others.contains(lot) && *entry > begun).count();
    assert!(on > 0, "the other tubs are served on");
    for lot in &open.recalled {
        let last = last_moved(&servers[0], lot);
        assert!(last < begun, "by the journal, {lot} last moved by entry {last}");
    }
}

/// The entry of a lot's last movement.
fn last_moved(client: &Client, lot: &str) -> i64 {
    let (mut last, mut next) = (0, String::new());
    loop {
        let page = client.get(&format!("/v1/lots/{lot}/movements?limit=500&after={next}")).expect(200);
        let moved = page.json["items"].as_array().expect("movements").iter();
        last = moved.filter_map(|moved| moved["entry"].as_i64()).chain([last]).max().unwrap_or(last);
        let Some(text) = page.json["next"].as_str() else { return last };
        text.clone_into(&mut next);
    }
}

fn no_tub_is_served_after_the_recall(backend: Backend) {
    let open = open(backend);
    race(&open, std::slice::from_ref(&open.house.owner));
}

#[test]
fn no_tub_is_served_by_another_server_after_the_recall() {
    let open = open(Backend::Postgres);
    let other = TestServer::start(&open.house.world.database);
    let servers = [open.house.owner.clone(), open.house.owner.at(other.base())];
    race(&open, &servers);
}

fn begin(open: &Open) -> String {
    open.house.owner.post("/v1/recalls", recall()).expect(201).json["recall"].to_string()
}

fn the_lines_are_streamed(backend: Backend) {
    let open = open(backend);
    let id = begin(&open);
    let owner = &open.house.owner;
    let path = format!("/v1/recalls/{id}/lines");
    let (mut lines, mut next) = (Vec::new(), String::new());
    loop {
        let page = owner.get(&format!("{path}?limit=1&after={next}")).expect(200);
        lines.extend(page.json["lines"].as_array().expect("lines").clone());
        let Some(text) = page.json["next"].as_str() else { break };
        text.clone_into(&mut next);
    }
    let streamed = owner.get(&format!("{path}?format=ndjson")).expect(200);
    assert_eq!(streamed.header("Content-Type"), Some("application/x-ndjson"));
    let streamed = streamed.text();
    let streamed: Vec<Value> = streamed.lines().map(|line| serde_json::from_str(line).expect("an object")).collect();
    assert_eq!(streamed[0]["total_lots"], 3, "the paste and two tubs");
    assert_eq!(streamed[1..], lines);
    owner.get(&format!("{path}?format=ndjson&after={next}")).refused(422, "/problems/invalid");
    owner.get("/v1/recalls/1/lines").refused(404, "/problems/not-found");
    owner.get("/v1/recalls?kind=sideways").refused(422, "/problems/invalid");
}

/// The columns of a file by name.
fn column<'a>(rows: &'a [Vec<String>], name: &str) -> Vec<&'a str> {
    let at =
        rows[0].iter().position(|title| title == name).unwrap_or_else(|| panic!("no column {name}: {:?}", rows[0]));
    rows[1..].iter().map(|row| row[at].as_str()).collect()
}

/// Splits lines into fields; what a test writes holds neither quotes nor separators.
fn fields(file: &str, separator: char) -> Vec<Vec<String>> {
    let separator = u8::try_from(separator).expect("a separator of one byte");
    let mut reader = csv::ReaderBuilder::new().delimiter(separator).has_headers(false).from_reader(file.as_bytes());
    reader.records().map(|record| record.expect("a record").iter().map(str::to_owned).collect()).collect()
}

/// 500 g of paste in two tubs of 2.2 kg from 4.5 kg of mix: 244.444 g in each, 11.111 g lost. One was served from, 20 g:
/// 2.222 g of paste.
fn a_recall_is_handed_over(backend: Backend) {
    let open = open(backend);
    let owner = &open.house.owner;
    let tub = &open.recalled[0];
    owner.post(&format!("/v1/lots/{tub}/servings"), json!({"grams": 20})).expect(201).done();
    // A code that a spreadsheet would take for a formula.
    let item = json!({"code": "odd", "name": "=1+1", "kind": "ingredient", "counted": {"by": "mass"}});
    owner.post("/v1/items", item).expect(201).done();
    open.house.receive("odd", "24-118", 100);
    let id = begin(&open);
    let report = |format: &str| owner.get(&format!("/v1/recalls/{id}/report?format={format}")).expect(200);

    let whole = report("json");
    assert_eq!(whole.header("Content-Type"), Some("application/json"));
    assert_eq!(whole.json["lines"], owner.get(&format!("/v1/recalls/{id}/lines")).expect(200).json["lines"]);
    assert_eq!(whole.json["mass"], owner.get(&format!("/v1/recalls/{id}")).expect(200).json["mass"]);
    assert!(whole.json["caution"].as_str().is_some_and(|caution| caution.contains("clears nothing")));

    let file = report("csv");
    assert!(file.header("Content-Disposition").is_some_and(|name| name.contains(&format!("recall-{id}.csv"))));
    let rows = fields(&file.text(), ',');
    let places: Vec<_> = column(&rows, "Traceability lot code").into_iter().zip(column(&rows, "Place")).collect();
    assert!(places.contains(&(tub, "open")) && places.contains(&(tub, "served")), "a row a lot and place: {places:?}");
    let sum: f64 = column(&rows, "Recalled in it (g)").iter().filter_map(|grams| grams.parse::<f64>().ok()).sum();
    let lost = whole.json["mass"]["lost_grams"].as_f64().expect("a figure");
    assert!((sum + lost - 600.0).abs() < 1e-6, "500 g of paste and 100 g of the other: {sum} + {lost}");
    let served = places.iter().position(|place| *place == (tub, "served")).expect("it was served");
    assert_eq!(column(&rows, "Recalled in it (g)")[served], "2.222");
    assert!(column(&rows, "Product description").contains(&"'=1+1"), "it is no formula");
    assert!(column(&rows, "Supplier's lot code").contains(&"24-118"));
    assert!(column(&rows, "Reference document type").contains(&"delivery"));

    let single = fields(&report("txt").text(), '\t');
    assert_eq!(single[0][..3], ["Record", "Label", "Value"]);
    assert!(single.iter().all(|row| row.len() == single[0].len()), "every line has the same fields");
    assert!(single.iter().any(|row| row[1] == "Hazard" && row[2] == "listeria"));
    assert_eq!(single.iter().filter(|row| row[0] == "Lots and places").count(), rows.len() - 1);

    let book = sheet(&report("xlsx").body, "Lots and places");
    let table = &book[..rows.len()];
    for title in ["Traceability lot code", "Place", "Supplier's lot code"] {
        assert_eq!(column(table, title), column(&rows, title), "{title}");
    }
    let grams = |rows: &[Vec<String>]| -> Vec<Option<f64>> {
        column(rows, "Recalled in it (g)").iter().map(|grams| grams.parse().ok()).collect()
    };
    assert_eq!(grams(table), grams(&rows));
    assert!(column(table, "Product description").contains(&"=1+1"), "a cell of text is no formula");
    let paper = pdf_text(&report("pdf").body);
    for (lot, place) in &places {
        assert!(paper.contains(*lot) && paper.contains(*place), "{lot} {place}: {paper}");
    }
    assert!(paper.contains("listeria") && paper.contains("2.222"), "{paper}");
    owner.get(&format!("/v1/recalls/{id}/report?format=doc")).refused(422, "/problems/invalid");
    owner.get("/v1/recalls/1/report").refused(404, "/problems/not-found");
}

fn a_trace_is_handed_over(backend: Backend) {
    let house = RestHouse::open(backend);
    let made = house.make_two_tubs();
    let paste = &made.paste;
    let report = |format: &str| {
        let path = format!("/v1/lots/{paste}/trace-report?direction=forward&format={format}");
        house.owner.get(&path).expect(200)
    };
    let trace = house.owner.get(&format!("/v1/lots/{paste}/trace?direction=forward")).expect(200);
    assert_eq!(report("json").json["lines"], trace.json["lots"]);
    let rows = fields(&report("csv").text(), ',');
    assert_eq!(column(&rows, "Traceability lot code"), [paste, &made.tubs[0], &made.tubs[1]]);
    assert_eq!(column(&rows, "Batches away"), ["0", "1", "1"]);
    let book = sheet(&report("xlsx").body, "Lots and places");
    assert_eq!(column(&book[..4], "Traceability lot code"), [paste, &made.tubs[0], &made.tubs[1]]);
    let paper = pdf_text(&report("pdf").body);
    assert!([paste, &made.tubs[0], &made.tubs[1]].iter().all(|lot| paper.contains(lot.as_str())), "{paper}");
    assert!(report("txt").text().contains("Lots and places"));
    let lot = house.owner.get(&format!("/v1/lots/{paste}")).expect(200);
    let delivery = &lot.json["came_from"]["delivery"];
    let of_delivery = house.owner.get(&format!("/v1/deliveries/{delivery}/trace-report?format=csv")).expect(200);
    assert_eq!(column(&fields(&of_delivery.text(), ','), "Traceability lot code").len(), 3);
    assert_eq!(text(&lot.json["lot"]), *paste);
}
