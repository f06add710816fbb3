//! A furnished house over HTTP: what a client would send, and nothing else.

use serde_json::{Value, json};

use crate::{Answer, Backend, Client, World};

/// A served house with sites, partners, items and recipes, and nothing in stock.
pub struct RestHouse {
    /// Signed in as the owner.
    pub owner: Client,
    /// What it stands on.
    pub world: World,
}

impl RestHouse {
    /// Opens and furnishes one.
    ///
    /// # Panics
    /// If anything is refused.
    #[track_caller]
    pub fn open(backend: Backend) -> Self {
        Self::open_with(backend, &[])
    }

    /// The same with more arguments to `serve`.
    ///
    /// # Panics
    /// If anything is refused.
    #[track_caller]
    pub fn open_with(backend: Backend, more: &[&str]) -> Self {
        let world = World::open_with(backend, more);
        let house = Self { owner: world.owner.clone(), world };
        house.furnish();
        house
    }

    fn furnish(&self) {
        for (code, kind) in [("kitchen", "kitchen"), ("harbour", "shop"), ("market", "shop")] {
            let zone = "Europe/Lisbon";
            self.create("sites", json!({"code": code, "name": code, "kind": kind, "time_zone": zone}));
        }
        self.create("partners", json!({"code": "dairy", "name": "Dairy", "supplies": true}));
        self.create("partners", json!({"code": "bistro", "name": "Bistro", "takes_tubs": true}));
        for (code, kind) in [
            ("milk", "ingredient"),
            ("sugar", "ingredient"),
            ("pistachio-paste", "ingredient"),
            ("white-base", "base"),
            ("pistachio", "flavour"),
        ] {
            let item = json!({"code": code, "name": code, "kind": kind, "counted": {"by": "mass"},
                "portion_grams": if kind == "flavour" { json!(80) } else { Value::Null }});
            self.create("items", item);
        }
        let water = json!({"code": "water", "name": "Water", "kind": "ingredient", "counted": {"by": "mass"},
            "tracked": false});
        self.create("items", water);
        self.create(
            "recipes",
            json!({"code": "white-base", "item": "white-base", "name": "White base", "expected_yield_grams": 9500,
                "maturing_minutes": 0,
                "lines": [{"item": "milk", "grams": 8000}, {"item": "sugar", "grams": 2000}]}),
        );
        self.create(
            "recipes",
            json!({"code": "pistachio", "item": "pistachio", "name": "Pistachio", "expected_yield_grams": 4400,
                "lines": [{"item": "white-base", "grams": 4000}, {"item": "pistachio-paste", "grams": 500}]}),
        );
    }

    /// Says what the labels of pistachio need: who makes it, what everything is called, and what is in it.
    ///
    /// # Panics
    /// If anything is refused.
    #[track_caller]
    pub fn furnish_labels(&self) {
        let maker = json!({"code": "northquay", "name": "Northquay Gelato", "jurisdiction": "eu",
            "address": ["1 Harbour Street", "Northquay"]});
        self.create("makers", maker);
        for (code, name) in [("milk", "whole milk"), ("sugar", "sugar"), ("pistachio-paste", "pistachio paste")] {
            self.create("item-labels", json!({"code": code, "name": name, "made_of": {"by": "single"}}));
        }
        let gelato = json!({"code": "pistachio", "name": "pistachio gelato", "made_of": {"by": "what_went_in"},
            "storage": "Keep at −18 °C or below."});
        self.create("item-labels", gelato);
        for (item, contains) in
            [("milk", json!(["milk"])), ("sugar", json!([])), ("pistachio-paste", json!(["pistachio"]))]
        {
            let statement = json!({"item": item, "supplier": "dairy", "in_force_from": "2020-01-01",
                "lists": ["eu", "us", "ca"], "contains": contains, "document": "Specification"});
            self.create("statements", statement);
        }
        let mut item = self.owner.get("/v1/items/pistachio").expect(200).json;
        item["shelf_life_days"] = json!(180);
        self.owner.put("/v1/items/pistachio", item).expect(200).done();
    }

    /// Creates a noun of the master data.
    ///
    /// # Panics
    /// If it is refused.
    #[track_caller]
    pub fn create(&self, nouns: &str, body: Value) {
        self.owner.post(&format!("/v1/{nouns}"), body).expect(201).done();
    }

    /// Receives a supplier lot of so many grams at the kitchen; answers our number for it.
    ///
    /// # Panics
    /// If it is refused.
    #[track_caller]
    pub fn receive(&self, item: &str, supplier_lot_code: &str, grams: u32) -> String {
        let answer = self.owner.post("/v1/deliveries", delivery(item, supplier_lot_code, grams)).expect(201);
        text(&answer.json["lines"][0]["lot"])
    }

    /// Writes up a whole batch at the kitchen; answers the numbers of the lots it yielded.
    ///
    /// # Panics
    /// If it is refused.
    #[track_caller]
    pub fn make(&self, recipe: &str, uses: &[(&str, u32)], kind: &str, outputs: &[u32]) -> Vec<String> {
        let uses: Vec<_> = uses.iter().map(|(lot, mass)| json!({"lot": lot, "quantity": grams(*mass)})).collect();
        let outputs: Vec<_> = outputs.iter().map(|mass| json!({"kind": kind, "quantity": grams(*mass)})).collect();
        let body = json!({"recipe": recipe, "site": "kitchen", "uses": uses, "outputs": outputs});
        let answer: Answer = self.owner.post("/v1/batches/write-up", body).expect(201);
        let lots = answer.json["outputs"].as_array().expect("a completed batch has outputs");
        lots.iter().map(|lot| text(&lot["lot"])).collect()
    }

    /// Milk and sugar become 9500 g of base, 4000 g of it and 500 g of paste two tubs of 2200 g each. Answers the numbers
    /// of milk, sugar, paste, base and the tubs.
    ///
    /// # Panics
    /// If anything is refused.
    #[track_caller]
    pub fn make_two_tubs(&self) -> Tubs {
        let milk = self.receive("milk", "M-1", 8000);
        let sugar = self.receive("sugar", "S-1", 2000);
        let paste = self.receive("pistachio-paste", "24-118", 500);
        let base = self.make("white-base", &[(&milk, 8000), (&sugar, 2000)], "base", &[9500]).remove(0);
        let tubs = self.make("pistachio", &[(&base, 4000), (&paste, 500)], "tub", &[2200, 2200]);
        Tubs { milk, sugar, paste, base, tubs }
    }
}

/// What [`RestHouse::make_two_tubs`] made, by number.
#[derive(Clone, Debug)]
pub struct Tubs {
    /// 8000 g.
    pub milk: String,
    /// 2000 g.
    pub sugar: String,
    /// 500 g.
    pub paste: String,
    /// 9500 g, 4000 g of it used.
    pub base: String,
    /// Two of 2200 g.
    pub tubs: Vec<String>,
}

/// A delivery of one line under a document of its own.
pub fn delivery(item: &str, supplier_lot_code: &str, mass: u32) -> Value {
    json!({"supplier": "dairy", "site": "kitchen", "document": format!("DN-{}", crate::client::fresh_key()),
        "lines": [{"item": item, "supplier_lot_code": supplier_lot_code, "quantity": grams(mass)}]})
}

/// So many grams.
pub fn grams(grams: u32) -> Value {
    json!({"amount": grams, "unit": "g"})
}

/// A text of an answer.
///
/// # Panics
/// If it is none.
#[track_caller]
pub fn text(value: &Value) -> String {
    value.as_str().unwrap_or_else(|| panic!("{value} is no text")).to_owned()
}
