//! Where nothing is sent to, whoever asks for it.

use std::net::TcpListener;
use std::time::{Duration, Instant};

use serde_json::json;
use tubtrail_tests::{Backend, RestHouse, TestServer, on_both};

use super::deliveries::{open, register};
use super::receiver::Receiver;

on_both!(addresses_inside_are_refused_when_they_are_registered, and_when_something_is_sent);

/// One of each sort, and names and spellings for this machine.
const REFUSED: &[&str] = &[
    "127.0.0.1",
    "127.1",
    "0x7f000001",
    "localhost",
    "10.1.2.3",
    "172.20.0.1",
    "192.168.178.1",
    "169.254.169.254",
    "100.100.0.1",
    "224.0.0.251",
    "255.255.255.255",
    "0.0.0.0",
    "192.0.2.1",
    "198.18.0.1",
    "240.0.0.1",
    "[::1]",
    "[::]",
    "[fe80::1]",
    "[fd00::1]",
    "[ff02::fb]",
    "[::ffff:127.0.0.1]",
    "[::ffff:8.8.8.8]",
    "[64:ff9b::7f00:1]",
    "[2002:7f00:1::]",
    "[2001:db8::1]",
];

fn addresses_inside_are_refused_when_they_are_registered(backend: Backend) {
    let house = RestHouse::open(backend);
    let new = |url: &str| json!({"code": "screen", "name": "Screen", "url": url, "events": ["hold.placed"]});
    for host in REFUSED {
        let answer = house.owner.post("/v1/webhooks", new(&format!("https://{host}/told")));
        let problem = answer.refused(422, "/problems/address-refused");
        assert_eq!(problem.field(), Some("url"), "{host}");
    }
    for url in ["http://198.20.0.1/", "https://a:b@198.20.0.1/", "file:///etc/passwd", "gopher://198.20.0.1/"] {
        house.owner.post("/v1/webhooks", new(url)).refused(422, "/problems/invalid");
    }
    let listed = house.owner.get("/v1/webhooks").expect(200);
    assert_eq!(listed.json["items"], json!([]));
}

/// What was registered while the house allowed it is not sent to once it does not.
fn and_when_something_is_sent(backend: Backend) {
    let mut house = open(backend);
    let listener = TcpListener::bind("127.0.0.1:0").expect("a port");
    let port = listener.local_addr().expect("it is bound").port();
    let hosts = ["127.0.0.1", "localhost", "10.1.2.3", "169.254.169.254", "[::ffff:127.0.0.1]", "100.100.0.1"];
    for (number, host) in hosts.iter().enumerate() {
        let url = format!("https://{host}:{port}/told");
        let new = json!({"code": format!("inside-{number}"), "name": *host, "url": url, "events": ["hold.placed"]});
        house.owner.post("/v1/webhooks", new).expect(201).done();
    }
    house.world.server.stop();
    let server = TestServer::start(&house.world.database);
    let owner = house.owner.at(server.base());
    for number in 0..hosts.len() {
        owner.post(&format!("/v1/webhooks/inside-{number}/tests"), json!({})).expect(201).done();
    }
    for (number, host) in hosts.iter().enumerate() {
        let began = Instant::now();
        let attempt = loop {
            let page = owner.get(&format!("/v1/webhooks/inside-{number}/attempts")).expect(200);
            if let Some(attempt) = page.json["items"].as_array().and_then(|items| items.first()) {
                break attempt.clone();
            }
            assert!(began.elapsed() < Duration::from_secs(20), "{host}: nothing was tried");
            std::thread::sleep(Duration::from_millis(20));
        };
        let said = attempt["said"].as_str().expect("text");
        assert!(attempt["status"].is_null() && said.contains("not to be sent to"), "{host}: {attempt}");
    }
    listener.set_nonblocking(true).expect("it can be asked");
    assert!(listener.accept().is_err(), "nobody so much as connected");
}

#[test]
fn http_stays_refused_where_it_was_allowed_before() {
    let mut house = open(Backend::Sqlite);
    let mut receiver = Receiver::start();
    register(&house.owner, &mut receiver, "/screen", &["hold.placed"]);
    house.world.server.stop();
    let server = TestServer::start(&house.world.database);
    let owner = house.owner.at(server.base());
    owner.post("/v1/webhooks/screen/tests", json!({})).expect(201).done();
    assert!(receiver.is_quiet(Duration::from_secs(2)));
}
