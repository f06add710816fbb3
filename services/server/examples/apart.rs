//! Our server, but that it commits every command by itself: what `tests/speed` measures sharing a commit against. Serves on a free
//! port until it is stopped.
//!
//!     apart DATABASE-URL KEYS-FOLDER

use std::error::Error;
use std::path::Path;

use mimalloc::MiMalloc;
use tubtrail_operations::webhooks::Outgoing;
use tubtrail_operations::{DatabaseUrl, Tubtrail, system_clock};
use tubtrail_server::door::{Door, Keys};
use tubtrail_server::serve::serve_with;
use tubtrail_server::{house, telemetry};

/// As in our server.
#[global_allocator]
static ALLOCATOR: MiMalloc = MiMalloc;

/// How long a session lasts, in minutes.
const SESSION: u32 = 600;

fn main() -> Result<(), Box<dyn Error>> {
    let given: Vec<String> = std::env::args().skip(1).collect();
    let [database, keys] = given.as_slice() else {
        return Err("apart DATABASE-URL KEYS-FOLDER".into());
    };
    telemetry::start_log()?;
    telemetry::start_metrics()?;
    let tubtrail = Tubtrail::open_apart(&DatabaseUrl::parse(database)?, system_clock())?;
    let door = Door::new(Keys::open(Path::new(keys))?, SESSION);
    let house = house::share(tubtrail, door, None, Outgoing::new(None, false));
    Ok(actix_web::rt::System::new().block_on(serve_with(house, "127.0.0.1:0", |_| ()))?)
}
