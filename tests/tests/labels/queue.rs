//! Labels printed: on a printer that is there, is away, or goes away in the middle; by a server that does the same.

use std::io::{Read, Write};
use std::net::{Shutdown, TcpListener, TcpStream};
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::time::{Duration, Instant};

use serde_json::{Value, json};
use tempfile::TempDir;
use tubtrail_tests::{Backend, Client, TestServer, on_both};

use crate::printer::{IppPrinter, PATIENCE, free_port};
use crate::served::Served;

on_both!(
    a_label_arrives_as_it_was_drawn,
    a_printer_that_is_away_gets_it_when_it_comes,
    a_printer_killed_in_the_middle_leaves_it_uncertain,
    a_server_killed_in_the_middle_follows_it_when_it_is_back,
    a_broken_connection_prints_nothing_twice,
    what_a_printer_does_not_take_is_refused_in_words,
    a_printer_that_does_not_answer_keeps_no_other_waiting,
    a_certificate_nobody_signed_is_taken_only_where_the_house_says_so,
);

const BOTH_FORMATS: &str = "application/pdf,image/png";

fn register(owner: &Client, uri: &str) {
    let printer = json!({"code": "labels", "name": "Label printer", "site": "kitchen", "uri": uri, "size": "60x40",
        "dpi": 203});
    owner.post("/v1/printers", printer).expect(201).done();
}

fn print(owner: &Client, lot: &str) -> i64 {
    let print = owner.post(&format!("/v1/lots/{lot}/prints"), json!({"printer": "labels"})).expect(201).json;
    assert_eq!(print["state"], "queued");
    print["print"].as_i64().expect("a number")
}

/// Waits for a state; answers the print.
#[track_caller]
fn wait_for(owner: &Client, print: i64, state: &str) -> Value {
    let asked = Instant::now();
    loop {
        let shown = owner.get(&format!("/v1/prints/{print}")).expect(200).json;
        if shown["state"] == state {
            return shown;
        }
        assert!(asked.elapsed() < PATIENCE, "it should be {state}: {}", shown["steps"]);
        std::thread::sleep(Duration::from_millis(100));
    }
}

fn states(shown: &Value) -> Vec<&str> {
    shown["steps"].as_array().expect("steps").iter().map(|step| step["state"].as_str().expect("a state")).collect()
}

fn spool() -> (TempDir, std::path::PathBuf) {
    let folder = tempfile::tempdir().expect("a folder");
    let spool = folder.path().join("spool");
    std::fs::create_dir(&spool).expect("a folder");
    (folder, spool)
}

fn a_label_arrives_as_it_was_drawn(backend: Backend) {
    let served = Served::open(backend);
    let owner = &served.house.owner;
    let (_folder, spool) = spool();
    let printer = IppPrinter::start(free_port(), &spool, BOTH_FORMATS, 0);
    register(owner, &printer.uri());
    let print = print(owner, &served.tubs[0]);
    let shown = wait_for(owner, print, "printed");
    assert_eq!(states(&shown), ["queued", "sending", "sent", "printed"]);
    let arrived = printer.arrived();
    assert_eq!(arrived.len(), 1);
    let drawn = owner.get(&format!("/v1/prints/{print}/label.pdf")).expect(200).body;
    assert!(std::fs::read(&arrived[0]).expect("the job") == drawn, "the bytes that were sent");
    let listed = owner.get("/v1/prints?printer=labels&state=printed").expect(200).json;
    assert_eq!(listed["items"][0]["print"], json!(print));
    owner
        .post(&format!("/v1/prints/{print}/cancellation"), json!({"reason": "late"}))
        .refused(409, "/problems/print-under-way");
}

