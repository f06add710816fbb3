//! A server like ours, behind the same door and with the same log and measurements, whose answers about allergens are so many
//! bytes, whatever is asked: what `tests/speed` measures ours against. Serves on a free port until it is stopped.
//!
//!     constant DATABASE-URL KEYS-FOLDER BYTES

use std::error::Error;
use std::path::Path;

use actix_web::{HttpResponse, web};
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
    let [database, keys, bytes] = given.as_slice() else {
        return Err("constant DATABASE-URL KEYS-FOLDER BYTES".into());
    };
    telemetry::start_log()?;
    telemetry::start_metrics()?;
    let tubtrail = Tubtrail::open(&DatabaseUrl::parse(database)?, system_clock())?;
    let door = Door::new(Keys::open(Path::new(keys))?, SESSION);
    let house = house::share(tubtrail, door, None, Outgoing::new(None, false));
    let body = web::Bytes::from(vec![b' '; bytes.parse()?]);
    let constant = move |config: &mut web::ServiceConfig| {
        let body = body.clone();
        // It takes in the question, as any handler does.
        let answer = web::post().to(move |_: web::Bytes| {
            let body = body.clone();
            async move { HttpResponse::Ok().content_type("application/json").body(body) }
        });
        config.route("/v1/allergen-checks", answer);
    };
    Ok(actix_web::rt::System::new().block_on(serve_with(house, "127.0.0.1:0", constant))?)
}
