//! What arrives, when, and how often.

use std::time::{Duration, Instant};

use serde_json::{Value, json};
use tubtrail_tests::{Backend, Client, RestHouse, TestServer, on_both};

use super::receiver::Receiver;

on_both!(
    holds_and_recalls_arrive_in_order,
    what_was_not_taken_arrives_again,
    who_asks_for_time_is_given_it,
    a_killed_server_goes_on_where_it_was,
    who_is_slow_delays_nobody_else,
    both_secrets_sign_while_one_follows_the_other,
    a_server_stops_while_somebody_is_slow,
    a_secret_is_nowhere_but_in_its_answer,
);

/// A house that may send to this machine, and how it was opened.
pub const INSIDE: &[&str] = &["--webhooks-inside"];

pub fn open(backend: Backend) -> RestHouse {
    RestHouse::open_with(backend, INSIDE)
}

/// Registers a path of the receiver; answers the secret, which the receiver knows from then on.
#[track_caller]
pub fn register(owner: &Client, receiver: &mut Receiver, path: &str, events: &[&str]) -> String {
    let code = path.trim_start_matches('/').to_owned();
    let new = json!({"code": code, "name": code, "url": receiver.url(path), "events": events});
    let made = owner.post("/v1/webhooks", new).expect(201);
    let secret = made.json["secret"].as_str().expect("a secret").to_owned();
    receiver.answer(path, json!({"secrets": [secret]}));
    secret
}

#[track_caller]
fn hold(owner: &Client, lot: &str, reason: &str) -> i64 {
    let hold = owner.post(&format!("/v1/lots/{lot}/holds"), json!({"reason": reason})).expect(201);
    hold.json["id"].as_i64().expect("a number")
}

fn attempts(owner: &Client, code: &str) -> Vec<Value> {
    let page = owner.get(&format!("/v1/webhooks/{code}/attempts?limit=500")).expect(200);
    page.json["items"].as_array().expect("a list").clone()
}

/// What the list says once it says so: it is written down a moment after the other side has answered.
#[track_caller]
fn until(what: &str, holds: impl Fn() -> bool) {
    let began = Instant::now();
    while !holds() {
        assert!(began.elapsed() < Duration::from_secs(30), "it never came to be: {what}");
        std::thread::sleep(Duration::from_millis(20));
    }
}

fn holds_and_recalls_arrive_in_order(backend: Backend) {
    let house = open(backend);
    let mut receiver = Receiver::start();
    let all =
        ["hold.placed", "hold.released", "recall.begun", "recall.closed", "recall.withdrawn", "recall.reach_changed"];
    register(&house.owner, &mut receiver, "/all", &all);
    let made = house.make_two_tubs();
    let first = hold(&house.owner, &made.milk, "a smell");
    let release = format!("/v1/holds/{first}/release");
    house.owner.post(&release, json!({"reason": "it was the drain"})).expect(201).done();
    let recall = json!({"kind": "real", "class": 1, "hazard": "listeria",
        "seeds": [{"by": "supplier_lots", "supplier": "dairy", "codes": ["24-118"]}]});
    let recall = house.owner.post("/v1/recalls", recall).expect(201).json["recall"].clone();
    let mut told: Vec<Value> = (0..3).map(|_| receiver.request()).collect();
    // Another 300 g of it arrive: four lots instead of three.
    house.receive("pistachio-paste", "24-118", 300);
    told.push(receiver.request());
    let ending = json!({"name": "Paola", "reason": "another lot was meant"});
    house.owner.post(&format!("/v1/recalls/{recall}/withdrawal"), ending).expect(201).done();
    told.push(receiver.request());

    let types: Vec<_> = told.iter().map(|one| one["body"]["type"].as_str().expect("a type")).collect();
    assert_eq!(types, ["hold.placed", "hold.released", "recall.begun", "recall.reach_changed", "recall.withdrawn"]);
    for one in &told {
        assert_eq!(one["holds"], json!([true]), "its signature holds: {one}");
        assert_eq!((&one["signatures"], &one["content_type"]), (&json!(1), &json!("application/json")));
    }
    assert_eq!(told[0]["body"]["data"]["lot"], made.milk.as_str());
    assert_eq!(told[2]["body"]["data"]["reached_lots"], 3);
    let reach = &told[3]["body"]["data"];
    assert_eq!((&reach["reached_lots"], &reach["reached_before"]), (&json!(4), &json!(3)));
    assert!(receiver.is_quiet(Duration::from_millis(500)), "each once");
    let attempts = attempts(&house.owner, "all");
    assert!(attempts.iter().all(|attempt| attempt["delivered"] == true && attempt["status"] == 204), "{attempts:?}");
    let ids: Vec<_> = attempts.iter().rev().map(|attempt| &attempt["message_id"]).collect();
    assert_eq!(ids, told.iter().map(|one| &one["id"]).collect::<Vec<_>>());
}