fn a_printer_that_is_away_gets_it_when_it_comes(backend: Backend) {
    let served = Served::open(backend);
    let owner = &served.house.owner;
    let (_folder, spool) = spool();
    let port = free_port();
    register(owner, &format!("ipp://127.0.0.1:{port}/ipp/print"));
    let (first, second) = (print(owner, &served.tubs[0]), print(owner, &served.tubs[1]));
    let waiting = wait_for(owner, first, "waiting");
    let said = waiting["steps"][1]["said"].as_str().expect("it says why");
    assert!(said.starts_with("the printer cannot be reached: "), "{said}");
    // One is taken back meanwhile; of the other it is said once that it waits.
    let cancelled = json!({"reason": "the wrong tub"});
    owner.post(&format!("/v1/prints/{second}/cancellation"), cancelled).expect(201).done();
    std::thread::sleep(Duration::from_secs(3));
    let printer = IppPrinter::start(port, &spool, BOTH_FORMATS, 0);
    let shown = wait_for(owner, first, "printed");
    assert_eq!(states(&shown), ["queued", "waiting", "sending", "sent", "printed"]);
    assert_eq!(printer.arrived().len(), 1);
}

fn a_printer_killed_in_the_middle_leaves_it_uncertain(backend: Backend) {
    let served = Served::open(backend);
    let owner = &served.house.owner;
    let (_folder, spool) = spool();
    let port = free_port();
    let printer = IppPrinter::start(port, &spool, BOTH_FORMATS, 60);
    register(owner, &printer.uri());
    let print = print(owner, &served.tubs[0]);
    wait_for(owner, print, "sent");
    drop(printer);
    std::fs::remove_dir_all(&spool).expect("it is gone");
    std::fs::create_dir(&spool).expect("a folder");
    let printer = IppPrinter::start(port, &spool, BOTH_FORMATS, 0);
    // It comes up anew and knows of nothing: whether the label came out, only a person can say.
    let shown = wait_for(owner, print, "uncertain");
    let said = shown["steps"][3]["said"].as_str().expect("it says why");
    assert!(said.contains("look whether it came out"), "{said}");
    assert_eq!(printer.arrived().len(), 0, "nothing is printed twice in silence");
    owner.post(&format!("/v1/prints/{print}/settlement"), json!({"came_out": false})).expect(201).done();
    wait_for(owner, print, "printed");
    assert_eq!(printer.arrived().len(), 1);
}

fn a_server_killed_in_the_middle_follows_it_when_it_is_back(backend: Backend) {
    let mut served = Served::open(backend);
    let (_folder, spool) = spool();
    let printer = IppPrinter::start(free_port(), &spool, BOTH_FORMATS, 3);
    register(&served.house.owner, &printer.uri());
    let print = print(&served.house.owner, &served.tubs[0]);
    wait_for(&served.house.owner, print, "sent");
    served.house.world.server.kill9();
    served.house.world.server.restart();
    let owner = served.house.owner.at(served.house.world.server.base());
    let shown = wait_for(&owner, print, "printed");
    assert_eq!(states(&shown), ["queued", "sending", "sent", "printed"]);
    assert_eq!(printer.arrived().len(), 1);
}

/// Stands between the server and a printer. While it is told to, it cuts the answer off after a document went through, or
/// keeps it back.
struct Between {
    port: u16,
    cuts: Arc<AtomicBool>,
    keeps: Arc<AtomicBool>,
}

impl Between {
    fn new(printer: u16) -> Self {
        let listener = TcpListener::bind(("127.0.0.1", 0)).expect("a port");
        let port = listener.local_addr().expect("an address").port();
        let (cuts, keeps) = (Arc::new(AtomicBool::new(false)), Arc::new(AtomicBool::new(false)));
        let (cut, keep) = (Arc::clone(&cuts), Arc::clone(&keeps));
        std::thread::spawn(move || {
            for client in listener.incoming().map_while(Result::ok) {
                let Ok(printer) = TcpStream::connect(("127.0.0.1", printer)) else { continue };
                let (cut, keep) = (Arc::clone(&cut), Arc::clone(&keep));
                std::thread::spawn(move || pass(client, printer, &cut, &keep));
            }
        });
        Self { port, cuts, keeps }
    }
}

