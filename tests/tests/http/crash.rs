//! The process is killed while clients write: what was acknowledged is there, nothing is there by half, and retrying is
//! harmless.

use std::sync::Mutex;
use std::sync::atomic::{AtomicUsize, Ordering};
use std::time::Duration;

use serde_json::{Value, json};
use tubtrail_tests::rest::{delivery, grams, text};
use tubtrail_tests::{Backend, Client, Dice, RestHouse, on_both};

on_both!(nothing_acknowledged_is_lost);

const CLIENTS: usize = 8;
const ROUNDS: u64 = 3;

/// A command that was sent: its key, its body, and the answer if one came.
struct Sent {
    key: String,
    body: Value,
    answer: Option<Value>,
}

fn nothing_acknowledged_is_lost(backend: Backend) {
    let mut house = RestHouse::open(backend);
    let mut dice = Dice::roll();
    let mut all = Vec::new();
    for round in 0..ROUNDS {
        let sent = write_until_killed(&mut house, round, Duration::from_millis(150 + dice.u64(..350)));
        assert!(sent.iter().any(|command| command.answer.is_some()), "some commands were acknowledged before the kill");
        house.world.server.restart();
        house.owner = house.owner.at(house.world.server.base());
        house.world.database.check();
        for command in &sent {
            retry(&house.owner, command);
        }
        all.extend(sent);
    }
    let documents: usize = all.len();
    assert_eq!(count_deliveries(&house.owner), documents, "every key is one delivery, no more and no less");
}

fn write_until_killed(house: &mut RestHouse, round: u64, after: Duration) -> Vec<Sent> {
    let sent = Mutex::new(Vec::new());
    let number = AtomicUsize::new(0);
    let client = house.owner.clone();
    std::thread::scope(|scope| {
        for _ in 0..CLIENTS {
            scope.spawn(|| {
                loop {
                    let key = format!("crash-{round}-{}", number.fetch_add(1, Ordering::Relaxed));
                    let mut body = delivery("milk", &key, 1000);
                    body["lines"].as_array_mut().expect("lines").push(json!({"item": "sugar",
                        "supplier_lot_code": key, "quantity": grams(500)}));
                    let reply = client.request("POST", "/v1/deliveries").key(&key).json(&body).try_send();
                    let answer = match reply {
                        Ok(answer) if answer.status == 201 => Some(answer.json),
                        Ok(answer) => panic!("{}: {}", answer.status, answer.text()),
                        Err(_) => None,
                    };
                    let killed = answer.is_none();
                    sent.lock().expect("no client panics").push(Sent { key, body, answer });
                    if killed {
                        break;
                    }
                }
            });
        }
        std::thread::sleep(after);
        house.world.server.kill9();
    });
    sent.into_inner().expect("no client panics")
}

/// The same key and body again: the first answer, where there was one; done now, where there was none.
fn retry(client: &Client, command: &Sent) {
    let answer = client.post_keyed("/v1/deliveries", &command.key, &command.body).expect(201);
    if let Some(first) = &command.answer {
        assert_eq!(answer.header("Idempotent-Replayed"), Some("true"), "{} was acknowledged", command.key);
        assert_eq!(&answer.json, first);
    }
    let lines = answer.json["lines"].as_array().expect("lines");
    assert_eq!(lines.len(), 2, "a delivery is whole");
    for line in lines {
        let lot = client.get(&format!("/v1/lots/{}", text(&line["lot"]))).expect(200);
        assert_eq!(lot.json["places"][0]["grams"], line["grams"], "{}", lot.text());
    }
}

fn count_deliveries(client: &Client) -> usize {
    let mut after = String::new();
    let mut count = 0;
    loop {
        let page = client.get(&format!("/v1/deliveries?limit=500&after={after}")).expect(200);
        count += page.json["items"].as_array().expect("a page has items").len();
        match page.json["next"].as_str() {
            Some(next) => next.clone_into(&mut after),
            None => return count,
        }
    }
}
