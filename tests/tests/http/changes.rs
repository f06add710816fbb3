//! Following the journal: server-sent events that miss nothing.

use std::io::{BufRead, BufReader, Read, Write};
use std::net::TcpStream;
use std::time::Duration;

use serde_json::{Value, json};
use tubtrail_tests::{Backend, Client, RestHouse, TestServer, on_both, world};

on_both!(
    a_follower_that_is_cut_off_misses_nothing,
    an_event_is_the_entry,
    a_stop_ends_the_stream,
    only_so_many_follow_at_a_time,
    who_may_not_read_the_journal_may_not_follow_it,
    who_may_no_longer_hears_no_more,
);

/// One who follows, over a connection of their own.
struct Stream {
    lines: BufReader<TcpStream>,
}

/// An event as it was sent.
struct Event {
    id: i64,
    operation: String,
    data: Value,
}

impl Stream {
    /// Asks to follow from after an entry, as a browser does when it comes back.
    #[track_caller]
    fn open(client: &Client, base: &str, last: Option<i64>) -> Self {
        let address = base.strip_prefix("http://").expect("an address of ours");
        let mut connection = TcpStream::connect(address).expect("the server listens");
        connection.set_read_timeout(Some(Duration::from_mins(1))).expect("a timeout can be set");
        let token = client.token().expect("signed in");
        let last = last.map_or_else(String::new, |last| format!("Last-Event-ID: {last}\r\n"));
        let asked = format!(
            "GET /v1/changes HTTP/1.1\r\nHost: {address}\r\nAuthorization: Bearer {token}\r\n\
             Accept: text/event-stream\r\nAccept-Encoding: gzip\r\n{last}\r\n"
        );
        connection.write_all(asked.as_bytes()).expect("it can be asked");
        let mut lines = BufReader::new(connection);
        let mut status = String::new();
        lines.read_line(&mut status).expect("it answers");
        assert!(status.starts_with("HTTP/1.1 200"), "{status}");
        Self { lines }
    }

    /// The next event; none at the end of the stream.
    fn next(&mut self) -> Option<Event> {
        let (mut id, mut operation) = (None, None);
        loop {
            let mut line = String::new();
            if self.lines.read_line(&mut line).expect("events come, or the end") == 0 {
                return None;
            }
            // Headers, the lengths of chunks and empty lines stand between.
            if let Some(text) = line.strip_prefix("id: ") {
                id = Some(text.trim().parse().expect("a position"));
            } else if let Some(text) = line.strip_prefix("event: ") {
                operation = Some(text.trim().to_owned());
            } else if let Some(text) = line.strip_prefix("data: ") {
                let data = serde_json::from_str(text).expect("an entry");
                return Some(Event { id: id.expect("first"), operation: operation.expect("second"), data });
            }
        }
    }
}

fn partner(code: &str) -> Value {
    json!({"code": code, "name": code, "supplies": true})
}

fn position(client: &Client) -> i64 {
    client.get("/v1/journal?limit=1").expect(200).json["items"][0]["seq"].as_i64().expect("an entry")
}

/// Four write at the same time, while the follower is cut off after every seventh event and comes back.
fn a_follower_that_is_cut_off_misses_nothing(backend: Backend) {
    let house = RestHouse::open(backend);
    let base = house.world.server.base().to_owned();
    let writers: Vec<_> = (0..4)
        .map(|writer| {
            let owner = house.owner.clone();
            std::thread::spawn(move || {
                for number in 0..15 {
                    owner.post("/v1/partners", partner(&format!("p-{writer}-{number}"))).expect(201).done();
                }
            })
        })
        .collect();
    let mut seen: Vec<i64> = Vec::new();
    let mut created = 0;
    while created < 60 {
        let mut stream = Stream::open(&house.owner, &base, seen.last().copied());
        for _ in 0..7 {
            let event = stream.next().expect("there is more to come");
            created += usize::from(
                event.operation == "create_partner"
                    && event.data["answer"]["code"].as_str().is_some_and(|code| code.starts_with("p-")),
            );
            seen.push(event.id);
            if created == 60 {
                break;
            }
        }
    }
    for writer in writers {
        writer.join().expect("writers do not panic");
    }
    let expected: Vec<i64> = (1..=position(&house.owner)).collect();
    assert_eq!(seen, expected, "every entry once, in order");
}

