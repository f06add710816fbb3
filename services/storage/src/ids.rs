//! Row ids in statements: they are numbers of ours, never text of a request.

/// Most in one statement, where each is a value of its own: SQLite bounds them.
pub const CHUNK: usize = 500;

/// Written out, for an `IN`. None at all are an id that is never given out, for SQL has no empty list.
pub fn listed(ids: &[i64]) -> String {
    if ids.is_empty() {
        return "-1".into();
    }
    ids.iter().map(ToString::to_string).collect::<Vec<_>>().join(", ")
}
