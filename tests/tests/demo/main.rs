//! The demonstration, and README's walk through it, as a new user would try them.

use std::io::{BufRead, BufReader};
use std::process::{Child, Command, Stdio};

use tubtrail_tests::{Backend, TestDatabase, binary, on_both};

on_both!(the_demonstration_agrees_with_its_recount);

fn the_demonstration_agrees_with_its_recount(backend: Backend) {
    let database = TestDatabase::new(backend);
    let output = binary::run(&database, &["demo", "--once"]);
    let said = String::from_utf8_lossy(&output.stdout);
    assert!(output.status.success(), "{}\n{said}\n{}", output.status, String::from_utf8_lossy(&output.stderr));
    for expected in [
        "Question 1. Is there hazelnut in tub",
        "Yes: ",
        "Question 2. Lot 24-118",
        "served",
        "consigned",
        "As a drill: 33 lots reached",
        "0.0 g are not accounted for",
        "Question 3. Which supplier lots",
        "Rum, 40 % vol",
        "Question 4. Someone at the harbour shop avoids hazelnut",
        "may contain",
        "Every answer agrees with an independent recount of the facts.",
    ] {
        assert!(said.contains(expected), "{expected:?} is missing in\n{said}");
    }
    let again = binary::run(&database, &["demo", "--once"]);
    assert!(!again.status.success(), "it wants an empty database");
}

/// Runs the commands that README shows, in one shell, against the demonstration.
#[test]
fn the_walk_in_the_readme_works() {
    let demo = Demo::start();
    let script = walk_in_readme();
    let mut shell = Command::new("bash");
    shell.args(["-euo", "pipefail", "-c", &script]).env("HOUSE", &demo.address);
    shell.env("KITCHEN_PASSWORD", demo.password("kitchen")).env("HARBOUR_PASSWORD", demo.password("harbour"));
    let output = shell.output().expect("bash runs");
    let said = String::from_utf8_lossy(&output.stdout);
    assert!(output.status.success(), "{}\n{said}\n{}", output.status, String::from_utf8_lossy(&output.stderr));
    for expected in [
        // 5 lb of 453.59237 g (NIST Handbook 44, appendix C, from memory), to the milligram.
        r#""grams":2267.962,"decision":"accepted""#,
        r#"{"in_grams":9400,"out_grams":9200,"loss_grams":200,"#,
        r#"{"kind":"served","grams":240,"open_grams":4360}"#,
        // 900 g of paste among 9400 g in, 4600 g of it in this tub: 440.4255 g.
        "440.425532 g Pistachio paste, supplier lot 24-131",
        "900 g of lot ",
    ] {
        assert!(said.contains(expected), "{expected} is missing in\n{said}");
    }
}

/// The shell blocks of the walk, but for the first, which asks the reader to fill in passwords.
fn walk_in_readme() -> String {
    let readme = include_str!("../../../README.md");
    let walk = readme.split("## Five minutes with curl").nth(1).and_then(|rest| rest.split("\n## ").next());
    let blocks: Vec<_> = walk.expect("README has the walk").split("```sh\n").skip(2).collect();
    assert!(blocks.len() >= 5, "the walk has its blocks");
    blocks.iter().map(|block| block.split("```").next().unwrap_or("")).collect()
}

/// A demonstration that serves.
struct Demo {
    child: Child,
    address: String,
    said: Vec<String>,
    _folder: tempfile::TempDir,
}

impl Demo {
    fn start() -> Self {
        let folder = tempfile::tempdir().expect("a temporary folder");
        let mut command = binary::command(binary::path());
        command.args(["demo", "--listen", "127.0.0.1:0"]).current_dir(folder.path());
        let mut child = command.stdout(Stdio::piped()).stderr(Stdio::null()).spawn().expect("the program starts");
        let mut lines = BufReader::new(child.stdout.take().expect("it is piped")).lines();
        let mut said = Vec::new();
        for line in &mut lines {
            let line = line.expect("the program writes text");
            if let Some(address) = line.strip_prefix("listening on ") {
                let address = address.to_owned();
                std::thread::spawn(move || lines.for_each(drop));
                return Self { child, address, said, _folder: folder };
            }
            said.push(line);
        }
        panic!("the demonstration ended: {:?}\n{}", child.wait(), said.join("\n"));
    }

    /// As printed: login, password, role.
    fn password(&self, login: &str) -> String {
        let logins = self.said.iter().skip_while(|line| !line.starts_with("Sign in as"));
        let words = logins.map(|line| line.split_whitespace().collect::<Vec<_>>());
        let found = words.into_iter().find(|words| words.first() == Some(&login));
        found.unwrap_or_else(|| panic!("no login {login} was printed:\n{}", self.said.join("\n")))[1].to_owned()
    }
}

impl Drop for Demo {
    fn drop(&mut self) {
        // It may have ended by itself; then there is nothing to end.
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}