/// The other side is closed, then away, then back; it sends elsewhere, which is not followed.
fn what_was_not_taken_arrives_again(backend: Backend) {
    let house = open(backend);
    let mut receiver = Receiver::start();
    let secret = register(&house.owner, &mut receiver, "/shy", &["hold.placed"]);
    register(&house.owner, &mut receiver, "/moved", &["hold.placed"]);
    let elsewhere = receiver.url("/elsewhere");
    receiver.answer("/shy", json!({"status": 503, "say": format!("closed until seven {}", "!".repeat(5000))}));
    receiver.answer("/moved", json!({"status": 307, "location": elsewhere}));
    let milk = house.receive("milk", "M-1", 1000);
    hold(&house.owner, &milk, "first");
    hold(&house.owner, &milk, "second");
    let both = [receiver.request(), receiver.request()];
    assert!(both.iter().all(|one| one["body"]["data"]["reason"] == "first" && one["path"] != "/elsewhere"), "{both:?}");
    until("both are written down", || ["shy", "moved"].iter().all(|code| attempts(&house.owner, code).len() == 1));
    let shy = &attempts(&house.owner, "shy")[0];
    assert_eq!((&shy["status"], &shy["delivered"], &shy["number"]), (&json!(503), &json!(false), &json!(1)));
    let said = shy["said"].as_str().expect("text");
    assert!(said.starts_with("closed until seven !!!") && said.chars().count() == 200, "{said}");
    let moved = &attempts(&house.owner, "moved")[0];
    assert_eq!((&moved["status"], &moved["delivered"]), (&json!(307), &json!(false)), "a redirect is not followed");
    house.owner.post("/v1/webhooks/moved/stop", json!({"reason": "it has moved"})).expect(201).done();

    // Away: nobody listens. It comes back before the second attempt is due, or after; the third would be due in five minutes.
    let port = receiver.port;
    drop(receiver);
    let mut receiver = Receiver::start_on(port, &[]);
    receiver.answer("/shy", json!({"secrets": [secret]}));
    let told = [receiver.request(), receiver.request()];
    let reasons: Vec<_> = told.iter().map(|one| &one["body"]["data"]["reason"]).collect();
    assert_eq!(reasons, ["first", "second"], "in order");
    assert_eq!(told[0]["id"], both.iter().find(|one| one["path"] == "/shy").expect("it came")["id"], "the same event");
    assert!(told.iter().all(|one| one["holds"] == json!([true])), "signed anew: {told:?}");
}

/// The first wait is 5 s, half a second more or less. One asks for 9 s, one for a date 12 s ahead, one for a month, one for nothing.
fn who_asks_for_time_is_given_it(backend: Backend) {
    let house = open(backend);
    let mut receiver = Receiver::start();
    let ways =
        [("/soon", json!("9")), ("/date", json!("date+12")), ("/month", json!("2592000")), ("/usual", json!("soon"))];
    for (path, asked) in &ways {
        register(&house.owner, &mut receiver, path, &["hold.placed"]);
        receiver.answer(path, json!({"status": 503, "retry_after": asked}));
    }
    let milk = house.receive("milk", "M-1", 1000);
    let began = Instant::now();
    hold(&house.owner, &milk, "a smell");
    let first: Vec<Value> = ways.iter().map(|_| receiver.request()).collect();
    assert!(first.iter().all(|one| one["status"] == 503), "{first:?}");
    let wait = |code: &str| attempts(&house.owner, code)[0]["wait_ms"].as_i64().expect("it is sent again");
    until("all is written down", || ways.iter().all(|(path, _)| attempts(&house.owner, &path[1..]).len() == 1));
    let waits = ["soon", "date", "month", "usual"].map(wait);
    let within = [9000..=9500, 10_500..=12_500, 86_400_000..=86_400_500, 4500..=5500];
    for (wait, within) in waits.iter().zip(within) {
        assert!(within.contains(wait), "{waits:?}");
    }
    // A date is of whole seconds, and so may be a second nearer.
    let again: Vec<(String, Duration)> =
        (0..3).map(|_| (receiver.request()["path"].as_str().expect("a path").to_owned(), began.elapsed())).collect();
    let paths: Vec<&str> = again.iter().map(|(path, _)| path.as_str()).collect();
    assert_eq!(paths, ["/usual", "/soon", "/date"]);
    let least = [4.5, 9.0, 10.5].map(Duration::from_secs_f64);
    assert!(again.iter().zip(least).all(|((_, after), least)| *after >= least), "{again:?}");
    let shown = house.owner.get("/v1/webhooks/month").expect(200).json;
    assert!(shown["next_attempt_at"].is_string(), "{shown}");
}

