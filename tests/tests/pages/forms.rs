//! Cookies and forms: what a browser is given, and what is refused from strangers.

use std::io::{BufRead as _, BufReader, Write as _};
use std::net::TcpStream;

use serde_json::json;
use tubtrail_tests::world::PASSWORD;
use tubtrail_tests::{Answer, Backend, Client, on_both};

use crate::shop::Shop;

on_both!(
    a_session_lives_in_a_cookie,
    each_begins_with_what_they_have_in_hand,
    forms_of_strangers_are_refused,
    a_form_sent_twice_is_done_once,
    what_was_written_while_a_page_was_on_its_way_is_news
);

const FORM: &str = "application/x-www-form-urlencoded";

/// Sends a form as our own page would.
pub fn send(client: &Client, path: &str, cookie: &str, fields: &[(&str, &str)]) -> Answer {
    send_from(client, path, cookie, fields, ("Sec-Fetch-Site", "same-origin"))
}

fn send_from(client: &Client, path: &str, cookie: &str, fields: &[(&str, &str)], from: (&str, &str)) -> Answer {
    let body: Vec<String> = fields.iter().map(|(name, value)| format!("{name}={}", escaped(value))).collect();
    let request = client.request("POST", path).header("Cookie", cookie).header(from.0, from.1);
    request.body(FORM, body.join("&")).send()
}

/// Everything but letters and digits, percent-encoded.
fn escaped(value: &str) -> String {
    let escape = |byte: u8| {
        if byte.is_ascii_alphanumeric() { char::from(byte).to_string() } else { format!("%{byte:02X}") }
    };
    value.bytes().map(escape).collect()
}

/// Signs in by the page; answers the cookie.
#[track_caller]
fn come_in(client: &Client) -> String {
    come_in_as(client, "hand", "/counter")
}

/// The same as somebody else, to another page.
#[track_caller]
pub fn come_in_as(client: &Client, login: &str, next: &str) -> String {
    let answer = send(client, "/sign-in", "", &[("login", login), ("password", PASSWORD), ("next", next)]);
    assert_eq!((answer.status, answer.header("Location")), (303, Some(next)), "{}", answer.text());
    let cookie = answer.header("Set-Cookie").expect("a session");
    cookie.split(';').next().expect("its name and value").to_owned()
}

pub fn page(client: &Client, path: &str, cookie: &str) -> Answer {
    client.request("GET", path).header("Cookie", cookie).send()
}

/// What stands in a hidden field of a page.
#[track_caller]
pub fn hidden(page: &str, name: &str) -> String {
    let begin = format!("name=\"{name}\" value=\"");
    let (_, rest) = page.split_once(&begin).unwrap_or_else(|| panic!("no field {name}: {page}"));
    rest.split('"').next().expect("a value").to_owned()
}

