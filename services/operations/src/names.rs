//! Names of the rows a list speaks of, each looked up once.

use std::collections::HashMap;

use tubtrail_storage::master_data::{Item, Noun, Partner, Site};
use tubtrail_storage::{AnyConnection, StorageError};

use crate::error::Result;

/// What was looked up so far.
#[derive(Default)]
pub(crate) struct Names {
    sites: HashMap<i64, Site>,
    items: HashMap<i64, Item>,
    partners: HashMap<i64, Partner>,
}

impl Names {
    /// A site by row id.
    pub(crate) fn site(&mut self, conn: &mut AnyConnection, id: i64) -> Result<&Site> {
        remember(&mut self.sites, conn, "site", id)
    }

    /// A site's code by its row id.
    pub(crate) fn site_code(&mut self, conn: &mut AnyConnection, id: i64) -> Result<String> {
        Ok(self.site(conn, id)?.row.code.clone())
    }

    /// An item by row id.
    pub(crate) fn item(&mut self, conn: &mut AnyConnection, id: i64) -> Result<&Item> {
        remember(&mut self.items, conn, "item", id)
    }

    /// A partner by row id.
    pub(crate) fn partner(&mut self, conn: &mut AnyConnection, id: i64) -> Result<&Partner> {
        remember(&mut self.partners, conn, "partner", id)
    }
}

/// A partner's code by its row id.
pub(crate) fn partner_code(conn: &mut AnyConnection, id: i64) -> Result<String> {
    let partner = Partner::by_id(conn, id)?.ok_or_else(|| missing("partner", id))?;
    Ok(partner.row.code)
}

fn remember<'a, N: Noun>(
    known: &'a mut HashMap<i64, N>,
    conn: &mut AnyConnection,
    noun: &str,
    id: i64,
) -> Result<&'a N> {
    use std::collections::hash_map::Entry;
    Ok(match known.entry(id) {
        Entry::Occupied(found) => found.into_mut(),
        Entry::Vacant(gap) => gap.insert(N::by_id(conn, id)?.ok_or_else(|| missing(noun, id))?),
    })
}

fn missing(noun: &str, id: i64) -> StorageError {
    StorageError::Corrupt(format!("{noun} row {id} is named and missing"))
}
