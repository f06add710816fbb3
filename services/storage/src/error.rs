use tubtrail_domain::place::State;

/// What can go wrong below the operations.
#[derive(Debug, thiserror::Error)]
pub enum StorageError {
    /// The database refused or could not be reached.
    #[error("the database refused: {0}")]
    Query(#[from] diesel::result::Error),
    /// No connection could be made or borrowed.
    #[error("no connection to the database: {0}")]
    Connect(String),
    /// The database's address is not one of ours.
    #[error("{0}")]
    Address(String),
    /// The tables could not be brought up to date.
    #[error("the tables could not be brought up to date: {0}")]
    Migrate(String),
    /// Another process serves this SQLite file.
    #[error("another process is using {0}; one process serves a SQLite file (stop it, or use PostgreSQL)")]
    InUse(String),
    /// A place holds less than a movement wants to take from it.
    #[error("{on_hand_mg} mg of lot row {lot_id} are {state} at site row {site_id}, {wanted_mg} mg are wanted")]
    Short {
        /// The lot's row id.
        lot_id: i64,
        /// The site's row id.
        site_id: i64,
        /// The state the mass was to leave.
        state: State,
        /// What is there, in milligrams.
        on_hand_mg: i64,
        /// What was asked for, in milligrams.
        wanted_mg: i64,
    },
    /// The same idempotency key came with another request.
    #[error("this Idempotency-Key was used for another request")]
    KeyReused,
    /// The command was done before, and its answer held a secret that is shown only once.
    #[error("this was done before, and its answer is shown only once")]
    AnswerNotKept,
    /// The queue of commands is full.
    #[error("too many commands are waiting")]
    Busy,
    /// A stored value cannot be read back.
    #[error("a stored value cannot be read: {0}")]
    Corrupt(String),
    /// The writer thread is gone, or a command panicked in it.
    #[error("the writer stopped: {0}")]
    WriterStopped(String),
}

impl From<serde_json::Error> for StorageError {
    fn from(error: serde_json::Error) -> Self {
        Self::Corrupt(error.to_string())
    }
}
