//! `tubtrail serve`

use clap::Args;
use tubtrail_operations::{Tubtrail, system_clock};

use super::{Outcome, in_words};
use crate::config::{Serving, Settings};
use crate::door::{Door, Keys};
use crate::printing::Printing;
use crate::{house, serve, telemetry};

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
        let folder = settings.keys(&self.serving.keys)?;
        telemetry::start_log()?;
        telemetry::start_metrics()?;
        let tubtrail = Tubtrail::open(&settings.database, system_clock()).map_err(|error| in_words(&error))?;
        let door = Door::new(Keys::open(&folder)?, session_minutes);
        tracing::info!(database = %settings.database, listen, "starting");
        let house = house::share(tubtrail, door);
        let printing = Printing::start(&house)?;
        let ended = actix_web::rt::System::new().block_on(serve::serve(house.clone(), &listen));
        drop(printing);
        // The last handle: dropping it waits for the writer to finish what it was given.
        drop(house);
        tracing::info!("stopped");
        Ok(ended.map_err(|error| format!("{listen}: {error}"))?)
    }
}
