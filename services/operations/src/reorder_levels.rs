//! Reorder levels: below how much of an item a site wants to be told.

use serde::{Deserialize, Serialize};
use tubtrail_domain::quantity::Mass;
use tubtrail_domain::say;
use tubtrail_storage::master_data::{Item, Noun, ReorderLevelRow, Site};
use utoipa::ToSchema;

use crate::error::{OperationError, Result};
use crate::problems;
use crate::quantities::Grams;
use crate::reach::{self, Request};
use crate::tubtrail::{Answered, Tubtrail};

/// A level as it is set.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(example = json!({"grams": 5000}))]
pub struct NewReorderLevel {
    /// Below how much the site wants to be told; 0: not at all.
    pub grams: Grams,
}

/// A level as it stands.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[schema(example = json!({"item": "pistachio-paste", "site": "quay-kitchen", "grams": 5000}))]
pub struct ReorderLevel {
    /// The item's code.
    pub item: String,
    /// The site's code.
    pub site: String,
    /// Below how much the site wants to be told; 0: not at all.
    pub grams: Grams,
}

impl Tubtrail {
    /// Sets below how much of an item a site wants to be told.
    pub fn set_reorder_level(
        &self,
        request: &Request,
        item: &str,
        site: &str,
        new: NewReorderLevel,
    ) -> Result<Answered<ReorderLevel>> {
        let actor = request.actor.clone();
        let (item, site) = (item.to_owned(), site.to_owned());
        self.write(request, &reach::SET_REORDER_LEVEL, move |tx| {
            let not_found = || OperationError::not_found(say!("site"), &site);
            let stored_site = Site::by_code(tx.conn()?, &site)?.filter(|site| actor.reaches(site.row.id));
            let stored_site = stored_site.ok_or_else(not_found)?;
            actor.may(&reach::SET_REORDER_LEVEL, stored_site.row.id)?;
            let not_found = || OperationError::not_found(say!("item"), &item);
            let stored_item = Item::by_code(tx.conn()?, &item)?.ok_or_else(not_found)?;
            let level = Mass::from_mg(new.grams.mg())
                .map_err(|error| OperationError::new(&problems::BAD_QUANTITY, error).at("grams"))?;
            if !stored_item.current.tracked && !level.is_zero() {
                let detail = say!("{item} is not kept by lot, so nobody knows how much of it there is", item);
                return Err(OperationError::new(&problems::WRONG_KIND, detail).at("item"));
            }
            tx.at_site(stored_site.row.id);
            let row = ReorderLevelRow {
                id: tx.id(),
                entry: tx.entry(),
                item_id: stored_item.row.id,
                site_id: stored_site.row.id,
                level_mg: level.mg(),
            };
            tx.record(&row)?;
            Ok(ReorderLevel { item, site, grams: level.into() })
        })
    }
}
