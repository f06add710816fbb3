//! Many clients at once.

use std::sync::Barrier;

use serde_json::json;
use tubtrail_tests::rest::grams;
use tubtrail_tests::{Backend, RestHouse, on_both};

on_both!(the_last_kilogram_is_used_once, the_same_key_from_many_clients_is_one_command);

const CLIENTS: usize = 16;

/// Sixteen clients each want the last kilogram, at once: one gets it, fifteen are told that there is not enough.
fn the_last_kilogram_is_used_once(backend: Backend) {
    let house = RestHouse::open(backend);
    let milk = house.receive("milk", "M-1", 1000);
    let batch = house.owner.post("/v1/batches", json!({"recipe": "white-base", "site": "kitchen"})).expect(201);
    let path = format!("/v1/batches/{}/uses", batch.json["id"]);
    let body = json!({"uses": [{"lot": milk, "quantity": grams(1000)}]});
    let answers = at_once(|_| house.owner.post(&path, &body));
    let used = answers.iter().filter(|answer| (200..300).contains(&answer.status)).count();
    assert_eq!(used, 1, "{:?}", answers.iter().map(|answer| answer.status).collect::<Vec<_>>());
    for answer in answers.iter().filter(|answer| answer.status >= 300) {
        answer.refused(409, "/problems/not-enough");
    }
    let lot = house.owner.get(&format!("/v1/lots/{milk}")).expect(200);
    assert_eq!(lot.json["used_grams"], json!(1000), "{}", lot.text());
}

/// One client's retries race each other: one command is done, and every answer is the same.
fn the_same_key_from_many_clients_is_one_command(backend: Backend) {
    let house = RestHouse::open(backend);
    let body = tubtrail_tests::rest::delivery("milk", "M-1", 1000);
    let answers = at_once(|_| house.owner.post_keyed("/v1/deliveries", "the-one", &body).expect(201));
    let replayed = answers.iter().filter(|answer| answer.header("Idempotent-Replayed") == Some("true")).count();
    assert_eq!(replayed, CLIENTS - 1);
    assert!(answers.iter().all(|answer| answer.json == answers[0].json));
    let lots = house.owner.get("/v1/lots?item=milk").expect(200);
    assert_eq!(lots.json["items"].as_array().map(Vec::len), Some(1));
}

fn at_once<T: Send>(act: impl Fn(usize) -> T + Sync) -> Vec<T> {
    let start = Barrier::new(CLIENTS);
    std::thread::scope(|scope| {
        let one = |client| {
            let (start, act) = (&start, &act);
            scope.spawn(move || {
                start.wait();
                act(client)
            })
        };
        let clients: Vec<_> = (0..CLIENTS).map(one).collect();
        clients.into_iter().map(|client| client.join().expect("a client does not panic")).collect()
    })
}