fn an_event_is_the_entry(backend: Backend) {
    let house = RestHouse::open(backend);
    let mut stream = Stream::open(&house.owner, house.world.server.base(), Some(position(&house.owner)));
    let answer = house.owner.post("/v1/partners", partner("mill")).expect(201);
    let event = stream.next().expect("it comes at once");
    assert_eq!(answer.header("Tubtrail-Entry"), Some(event.id.to_string().as_str()));
    assert_eq!((event.operation.as_str(), event.data["actor"].as_str()), ("create_partner", Some("user:owner")));
    assert_eq!(event.data, house.owner.get("/v1/journal?limit=1").expect(200).json["items"][0]);
    house.owner.request("GET", "/v1/changes").header("Last-Event-ID", "x").send().refused(422, "/problems/invalid");
    let beyond = (event.id + 100).to_string();
    house.owner.request("GET", "/v1/changes").header("Last-Event-ID", &beyond).send().refused(422, "/problems/invalid");
}

fn a_stop_ends_the_stream(backend: Backend) {
    let mut house = RestHouse::open(backend);
    let mut stream = Stream::open(&house.owner, house.world.server.base(), Some(position(&house.owner)));
    let status = house.world.server.stop();
    assert!(status.success(), "nobody was cut off: {status}");
    let mut rest = String::new();
    stream.lines.read_to_string(&mut rest).expect("it ends");
    assert!(rest.ends_with("0\r\n\r\n"), "it ended as a whole answer does: {rest:?}");
}

fn only_so_many_follow_at_a_time(backend: Backend) {
    let house = RestHouse::open(backend);
    let base = house.world.server.base().to_owned();
    let last = position(&house.owner);
    let mut streams: Vec<Stream> = (0..64).map(|_| Stream::open(&house.owner, &base, Some(last))).collect();
    let refused = house.owner.get("/v1/changes");
    refused.refused(429, "/problems/busy");
    assert!(refused.header("Retry-After").is_some());
    house.owner.post("/v1/partners", partner("mill")).expect(201).done();
    for stream in &mut streams {
        assert_eq!(stream.next().expect("all hear of it").id, last + 1);
    }
}

fn who_may_not_read_the_journal_may_not_follow_it(backend: Backend) {
    let house = RestHouse::open(backend);
    for (login, role) in [("kim", json!({"role": "kitchen"})), ("olaf", json!({"role": "owner", "site": "kitchen"}))] {
        let new = json!({"login": login, "name": login, "password": world::PASSWORD, "roles": [role]});
        house.owner.post("/v1/users", new).expect(201).done();
        let client = world::sign_in(&house.world.server, login, world::PASSWORD);
        client.get("/v1/changes").refused(403, "/problems/forbidden");
        client.get("/v1/journal").refused(403, "/problems/forbidden");
    }
    house.world.server.client().get("/v1/changes").refused(401, "/problems/not-signed-in");
}

/// Not even of what ended it; nor does who has become less than it takes.
fn who_may_no_longer_hears_no_more(backend: Backend) {
    let house = RestHouse::open(backend);
    let less = json!([{"role": "inspector", "site": "kitchen"}]);
    let cases = [("olaf", false, json!([{"role": "owner"}])), ("ilse", true, less)];
    for (login, active, becomes) in cases {
        let new = json!({"login": login, "name": login, "password": world::PASSWORD, "roles": [{"role": "owner"}]});
        house.owner.post("/v1/users", new).expect(201).done();
        let client = world::sign_in(&house.world.server, login, world::PASSWORD);
        let last = position(&house.owner);
        let mut stream = Stream::open(&client, house.world.server.base(), Some(last));
        house.owner.post("/v1/partners", partner(&format!("before-{login}"))).expect(201).done();
        assert_eq!(stream.next().expect("they may still").id, last + 1);
        let change = json!({"name": login, "active": active, "roles": becomes, "version": 1});
        house.owner.put(&format!("/v1/users/{login}"), change).expect(200).done();
        house.owner.post("/v1/partners", partner(&format!("after-{login}"))).expect(201).done();
        let began = std::time::Instant::now();
        assert!(stream.next().is_none(), "{login} hears of what came after");
        assert!(began.elapsed().as_secs() < 30, "the stream ends at once, not when its time is over");
    }
}

/// What another server of the same database commits is told too.
#[test]
fn what_another_server_commits_is_told() {
    let house = RestHouse::open(Backend::Postgres);
    let other = TestServer::start(&house.world.database);
    let last = position(&house.owner);
    let mut stream = Stream::open(&house.owner, other.base(), Some(last));
    for number in 1..=3 {
        house.owner.post("/v1/partners", partner(&format!("mill-{number}"))).expect(201).done();
        assert_eq!(stream.next().expect("within a second").id, last + number);
    }
}
