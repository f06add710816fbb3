//! Suppliers' documents, in the shapes of the examples that GS1 publishes with EPCIS 2.0, become deliveries.

use serde_json::{Value, json};
use tubtrail_tests::{Answer, Backend, RestHouse, on_both};

on_both!(
    a_shipment_becomes_a_delivery,
    what_is_not_known_is_left_open_and_said,
    what_was_made_tells_the_last_day_of_what_was_sent,
    single_packages_are_added_up,
    a_pallet_is_what_was_put_onto_it,
    what_did_not_happen_is_passed_over,
    a_mistake_is_named_by_its_pointer,
    it_is_no_larger_than_a_delivery,
    nothing_is_written_down,
);

/// Number and company prefix of GS1's example 9.6.2: `urn:epc:class:lgtin:4012345.012345` is 04012345123456.
const MILK: &str = "4012345123456";
const DAIRY: &str = "0614141123452";

fn known(backend: Backend) -> RestHouse {
    let house = RestHouse::open(backend);
    let dairy = json!({"code": "dairy", "name": "Dairy", "supplies": true, "gln": DAIRY, "version": 1});
    house.owner.put("/v1/partners/dairy", dairy).expect(200).done();
    let given = json!({"gtin": MILK, "grams_per_unit": 10_000});
    house.owner.post("/v1/items/milk/gtins", given).expect(201).done();
    house
}

fn document(events: &Value) -> Value {
    json!({
        "@context": ["https://ref.gs1.org/standards/epcis/2.0.0/epcis-context.jsonld",
            {"example": "http://ns.example.com/epcis/"}],
        "id": "https://id.example.org/document1", "type": "EPCISDocument", "schemaVersion": "2.0",
        "creationDate": "2026-11-25T05:30:47.0Z", "example:sender": "the dairy", "epcisBody": {"eventList": events}})
}

/// As example 9.6.2, a step of the business later.
fn shipping() -> Value {
    json!({"eventID": "urn:uuid:374d95fc-9457-4a51-bd6a-0bba133845a8", "type": "ObjectEvent",
        "eventTime": "2026-11-25T05:00:00.591+01:00", "eventTimeZoneOffset": "+01:00", "action": "OBSERVE",
        "bizStep": "shipping", "disposition": "in_transit", "readPoint": {"id": "urn:epc:id:sgln:0614141.12345.0"},
        "bizTransactionList": [
            {"type": "po", "bizTransaction": "urn:epc:id:gdti:0614141.06012.1234"},
            {"type": "desadv", "bizTransaction": "urn:epcglobal:cbv:bt:0614141123452:DN-20417"}],
        "quantityList": [{"epcClass": "urn:epc:class:lgtin:4012345.012345.998877", "quantity": 200, "uom": "KGM"}],
        "sourceList": [{"type": "possessing_party", "source": "urn:epc:id:pgln:0614141.12345"},
            {"type": "location", "source": "urn:epc:id:sgln:0614141.12345.0"}],
        "destinationList": [{"type": "location", "destination": "https://kitchen.example/quay"}],
        "example:myField": {"example:nested": ["Example of a vendor/user extension"]}})
}

fn ask(house: &RestHouse, document: &Value) -> Answer {
    house.owner.request("POST", "/v1/imports/epcis?site=kitchen").json(document).send()
}

fn proposed(house: &RestHouse, events: &Value) -> Value {
    ask(house, &document(events)).expect(200).json
}

fn a_shipment_becomes_a_delivery(backend: Backend) {
    let house = known(backend);
    let proposal = proposed(&house, &json!([shipping()]));
    let due = json!({"supplier": "dairy", "site": "kitchen", "document": "DN-20417", "lines": [
        {"item": "milk", "supplier_lot_code": "998877", "quantity": {"amount": "200", "unit": "kg"}}]});
    assert_eq!(proposal, json!({"delivery": due, "missing": [], "cautions": [], "passed_over": []}));
    let received = house.owner.post("/v1/deliveries", &proposal["delivery"]).expect(201).json;
    assert_eq!(
        (&received["lines"][0]["grams"], &received["lines"][0]["decision"]),
        (&json!(200_000), &json!("accepted"))
    );
    // As it would go out again.
    let told = house.owner.get("/v1/exports/epcis").expect(200).json;
    let event = &told["epcisBody"]["eventList"][0];
    assert_eq!(event["quantityList"][0]["epcClass"], json!("https://id.gs1.org/01/04012345123456/10/998877"));
    assert_eq!(event["bizTransactionList"][0]["bizTransaction"], json!("urn:epcglobal:cbv:bt:0614141123452:DN-20417"));

    let mut as_link = shipping();
    as_link["quantityList"][0]["epcClass"] = json!("https://id.gs1.org/01/04012345123456/10/998877");
    as_link["sourceList"] = json!([{"type": "owning_party", "source": "https://id.gs1.org/417/0614141123452"}]);
    assert_eq!(proposed(&house, &json!([as_link]))["delivery"], due, "by link as by URN");
}

