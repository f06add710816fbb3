//! The API's description is what the handlers say, whole, and committed.

use std::path::Path;

use serde_json::{Map, Value};
use tubtrail_operations::reach::OPERATIONS;
use tubtrail_tests::binary;

/// The description as the program prints it.
pub fn printed() -> String {
    let output = binary::command(binary::path()).arg("openapi").output().expect("it runs");
    assert!(output.status.success(), "{}", String::from_utf8_lossy(&output.stderr));
    String::from_utf8(output.stdout).expect("UTF-8")
}

/// An operation of the description.
pub struct Described {
    /// `GET`, `POST`, ...
    pub method: String,
    /// As in `/v1/sites/{site}`.
    pub path: String,
    /// Its id.
    pub id: String,
    /// The roles that may; empty where anybody may.
    pub roles: Vec<String>,
    /// All of it.
    pub operation: Value,
}

/// Every operation of a description.
pub fn operations(api: &Value) -> Vec<Described> {
    let mut all = Vec::new();
    for (path, item) in members(&api["paths"]) {
        for (method, operation) in members(item) {
            let roles = operation["x-roles"].as_array().into_iter().flatten();
            all.push(Described {
                method: method.to_uppercase(),
                path: path.clone(),
                id: operation["operationId"].as_str().expect("an operation has an id").to_owned(),
                roles: roles.map(|role| role.as_str().expect("a role").to_owned()).collect(),
                operation: operation.clone(),
            });
        }
    }
    all
}

fn members(value: &Value) -> &Map<String, Value> {
    value.as_object().expect("an object")
}

/// What a `$ref` stands for.
pub fn resolved<'a>(api: &'a Value, value: &'a Value) -> &'a Value {
    match value["$ref"].as_str() {
        Some(reference) => api.pointer(reference.trim_start_matches('#')).expect("it is among the components"),
        None => value,
    }
}

#[test]
fn the_description_is_the_one_committed() {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("../openapi/tubtrail.json");
    let committed = std::fs::read_to_string(&path).unwrap_or_default();
    assert!(
        printed() == committed,
        "the API has changed: read `git diff` after\n    cargo run --bin tubtrail openapi > openapi/tubtrail.json\nand commit it"
    );
}

#[test]
fn every_operation_is_described_whole() {
    let api: Value = serde_json::from_str(&printed()).expect("JSON");
    assert_eq!(api["openapi"], "3.1.0");
    let mut ids = std::collections::HashSet::new();
    let mut without_example = Vec::new();
    for Described { method, path, id, roles, operation } in operations(&api) {
        let what = format!("{method} {path} ({id})");
        assert!(ids.insert(id.clone()), "{what}: two operations have this id");
        assert!(operation["summary"].as_str().is_some_and(|text| !text.is_empty()), "{what} has no summary");
        assert!(operation["description"].as_str().is_some_and(|text| !text.is_empty()), "{what} has no description");
        assert!(operation["tags"][0].is_string(), "{what} has no tag");
        assert_eq!(
            roles.is_empty(),
            operation["security"].is_null(),
            "{what}: whoever has roles is asked who they are"
        );
        let known = OPERATIONS
            .iter()
            .find(|known| known.id == id)
            .map(|known| known.roles.iter().map(|role| role.word().to_owned()).collect::<Vec<_>>());
        assert_eq!(known.unwrap_or_default(), roles, "{what}");
        assert_eq!(roles.is_empty(), !path.starts_with("/v1/") || id == "sign_in", "{what} is open to everybody");
        for parameter in operation["parameters"].as_array().into_iter().flatten() {
            let name = &parameter["name"];
            assert!(parameter["description"].as_str().is_some_and(|text| !text.is_empty()), "{what}: {name}");
        }
        if !operation["requestBody"].is_null() {
            for (kind, content) in members(&operation["requestBody"]["content"]) {
                if !has_example(&api, content) {
                    without_example.push(format!("{what} takes {kind}"));
                }
            }
        }
        let answers = members(&operation["responses"]);
        let good: Vec<_> = answers.iter().filter(|(status, _)| status.starts_with('2')).collect();
        assert!(!good.is_empty(), "{what} never succeeds");
        for (status, answer) in good {
            for (kind, content) in members(resolved(&api, &answer["content"])) {
                if !has_example(&api, content) {
                    without_example.push(format!("{what} answers {status} with {kind}"));
                }
            }
        }
        let due: &[&str] = if roles.is_empty() { &["500"] } else { &["401", "403", "404", "500", "503"] };
        for status in due {
            assert!(answers.contains_key(*status), "{what} does not tell of {status}");
        }
    }
    assert!(without_example.is_empty(), "these show no example: {without_example:#?}");
}

/// An example of its own, or of its schema; of a page, an example of what is on it.
fn has_example(api: &Value, content: &Value) -> bool {
    let has = |value: &Value| !value["example"].is_null() || !value["examples"].is_null();
    let schema = resolved(api, &content["schema"]);
    has(content)
        || has(schema)
        || has(resolved(api, &schema["items"]))
        || has(resolved(api, &schema["properties"]["items"]["items"]))
        || ["oneOf", "anyOf", "allOf"].iter().any(|kind| {
            schema[kind].as_array().is_some_and(|schemas| schemas.iter().any(|one| has(resolved(api, one))))
        })
}

/// The guard finds an operation by method and path alone; of two that fit, the one with fewer parameters (OpenAPI 3.1, "Paths
/// Object": concrete paths come before their templated counterparts).
#[test]
fn no_two_operations_are_asked_for_alike() {
    let api: Value = serde_json::from_str(&printed()).expect("JSON");
    let all = operations(&api);
    for (index, one) in all.iter().enumerate() {
        for other in &all[index + 1..] {
            let (a, b): (Vec<_>, Vec<_>) = (one.path.split('/').collect(), other.path.split('/').collect());
            let alike =
                a.len() == b.len() && a.iter().zip(&b).all(|(a, b)| a == b || a.starts_with('{') || b.starts_with('{'));
            let parameters = |path: &[&str]| path.iter().filter(|segment| segment.starts_with('{')).count();
            let alike = alike && parameters(&a) == parameters(&b);
            assert!(one.method != other.method || !alike, "{} {} and {}", one.method, one.path, other.path);
        }
    }
}

/// Examples are typed in by those who try: a lot number in one must pass its own check.
#[test]
fn lot_numbers_in_examples_are_lot_numbers() {
    let text = printed();
    let is_one = |word: &&str| {
        let parts: Vec<_> =
            word.split('-').map(|part| (part.len(), part.bytes().all(|byte| byte.is_ascii_digit()))).collect();
        parts == [(6, true), (4, true), (1, true)]
    };
    let words = text.split(|character: char| !character.is_ascii_alphanumeric() && character != '-');
    let numbers: Vec<_> = words.filter(is_one).collect();
    assert!(numbers.len() > 20, "{} numbers", numbers.len());
    for number in numbers {
        let read: Result<tubtrail_domain::lot_number::LotNumber, _> = number.parse();
        assert!(read.is_ok(), "{number}: {read:?}");
    }
}
