//! The one binary.

use std::process::ExitCode;

use mimalloc::MiMalloc;

/// What one thread sets aside another gives back: requests and answers do, all the time.
#[global_allocator]
static ALLOCATOR: MiMalloc = MiMalloc;

fn main() -> ExitCode {
    tubtrail_server::cli::main()
}
