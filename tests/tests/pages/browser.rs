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

/// Sizes and schemes in which everybody must have every page in hand.
const LOOKS: [(&str, &str); 3] = [("phone", "light"), ("tablet", "dark"), ("desk", "light")];
/// What a page weighs at most, with all that it loads, in bytes.
const MOST_BYTES: u64 = 60_000;

/// Looks at pages on a phone, a tablet and a desk, after signing in at one: no part of them may be shut to anyone, nor be wider
/// than the screen, nor come from elsewhere, and none is heavy.
#[track_caller]
pub fn look_at_all(house: &RestHouse, (login, first): (&str, &str), paths: &[String]) {
    for (size, scheme) in LOOKS {
        let mut browser = Browser::open(house, login, first, size, scheme);
        for path in paths {
            let found = browser.ask("look", json!({"path": path}));
            assert_eq!(found["violations"], json!([]), "{size} {scheme} {path}");
            assert_eq!(found["wider_than_the_screen"], json!(false), "{size} {path}");
            let weight = found["bytes"].as_u64().expect("a weight");
            assert!(weight < MOST_BYTES, "{path} weighs {weight} bytes");
        }
        assert_kept_to_itself(browser);
    }
}

/// Closes a browser that must have asked nobody else for anything, nor complained of anything.
#[track_caller]
pub fn assert_kept_to_itself(browser: Browser) {
    let said = browser.close();
    assert_eq!((&said["elsewhere"], &said["complaints"]), (&json!([]), &json!([])));
}

/// Where pictures of what was seen are kept, to be looked at.
fn shots() -> PathBuf {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join(".work/pages");
    std::fs::create_dir_all(&folder).expect("a folder for pictures");
    folder
}
