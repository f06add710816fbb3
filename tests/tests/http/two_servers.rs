//! Two processes on one PostgreSQL: what one commits, the other answers with at once.

use serde_json::json;
use tubtrail_tests::rest::grams;
use tubtrail_tests::{Backend, RestHouse, TestServer};

#[test]
fn what_one_commits_the_other_answers_with() {
    let house = RestHouse::open(Backend::Postgres);
    let other = TestServer::start(&house.world.database);
    let there = house.owner.at(other.base());
    let made = house.make_two_tubs();
    for round in 0..20 {
        let (writes, reads) = if round % 2 == 0 { (&house.owner, &there) } else { (&there, &house.owner) };
        let lot = writes.post("/v1/deliveries", tubtrail_tests::rest::delivery("milk", &format!("R-{round}"), 700));
        let lot = tubtrail_tests::rest::text(&lot.expect(201).json["lines"][0]["lot"]);
        let body = json!({"recipe": "white-base", "site": "kitchen", "uses": [{"lot": lot, "quantity": grams(700)}],
            "outputs": [{"kind": "base", "quantity": grams(690)}]});
        let base = writes.post("/v1/batches/write-up", body).expect(201);
        let base = tubtrail_tests::rest::text(&base.json["outputs"][0]["lot"]);
        let trace = reads.get(&format!("/v1/lots/{lot}/trace?direction=forward")).expect(200);
        assert!(trace.text().contains(&base), "round {round}: {base} is missing in {}", trace.text());
    }
    let paste = &made.paste;
    let trace = there.get(&format!("/v1/lots/{paste}/trace?direction=forward")).expect(200);
    assert!(made.tubs.iter().all(|tub| trace.text().contains(tub)), "{}", trace.text());
}

#[test]
fn two_processes_never_use_one_kilogram_twice() {
    let house = RestHouse::open(Backend::Postgres);
    let other = TestServer::start(&house.world.database);
    let there = house.owner.at(other.base());
    let milk = house.receive("milk", "M-1", 10_000);
    let batch = house.owner.post("/v1/batches", json!({"recipe": "white-base", "site": "kitchen"})).expect(201);
    let path = format!("/v1/batches/{}/uses", batch.json["id"]);
    let body = json!({"uses": [{"lot": milk, "quantity": grams(1000)}]});
    let used: usize = std::thread::scope(|scope| {
        let client = |number: usize| {
            let client = if number.is_multiple_of(2) { &house.owner } else { &there };
            let (path, body) = (&path, &body);
            scope.spawn(move || {
                let mine = (0..4).filter(|_| {
                    let answer = client.post(path, body);
                    if answer.status == 409 {
                        answer.refused(409, "/problems/not-enough");
                        return false;
                    }
                    assert!(answer.status < 300, "{}", answer.text());
                    true
                });
                mine.count()
            })
        };
        let clients: Vec<_> = (0..8).map(client).collect();
        clients.into_iter().map(|client| client.join().expect("a client does not panic")).sum()
    });
    assert_eq!(used, 10, "ten kilograms, one each, asked for 32 times");
}
