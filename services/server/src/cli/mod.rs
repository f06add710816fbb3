//! The command line: one file a subcommand.

mod key;
mod migrate;
mod serve;
mod user;

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
    /// Brings the tables of the database up to date, and says what it did.
    Migrate,
    /// People who may come in.
    #[command(subcommand)]
    User(user::User),
    /// The keys that sessions are signed with.
    #[command(subcommand)]
    Key(key::Key),
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
            eprintln!("tubtrail: {error}");
            ExitCode::FAILURE
        }
    }
}

fn run(cli: &Cli) -> Outcome {
    let settings = || Settings::read(&cli.common);
    match &cli.command {
        Command::Serve(serve) => serve.run(&settings()?),
        Command::Migrate => migrate::run(&settings()?),
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
