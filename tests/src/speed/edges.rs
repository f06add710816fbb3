//! The graph as a table of edges in a database, indexed both ways, with nothing else in it: as fast as its recursive query can
//! be.

use std::fmt::Write as _;

use diesel::connection::SimpleConnection;
use diesel::sql_types::Integer;
use diesel::{ExecuteCopyFromDsl as _, RunQueryDsl};
use tubtrail_storage::AnyConnection;

use super::Failure;
use super::asked::Asked;
use super::contenders::Told;
use crate::{Backend, TestDatabase};

diesel::table! {
    edges (source, target) {
        source -> Integer,
        target -> Integer,
    }
}

/// Everything that can be reached from a node.
const FORWARD: &str = "WITH RECURSIVE reached (node) AS (SELECT CAST({} AS INTEGER) \
    UNION SELECT edges.target FROM reached JOIN edges ON edges.source = reached.node) SELECT node FROM reached";
const BACKWARD: &str = "WITH RECURSIVE reached (node) AS (SELECT CAST({} AS INTEGER) \
    UNION SELECT edges.source FROM reached JOIN edges ON edges.target = reached.node) SELECT node FROM reached";

/// A database with the edges and a connection to it.
pub struct Edges {
    conn: AnyConnection,
    _database: TestDatabase,
}

impl Edges {
    /// Makes one; gone when dropped.
    pub fn of(backend: Backend, told: &Told) -> Result<Self, Failure> {
        let database = TestDatabase::new(backend);
        let mut conn = database.connect();
        // A lot that went into a batch twice is one edge.
        let mut all: Vec<(u32, u32)> = told.edges().collect();
        all.sort_unstable();
        all.dedup();
        match &mut conn {
            AnyConnection::Postgres(conn) => {
                conn.batch_execute(
                    "SET statement_timeout = 0; CREATE TABLE edges (source INTEGER NOT NULL, target INTEGER NOT NULL)",
                )?;
                let copied =
                    diesel::copy_from(edges::table).from_raw_data(edges::table, |copy: &mut dyn std::io::Write| {
                        let written = all.iter().try_for_each(|(source, target)| writeln!(copy, "{source}\t{target}"));
                        written.map_err(|error| diesel::result::Error::SerializationError(error.into()))
                    });
                copied.execute(conn)?;
                conn.batch_execute(
                    "CREATE UNIQUE INDEX forward ON edges (source, target); \
                     CREATE UNIQUE INDEX backward ON edges (target, source)",
                )?;
                conn.batch_execute("VACUUM ANALYZE edges")?;
            }
            AnyConnection::Sqlite(conn) => {
                conn.batch_execute(
                    "PRAGMA synchronous = OFF; PRAGMA cache_size = -1000000; BEGIN; \
                     CREATE TABLE edges (source INTEGER NOT NULL, target INTEGER NOT NULL, \
                     PRIMARY KEY (source, target)) WITHOUT ROWID",
                )?;
                for some in all.chunks(1000) {
                    let mut sql = String::from("INSERT INTO edges VALUES ");
                    for (at, (source, target)) in some.iter().enumerate() {
                        write!(sql, "{}({source},{target})", if at == 0 { "" } else { "," })?;
                    }
                    conn.batch_execute(&sql)?;
                }
                conn.batch_execute("CREATE UNIQUE INDEX backward ON edges (target, source); COMMIT; ANALYZE")?;
            }
        }
        Ok(Self { conn, _database: database })
    }

    /// Every lot and batch that can be reached from a node.
    pub fn reached(&mut self, node: u32, forward: bool) -> Result<Vec<i32>, Failure> {
        let question = Asked::<Integer>::about(if forward { FORWARD } else { BACKWARD }, node.into());
        Ok(match &mut self.conn {
            AnyConnection::Postgres(conn) => question.load(conn)?,
            AnyConnection::Sqlite(conn) => question.load(conn)?,
        })
    }
}
