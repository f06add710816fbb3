//! The installation: on what this house stands, and how it is.

use std::path::Path;

use serde::{Deserialize, Serialize};
use tubtrail_storage::{DatabaseUrl, Follower as _, StorageError, journal, migrations};
use utoipa::ToSchema;

use crate::error::Result;
use crate::reach::{self, Request};
use crate::tubtrail::Tubtrail;

/// What a SQLite database keeps beside its file.
const BESIDE: [&str; 2] = ["", "-wal"];

/// On what the books are kept.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum Backend {
    /// A file, and one process.
    Sqlite,
    /// A server of its own.
    Postgresql,
}

/// How the installation is.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[schema(example = json!({"version": "0.1.0", "backend": "sqlite", "migration": "0010", "journal_position": 4711,
    "index_position": 4711, "database_bytes": 65_536, "free_bytes": 99_000_000_000u64}))]
pub struct Installation {
    /// Of this program.
    pub version: String,
    /// On what the books are kept.
    pub backend: Backend,
    /// The last change to the tables, by its number.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub migration: Option<String>,
    /// The last entry of the journal.
    pub journal_position: i64,
    /// The last entry that the index held when it was asked; answers wait until it holds them all.
    pub index_position: i64,
    /// How large the database's file is, where it is one.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub database_bytes: Option<u64>,
    /// How much room is left on the disk it lies on.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub free_bytes: Option<u64>,
}

impl Tubtrail {
    /// How the installation is: which database, how far the index is behind it, how much room is left.
    pub fn show_installation(&self, request: &Request) -> Result<Installation> {
        request.actor.may_everywhere(&reach::SHOW_INSTALLATION)?;
        let index_position = self.index.position();
        let (migration, journal_position) =
            self.read(|conn| Ok((migrations::last(conn)?, journal::position(conn)?)))?;
        let (backend, room) = match self.database.url() {
            DatabaseUrl::Sqlite(file) => (Backend::Sqlite, Some(room(file)?)),
            DatabaseUrl::Postgres(_) => (Backend::Postgresql, None),
        };
        Ok(Installation {
            version: env!("CARGO_PKG_VERSION").to_owned(),
            backend,
            migration,
            journal_position,
            index_position,
            database_bytes: room.map(|(used, _)| used),
            free_bytes: room.map(|(_, free)| free),
        })
    }
}

/// How much a SQLite file takes, with what lies beside it, and how much is left where it lies, in bytes.
fn room(file: &Path) -> Result<(u64, u64)> {
    let failed = |error: &dyn std::fmt::Display| StorageError::Connect(format!("{}: {error}", file.display()));
    let mut used = 0;
    for end in BESIDE {
        let mut name = file.as_os_str().to_owned();
        name.push(end);
        match std::fs::metadata(&name) {
            Ok(found) => used += found.len(),
            // Nothing is written ahead at the moment.
            Err(error) if error.kind() == std::io::ErrorKind::NotFound && !end.is_empty() => {}
            Err(error) => return Err(failed(&error).into()),
        }
    }
    let disk = rustix::fs::statvfs(file).map_err(|error| failed(&error))?;
    Ok((used, disk.f_bavail.saturating_mul(disk.f_frsize)))
}
