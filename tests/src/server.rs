//! The real server on a free port.

use std::collections::VecDeque;
use std::io::{BufRead, BufReader, Read};
use std::path::{Path, PathBuf};
use std::process::{Child, ExitStatus, Stdio};
use std::sync::mpsc::{RecvTimeoutError, Sender, channel};
use std::sync::{Arc, Mutex};
use std::thread::JoinHandle;
use std::time::{Duration, Instant};

use rustix::process::{Pid, Signal, kill_process};

use crate::{Client, TestDatabase, binary};

/// How long the server may take to listen, and to stop.
const PATIENCE: Duration = Duration::from_mins(1);
/// Lines of its log that are kept.
const KEPT: usize = 2000;

/// A running `tubtrail serve`; killed when dropped. Any number may run on one PostgreSQL database.
pub struct TestServer {
    program: PathBuf,
    arguments: Vec<String>,
    base: String,
    log: Log,
    running: Option<Running>,
}

struct Running {
    child: Child,
    drains: [JoinHandle<()>; 2],
}

type Log = Arc<Mutex<VecDeque<String>>>;

impl TestServer {
    /// Starts the program on a database and waits until it listens.
    ///
    /// # Panics
    /// If it does not come to listen; with what it said.
    #[track_caller]
    pub fn start(database: &TestDatabase) -> Self {
        Self::start_with(database, &[])
    }

    /// The same with more arguments to `serve`.
    ///
    /// # Panics
    /// If it does not come to listen; with what it said.
    #[track_caller]
    pub fn start_with(database: &TestDatabase, more: &[&str]) -> Self {
        Self::start_program(&binary::path(), database, more)
    }

    /// The same with another program that speaks like ours: for the harness's own tests.
    ///
    /// # Panics
    /// If it does not come to listen; with what it said.
    #[track_caller]
    pub fn start_program(program: &Path, database: &TestDatabase, more: &[&str]) -> Self {
        // The keys lie with the database: whoever serves it, now or after a restart, honours the same tokens.
        let keys = database.folder().join("keys");
        let keys = keys.to_str().expect("temporary folders have plain names");
        let fixed = ["serve", "--database", database.url(), "--listen", "127.0.0.1:0", "--keys", keys];
        let arguments = fixed.iter().chain(more).map(ToString::to_string).collect();
        let mut server =
            Self { program: program.to_owned(), arguments, base: String::new(), log: Log::default(), running: None };
        server.launch();
        server
    }

    /// Its address: `http://127.0.0.1:PORT`; another after a restart.
    pub fn base(&self) -> &str {
        &self.base
    }

    /// A client that has not signed in.
    pub fn client(&self) -> Client {
        Client::new(&self.base)
    }

    /// What it has printed so far, newest last.
    ///
    /// # Panics
    /// If a thread that reads it has panicked.
    pub fn log(&self) -> Vec<String> {
        self.log.lock().expect("the log's threads do not panic").iter().cloned().collect()
    }

    /// Kills it on the spot, as a power cut would.
    ///
    /// # Panics
    /// If it does not run.
    #[track_caller]
    pub fn kill9(&mut self) {
        let running = self.running.take().expect("the server runs");
        let status = running.kill();
        assert!(!status.success(), "the server had ended by itself: {status}\n{}", self.said());
    }

    /// Tells it that something it has read has changed (SIGHUP).
    ///
    /// # Panics
    /// If it does not run.
    #[track_caller]
    pub fn hang_up(&self) {
        let running = self.running.as_ref().expect("the server runs");
        kill_process(Pid::from_child(&running.child), Signal::HUP).expect("it runs, so it can be told");
    }

    /// Asks it to stop and waits until it has.
    ///
    /// # Panics
    /// If it does not run, or does not stop.
    #[track_caller]
    pub fn stop(&mut self) -> ExitStatus {
        let mut running = self.running.take().expect("the server runs");
        let pid = Pid::from_child(&running.child);
        kill_process(pid, Signal::TERM).expect("it has not been waited for, so it can be told");
        let asked = Instant::now();
        while asked.elapsed() < PATIENCE {
            if let Some(status) = running.child.try_wait().expect("it is our child") {
                running.finish();
                return status;
            }
            std::thread::sleep(Duration::from_millis(5));
        }
        running.kill();
        panic!("the server did not stop within {PATIENCE:?} of SIGTERM\n{}", self.said());
    }

    /// Starts it again on the same database, after [`Self::kill9`], [`Self::stop`] or (stopping it first) neither.
    ///
    /// # Panics
    /// If it does not come to listen; with what it said.
    #[track_caller]
    pub fn restart(&mut self) {
        if self.running.is_some() {
            self.stop();
        }
        self.launch();
    }

    #[track_caller]
    fn launch(&mut self) {
        let mut command = binary::command(self.program.clone());
        command.args(&self.arguments).stdin(Stdio::null()).stdout(Stdio::piped()).stderr(Stdio::piped());
        let mut child = command.spawn().unwrap_or_else(|error| panic!("{command:?}: {error}"));
        let (said, hears) = channel();
        let out = drain(child.stdout.take().expect("it is piped"), self.log.clone(), Some(said));
        let err = drain(child.stderr.take().expect("it is piped"), self.log.clone(), None);
        let running = Running { child, drains: [out, err] };
        match hears.recv_timeout(PATIENCE) {
            Ok(base) => {
                self.base = base;
                self.running = Some(running);
            }
            Err(RecvTimeoutError::Timeout) => {
                running.kill();
                panic!("{command:?} did not listen within {PATIENCE:?}\n{}", self.said());
            }
            Err(RecvTimeoutError::Disconnected) => {
                let status = running.kill();
                panic!("{command:?} did not come to listen: {status}\n{}", self.said());
            }
        }
    }

    fn said(&self) -> String {
        self.log().join("\n")
    }
}

impl Drop for TestServer {
    fn drop(&mut self) {
        if let Some(running) = self.running.take() {
            running.kill();
        }
        if std::thread::panicking() {
            eprintln!("--- what the server said:\n{}\n---", self.said());
        }
    }
}

impl Running {
    /// Kills it, unless it has ended already; how it ended.
    fn kill(mut self) -> ExitStatus {
        self.child.kill().expect("a child can be killed");
        let status = self.child.wait().expect("a child can be waited for");
        self.finish();
        status
    }

    fn finish(self) {
        for thread in self.drains {
            let _ = thread.join();
        }
    }
}

/// Reads a pipe to its end, so that it never fills; sends the address it listens on, once it says so.
fn drain(pipe: impl Read + Send + 'static, log: Log, mut listens: Option<Sender<String>>) -> JoinHandle<()> {
    std::thread::spawn(move || {
        for line in BufReader::new(pipe).lines().map_while(Result::ok) {
            if let Some(base) = line.strip_prefix("listening on ")
                && let Some(said) = listens.take()
            {
                let _ = said.send(base.trim().to_owned());
            }
            let mut log = log.lock().unwrap_or_else(std::sync::PoisonError::into_inner);
            if log.len() == KEPT {
                log.pop_front();
            }
            log.push_back(line);
        }
    })
}
