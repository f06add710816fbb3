//! Arrays where the description has an object: serde reads a struct from either, taking its fields one after the other, and so
//! what was sent by mistake would be understood in an order that nobody promised.

use std::collections::HashMap;
use std::sync::LazyLock;

use serde_json::{Map, Value};

/// What the description says of bodies.
struct Described {
    /// By the id of the operation, the schema of its JSON body; of those alone that have objects in them.
    bodies: HashMap<String, Value>,
    /// The schemas that others refer to, by name.
    named: Map<String, Value>,
}

static DESCRIBED: LazyLock<Described> = LazyLock::new(|| {
    let api = serde_json::to_value(crate::api::describe()).unwrap_or_default();
    let each =
        api["paths"].as_object().into_iter().flatten().flat_map(|(_, path)| path.as_object().into_iter().flatten());
    let bodies = each.filter_map(|(_, operation)| {
        let id = operation["operationId"].as_str()?.to_owned();
        Some((id, operation["requestBody"]["content"]["application/json"].get("schema")?.clone()))
    });
    let named = api["components"]["schemas"].as_object().cloned().unwrap_or_default();
    let mut described = Described { bodies: bodies.collect(), named };
    let with_objects = described.bodies.iter().filter(|(_, schema)| described.holds_objects(schema));
    described.bodies = with_objects.map(|(id, schema)| (id.clone(), schema.clone())).collect();
    described
});

/// Whether there is an object in the body of an operation, besides the body itself.
pub fn holds_objects(operation: &str) -> bool {
    DESCRIBED.bodies.contains_key(operation)
}

/// Where an array stands in the body of an operation, and an object should: a path as in `lines[0].quantity`.
pub fn misplaced_array(operation: &str, body: &Value) -> Option<String> {
    let schema = DESCRIBED.bodies.get(operation)?;
    DESCRIBED.misplaced(schema, body, "")
}

impl Described {
    /// A schema, or the one it refers to.
    fn resolved<'s>(&'s self, schema: &'s Value) -> &'s Value {
        let name = schema["$ref"].as_str().and_then(|name| name.rsplit('/').next());
        name.and_then(|name| self.named.get(name)).unwrap_or(schema)
    }

    /// Whether values of a schema may have objects in them.
    fn holds_objects(&self, schema: &Value) -> bool {
        let schema = self.resolved(schema);
        let of = |schema: &Value| self.is_or_holds_object(schema);
        kinds(schema).any(|one| self.holds_objects(one))
            || schema["properties"].as_object().is_some_and(|all| all.values().any(of))
            || schema.get("additionalProperties").is_some_and(of)
            || schema.get("items").is_some_and(of)
    }

    fn is_or_holds_object(&self, schema: &Value) -> bool {
        let schema = self.resolved(schema);
        is(schema, "object") || kinds(schema).any(|one| self.is_or_holds_object(one)) || self.holds_objects(schema)
    }

    fn misplaced(&self, schema: &Value, value: &Value, path: &str) -> Option<String> {
        let schema = self.resolved(schema);
        if let Some(all) = schema["allOf"].as_array() {
            return all.iter().find_map(|part| self.misplaced(part, value, path));
        }
        if let Some(any) = schema["oneOf"].as_array().or(schema["anyOf"].as_array()) {
            return self.misplaced_in_any(any, value, path);
        }
        match value {
            Value::Array(_) if is(schema, "object") && !is(schema, "array") => Some(path.to_owned()),
            Value::Array(elements) => {
                let items = schema.get("items")?;
                elements
                    .iter()
                    .enumerate()
                    .find_map(|(at, element)| self.misplaced(items, element, &format!("{path}[{at}]")))
            }
            Value::Object(members) => members.iter().find_map(|(name, member)| {
                let of_it = schema["properties"].get(name).or(schema.get("additionalProperties"))?;
                let point = if path.is_empty() { "" } else { "." };
                self.misplaced(of_it, member, &format!("{path}{point}{name}"))
            }),
            _ => None,
        }
    }

    /// Of several that may be meant, those that fit count; an array that fits none stands where an object should.
    fn misplaced_in_any(&self, any: &[Value], value: &Value, path: &str) -> Option<String> {
        let mut fitting = any.iter().filter(|one| self.fits(one, value)).peekable();
        if fitting.peek().is_none() {
            return value.is_array().then(|| path.to_owned());
        }
        let mut found = None;
        for one in fitting {
            found = Some(self.misplaced(one, value, path)?);
        }
        found
    }

    /// Whether a value may be meant by a schema: by its type, by what must be there, and by the words that tell one from another.
    fn fits(&self, schema: &Value, value: &Value) -> bool {
        let schema = self.resolved(schema);
        if let Some(all) = schema["allOf"].as_array() {
            return all.iter().all(|part| self.fits(part, value));
        }
        if let Some(any) = schema["oneOf"].as_array().or(schema["anyOf"].as_array()) {
            return any.iter().any(|one| self.fits(one, value));
        }
        let is_of_type = schema.get("type").is_none()
            || match value {
                Value::Null => is(schema, "null"),
                Value::Bool(_) => is(schema, "boolean"),
                Value::Number(_) => is(schema, "number") || is(schema, "integer"),
                Value::String(_) => is(schema, "string"),
                Value::Array(_) => is(schema, "array"),
                Value::Object(_) => is(schema, "object"),
            };
        let is_one_of = schema["enum"].as_array().is_none_or(|words| words.contains(value));
        let Value::Object(members) = value else { return is_of_type && is_one_of };
        let required = schema["required"].as_array().into_iter().flatten().filter_map(Value::as_str);
        is_of_type
            && required.into_iter().all(|name| members.contains_key(name))
            && members.iter().all(|(name, member)| {
                schema["properties"][name]["enum"].as_array().is_none_or(|words| words.contains(member))
            })
    }
}

/// The schemas of which a schema is put together, or among which it chooses.
fn kinds(schema: &Value) -> impl Iterator<Item = &Value> {
    ["allOf", "oneOf", "anyOf"].into_iter().filter_map(|kind| schema[kind].as_array()).flatten()
}

/// Whether a schema takes values of a type.
fn is(schema: &Value, kind: &str) -> bool {
    match &schema["type"] {
        Value::String(one) => one == kind,
        Value::Array(several) => several.iter().any(|one| one == kind),
        _ => false,
    }
}
