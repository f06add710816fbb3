//! What things are called that answers name by their codes.

use std::collections::{BTreeSet, HashMap};

use tubtrail_operations::items::Item;
use tubtrail_operations::master_data::{MOST, Master};
use tubtrail_operations::partners::Partner;
use tubtrail_operations::sites::Site;
use tubtrail_operations::{OperationError, Request, Tubtrail};

/// Names of some noun, by code.
pub struct Names(HashMap<String, String>);

impl Names {
    /// The name; the code, where that is all there is.
    pub fn of<'a>(&'a self, code: &'a str) -> &'a str {
        self.0.get(code).map_or(code, String::as_str)
    }

    /// Of the sites in reach.
    pub fn of_sites(tubtrail: &Tubtrail, asks: &Request) -> Result<Self, OperationError> {
        Self::listed(tubtrail, asks, |site: Site| (site.code, site.name))
    }

    /// Of suppliers and customers.
    pub fn of_partners(tubtrail: &Tubtrail, asks: &Request) -> Result<Self, OperationError> {
        Self::listed(tubtrail, asks, |partner: Partner| (partner.code, partner.name))
    }

    /// Of these items, of which there may be more than a page lists.
    pub fn of_items<'c>(
        tubtrail: &Tubtrail,
        asks: &Request,
        codes: impl Iterator<Item = &'c str>,
    ) -> Result<Self, OperationError> {
        let codes: BTreeSet<&str> = codes.collect();
        let named = |code: &str| Ok((code.to_owned(), tubtrail.get::<Item>(asks, code)?.name));
        codes.into_iter().map(named).collect()
    }

    /// Of as many as a page lists.
    fn listed<T: Master>(
        tubtrail: &Tubtrail,
        asks: &Request,
        named: impl Fn(T) -> (String, String),
    ) -> Result<Self, OperationError> {
        Ok(tubtrail.list::<T>(asks, "", MOST)?.items.into_iter().map(named).collect())
    }
}

impl FromIterator<(String, String)> for Names {
    /// From codes and names.
    fn from_iter<I: IntoIterator<Item = (String, String)>>(named: I) -> Self {
        Self(named.into_iter().collect())
    }
}
