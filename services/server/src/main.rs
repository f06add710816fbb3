//! The one binary.

use std::process::ExitCode;

fn main() -> ExitCode {
    tubtrail_server::cli::main()
}