fn what_is_not_known_is_left_open_and_said(backend: Backend) {
    let house = known(backend);
    let mut event = shipping();
    event["bizTransactionList"] = json!([]);
    event["sourceList"] = json!([{"type": "possessing_party", "source": "urn:epc:id:pgln:4012345.00001"}]);
    event["quantityList"] = json!([
        {"epcClass": "urn:epc:class:lgtin:4012345.099999.1", "quantity": 2, "uom": "KGM"},
        {"epcClass": "urn:epc:idpat:sgtin:4012345.012345.*", "quantity": 3},
        {"epcClass": "https://dairy.example/cream", "quantity": 4.25, "uom": "KGM"},
        {"epcClass": "urn:epc:class:lgtin:4012345.012345.5", "quantity": 6, "uom": "BX"},
        {"epcClass": "urn:epc:class:lgtin:4012345.012345.6", "quantity": 7, "uom": "LTR"},
        {"epcClass": "urn:epc:class:lgtin:4012345.012345.7"}]);
    let proposal = proposed(&house, &json!([event]));
    let lines = &proposal["delivery"]["lines"];
    assert_eq!(lines[0], json!({"supplier_lot_code": "1", "quantity": {"amount": "2", "unit": "kg"}}));
    // Three packages of 10 kg.
    assert_eq!(lines[1], json!({"item": "milk", "quantity": {"amount": "30000", "unit": "g"}}));
    assert_eq!(lines[2], json!({"quantity": {"amount": "4.25", "unit": "kg"}}));
    assert_eq!(lines[3], json!({"item": "milk", "supplier_lot_code": "5"}));
    let gaps: Vec<(&str, &str)> = proposal["missing"]
        .as_array()
        .expect("gaps")
        .iter()
        .filter_map(|gap| Some((gap["field"].as_str()?, gap["why"].as_str()?)))
        .collect();
    let fields: Vec<&str> = gaps.iter().map(|(field, _)| *field).collect();
    let due = [
        "supplier",
        "document",
        "lines[0].item",
        "lines[1].supplier_lot_code",
        "lines[2].item",
        "lines[2].supplier_lot_code",
        "lines[3].quantity",
        // Litres of what is counted by mass, and nothing said at all.
        "lines[4].quantity",
        "lines[5].quantity",
    ];
    assert_eq!(fields, due);
    assert_eq!(gaps[0].1, "no partner has the location number 4012345000016");
    assert!(gaps.iter().all(|(_, why)| !why.is_empty()));
    assert_eq!(proposed(&house, &json!([]))["missing"][2]["field"], json!("lines"), "nothing was sent");
}

fn what_was_made_tells_the_last_day_of_what_was_sent(backend: Backend) {
    let house = known(backend);
    // As example 9.6.1 commissions, with the lot and its day beside it; 500 kg were made, and 200 of them sent.
    let made = json!({"type": "ObjectEvent", "eventTime": "2026-11-24T20:33:31.116Z", "eventTimeZoneOffset": "-06:00",
        "action": "ADD", "bizStep": "commissioning",
        "quantityList": [{"epcClass": "urn:epc:class:lgtin:4012345.012345.998877", "quantity": 500, "uom": "KGM"}],
        "ilmd": {"cbvmda:lotNumber": "998877", "cbvmda:itemExpirationDate": "2999-03-15",
            "example:anything": {"example:else": 1}}});
    let due = json!([{"item": "milk", "supplier_lot_code": "998877", "quantity": {"amount": "200", "unit": "kg"},
        "expiry": {"kind": "use_by", "on": "2999-03-15"}}]);
    assert_eq!(proposed(&house, &json!([made, shipping()]))["delivery"]["lines"], due);
    assert_eq!(proposed(&house, &json!([shipping(), made]))["delivery"]["lines"], due, "in either order");

    // Alone, what was made is what comes; a day that is past is said.
    let mut stale = made.clone();
    stale["ilmd"] = json!({"urn:epcglobal:cbv:mda:bestBeforeDate": "2020-03-15T00:00:00Z"});
    let proposal = proposed(&house, &json!([stale]));
    assert_eq!(proposal["delivery"]["lines"][0]["quantity"], json!({"amount": "500", "unit": "kg"}));
    assert_eq!(proposal["delivery"]["lines"][0]["expiry"], json!({"kind": "best_before", "on": "2020-03-15"}));
    assert_eq!(proposal["cautions"], json!(["lines[0]: its last day was 2020-03-15: the line can only be rejected"]));
}

