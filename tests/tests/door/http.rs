//! What every answer owes, whoever asks for what.

use diesel::connection::SimpleConnection;
use serde_json::json;
use tubtrail_tests::{Answer, Backend, World, on_both};

on_both!(
    what_cannot_be_read_is_blamed_on_its_place,
    what_is_not_there_is_a_problem_too,
    every_answer_carries_what_it_owes,
    a_retry_gives_the_first_answer,
    who_asks_is_settled_before_what_was_sent,
    the_house_says_how_it_is,
    problems_are_explained,
    a_password_is_never_quoted,
    the_cause_of_a_failure_is_logged_once,
    large_answers_are_compressed_for_who_can_read_them,
);

fn site(code: &str) -> serde_json::Value {
    json!({"code": code, "name": code, "kind": "shop", "time_zone": "Europe/Lisbon"})
}

fn what_cannot_be_read_is_blamed_on_its_place(backend: Backend) {
    let world = World::open(backend);
    let send =
        |content_type: &str, body: &str| world.owner.request("POST", "/v1/sites").body(content_type, body).send();
    let json = "application/json";
    send(json, "{").refused(400, "/problems/malformed");
    send(json, "").refused(400, "/problems/malformed");
    send(json, "{} {}").refused(422, "/problems/invalid");
    send("text/plain", &site("x").to_string()).refused(415, "/problems/wrong-content-type");
    send("application/json; charset=utf-8", &site("x").to_string()).expect(201).done();
    let unknown = send(json, r#"{"code":"a","name":"a","kind":"shop","time_zone":"UTC","colour":"red"}"#);
    assert_eq!(unknown.refused(422, "/problems/invalid").field(), Some("colour"));
    let wrong = send(json, r#"{"code":"a","name":"a","kind":"palace","time_zone":"UTC"}"#);
    assert_eq!(wrong.refused(422, "/problems/invalid").field(), Some("kind"));
    let key = world.owner.request("POST", "/v1/sites").key("two words").json(site("y")).send();
    assert_eq!(key.refused(400, "/problems/malformed").field(), Some("Idempotency-Key"));
    let query = world.owner.get("/v1/sites?limit=many");
    assert_eq!(query.refused(422, "/problems/invalid").field(), Some("limit"));
    world.owner.get("/v1/sites?colour=red").refused(422, "/problems/invalid");

    let large = format!("{{\"name\":\"{}\"}}", "x".repeat(1024 * 1024));
    let answer = world.owner.request("POST", "/v1/sites").body(json, large.clone()).send();
    answer.refused(413, "/problems/too-large");
    let answer = world.server.client().request("POST", "/v1/sessions").body(json, large).send();
    answer.refused(413, "/problems/too-large");
}

fn what_is_not_there_is_a_problem_too(backend: Backend) {
    let world = World::open(backend);
    for path in ["/v1", "/v1/nothing", "/v1/sites/", "/v1/sites/a/b/c", "/problems/nothing", "/v1/deliveries/x"] {
        world.owner.get(path).refused(404, "/problems/not-found");
    }
    let answer = world.owner.request("DELETE", "/v1/sites").send();
    answer.refused(405, "/problems/wrong-method");
    let mut allowed: Vec<_> = answer.header("Allow").expect("what is allowed").split(", ").collect();
    allowed.sort_unstable();
    assert_eq!(allowed, ["GET", "HEAD", "POST"]);
    // A path that is named counts before one that it would be a value of: this is no batch.
    let answer = world.owner.request("GET", "/v1/batches/write-up").send();
    answer.refused(405, "/problems/wrong-method");
    assert_eq!(answer.header("Allow"), Some("POST"));
    let head = world.owner.request("HEAD", "/v1/sites").send().expect(200);
    assert!(head.body.is_empty() && head.header("Content-Length").is_some());
    world.server.client().request("HEAD", "/v1/sites").send().expect(401).done();
}

/// RFC 9110 and the OWASP REST Security Cheat Sheet, from memory.
fn every_answer_carries_what_it_owes(backend: Backend) {
    let world = World::open(backend);
    let asked = |path: &str| world.owner.get(path);
    let answers = ["/v1/sites", "/v1/sites/none", "/nothing", "/healthz", "/metrics", "/openapi.json", "/problems"];
    let mut ids = std::collections::HashSet::new();
    for answer in answers.map(asked).into_iter().chain([world.server.client().get("/v1/sites")]) {
        assert_eq!(answer.header("X-Content-Type-Options"), Some("nosniff"));
        assert_eq!(answer.header("Referrer-Policy"), Some("no-referrer"));
        assert_eq!(answer.header("Cache-Control"), Some("no-store"));
        assert_eq!(answer.header("Content-Security-Policy"), Some("default-src 'none'; frame-ancestors 'none'"));
        let id = answer.header("X-Request-Id").expect("an id").to_owned();
        assert!(ids.insert(id), "an id of its own");
    }
    let refused = asked("/v1/sites/none");
    logged(&world, &refused);
    let token = world.owner.token().expect("a token");
    assert!(!world.server.log().iter().any(|line| line.contains(token)), "the log holds no token");
}

/// The lines of the log that name an answer's request, once it is done.
fn logged(world: &World, answer: &Answer) -> Vec<String> {
    let id = answer.header("X-Request-Id").expect("an id");
    let done = format!("\"status\":{}", answer.status);
    let began = std::time::Instant::now();
    loop {
        let lines: Vec<_> = world.server.log().into_iter().filter(|line| line.contains(id)).collect();
        if lines.iter().any(|line| line.contains(&done)) {
            return lines;
        }
        assert!(began.elapsed().as_secs() < 30, "the log names the request by its id");
        std::thread::sleep(std::time::Duration::from_millis(20));
    }
}

/// One of digits alone is easily sent as a number.
fn a_password_is_never_quoted(backend: Backend) {
    let world = World::open(backend);
    let roles = json!([{"role": "owner"}]);
    let new = json!({"login": "ines", "name": "Ines", "password": 271_828_182_845_u64, "roles": roles});
    let next = json!({"name": "Olga", "password": 271_828_182_845_u64, "roles": roles, "version": 1});
    let sign_in = json!({"login": "owner", "password": 271_828_182_845_u64});
    let nobody = world.server.client();
    let answers = [
        nobody.request("POST", "/v1/sessions").json(sign_in).send(),
        world.owner.post("/v1/users", new),
        world.owner.put("/v1/users/owner", next),
    ];
    for answer in answers {
        assert_eq!(answer.refused(422, "/problems/invalid").field(), Some("password"));
        for text in logged(&world, &answer).iter().chain([&answer.text()]) {
            assert!(!text.contains("271828182845"), "{text}");
        }
    }
}

fn the_cause_of_a_failure_is_logged_once(backend: Backend) {
    let world = World::open(backend);
    world.database.spoiled();
    let renamed = "ALTER TABLE devices RENAME TO devices_no_more";
    world.database.connect().batch_execute(renamed).expect("the owner of a database may do anything");
    let answer = world.owner.get("/v1/devices");
    answer.refused(500, "/problems/internal");
    assert!(!answer.text().contains("devices"), "{}", answer.text());
    let lines = logged(&world, &answer);
    let cause = match backend {
        Backend::Sqlite => "no such table: devices",
        Backend::Postgres => "relation \\\"devices\\\" does not exist",
    };
    let times: usize = lines.iter().map(|line| line.matches(cause).count()).sum();
    assert_eq!(times, 1, "{lines:#?}");
}

fn a_retry_gives_the_first_answer(backend: Backend) {
    let world = World::open(backend);
    let entry = |answer: &Answer| answer.header("Tubtrail-Entry").expect("the journal entry").to_owned();
    let first = world.owner.post_keyed("/v1/sites", "key-1", site("harbour-shop")).expect(201);
    assert_eq!(first.header("Idempotent-Replayed"), None);
    let again = world.owner.post_keyed("/v1/sites", "key-1", site("harbour-shop")).expect(201);
    assert_eq!(again.header("Idempotent-Replayed"), Some("true"));
    assert_eq!((&again.json, entry(&again)), (&first.json, entry(&first)));
    // The key as a string of RFC 8941, as the draft of the header asks.
    let quoted = world.owner.post_keyed("/v1/sites", "\"key-1\"", site("harbour-shop")).expect(201);
    assert_eq!(quoted.header("Idempotent-Replayed"), Some("true"));
    world.owner.post_keyed("/v1/sites", "key-1", site("market-shop")).refused(422, "/problems/key-reused");
    world.owner.post_keyed("/v1/sites", "key-2", site("harbour-shop")).refused(409, "/problems/code-taken");
    let sites = world.owner.get("/v1/sites").expect(200);
    assert_eq!(sites.json["items"].as_array().map(Vec::len), Some(1));
    // What was refused is not kept: the same key may try again.
    world.owner.post("/v1/sites", site("market-shop")).expect(201).done();
    world.owner.post_keyed("/v1/sites", "key-2", site("harbour-shop")).refused(409, "/problems/code-taken");
}

fn who_asks_is_settled_before_what_was_sent(backend: Backend) {
    let world = World::open(backend);
    let stranger = world.server.client();
    for path in ["/v1/sites", "/v1/users"] {
        let broken = stranger.request("POST", path).body("application/json", "{").send();
        broken.refused(401, "/problems/not-signed-in");
        let large = stranger.request("POST", path).body("application/json", vec![b' '; 2 * 1024 * 1024]).try_send();
        // The answer may come before all of it was sent, and the connection be cut then.
        if let Ok(large) = large {
            large.refused(401, "/problems/not-signed-in");
        }
    }
}

fn the_house_says_how_it_is(backend: Backend) {
    let world = World::open(backend);
    let anybody = world.server.client();
    assert_eq!(anybody.get("/healthz").expect(200).json, json!({"status": "up"}));
    let before = anybody.get("/readyz").expect(200);
    assert_eq!(before.json["status"], "ready");
    let made = world.owner.post("/v1/sites", site("harbour-shop")).expect(201);
    let entry: i64 = made.header("Tubtrail-Entry").and_then(|entry| entry.parse().ok()).expect("an entry");
    assert_eq!(anybody.get("/readyz").expect(200).json["position"], entry);
    let metrics = anybody.get("/metrics").expect(200);
    assert_eq!(metrics.header("Content-Type"), Some("text/plain; version=0.0.4; charset=utf-8"));
    let text = metrics.text();
    for line in [
        "tubtrail_requests_total{operation=\"create_site\",status=\"201\"} 1".to_owned(),
        "tubtrail_request_seconds_count{operation=\"create_site\"} 1".into(),
        format!("tubtrail_journal_position {entry}"),
        "# TYPE tubtrail_commands_per_commit histogram".into(),
    ] {
        assert!(text.lines().any(|have| have == line), "{line} is not in\n{text}");
    }
    let browser = anybody.get("/api/").expect(200);
    assert!(browser.header("Content-Security-Policy").is_some_and(|policy| policy.contains("script-src 'self';")));
    assert!(!browser.text().contains("://"), "the API browser loads nothing from elsewhere");
    anybody.get("/api/swagger-ui-bundle.js").expect(200).done();
    assert_eq!(anybody.get("/api").header("Location"), Some("/api/"));
}

fn problems_are_explained(backend: Backend) {
    let world = World::open(backend);
    let anybody = world.server.client();
    let list = anybody.get("/problems").expect(200).text();
    assert!(list.lines().count() > 40, "{list}");
    for line in list.lines() {
        let (status, rest) = line.split_once("  ").expect("a status and a word");
        let (name, title) = rest.split_once("  ").expect("a word and a title");
        let page = anybody.get(&format!("/problems/{name}")).expect(200).text();
        assert!(page.starts_with(&format!("{name}\n\n{title}\n")) && page.contains(status), "{page}");
    }
}

fn large_answers_are_compressed_for_who_can_read_them(backend: Backend) {
    let world = World::open(backend);
    let plain = world.owner.request("GET", "/openapi.json").header("Accept-Encoding", "identity").send().expect(200);
    assert_eq!(plain.header("Content-Encoding"), None);
    let small = world.owner.request("GET", "/openapi.json").header("Accept-Encoding", "gzip").send().expect(200);
    assert_eq!(small.header("Content-Encoding"), Some("gzip"));
    assert!(small.body.len() < plain.body.len() / 4, "{} of {}", small.body.len(), plain.body.len());
    assert_eq!(small.body[..2], [0x1f, 0x8b], "RFC 1952 begins a gzip file so");
}
