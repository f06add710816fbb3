//! Statements written out here, which a connection keeps prepared by their text.
//!
//! diesel keeps no update prepared and no list of values. On PostgreSQL each of those takes two round trips instead of one,
//! and on SQLite reading the text takes longer than the work.

use std::marker::PhantomData;

use chrono::{NaiveDate, NaiveDateTime};
use diesel::connection::Connection;
use diesel::query_builder::{AstPass, Query, QueryFragment, QueryId};
use diesel::sql_types::{BigInt, Date, Integer, Nullable, Text, Timestamp};
use diesel::{QueryResult, RunQueryDsl};

use crate::AnyConnection;

type Backend = <AnyConnection as Connection>::Backend;

/// What stands in the place of a `?`.
#[derive(Clone, Copy, Debug)]
pub(crate) enum Value<'v> {
    /// A whole number.
    Number(i64),
    /// The same, or nothing.
    MaybeNumber(Option<i64>),
    /// Text.
    Text(&'v str),
    /// The same, or nothing.
    MaybeText(Option<&'v str>),
    /// A whole number of a column of small ones.
    Small(i32),
    /// A day.
    Day(NaiveDate),
    /// A moment, UTC.
    Moment(NaiveDateTime),
}

impl From<&i64> for Value<'_> {
    fn from(value: &i64) -> Self {
        Self::Number(*value)
    }
}

impl From<&Option<i64>> for Value<'_> {
    fn from(value: &Option<i64>) -> Self {
        Self::MaybeNumber(*value)
    }
}

impl<'v> From<&'v String> for Value<'v> {
    fn from(value: &'v String) -> Self {
        Self::Text(value)
    }
}

impl<'v> From<&'v Option<String>> for Value<'v> {
    fn from(value: &'v Option<String>) -> Self {
        Self::MaybeText(value.as_deref())
    }
}

impl From<&NaiveDateTime> for Value<'_> {
    fn from(value: &NaiveDateTime) -> Self {
        Self::Moment(*value)
    }
}

/// A statement whose text has a `?` for every value, and nowhere else; `T` are the types of the columns it answers with.
#[derive(Debug)]
pub(crate) struct Kept<'v, T = ()> {
    text: String,
    values: Vec<Value<'v>>,
    answer: PhantomData<T>,
}

impl<'v, T> Kept<'v, T> {
    /// The text must be one of few: each is kept as long as the connection.
    pub fn new(text: impl Into<String>, values: Vec<Value<'v>>) -> Self {
        Self { text: text.into(), values, answer: PhantomData }
    }
}

/// Most of something that one statement asks for.
const MOST_ASKED: usize = 512;

/// Some of what is asked for together, filled up with the last to a power of two, so that the texts are few.
pub(crate) fn asked_together<V: Clone>(all: &[V]) -> impl Iterator<Item = Vec<V>> {
    all.chunks(MOST_ASKED).map(|some| {
        let mut filled = some.to_vec();
        if let Some(last) = some.last() {
            filled.resize(some.len().next_power_of_two(), last.clone());
        }
        filled
    })
}

/// How many of something to write out in one statement, where so many are left: a power of two, so that the texts are few.
pub(crate) const fn together(left: usize) -> usize {
    const MOST: usize = 64;
    let fit = if left < MOST { left } else { MOST };
    if fit == 0 { 0 } else { 1 << fit.ilog2() }
}

/// `(?, ?), (?, ?)`: so many rows of so many values.
pub(crate) fn rows(rows: usize, columns: usize) -> String {
    let row = format!("({})", vec!["?"; columns].join(", "));
    vec![row; rows].join(", ")
}