/// 1.5 kg and half a pound of one lot: 1500 g and 226.796185 g, to the milligram; two packages of another, 10 kg each.
fn single_packages_are_added_up(backend: Backend) {
    let house = known(backend);
    let mut event = shipping();
    event["quantityList"] = json!([
        {"epcClass": "urn:epc:class:lgtin:4012345.012345.A", "quantity": 1.5, "uom": "KGM"},
        {"epcClass": "urn:epc:class:lgtin:4012345.012345.A", "quantity": 0.5, "uom": "LBR"}]);
    event["epcList"] = json!(["urn:epc:id:sgtin:4012345.012345.400", "https://id.gs1.org/01/04012345123456/21/401"]);
    let lines = proposed(&house, &json!([event]))["delivery"]["lines"].clone();
    let due = json!([{"item": "milk", "quantity": {"amount": "20000.000", "unit": "g"}},
        {"item": "milk", "supplier_lot_code": "A", "quantity": {"amount": "1726.796", "unit": "g"}}]);
    let grams = |line: &Value| line["quantity"]["amount"].as_str().and_then(|text| text.parse::<f64>().ok());
    for at in [0, 1] {
        assert_eq!((&lines[at]["item"], grams(&lines[at])), (&due[at]["item"], grams(&due[at])), "{lines}");
    }
}

/// A pallet leaves by its own number (common practice, no source). Before that 150 kg of a lot and a carton were put onto it, and
/// into the carton 50 kg of the same.
fn a_pallet_is_what_was_put_onto_it(backend: Backend) {
    let house = known(backend);
    let (pallet, carton) = ("urn:epc:id:sscc:0614141.1234567890", "https://id.gs1.org/00/106141412345678908");
    let milk = |kilograms: u32| json!([{"epcClass": "urn:epc:class:lgtin:4012345.012345.998877", "quantity": kilograms, "uom": "KGM"}]);
    let aggregation = |at: &str, action: &str, unit: &str| {
        json!({"type": "AggregationEvent", "eventTime": format!("2026-11-25T{at}:00+01:00"), "parentID": unit,
            "eventTimeZoneOffset": "+01:00", "action": action, "bizStep": "packing"})
    };
    let mut inner = aggregation("03:00", "ADD", carton);
    inner["childQuantityList"] = milk(50);
    let mut outer = aggregation("04:00", "ADD", pallet);
    outer["childQuantityList"] = milk(150);
    outer["childEPCs"] = json!([carton]);
    let mut left = shipping();
    left["quantityList"] = json!([]);
    left["epcList"] = json!([pallet]);
    let due = proposed(&house, &json!([shipping()]))["delivery"].clone();
    let lines = |events: &Value| proposed(&house, events)["delivery"]["lines"].clone();
    let both = lines(&json!([left, inner, outer]));
    assert_eq!((&both[0]["item"], &both[0]["supplier_lot_code"]), (&json!("milk"), &json!("998877")));
    let grams = both[0]["quantity"]["amount"].as_str().and_then(|text| text.parse::<f64>().ok());
    assert_eq!((grams, both.as_array().map(Vec::len)), (Some(200_000.0), Some(1)));
    assert_eq!(proposed(&house, &json!([inner, outer, left]))["delivery"]["document"], due["document"]);

    // What is told after it left was not on it then; what was taken off again left who knows what.
    let mut after = outer.clone();
    after["eventTime"] = json!("2026-11-25T09:00:00+01:00");
    let unknown = json!([{}]);
    assert_eq!(lines(&json!([after, left])), unknown);
    assert_eq!(lines(&json!([outer, inner, aggregation("04:30", "DELETE", pallet), left])), unknown);
    assert_eq!(lines(&json!([outer, inner, left, aggregation("23:00", "DELETE", pallet)])), both, "the receiver's");
    let mut wrong = outer.clone();
    wrong["errorDeclaration"] = json!({"declarationTime": "2026-11-25T06:00:00+01:00", "reason": "did_not_occur"});
    assert_eq!(lines(&json!([wrong, left])), unknown);
    // In itself, and with nothing in it.
    outer["childEPCs"] = json!([pallet]);
    assert_eq!(lines(&json!([outer, left]))[0]["quantity"], json!({"amount": "150", "unit": "kg"}));
    assert_eq!(lines(&json!([aggregation("04:00", "ADD", pallet), left])), unknown);
    let mut mistaken = outer;
    mistaken["childQuantityList"][0]["quantity"] = json!("150");
    let refusal = ask(&house, &document(&json!([left, mistaken])));
    let pointer = "/epcisBody/eventList/1/childQuantityList/0/quantity";
    assert_eq!(refusal.refused(422, "/problems/invalid").field(), Some(pointer));
}

