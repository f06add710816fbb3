//! Chromium, driven by Playwright through a script of ours: one question a line, one answer a line.

use std::io::{BufRead as _, BufReader, Write as _};
use std::path::{Path, PathBuf};
use std::process::{Child, ChildStdin, ChildStdout, Command, Stdio};

use serde_json::{Value, json};
use tubtrail_tests::RestHouse;
use tubtrail_tests::world::PASSWORD;

/// A browser in somebody's hands.
pub struct Browser {
    child: Child,
    questions: ChildStdin,
    answers: BufReader<ChildStdout>,
}

impl Browser {
    /// Opens one of a size (`phone`, `tablet`, `desk`), in the light or in the dark, signs somebody in by the page and goes to
    /// a path.
    #[track_caller]
    pub fn open(house: &RestHouse, login: &str, path: &str, size: &str, scheme: &str) -> Self {
        let tests = Path::new(env!("CARGO_MANIFEST_DIR"));
        let modules = tests.join(".work/oracles/node/node_modules");
        assert!(
            modules.join("playwright-core").is_dir(),
            "playwright-core is not there: run tests/all, which installs it"
        );
        let mut child = Command::new("node")
            .arg(tests.join("oracles/at_the_pages.mjs"))
            .arg(modules)
            .arg(shots())
            .stdin(Stdio::piped())
            .stdout(Stdio::piped())
            .spawn()
            .unwrap_or_else(|error| panic!("node: {error}: run tests/all, which installs it"));
        let questions = child.stdin.take().expect("it is piped");
        let answers = BufReader::new(child.stdout.take().expect("it is piped"));
        let mut browser = Self { child, questions, answers };
        let base = house.world.server.base();
        let begin =
            json!({"base": base, "size": size, "scheme": scheme, "login": login, "password": PASSWORD, "path": path});
        browser.ask("begin", begin);
        browser
    }

    /// Does something and answers what came of it.
    #[track_caller]
    pub fn ask(&mut self, what: &str, with: Value) -> Value {
        let mut question = with;
        question["do"] = json!(what);
        writeln!(self.questions, "{question}").expect("the browser listens");
        let mut line = String::new();
        self.answers.read_line(&mut line).expect("the browser answers");
        let answer: Value = serde_json::from_str(&line).unwrap_or_else(|error| panic!("{what}: {error}: {line:?}"));
        assert!(answer["failed"].is_null(), "{what}: {}", answer["failed"].as_str().unwrap_or_default());
        answer["done"].clone()
    }

    /// Closes it; answers what it asked of others and what it complained of.
    #[track_caller]
    pub fn close(mut self) -> Value {
        let said = self.ask("end", json!({}));
        let status = self.child.wait().expect("it ends");
        assert!(status.success(), "the browser's script: {status}");
        said
    }
}

impl Drop for Browser {
    fn drop(&mut self) {
        // Whatever failed: nothing of it may go on. One that has ended cannot be killed, which is no matter.
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}

/// Where pictures of what was seen are kept, to be looked at.
fn shots() -> PathBuf {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join(".work/pages");
    std::fs::create_dir_all(&folder).expect("a folder for pictures");
    folder
}
