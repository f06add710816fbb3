//! Every operation of the description, asked by those who may not: nobody, somebody of another role, somebody of another
//! site. An operation that is added is walked too; one that addresses something new fails here until it is given one.

use std::collections::BTreeMap;

use serde_json::{Value, json};
use tubtrail_operations::Role;
use tubtrail_tests::world::{PASSWORD, sign_in};
use tubtrail_tests::{Answer, Backend, Client, World, on_both};

use super::description::{Described, operations, resolved};

on_both!(nobody_gets_anywhere, another_role_gets_nowhere, another_site_is_not_there, who_has_the_role_here_may_read);

/// Where everything lies that is asked for.
const HERE: &str = "quay-kitchen";
/// Also ours.
const STORE: &str = "quay-store";
/// Where those are who should not reach it.
const ELSEWHERE: &str = "market-shop";

/// What concerns no site: whoever has the role anywhere may.
const OF_THE_HOUSE: &[&str] = &[
    "show_me",
    "list_sites",
    "get_site",
    "list_site_versions",
    "list_partners",
    "get_partner",
    "list_partner_versions",
    "create_partner",
    "change_partner",
    "list_items",
    "get_item",
    "list_item_versions",
    "create_item",
    "change_item",
    "list_recipes",
    "get_recipe",
    "list_recipe_versions",
    "create_recipe",
    "change_recipe",
    "add_item_gtin",
    "get_gtin",
    "withdraw_gtin",
    "list_makers",
    "get_maker",
    "list_maker_versions",
    "list_item_labels",
    "get_item_label",
    "list_item_label_versions",
    "create_item_label",
    "change_item_label",
    "list_recalls",
    "foresee_recall",
    "get_recall",
    "draw_recall",
    "list_recall_lines",
    "find_recall_lines",
    "list_recall_consignees",
    "report_recall",
    "show_drill_report",
    // Of an item; a statement about a lot keeps to those who reach it.
    "create_statement",
    "list_clean_kinds",
    "get_clean_kind",
    "list_clean_kind_versions",
];

/// What concerns every site: whoever has the role at one of them only may not.
const OF_EVERY_SITE: &[&str] = &[
    "list_users",
    "create_user",
    "change_user",
    "list_journal",
    "follow_changes",
    "show_installation",
    "import_master_data",
    "create_site",
    "change_site",
    "begin_recall",
    "note_recall_notice",
    "note_recall_replies",
    "close_recall",
    "withdraw_recall",
    "create_clean_kind",
    "change_clean_kind",
    "list_webhooks",
    "get_webhook",
    "create_webhook",
    "rotate_webhook_secret",
    "stop_webhook",
    "resume_webhook",
    "test_webhook",
    "list_webhook_attempts",
    "create_maker",
    "change_maker",
];

pub struct Walk {
    /// Served, with its owner.
    pub world: World,
    api: Value,
    /// What stands for a parameter of a path, and names that only those within reach may read.
    things: BTreeMap<&'static str, String>,
}

impl Walk {
    /// Opens and furnishes one.
    pub fn new(backend: Backend) -> Self {
        let world = World::open(backend);
        let api = world.server.client().get("/openapi.json").expect(200).json;
        let things = furnish(&world.owner);
        Self { world, api, things }
    }

    /// Those that ask who you are.
    pub fn operations(&self) -> Vec<Described> {
        operations(&self.api).into_iter().filter(|described| !described.roles.is_empty()).collect()
    }

    /// Someone with one role at one site.
    fn person(&self, role: Role, site: &str) -> Client {
        let name = format!("{}-{site}", role.word());
        if role == Role::Device {
            let new = json!({"code": name, "name": name, "site": site});
            let device = self.world.owner.post("/v1/devices", new).expect(201);
            return self.world.server.client().with_token(device.json["token"].as_str().expect("a token"));
        }
        let roles = json!([{"role": role.word(), "site": site}]);
        let new = json!({"login": name, "name": name, "password": PASSWORD, "roles": roles});
        self.world.owner.post("/v1/users", new).expect(201).done();
        sign_in(&self.world.server, &name, PASSWORD)
    }

    fn people(&self, site: &str) -> Vec<(Role, Client)> {
        Role::ALL.into_iter().map(|role| (role, self.person(role, site))).collect()
    }

    /// The path with real things in it, and what must be asked besides.
    fn path(&self, described: &Described) -> String {
        self.path_but(described, None)
    }

