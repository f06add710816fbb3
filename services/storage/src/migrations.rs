//! Brings the tables up to date. The two backends' migrations carry the same names, one to one.

use diesel::backend::Backend;
use diesel::connection::SimpleConnection;
use diesel::migration::{Migration, MigrationSource, MigrationVersion};
use diesel::sql_types::{Nullable, Text};
use diesel::{QueryableByName, RunQueryDsl, sql_query};
use diesel_migrations::{EmbeddedMigrations, MigrationHarness, embed_migrations};

use crate::{AnyConnection, StorageError};

const SQLITE: EmbeddedMigrations = embed_migrations!("../../migrations/sqlite");
const POSTGRES: EmbeddedMigrations = embed_migrations!("../../migrations/postgres");
/// The advisory lock under which PostgreSQL's tables are made; the letters of "tubtrail".
const LOCK: i64 = 0x7475_6274_7261_696c;

/// Applies what is missing and names it; nothing, when all is there.
pub fn run(conn: &mut AnyConnection) -> Result<Vec<String>, StorageError> {
    let applied = match conn {
        AnyConnection::Postgres(conn) => {
            // Servers may start together on one database: one makes the tables, the others wait and find them made.
            conn.batch_execute(&format!("SELECT pg_advisory_lock({LOCK})"))?;
            let applied = conn.run_pending_migrations(POSTGRES).map(|versions| names(&versions));
            conn.batch_execute(&format!("SELECT pg_advisory_unlock({LOCK})"))?;
            applied
        }
        AnyConnection::Sqlite(conn) => conn.run_pending_migrations(SQLITE).map(|versions| names(&versions)),
    };
    applied.map_err(|error| StorageError::Migrate(error.to_string()))
}

/// Whether every migration this program knows is applied, and no other.
pub fn is_current(conn: &mut AnyConnection) -> Result<bool, StorageError> {
    let same = match conn {
        AnyConnection::Postgres(conn) => has_exactly(conn, &POSTGRES),
        AnyConnection::Sqlite(conn) => has_exactly(conn, &SQLITE),
    };
    same.map_err(|error| StorageError::Migrate(error.to_string()))
}

/// The name of the last one applied. diesel's own way of asking would make its table if that were missing, which whoever only
/// reads may not.
pub fn last(conn: &mut AnyConnection) -> Result<Option<String>, StorageError> {
    let query = sql_query("SELECT MAX(version) AS version FROM __diesel_schema_migrations");
    Ok(query.get_result::<Last>(conn)?.version)
}

#[derive(QueryableByName)]
struct Last {
    #[diesel(sql_type = Nullable<Text>)]
    version: Option<String>,
}

fn has_exactly<DB: Backend>(
    conn: &mut impl MigrationHarness<DB>,
    known: &EmbeddedMigrations,
) -> diesel::migration::Result<bool> {
    let known: Vec<Box<dyn Migration<DB>>> = known.migrations()?;
    let mut known: Vec<_> = known.iter().map(|migration| migration.name().version().as_owned()).collect();
    let mut applied = conn.applied_migrations()?;
    known.sort();
    applied.sort();
    Ok(known == applied)
}

fn names(versions: &[MigrationVersion<'_>]) -> Vec<String> {
    versions.iter().map(ToString::to_string).collect()
}
