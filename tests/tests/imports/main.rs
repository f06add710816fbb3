//! Master data from outside: over HTTP, and from the command line.

use serde_json::json;
use tubtrail_tests::{Backend, World, binary, on_both};

on_both!(
    master_data_is_kept_over_http,
    a_file_is_taken_over_http,
    what_labels_need_is_taken_from_files,
    a_file_is_taken_from_the_command_line,
);

const SITES: &str = "code,name,kind,time_zone,gln,active\nquay,Kitchen on the quay,kitchen,Europe/Lisbon,,\n";

fn master_data_is_kept_over_http(backend: Backend) {
    let world = World::open(backend);
    let owner = &world.owner;
    let site = json!({"code": "quay", "name": "Quay", "kind": "kitchen", "time_zone": "Europe/Lisbon"});
    owner.post("/v1/sites", &site).expect(201).done();
    owner.post("/v1/sites", &site).refused(409, "/problems/code-taken");
    let partner = json!({"code": "dairy", "name": "Dairy", "supplies": true});
    let created = owner.post("/v1/partners", partner).expect(201).json;
    assert_eq!((&created["version"], &created["active"]), (&json!(1), &json!(true)));

    let milk = json!({"code": "milk", "name": "Milk", "kind": "ingredient",
        "counted": {"by": "volume", "density_kg_per_m3": 1032}});
    owner.post("/v1/items", milk).expect(201).done();
    let base = json!({"code": "base", "name": "Base", "kind": "base", "counted": {"by": "mass"}});
    owner.post("/v1/items", base).expect(201).done();
    let wrong = json!({"code": "rum", "name": "Rum", "kind": "ingredient",
        "counted": {"by": "strength", "percent_vol": 24, "sweetened": true}});
    let problem = owner.post("/v1/items", wrong);
    assert_eq!(problem.refused(422, "/problems/needs-density").field(), Some("counted.sweetened"));

    let recipe = json!({"code": "base-9", "item": "base", "name": "Base, 9 kg",
        "lines": [{"item": "milk", "grams": 10000}], "expected_yield_grams": 9000.5});
    let mut recipe = owner.post("/v1/recipes", recipe).expect(201).json;
    assert_eq!((&recipe["maturing_minutes"], &recipe["expected_yield_grams"]), (&json!(720), &json!(9000.5)));
    recipe["name"] = json!("Nine kilograms of base");
    assert_eq!(owner.put("/v1/recipes/base-9", &recipe).expect(200).json["version"], 2);
    owner.put("/v1/recipes/base-9", &recipe).refused(409, "/problems/version-moved");
    assert_eq!(owner.get("/v1/recipes/base-9/versions").expect(200).json.as_array().map(Vec::len), Some(2));

    let kettle = json!({"code": "kettle", "name": "Kettle", "site": "quay", "touches": ["base", "ingredient"]});
    owner.post("/v1/equipment", kettle).expect(201).done();
    let kettle = owner.get("/v1/equipment/kettle").expect(200).json;
    assert_eq!(kettle["touches"], json!(["ingredient", "base"]), "in the order of making");
    for noun in ["sites", "partners", "items", "recipes", "equipment"] {
        let page = owner.get(&format!("/v1/{noun}?limit=500")).expect(200).json;
        assert!(page["items"].as_array().is_some_and(|rows| !rows.is_empty()), "{noun}: {page}");
    }

    let level = owner.put("/v1/items/milk/reorder-levels/quay", json!({"grams": 5000})).expect(200).json;
    assert_eq!(level, json!({"item": "milk", "site": "quay", "grams": 5000}));
    let delivery = json!({"supplier": "dairy", "site": "quay", "document": "1", "lines": [
        {"item": "milk", "supplier_lot_code": "24-118", "quantity": {"amount": 4, "unit": "l"}}]});
    let lot = owner.post("/v1/deliveries", delivery).expect(201).json["lines"][0]["lot"].clone();
    let picks = owner.get("/v1/recipes/base-9/picks?site=quay&grams=4500.25").expect(200).json;
    // Half of 10 kg of milk; 4 l of 1032 g are there.
    let line = json!({"item": "milk", "grams": 5000, "tracked": true, "picks": [{"lot": lot, "grams": 4128}], "short_grams": 872});
    assert_eq!(picks["lines"], json!([line]));
    owner.get("/v1/recipes/base-9/picks?site=quay&grams=some").refused(422, "/problems/invalid");
    owner.get("/v1/recipes/base-9/picks").refused(422, "/problems/invalid");
}

fn a_file_is_taken_over_http(backend: Backend) {
    let world = World::open(backend);
    let send = |noun: &str, kind: &str, body: &str| {
        world.owner.request("POST", &format!("/v1/imports/{noun}")).body(kind, body.as_bytes().to_vec()).send()
    };
    let answer = send("sites", "text/csv; charset=utf-8", SITES).expect(200);
    assert_eq!(answer.json, json!({"created": 1, "changed": 0, "unchanged": 0}));
    assert!(answer.header("Tubtrail-Entry").is_some());
    let changed = SITES.replace("the quay", "the old quay");
    assert_eq!(
        send("sites", "text/csv", &changed).expect(200).json,
        json!({"created": 0, "changed": 1, "unchanged": 0})
    );
    let bad = send("sites", "text/csv", &SITES.replace("Europe/Lisbon", "Lisbon"));
    assert_eq!(bad.refused(422, "/problems/invalid").field(), Some("line 2: time_zone"));
    send("shoes", "text/csv", SITES).refused(404, "/problems/not-found");
    send("sites", "application/json", "{}").refused(415, "/problems/wrong-content-type");
    assert_eq!(world.owner.get("/v1/sites/quay").expect(200).json["name"], "Kitchen on the old quay");
}