    /// The same with something else for one parameter, in the path or the query.
    pub fn path_but(&self, described: &Described, but: Option<(&str, &str)>) -> String {
        let segment = |segment: &str| match segment.strip_prefix('{').and_then(|name| name.strip_suffix('}')) {
            Some(name) => {
                if let Some((_, other)) = but.filter(|(named, _)| *named == name) {
                    return other.to_owned();
                }
                let missing = || panic!("{}: give `furnish` a {name} at {HERE}", described.id);
                self.things.get(name).unwrap_or_else(missing).clone()
            }
            None => segment.to_owned(),
        };
        let path: Vec<_> = described.path.split('/').map(segment).collect();
        let required = described.operation["parameters"].as_array().into_iter().flatten();
        let is_in_path = |name: &str| described.path.contains(&format!("{{{name}}}"));
        let other = but.filter(|(name, _)| !is_in_path(name));
        let query: Vec<_> = required
            .filter(|parameter| parameter["in"] == "query" && parameter["required"] == true)
            .filter(|parameter| other.is_none_or(|(name, _)| parameter["name"] != name))
            .map(|parameter| match parameter["name"].as_str().expect("a name") {
                "site" => format!("site={HERE}"),
                "to" => format!("to={}", self.things["lot"]),
                "direction" => "direction=forward".into(),
                "equipment" => format!("equipment={}", self.things["equipment"]),
                "name" => "name=our-paper".into(),
                name => panic!("{}: say what stands for the query parameter {name}", described.id),
            })
            .chain(other.map(|(name, other)| format!("{name}={other}")))
            .collect();
        format!("{}?{}", path.join("/"), query.join("&"))
    }

    /// Asks with the example of the description, its sites turned to ours.
    fn ask(&self, client: &Client, described: &Described) -> Answer {
        let request = client.request(&described.method, &self.path(described));
        let content = &described.operation["requestBody"]["content"];
        for plain in ["text/csv", "application/octet-stream"] {
            if let Some(text) = content[plain]["example"].as_str() {
                return request.body(plain, text).send();
            }
        }
        match self.example(described) {
            Some(body) => request.json(body).send(),
            None => request.send(),
        }
    }

    /// The example of the description, its sites turned to ours; none where no JSON is taken.
    pub fn example(&self, described: &Described) -> Option<Value> {
        let json = described.operation["requestBody"]["content"].get("application/json")?;
        let schema = resolved(&self.api, &json["schema"]);
        let body = [&json["example"], &schema["example"]].into_iter().find(|example| example.is_object()).cloned();
        let mut body = body.unwrap_or_else(|| panic!("{}: its request has no example", described.id));
        let members = body.as_object_mut().expect("an object");
        for name in ["site", "from"] {
            members.entry(name).and_modify(|site| *site = HERE.into());
        }
        members.entry("to").and_modify(|site| *site = STORE.into());
        if members.get("equipment").is_some_and(Value::is_string) {
            members.insert("equipment".into(), self.things["equipment"].as_str().into());
        }
        if described.method == "POST" {
            members.remove("version");
        }
        Some(body)
    }

    fn ask_brokenly(&self, client: &Client, described: &Described) -> Answer {
        client.request(&described.method, &self.path(described)).body("application/json", "{").send()
    }
}

