//! The program itself: where it is, and running it to its end.

use std::path::PathBuf;
use std::process::{Command, Output};

use crate::TestDatabase;

/// Where `tests/all` says the program is.
const BINARY: &str = "TUBTRAIL_BIN";

/// The program to test: `TUBTRAIL_BIN`, else `tubtrail` in the folder above the test's own.
///
/// # Panics
/// If it is not there, saying how to build it.
pub fn path() -> PathBuf {
    let path = std::env::var_os(BINARY).map_or_else(beside_the_tests, PathBuf::from);
    assert!(path.is_file(), "{} is not there: run tests/all, or cargo build --workspace --bins", path.display());
    path
}

/// A program among the server's examples, which lie beside the one to test.
///
/// # Panics
/// If it is not there, saying how to build it.
pub fn example(name: &str) -> PathBuf {
    let path = path().with_file_name("examples").join(name);
    assert!(path.is_file(), "{} is not there: run tests/all, or cargo build --workspace --examples", path.display());
    path
}

/// Tests lie in `target/debug/deps`, the program in `target/debug`.
fn beside_the_tests() -> PathBuf {
    let test = std::env::current_exe().expect("a test knows where it is");
    let folder = test.parent().and_then(|deps| deps.parent()).expect("a test lies in target/PROFILE/deps");
    folder.join("tubtrail")
}

/// A command of the program, without the settings that are meant for the tests.
pub fn command(program: PathBuf) -> Command {
    let mut command = Command::new(program);
    for (name, _) in std::env::vars_os() {
        if name.to_string_lossy().starts_with("TUBTRAIL_") {
            command.env_remove(name);
        }
    }
    command
}

/// Runs `tubtrail ARGUMENTS --database URL` to its end.
///
/// # Panics
/// If it cannot be started.
pub fn run(database: &TestDatabase, arguments: &[&str]) -> Output {
    let mut command = command(path());
    command.args(arguments).args(["--database", database.url()]);
    command.output().unwrap_or_else(|error| panic!("{command:?}: {error}"))
}

/// Adds a person with `tubtrail user add`. On SQLite no server may be running on the database.
///
/// # Panics
/// If the program refuses.
#[track_caller]
pub fn add_user(database: &TestDatabase, login: &str, name: &str, roles: &[&str], password: &str) {
    let file = database.folder().join(format!("{login}.password"));
    std::fs::write(&file, password).expect("the test's own folder can be written");
    let mut arguments = vec!["user", "add", login, "--name", name];
    for role in roles {
        arguments.extend(["--role", role]);
    }
    let file = file.to_str().expect("temporary folders have plain names");
    arguments.extend(["--password-file", file]);
    let output = run(database, &arguments);
    assert!(
        output.status.success(),
        "tubtrail {arguments:?}: {}\n{}{}",
        output.status,
        String::from_utf8_lossy(&output.stdout),
        String::from_utf8_lossy(&output.stderr)
    );
}
