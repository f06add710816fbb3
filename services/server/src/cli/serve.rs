//! `tubtrail serve`

use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::thread::JoinHandle;

use clap::Args;
use tubtrail_operations::webhooks::Outgoing;
use tubtrail_operations::{Tubtrail, system_clock};

use super::{Outcome, in_words};
use crate::config::{Serving, Settings};
use crate::door::{Door, Keys};
use crate::house::House;
use crate::printing::Printing;
use crate::webhooks::{self, Sender};
use crate::{house, serve, telemetry};

/// Reads what is otherwise read when it is first asked for, while the server serves already.
struct ReadingAhead {
    goes_on: Arc<AtomicBool>,
    thread: JoinHandle<()>,
}

impl ReadingAhead {
    fn begin(house: &House) -> std::io::Result<Self> {
        let goes_on = Arc::new(AtomicBool::new(true));
        let (house, going) = (house.clone(), Arc::clone(&goes_on));
        let read = move || {
            let goes_on = |left: usize| {
                #[allow(clippy::cast_precision_loss)] // A few thousand.
                metrics::gauge!(telemetry::UNREAD).set(left as f64);
                going.load(Ordering::Relaxed)
            };
            if let Err(error) = house.tubtrail.read_ahead(goes_on) {
                // It is read when it is asked for.
                tracing::warn!(%error, "not all could be read ahead");
            }
        };
        Ok(Self { goes_on, thread: std::thread::Builder::new().name("read ahead".into()).spawn(read)? })
    }

    /// Ends it, with its hold on the house.
    fn end(self) {
        self.goes_on.store(false, Ordering::Relaxed);
        if self.thread.join().is_err() {
            tracing::error!("reading ahead had panicked");
        }
    }
}

#[derive(Debug, Args)]
#[command(after_help = "\
Prints `listening on http://ADDRESS:PORT` when it is ready; its log goes to standard error, one JSON object a line
(TUBTRAIL_LOG says how much: error, warn, info, debug). SIGTERM stops it once the requests at work are answered; SIGHUP
makes it read the keys again.

Examples:
  tubtrail serve
  tubtrail serve --database sqlite:/var/lib/tubtrail/tubtrail.db --listen 127.0.0.1:8440
  tubtrail serve --database postgres://tubtrail@127.0.0.1/tubtrail --keys /etc/tubtrail/keys")]
pub struct Serve {
    #[command(flatten)]
    serving: Serving,
}

impl Serve {
    /// With these settings, from another subcommand.
    pub fn new(serving: Serving) -> Self {
        Self { serving }
    }

    pub fn run(&self, settings: &Settings) -> Outcome {
        let listen = settings.listen(&self.serving);
        let session_minutes = settings.session_minutes(&self.serving)?;
        let public_url = settings.public_url(&self.serving)?;
        let folder = settings.keys(&self.serving.keys)?;
        telemetry::start_log()?;
        telemetry::start_metrics()?;
        let tubtrail = Tubtrail::open(&settings.database, system_clock()).map_err(|error| in_words(&error))?;
        let door = Door::new(Keys::open(&folder)?, session_minutes);
        tracing::info!(database = %settings.database, listen, "starting");
        let house =
            house::share(tubtrail, door, public_url, outgoing(&folder, settings.webhooks_inside(&self.serving)));
        let (reading, sender) = (ReadingAhead::begin(&house)?, Sender::start(house.clone())?);
        let printing = Printing::start(&house)?;
        let ended = actix_web::rt::System::new().block_on(serve::serve(house.clone(), &listen));
        drop(printing);
        sender.stop();
        reading.end();
        // The last handle: dropping it waits for the writer to finish what it was given.
        drop(house);
        tracing::info!("stopped");
        Ok(ended.map_err(|error| format!("cannot listen on {listen}: {error}"))?)
    }
}

/// Without a key all else works: a folder of keys that cannot be written to is no reason to serve nobody.
fn outgoing(keys: &std::path::Path, inside: bool) -> Outgoing {
    let key = webhooks::read_or_make(keys);
    if let Err(error) = &key {
        tracing::warn!(%error, "there is no key for the secrets of webhooks");
    }
    Outgoing::new(key.ok(), inside)
}
