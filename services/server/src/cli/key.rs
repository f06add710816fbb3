//! `tubtrail key`

use clap::Subcommand;

use super::Outcome;
use crate::config::{KeysFolder, Settings};
use crate::door::keys;

#[derive(Debug, Subcommand)]
pub enum Key {
    /// Adds a key, which signs from now on; those before it still verify.
    #[command(after_help = "\
A running server reads the keys again on SIGHUP. Once the longest session begun before is over, older keys can be taken
out of the folder: what they signed is then refused.")]
    Add(#[command(flatten)] KeysFolder),
}

impl Key {
    pub fn run(&self, settings: &Settings) -> Outcome {
        let Self::Add(given) = self;
        let folder = settings.keys(given)?;
        let id = keys::add(&folder)?;
        println!("added {id} to {}; send SIGHUP to the servers that are running", folder.display());
        Ok(())
    }
}
