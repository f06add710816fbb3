//! Opening a database: which backend an address means, how each connection is set up, and the two pools.

use std::fs::{DirBuilder, File, OpenOptions};
use std::os::unix::fs::{DirBuilderExt, OpenOptionsExt};
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::time::Duration;

use diesel::connection::SimpleConnection;
use diesel::pg::PgConnection;
use diesel::r2d2::{ManageConnection, Pool, PooledConnection};
use diesel::sqlite::SqliteConnection;
use diesel::{Connection, MultiConnection};

use crate::StorageError;

/// A connection to either backend. Never `establish` it from an address: SQLite takes any text for a path.
#[derive(MultiConnection)]
pub enum AnyConnection {
    /// PostgreSQL.
    Postgres(PgConnection),
    /// SQLite.
    Sqlite(SqliteConnection),
}

/// The address of a database.
#[derive(Clone, PartialEq, Eq)]
pub enum DatabaseUrl {
    /// `sqlite:PATH`
    Sqlite(PathBuf),
    /// `postgres://...`, kept whole
    Postgres(String),
}

impl DatabaseUrl {
    /// Reads `sqlite:PATH`, `postgres://...` or `postgresql://...`; any other scheme is refused.
    ///
    /// A PostgreSQL address that asks for TLS (`sslmode` other than `disable`, `allow` or `prefer`) is refused: this
    /// program is built without TLS to PostgreSQL, and must not quietly go on in the clear.
    pub fn parse(text: &str) -> Result<Self, StorageError> {
        if let Some(path) = text.strip_prefix("sqlite:") {
            let path = path.strip_prefix("//").unwrap_or(path);
            if path.is_empty() {
                return Err(StorageError::Address(
                    "sqlite: needs a path, as in sqlite:tubtrail-data/tubtrail.db".into(),
                ));
            }
            if path == ":memory:" {
                return Err(StorageError::Address(
                    "a database in memory would be lost with its connection; name a file".into(),
                ));
            }
            return Ok(Self::Sqlite(path.into()));
        }
        if text.starts_with("postgres://") || text.starts_with("postgresql://") {
            refuse_tls(text)?;
            return Ok(Self::Postgres(text.to_owned()));
        }
        let scheme = text.split(':').next().unwrap_or(text);
        Err(StorageError::Address(format!(
            "the database address starts with {scheme:?}; use sqlite:PATH or postgres://..."
        )))
    }
}

/// As shown to people and in logs: without the password.
impl std::fmt::Display for DatabaseUrl {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            Self::Sqlite(path) => write!(f, "sqlite:{}", path.display()),
            Self::Postgres(url) => f.write_str(&without_password(url)),
        }
    }
}

impl std::fmt::Debug for DatabaseUrl {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        std::fmt::Display::fmt(self, f)
    }
}

/// The password stands after the name, or among the parameters; these may all hold secrets, so that none are shown.
fn without_password(url: &str) -> String {
    let url = url.split(['?', '#']).next().unwrap_or(url);
    let Some((scheme, rest)) = url.split_once("://") else { return "postgres://...".into() };
    // A password that was not encoded may hold an @ or a / itself: all before the last @ is the name and the password.
    match rest.rsplit_once('@') {
        Some((person, server)) => match person.split_once(':') {
            Some((name, _)) => format!("{scheme}://{name}:***@{server}"),
            None => format!("{scheme}://{person}@{server}"),
        },
        None => format!("{scheme}://{rest}"),
    }
}

fn refuse_tls(url: &str) -> Result<(), StorageError> {
    let query = url.split_once('?').map_or("", |(_, query)| query);
    let mode = query.split('&').find_map(|pair| pair.strip_prefix("sslmode="));
    match mode {
        None | Some("disable" | "allow" | "prefer") => Ok(()),
        Some(mode) => Err(StorageError::Address(format!(
            "sslmode={mode} cannot be honoured: this program speaks to PostgreSQL without TLS; use a local socket or a TLS proxy"
        ))),
    }
}

/// An open database: a pool to read from, and the means to open the writer's connection.
#[derive(Clone)]
pub struct Database {
    readers: Pool<Manager>,
    url: DatabaseUrl,
    // Held as long as the database is open: one process serves a SQLite file.
    _lock: Option<Arc<File>>,
}

/// A borrowed reading connection.
pub type Reader = PooledConnection<Manager>;

