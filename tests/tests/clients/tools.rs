//! The programs that `tests/all` installs, and running them.

use std::path::{Path, PathBuf};
use std::process::{Command, Output};

/// Where they are.
pub fn tool(path: &str) -> PathBuf {
    let tool = PathBuf::from(env!("CARGO_MANIFEST_DIR")).join(".work/oracles").join(path);
    assert!(tool.exists(), "{} is not there: run tests/all, which installs it", tool.display());
    tool
}

/// The examples that we ship.
pub fn examples() -> PathBuf {
    PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("../deploy/clients")
}

/// Runs a program in a folder to its end, with these names in its environment.
#[track_caller]
pub fn run(program: &Path, folder: &Path, arguments: &[&str], environment: &[(&str, &str)]) -> Output {
    let mut command = Command::new(program);
    command.current_dir(folder).args(arguments).envs(environment.iter().copied());
    command.output().unwrap_or_else(|error| panic!("{command:?}: {error}"))
}

/// The same of one that must succeed; what it said.
#[track_caller]
pub fn succeed(program: &Path, folder: &Path, arguments: &[&str], environment: &[(&str, &str)]) -> String {
    let output = run(program, folder, arguments, environment);
    let said = String::from_utf8_lossy(&output.stdout).into_owned();
    let complained = String::from_utf8_lossy(&output.stderr);
    assert!(output.status.success(), "{} {arguments:?}: {}\n{said}{complained}", program.display(), output.status);
    said
}
