//! Coming in, and what a session is worth.

use chrono::{DateTime, Utc};
use serde_json::json;
use tubtrail_tests::world::{PASSWORD, sign_in};
use tubtrail_tests::{Answer, Backend, TestServer, World, on_both};

on_both!(
    a_session_says_who_and_until_when,
    a_wrong_password_and_a_wrong_login_are_told_alike,
    roles_are_those_of_the_moment,
    a_device_comes_in_until_it_is_revoked,
    the_sixth_attempt_has_to_wait,
    what_is_done_on_one_server_holds_on_the_other,
);

fn attempt(world: &World, login: &str, password: &str) -> Answer {
    let credentials = json!({"login": login, "password": password});
    world.server.client().request("POST", "/v1/sessions").json(credentials).send()
}

fn site(code: &str) -> serde_json::Value {
    json!({"code": code, "name": code, "kind": "shop", "time_zone": "Europe/Lisbon"})
}

fn a_session_says_who_and_until_when(backend: Backend) {
    let world = World::open(backend);
    let answer = attempt(&world, "owner", PASSWORD).expect(201);
    assert_eq!(answer.json["user"], json!({"login": "owner", "name": "Olga Owner"}));
    assert_eq!(answer.json["roles"], json!([{"role": "owner"}]));
    let until: DateTime<Utc> = answer.json["expires_at"].as_str().and_then(|at| at.parse().ok()).expect("a time");
    let minutes = (until - Utc::now()).num_minutes();
    assert!((58..=60).contains(&minutes), "an hour, less the time this took: {minutes}");
    assert_eq!(answer.header("Cache-Control"), Some("no-store"));
    let me = world.owner.get("/v1/me").expect(200);
    assert_eq!(me.json, json!({"actor": "user:owner", "name": "Olga Owner", "roles": [{"role": "owner"}]}));
    world.owner.get("/v1/sites").expect(200).done();
}

fn a_wrong_password_and_a_wrong_login_are_told_alike(backend: Backend) {
    let world = World::open(backend);
    let known = attempt(&world, "owner", "not her password");
    let unknown = attempt(&world, "nobody", "not her password");
    known.refused(401, "/problems/wrong-password");
    assert_eq!((known.status, &known.json), (unknown.status, &unknown.json));
    let long = attempt(&world, &"n".repeat(5000), &"p".repeat(100_000));
    assert_eq!((known.status, &known.json), (long.status, &long.json));
}

fn roles_are_those_of_the_moment(backend: Backend) {
    let world = World::open(backend);
    world.owner.post("/v1/sites", site("harbour-shop")).expect(201).done();
    let roles = json!([{"role": "shop", "site": "harbour-shop"}]);
    let new = json!({"login": "ines", "name": "Ines", "password": PASSWORD, "roles": roles});
    let added = world.owner.post("/v1/users", new).expect(201);
    assert_eq!(added.json, json!({"login": "ines", "name": "Ines", "active": true, "roles": roles, "version": 1}));
    let ines = sign_in(&world.server, "ines", PASSWORD);
    ines.post("/v1/sites", site("her-own-shop")).refused(403, "/problems/forbidden");

    let raised = json!({"name": "Ines", "roles": [{"role": "owner"}], "version": 1});
    world.owner.put("/v1/users/ines", raised).expect(200).done();
    ines.post("/v1/sites", site("her-own-shop")).expect(201).done();

    let gone = json!({"name": "Ines", "active": false, "roles": [{"role": "owner"}], "version": 2});
    world.owner.put("/v1/users/ines", gone).expect(200).done();
    ines.get("/v1/me").refused(401, "/problems/session-over");
    attempt(&world, "ines", PASSWORD).refused(401, "/problems/wrong-password");
    let listed = world.owner.get("/v1/users?after=a&limit=1").expect(200);
    assert_eq!((&listed.json["items"][0]["login"], &listed.json["next"]), (&json!("ines"), &json!("ines")));
}

fn a_device_comes_in_until_it_is_revoked(backend: Backend) {
    let world = World::open(backend);
    world.owner.post("/v1/sites", site("harbour-shop")).expect(201).done();
    let new = json!({"code": "till", "name": "Till", "site": "harbour-shop"});
    let created = world.owner.post_keyed("/v1/devices", "key-1", &new).expect(201);
    world.owner.post_keyed("/v1/devices", "key-1", &new).refused(409, "/problems/answer-shown-once");
    let token = created.json["token"].as_str().expect("a token");
    let till = world.server.client().with_token(token);
    let roles = json!([{"role": "device", "site": "harbour-shop"}]);
    assert_eq!(till.get("/v1/me").expect(200).json, json!({"actor": "device:till", "name": "Till", "roles": roles}));
    till.get("/v1/users").refused(403, "/problems/forbidden");
    world.owner.post("/v1/devices/till/revocation", json!({"reason": "Stolen."})).expect(200).done();
    till.get("/v1/me").refused(401, "/problems/not-signed-in");
    let listed = world.owner.get("/v1/devices").expect(200);
    assert_eq!(listed.json["items"][0]["revoked_because"], "Stolen.");
    assert!(!listed.text().contains("token"), "{}", listed.text());
}

fn the_sixth_attempt_has_to_wait(backend: Backend) {
    let world = World::open(backend);
    for _ in 0..5 {
        attempt(&world, "owner", "not her password").refused(401, "/problems/wrong-password");
    }
    let answer = attempt(&world, "owner", PASSWORD);
    answer.refused(429, "/problems/too-many-attempts");
    let wait: u32 = answer.header("Retry-After").and_then(|wait| wait.parse().ok()).expect("how long");
    assert!((1..=30).contains(&wait), "{wait}");
    world.owner.get("/v1/me").expect(200).done();
}

/// Any number of servers serve one PostgreSQL database; on SQLite the same is seen after a restart.
fn what_is_done_on_one_server_holds_on_the_other(backend: Backend) {
    let mut world = World::open(backend);
    let new = json!({"login": "karl", "name": "Karl", "password": PASSWORD, "roles": [{"role": "kitchen"}]});
    world.owner.post("/v1/users", new).expect(201).done();
    let gone = json!({"name": "Karl", "active": false, "roles": [{"role": "kitchen"}], "version": 1});
    match backend {
        Backend::Postgres => {
            let second = TestServer::start(&world.database);
            let karl = sign_in(&world.server, "karl", PASSWORD).at(second.base());
            karl.get("/v1/me").expect(200).done();
            world.owner.put("/v1/users/karl", gone).expect(200).done();
            karl.get("/v1/me").refused(401, "/problems/session-over");
        }
        Backend::Sqlite => {
            let karl = sign_in(&world.server, "karl", PASSWORD);
            karl.get("/v1/me").expect(200).done();
            world.owner.put("/v1/users/karl", gone).expect(200).done();
            world.server.restart();
            karl.at(world.server.base()).get("/v1/me").refused(401, "/problems/session-over");
            world.owner.at(world.server.base()).get("/v1/me").expect(200).done();
        }
    }
}
