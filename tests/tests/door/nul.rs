//! NUL, which PostgreSQL takes in no text: sent in every place of every operation of the description, it is the sender's
//! mistake and never ours.

use serde_json::{Value, json};
use tubtrail_tests::{Answer, Backend, on_both};

use super::description::operations;
use super::walk::Walk;

on_both!(nul_in_an_address_is_refused, nul_in_a_body_is_refused, nobody_breaks_the_sign_in_with_nul);

/// Said for everything that went wrong.
fn said(what: &str, answer: &Answer) -> String {
    format!("{what}: {} {}", answer.status, answer.text().chars().take(300).collect::<String>())
}

fn nul_in_an_address_is_refused(backend: Backend) {
    let walk = Walk::new(backend);
    let api = walk.world.server.client().get("/openapi.json").expect(200).json;
    let mut wrong = Vec::new();
    let mut sent = 0;
    for described in operations(&api) {
        let parameters = described.operation["parameters"].as_array().into_iter().flatten();
        for parameter in parameters.filter(|parameter| parameter["in"] == "path" || parameter["in"] == "query") {
            let name = parameter["name"].as_str().expect("a name");
            for nul in ["%00", "a%00b"] {
                let path = walk.path_but(&described, Some((name, nul)));
                let request = walk.world.owner.request(&described.method, &path);
                let answer = match walk.example(&described) {
                    Some(body) => request.json(body).send(),
                    None => request.send(),
                };
                sent += 1;
                if !(400..500).contains(&answer.status) {
                    wrong.push(said(&format!("{} {path}", described.method), &answer));
                }
            }
        }
    }
    assert!(sent > 200, "{sent} were sent");
    assert!(wrong.is_empty(), "{} of {sent}: {wrong:#?}", wrong.len());
}

fn nul_in_a_body_is_refused(backend: Backend) {
    let walk = Walk::new(backend);
    let mut wrong = Vec::new();
    let mut sent = 0;
    for described in walk.operations() {
        let Some(example) = walk.example(&described) else { continue };
        let path = walk.path_but(&described, None);
        for pointer in texts(&example) {
            let mut body = example.clone();
            *body.pointer_mut(&pointer).expect("it is there") = json!("a\u{0}b");
            let answer = walk.world.owner.request(&described.method, &path).json(body).send();
            sent += 1;
            if !(400..500).contains(&answer.status) {
                wrong.push(said(&format!("{} {path} {pointer}", described.method), &answer));
            }
        }
    }
    assert!(sent > 80, "{sent} were sent");
    assert!(wrong.is_empty(), "{} of {sent}: {wrong:#?}", wrong.len());
}

/// Where the texts of a document lie, as RFC 6901 points.
fn texts(value: &Value) -> Vec<String> {
    let under =
        |at: &str, value: &Value| texts(value).into_iter().map(|rest| format!("/{at}{rest}")).collect::<Vec<_>>();
    match value {
        Value::String(_) => vec![String::new()],
        Value::Array(items) => items.iter().enumerate().flat_map(|(at, item)| under(&at.to_string(), item)).collect(),
        Value::Object(members) => members.iter().flat_map(|(name, member)| under(name, member)).collect(),
        _ => Vec::new(),
    }
}

fn nobody_breaks_the_sign_in_with_nul(backend: Backend) {
    let walk = Walk::new(backend);
    let nobody = walk.world.server.client();
    for (login, password) in [("a\u{0}b", "three scoops"), ("\u{0}", "\u{0}"), ("owner", "three\u{0}scoops")] {
        let credentials = json!({"login": login, "password": password});
        let answer = nobody.request("POST", "/v1/sessions").json(credentials).send();
        answer.refused(401, "/problems/wrong-password");
    }
}
