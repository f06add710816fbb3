//! Webhooks without the wire: what is due when, in which order, and when it ends.

use std::collections::HashSet;
use std::time::Duration;

use chrono::{DateTime, Utc};
use serde_json::Value;
use tubtrail_operations::holds::Because;
use tubtrail_operations::recalls::{Closing, NewRecall, RecallKind, SeedAsked};
use tubtrail_operations::webhooks::{
    Delivery, Desk, Due, NewSecret, NewWebhook, Outcome, Outgoing, Resumption, Webhook, WebhookEvent,
};
use tubtrail_operations::{OperationError, Request, Role};
use tubtrail_tests::house::{SHOP, day};
use tubtrail_tests::{Backend, TestHouse, on_both};

on_both!(
    each_event_is_told_once_and_in_order,
    what_is_not_taken_is_sent_again_for_three_days,
    sending_goes_on_where_it_stopped_or_from_now_on,
    who_wants_no_more_gets_no_more,
    a_test_goes_before_all_else_and_once,
    a_reach_that_changes_is_told,
    a_new_secret_signs_beside_the_old_for_a_day,
    another_key_signs_nothing,
    webhooks_are_the_owners,
    bad_webhooks_are_refused,
);

const ALL: [WebhookEvent; 6] = [
    WebhookEvent::HoldPlaced,
    WebhookEvent::HoldReleased,
    WebhookEvent::RecallBegun,
    WebhookEvent::RecallClosed,
    WebhookEvent::RecallWithdrawn,
    WebhookEvent::RecallReachChanged,
];

/// A house with someone who sends, over a wire that the test plays.
struct Post {
    house: TestHouse,
    desk: Desk,
    outgoing: Outgoing,
}

fn because(reason: &str) -> Because {
    Because { reason: Some(reason.into()) }
}

fn screen(code: &str, events: &[WebhookEvent]) -> NewWebhook {
    NewWebhook { code: code.into(), name: code.into(), url: "http://127.0.0.1:9/told".into(), events: events.to_vec() }
}

impl Post {
    fn open(backend: Backend) -> Self {
        let outgoing = Outgoing::new(Some([7; 32]), true);
        Self { house: TestHouse::new(backend), desk: Desk::default(), outgoing }
    }

    #[track_caller]
    fn register(&self, code: &str, events: &[WebhookEvent]) -> String {
        let made = self.house.tubtrail.create_webhook(&Request::system(), screen(code, events), &self.outgoing);
        made.unwrap_or_else(|error| panic!("{error}")).answer.secret
    }

    #[track_caller]
    fn look(&mut self) -> Due {
        let due = self.desk.look(&self.house.tubtrail, &self.outgoing, &HashSet::new());
        due.unwrap_or_else(|error| panic!("{error}"))
    }

    fn answer(&self, delivery: &Delivery, status: Option<u16>, said: &str) {
        let outcome = Outcome { took: Duration::from_millis(40), status, said: said.into(), asks_to_wait: None };
        self.house.tubtrail.record_delivery(delivery, outcome).unwrap_or_else(|error| panic!("{error}"));
    }

    /// Takes everything that is due, one after the other; what it was, as sort and body.
    fn take_all(&mut self) -> Vec<(&'static str, Value)> {
        let mut taken = Vec::new();
        loop {
            let due = self.look().deliveries;
            if due.is_empty() {
                return taken;
            }
            for delivery in due {
                self.answer(&delivery, Some(204), "");
                taken.push((delivery.event, serde_json::from_str(&delivery.body).expect("JSON")));
            }
        }
    }

    #[track_caller]
    fn hold(&self, lot: &str, reason: &str) -> i64 {
        let hold = self.house.tubtrail.hold_lot(&Request::system(), lot, because(reason));
        hold.unwrap_or_else(|error| panic!("{error}")).answer.id
    }

    #[track_caller]
    fn recall(&self) -> i64 {
        let new = NewRecall {
            kind: RecallKind::Real,
            class: 2,
            hazard: "glass splinters".into(),
            seeds: vec![SeedAsked::SupplierLots {
                supplier: "nut-mill".into(),
                codes: vec!["24-118".into()],
                item: None,
            }],
            with_contact: false,
            holds: None,
            noticed_at: None,
            due_at: None,
            instructions: None,
        };
        let begun = self.house.tubtrail.begin_recall(&Request::system(), new);
        begun.unwrap_or_else(|error| panic!("{error}")).answer.recall.recall
    }

