//! What a form says where it was not filled in as it should be: in plain words, at its field, with nothing lost and nothing done.

use chrono::{DateTime, Utc};
use chrono_tz::Europe::Lisbon;
use serde_json::{Value, json};
use tubtrail_tests::client::fresh_key;
use tubtrail_tests::rest::{grams, text};
use tubtrail_tests::world::PASSWORD;
use tubtrail_tests::{Answer, Backend, Client, RestHouse, on_both};

use crate::delivery::kitchen;
use crate::forms::{come_in_as, hidden, page, send};
use crate::shop::Shop;

on_both!(
    a_scan_that_is_no_tub_keeps_the_question,
    a_batch_asks_after_what_nobody_wrote_down,
    what_went_in_before_a_recall_is_written_down_with_its_time,
    a_comma_that_may_stand_for_thousands_is_refused,
    nothing_chosen_is_said_in_plain_words,
    a_hand_is_not_led_where_they_may_not_go,
    whoever_comes_back_to_a_form_sees_its_page
);

/// Somebody at a page.
struct Visitor {
    client: Client,
    cookie: String,
}

impl Visitor {
    #[track_caller]
    fn come(house: &RestHouse, login: &str) -> Self {
        let client = house.world.server.client();
        let cookie = come_in_as(&client, login, "/tracing");
        Self { client, cookie }
    }

    fn look(&self, path: &str) -> String {
        page(&self.client, path, &self.cookie).text()
    }

    /// Sends a form of a page.
    #[track_caller]
    fn fill_in(&self, at: &str, form: &str, fields: &[(&str, &str)]) -> Answer {
        let (mark, once) = (hidden(&self.look(at), "mark"), fresh_key());
        let own = [("mark", mark.as_str()), ("once", once.as_str())];
        send(&self.client, form, &self.cookie, &[&own, fields].concat())
    }
}

#[track_caller]
fn says(page: &str, part: &str) {
    assert!(page.contains(part), "{part}: {page}");
}

fn a_scan_that_is_no_tub_keeps_the_question(backend: Backend) {
    let shop = Shop::open(backend);
    let hand = Visitor::come(&shop.house, "hand");
    let refused = page(&hand.client, "/counter/harbour?avoid=milk&scan=12345", &hand.cookie);
    assert_eq!(refused.status, 422);
    let refused = refused.text();
    says(&refused, "value=\"12345\"");
    says(&refused, "id=\"wrong-scan\"");
    says(&refused, "value=\"milk\" checked");
    says(&refused, "Not known: milk");
    let tub = &shop.made.tubs[1];
    let found = page(&hand.client, &format!("/counter/harbour?avoid=milk&scan={tub}"), &hand.cookie);
    let there = format!("/counter/harbour?avoid=milk&lot={tub}");
    assert_eq!((found.status, found.header("Location")), (303, Some(there.as_str())));
}

/// The recipe of the house wants base and paste; of the paste nobody wrote anything down.
fn a_batch_asks_after_what_nobody_wrote_down(backend: Backend) {
    let house = kitchen(backend);
    let made = house.make_two_tubs();
    let cook = Visitor::come(&house, "cook");
    let batch = house.owner.post("/v1/batches", json!({"recipe": "pistachio", "site": "kitchen"})).expect(201);
    let at = format!("/making/kitchen/batches/{}", batch.json["id"]);
    let uses = json!({"uses": [{"lot": made.base, "quantity": grams(4000)}]});
    house.owner.post(&format!("/v1/batches/{}/uses", batch.json["id"]), uses).expect(201).done();

    let form = format!("{at}/complete");
    let weights =
        [("weights[0].kind", "tub"), ("weights[0].count", "1"), ("weights[0].grams", "3900"), ("do", "finish")];
    let asked = cook.fill_in(&at, &form, &weights);
    assert_eq!(asked.status, 200, "{}", asked.text());
    let asked = asked.text();
    says(&asked, "Nothing was written down of: pistachio-paste");
    says(&asked, "name=\"left_out\"");
    says(&asked, "value=\"3900\"");
    let is_done =
        || !house.owner.get(&format!("/v1/batches/{}", batch.json["id"])).expect(200).json["completion"].is_null();
    assert!(!is_done());

    let done = cook.fill_in(&at, &form, &[&weights[..], &[("left_out", "yes")]].concat());
    assert_eq!(done.status, 303, "{}", done.text());
    assert!(is_done());
}

