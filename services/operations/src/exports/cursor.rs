//! Goes through several tables side by side in the order in which things happened, holding a page of keys of each.

use std::collections::VecDeque;

use tubtrail_storage::tracking::{Key, Source, Span, keys_in};
use tubtrail_storage::{AnyConnection, StorageError};

/// Keys of a table held at a time.
const KEYS: i64 = 500;

/// Where the reading of each table stands.
pub(super) struct Cursors {
    span: Option<Span>,
    each: Vec<Cursor>,
}

struct Cursor {
    source: Source,
    waiting: VecDeque<Key>,
    last: Option<Key>,
    is_read: bool,
}

impl Cursors {
    /// Of all that happened within a span.
    pub fn within(span: Span) -> Self {
        let begun = |source| Cursor { source, waiting: VecDeque::new(), last: None, is_read: false };
        Self { span: Some(span), each: Source::ALL.into_iter().map(begun).collect() }
    }

    /// Of what was found already.
    pub fn of(found: Vec<(Source, Vec<Key>)>) -> Self {
        let sorted = |(source, mut keys): (Source, Vec<Key>)| {
            keys.sort_unstable();
            Cursor { source, waiting: keys.into(), last: None, is_read: true }
        };
        Self { span: None, each: found.into_iter().map(sorted).collect() }
    }

    /// The next so many; fewer at the end only.
    pub fn next(&mut self, conn: &mut AnyConnection, most: usize) -> Result<Vec<(Source, Key)>, StorageError> {
        let mut next = Vec::with_capacity(most);
        while next.len() < most {
            for cursor in &mut self.each {
                cursor.read_on(conn, self.span.as_ref())?;
            }
            let first = |cursor: &&mut Cursor| {
                let key = cursor.waiting.front().copied();
                // What happened at the same moment is told in the order in which a lot goes through it.
                key.map(|key| (key.at, cursor.source, key.id))
            };
            let waiting = self.each.iter_mut().filter(|cursor| !cursor.waiting.is_empty());
            let Some(cursor) = waiting.min_by_key(first) else { break };
            let source = cursor.source;
            next.extend(cursor.waiting.pop_front().map(|key| (source, key)));
        }
        Ok(next)
    }
}

impl Cursor {
    fn read_on(&mut self, conn: &mut AnyConnection, span: Option<&Span>) -> Result<(), StorageError> {
        let Some(span) = span.filter(|_| self.waiting.is_empty() && !self.is_read) else { return Ok(()) };
        let keys = keys_in(conn, self.source, span, self.last, KEYS)?;
        self.is_read = i64::try_from(keys.len()).is_ok_and(|found| found < KEYS);
        self.last = keys.last().copied().or(self.last);
        self.waiting = keys.into();
        Ok(())
    }
}
