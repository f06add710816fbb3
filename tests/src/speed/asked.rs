//! A question in SQL about one number, prepared once and asked again and again.

use std::marker::PhantomData;

use diesel::backend::Backend;
use diesel::connection::Connection;
use diesel::query_builder::{AstPass, Query, QueryFragment, QueryId};
use diesel::serialize::ToSql;
use diesel::sql_types::BigInt;
use diesel::{QueryResult, RunQueryDsl};

/// SQL in which `{}` stands for the number. `S` is the type of what comes back.
///
/// What diesel makes of plain text it never keeps prepared; the others would then pay for reading the text every time.
#[derive(Clone, Copy)]
pub struct Asked<S> {
    before: &'static str,
    after: &'static str,
    about: i64,
    answers: PhantomData<S>,
}

impl<S> Asked<S> {
    /// Asks about a number.
    pub fn about(sql: &'static str, about: i64) -> Self {
        let (before, after) = sql.split_once("{}").unwrap_or((sql, ""));
        Self { before, after, about, answers: PhantomData }
    }
}

impl<S, D> QueryFragment<D> for Asked<S>
where
    D: Backend,
    i64: ToSql<BigInt, D>,
{
    fn walk_ast<'b>(&'b self, mut out: AstPass<'_, 'b, D>) -> QueryResult<()> {
        out.push_sql(self.before);
        out.push_bind_param::<BigInt, _>(&self.about)?;
        out.push_sql(self.after);
        Ok(())
    }
}

impl<S> Query for Asked<S> {
    type SqlType = S;
}

// Known by its text: kept prepared under that.
impl<S> QueryId for Asked<S> {
    type QueryId = ();
    const HAS_STATIC_QUERY_ID: bool = false;
}

impl<S, C: Connection> RunQueryDsl<C> for Asked<S> {}
