//! `tubtrail import`

use std::fs::File;
use std::io::Read;
use std::path::{Path, PathBuf};

use clap::Args;
use clap::builder::PossibleValuesParser;
use tubtrail_operations::imports::{GUIDE, Imported, NOUNS};
use tubtrail_operations::{Fault, OperationError, Request, Tubtrail, system_clock};

use super::Outcome;
use crate::config::Settings;

/// Most of a file that is read, in bytes: ten thousand rows and room to spare.
const LARGEST: u64 = 16 * 1024 * 1024;

#[derive(Debug, Args)]
#[command(after_help = GUIDE)]
pub struct Import {
    /// What the file holds
    #[arg(value_parser = PossibleValuesParser::new(NOUNS))]
    noun: String,
    /// The file
    file: PathBuf,
}

impl Import {
    pub fn run(&self, settings: &Settings) -> Outcome {
        let bytes = read(&self.file)?;
        let tubtrail = Tubtrail::open(&settings.database, system_clock()).map_err(|error| super::in_words(&error))?;
        println!("{}", import(&tubtrail, &self.noun, &bytes).map_err(|error| self.in_words(&error))?);
        Ok(())
    }

    /// With the file before the line, as compilers put it; the line stands in the sentence already.
    fn in_words(&self, error: &OperationError) -> String {
        if error.cause.is_some() {
            return super::in_words(error);
        }
        let first = Fault { field: error.field.clone(), detail: error.detail.clone() };
        let faults: Vec<_> = std::iter::once(&first).chain(&error.also).map(|fault| self.fault(fault)).collect();
        faults.join("\n")
    }

    fn fault(&self, fault: &Fault) -> String {
        let file = self.file.display();
        match fault.field.as_deref().and_then(|field| field.split_once(": ")) {
            Some((_, column)) => format!("{file}: {} ({column})", fault.detail),
            None => format!("{file}: {}", fault.detail),
        }
    }
}

/// Takes a file in and says what came of it.
fn import(tubtrail: &Tubtrail, noun: &str, file: &[u8]) -> Result<String, OperationError> {
    let Imported { created, changed, unchanged } = tubtrail.import(&Request::system(), noun, file)?.answer;
    Ok(format!("{noun}: {created} created, {changed} changed, {unchanged} as they were"))
}

fn read(path: &Path) -> Result<Vec<u8>, String> {
    let name = path.display();
    let file = File::open(path).map_err(|error| format!("{name}: {error}"))?;
    let mut bytes = Vec::new();
    let size = file.take(LARGEST + 1).read_to_end(&mut bytes).map_err(|error| format!("{name}: {error}"))?;
    if size as u64 > LARGEST {
        return Err(format!("{name}: at most {LARGEST} bytes are taken: split the file"));
    }
    Ok(bytes)
}
