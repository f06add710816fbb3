//! A graceful stop.

use std::io::{Read, Write};
use std::net::TcpStream;
use std::time::{Duration, Instant};

use tubtrail_tests::{Backend, World, on_both};

on_both!(a_request_at_work_is_finished, an_idle_house_stops_at_once);

fn a_request_at_work_is_finished(backend: Backend) {
    let mut world = World::open(backend);
    let body = r#"{"code":"harbour-shop","name":"Harbour","kind":"shop","time_zone":"Europe/Lisbon"}"#;
    let address = world.server.base().strip_prefix("http://").expect("an address").to_owned();
    let mut stream = TcpStream::connect(&address).expect("it listens");
    let head = format!(
        "POST /v1/sites HTTP/1.1\r\nHost: {address}\r\nAuthorization: Bearer {}\r\nContent-Type: application/json\r\n\
         Content-Length: {}\r\n\r\n",
        world.owner.token().expect("a token"),
        body.len()
    );
    let (first, rest) = body.split_at(20);
    stream.write_all(head.as_bytes()).and_then(|()| stream.write_all(first.as_bytes())).expect("it is taken");
    // Nothing tells from outside that the server has begun with it; half a second is plenty.
    std::thread::sleep(Duration::from_millis(500));
    let answer = std::thread::scope(|scope| {
        let stop = scope.spawn(|| world.server.stop());
        let began = Instant::now();
        while TcpStream::connect(&address).is_ok() {
            assert!(began.elapsed() < Duration::from_secs(10), "it still takes new connections");
            std::thread::sleep(Duration::from_millis(20));
        }
        stream.write_all(rest.as_bytes()).expect("the rest is taken");
        let mut answer = String::new();
        stream.read_to_string(&mut answer).expect("it answers and closes");
        assert!(stop.join().expect("it stops").success());
        answer
    });
    assert!(answer.starts_with("HTTP/1.1 201 Created\r\n"), "{answer}");
    assert!(answer.to_lowercase().contains("\r\nconnection: close\r\n"), "{answer}");
    world.server.restart();
    world.owner.at(world.server.base()).get("/v1/sites/harbour-shop").expect(200).done();
}

fn an_idle_house_stops_at_once(backend: Backend) {
    let mut world = World::open(backend);
    let began = Instant::now();
    assert!(world.server.stop().success());
    // The client of the harness keeps its connection; it may stay for the five seconds that idle ones are kept.
    assert!(began.elapsed() < Duration::from_secs(20), "{:?}", began.elapsed());
    assert!(world.server.log().iter().any(|line| line.contains("\"stopped\"")));
}
