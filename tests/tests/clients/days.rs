//! A till's and a label printer's day, by the very examples that we ship (`deploy/clients`), with what two generators make of the
//! description: openapi-typescript with openapi-fetch, and openapi-python-client.

use std::path::Path;

use serde_json::{Value, json};
use tubtrail_tests::rest::text;
use tubtrail_tests::{Backend, RestHouse, on_both};

use super::tools::{examples, run, succeed, tool};

on_both!(a_day_in_typescript, a_day_in_python);

/// Two tubs of pistachio at the harbour, the first of them on hold; one that was just made in the kitchen; a device at each end,
/// and a label printer that is switched off.
struct Day {
    house: RestHouse,
    held: String,
    sound: String,
    fresh: String,
    till: String,
    printer: String,
}

impl Day {
    fn open(backend: Backend) -> Self {
        let house = RestHouse::open(backend);
        house.furnish_labels();
        let made = house.make_two_tubs();
        let tubs = made.tubs;
        let lines: Vec<Value> = tubs.iter().map(|lot| json!({"lot": lot})).collect();
        let transfer = json!({"from": "kitchen", "to": "harbour", "lines": lines});
        let transfer = house.owner.post("/v1/transfers", transfer).expect(201);
        let receipt = format!("/v1/transfers/{}/receipt", transfer.json["id"]);
        house.owner.post(&receipt, json!({"all_as_sent": true})).expect(201).done();
        let reason = json!({"reason": "the lid was loose"});
        house.owner.post(&format!("/v1/lots/{}/holds", tubs[0]), reason).expect(201).done();
        let paste = house.receive("pistachio-paste", "24-119", 250);
        let fresh = house.make("pistachio", &[(&made.base, 2000), (&paste, 250)], "tub", &[2200]).remove(0);
        // Nobody listens there.
        let printer = json!({"code": "labels", "name": "Label printer", "site": "kitchen", "size": "60x40", "dpi": 203,
            "uri": "ipp://127.0.0.1:9/ipp/print"});
        house.owner.post("/v1/printers", printer).expect(201).done();
        let device = |code: &str, site: &str| {
            let new = json!({"code": code, "name": code, "site": site});
            text(&house.owner.post("/v1/devices", new).expect(201).json["token"])
        };
        let (till, printer) = (device("till", "harbour"), device("printer", "kitchen"));
        Self { held: tubs[0].clone(), sound: tubs[1].clone(), fresh, till, printer, house }
    }

    fn environment(&self) -> [(&str, &str); 6] {
        [
            ("HOUSE", self.house.world.server.base()),
            ("TILL_TOKEN", &self.till),
            ("TILL_SITE", "harbour"),
            ("PRINTER_TOKEN", &self.printer),
            ("PRINTER_SITE", "kitchen"),
            ("PRINTER", "labels"),
        ]
    }

    fn save_description(&self, folder: &Path) {
        let api = self.house.owner.get("/openapi.json").expect(200);
        std::fs::write(folder.join("openapi.json"), api.body).expect("the test's own folder");
    }

    /// What either client must have said, and what the book must say after it: 2200 g, two portions of 80 g served, and what
    /// was left of it when it was empty.
    fn check(&self, said: &str) {
        let lines: Vec<_> = said.lines().collect();
        assert_eq!(lines[0], "till: device:till at harbour");
        assert!(lines[1].starts_with("refused: ") && lines[1].contains(&self.held), "{said}");
        assert!(lines[1].contains("the lid was loose"), "{said}");
        assert_eq!(lines[2], format!("opened {} (pistachio): {} g", self.sound, figure(lines[2], "2200")));
        assert_eq!(lines[3], format!("served {} g, {} g left", figure(lines[3], "160"), figure(lines[3], "2040")));
        assert_eq!(lines[4], "scanned: pistachio");
        assert!(lines.contains(&"milk: contains") || lines.contains(&"Milk: contains"), "{said}");
        assert!(lines.iter().any(|line| line.starts_with("caution: ")), "{said}");
        assert!(lines.iter().any(|line| line.starts_with("emptied: the last 2040")), "{said}");
        for tub in [&self.held, &self.sound, &self.fresh] {
            assert!(lines.iter().any(|line| line.starts_with(&format!("label {tub}: pistachio, 2200"))), "{said}");
        }
        self.check_label(&lines);
        let tub = self.house.owner.get(&format!("/v1/lots/{}", self.sound)).expect(200);
        let served = json!([{"site": "harbour", "state": "served", "grams": 2200}]);
        assert_eq!(tub.json["places"], served, "two portions, and the rest with the emptying");
    }
}

