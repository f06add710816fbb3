//! Goes through several tables side by side in the order in which things happened, holding a page of keys of each.

use std::collections::{HashSet, VecDeque};

use tubtrail_storage::tracking::{self, Key, Source, Span, Wanted, count_in, keys_in, keys_of, keys_of_carried};
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
        Self { span: Some(span), each: Source::ALL.into_iter().map(Cursor::begun).collect() }
    }

    /// Of what happened within a span to some items, and of more besides where that is the shorter way: each table is read by
    /// time, or by the lots of the items, whichever are fewer. One item over all years, or all items of a week, cost what
    /// they bring.
    pub fn within_of_items(
        conn: &mut AnyConnection,
        span: Span,
        item_ids: Vec<i64>,
    ) -> Result<(Self, Wanted), StorageError> {
        let fewest = tracking::count_of_items(conn, &item_ids)?;
        let mut by_lots = Vec::new();
        let mut each = Vec::new();
        for source in Source::ALL {
            if count_in(conn, source, &span, fewest + 1)? <= fewest {
                each.push(Cursor::begun(source));
            } else {
                by_lots.push(source);
            }
        }
        let lots = if by_lots.is_empty() { Vec::new() } else { tracking::lots_of_items(conn, &item_ids)? };
        let is_carried = by_lots.iter().any(|source| matches!(source, Source::Transfers | Source::Receipts));
        let carried = if is_carried { Some(tracking::carried(conn, &lots)?) } else { None };
        for source in by_lots {
            let mut keys = match (source, &carried) {
                (Source::Transfers | Source::Receipts, Some(carried)) => keys_of_carried(conn, source, &span, carried)?,
                _ => keys_of(conn, source, &span, &lots, true)?,
            };
            if source == Source::Completions {
                keys.extend(tracking::keys_of_untracked(conn, &span, &item_ids)?);
            }
            each.push(Cursor::of(source, keys));
        }
        Ok((Self { span: Some(span), each }, Wanted { item_ids, carried }))
    }

    /// Of what was found already.
    pub fn of(found: impl IntoIterator<Item = (Source, HashSet<Key>)>) -> Self {
        Self { span: None, each: found.into_iter().map(|(source, keys)| Cursor::of(source, keys)).collect() }
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
    fn begun(source: Source) -> Self {
        Self { source, waiting: VecDeque::new(), last: None, is_read: false }
    }

    fn of(source: Source, keys: HashSet<Key>) -> Self {
        let mut waiting: Vec<Key> = keys.into_iter().collect();
        waiting.sort_unstable();
        Self { source, waiting: waiting.into(), last: None, is_read: true }
    }

    fn read_on(&mut self, conn: &mut AnyConnection, span: Option<&Span>) -> Result<(), StorageError> {
        let Some(span) = span.filter(|_| self.waiting.is_empty() && !self.is_read) else { return Ok(()) };
        let keys = keys_in(conn, self.source, span, self.last, KEYS)?;
        self.is_read = i64::try_from(keys.len()).is_ok_and(|found| found < KEYS);
        self.last = keys.last().copied().or(self.last);
        self.waiting = keys.into();
        Ok(())
    }
}
