//! The whole lot graph, as a server reads it when it starts.
//!
//! Each table is gone through once in the order in which it lies, which is the order of writing. Asked for by entry, or in order
//! of id, the database would look up every row by itself, and sort millions of them; here those come sorted as they are.

use diesel::dsl::sql;
use diesel::prelude::*;
use diesel::sql_types::{BigInt, Bool};

use crate::lots::{GraphLot, GraphUse, batches, lots, uses};
use crate::{AnyConnection, StorageError};

/// Batches, lots and uses, each in order of id.
pub(crate) type Whole = (Vec<i64>, Vec<GraphLot>, Vec<GraphUse>);

/// Reads all of it up to and including an entry.
pub(crate) fn read(conn: &mut AnyConnection, until: i64) -> Result<Whole, StorageError> {
    // The plus keeps SQLite from the index of entries.
    let is_in = |entry: &str| sql::<Bool>(&format!("+{entry} <= ")).bind::<BigInt, _>(until);
    let mut all_batches: Vec<i64> = batches::table.filter(is_in("batches.entry")).select(batches::id).load(conn)?;
    let mut all_lots: Vec<GraphLot> = lots::table
        .filter(is_in("lots.entry"))
        .select((lots::id, lots::batch_id, lots::mass_mg, lots::item_id, lots::supplier_id, lots::day))
        .load(conn)?;
    let mut all_uses: Vec<GraphUse> = uses::table
        .filter(is_in("uses.entry"))
        .select((uses::id, uses::lot_id, uses::batch_id, uses::mass_mg))
        .load(conn)?;
    all_batches.sort_unstable();
    all_lots.sort_unstable_by_key(|lot| lot.id);
    all_uses.sort_unstable_by_key(|one| one.id);
    Ok((all_batches, all_lots, all_uses))
}