impl Day {
    /// Of the tub in the kitchen, and of no other: what it says, and that its print waits. 2000 g of base are 1684.2 g of milk and
    /// 421.1 g of sugar, more than the 250 g of paste; 60 mm are 480 dots, 8 to a millimetre.
    fn check_label(&self, lines: &[&str]) {
        let begins =
            lines.iter().position(|line| line.starts_with(&format!("label {}", self.fresh))).expect("its label");
        assert_eq!(lines[begins + 2], "  says: Ingredients: whole milk, sugar, pistachio paste");
        assert_eq!(lines[begins + 3], "  picture: 480 dots across");
        let waits = ["queued", "waiting"].map(|state| format!("  print 1 on labels: {state}"));
        assert!(waits.iter().any(|line| line == lines[begins + 4]), "{}", lines[begins + 4]);
        let prints = self.house.owner.get("/v1/prints").expect(200).json;
        let print = &prints["items"][0];
        assert_eq!((&print["label"]["lot"], &print["printed_by"]), (&json!(self.fresh), &json!("device:printer")));
        assert_eq!(prints["items"].as_array().map(Vec::len), Some(1));
    }
}

/// Python says 2200.0 where JavaScript says 2200.
fn figure(line: &str, whole: &str) -> String {
    let point = format!("{whole}.0");
    if line.contains(&point) { point } else { whole.to_owned() }
}

fn a_day_in_typescript(backend: Backend) {
    let day = Day::open(backend);
    let folder = tempfile::tempdir().expect("a folder");
    let folder = folder.path();
    for name in ["day.ts", "tsconfig.json", "package.json"] {
        std::fs::copy(examples().join(name), folder.join(name)).expect("it is there");
    }
    let modules = tool("node/node_modules");
    std::os::unix::fs::symlink(&modules, folder.join("node_modules")).expect("the test's own folder");
    let description = format!("{}/openapi.json", day.house.world.server.base());
    succeed(&modules.join(".bin/openapi-typescript"), folder, &[&description, "-o", "tubtrail.ts"], &[]);
    succeed(&modules.join(".bin/tsc"), folder, &["--noEmit"], &[]);
    succeed(&modules.join(".bin/tsc"), folder, &[], &[]);
    day.check(&succeed(Path::new("node"), folder, &["day.js"], &day.environment()));
    // The types hold what the description says: a word that is none does not compile.
    let broken = std::fs::read_to_string(folder.join("day.ts")).expect("it is there").replace("\"lot\")", "\"tub\")");
    std::fs::write(folder.join("day.ts"), broken).expect("the test's own folder");
    let output = run(&modules.join(".bin/tsc"), folder, &["--noEmit"], &[]);
    assert!(!output.status.success(), "a scan of the kind \"tub\" is in no description");
}

fn a_day_in_python(backend: Backend) {
    let day = Day::open(backend);
    let folder = tempfile::tempdir().expect("a folder");
    let folder = folder.path();
    std::fs::copy(examples().join("day.py"), folder.join("day.py")).expect("it is there");
    day.save_description(folder);
    let config = examples().join("python.yaml");
    let config = config.to_str().expect("plain names");
    let python = tool("python/bin/python");
    let path = format!("{}:{}", tool("python/bin").display(), std::env::var("PATH").expect("a path"));
    let arguments = ["generate", "--path", "openapi.json", "--config", config, "--meta", "none"];
    let arguments = [&arguments[..], &["--output-path", "tubtrail_client", "--fail-on-warning"][..]].concat();
    succeed(&tool("python/bin/openapi-python-client"), folder, &arguments, &[("PATH", &path)]);
    day.check(&succeed(&python, folder, &["day.py"], &day.environment()));
}
