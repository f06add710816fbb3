//! Whole lists of the master data, to choose from.

use tubtrail_operations::master_data::{MOST, Master};
use tubtrail_operations::{OperationError, Request, Tubtrail};

/// Every one, page by page.
pub fn every<M: Master>(tubtrail: &Tubtrail, asks: &Request) -> Result<Vec<M>, OperationError> {
    let (mut rows, mut after) = (Vec::new(), String::new());
    loop {
        let page = tubtrail.list::<M>(asks, &after, MOST)?;
        rows.extend(page.items);
        match page.next {
            Some(next) => after = next,
            None => return Ok(rows),
        }
    }
}
