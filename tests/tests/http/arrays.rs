//! Arrays where the description has an object, for every object of every body: each is refused by its name, before anything else.

use serde_json::{Map, Value, json};
use tubtrail_tests::{Backend, RestHouse, on_both};

on_both!(an_array_is_no_object_anywhere);

/// The description, to make bodies of.
pub struct Description(Value);

impl Description {
    /// As it is served.
    #[track_caller]
    pub fn of(house: &RestHouse) -> Self {
        Self(house.owner.get("/openapi.json").expect(200).json)
    }

    /// Shows every object of every body: the method, an address to send it to, the body, and where in it the object is.
    pub fn each_object(&self, mut show: impl FnMut(&str, &str, &Value, &str)) {
        let (mut bodies, mut nested) = (0, 0);
        self.each_body(|method, address, body| {
            let mut places = Vec::new();
            objects_in(body, "", &mut places);
            bodies += 1;
            nested += places.iter().filter(|place| !place.is_empty()).count();
            for place in &places {
                show(method, address, body, place);
            }
        });
        // There is something to be found: fewer would mean that the walk lost its way.
        assert!(bodies > 60 && nested > 60, "{bodies} bodies with {nested} objects in them");
    }

    /// Shows every body of every operation, with the method and an address to send it to.
    fn each_body(&self, mut show: impl FnMut(&str, &str, &Value)) {
        for (path, operations) in self.0["paths"].as_object().expect("paths") {
            let parts: Vec<&str> = path.split('/').map(|part| if part.starts_with('{') { "1" } else { part }).collect();
            for (method, operation) in operations.as_object().expect("methods") {
                let content = &operation["requestBody"]["content"]["application/json"];
                let Some(schema) = content.get("schema") else { continue };
                let parameters = operation["parameters"].as_array().into_iter().flatten();
                let needed = parameters.filter(|one| one["in"] == "query" && one["required"] == true);
                let query: Vec<String> =
                    needed.filter_map(|one| Some(format!("{}=kitchen", one["name"].as_str()?))).collect();
                let address = format!("{}?{}", parts.join("/"), query.join("&"));
                self.bodies(schema).iter().for_each(|body| show(&method.to_uppercase(), &address, body));
            }
        }
    }

    fn resolved<'s>(&'s self, schema: &'s Value) -> &'s Value {
        match schema["$ref"].as_str().and_then(|name| name.strip_prefix("#/components/schemas/")) {
            Some(name) => &self.0["components"]["schemas"][name],
            None => schema,
        }
    }

    /// Bodies of every form that a schema describes, with all that may be in them.
    fn bodies(&self, schema: &Value) -> Vec<Value> {
        let schema = self.resolved(schema);
        if let Some(any) = schema["oneOf"].as_array().or(schema["anyOf"].as_array()) {
            return any.iter().filter(|one| one["type"] != "null").flat_map(|one| self.bodies(one)).collect();
        }
        if let Some(all) = schema["allOf"].as_array() {
            let parts = all.iter().map(|part| self.bodies(part).remove(0));
            let members = parts.filter_map(|part| part.as_object().cloned()).flatten();
            return vec![Value::Object(members.collect())];
        }
        if let Some(words) = schema["enum"].as_array() {
            return vec![words[0].clone()];
        }
        let kind = schema["type"].as_array().map_or(&schema["type"], |kinds| &kinds[0]);
        match kind.as_str().unwrap_or("string") {
            "object" => self.objects(schema),
            "array" => self.bodies(&schema["items"]).into_iter().map(|element| json!([element])).collect(),
            "integer" | "number" => vec![json!(1)],
            "boolean" => vec![json!(true)],
            _ => vec![match schema["format"].as_str() {
                Some("date") => json!("2026-11-25"),
                Some("date-time") => json!("2026-11-25T08:00:00Z"),
                _ => json!("1"),
            }],
        }
    }

    fn objects(&self, schema: &Value) -> Vec<Value> {
        let properties = schema["properties"].as_object().cloned().unwrap_or_default();
        let each: Vec<(String, Vec<Value>)> =
            properties.iter().map(|(name, of_it)| (name.clone(), self.bodies(of_it))).collect();
        let first: Map<String, Value> = each.iter().map(|(name, bodies)| (name.clone(), bodies[0].clone())).collect();
        let others = each.iter().flat_map(|(name, bodies)| bodies.iter().skip(1).map(move |body| (name, body)));
        let changed = others.map(|(name, body)| {
            let mut members = first.clone();
            members.insert(name.clone(), body.clone());
            Value::Object(members)
        });
        std::iter::once(Value::Object(first.clone())).chain(changed).collect()
    }
}

/// Where objects are in a body, the body itself among them, as a problem names the place.
fn objects_in(value: &Value, path: &str, found: &mut Vec<String>) {
    match value {
        Value::Object(members) => {
            found.push(path.to_owned());
            for (name, member) in members {
                objects_in(member, &if path.is_empty() { name.clone() } else { format!("{path}.{name}") }, found);
            }
        }
        Value::Array(elements) => {
            for (at, element) in elements.iter().enumerate() {
                objects_in(element, &format!("{path}[{at}]"), found);
            }
        }
        _ => {}
    }
}

/// A body with a change made to one of its objects, which is at such a path.
pub fn changed_at(body: &Value, path: &str, change: impl FnOnce(&mut Value)) -> Value {
    let mut body = body.clone();
    let pointer = format!(".{path}").replace('[', ".").replace(']', "").replace('.', "/");
    change(if path.is_empty() { &mut body } else { body.pointer_mut(&pointer).expect("it was found there") });
    body
}

/// Makes an array of what is in an object.
fn make_array(object: &mut Value) {
    let members = object.as_object().expect("an object").values().cloned().collect();
    *object = Value::Array(members);
}

fn an_array_is_no_object_anywhere(backend: Backend) {
    let house = RestHouse::open(backend);
    Description::of(&house).each_object(|method, address, body, place| {
        let wrong = changed_at(body, place, make_array);
        let answer = house.owner.request(method, address).json(&wrong).send();
        let problem = answer.refused(422, "/problems/invalid");
        let said = (problem.field().unwrap_or(""), problem.detail());
        let due = (place, Some("an object is expected here, not an array"));
        assert_eq!(said, due, "{method} {address} with {wrong}");
    });
    // An array where one belongs stays one.
    let transfer = json!({"from": "kitchen", "to": "harbour", "lines": [{"lot": "261125-0042-7"}]});
    house.owner.post("/v1/transfers", transfer).refused(422, "/problems/unknown-code");
}