/// The paste went in as it arrived, and was recalled since. Times on a page are the kitchen's, whose clock is Lisbon's.
fn what_went_in_before_a_recall_is_written_down_with_its_time(backend: Backend) {
    let house = kitchen(backend);
    let paste = house.receive("pistachio-paste", "24-118", 500);
    let cook = Visitor::come(&house, "cook");
    let begun = house.owner.post("/v1/batches", json!({"recipe": "pistachio", "site": "kitchen"})).expect(201).json;
    let at = format!("/making/kitchen/batches/{}", begun["id"]);
    let arrived = text(&house.owner.get(&format!("/v1/lots/{paste}")).expect(200).json["came_to_be_at"]);
    let recall = json!({"kind": "real", "class": 1, "hazard": "glass", "seeds": [{"by": "lots", "lots": [paste]}]});
    house.owner.post("/v1/recalls", recall).expect(201).done();

    let form = format!("{at}/use");
    let refused = cook.fill_in(&at, &form, &[("lot", &paste), ("grams", "500")]);
    assert_eq!(refused.status, 409, "{}", refused.text());
    says(&refused.text(), "type=\"datetime-local\" id=\"used_at\"");
    let arrived: DateTime<Utc> = arrived.parse().expect("a time");
    let arrived = arrived.with_timezone(&Lisbon).format("%Y-%m-%dT%H:%M:%S%.6f").to_string();
    let before = [("lot", &*paste), ("grams", "500"), ("reason", "the scanner was flat"), ("used_at", &*arrived)];
    let early = cook.fill_in(&at, &form, &[&before[..3], &[("used_at", "2020-01-05T08:00")]].concat());
    assert!((400..500).contains(&early.status), "it was not in the house yet");
    says(&early.text(), "aria-describedby=\"wrong-used_at\"");
    let done = cook.fill_in(&at, &form, &before);
    assert_eq!(done.status, 303, "{}", done.text());
    let batch = house.owner.get(&format!("/v1/batches/{}", begun["id"])).expect(200).json;
    assert_eq!(batch["uses"][0]["lot"], Value::from(paste));
}

/// `1,250` is 1250 g to one and 1.25 g to another; `1 250` is what our own pages print.
fn a_comma_that_may_stand_for_thousands_is_refused(backend: Backend) {
    let house = kitchen(backend);
    let milk = house.receive("milk", "M-1", 8000);
    let cook = Visitor::come(&house, "cook");
    let (at, form) = (format!("/lots/{milk}"), format!("/lots/{milk}/discard"));
    let thrown = |grams: &str| {
        let fields = [("site", "kitchen"), ("state", "available"), ("quantity", grams), ("reason", "it was dropped")];
        cook.fill_in(&at, &form, &fields)
    };
    let refused = thrown("1,250");
    assert_eq!(refused.status, 422);
    says(&refused.text(), "nothing between thousands");
    says(&refused.text(), "value=\"1,250\"");
    let left = || house.owner.get(&at.replace("/lots", "/v1/lots")).expect(200).json["places"][0]["grams"].clone();
    assert_eq!(left(), json!(8000), "nothing is thrown away");
    assert_eq!(thrown("1 250").status, 303);
    assert_eq!(left(), json!(6750));
    assert_eq!(thrown("0,5").status, 303);
    assert_eq!(left(), json!(6749.5));
}

fn nothing_chosen_is_said_in_plain_words(backend: Backend) {
    let house = kitchen(backend);
    let cook = Visitor::come(&house, "cook");
    let making = cook.fill_in("/making/kitchen", "/making/kitchen", &[("recipe", "")]);
    assert_eq!(making.status, 422);
    says(&making.text(), "nothing is chosen here: choose one");
    let nobody = json!({"supplier": "", "site": "kitchen", "document": "D", "lines": [
        {"item": "milk", "supplier_lot_code": "L", "quantity": grams(1)}]});
    let refused = house.owner.post("/v1/deliveries", nobody).expect(422).json;
    assert_eq!((&refused["type"], &refused["field"]), (&json!("/problems/unknown-code"), &json!("supplier")));
    let sent = cook.fill_in("/stock/kitchen/send", "/stock/kitchen/send", &[("to", ""), ("do", "send")]);
    assert_eq!(sent.status, 422);
    says(&sent.text(), "there is nothing here yet");
}