fn a_killed_server_goes_on_where_it_was(backend: Backend) {
    let mut house = open(backend);
    let mut receiver = Receiver::start();
    register(&house.owner, &mut receiver, "/screen", &["hold.placed"]);
    let milk = house.receive("milk", "M-1", 1000);
    hold(&house.owner, &milk, "taken");
    receiver.request();
    until("it is written down", || attempts(&house.owner, "screen").len() == 1);
    // Killed while the other side still thinks about it.
    receiver.answer("/screen", json!({"delay": 3}));
    hold(&house.owner, &milk, "on its way");
    hold(&house.owner, &milk, "waiting");
    let on_its_way = receiver.request();
    assert_eq!(on_its_way["body"]["data"]["reason"], "on its way");
    house.world.server.kill9();
    receiver.answer("/screen", json!({"delay": 0}));
    house.world.server.restart();
    let owner = house.owner.at(house.world.server.base());
    let again = receiver.request();
    assert_eq!(again["id"], on_its_way["id"], "at least once, under the same id");
    assert_eq!(receiver.request()["body"]["data"]["reason"], "waiting");
    assert!(receiver.is_quiet(Duration::from_millis(500)));
    until("all is written down", || attempts(&owner, "screen").len() == 3);
}

fn who_is_slow_delays_nobody_else(backend: Backend) {
    let house = open(backend);
    let mut receiver = Receiver::start();
    register(&house.owner, &mut receiver, "/slow", &["hold.placed"]);
    register(&house.owner, &mut receiver, "/quick", &["hold.placed"]);
    receiver.answer("/slow", json!({"delay": 60}));
    let milk = house.receive("milk", "M-1", 1000);
    for number in 0..5 {
        hold(&house.owner, &milk, &number.to_string());
    }
    let told: Vec<_> = (0..6).map(|_| receiver.request()).collect();
    let quick: Vec<_> =
        told.iter().filter(|one| one["path"] == "/quick").map(|one| &one["body"]["data"]["reason"]).collect();
    assert_eq!(quick, ["0", "1", "2", "3", "4"], "while the slow one has not answered its first");
    // It is given up after 15 seconds.
    until("the slow one is given up", || !attempts(&house.owner, "slow").is_empty());
    let slow = &attempts(&house.owner, "slow")[0];
    assert_eq!((&slow["status"], &slow["said"]), (&Value::Null, &json!("no answer within 15 seconds")));
}

#[test]
fn of_two_servers_one_sends() {
    let mut house = open(Backend::Postgres);
    let mut receiver = Receiver::start();
    let other = TestServer::start_with(&house.world.database, INSIDE);
    let there = house.owner.at(other.base());
    register(&there, &mut receiver, "/screen", &["hold.placed"]);
    let milk = house.receive("milk", "M-1", 1000);
    let reasons: Vec<String> = (0..20).map(|number| number.to_string()).collect();
    for (number, reason) in reasons.iter().enumerate() {
        hold(if number % 2 == 0 { &house.owner } else { &there }, &milk, reason);
    }
    for reason in &reasons {
        let told = receiver.request();
        assert_eq!((&told["body"]["data"]["reason"], &told["holds"]), (&json!(reason), &json!([true])));
    }
    assert!(receiver.is_quiet(Duration::from_secs(1)), "each once");
    until("all is written down", || attempts(&there, "screen").len() == 20);
    // Whichever sent, the other takes over.
    house.world.server.kill9();
    hold(&there, &milk, "after the first is gone");
    assert_eq!(receiver.request()["body"]["data"]["reason"], "after the first is gone");
    house.world.server.restart();
    drop(other);
    hold(&house.owner.at(house.world.server.base()), &milk, "after the second is gone");
    assert_eq!(receiver.request()["body"]["data"]["reason"], "after the second is gone");
}