impl Database {
    /// Opens the database to serve it: brings the tables up to date and, on SQLite, takes the file for this process.
    pub fn open(url: &DatabaseUrl, readers: u32) -> Result<Self, StorageError> {
        let lock = lock_file(url)?;
        let mut conn = connect(url)?;
        crate::migrations::run(&mut conn)?;
        if !crate::migrations::is_current(&mut conn)? {
            return Err(StorageError::Migrate("a newer program made them; use that one".into()));
        }
        Self::pool(url, readers, lock)
    }

    /// Brings the tables up to date and names what was applied; on SQLite nobody may be serving the file.
    pub fn migrate(url: &DatabaseUrl) -> Result<Vec<String>, StorageError> {
        let _lock = lock_file(url)?;
        crate::migrations::run(&mut connect(url)?)
    }

    /// Opens the database to read it only, beside a process that may be serving it.
    pub fn open_beside(url: &DatabaseUrl) -> Result<Self, StorageError> {
        if let DatabaseUrl::Sqlite(path) = url
            && !path.exists()
        {
            return Err(StorageError::Connect(format!("{} does not exist", path.display())));
        }
        let mut conn = connect(url)?;
        if !crate::migrations::is_current(&mut conn)? {
            return Err(StorageError::Migrate("run `tubtrail migrate` first".into()));
        }
        Self::pool(url, 2, None)
    }

    fn pool(url: &DatabaseUrl, readers: u32, lock: Option<Arc<File>>) -> Result<Self, StorageError> {
        let pool = Pool::builder()
            .max_size(readers)
            // Whoever starts waits for these; the others come when they are needed.
            .min_idle(Some(readers.min(2)))
            .connection_timeout(Duration::from_secs(10))
            .build(Manager { url: url.clone() })
            .map_err(|error| StorageError::Connect(error.to_string()))?;
        Ok(Self { readers: pool, url: url.clone(), _lock: lock })
    }

    /// Borrows a connection that can only read.
    pub fn reader(&self) -> Result<Reader, StorageError> {
        self.readers.get().map_err(|error| StorageError::Connect(error.to_string()))
    }

    /// A connection of one's own.
    pub(crate) fn connect(&self) -> Result<AnyConnection, StorageError> {
        connect(&self.url)
    }

    /// A connection of one's own for the writer thread.
    pub(crate) fn connect_to_write(&self) -> Result<AnyConnection, StorageError> {
        connect_to_write(&self.url)
    }

    /// The address it was opened with.
    pub fn url(&self) -> &DatabaseUrl {
        &self.url
    }
}

/// Connects and sets the connection up; creates a missing SQLite file and its folder.
pub fn connect(url: &DatabaseUrl) -> Result<AnyConnection, StorageError> {
    match url {
        DatabaseUrl::Sqlite(path) => connect_sqlite(path).map(AnyConnection::Sqlite),
        DatabaseUrl::Postgres(url) => connect_postgres(url).map(AnyConnection::Postgres),
    }
}

/// Connects for the one who writes: looks up single rows all day, of any age, in tables that grow.
pub fn connect_to_write(url: &DatabaseUrl) -> Result<AnyConnection, StorageError> {
    let mut conn = connect(url)?;
    match &mut conn {
        // 16 MiB: the usual 2 hold too little of what was written and is read out of the write-ahead log. More would only be gone through:
        // below 1 GiB, SQLite looks at every page it keeps whenever a commit split one.
        AnyConnection::Sqlite(conn) => conn.batch_execute("PRAGMA cache_size = -16384;")?,
        // A statement that was planned when a table was empty goes through all of it for good.
        AnyConnection::Postgres(conn) => conn.batch_execute("SET enable_seqscan = off;")?,
    }
    Ok(conn)
}

/// Runs `read` in one snapshot: what is committed meanwhile, it does not see.
pub fn snapshot<T, E>(conn: &mut AnyConnection, read: impl FnOnce(&mut AnyConnection) -> Result<T, E>) -> Result<T, E>
where
    E: From<diesel::result::Error>,
{
    conn.transaction(|conn| {
        // On SQLite a transaction is a snapshot from its first read on.
        if let AnyConnection::Postgres(conn) = conn {
            conn.batch_execute("SET TRANSACTION ISOLATION LEVEL REPEATABLE READ, READ ONLY")?;
        }
        read(conn)
    })
}