/// The paste lies in the kitchen, the tubs in the shop: the hand at the shop is told of both, and led to what is theirs.
fn a_hand_is_not_led_where_they_may_not_go(backend: Backend) {
    let shop = Shop::open(backend);
    let hand = Visitor::come(&shop.house, "hand");
    let seeds = json!([{"by": "lots", "lots": [shop.made.base]}]);
    let drill = json!({"kind": "drill", "class": 3, "hazard": "glass", "seeds": seeds});
    let recall = shop.house.owner.post("/v1/recalls", drill).expect(201).json["recall"].clone();
    let case = hand.look(&format!("/recalls/{recall}"));
    says(&case, &format!("href=\"/recalls/{recall}/sites/harbour\""));
    says(&case, &format!("href=\"/tracing/lots/{}\"", shop.made.tubs[0]));
    says(&case, &shop.made.base);
    for away in [format!("/recalls/{recall}/sites/kitchen"), format!("/tracing/lots/{}", shop.made.base)] {
        assert!(!case.contains(&format!("href=\"{away}\"")), "{away}: {case}");
        assert_eq!(page(&hand.client, &away, &hand.cookie).status, 404);
    }
    let tub = hand.look(&format!("/lots/{}", shop.made.tubs[0]));
    says(&tub, &shop.made.base);
    assert!(!tub.contains(&format!("href=\"/lots/{}\"", shop.made.base)), "{tub}");
    let owner = json!({"login": "second", "name": "Olga", "password": PASSWORD, "roles": [{"role": "owner"}]});
    shop.house.owner.post("/v1/users", owner).expect(201).done();
    let owner = Visitor::come(&shop.house, "second");
    says(&owner.look(&format!("/lots/{}", shop.made.tubs[0])), &format!("href=\"/lots/{}\"", shop.made.base));
}

/// A form is sent to an address of its own, where nothing is to be seen. Who signs in anew, chooses another language or opens the
/// address once more comes to the page it stands on.
fn whoever_comes_back_to_a_form_sees_its_page(backend: Backend) {
    let shop = Shop::open(backend);
    let hand = Visitor::come(&shop.house, "hand");
    let (at, form) = (format!("/lots/{}", shop.made.tubs[1]), format!("/lots/{}/hold", shop.made.tubs[1]));
    let over = send(&hand.client, &form, "", &[("reason", "it smells")]);
    let to_sign_in = format!("/sign-in?next={}", at.replace('/', "%2F"));
    assert_eq!((over.status, over.header("Location")), (303, Some(to_sign_in.as_str())));
    let refused = hand.fill_in(&at, &form, &[("reason", "")]);
    assert_eq!(refused.status, 422);
    says(&refused.text(), &format!("name=\"next\" value=\"{at}\""));
    let browser = |path: &str| {
        let request = hand.client.request("GET", path).header("Cookie", &hand.cookie);
        request.header("Accept", "text/html,application/xhtml+xml,*/*;q=0.8").send()
    };
    let again = browser(&form);
    assert_eq!((again.status, again.header("Location")), (303, Some(at.as_str())));
    let nowhere = browser("/nowhere");
    assert_eq!((nowhere.status, nowhere.header("Content-Type")), (404, Some("text/html; charset=utf-8")));
    let nowhere = page(&hand.client, "/nowhere", &hand.cookie);
    assert_eq!((nowhere.status, nowhere.header("Content-Type")), (404, Some("application/problem+json")));
    let opened = format!("/counter/harbour/tubs/{}/open", shop.made.tubs[0]);
    let twice = hand.fill_in("/counter/harbour", &opened, &[("next", "/counter/harbour")]);
    assert_eq!(twice.status, 409);
    says(&twice.text(), "href=\"/counter/harbour\"");
}
