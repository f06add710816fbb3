//! What answers say of many lots, looked up together: item, origin, places, hold. A page of any length takes the same few
//! statements.

use std::collections::HashMap;

use chrono::{DateTime, Utc};
use serde::{Deserialize, Serialize};
use tubtrail_domain::place::State;
use tubtrail_storage::lots::LotRow;
use tubtrail_storage::search::{self, NamedBatch};
use tubtrail_storage::stock::{BalanceRow, HoldRow, LotRejectionRow, balances_of, holds_on};
use tubtrail_storage::{AnyConnection, StorageError};
use utoipa::ToSchema;

use crate::error::Result;
use crate::fields;
use crate::index::{Index, lot_ix};
use crate::quantities::Grams;

/// Where a lot came from.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case", tag = "by")]
pub enum Origin {
    /// A supplier brought it.
    Delivery {
        /// The delivery's number.
        delivery: i64,
        /// The supplier's code.
        supplier: String,
        /// The supplier's own code for the lot.
        supplier_lot_code: String,
    },
    /// A batch made it.
    Batch {
        /// Its number.
        batch: i64,
        /// The recipe's code.
        recipe: String,
        /// The recipe's name in the version that was used.
        name: String,
        /// When it began.
        started_at: DateTime<Utc>,
    },
}

/// A batch, as far as it takes to recognise it.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub struct MadeBy {
    /// Its number.
    pub batch: i64,
    /// The recipe's code.
    pub recipe: String,
    /// The recipe's name in the version that was used.
    pub name: String,
    /// When it began.
    pub started_at: DateTime<Utc>,
}

/// A place and what it holds.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[schema(example = json!({"site": "quay-shop", "state": "open", "grams": 3120}))]
pub struct Holding {
    /// The site's code.
    pub site: String,
    /// available, open or `in_transit` (sent by this site); served, consigned or discarded there; or `count_difference`:
    /// missing there, or found if below zero.
    pub state: String,
    /// How much.
    pub grams: Grams,
}

/// Where all of a lot is.
pub(crate) struct Whereabouts {
    pub places: Vec<Holding>,
    pub used: Grams,
    pub returned: Grams,
}

/// What is known of some lots.
pub(crate) struct Known {
    items: HashMap<i64, (String, String)>,
    sites: HashMap<i64, String>,
    partners: HashMap<i64, String>,
    batches: HashMap<i64, NamedBatch>,
    balances: HashMap<i64, Vec<BalanceRow>>,
    holds: HashMap<i64, HoldRow>,
    rejections: HashMap<i64, LotRejectionRow>,
    recalls: HashMap<i64, Vec<i64>>,
    ids: Vec<i64>,
}

impl Known {
    /// Looks up what belongs to these lots. Read it in one snapshot with them.
    pub fn of(conn: &mut AnyConnection, lots: &[LotRow]) -> Result<Self> {
        let ids: Vec<i64> = lots.iter().map(|lot| lot.id).collect();
        let mut balances: HashMap<i64, Vec<BalanceRow>> = HashMap::new();
        let mut site_ids: Vec<i64> = lots.iter().map(|lot| lot.site_id).collect();
        for row in balances_of(conn, &ids)? {
            site_ids.push(row.site_id);
            balances.entry(row.lot_id).or_default().push(row);
        }
        Ok(Self {
            items: search::item_labels(conn, &lots.iter().map(|lot| lot.item_id).collect::<Vec<_>>())?,
            sites: search::site_codes(conn, &site_ids)?,
            partners: search::partner_codes(conn, &lots.iter().filter_map(|lot| lot.supplier_id).collect::<Vec<_>>())?,
            batches: search::named_batches(conn, &lots.iter().filter_map(|lot| lot.batch_id).collect::<Vec<_>>())?,
            balances,
            holds: holds_on(conn, &ids)?,
            rejections: search::rejections_of(conn, &ids)?,
            recalls: HashMap::new(),
            ids,
        })
    }

    /// With the recalls that keep them, as the index has it.
    pub fn recalled(mut self, index: &Index) -> Result<Self> {
        self.recalls = recalls_keeping(index, &self.ids)?;
        Ok(self)
    }

