//! The two backends, and how one test body runs on each.

use std::fmt;

/// A kind of database.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Backend {
    /// A file in a folder of the test's own.
    Sqlite,
    /// A database of the test's own on the cluster that `tests/all` started.
    Postgres,
}

impl Backend {
    /// Both, for tests that compare them.
    pub const BOTH: [Self; 2] = [Self::Sqlite, Self::Postgres];
}

impl fmt::Display for Backend {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::Sqlite => "SQLite",
            Self::Postgres => "PostgreSQL",
        })
    }
}

/// Makes two tests of each `fn name(backend: Backend)` named: `name::sqlite` and `name::postgres`.
///
/// A function that is left out is dead code, which the lints refuse, so no test can be forgotten.
///
/// ```
/// use tubtrail_tests::{Backend, on_both};
///
/// on_both!(a_backend_has_a_name);
///
/// fn a_backend_has_a_name(backend: Backend) {
///     assert!(backend.to_string().ends_with("SQL") || backend == Backend::Sqlite);
/// }
/// ```
#[macro_export]
macro_rules! on_both {
    ($($name:ident),+ $(,)?) => {
        $(
            mod $name {
                #[test]
                fn sqlite() {
                    super::$name($crate::Backend::Sqlite);
                }

                #[test]
                fn postgres() {
                    super::$name($crate::Backend::Postgres);
                }
            }
        )+
    };
}