/// One of everything that is addressed, all of it at our kitchen.
fn furnish(owner: &Client) -> BTreeMap<&'static str, String> {
    let made = |path: &str, body: Value| owner.post(path, body).expect(201).json;
    let number = |value: &Value| value["id"].as_i64().expect("a number").to_string();
    for (code, kind) in [(HERE, "kitchen"), (STORE, "store_room"), (ELSEWHERE, "shop"), ("harbour-shop", "shop")] {
        made("/v1/sites", json!({"code": code, "name": code, "kind": kind, "time_zone": "Europe/Lisbon"}));
    }
    made("/v1/partners", json!({"code": "hollow-farm", "name": "Farm", "supplies": true, "takes_tubs": false}));
    made("/v1/partners", json!({"code": "old-mill-bistro", "name": "Mill", "supplies": false, "takes_tubs": true}));
    for (code, kind) in [("whole-milk", "ingredient"), ("white-base", "base")] {
        let counted = json!({"by": "mass"});
        made("/v1/items", json!({"code": code, "name": code, "kind": kind, "counted": counted, "kept": "ambient"}));
    }
    made("/v1/items/whole-milk/gtins", json!({"gtin": "9520123456788"}));
    let lines = json!([{"item": "whole-milk", "grams": 1000}]);
    let recipe = json!({"code": "white-base-60", "name": "White base", "item": "white-base", "lines": lines,
        "expected_yield_grams": 1000, "maturing_minutes": 0});
    made("/v1/recipes", recipe);
    let freezer = json!({"code": "our-freezer", "name": "Freezer", "site": HERE, "touches": ["base"]});
    made("/v1/equipment", freezer);
    made("/v1/devices", json!({"code": "our-till", "name": "Till", "site": HERE}));
    let grams = |grams: u32| json!({"amount": grams, "unit": "g"});
    let expiry = json!({"kind": "best_before", "on": "2999-12-31"});
    let line =
        json!({"item": "whole-milk", "supplier_lot_code": "our-lot", "quantity": grams(40_000), "expiry": expiry});
    let delivery = json!({"supplier": "hollow-farm", "site": HERE, "document": "our-note", "lines": [line]});
    let delivery = made("/v1/deliveries", delivery);
    let lot = delivery["lines"][0]["lot"].as_str().expect("a lot").to_owned();
    let paper = owner.request("POST", &format!("/v1/deliveries/{}/documents?name=our-paper", number(&delivery)));
    let paper =
        paper.body("application/octet-stream", "%PDF-1.7 %%EOF").send().expect(201).json["document"].to_string();
    let batch = number(&made("/v1/batches", json!({"recipe": "white-base-60", "site": HERE})));
    let uses = json!({"uses": [{"lot": lot, "quantity": grams(500)}]});
    let uses = made(&format!("/v1/batches/{batch}/uses"), uses);
    let reading = json!({"readings": [{"step": "heating", "temperature_celsius": 85.2}]});
    let reading = made(&format!("/v1/batches/{batch}/readings"), reading);
    let run = json!({"equipment": [{"equipment": "our-freezer", "from": "2026-01-05T08:00:00Z"}]});
    let run = made(&format!("/v1/batches/{batch}/equipment"), run);
    let clean_kind = json!({"code": "allergen-clean", "name": "Washed", "clears": ["everything"]});
    made("/v1/clean-kinds", clean_kind);
    let clean = made("/v1/cleans", json!({"equipment": "our-freezer", "kind": "allergen-clean"}));
    let statement = json!({"lot": lot, "lists": ["eu"], "contains": ["milk"], "document": "our-paper"});
    let statement = made("/v1/statements", statement);
    let transfer = json!({"from": HERE, "to": STORE, "lines": [{"lot": lot, "quantity": grams(2000)}]});
    let transfer = made("/v1/transfers", transfer);
    let counted = json!({"lot": lot, "state": "available", "found": grams(37_000), "reason": "one bag was torn"});
    let count = made("/v1/counts", json!({"site": HERE, "complete": false, "lines": [counted]}));
    let maker = json!({"code": "our-maker", "name": "Maker", "address": ["1 Harbour Street"], "jurisdiction": "eu"});
    made("/v1/makers", maker);
    made("/v1/item-labels", json!({"code": "whole-milk", "name": "whole milk", "made_of": {"by": "single"}}));
    let printer = json!({"code": "our-printer", "name": "Printer", "site": HERE, "uri": "ipp://127.0.0.1:1/ipp/print",
        "size": "60x40", "dpi": 203});
    made("/v1/printers", printer);
    let print = made(&format!("/v1/lots/{lot}/prints"), json!({"site": HERE}))["print"].to_string();
    let hold = made(&format!("/v1/lots/{lot}/holds"), json!({"reason": "our reason"}));
    // Nothing that happens here is told: no hold is released.
    let told =
        json!({"code": "our-screen", "name": "Screen", "url": "https://198.20.0.1/", "events": ["hold.released"]});
    made("/v1/webhooks", told);
    let seeds = json!([{"by": "lots", "lots": [lot]}]);
    let drill = json!({"kind": "drill", "class": 1, "hazard": "our hazard", "holds": false, "seeds": seeds});
    let recall = made("/v1/recalls", drill)["recall"].to_string();
    BTreeMap::from([
        ("recall", recall),
        ("site", HERE.into()),
        ("partner", "hollow-farm".into()),
        ("item", "whole-milk".into()),
        ("recipe", "white-base-60".into()),
        ("equipment", "our-freezer".into()),
        ("device", "our-till".into()),
        ("login", "owner".into()),
        ("noun", "sites".into()),
        ("delivery", number(&delivery)),
        ("document", paper),
        ("lot", lot),
        ("batch", batch),
        ("use", number(&uses["uses"][0])),
        ("reading", number(&reading["readings"][0])),
        ("run", number(&run["equipment"][0])),
        ("clean_kind", "allergen-clean".into()),
        ("clean", number(&clean)),
        ("statement", number(&statement["statement"])),
        ("transfer", number(&transfer)),
        ("count", number(&count)),
        ("hold", number(&hold)),
        ("webhook", "our-screen".into()),
        ("gtin", "9520123456788".into()),
        ("maker", "our-maker".into()),
        ("item_label", "whole-milk".into()),
        ("printer", "our-printer".into()),
        ("print", print),
    ])
}

