//! What a site has on its shelves that nobody barred.

use diesel::prelude::*;
use diesel::sql_query;
use diesel::sql_types::BigInt;

use crate::ids::{CHUNK, listed};
use crate::{AnyConnection, StorageError};

/// What is available of a lot.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, QueryableByName)]
pub struct OnShelf {
    /// Which lot.
    #[diesel(sql_type = BigInt)]
    pub lot_id: i64,
    /// How much.
    #[diesel(sql_type = BigInt)]
    pub mass_mg: i64,
}

/// What a site has available of some items, in lots that are neither on hold nor rejected; in order of lot.
pub fn on_shelf(conn: &mut AnyConnection, site_id: i64, item_ids: &[i64]) -> Result<Vec<OnShelf>, StorageError> {
    let mut found = Vec::new();
    for chunk in item_ids.chunks(CHUNK) {
        // The index balances_on_hand serves where its condition stands word for word.
        let items = listed(chunk);
        let query = format!(
            "SELECT b.lot_id, b.mass_mg FROM balances b JOIN lots l ON l.id = b.lot_id \
             WHERE b.site_id = $1 AND b.state = 'available' AND l.item_id IN ({items}) \
             AND b.mass_mg > 0 AND b.state IN ('available', 'open', 'in_transit') \
             AND NOT EXISTS (SELECT 1 FROM lot_rejections j WHERE j.lot_id = b.lot_id) \
             AND NOT EXISTS (SELECT 1 FROM holds h WHERE h.lot_id = b.lot_id \
             AND NOT EXISTS (SELECT 1 FROM hold_releases r WHERE r.hold_id = h.id))"
        );
        found.extend(sql_query(query).bind::<BigInt, _>(site_id).load::<OnShelf>(conn)?);
    }
    found.sort_unstable();
    Ok(found)
}
