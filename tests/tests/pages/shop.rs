//! A shop with tubs, and the one who stands at its counter.

use serde_json::json;
use tubtrail_tests::rest::Tubs;
use tubtrail_tests::world::PASSWORD;
use tubtrail_tests::{Backend, RestHouse};

/// A shop with two tubs of pistachio: one open, one on the shelf.
pub struct Shop {
    pub house: RestHouse,
    pub made: Tubs,
}

impl Shop {
    /// `hand` serves there; the paste is stated to contain pistachio, and milk nobody has stated.
    #[track_caller]
    pub fn open(backend: Backend) -> Self {
        let house = RestHouse::open(backend);
        let made = house.make_two_tubs();
        let paste = json!({"item": "pistachio-paste", "supplier": "dairy", "in_force_from": "2020-01-01", "lists": ["eu"],
            "contains": ["pistachio"], "document": "Specification 7"});
        house.owner.post("/v1/statements", paste).expect(201).done();
        let lines: Vec<_> = made.tubs.iter().map(|lot| json!({"lot": lot})).collect();
        let transfer = json!({"from": "kitchen", "to": "harbour", "lines": lines});
        let transfer = house.owner.post("/v1/transfers", transfer).expect(201);
        let receipt = format!("/v1/transfers/{}/receipt", transfer.json["id"]);
        house.owner.post(&receipt, json!({"all_as_sent": true})).expect(201).done();
        house.owner.post(&format!("/v1/lots/{}/opening", made.tubs[0]), json!({})).expect(201).done();
        let way = json!({"shared_scoop": false});
        house.owner.post("/v1/sites/harbour/serving-ways", way).expect(201).done();
        let hand = json!({"login": "hand", "name": "Nora at the harbour", "password": PASSWORD,
            "roles": [{"role": "shop", "site": "harbour"}]});
        house.owner.post("/v1/users", hand).expect(201).done();
        Self { house, made }
    }
}
