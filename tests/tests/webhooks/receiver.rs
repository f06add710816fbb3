//! Somebody else's server (`oracles/receive_webhooks.py`).

use std::io::{BufRead as _, BufReader, Write as _};
use std::path::PathBuf;
use std::process::{Child, ChildStdin, Command, Stdio};
use std::sync::mpsc::{Receiver as Hears, channel};
use std::time::Duration;

use serde_json::{Value, json};

/// How long something may take to arrive: the first waits between attempts are 5 seconds.
const PATIENCE: Duration = Duration::from_secs(30);

/// It runs until it is dropped.
pub struct Receiver {
    child: Child,
    tell: ChildStdin,
    hears: Hears<Value>,
    /// Where it listens.
    pub port: u16,
}

impl Receiver {
    /// On any port.
    #[track_caller]
    pub fn start() -> Self {
        Self::start_on(0, &[])
    }

    /// On a port, with more arguments.
    #[track_caller]
    pub fn start_on(port: u16, more: &[&str]) -> Self {
        let folder = PathBuf::from(env!("CARGO_MANIFEST_DIR"));
        let python = folder.join(".work/oracles/python/bin/python");
        assert!(python.is_file(), "the library is not there: run tests/all, which installs it");
        let mut command = Command::new(python);
        command.arg(folder.join("oracles/receive_webhooks.py")).arg(port.to_string()).args(more);
        let mut child = command.stdin(Stdio::piped()).stdout(Stdio::piped()).spawn().expect("it starts");
        let (tell, out) = (child.stdin.take().expect("piped"), child.stdout.take().expect("piped"));
        let (says, hears) = channel();
        std::thread::spawn(move || {
            for line in BufReader::new(out).lines().map_while(Result::ok) {
                let _ = says.send(serde_json::from_str(&line).expect("JSON"));
            }
        });
        let mut receiver = Self { child, tell, hears, port: 0 };
        let first = receiver.next().expect("it listens");
        receiver.port = first["port"].as_u64().and_then(|port| u16::try_from(port).ok()).expect("a port");
        receiver
    }

    /// The address of a path.
    pub fn url(&self, path: &str) -> String {
        format!("http://127.0.0.1:{}{path}", self.port)
    }

    /// How a path answers from now on.
    #[track_caller]
    pub fn answer(&mut self, path: &str, way: Value) {
        let mut way = way;
        way["path"] = json!(path);
        writeln!(self.tell, "{way}").expect("it listens");
        let mut early = Vec::new();
        loop {
            let told = self.next().expect("it hears");
            if told["heard"] == path {
                break;
            }
            early.push(told);
        }
        assert!(early.is_empty(), "nothing is on its way while the test says how to answer: {early:?}");
    }

    /// The next request; it must come.
    #[track_caller]
    pub fn request(&self) -> Value {
        self.next().unwrap_or_else(|| panic!("nothing arrived within {PATIENCE:?}"))
    }

    /// Whether nothing comes for so long.
    pub fn is_quiet(&self, within: Duration) -> bool {
        self.hears.recv_timeout(within).is_err()
    }

    fn next(&self) -> Option<Value> {
        self.hears.recv_timeout(PATIENCE).ok()
    }
}

impl Drop for Receiver {
    fn drop(&mut self) {
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}