fn pass(mut client: TcpStream, mut printer: TcpStream, cut: &AtomicBool, keep: &AtomicBool) {
    let document = Arc::new(AtomicBool::new(false));
    let (mut from, mut to) = (client.try_clone().expect("a handle"), printer.try_clone().expect("a handle"));
    let seen = Arc::clone(&document);
    std::thread::spawn(move || {
        let mut piece = vec![0; 65_536];
        while let Ok(read @ 1..) = from.read(&mut piece) {
            if piece[..read].windows(5).any(|bytes| bytes == b"%PDF-") {
                seen.store(true, Ordering::SeqCst);
            }
            if to.write_all(&piece[..read]).is_err() {
                break;
            }
        }
        let _ = to.shutdown(Shutdown::Write);
    });
    let mut piece = vec![0; 65_536];
    while let Ok(read @ 1..) = printer.read(&mut piece) {
        let is_of_document = document.load(Ordering::SeqCst);
        while is_of_document && keep.load(Ordering::SeqCst) {
            std::thread::sleep(Duration::from_millis(50));
        }
        if is_of_document && cut.load(Ordering::SeqCst) || client.write_all(&piece[..read]).is_err() {
            break;
        }
    }
    let _ = client.shutdown(Shutdown::Both);
}

/// The printer has all of it and its answer is lost: it is asked, and knows the job by its name.
fn a_broken_connection_prints_nothing_twice(backend: Backend) {
    let served = Served::open(backend);
    let owner = &served.house.owner;
    let (_folder, spool) = spool();
    let port = free_port();
    let printer = IppPrinter::start(port, &spool, BOTH_FORMATS, 0);
    let between = Between::new(port);
    between.cuts.store(true, Ordering::SeqCst);
    register(owner, &format!("ipp://127.0.0.1:{}/ipp/print", between.port));
    let print = print(owner, &served.tubs[0]);
    let shown = wait_for(owner, print, "printed");
    assert_eq!(states(&shown), ["queued", "sending", "sent", "printed"]);
    assert_eq!(printer.arrived().len(), 1);
}

/// Killed after the printer had the document, before it heard so. One process serves a SQLite file, so whatever was on its
/// way is asked about at once; on PostgreSQL another might have it in hand, and that is waited for, two minutes.
#[test]
fn a_server_killed_while_it_sends_asks_the_printer() {
    let mut served = Served::open(Backend::Sqlite);
    let (_folder, spool) = spool();
    let port = free_port();
    let printer = IppPrinter::start(port, &spool, BOTH_FORMATS, 0);
    let between = Between::new(port);
    between.keeps.store(true, Ordering::SeqCst);
    register(&served.house.owner, &format!("ipp://127.0.0.1:{}/ipp/print", between.port));
    let print = print(&served.house.owner, &served.tubs[0]);
    wait_for(&served.house.owner, print, "sending");
    let asked = Instant::now();
    while printer.arrived().is_empty() {
        assert!(asked.elapsed() < PATIENCE, "the document arrives");
        std::thread::sleep(Duration::from_millis(50));
    }
    served.house.world.server.kill9();
    between.keeps.store(false, Ordering::SeqCst);
    served.house.world.server.restart();
    let owner = served.house.owner.at(served.house.world.server.base());
    let shown = wait_for(&owner, print, "printed");
    assert_eq!(states(&shown), ["queued", "sending", "sent", "printed"]);
    assert_eq!(printer.arrived().len(), 1);
}

/// Each of two servers sees every print, and one of them sends it.
#[test]
fn two_servers_on_one_database_print_everything_once() {
    let served = Served::open(Backend::Postgres);
    let other = TestServer::start(&served.house.world.database);
    let owner = &served.house.owner;
    let (_folder, spool) = spool();
    let printer = IppPrinter::start(free_port(), &spool, BOTH_FORMATS, 0);
    register(owner, &printer.uri());
    let both = [owner.clone(), owner.at(other.base())];
    let prints: Vec<i64> = (0..8)
        .map(|round| {
            let body = json!({"printer": "labels", "reprint_reason": "once more"});
            let answer = both[round % 2].post(&format!("/v1/lots/{}/prints", served.tubs[0]), body).expect(201).json;
            answer["print"].as_i64().expect("a number")
        })
        .collect();
    for print in prints {
        let shown = wait_for(owner, print, "printed");
        assert_eq!(states(&shown).iter().filter(|state| **state == "sending").count(), 1);
    }
    assert_eq!(printer.arrived().len(), 8);
}

