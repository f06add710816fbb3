//! The measurements still run, on so little that their figures say nothing; nobody looks at a clock here.

use std::collections::BTreeSet;
use std::process::Command;

use serde_json::Value;
use tubtrail_tests::binary;

/// Every line that `tests/speed` prints. Whoever adds one adds it here, so that none is lost without anyone noticing.
const LINES: [&str; 68] = [
    "allergens-anew-postgres",
    "allergens-anew-sqlite",
    "allergens-bare-postgres",
    "allergens-bare-sqlite",
    "allergens-open-postgres",
    "allergens-open-sqlite",
    "allergens-postgres",
    "allergens-sqlite",
    "backward-arrays",
    "backward-petgraph",
    "backward-postgres",
    "backward-sqlite",
    "behind-another-server",
    "export-flavour-postgres",
    "export-flavour-sqlite",
    "export-item-postgres",
    "export-item-sfcr-postgres",
    "export-item-sfcr-sqlite",
    "export-item-sqlite",
    "export-week-of-item-postgres",
    "export-week-of-item-sqlite",
    "export-week-postgres",
    "export-week-sqlite",
    "forward-arrays",
    "forward-petgraph",
    "forward-postgres",
    "forward-sqlite",
    "growth-allergens",
    "growth-lot",
    "growth-recall",
    "growth-trace",
    "lot-postgres",
    "lot-sqlite",
    "memory",
    "memory-at-start",
    "recall-of-a-supplier",
    "recall-of-a-supplier-arrays",
    "recall-of-a-supplier-long",
    "refusals-postgres",
    "refusals-sqlite",
    "servings-postgres",
    "servings-sqlite",
    "start-postgres",
    "start-sqlite",
    "statements-postgres",
    "statements-serving-postgres",
    "statements-serving-sqlite",
    "statements-sqlite",
    "statements-use-postgres",
    "statements-use-sqlite",
    "trace-postgres",
    "trace-sqlite",
    "trace-sqlite-sqlite",
    "trace-told-postgres",
    "trace-told-sqlite",
    "uses-postgres",
    "uses-sqlite",
    "write-alone-postgres",
    "write-alone-sqlite",
    "writes-http-bare-postgres",
    "writes-http-bare-sqlite",
    "writes-http-postgres",
    "writes-http-sqlite",
    "writes-postgres",
    "writes-recalled-postgres",
    "writes-recalled-sqlite",
    "writes-sqlite",
    "writes-two-servers",
];

#[test]
fn every_line_is_measured_and_drawn() {
    let folder = tempfile::tempdir().unwrap();
    let mut command = Command::new(env!("CARGO_BIN_EXE_speed"));
    command.env("TUBTRAIL_BIN", binary::path()).args(["--thousandth", "--out"]).arg(folder.path());
    let output = command.output().unwrap();
    let said = String::from_utf8_lossy(&output.stdout);
    assert!(output.status.success(), "{said}\n{}", String::from_utf8_lossy(&output.stderr));
    let read = |name: &str| std::fs::read_to_string(folder.path().join(name)).unwrap();
    let figures: Value = serde_json::from_str(&read("figures.json")).unwrap();
    let lines = figures["lines"].as_array().unwrap();
    let ids: BTreeSet<&str> = lines.iter().filter_map(|line| line["id"].as_str()).collect();
    assert_eq!(ids, BTreeSet::from(LINES), "{said}");
    for line in lines {
        let figure = |name: &str| line[name].as_f64().is_some_and(|figure| figure > 0.0);
        assert!(figure("ours") && figure("others") && figure("ratio"), "{line}");
        assert_eq!(line["met"].is_null(), line["target"] == "none", "{line}");
    }
    let drawn = read("growth.svg");
    for series in figures["growth"]["series"].as_array().unwrap() {
        assert!(series["points"].as_array().unwrap().len() >= 2, "{series}");
        assert!(drawn.contains(series["name"].as_str().unwrap()), "{series}");
    }
}
