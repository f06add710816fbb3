//! Brings the tables up to date. The two backends' migrations carry the same names, one to one.

use diesel_migrations::{EmbeddedMigrations, MigrationHarness, embed_migrations};

use crate::{AnyConnection, StorageError};

const SQLITE: EmbeddedMigrations = embed_migrations!("../../migrations/sqlite");
const POSTGRES: EmbeddedMigrations = embed_migrations!("../../migrations/postgres");

/// Applies what is missing and names it; nothing, when all is there.
pub fn run(conn: &mut AnyConnection) -> Result<Vec<String>, StorageError> {
    let applied = match conn {
        AnyConnection::Postgres(conn) => conn.run_pending_migrations(POSTGRES).map(names),
        AnyConnection::Sqlite(conn) => conn.run_pending_migrations(SQLITE).map(names),
    };
    applied.map_err(|error| StorageError::Migrate(error.to_string()))
}

/// Whether every migration this program knows is applied, and no other.
pub fn is_current(conn: &mut AnyConnection) -> Result<bool, StorageError> {
    let pending = match conn {
        AnyConnection::Postgres(conn) => conn.has_pending_migration(POSTGRES),
        AnyConnection::Sqlite(conn) => conn.has_pending_migration(SQLITE),
    };
    pending.map(|pending| !pending).map_err(|error| StorageError::Migrate(error.to_string()))
}

fn names(versions: Vec<diesel::migration::MigrationVersion<'_>>) -> Vec<String> {
    versions.iter().map(ToString::to_string).collect()
}