    /// The recalls that keep a lot on hold, where they were looked up.
    pub fn recalls(&self, lot: &LotRow) -> Vec<i64> {
        self.recalls.get(&lot.id).cloned().unwrap_or_default()
    }

    /// Code and name of a lot's item.
    pub fn item(&self, lot: &LotRow) -> Result<(String, String)> {
        Ok(self.items.get(&lot.item_id).cloned().ok_or_else(|| missing(lot, "item"))?)
    }

    /// Code of the site at which a lot came to be.
    pub fn site(&self, lot: &LotRow) -> Result<String> {
        Ok(self.sites.get(&lot.site_id).cloned().ok_or_else(|| missing(lot, "site"))?)
    }

    /// The hold that keeps a lot, if one does.
    pub fn hold(&self, lot: &LotRow) -> Option<&HoldRow> {
        self.holds.get(&lot.id)
    }

    /// Why a lot was turned away after all, if it was.
    pub fn rejection(&self, lot: &LotRow) -> Option<String> {
        self.rejections.get(&lot.id).map(|rejection| rejection.reason.clone())
    }

    /// Where a lot came from.
    pub fn origin(&self, lot: &LotRow) -> Result<Origin> {
        if let Some(batch) = lot.batch_id {
            let named = self.batches.get(&batch).ok_or_else(|| missing(lot, "batch"))?;
            let MadeBy { batch, recipe, name, started_at } = made_by(named);
            return Ok(Origin::Batch { batch, recipe, name, started_at });
        }
        let supplier = lot.supplier_id.and_then(|id| self.partners.get(&id)).ok_or_else(|| missing(lot, "supplier"))?;
        Ok(Origin::Delivery {
            delivery: lot.delivery_id.ok_or_else(|| missing(lot, "delivery"))?,
            supplier: supplier.clone(),
            supplier_lot_code: lot.supplier_lot_code.clone().ok_or_else(|| missing(lot, "supplier's lot code"))?,
        })
    }

    /// Where all of a lot is. What its supplier gave and what its batch made are where it came from and no place it is at.
    pub fn whereabouts(&self, lot: &LotRow) -> Result<Whereabouts> {
        let mut places = Vec::new();
        // A made lot came out of production, a received one from its supplier: what those accounts hold beyond that went
        // back in.
        let (mut production_mg, mut supplier_mg) = (0, 0);
        for row in self.balances.get(&lot.id).map_or(&[][..], Vec::as_slice) {
            match row.place()?.state {
                State::Production => production_mg += row.mass_mg,
                State::Supplier => supplier_mg += row.mass_mg,
                _ => places.push(Holding {
                    site: self.sites.get(&row.site_id).cloned().ok_or_else(|| missing(lot, "site"))?,
                    state: row.state.clone(),
                    grams: Grams::from_mg(row.mass_mg),
                }),
            }
        }
        let (made_mg, received_mg) = if lot.batch_id.is_some() { (lot.mass_mg, 0) } else { (0, lot.mass_mg) };
        Ok(Whereabouts {
            places,
            used: Grams::from_mg(made_mg + production_mg),
            returned: Grams::from_mg(received_mg + supplier_mg),
        })
    }
}

/// The numbers of the recalls that keep each of some lots; those that none keeps are not in it.
pub(crate) fn recalls_keeping(index: &Index, lot_ids: &[i64]) -> Result<HashMap<i64, Vec<i64>>> {
    let lots = lot_ids.iter().map(|id| Ok((*id, lot_ix(*id)?))).collect::<Result<Vec<_>>>()?;
    Ok(index.look(|inside, _| {
        let keeping = |lot| inside.recalls.holding(lot).map(|recalled| recalled.row.id).collect::<Vec<_>>();
        lots.into_iter().map(|(id, lot)| (id, keeping(lot))).filter(|(_, recalls)| !recalls.is_empty()).collect()
    }))
}

/// A batch as answers name it.
pub(crate) fn made_by(named: &NamedBatch) -> MadeBy {
    MadeBy {
        batch: named.batch.id,
        recipe: named.recipe.clone(),
        name: named.name.clone(),
        started_at: fields::utc(named.batch.started_at),
    }
}

fn missing(lot: &LotRow, what: &str) -> StorageError {
    StorageError::Corrupt(format!("lot row {} names a missing {what}", lot.id))
}