    fn webhook(&self, code: &str) -> Webhook {
        self.house.tubtrail.get_webhook(&Request::system(), code).unwrap_or_else(|error| panic!("{error}"))
    }
}

fn sorts(taken: &[(&'static str, Value)]) -> Vec<&'static str> {
    taken.iter().map(|(sort, _)| *sort).collect()
}

fn each_event_is_told_once_and_in_order(backend: Backend) {
    let mut post = Post::open(backend);
    let milk = post.house.receive("dairy", "milk", "M-1", 8000);
    post.hold(&milk, "before anybody listened");
    post.register("all", &ALL);
    post.register("holds", &[WebhookEvent::HoldPlaced]);
    assert!(post.take_all().is_empty(), "what was before is not told");

    let paste = post.house.receive("nut-mill", "pistachio-paste", "24-118", 500);
    let first = post.hold(&milk, "a smell");
    let second = post.hold(&paste, "the mill called");
    let release = post.house.tubtrail.release_hold(&Request::system(), first, because("it was the drain"));
    release.unwrap_or_else(|error| panic!("{error}"));
    let recall = post.recall();
    let closing = Closing { name: "Paola".into(), reason: "another lot was meant".into() };
    post.house.tubtrail.withdraw_recall(&Request::system(), recall, closing).unwrap_or_else(|error| panic!("{error}"));

    let due = post.look().deliveries;
    assert_eq!(due.len(), 2, "one thing a webhook at a time");
    assert_eq!(due[0].message_id, due[1].message_id, "the same event has one id, whoever is told");
    assert_eq!(due[0].message_id, format!("msg_{first}"));

    let taken = post.take_all();
    let (all, holds): (Vec<_>, Vec<_>) = {
        let holds =
            [0, 1].map(|index| taken.iter().filter(|(sort, _)| *sort == "hold.placed").nth(2 * index + 1).cloned());
        (taken.clone(), holds.into_iter().flatten().collect())
    };
    assert_eq!(all.len(), 5 + 2, "five events, and two of them to the other");
    assert_eq!(holds.len(), 2);
    let of_all: Vec<_> = sorts(&taken).into_iter().filter(|sort| *sort != "hold.placed").collect();
    assert_eq!(of_all, ["hold.released", "recall.begun", "recall.withdrawn"]);
    let body = |sort: &str| &taken.iter().find(|(found, _)| *found == sort).expect("it was told").1;
    assert_eq!(body("hold.placed")["type"], "hold.placed");
    assert_eq!(body("hold.placed")["timestamp"], "2026-11-02T06:00:00Z");
    assert_eq!(body("hold.placed")["data"]["reason"], "a smell");
    assert_eq!(body("hold.placed")["data"]["lot"], milk.as_str());
    assert_eq!(body("hold.released")["data"]["release"]["reason"], "it was the drain");
    assert_eq!(body("recall.begun")["data"]["recall"], recall);
    assert_eq!(body("recall.begun")["data"]["reached_lots"], 1);
    assert_eq!(body("recall.begun")["data"]["ending"], Value::Null, "as it was when it was begun");
    assert!(body("recall.begun")["data"]["caution"].as_str().is_some_and(|said| said.contains("clears nothing")));
    assert_eq!(body("recall.withdrawn")["data"]["ending"]["reason"], "another lot was meant");
    assert!(post.take_all().is_empty(), "once");
    assert!(second > first);
}

/// Standard Webhooks 1.0.0, the example schedule: ten attempts, the last 75 h 35 min 5 s after the first.
fn what_is_not_taken_is_sent_again_for_three_days(backend: Backend) {
    let mut post = Post::open(backend);
    post.register("screen", &[WebhookEvent::HoldPlaced]);
    let milk = post.house.receive("dairy", "milk", "M-1", 8000);
    post.hold(&milk, "the first");
    post.hold(&milk, "the second");
    let mut ids = HashSet::new();
    let mut signatures = HashSet::new();
    let mut now: DateTime<Utc> = day(2, 6);
    for waits in [5, 300, 1800, 7200, 18_000, 36_000, 50_400, 72_000, 86_400, 0] {
        let due = post.look().deliveries;
        assert_eq!(due.len(), 1, "the second waits for the first");
        let body: Value = serde_json::from_str(&due[0].body).expect("JSON");
        assert_eq!(body["data"]["reason"], "the first");
        ids.insert(due[0].message_id.clone());
        signatures.insert(due[0].signatures.clone().expect("it is signed"));
        post.answer(&due[0], Some(503), "closed\nuntil seven");
        let webhook = post.webhook("screen");
        if waits == 0 {
            break;
        }
        // By chance up to a tenth sooner or later.
        let next = webhook.next_attempt_at.expect("it is sent again");
        let (off, tenth) = ((next - now).num_milliseconds() - waits * 1000, waits * 100);
        assert!(webhook.active && (-tenth..=tenth).contains(&off), "{off} ms off {waits} s");
        now = next;
        let early = post.look();
        assert!(early.deliveries.is_empty() && early.next_at == Some(now), "not before its time");
        post.house.clock.set(now);
    }
    assert_eq!(ids.len(), 1, "it is the same event");
    assert_eq!(signatures.len(), 10, "signed anew each time");
    let webhook = post.webhook("screen");
    assert!(!webhook.active);
    assert!(webhook.stopped_because.as_deref().is_some_and(|why| why.contains("10 times")), "{webhook:?}");
    assert_eq!(webhook.next_attempt_at, None);
    assert!(post.look().deliveries.is_empty(), "nothing more is sent");
    let attempts = post.house.tubtrail.list_webhook_attempts(&Request::system(), "screen", "", 3).expect("a list");
    let numbers: Vec<_> = attempts.items.iter().map(|attempt| attempt.number).collect();
    assert_eq!(numbers, [10, 9, 8], "the last first");
    assert_eq!((attempts.items[0].status, attempts.items[0].said.as_str()), (Some(503), "closed until seven"));
    let next = attempts.next.expect("there are more");
    let rest = post.house.tubtrail.list_webhook_attempts(&Request::system(), "screen", &next, 100).expect("a list");
    assert_eq!((rest.items.len(), rest.next), (7, None));
}

fn sending_goes_on_where_it_stopped_or_from_now_on(backend: Backend) {
    let mut post = Post::open(backend);
    let system = Request::system();
    post.register("screen", &[WebhookEvent::HoldPlaced]);
    let milk = post.house.receive("dairy", "milk", "M-1", 8000);
    post.hold(&milk, "first");
    let due = post.look().deliveries;
    post.answer(&due[0], None, "refused");
    post.house.tubtrail.stop_webhook(&system, "screen", because("it is painted")).expect("it runs");
    post.hold(&milk, "second");
    assert!(post.look().deliveries.is_empty());
    let again = post.house.tubtrail.stop_webhook(&system, "screen", because("it is painted"));
    assert_eq!(again.expect_err("it is stopped").problem.word, "webhook-stopped");

    let resume = |skip_missed: bool| {
        let new = Resumption { reason: Some("it is dry".into()), skip_missed };
        post.house.tubtrail.resume_webhook(&system, "screen", new)
    };
    assert!(resume(false).expect("it is stopped").answer.active);
    assert_eq!(resume(false).expect_err("it runs").problem.word, "webhook-running");
    // At once, whenever the next attempt would have been due, and its attempts are counted anew.
    let due = post.look().deliveries;
    post.answer(&due[0], Some(500), "");
    assert_eq!(post.webhook("screen").last_attempt.expect("an attempt").number, 1);
    post.house.clock.set(day(2, 7));
    let reasons: Vec<_> = post.take_all().into_iter().map(|(_, body)| body["data"]["reason"].clone()).collect();
    assert_eq!(reasons, ["first", "second"]);

    post.house.tubtrail.stop_webhook(&system, "screen", because("it is moved")).expect("it runs");
    post.hold(&milk, "third");
    let new = Resumption { reason: Some("it hangs".into()), skip_missed: true };
    post.house.tubtrail.resume_webhook(&system, "screen", new).expect("it is stopped");
    post.hold(&milk, "fourth");
    let reasons: Vec<_> = post.take_all().into_iter().map(|(_, body)| body["data"]["reason"].clone()).collect();
    assert_eq!(reasons, ["fourth"]);
}

fn who_wants_no_more_gets_no_more(backend: Backend) {
    let mut post = Post::open(backend);
    post.register("screen", &[WebhookEvent::HoldPlaced]);
    let milk = post.house.receive("dairy", "milk", "M-1", 8000);
    post.hold(&milk, "a smell");
    let due = post.look().deliveries;
    post.answer(&due[0], Some(410), "gone");
    let webhook = post.webhook("screen");
    assert!(webhook.stopped_because.is_some_and(|why| why.contains("410")));
    assert!(post.look().deliveries.is_empty());
}

fn a_test_goes_before_all_else_and_once(backend: Backend) {
    let mut post = Post::open(backend);
    let system = Request::system();
    post.register("screen", &[WebhookEvent::HoldPlaced]);
    let milk = post.house.receive("dairy", "milk", "M-1", 8000);
    post.hold(&milk, "a smell");
    let test = post.house.tubtrail.test_webhook(&system, "screen").expect("a test").answer;
    let due = post.look().deliveries;
    assert_eq!((due[0].event, due[0].message_id.as_str()), ("test", test.message_id.as_str()));
    let body: Value = serde_json::from_str(&due[0].body).expect("JSON");
    assert_eq!((&body["type"], &body["data"]["webhook"]), (&"test".into(), &"screen".into()));
    post.answer(&due[0], Some(410), "who are you?");
    assert!(post.webhook("screen").active, "a test stops nothing");
    assert_eq!(sorts(&post.take_all()), ["hold.placed"], "it is not sent again, and hides nothing");

    post.house.tubtrail.stop_webhook(&system, "screen", because("it is painted")).expect("it runs");
    post.house.tubtrail.test_webhook(&system, "screen").expect("a test");
    assert_eq!(sorts(&post.take_all()), ["test"], "also where sending has stopped");
}

/// 500 g of paste are recalled; then 300 g more arrive under the same code, and later 100 g.
fn a_reach_that_changes_is_told(backend: Backend) {
    let mut post = Post::open(backend);
    post.house.receive("nut-mill", "pistachio-paste", "24-118", 500);
    post.register("screen", &[WebhookEvent::RecallBegun, WebhookEvent::RecallReachChanged]);
    let recall = post.recall();
    assert_eq!(sorts(&post.take_all()), ["recall.begun"], "its beginning is no change");

    post.house.receive("nut-mill", "pistachio-paste", "24-118", 300);
    let taken = post.take_all();
    assert_eq!(sorts(&taken), ["recall.reach_changed"]);
    let data = &taken[0].1["data"];
    assert_eq!(
        (&data["recall"], &data["reached_lots"], &data["reached_before"]),
        (&recall.into(), &2.into(), &1.into())
    );

    // Whoever looks next, after a restart, knows what was told.
    post.desk = Desk::default();
    assert!(post.take_all().is_empty());
    post.house.receive("dairy", "milk", "M-1", 8000);
    assert!(post.take_all().is_empty(), "milk has nothing to do with it");
    post.desk = Desk::default();
    post.house.receive("nut-mill", "pistachio-paste", "24-118", 100);
    let taken = post.take_all();
    assert_eq!((&taken[0].1["data"]["reached_lots"], &taken[0].1["data"]["reached_before"]), (&3.into(), &2.into()));
}

fn a_new_secret_signs_beside_the_old_for_a_day(backend: Backend) {
    let mut post = Post::open(backend);
    let system = Request::system();
    let first = post.register("screen", &[WebhookEvent::HoldPlaced]);
    assert!(first.starts_with("whsec_"), "{first}");
    let milk = post.house.receive("dairy", "milk", "M-1", 8000);
    let signatures = |post: &mut Post| {
        post.house.tubtrail.test_webhook(&system, "screen").expect("a test");
        let due = post.look().deliveries.remove(0);
        post.answer(&due, Some(204), "");
        due.signatures.expect("it is signed").split(' ').map(str::to_owned).collect::<Vec<_>>()
    };
    assert_eq!(signatures(&mut post).len(), 1);
    let rotate = |post: &Post, at_once: bool| {
        let new = NewSecret { at_once };
        post.house.tubtrail.rotate_webhook_secret(&system, "screen", &new, &post.outgoing).expect("a secret").answer
    };
    house_at(&post, 2, 8);
    let second = rotate(&post, false);
    assert_ne!(second.secret, first);
    assert_eq!(second.webhook.secret_since, day(2, 8));
    assert_eq!(signatures(&mut post).len(), 2, "both, for a day");
    house_at(&post, 3, 8);
    assert_eq!(signatures(&mut post).len(), 1, "a day is over");
    rotate(&post, false);
    rotate(&post, true);
    assert_eq!(signatures(&mut post).len(), 1, "those before have leaked");
    post.hold(&milk, "a smell");
    assert_eq!(sorts(&post.take_all()), ["hold.placed"]);
}

fn house_at(post: &Post, in_november: u32, hour: u32) {
    post.house.clock.set(day(in_november, hour));
}

fn another_key_signs_nothing(backend: Backend) {
    let mut post = Post::open(backend);
    post.register("screen", &[WebhookEvent::HoldPlaced]);
    let milk = post.house.receive("dairy", "milk", "M-1", 8000);
    post.hold(&milk, "a smell");
    for key in [Some([8; 32]), None] {
        post.outgoing = Outgoing::new(key, true);
        assert_eq!(post.look().deliveries[0].signatures, None);
    }
    let made = post.house.tubtrail.create_webhook(&Request::system(), screen("other", &ALL), &post.outgoing);
    let Err(error) = made else { panic!("there is no key to make a secret with") };
    assert_eq!(error.problem.word, "no-webhook-key");
}

fn webhooks_are_the_owners(backend: Backend) {
    let post = Post::open(backend);
    post.register("screen", &[WebhookEvent::HoldPlaced]);
    let tubtrail = &post.house.tubtrail;
    for (role, site) in Role::ALL.into_iter().flat_map(|role| [(role, None), (role, Some(SHOP))]) {
        let request = post.house.someone(role, site);
        let who = format!("{} {site:?}", role.word());
        let may_read = site.is_none() && matches!(role, Role::Owner | Role::Inspector);
        let may_write = site.is_none() && role == Role::Owner;
        let is = |error: Option<OperationError>, may: bool| match error {
            None => assert!(may, "{who}"),
            Some(error) => assert!(!may && error.problem.word == "forbidden", "{who}: {error}"),
        };
        is(tubtrail.list_webhooks(&request, "", 10).err(), may_read);
        is(tubtrail.get_webhook(&request, "screen").err(), may_read);
        is(tubtrail.list_webhook_attempts(&request, "screen", "", 10).err(), may_read);
        let code = format!("of-{}-{}", role.word(), site.is_some());
        is(tubtrail.create_webhook(&request, screen(&code, &ALL), &post.outgoing).err(), may_write);
        is(tubtrail.rotate_webhook_secret(&request, "screen", &NewSecret::default(), &post.outgoing).err(), may_write);
        is(tubtrail.test_webhook(&request, "screen").err(), may_write);
        is(tubtrail.stop_webhook(&request, "screen", because("why not")).err(), may_write);
        let new = Resumption { reason: Some("why not".into()), skip_missed: false };
        is(tubtrail.resume_webhook(&request, "screen", new).err(), may_write);
    }
}

fn bad_webhooks_are_refused(backend: Backend) {
    let post = Post::open(backend);
    let create = |new: NewWebhook| post.house.tubtrail.create_webhook(&Request::system(), new, &post.outgoing);
    post.register("screen", &ALL);
    let good = || screen("other", &ALL);
    let outside = || Outgoing::new(Some([7; 32]), false);
    for (new, word, field) in [
        (NewWebhook { code: "Other".into(), ..good() }, "invalid", "code"),
        (NewWebhook { code: "screen".into(), ..good() }, "code-taken", "code"),
        (NewWebhook { name: String::new(), ..good() }, "invalid", "name"),
        (NewWebhook { events: vec![], ..good() }, "invalid", "events"),
        (NewWebhook { events: vec![WebhookEvent::HoldPlaced; 2], ..good() }, "repeated", "events"),
        (NewWebhook { url: "nowhere".into(), ..good() }, "invalid", "url"),
        (NewWebhook { url: "http://0.0.0.0/".into(), ..good() }, "address-refused", "url"),
        (NewWebhook { url: "http://a:b@127.0.0.1/".into(), ..good() }, "invalid", "url"),
    ] {
        let what = format!("{new:?}");
        let Err(error) = create(new) else { panic!("{what}") };
        assert_eq!((error.problem.word, error.field.as_deref()), (word, Some(field)), "{what}: {error}");
    }
    let inside = post.house.tubtrail.create_webhook(&Request::system(), good(), &outside());
    let Err(error) = inside else { panic!("http") };
    assert_eq!((error.problem.word, error.field.as_deref()), ("invalid", Some("url")));
    for number in 1..20 {
        post.register(&format!("screen-{number}"), &ALL);
    }
    let Err(error) = create(good()) else { panic!("twenty are enough") };
    assert_eq!(error.problem.word, "too-many-webhooks");
    let not_found = post.house.tubtrail.get_webhook(&Request::system(), "none\0").expect_err("there is none");
    assert_eq!(not_found.problem.word, "not-found");
}
