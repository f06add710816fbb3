//! Programs that say `listening on http://...`: our server, and the one that answers the same to all.

use std::io::{BufRead, BufReader};
use std::process::{Child, Command, Stdio};
use std::sync::mpsc::{RecvTimeoutError, channel};
use std::time::{Duration, Instant};

use serde_json::json;

use super::Failure;
use super::wire::Wire;
use crate::{Client, TestDatabase, binary};

/// How long a server may take to read a world.
const PATIENCE: Duration = Duration::from_mins(10);
/// Whoever asks for the measurements.
pub const LOGIN: &str = "owner";
/// Their password.
pub const PASSWORD: &str = "a gelato a day, every day";

/// A program that listens; killed when dropped.
pub struct Launched {
    child: Child,
    base: String,
}

impl Launched {
    /// Starts it and waits until it listens. Its log goes nowhere: where it goes is not what is measured.
    pub fn start(mut command: Command) -> Result<Self, Failure> {
        let mut child = command.stdin(Stdio::null()).stdout(Stdio::piped()).stderr(Stdio::null()).spawn()?;
        let said = child.stdout.take().ok_or("it is piped")?;
        let (listens, heard) = channel();
        std::thread::spawn(move || {
            for line in BufReader::new(said).lines().map_while(Result::ok) {
                if let Some(base) = line.strip_prefix("listening on ") {
                    // Nobody waits for a second one.
                    let _ = listens.send(base.trim().to_owned());
                }
            }
        });
        let mut launched = Self { child, base: String::new() };
        launched.base = heard.recv_timeout(PATIENCE).map_err(|error| match error {
            RecvTimeoutError::Timeout => format!("{command:?} did not come to listen within {PATIENCE:?}"),
            RecvTimeoutError::Disconnected => format!("{command:?} ended"),
        })?;
        Ok(launched)
    }

    /// One that answers every question with so many bytes.
    pub fn constant(bytes: usize) -> Result<Self, Failure> {
        let mut command = Command::new(std::env::current_exe()?);
        command.args(["constant", &bytes.to_string()]);
        Self::start(command)
    }

    /// A connection that says nothing of who asks.
    pub fn wire(&self) -> Result<Wire, Failure> {
        Wire::open(&self.base, None)
    }
}

impl Drop for Launched {
    fn drop(&mut self) {
        // It may have ended by itself; either way it is gone.
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}

/// `tubtrail serve` on a database, with the owner signed in.
pub struct Served {
    launched: Launched,
    token: String,
}

impl Served {
    /// Starts it on a database that has the owner among its people.
    pub fn start(database: &TestDatabase) -> Result<Self, Failure> {
        let mut command = binary::command(binary::path());
        command.args(["serve", "--database", database.url(), "--listen", "127.0.0.1:0", "--keys"]);
        command.arg(database.folder().join("keys"));
        let served = Self::signed_in(Launched::start(command)?)?;
        served.wait_until_all_is_read()?;
        Ok(served)
    }

    /// Our server on a database that has the owner among its people, which commits every command by itself.
    pub fn apart(database: &TestDatabase) -> Result<Self, Failure> {
        let mut command = binary::command(binary::example("apart"));
        command.arg(database.url()).arg(database.folder().join("keys"));
        Self::signed_in(Launched::start(command)?)
    }

    /// Our server on a database that has the owner among its people, which answers every question about allergens with so
    /// many bytes.
    pub fn constant(database: &TestDatabase, bytes: usize) -> Result<Self, Failure> {
        let mut command = binary::command(binary::example("constant"));
        command.arg(database.url()).arg(database.folder().join("keys")).arg(bytes.to_string());
        Self::signed_in(Launched::start(command)?)
    }

    fn signed_in(launched: Launched) -> Result<Self, Failure> {
        let body = json!({"login": LOGIN, "password": PASSWORD});
        let answer = Client::new(&launched.base).request("POST", "/v1/sessions").json(body).send();
        let token = answer.json["token"].as_str().ok_or_else(|| format!("signing in: {}", answer.text()))?;
        Ok(Self { token: token.to_owned(), launched })
    }

    /// What it reads beside its work after a start shall not disturb the measurements.
    fn wait_until_all_is_read(&self) -> Result<(), Failure> {
        let mut wire = self.wire()?;
        let until = Instant::now() + PATIENCE;
        while Instant::now() < until {
            let measured = String::from_utf8(wire.get("/metrics")?.to_vec())?;
            if measured.lines().any(|line| line == "tubtrail_index_parts_unread 0") {
                return Ok(());
            }
            std::thread::sleep(Duration::from_millis(100));
        }
        Err("the server did not come to an end of reading its index".into())
    }

    /// A connection of the owner's.
    pub fn wire(&self) -> Result<Wire, Failure> {
        Wire::open(&self.launched.base, Some(&self.token))
    }

    /// So many of them.
    pub fn wires(&self, count: usize) -> Result<Vec<Wire>, Failure> {
        (0..count).map(|_| self.wire()).collect()
    }
}
