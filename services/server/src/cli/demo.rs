//! `tubtrail demo`

use std::path::PathBuf;

use chrono::Utc;
use clap::Args;
use tubtrail_operations::DatabaseUrl;

use super::Outcome;
use super::serve::Serve;
use crate::config::{Common, Serving, Settings};
use crate::demo::{self, Login};

#[derive(Debug, Args)]
#[command(after_help = "\
Everything in it is made up. Without --database it makes a fresh SQLite database in a folder it names; with it, the
database must be empty.

Examples:
  tubtrail demo
  tubtrail demo --once
  tubtrail demo --listen 127.0.0.1:9000")]
pub struct Demo {
    /// Prints the answers and ends: 0 if every answer agrees with a recount of the facts, 1 if not
    #[arg(long)]
    once: bool,
    #[command(flatten)]
    serving: Serving,
}

impl Demo {
    pub fn run(&self, common: &Common) -> Outcome {
        let mut common = common.clone();
        if common.database.is_none() {
            let folder = fresh_folder();
            println!("A fresh database in {}", folder.display());
            common.database = Some(format!("sqlite:{}", folder.join("tubtrail.db").display()));
        }
        let settings = Settings::read(&common)?;
        let guests = demo::play(&settings.database)?;
        if self.once {
            return Ok(());
        }
        let serving = Serve::new(self.with_keys(&settings));
        println!("\nSign in as (made for this demonstration alone):");
        guests.logins.iter().for_each(show);
        println!("  The till at the harbour shop is a device; it sends Authorization: Bearer {}", guests.till_token);
        let listen = settings.listen(&self.serving);
        println!("\nThe counter is at http://{listen}/: sign in as harbour.");
        println!("The API browser is at http://{listen}/api/, its description at http://{listen}/openapi.json");
        println!("Ctrl-C ends it; the database stays.\n");
        serving.run(&settings)
    }

    /// On PostgreSQL a server wants to be told where its keys lie; a demonstration need not be.
    fn with_keys(&self, settings: &Settings) -> Serving {
        let mut serving = self.serving.clone();
        if serving.keys.keys.is_none() && matches!(settings.database, DatabaseUrl::Postgres(_)) {
            serving.keys.keys = Some(fresh_folder().join("keys"));
        }
        serving
    }
}

fn fresh_folder() -> PathBuf {
    PathBuf::from("tubtrail-data").join(format!("demo-{}", Utc::now().format("%Y%m%d-%H%M%S%3f")))
}

fn show(login: &Login) {
    println!("  {:<12} {:<18} {}", login.login, login.password, login.who);
}
