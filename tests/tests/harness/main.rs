//! The harness itself, against a program that only pretends.

mod speed;

use std::io::{Read, Write};
use std::net::TcpListener;
use std::os::unix::fs::PermissionsExt;
use std::path::PathBuf;

use diesel::connection::SimpleConnection;
use serde_json::json;
use tubtrail_tests::{Answer, Backend, Client, TestDatabase, TestServer, on_both};

on_both!(databases_are_apart_and_go_away, the_check_sees_a_wrong_balance, two_servers_on_one_database);

fn databases_are_apart_and_go_away(backend: Backend) {
    let database = TestDatabase::new(backend);
    let other = TestDatabase::new(backend);
    database.connect().batch_execute("CREATE TABLE mine (x INTEGER)").unwrap();
    assert!(other.connect().batch_execute("INSERT INTO mine VALUES (1)").is_err());
    let (address, folder) = (database.address(), database.folder().to_owned());
    let held_open = database.connect();
    drop(database);
    assert!(!folder.exists());
    if backend == Backend::Postgres {
        assert!(tubtrail_storage::connection::connect(&address).is_err());
    }
    drop(held_open);
}

fn the_check_sees_a_wrong_balance(backend: Backend) {
    let database = TestDatabase::new(backend);
    drop(database.open());
    database.check();
    let sql = match backend {
        Backend::Sqlite => "PRAGMA foreign_keys = OFF; ",
        Backend::Postgres => "SET session_replication_role = replica; ",
    };
    database.connect().batch_execute(&format!("{sql} INSERT INTO balances VALUES (1, 1, 'open', 5)")).unwrap();
    let found = std::panic::catch_unwind(std::panic::AssertUnwindSafe(|| database.check())).unwrap_err();
    let found = found.downcast_ref::<String>().expect("a panic with a message");
    for part in ["a lot whose balances do not add up", "not the sum of its movements", "lot row 1, site row 1, open"] {
        assert!(found.contains(part), "{found}");
    }
    database.spoiled();
}

/// A shell script in the place of the program.
fn pretender(database: &TestDatabase, script: &str) -> PathBuf {
    let path = database.folder().join("pretender");
    std::fs::write(&path, format!("#!/bin/sh\n{script}\n")).unwrap();
    std::fs::set_permissions(&path, std::fs::Permissions::from_mode(0o755)).unwrap();
    path
}

const SERVES: &str = r#"trap 'echo stopping; exit 3' TERM
echo "$@"; echo "log line" >&2; echo "listening on http://127.0.0.1:$$"
while :; do sleep 0.05; done"#;

#[test]
fn a_server_is_started_stopped_killed_and_restarted() {
    let database = TestDatabase::new(Backend::Sqlite);
    let program = pretender(&database, SERVES);
    let mut server = TestServer::start_program(&program, &database, &["--more"]);
    let keys = database.folder().join("keys");
    let said = format!("serve --database {} --listen 127.0.0.1:0 --keys {} --more", database.url(), keys.display());
    assert!(server.log().contains(&said), "{:?}", server.log());
    let first = server.base().to_owned();
    assert_eq!(server.stop().code(), Some(3), "it was asked, not killed");
    for line in ["stopping", "log line"] {
        assert!(server.log().contains(&line.to_owned()), "{line}: {:?}", server.log());
    }
    server.restart();
    assert_ne!(server.base(), first);
    server.kill9();
    server.restart();
    server.restart();
    assert_eq!(server.log().iter().filter(|line| **line == said).count(), 4);
    assert_eq!(server.log().iter().filter(|line| *line == "stopping").count(), 2, "kill -9 leaves no time for it");
}

#[test]
#[should_panic(expected = "no such key folder")]
fn a_server_that_ends_at_once_is_quoted() {
    let database = TestDatabase::new(Backend::Sqlite);
    let program = pretender(&database, "echo 'no such key folder' >&2; exit 1");
    TestServer::start_program(&program, &database, &[]);
}

fn two_servers_on_one_database(backend: Backend) {
    let database = TestDatabase::new(backend);
    let program = pretender(&database, SERVES);
    let first = TestServer::start_program(&program, &database, &[]);
    let second = TestServer::start_program(&program, &database, &[]);
    assert_ne!(first.base(), second.base());
}

/// Gives one answer to one request; returns the request.
fn answer_once(answer: &'static str) -> (String, std::thread::JoinHandle<String>) {
    let listener = TcpListener::bind("127.0.0.1:0").unwrap();
    let base = format!("http://{}", listener.local_addr().unwrap());
    let thread = std::thread::spawn(move || {
        let (mut stream, _) = listener.accept().unwrap();
        let mut request = Vec::new();
        let mut byte = [0];
        // The head, then as many bytes as it promises.
        while !request.ends_with(b"\r\n\r\n") && stream.read(&mut byte).unwrap() == 1 {
            request.push(byte[0]);
        }
        let head = String::from_utf8(request).unwrap().to_lowercase();
        let length =
            head.lines().find_map(|line| line.strip_prefix("content-length: ")).map_or(0, |n| n.parse().unwrap());
        let mut body = vec![0; length];
        stream.read_exact(&mut body).unwrap();
        stream.write_all(answer.as_bytes()).unwrap();
        head + &String::from_utf8(body).unwrap()
    });
    (base, thread)
}

const REFUSAL: &str = "HTTP/1.1 409 Conflict\r\nContent-Type: application/problem+json\r\nContent-Length: 75\r\nConnection: close\r\n\r\n\
{\"type\":\"/problems/not-enough\",\"status\":409,\"field\":\"/amount\",\"detail\":\"x\"}";

fn refusal() -> Answer {
    let (base, thread) = answer_once(REFUSAL);
    let answer = Client::new(&base).with_token("abc").post("/v1/moves?x=1", json!({ "grams": 5 }));
    let request = thread.join().unwrap();
    assert!(request.starts_with("post /v1/moves?x=1 http/1.1\r\n"), "{request}");
    assert!(request.contains("\r\nauthorization: bearer abc\r\n"), "{request}");
    assert!(request.contains("\r\ncontent-type: application/json\r\n"), "{request}");
    assert!(request.contains("\r\nidempotency-key: "), "{request}");
    assert!(request.ends_with("\r\n\r\n{\"grams\":5}"), "{request}");
    answer
}

#[test]
fn a_refusal_is_read() {
    let answer = refusal().expect(409);
    let problem = answer.refused(409, "/problems/not-enough");
    assert_eq!(
        (problem.kind(), problem.field(), problem.detail()),
        ("/problems/not-enough", Some("/amount"), Some("x"))
    );
}

#[test]
#[should_panic(expected = "\"field\":\"/amount\"")]
fn another_status_is_told_with_the_whole_body() {
    refusal().expect(201).done();
}

#[test]
#[should_panic(expected = "should be refused as /problems/held")]
fn another_problem_is_told() {
    refusal().refused(409, "/problems/held");
}