fn nobody_gets_anywhere(backend: Backend) {
    let walk = Walk::new(backend);
    let nobody = walk.world.server.client();
    let nonsense = nobody.with_token("nonsense");
    for described in walk.operations() {
        for answer in
            [walk.ask(&nobody, &described), walk.ask_brokenly(&nobody, &described), walk.ask(&nonsense, &described)]
        {
            answer.refused(401, "/problems/not-signed-in");
        }
    }
}

/// Before a body is so much as looked at.
fn another_role_gets_nowhere(backend: Backend) {
    let walk = Walk::new(backend);
    let people = walk.people(HERE);
    let before = position(&walk);
    for described in walk.operations() {
        for (role, client) in &people {
            if !described.roles.iter().any(|fitting| fitting == role.word()) {
                walk.ask(client, &described).refused(403, "/problems/forbidden");
                walk.ask_brokenly(client, &described).refused(403, "/problems/forbidden");
            }
        }
    }
    assert_eq!(position(&walk), before, "nothing was done");
}

/// The journal's last entry.
fn position(walk: &Walk) -> Value {
    walk.world.server.client().get("/readyz").expect(200).json["position"].clone()
}

/// Without this the walks above would prove nothing: what they ask for is there.
fn who_has_the_role_here_may_read(backend: Backend) {
    let walk = Walk::new(backend);
    let people = walk.people(HERE);
    for described in walk.operations().iter().filter(|described| described.method == "GET") {
        // The stream of changes ends only when it is left; it has a test of its own.
        if described.id == "follow_changes" {
            continue;
        }
        for (role, client) in &people {
            if described.roles.iter().any(|fitting| fitting == role.word()) {
                let due = if OF_EVERY_SITE.contains(&described.id.as_str()) { 403 } else { 200 };
                walk.ask(client, described).expect(due).done();
            }
        }
        if OF_EVERY_SITE.contains(&described.id.as_str()) {
            walk.ask(&walk.world.owner, described).expect(200).done();
        }
    }
}

fn another_site_is_not_there(backend: Backend) {
    let walk = Walk::new(backend);
    let people = walk.people(ELSEWHERE);
    let before = position(&walk);
    let ours: Vec<&str> =
        ["lot", "equipment", "device", "printer"].iter().map(|name| walk.things[name].as_str()).collect();
    let mut wrong = Vec::new();
    for described in walk.operations() {
        let id = described.id.as_str();
        if OF_THE_HOUSE.contains(&id) {
            continue;
        }
        let is_list = described.method == "GET" && !described.path.contains('{');
        for (role, client) in people.iter().filter(|(role, _)| described.roles.iter().any(|fit| fit == role.word())) {
            let answer = walk.ask(client, &described);
            let fits = match answer.status {
                403 => OF_EVERY_SITE.contains(&id) || described.method != "GET",
                404 => !OF_EVERY_SITE.contains(&id),
                200 => is_list && !ours.iter().any(|name| answer.text().contains(name)),
                _ => false,
            };
            if !fits {
                let text: String = answer.text().chars().take(300).collect();
                wrong.push(format!("{id}, asked by {} at {ELSEWHERE}: {} {text}", role.word(), answer.status));
            }
            if is_list && answer.status == 200 && described.operation.to_string().contains("\"name\":\"site\"") {
                let narrowed = client.get(&format!("{}?site={HERE}", described.path));
                if narrowed.status != 404 {
                    wrong.push(format!("{id}?site={HERE}, asked by {}: {}", role.word(), narrowed.status));
                }
            }
        }
    }
    assert!(wrong.is_empty(), "out of reach, and yet: {wrong:#?}");
    assert_eq!(position(&walk), before, "nothing was done");
}
