//! The two programs, run.

use std::io::Write as _;
use std::path::PathBuf;
use std::process::{Command, Stdio};

use serde::Deserialize;
use serde_json::Value;

/// Where `tests/all` put them.
fn folder() -> PathBuf {
    PathBuf::from(env!("CARGO_MANIFEST_DIR")).join(".work/oracles")
}

fn script(name: &str) -> PathBuf {
    PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("oracles").join(name)
}

fn run(mut command: Command, asked: &Value) -> Vec<u8> {
    let mut child = command.stdin(Stdio::piped()).stdout(Stdio::piped()).spawn().unwrap_or_else(|error| {
        panic!("{command:?}: {error}: run tests/all, which installs it");
    });
    let mut stdin = child.stdin.take().expect("it is piped");
    let asked = asked.to_string();
    // On a thread of its own: the program may answer before it has read everything.
    let writer = std::thread::spawn(move || stdin.write_all(asked.as_bytes()));
    let output = child.wait_with_output().expect("it ends");
    let written = writer.join().expect("the writer does not panic");
    assert!(output.status.success(), "{command:?} failed");
    written.expect("it reads everything");
    output.stdout
}

/// What bwip-js 4.11.4 has against each code, given as kind and text; none is nothing.
pub fn bwip(codes: &[(&str, String)]) -> Vec<Option<String>> {
    let module = folder().join("node/node_modules/bwip-js");
    assert!(module.is_dir(), "bwip-js is not there: run tests/all, which installs it");
    let mut command = Command::new("node");
    command.arg(script("judge_with_bwip.js")).arg(module);
    let said = run(command, &serde_json::json!(codes));
    let said: Vec<Option<String>> = serde_json::from_slice(&said).expect("JSON");
    assert_eq!(said.len(), codes.len(), "one answer a code");
    said
}

/// What biip 5.2.0 read.
#[derive(Debug, Deserialize)]
pub struct Read {
    /// In order.
    #[serde(default)]
    pub elements: Vec<ReadElement>,
    /// The canonical link, of a link; empty where biip makes none.
    pub link: Option<String>,
    /// Why it could not be read.
    pub refused: Option<String>,
}

/// An element, as biip read it.
#[derive(Debug, Deserialize)]
pub struct ReadElement {
    /// The identifier.
    pub number: String,
    /// Its value.
    pub value: String,
    /// Its day, as 2026-11-25.
    pub date: Option<String>,
    /// Its figure.
    pub decimal: Option<String>,
    /// What is wrong with it as the number of an article, a place or a pallet.
    pub wrong: Option<String>,
}

/// What biip 5.2.0 reads in each code.
pub fn biip(codes: &[String]) -> Vec<Read> {
    let python = folder().join("python/bin/python");
    assert!(python.is_file(), "biip is not there: run tests/all, which installs it");
    let mut command = Command::new(python);
    command.arg(script("read_with_biip.py"));
    let said = run(command, &serde_json::json!(codes));
    let said: Vec<Read> = serde_json::from_slice(&said).expect("JSON");
    assert_eq!(said.len(), codes.len(), "one answer a code");
    said
}