/// Makes the folder a file shall lie in, if it is missing, for nobody else on the machine to look into.
fn make_folder_of(path: &Path) -> Result<(), StorageError> {
    let Some(folder) = path.parent().filter(|folder| !folder.as_os_str().is_empty()) else { return Ok(()) };
    DirBuilder::new()
        .recursive(true)
        .mode(0o700)
        .create(folder)
        .map_err(|error| StorageError::Connect(format!("{}: {error}", folder.display())))
}

fn connect_sqlite(path: &Path) -> Result<SqliteConnection, StorageError> {
    make_folder_of(path)?;
    let text = path.to_str().ok_or_else(|| StorageError::Address("the path is not UTF-8".into()))?;
    // For nobody else on the machine to read, whatever the folder allows; SQLite gives its other files the same mode.
    let made = OpenOptions::new().write(true).create(true).truncate(false).mode(0o600).open(path);
    made.map_err(|error| StorageError::Connect(format!("{text}: {error}")))?;
    let mut conn =
        SqliteConnection::establish(text).map_err(|error| StorageError::Connect(format!("{text}: {error}")))?;
    // busy_timeout first: switching to WAL needs the lock itself. recursive_triggers, or INSERT OR REPLACE would delete
    // facts without their triggers hearing of it. mmap_size: up to 1 TiB of the file is read where the system keeps it, not
    // copied page by page for each connection; a disk that fails to read then ends the process instead of a command.
    conn.batch_execute(
        "PRAGMA busy_timeout = 10000; PRAGMA journal_mode = WAL; PRAGMA synchronous = FULL; PRAGMA foreign_keys = ON; \
         PRAGMA recursive_triggers = ON; PRAGMA mmap_size = 1099511627776;",
    )?;
    Ok(conn)
}

fn connect_postgres(url: &str) -> Result<PgConnection, StorageError> {
    let mut conn = PgConnection::establish(url).map_err(|error| StorageError::Connect(error.to_string()))?;
    // What is asked here looks up few rows; compiling a query takes longer than answering it.
    conn.batch_execute(
        "SET TIME ZONE 'UTC'; SET lock_timeout = '10s'; SET statement_timeout = '120s'; SET jit = off;",
    )?;
    Ok(conn)
}

fn lock_file(url: &DatabaseUrl) -> Result<Option<Arc<File>>, StorageError> {
    let DatabaseUrl::Sqlite(path) = url else { return Ok(None) };
    make_folder_of(path)?;
    // Under whatever name: SQLite, too, keeps its files beside the one that links lead to.
    let mut name = path.canonicalize().unwrap_or_else(|_| path.clone()).into_os_string();
    name.push(".lock");
    let file = File::create(&name)
        .map_err(|error| StorageError::Connect(format!("{}: {error}", Path::new(&name).display())))?;
    file.try_lock().map_err(|_| StorageError::InUse(path.display().to_string()))?;
    Ok(Some(Arc::new(file)))
}

/// Makes and checks pooled connections; they cannot write.
#[derive(Clone, Debug)]
pub struct Manager {
    url: DatabaseUrl,
}

impl ManageConnection for Manager {
    type Connection = AnyConnection;
    type Error = StorageError;

    fn connect(&self) -> Result<AnyConnection, StorageError> {
        let mut conn = connect(&self.url)?;
        match &mut conn {
            AnyConnection::Sqlite(conn) => conn.batch_execute("PRAGMA query_only = ON;")?,
            AnyConnection::Postgres(conn) => conn.batch_execute("SET default_transaction_read_only = on;")?,
        }
        Ok(conn)
    }

    fn is_valid(&self, conn: &mut AnyConnection) -> Result<(), StorageError> {
        // A file does not go away between two requests; a server does.
        match conn {
            AnyConnection::Sqlite(_) => Ok(()),
            AnyConnection::Postgres(conn) => Ok(conn.batch_execute("SELECT 1")?),
        }
    }

    fn has_broken(&self, conn: &mut AnyConnection) -> bool {
        use diesel::connection::TransactionManager;
        match conn {
            AnyConnection::Sqlite(conn) => {
                diesel::connection::AnsiTransactionManager::is_broken_transaction_manager(conn)
            }
            AnyConnection::Postgres(conn) => {
                diesel::connection::AnsiTransactionManager::is_broken_transaction_manager(conn)
            }
        }
    }
}
