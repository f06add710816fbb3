//! The command line: one file a subcommand.

mod demo;
mod import;
mod key;
mod migrate;
mod serve;
mod user;
pub mod verify;

use std::error::Error;
use std::process::ExitCode;

use clap::{Parser, Subcommand};
use tubtrail_operations::OperationError;

use crate::config::{Common, Settings};

/// Stock by lot for a gelato maker, traced both ways.
#[derive(Debug, Parser)]
#[command(
    name = "tubtrail",
    version,
    after_help = "\
Settings come from the command line, else from the environment (TUBTRAIL_DATABASE, ...), else from the --config file.

To begin:
  tubtrail user add olga --name 'Olga Owner' --role owner
  tubtrail serve"
)]
struct Cli {
    #[command(flatten)]
    common: Common,
    #[command(subcommand)]
    command: Command,
}

#[derive(Debug, Subcommand)]
enum Command {
    /// Serves the API until it is told to stop.
    Serve(serve::Serve),
    /// Plays thirty days of a made-up maker, answers four questions, and serves.
    Demo(demo::Demo),
    /// Brings the tables of the database up to date, and says what it did.
    Migrate,
    /// Recomputes what can be recomputed, and names the first row that is wrong.
    #[command(after_help = "\
Reads one moment of the database, beside whoever serves it: the journal's hashes over every row, the balances, the mass of
every lot, what went into and came out of every batch, and the lot graph. Ends with 1 if anything is wrong.")]
    Verify,
    /// Takes in a CSV file of master data: all of it, or nothing.
    Import(import::Import),
    /// People who may come in.
    #[command(subcommand)]
    User(user::User),
    /// The keys that sessions are signed with.
    #[command(subcommand)]
    Key(key::Key),
    #[allow(clippy::doc_markdown)] // Help is no Markdown.
    /// Prints the API's description (OpenAPI 3.1, JSON).
    Openapi,
}

/// What a subcommand comes to.
type Outcome = Result<(), Box<dyn Error>>;

/// Runs the program.
pub fn main() -> ExitCode {
    let cli = Cli::parse();
    match run(&cli) {
        Ok(()) => ExitCode::SUCCESS,
        Err(error) => {
            let said = error.downcast_ref().map_or_else(|| error.to_string(), in_words);
            eprintln!("tubtrail: {said}");
            ExitCode::FAILURE
        }
    }
}

fn run(cli: &Cli) -> Outcome {
    let settings = || Settings::read(&cli.common);
    match &cli.command {
        Command::Serve(serve) => serve.run(&settings()?),
        Command::Demo(demo) => demo.run(&cli.common),
        Command::Migrate => migrate::run(&settings()?),
        Command::Verify => verify::run(&settings()?),
        Command::Import(import) => import.run(&settings()?),
        Command::User(user) => user.run(&settings()?),
        Command::Key(key) => key.run(&settings()?),
        Command::Openapi => {
            print!("{}", crate::api::text()?);
            Ok(())
        }
    }
}

/// An operation's error for whoever sits at the machine: its cause too, which an answer over HTTP never shows.
fn in_words(error: &OperationError) -> String {
    error.cause.as_ref().map_or_else(|| error.to_string(), ToString::to_string)
}
