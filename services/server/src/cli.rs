//! The command line.

use std::process::ExitCode;

use clap::{Parser, Subcommand};

/// Stock by lot for a gelato maker, traced both ways.
#[derive(Debug, Parser)]
#[command(name = "tubtrail", version)]
struct Cli {
    #[command(subcommand)]
    command: Command,
}

#[derive(Debug, Subcommand)]
enum Command {
    /// Prints the API's description (OpenAPI 3.1, JSON).
    Openapi,
}

/// Runs the program.
pub fn main() -> ExitCode {
    let cli = Cli::parse();
    match run(&cli.command) {
        Ok(()) => ExitCode::SUCCESS,
        Err(error) => {
            eprintln!("tubtrail: {error}");
            ExitCode::FAILURE
        }
    }
}

fn run(command: &Command) -> Result<(), Box<dyn std::error::Error>> {
    match command {
        Command::Openapi => print!("{}", crate::api::text()?),
    }
    Ok(())
}