fn what_did_not_happen_is_passed_over(backend: Backend) {
    let house = known(backend);
    // As the example ErrorDeclarationAndCorrectiveEvent: the same event again, with the declaration.
    let mut wrong = shipping();
    wrong["errorDeclaration"] = json!({"declarationTime": "2026-11-25T06:00:00+01:00", "reason": "incorrect_data",
        "correctiveEventIDs": ["urn:uuid:404d95fc-9457-4a51-bd6a-0bba133845a8"], "example:vendorExtension": "Test1"});
    let mut right = shipping();
    right["eventID"] = json!("urn:uuid:404d95fc-9457-4a51-bd6a-0bba133845a8");
    right["quantityList"][0]["quantity"] = json!(180);
    let packed = json!({"type": "AggregationEvent", "eventTime": "2026-11-25T04:58:56.591+01:00",
        "eventTimeZoneOffset": "+01:00", "parentID": "urn:epc:id:sscc:0614141.1234567890", "action": "ADD",
        "childEPCs": ["urn:epc:id:sgtin:0614141.107346.2017"], "bizStep": "packing"});
    let mut spoilt = shipping();
    spoilt["action"] = json!("DELETE");
    spoilt["bizStep"] = json!("destroying");
    spoilt["eventID"] = json!("urn:uuid:504d95fc-9457-4a51-bd6a-0bba133845a8");
    let proposal = proposed(&house, &json!([shipping(), wrong, right, packed, spoilt]));
    let lines = json!([{"item": "milk", "supplier_lot_code": "998877", "quantity": {"amount": "180", "unit": "kg"}}]);
    assert_eq!(proposal["delivery"]["lines"], lines);
    let passed: Vec<&str> =
        proposal["passed_over"].as_array().expect("a list").iter().filter_map(|one| one["at"].as_str()).collect();
    assert_eq!(passed, [0, 1, 3, 4].map(|at| format!("/epcisBody/eventList/{at}")));
}

