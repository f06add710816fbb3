//! Facts: rows that are inserted once and never changed, each under the journal entry that brought it.

use std::ops::RangeInclusive;

use serde::Serialize;

use crate::AnyConnection;

/// A row of a fact table.
///
/// Its JSON form, with the table's name before it, is what the journal's hash covers, so field order and names are part
/// of the format of the journal.
pub trait Fact: Serialize + Sized {
    /// The table it lives in.
    const TABLE: &'static str;
    /// Its columns, in the order of the table.
    const COLUMNS: &'static [&'static str];
    /// Its row id; ids grow with the entries.
    fn id(&self) -> i64;
    /// The journal entry that brought it.
    fn entry(&self) -> i64;
    /// Inserts the row.
    fn insert(&self, conn: &mut AnyConnection) -> diesel::QueryResult<usize>;
    /// The next rows from `from_id` on, in order of id.
    fn page(conn: &mut AnyConnection, from_id: i64, limit: i64) -> diesel::QueryResult<Vec<Self>>;
    /// The rows that have one of these in a column of row ids, in no order. Kept prepared, unlike diesel's `eq_any`.
    fn among(conn: &mut AnyConnection, column: &'static str, ids: &[i64]) -> diesel::QueryResult<Vec<Self>>;
    /// The rows that the entries in `(after, until]` brought, in order of id; all of them have one of these ids. Few tables have
    /// an index of entries.
    fn between(
        conn: &mut AnyConnection,
        after: i64,
        until: i64,
        ids: RangeInclusive<i64>,
    ) -> diesel::QueryResult<Vec<Self>>;
}

/// Defines a fact table and its row in one place: `field: RustType => SqlType`. `id` and `entry` are always there.
macro_rules! fact {
    (
        $(#[$doc:meta])*
        $table:ident => $row:ident {
            $( $(#[$field_doc:meta])* $field:ident : $rust:ty => $sql:ty ),* $(,)?
        }
    ) => {
        diesel::table! {
            $table (id) {
                id -> diesel::sql_types::BigInt,
                entry -> diesel::sql_types::BigInt,
                $( $field -> $sql, )*
            }
        }

        $(#[$doc])*
        #[derive(Clone, Debug, PartialEq, diesel::Queryable, diesel::Selectable, diesel::Insertable, serde::Serialize)]
        #[diesel(table_name = $table, treat_none_as_default_value = false)]
        pub struct $row {
            /// Row id.
            pub id: i64,
            /// The journal entry that brought it.
            pub entry: i64,
            $( $(#[$field_doc])* pub $field: $rust, )*
        }

        impl crate::fact::Fact for $row {
            const TABLE: &'static str = stringify!($table);
            const COLUMNS: &'static [&'static str] = &["id", "entry", $( stringify!($field), )*];
            fn id(&self) -> i64 {
                self.id
            }
            fn entry(&self) -> i64 {
                self.entry
            }
            fn insert(&self, conn: &mut crate::AnyConnection) -> diesel::QueryResult<usize> {
                use diesel::RunQueryDsl;
                diesel::insert_into($table::table).values(self).execute(conn)
            }
            fn page(conn: &mut crate::AnyConnection, from_id: i64, limit: i64) -> diesel::QueryResult<Vec<Self>> {
                use diesel::{ExpressionMethods, QueryDsl, RunQueryDsl};
                $table::table.filter($table::id.ge(from_id)).order($table::id).limit(limit).load(conn)
            }
            fn among(
                conn: &mut crate::AnyConnection,
                column: &'static str,
                ids: &[i64],
            ) -> diesel::QueryResult<Vec<Self>> {
                use diesel::RunQueryDsl;
                let mut found = Vec::with_capacity(ids.len());
                for these in crate::kept::asked_together(ids) {
                    let (columns, places) = (Self::COLUMNS.join(", "), vec!["?"; these.len()].join(", "));
                    let text = format!("SELECT {columns} FROM {} WHERE {column} IN ({places})", Self::TABLE);
                    let values = these.into_iter().map(crate::kept::Value::Number).collect();
                    let kept = crate::kept::Kept::<$table::SqlType>::new(text, values);
                    found.append(&mut kept.load(conn)?);
                }
                Ok(found)
            }
            fn between(
                conn: &mut crate::AnyConnection,
                after: i64,
                until: i64,
                ids: std::ops::RangeInclusive<i64>,
            ) -> diesel::QueryResult<Vec<Self>> {
                use diesel::{ExpressionMethods, QueryDsl, RunQueryDsl};
                let (first, last) = ids.into_inner();
                let theirs = $table::table.filter($table::id.ge(first)).filter($table::id.le(last));
                theirs
                    .filter($table::entry.gt(after))
                    .filter($table::entry.le(until))
                    .order($table::id)
                    .load(conn)
            }
        }
    };
}