fn a_session_lives_in_a_cookie(backend: Backend) {
    let shop = Shop::open(backend);
    let client = shop.house.world.server.client();
    let away = page(&client, "/counter/harbour?avoid=milk", "");
    let to_sign_in = "/sign-in?next=%2Fcounter%2Fharbour%3Favoid%3Dmilk";
    assert_eq!((away.status, away.header("Location")), (303, Some(to_sign_in)));
    assert_eq!(page(&client, "/", "").header("Location"), Some("/sign-in?next=%2F"));

    let wrong = send(&client, "/sign-in", "", &[("login", "hand"), ("password", "wrong, and long enough")]);
    assert_eq!((wrong.status, wrong.header("Set-Cookie")), (401, None));
    assert!(wrong.text().contains("role=\"alert\"") && !wrong.text().contains("wrong, and long enough"));

    let answer =
        send(&client, "/sign-in", "", &[("login", "hand"), ("password", PASSWORD), ("next", "//elsewhere.example")]);
    assert_eq!(answer.header("Location"), Some("/"), "never to another server");
    let cookie = answer.header("Set-Cookie").expect("a session");
    for part in ["HttpOnly", "SameSite=Lax", "Path=/", "Max-Age=3"] {
        assert!(cookie.contains(part), "{part}: {cookie}");
    }
    assert!(!cookie.contains("Secure"), "without TLS it would never come back");
    let behind_tls = client
        .request("POST", "/sign-in")
        .header("Sec-Fetch-Site", "same-origin")
        .header("X-Forwarded-Proto", "https")
        .body(FORM, format!("login=hand&password={}", escaped(PASSWORD)))
        .send();
    assert!(behind_tls.header("Set-Cookie").is_some_and(|cookie| cookie.contains("Secure")));

    let cookie = come_in(&client);
    let counter = page(&client, "/counter/harbour", &cookie);
    assert_eq!(counter.status, 200, "{}", counter.text());
    assert!(counter.text().contains("Nora at the harbour"));
    let policy = counter.header("Content-Security-Policy").expect("a policy");
    assert!(policy.contains("default-src 'none'") && !policy.contains("unsafe"), "{policy}");
    assert_eq!(counter.header("Cache-Control"), Some("no-store"));
    assert_eq!(page(&client, "/counter/market", &cookie).status, 404, "another shop's");
    // The API knows no cookie, so that no page of another site can use one there.
    assert_eq!(page(&client, "/v1/me", &cookie).status, 401);
    let french = client.request("GET", "/sign-in").header("Accept-Language", "fr-CA,fr;q=0.9,en;q=0.8").send();
    assert!(french.text().contains("lang=\"fr\"") && french.text().contains("Mot de passe"));
}

fn each_begins_with_what_they_have_in_hand(backend: Backend) {
    let shop = Shop::open(backend);
    let client = shop.house.world.server.client();
    let grant = |role: &str| json!({"role": role, "site": "kitchen"});
    for (login, roles, begins) in [
        ("cook", vec!["kitchen"], "/making"),
        ("hand-too", vec!["shop"], "/counter"),
        ("inspector", vec!["inspector"], "/tracing"),
        ("second", vec!["owner"], "/upkeep"),
        ("cooking-owner", vec!["owner", "kitchen"], "/making"),
        ("both", vec!["shop", "kitchen"], "/making"),
        ("reading-hand", vec!["inspector", "shop"], "/counter"),
    ] {
        let roles: Vec<_> = roles.into_iter().map(grant).collect();
        let new = json!({"login": login, "name": login, "password": PASSWORD, "roles": roles});
        shop.house.owner.post("/v1/users", new).expect(201).done();
        let cookie = come_in_as(&client, login, "/");
        let begun = page(&client, "/", &cookie);
        assert_eq!((begun.status, begun.header("Location")), (303, Some(begins)), "{login}");
    }
}

/// A page says up to which entry of the journal it shows, and its line begins with news if there is more.
fn what_was_written_while_a_page_was_on_its_way_is_news(backend: Backend) {
    let shop = Shop::open(backend);
    let client = shop.house.world.server.client();
    let cookie = come_in(&client);
    let shown = || {
        let page = page(&client, "/counter/harbour", &cookie).text();
        let (_, entry) = page.split_once("data-as-of=\"").expect("an entry");
        entry.split('"').next().expect("its number").to_owned()
    };
    let first_said = |since: &str| first_event(client.base(), &format!("/live?since={since}"), &cookie);
    let before = shown();
    assert_eq!(first_said(&before), "beat");
    let hold = json!({"reason": "a stone was found"});
    shop.house.owner.post(&format!("/v1/lots/{}/holds", shop.made.tubs[0]), hold).expect(201).done();
    assert_eq!(first_said(&before), "news");
    assert_eq!(first_said(&shown()), "beat");
    assert_eq!(page(&client, "/live?since=now", &cookie).status, 422);
}

/// The name of the first event of a stream.
#[track_caller]
fn first_event(base: &str, path: &str, cookie: &str) -> String {
    let address = base.strip_prefix("http://").expect("an address");
    let mut connection = TcpStream::connect(address).expect("the server listens");
    write!(connection, "GET {path} HTTP/1.1\r\nHost: {address}\r\nCookie: {cookie}\r\n\r\n").expect("it is asked");
    let mut lines = BufReader::new(connection).lines().map(|line| line.expect("it goes on"));
    let said = lines.find_map(|line| line.strip_prefix("event: ").map(str::to_owned));
    said.expect("an event")
}