fn what_labels_need_is_taken_from_files(backend: Backend) {
    let world = World::open(backend);
    let send = |noun: &str, body: &str| {
        world.owner.request("POST", &format!("/v1/imports/{noun}")).body("text/csv", body.as_bytes().to_vec()).send()
    };
    send("sites", SITES).expect(200).done();
    for (code, kind) in [("biscuit", "ingredient"), ("milk", "ingredient"), ("pistachio", "flavour")] {
        let item = json!({"code": code, "name": code, "kind": kind, "counted": {"by": "mass"}});
        world.owner.post("/v1/items", item).expect(201).done();
    }
    let makers = "code,name,address,jurisdiction,link_stem,active\n\
        northquay,Northquay Gelato,\"1 Harbour Street\nNorthquay\",eu,https://northquay.example,\n";
    let labels = "code,name,made_of,ingredients,shown,sugars_based,percent_shown,storage,opened_days,largest_surface_cm2\n\
        milk,whole milk,single,,,,,,,\n\
        biscuit,biscuit,listed,\"wheat flour\nbutter (milk)\nsugar\",,,true,,,\n\
        pistachio,pistachio gelato,what_went_in,,dispersed,,,Keep cold.,3,\n";
    let printers = "code,name,site,uri,size,dpi,any_certificate,active\n\
        labels,Label printer,quay,ipps://192.168.1.40/ipp/print,100x50,300,true,\nplain,Plain,quay,ipp://192.168.1.41/,,,,\n";
    for (noun, file, rows) in [("makers", makers, 1), ("item-labels", labels, 3), ("printers", printers, 2)] {
        let answer = send(noun, file).expect(200).json;
        assert_eq!(answer, json!({"created": rows, "changed": 0, "unchanged": 0}), "{noun}");
        assert_eq!(send(noun, file).expect(200).json["unchanged"], json!(rows), "{noun}: it stands just so");
    }
    let get = |path: &str| world.owner.get(path).expect(200).json;
    assert_eq!(get("/v1/makers/northquay")["address"], json!(["1 Harbour Street", "Northquay"]));
    let listed = json!({"by": "listed", "ingredients": ["wheat flour", "butter (milk)", "sugar"]});
    let biscuit = get("/v1/item-labels/biscuit");
    assert_eq!((&biscuit["made_of"], &biscuit["percent_shown"]), (&listed, &json!(true)));
    let pistachio = get("/v1/item-labels/pistachio");
    assert_eq!((&pistachio["shown"], &pistachio["opened_days"]), (&json!("dispersed"), &json!(3)));
    let (labels_printer, plain) = (get("/v1/printers/labels"), get("/v1/printers/plain"));
    assert_eq!((&labels_printer["size"], &labels_printer["dpi"]), (&json!("100x50"), &json!(300)));
    assert_eq!(
        (&plain["size"], &plain["dpi"], &plain["any_certificate"]),
        (&json!("60x40"), &json!(203), &json!(false))
    );
    for (noun, file, this, that, cell) in [
        ("makers", makers, "eu", "uk", "line 2: jurisdiction"),
        ("item-labels", labels, "listed", "guessed", "line 3: made_of"),
        ("item-labels", labels, "listed", "single", "line 3: ingredients"),
        ("item-labels", labels, "what_went_in", "single", "line 6: made_of"),
        ("printers", printers, "300", "299", "line 2: dpi"),
        ("printers", printers, "ipp://", "lpd://", "line 3: uri"),
        ("printers", printers, ",quay,ipps", ",moon,ipps", "line 2: site"),
    ] {
        let wrong = file.replacen(this, that, 1);
        assert_ne!(wrong, file);
        let answer = send(noun, &wrong);
        assert_eq!(
            (answer.status, answer.json["field"].as_str()),
            (422, Some(cell)),
            "{noun} {that}: {}",
            answer.text()
        );
    }
}

fn a_file_is_taken_from_the_command_line(backend: Backend) {
    let database = tubtrail_tests::TestDatabase::new(backend);
    let file = database.folder().join("sites.csv");
    let path = file.to_str().expect("temporary folders have plain names");
    let run = |text: &str| {
        std::fs::write(&file, text).expect("the test's own folder can be written");
        let output = binary::run(&database, &["import", "sites", path]);
        let said = |bytes: &[u8]| String::from_utf8_lossy(bytes).trim().to_owned();
        (output.status.success(), said(&output.stdout), said(&output.stderr))
    };
    let (taken, said, _) = run(SITES);
    assert_eq!((taken, said.as_str()), (true, "sites: 1 created, 0 changed, 0 as they were"));
    let (taken, said, complaint) = run(&SITES.replace("kitchen,", "barge,"));
    assert_eq!((taken, said.as_str()), (false, ""));
    assert!(complaint.starts_with(&format!("tubtrail: {path}: line 2: ")), "{complaint}");
    assert!(complaint.ends_with("(kind)"), "{complaint}");
    assert_eq!(run(SITES).1, "sites: 0 created, 0 changed, 1 as they were");
    let output = binary::run(&database, &["import", "shoes", path]);
    assert!(!output.status.success());
}