fn what_a_printer_does_not_take_is_refused_in_words(backend: Backend) {
    let served = Served::open(backend);
    let owner = &served.house.owner;
    let (_folder, spool) = spool();
    let port = free_port();
    let printer = IppPrinter::start(port, &spool, "image/jpeg", 0);
    register(owner, &printer.uri());
    let print = print(owner, &served.tubs[0]);
    let shown = wait_for(owner, print, "refused");
    let said = shown["steps"][1]["said"].as_str().expect("it says why");
    assert!(said.contains("it takes neither application/pdf nor image/png, but "), "{said}");
    drop(printer);
    // With one that takes pictures it goes on.
    let printer = IppPrinter::start(port, &spool, "image/png", 0);
    owner.post(&format!("/v1/prints/{print}/settlement"), json!({"came_out": false})).expect(201).done();
    wait_for(owner, print, "printed");
    let drawn = owner.get(&format!("/v1/prints/{print}/label.png")).expect(200).body;
    assert!(std::fs::read(&printer.arrived()[0]).expect("the job") == drawn, "the bytes that were sent");
}

/// One printer takes the connection and says nothing, for twenty seconds; the other prints meanwhile.
fn a_printer_that_does_not_answer_keeps_no_other_waiting(backend: Backend) {
    let served = Served::open(backend);
    let owner = &served.house.owner;
    let silent = TcpListener::bind(("127.0.0.1", 0)).expect("a port");
    let port = silent.local_addr().expect("an address").port();
    register(owner, &format!("ipp://127.0.0.1:{port}/ipp/print"));
    let (_folder, spool) = spool();
    let printer = IppPrinter::start(free_port(), &spool, BOTH_FORMATS, 0);
    let other = json!({"code": "others", "name": "Another", "site": "kitchen", "uri": printer.uri(), "size": "60x40",
        "dpi": 203});
    owner.post("/v1/printers", other).expect(201).done();
    let stuck = print(owner, &served.tubs[0]);
    let (mut asked, _) = silent.accept().expect("it is asked");
    let asks = Instant::now();
    let body = json!({"printer": "others"});
    let quick = owner.post(&format!("/v1/lots/{}/prints", served.tubs[1]), body).expect(201).json;
    wait_for(owner, quick["print"].as_i64().expect("a number"), "printed");
    assert!(asks.elapsed() < Duration::from_secs(15), "it waited {:?}", asks.elapsed());
    let mut word = [0];
    asked.read_exact(&mut word).expect("the silent one was asked, and still is");
    assert_eq!(wait_for(owner, stuck, "waiting")["steps"].as_array().map(Vec::len), Some(2));
}

fn a_certificate_nobody_signed_is_taken_only_where_the_house_says_so(backend: Backend) {
    let served = Served::open(backend);
    let owner = &served.house.owner;
    let (_folder, spool) = spool();
    let printer = IppPrinter::start(free_port(), &spool, BOTH_FORMATS, 0);
    register(owner, &printer.encrypted_uri());
    let print = print(owner, &served.tubs[0]);
    let waiting = wait_for(owner, print, "waiting");
    let said = waiting["steps"][1]["said"].as_str().expect("it says why");
    assert!(said.contains("certificate"), "{said}");
    assert!(printer.arrived().is_empty(), "not a word of it");
    let mut trusted = owner.get("/v1/printers/labels").expect(200).json;
    trusted["any_certificate"] = json!(true);
    owner.put("/v1/printers/labels", trusted).expect(200).done();
    let shown = wait_for(owner, print, "printed");
    assert_eq!(states(&shown).last(), Some(&"printed"));
    assert_eq!(printer.arrived().len(), 1);
}