fn forms_of_strangers_are_refused(backend: Backend) {
    let shop = Shop::open(backend);
    let client = shop.house.world.server.client();
    let cookie = come_in(&client);
    let tub = &shop.made.tubs[1];
    let path = format!("/counter/harbour/tubs/{tub}/open");
    let mark = hidden(&page(&client, "/counter/harbour", &cookie).text(), "mark");
    let fields = [("mark", mark.as_str()), ("next", "/counter/harbour")];
    for from in [
        ("Sec-Fetch-Site", "cross-site"),
        ("Sec-Fetch-Site", "same-site"),
        ("Sec-Fetch-Site", "none"),
        ("Origin", "https://elsewhere.example"),
        ("Accept", "*/*"),
    ] {
        assert_eq!(send_from(&client, &path, &cookie, &fields, from).status, 400, "{from:?}");
    }
    let wrong_mark = [("mark", "0123456789abcdef0123456789abcdef"), ("next", "/")];
    assert_eq!(send(&client, &path, &cookie, &wrong_mark).status, 400);
    assert_eq!(send(&client, &path, &cookie, &[("next", "/")]).status, 400);
    assert_eq!(send(&client, &path, "", &fields).status, 303, "nobody is signed in");
    let foreign = send_from(&client, "/sign-in", "", &[("login", "hand"), ("password", PASSWORD)], ("Origin", "null"));
    assert_eq!((foreign.status, foreign.header("Set-Cookie")), (400, None), "nobody is signed in as another");
    let lot = shop.house.owner.get(&format!("/v1/lots/{tub}")).expect(200);
    assert!(!lot.text().contains("\"open\""), "{}", lot.text());

    let own = client.base().to_owned();
    assert_eq!(send_from(&client, &path, &cookie, &fields, ("Origin", &own)).status, 303, "an older browser");
    let out = send(&client, "/sign-out", &cookie, &[("mark", &mark)]);
    assert!(out.header("Set-Cookie").is_some_and(|cookie| cookie.contains("Max-Age=0")));
}

fn a_form_sent_twice_is_done_once(backend: Backend) {
    let shop = Shop::open(backend);
    let client = shop.house.world.server.client();
    let cookie = come_in(&client);
    let counter = page(&client, "/counter/harbour", &cookie).text();
    let (mark, once) = (hidden(&counter, "mark"), hidden(&counter, "once"));
    let open = &shop.made.tubs[0];
    let path = format!("/counter/harbour/tubs/{open}/empty");
    let fields = [("mark", mark.as_str()), ("once", once.as_str()), ("next", "/counter/harbour?avoid=milk")];
    let entry = |client: &Client| client.get("/v1/journal?limit=1").expect(200).json["items"][0]["seq"].clone();
    for _ in 0..2 {
        let answer = send(&client, &path, &cookie, &fields);
        assert_eq!((answer.status, answer.header("Location")), (303, Some("/counter/harbour?avoid=milk")));
    }
    let after = entry(&shop.house.owner);
    assert_eq!(send(&client, &path, &cookie, &fields).status, 303);
    assert_eq!(entry(&shop.house.owner), after, "a double tap does nothing twice");
    let otherwise = [("mark", mark.as_str()), ("once", once.as_str()), ("next", "/counter")];
    assert_eq!(send(&client, &path, &cookie, &otherwise).status, 422, "the same form with something else in it");
    let again = send(&client, &path, &cookie, &[("mark", &mark), ("once", "another"), ("next", "/")]);
    assert_eq!(again.status, 409, "it is empty");
    assert!(again.text().contains("role=\"alert\""), "{}", again.text());
    let why = json!({"reason": "look again"});
    shop.house.owner.post(&format!("/v1/lots/{}/holds", shop.made.tubs[1]), why).expect(201).done();
    let held = format!("/counter/harbour/tubs/{}/open", shop.made.tubs[1]);
    assert_eq!(send(&client, &held, &cookie, &[("mark", &mark), ("next", "/")]).status, 409);
}
