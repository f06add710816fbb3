//! A printer that is not ours: `ippeveprinter`, the reference implementation of IPP Everywhere.

use std::net::{TcpListener, TcpStream};
use std::os::unix::process::CommandExt;
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};
use std::time::{Duration, Instant};

use rustix::process::{Pid, Signal, kill_process_group};

/// How long anything may take.
pub const PATIENCE: Duration = Duration::from_mins(1);

/// A running printer; killed when dropped.
pub struct IppPrinter {
    child: Child,
    port: u16,
    spool: PathBuf,
}

impl IppPrinter {
    /// Switches one on, on a port, that takes some media types and needs so many seconds for a job.
    pub fn start(port: u16, spool: &Path, formats: &str, seconds: u32) -> Self {
        let (command, keys) = (spool.with_extension("sh"), spool.with_extension("keys"));
        std::fs::create_dir_all(&keys).expect("a folder");
        std::fs::write(&command, format!("#!/bin/sh\nsleep {seconds}\n")).expect("a file");
        Command::new("chmod").arg("+x").arg(&command).status().expect("chmod runs");
        // It announces itself over D-Bus or does not start; nobody need hear it.
        let line = format!(
            "DBUS_SYSTEM_BUS_ADDRESS=$DBUS_SESSION_BUS_ADDRESS exec ippeveprinter -p {port} -d '{}' -k -r off -f {formats} \
             -K '{}' -c '{}' Labels",
            spool.display(),
            keys.display(),
            command.display()
        );
        let mut started = Command::new("dbus-run-session");
        started.args(["--", "sh", "-c", &line]).stdin(Stdio::null()).stdout(Stdio::null()).stderr(Stdio::null());
        let path = format!("{}:/usr/sbin:/sbin", std::env::var("PATH").unwrap_or_default());
        let child = started.env("PATH", path).process_group(0).spawn();
        let child =
            child.unwrap_or_else(|error| panic!("dbus-run-session is missing ({error}): tests/all installs it"));
        let printer = Self { child, port, spool: spool.to_owned() };
        let asked = Instant::now();
        while TcpStream::connect(("127.0.0.1", port)).is_err() {
            assert!(asked.elapsed() < PATIENCE, "ippeveprinter does not listen: tests/all installs it");
            std::thread::sleep(Duration::from_millis(50));
        }
        printer
    }

    /// Where it listens for who speaks in confidence: it signed its certificate itself.
    pub fn encrypted_uri(&self) -> String {
        format!("ipps://127.0.0.1:{}/ipp/print", self.port)
    }

    /// Where it listens.
    pub fn uri(&self) -> String {
        format!("ipp://127.0.0.1:{}/ipp/print", self.port)
    }

    /// What arrived, by name: the first job first. What came of it lies beside it, ending in `prn`.
    pub fn arrived(&self) -> Vec<PathBuf> {
        let entries = std::fs::read_dir(&self.spool).expect("a folder").map(|entry| entry.expect("an entry").path());
        let mut files: Vec<PathBuf> =
            entries.filter(|path| path.extension().is_none_or(|extension| extension != "prn")).collect();
        files.sort();
        files
    }
}

impl Drop for IppPrinter {
    /// The group: the printer, and the bus that was started for it.
    fn drop(&mut self) {
        let _ = kill_process_group(Pid::from_child(&self.child), Signal::KILL);
        let _ = self.child.wait();
    }
}

/// A port that nobody listens on.
pub fn free_port() -> u16 {
    let listener = TcpListener::bind(("127.0.0.1", 0)).expect("a port");
    listener.local_addr().expect("an address").port()
}