/// Inserts rows, in order, in few statements.
pub(crate) fn insert<R>(
    conn: &mut AnyConnection,
    table: &str,
    columns: &[&str],
    all: &[R],
    values: impl Fn(&R) -> Vec<Value<'_>>,
) -> QueryResult<()> {
    let (names, mut left) = (columns.join(", "), all);
    while !left.is_empty() {
        let (these, later) = left.split_at(together(left.len()));
        let text = format!("INSERT INTO {table} ({names}) VALUES {}", rows(these.len(), columns.len()));
        Kept::<()>::new(text, these.iter().flat_map(&values).collect()).execute(conn)?;
        left = later;
    }
    Ok(())
}

impl<T> QueryFragment<Backend> for Kept<'_, T> {
    fn walk_ast<'b>(&'b self, mut pass: AstPass<'_, 'b, Backend>) -> QueryResult<()> {
        static NO_NUMBER: Option<i64> = None;
        static NO_TEXT: Option<String> = None;
        let mut pieces = self.text.split('?');
        pass.push_sql(pieces.next().unwrap_or_default());
        for (piece, value) in pieces.zip(&self.values) {
            match value {
                Value::Number(number) | Value::MaybeNumber(Some(number)) => {
                    pass.push_bind_param::<BigInt, i64>(number)?;
                }
                Value::MaybeNumber(None) => pass.push_bind_param::<Nullable<BigInt>, Option<i64>>(&NO_NUMBER)?,
                Value::Text(text) | Value::MaybeText(Some(text)) => pass.push_bind_param::<Text, str>(text)?,
                Value::MaybeText(None) => pass.push_bind_param::<Nullable<Text>, Option<String>>(&NO_TEXT)?,
                Value::Small(number) => pass.push_bind_param::<Integer, i32>(number)?,
                Value::Day(day) => pass.push_bind_param::<Date, NaiveDate>(day)?,
                Value::Moment(moment) => pass.push_bind_param::<Timestamp, NaiveDateTime>(moment)?,
            }
            pass.push_sql(piece);
        }
        Ok(())
    }
}

impl<T> QueryId for Kept<'_, T> {
    type QueryId = ();
    // Told apart by its text.
    const HAS_STATIC_QUERY_ID: bool = false;
}

impl<T> Query for Kept<'_, T> {
    type SqlType = T;
}

impl<T> RunQueryDsl<AnyConnection> for Kept<'_, T> {}

#[cfg(test)]
pub(crate) mod tests {
    use diesel::sql_types::Text;
    use diesel::{QueryableByName, RunQueryDsl, sql_query};

    use super::{asked_together, rows, together};
    use crate::{DatabaseUrl, connection, migrations};

    #[derive(QueryableByName)]
    struct Step {
        #[diesel(sql_type = Text)]
        detail: String,
    }

    /// How SQLite goes about a statement, a step a line.
    pub(crate) fn sqlite_plan(text: &str) -> String {
        let folder = tempfile::tempdir().unwrap();
        let address = format!("sqlite:{}", folder.path().join("tubtrail.db").display());
        let mut conn = connection::connect_to_write(&DatabaseUrl::parse(&address).unwrap()).unwrap();
        migrations::run(&mut conn).unwrap();
        let steps: Vec<Step> = sql_query(format!("EXPLAIN QUERY PLAN {text}")).load(&mut conn).unwrap();
        steps.into_iter().map(|step| step.detail).collect::<Vec<_>>().join("\n")
    }

    #[test]
    fn everything_is_written_in_few_sizes() {
        let mut sizes = std::collections::BTreeSet::new();
        for all in 0..=300 {
            let mut left = all;
            while left > 0 {
                sizes.insert(together(left));
                left -= together(left);
            }
        }
        assert_eq!(sizes.into_iter().collect::<Vec<_>>(), [1, 2, 4, 8, 16, 32, 64]);
        let asked: Vec<Vec<usize>> = asked_together(&(0..515).collect::<Vec<_>>()).collect();
        assert_eq!(asked[0], (0..512).collect::<Vec<_>>());
        assert_eq!(asked[1..], [[512, 513, 514, 514]]);
        assert_eq!(rows(2, 3), "(?, ?, ?), (?, ?, ?)");
    }
}