fn a_mistake_is_named_by_its_pointer(backend: Backend) {
    let house = known(backend);
    let sound = document(&json!([shipping()]));
    let event = "/epcisBody/eventList/0";
    // What is put where, and where that is said to be wrong.
    let cases: [(&str, Value, &str); 20] = [
        ("/@context", json!(["https://farm.example/words", "words"]), "/@context/1"),
        ("/type", json!("EPCISQueryDocument"), "/type"),
        ("/schemaVersion", json!("1.2"), "/schemaVersion"),
        ("/creationDate", json!("yesterday"), "/creationDate"),
        ("/epcisBody/eventList", json!({}), "/epcisBody/eventList"),
        ("/colour", json!("red"), "/colour"),
        ("/epcisBody/eventList/0/type", json!("ObjectEven"), "/epcisBody/eventList/0/type"),
        ("/epcisBody/eventList/0/colour", json!("red"), "/epcisBody/eventList/0/colour"),
        ("/epcisBody/eventList/0/a~1b", json!("red"), "/epcisBody/eventList/0/a~1b"),
        ("/epcisBody/eventList/0/eventTime", json!("2026-11-25T05:00:00"), "/epcisBody/eventList/0/eventTime"),
        ("/epcisBody/eventList/0/eventTimeZoneOffset", json!("+1:00"), "/epcisBody/eventList/0/eventTimeZoneOffset"),
        ("/epcisBody/eventList/0/eventTimeZoneOffset", json!("+14:30"), "/epcisBody/eventList/0/eventTimeZoneOffset"),
        ("/epcisBody/eventList/0/action", json!("LOOK"), "/epcisBody/eventList/0/action"),
        ("/epcisBody/eventList/0/quantityList/0/uom", json!("kg"), "/epcisBody/eventList/0/quantityList/0/uom"),
        ("/epcisBody/eventList/0/quantityList/0/quantity", json!(-5), "/epcisBody/eventList/0/quantityList/0/quantity"),
        (
            "/epcisBody/eventList/0/quantityList/0/quantity",
            json!("5"),
            "/epcisBody/eventList/0/quantityList/0/quantity",
        ),
        (
            "/epcisBody/eventList/0/quantityList/0/epcClass",
            json!("milk"),
            "/epcisBody/eventList/0/quantityList/0/epcClass",
        ),
        (
            "/epcisBody/eventList/0/quantityList/0/epcClass",
            json!("https://id.gs1.org/01/04012345123450/10/1"),
            "/epcisBody/eventList/0/quantityList/0",
        ),
        (
            "/epcisBody/eventList/0/sourceList/0/source",
            json!("urn:epc:id:pgln:0614141.1234"),
            "/epcisBody/eventList/0/sourceList/0/source",
        ),
        (
            "/epcisBody/eventList/0/ilmd",
            json!({"cbvmda:itemExpirationDate": "soon"}),
            "/epcisBody/eventList/0/ilmd/cbvmda:itemExpirationDate",
        ),
    ];
    for (at, value, pointer) in cases {
        let mut wrong = sound.clone();
        let (parent, name) = at.rsplit_once('/').expect("a pointer");
        let parent = wrong.pointer_mut(parent).and_then(Value::as_object_mut).expect("an object");
        parent.insert(name.replace("~1", "/"), value.clone());
        let answer = ask(&house, &wrong);
        assert_eq!(answer.refused(422, "/problems/invalid").field(), Some(pointer), "{at} = {value}");
    }
    for missing in ["eventTime", "eventTimeZoneOffset", "action", "type"] {
        let mut wrong = sound.clone();
        wrong.pointer_mut(event).and_then(Value::as_object_mut).expect("an event").remove(missing);
        let answer = ask(&house, &wrong);
        assert_eq!(answer.refused(422, "/problems/invalid").field(), Some(&*format!("{event}/{missing}")));
    }
    ask(&house, &json!([1])).refused(422, "/problems/invalid");
    let site = house.owner.request("POST", "/v1/imports/epcis?site=nowhere").json(&sound).send();
    assert_eq!(site.refused(422, "/problems/unknown-code").field(), Some("site"));
}

fn it_is_no_larger_than_a_delivery(backend: Backend) {
    let house = known(backend);
    let quantity = |lot: usize| json!({"epcClass": format!("urn:epc:class:lgtin:4012345.012345.{lot}"), "quantity": 1, "uom": "KGM"});
    let mut event = shipping();
    event["quantityList"] = (0..200).map(quantity).collect();
    let proposal = proposed(&house, &json!([event]));
    assert_eq!(proposal["delivery"]["lines"].as_array().map(Vec::len), Some(200));
    house.owner.post("/v1/deliveries", &proposal["delivery"]).expect(201).done();
    event["quantityList"] = (0..201).map(quantity).collect();
    let answer = ask(&house, &document(&json!([event])));
    let too_many = answer.refused(413, "/problems/too-large");
    assert_eq!(too_many.field(), Some("/epcisBody/eventList/0/quantityList/200"));
    let small = json!({"type": "ObjectEvent", "eventTime": "2026-11-24T20:33:31Z", "eventTimeZoneOffset": "+00:00",
        "action": "OBSERVE", "epcList": []});
    let events = |count: usize| document(&Value::from(vec![small.clone(); count]));
    ask(&house, &events(1000)).expect(200).done();
    assert_eq!(ask(&house, &events(1001)).refused(413, "/problems/too-large").field(), Some("/epcisBody/eventList"));
}

fn nothing_is_written_down(backend: Backend) {
    let house = known(backend);
    let before = house.owner.get("/v1/journal?limit=200").expect(200).json;
    proposed(&house, &json!([shipping()]));
    assert_eq!(house.owner.get("/v1/journal?limit=200").expect(200).json, before);
    let api = house.owner.get("/openapi.json").expect(200).json;
    let proposes = &api["paths"]["/v1/imports/epcis"]["post"];
    assert_eq!(proposes["operationId"], json!("propose_delivery"));
    assert_eq!(proposes["responses"]["200"]["headers"], Value::Null, "no Tubtrail-Entry");
}
