//! Counts the memory that an open database takes, for `speed`: `speed-memory DATABASE`. A program of its own, so that
//! counting slows nothing else down.

use std::error::Error;

use peak_alloc::PeakAlloc;
use tubtrail_tests::speed::count_memory;

#[global_allocator]
static COUNTED: PeakAlloc = PeakAlloc;

fn main() -> Result<(), Box<dyn Error + Send + Sync>> {
    let address = std::env::args().nth(1).ok_or("say which database: sqlite:PATH or postgres://...")?;
    let memory = count_memory(&address, || COUNTED.current_usage(), || COUNTED.peak_usage())?;
    println!("{}", serde_json::to_string(&memory)?);
    Ok(())
}
