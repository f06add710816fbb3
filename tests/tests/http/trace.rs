//! A trace over HTTP, in pages and streamed, and the verification from the command line.

use std::io::Write;

use diesel::connection::SimpleConnection;
use serde_json::Value;
use tubtrail_storage::AnyConnection;
use tubtrail_tests::{Backend, RestHouse, binary, on_both};

on_both!(
    a_stream_says_what_the_pages_say,
    a_seat_is_given_back,
    ways_and_lots_are_answered,
    verify_ends_well_or_names_the_row
);

fn a_stream_says_what_the_pages_say(backend: Backend) {
    let house = RestHouse::open(backend);
    let made = house.make_two_tubs();
    let address = format!("/v1/lots/{}/trace?direction=forward", made.milk);
    let (mut lots, mut next) = (Vec::new(), String::new());
    loop {
        let page = house.owner.get(&format!("{address}&limit=2&after={next}")).expect(200);
        lots.extend(page.json["lots"].as_array().expect("lots").clone());
        let Some(text) = page.json["next"].as_str() else { break };
        text.clone_into(&mut next);
    }
    assert_eq!(lots.len(), 4, "the milk, the base and two tubs");
    let streamed = |answer: tubtrail_tests::Answer| {
        let answer = answer.expect(200);
        assert_eq!(answer.header("Content-Type"), Some("application/x-ndjson"));
        let lines: Vec<Value> =
            answer.text().lines().map(|line| serde_json::from_str(line).expect("an object a line")).collect();
        lines
    };
    let by_format = streamed(house.owner.get(&format!("{address}&format=ndjson")));
    let by_accept = streamed(house.owner.request("GET", &address).header("Accept", "application/x-ndjson").send());
    assert_eq!(by_format, by_accept);
    assert_eq!(by_format[0]["total"], 4);
    assert_eq!(by_format[0]["balance"]["seed_grams"], 8000.0);
    assert_eq!(by_format[1..], lots);
    house.owner.get(&format!("{address}&format=ndjson&after={next}")).refused(422, "/problems/invalid");
    house.owner.get(&format!("/v1/lots/{}/trace", made.milk)).refused(422, "/problems/invalid");
    house.owner.get(&format!("{address}&direction=sideways")).problem();
}

/// There are 16: at the end of a stream its seat is free, and when the client goes too.
fn a_seat_is_given_back(backend: Backend) {
    let house = RestHouse::open(backend);
    let made = house.make_two_tubs();
    let path = format!("/v1/lots/{}/trace?direction=forward&format=ndjson", made.milk);
    let base = house.world.server.base().to_owned();
    let address = base.strip_prefix("http://").expect("an address of ours");
    let token = house.owner.token().expect("signed in");
    for _ in 0..40 {
        house.owner.get(&path).expect(200).done();
        let mut connection = std::net::TcpStream::connect(address).expect("the server listens");
        let asked = format!("GET {path} HTTP/1.1\r\nHost: {address}\r\nAuthorization: Bearer {token}\r\n\r\n");
        connection.write_all(asked.as_bytes()).expect("it can be asked");
    }
    // Those who went may be noticed a moment later.
    let began = std::time::Instant::now();
    while house.owner.get(&path).status == 429 {
        assert!(began.elapsed().as_secs() < 30, "a seat is not given back");
        std::thread::sleep(std::time::Duration::from_millis(20));
    }
    house.owner.get(&path).expect(200).done();
}

fn ways_and_lots_are_answered(backend: Backend) {
    let house = RestHouse::open(backend);
    let made = house.make_two_tubs();
    let way = house.owner.get(&format!("/v1/lots/{}/path?to={}", made.paste, made.tubs[1])).expect(200);
    assert_eq!(way.json["found"], true);
    let words = way.json["in_words"].as_str().expect("words");
    assert!(words.starts_with(&format!("500 g of lot {} (pistachio-paste) went into batch", made.paste)), "{words}");
    let found = house.owner.get("/v1/lots?supplier_lot_code_prefix=24-1&kind=received").expect(200);
    assert_eq!(found.json["items"][0]["lot"], made.paste.as_str());
    let lot = house.owner.get(&format!("/v1/lots/{}", made.base)).expect(200);
    assert_eq!((&lot.json["used_grams"], &lot.json["places"][0]["grams"]), (&4000.into(), &5500.into()));
    let moved = house.owner.get(&format!("/v1/lots/{}/movements", made.base)).expect(200);
    assert_eq!(moved.json["items"].as_array().map(Vec::len), Some(2));
    let listed = house.owner.get("/v1/deliveries?supplier=dairy&limit=1").expect(200);
    let delivery = &listed.json["items"][0];
    assert_eq!(delivery["lots"][0], made.milk.as_str());
    let traced = house.owner.get(&format!("/v1/deliveries/{}/trace", delivery["id"])).expect(200);
    assert_eq!((&traced.json["of"][0], &traced.json["total"]), (&made.milk.as_str().into(), &4.into()));
}

fn verify_ends_well_or_names_the_row(backend: Backend) {
    let house = RestHouse::open(backend);
    house.make_two_tubs();
    let database = &house.world.database;
    let run = || binary::run(database, &["verify"]);
    let done = run();
    let said = String::from_utf8_lossy(&done.stdout).into_owned();
    assert!(done.status.success() && said.contains("nothing is wrong"), "{said}{done:?}");
    database.spoiled();
    let mut conn = database.connect();
    let disarm = match conn {
        AnyConnection::Sqlite(_) => "DROP TRIGGER lots_refuse_update",
        AnyConnection::Postgres(_) => "SET session_replication_role = replica",
    };
    conn.batch_execute(disarm).expect("the owner of a database may do anything");
    conn.batch_execute("UPDATE lots SET mass_mg = mass_mg + 1 WHERE id = 2").expect("it is changed");
    let done = run();
    let said = String::from_utf8_lossy(&done.stderr).into_owned();
    assert_eq!(done.status.code(), Some(1));
    assert!(said.contains("lots 2 "), "{said}");
}