fn both_secrets_sign_while_one_follows_the_other(backend: Backend) {
    let house = open(backend);
    let mut receiver = Receiver::start();
    let first = register(&house.owner, &mut receiver, "/screen", &["hold.placed"]);
    let test = || house.owner.post("/v1/webhooks/screen/tests", json!({})).expect(201).json;
    let rotate = |at_once: bool| {
        let made = house.owner.post("/v1/webhooks/screen/secrets", json!({"at_once": at_once})).expect(201);
        made.json["secret"].as_str().expect("a secret").to_owned()
    };
    let second = rotate(false);
    receiver.answer("/screen", json!({"secrets": [first, second]}));
    let asked = test();
    let told = receiver.request();
    assert_eq!((&told["id"], &told["body"]["type"]), (&asked["message_id"], &json!("test")));
    assert_eq!((&told["signatures"], &told["holds"]), (&json!(2), &json!([true, true])));
    let third = rotate(true);
    receiver.answer("/screen", json!({"secrets": [first, second, third]}));
    test();
    let told = receiver.request();
    assert_eq!((&told["signatures"], &told["holds"]), (&json!(1), &json!([false, false, true])));
    receiver.answer("/screen", json!({"status": 410}));
    test();
    receiver.request();
    until("three tests", || attempts(&house.owner, "screen").len() == 3);
    assert_eq!(house.owner.get("/v1/webhooks/screen").expect(200).json["active"], true, "a test stops nothing");
    let milk = house.receive("milk", "M-1", 1000);
    hold(&house.owner, &milk, "a smell");
    receiver.request();
    until("it is stopped", || house.owner.get("/v1/webhooks/screen").expect(200).json["active"] == false);
}

fn a_server_stops_while_somebody_is_slow(backend: Backend) {
    let mut house = open(backend);
    let mut receiver = Receiver::start();
    register(&house.owner, &mut receiver, "/slow", &["hold.placed"]);
    receiver.answer("/slow", json!({"delay": 60}));
    let milk = house.receive("milk", "M-1", 1000);
    hold(&house.owner, &milk, "a smell");
    receiver.request();
    let asked = Instant::now();
    assert!(house.world.server.stop().success());
    assert!(asked.elapsed() < Duration::from_secs(10), "it took {:?}", asked.elapsed());
}

fn a_secret_is_nowhere_but_in_its_answer(backend: Backend) {
    let house = open(backend);
    let mut receiver = Receiver::start();
    let secret = register(&house.owner, &mut receiver, "/screen", &["hold.placed"]);
    let milk = house.receive("milk", "M-1", 1000);
    hold(&house.owner, &milk, "a smell");
    receiver.request();
    let bare = secret.trim_start_matches("whsec_");
    let log = house.world.server.log().join("\n");
    assert!(!log.contains(bare) && !log.contains("whsec_"), "the log has it");
    let journal = house.owner.get("/v1/journal?limit=200").expect(200).text();
    assert!(journal.contains("create_webhook") && !journal.contains(bare), "the journal has it");
    assert!(!house.owner.get("/v1/webhooks/screen").expect(200).text().contains(bare));
    let key = house.world.database.folder().join("keys/webhooks.key");
    let key = std::fs::read_to_string(key).expect("the key lies with the others");
    assert!(key.trim().len() == 64 && !log.contains(key.trim()));
    // The same request again does nothing, and does not tell the secret again.
    let new = json!({"code": "twice", "name": "Twice", "url": receiver.url("/twice"), "events": ["recall.begun"]});
    house.owner.post_keyed("/v1/webhooks", "twice", &new).expect(201).done();
    house.owner.post_keyed("/v1/webhooks", "twice", &new).refused(409, "/problems/answer-shown-once");
}
