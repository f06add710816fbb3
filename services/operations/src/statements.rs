//! Statements: what suppliers and the maker say is in an item from a day on, or in a single lot.
//!
//! A mistaken one is put right by another that names it; the mistaken one no longer counts, for any lot, from that entry on.

mod changed;
mod reading;

use chrono::{DateTime, NaiveDate, Utc};
use serde::{Deserialize, Serialize};
use tubtrail_domain::say;
use tubtrail_storage::statements::{StatementFilter, statement, statements_after};
use utoipa::{IntoParams, ToSchema};

pub use self::changed::{AnswerChanged, ChangedLot, ChangedLots};
use self::reading::{checked, find, record};
use crate::allergen_words::{AllergenList, Says};
use crate::error::{OperationError, Result};
use crate::fields;
use crate::lots;
use crate::master_data::{MOST, Page};
use crate::quantities::Amount;
use crate::reach::{self, Request};
use crate::tubtrail::{Answered, Tubtrail};

/// A statement as it is written down.
#[derive(Clone, Debug, Default, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(example = json!({"item": "whole-milk", "supplier": "hollow-farm", "in_force_from": "2026-11-01",
    "lists": ["eu"], "contains": ["milk"], "may_contain": ["soy"], "document": "Specification 7, October 2026",
    "proteins": [{"allergen": "milk", "percent": "3.3"}]}))]
pub struct NewStatement {
    /// The code of the item it is about; may be left out where `lot` is given.
    #[serde(default)]
    #[schema(max_length = 40)]
    pub item: Option<String>,
    /// The code of the supplier whose statement it is; absent: the maker's own.
    #[serde(default)]
    #[schema(max_length = 40)]
    pub supplier: Option<String>,
    /// The lot it is about, and no other.
    #[serde(default)]
    #[schema(max_length = 40)]
    pub lot: Option<String>,
    /// For lots that came to be on this day or later; asked for unless it is about a single lot.
    #[serde(default, deserialize_with = "crate::days::optional_day")]
    pub in_force_from: Option<NaiveDate>,
    /// The lists it was made by. What they ask for and it does not name is stated not to be in there; of anything else it
    /// says nothing.
    #[serde(default)]
    #[schema(max_items = 3)]
    pub lists: Vec<AllergenList>,
    /// What is in there: words of allergens, or of groups where the kind is not named.
    #[serde(default)]
    #[schema(max_items = 40)]
    pub contains: Vec<String>,
    /// What may be in there.
    #[serde(default)]
    #[schema(max_items = 40)]
    pub may_contain: Vec<String>,
    /// Total sulphur dioxide, milligrams in a kilogram.
    #[serde(default)]
    pub sulphites_ppm: Option<Amount>,
    /// Strength, per cent by volume; 0 where there is no alcohol.
    #[serde(default)]
    pub alcohol_percent_vol: Option<Amount>,
    /// How much protein of an allergen is in it, for estimates.
    #[serde(default)]
    #[schema(max_items = 40)]
    pub proteins: Vec<Protein>,
    /// The paper it stands on.
    #[schema(max_length = 60)]
    pub document: String,
    /// Remarks.
    #[serde(default)]
    #[schema(max_length = 2000)]
    pub note: Option<String>,
    /// The number of the statement it stands in for.
    #[serde(default)]
    pub corrects: Option<i64>,
    /// Why that one was wrong.
    #[serde(default)]
    #[schema(max_length = 2000)]
    pub reason: Option<String>,
}

/// How much protein of an allergen is in something.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct Protein {
    /// The word of the allergen.
    #[schema(max_length = 40)]
    pub allergen: String,
    /// Grams in a hundred.
    pub percent: Amount,
}

/// A statement as it stands.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[schema(example = json!({"id": 6101, "item": "whole-milk", "supplier": "hollow-farm", "in_force_from": "2026-11-01",
    "lists": ["eu"], "contains": ["milk"], "may_contain": ["soy"], "proteins": [{"allergen": "milk", "percent": "3.3"}],
    "document": "Specification 7, October 2026", "says": {"contains": ["milk"], "may_contain": ["soy"],
    "unknown": ["black_walnut", "california_walnut", "heartnut", "pine_nut", "coconut", "chestnut", "buckwheat", "alcohol"]},
    "recorded_at": "2026-11-25T09:00:00Z", "recorded_by": "user:ines", "entry": 8301}))]
pub struct Statement {
    /// Its number.
    pub id: i64,
    /// The code of the item it is about.
    pub item: String,
    /// The code of the supplier whose statement it is; absent: the maker's own.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub supplier: Option<String>,
    /// The lot it is about, and no other.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub lot: Option<String>,
    /// For lots that came to be on this day or later.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub in_force_from: Option<NaiveDate>,
    /// The lists it was made by.
    pub lists: Vec<AllergenList>,
    /// What it names as in there.
    pub contains: Vec<String>,
    /// What it names as possibly in there.
    pub may_contain: Vec<String>,
    /// Total sulphur dioxide, milligrams in a kilogram, as written.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub sulphites_ppm: Option<String>,
    /// Strength, per cent by volume, as written.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub alcohol_percent_vol: Option<String>,
    /// How much protein of an allergen is in it.
    pub proteins: Vec<Protein>,
    /// The paper it stands on.
    pub document: String,
    /// Remarks.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub note: Option<String>,
    /// What follows from it, allergen by allergen.
    pub says: Says,
    /// The number of the statement it stands in for.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub corrects: Option<i64>,
    /// Why that one was wrong.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub reason: Option<String>,
    /// The number of the statement that stands in for it: it no longer counts.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub corrected_by: Option<i64>,
    /// When it was written down.
    pub recorded_at: DateTime<Utc>,
    /// By whom.
    pub recorded_by: String,
    /// The journal entry that holds it.
    pub entry: i64,
}

/// A statement just written down, and what it changed.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[schema(example = json!({"statement": {"id": 6102, "item": "hazelnut-paste", "supplier": "nut-mill",
    "in_force_from": "2026-11-01", "lists": ["eu"], "contains": ["hazelnut"], "may_contain": ["almond"], "proteins": [],
    "document": "Specification 12", "says": {"contains": ["hazelnut"], "may_contain": ["almond"], "unknown": ["coconut"]},
    "corrects": 6099, "reason": "almond was left out", "recorded_at": "2026-11-25T09:00:00Z",
    "recorded_by": "user:ines", "entry": 8302},
    "changed": {"lots": 3, "tubs": 1, "complete": true, "listed": [{"lot": "261125-0042-7", "item": "hazelnut",
    "on_hand": true, "changes": [{"allergen": "almond", "before": "not_recorded", "after": "may_contain"}]}]}}))]
pub struct WrittenStatement {
    /// The statement.
    pub statement: Statement,
    /// Which lots answer otherwise because of it, from this entry on.
    pub changed: ChangedLots,
}

/// Which statements to list.
#[derive(Clone, Debug, Deserialize, IntoParams)]
#[serde(deny_unknown_fields)]
#[into_params(parameter_in = Query)]
pub struct StatementsAsked {
    /// About this item or its lots, by code.
    #[param(max_length = 40)]
    #[serde(default)]
    pub item: Option<String>,
    /// By this supplier, by code.
    #[param(max_length = 40)]
    #[serde(default)]
    pub supplier: Option<String>,
    /// About this lot alone.
    #[param(max_length = 40)]
    #[serde(default)]
    pub lot: Option<String>,
    /// Those that were corrected too.
    #[serde(default)]
    pub corrected_too: bool,
    /// The `next` of the page before.
    #[param(max_length = 100)]
    #[serde(default)]
    pub after: String,
    /// Most rows on the page, 1 to 500.
    #[param(minimum = 1, maximum = 500)]
    #[serde(default = "fields::usual_page", deserialize_with = "crate::master_data::limit")]
    pub limit: u32,
}

impl Tubtrail {
    /// Writes down a statement, or a correction of one, and says which lots answer otherwise because of it.
    pub fn create_statement(&self, request: &Request, new: NewStatement) -> Result<Answered<WrittenStatement>> {
        request.actor.may_anywhere(&reach::CREATE_STATEMENT)?;
        let actor = request.actor.clone();
        self.write_with_graph(request, &reach::CREATE_STATEMENT, move |tx, index| {
            let checked = checked(&new)?;
            let found = find(tx.conn()?, &actor, &new)?;
            let (row, proteins) = record(tx, &found, &checked)?;
            let changed = changed::by(tx.conn()?, index, &row, &proteins, found.corrected.as_ref())?;
            let by = (actor.name, tx.now());
            let statement = reading::answer(tx.conn()?, row, proteins, None, by)?;
            Ok(WrittenStatement { statement, changed })
        })
    }

    /// The statements about items, and about lots in reach, the first written down first.
    pub fn list_statements(&self, request: &Request, asked: &StatementsAsked) -> Result<Page<Statement>> {
        request.actor.may_anywhere(&reach::LIST_STATEMENTS)?;
        let limit = asked.limit.clamp(1, MOST);
        let after = fields::after_id("after", &asked.after)?;
        self.read_at_once(|conn| {
            let (item, supplier) = (asked.item.as_deref(), asked.supplier.as_deref());
            let filter = StatementFilter {
                item_id: item.map(|code| fields::filter_item(conn, "item", code)).transpose()?,
                supplier_id: supplier.map(|code| fields::filter_partner(conn, "supplier", code)).transpose()?,
                lot_id: match &asked.lot {
                    Some(lot) => {
                        let row = lots::named(conn, "lot", lot)?;
                        lots::within_reach(conn, &request.actor, &reach::LIST_STATEMENTS, &row)
                            .map_err(|error| error.at("lot"))?;
                        Some(row.id)
                    }
                    None => None,
                },
                sites: request.actor.sites_for(&reach::LIST_STATEMENTS),
                counting_only: !asked.corrected_too,
            };
            let rows = statements_after(conn, &filter, after, i64::from(limit) + 1)?;
            let page = Page::cut(rows, limit as usize, |row| row.id.to_string());
            Ok(Page { items: reading::answers(conn, page.items)?, next: page.next })
        })
    }

    /// One statement.
    pub fn get_statement(&self, request: &Request, id: i64) -> Result<Statement> {
        request.actor.may_anywhere(&reach::GET_STATEMENT)?;
        self.read_at_once(|conn| {
            let not_found = || OperationError::not_found(say!("statement"), id);
            let row = statement(conn, id)?.ok_or_else(not_found)?;
            if let Some(lot_id) = row.lot_id {
                let lot = tubtrail_storage::lots::lot(conn, lot_id)?;
                let reached = lots::within_reach(conn, &request.actor, &reach::GET_STATEMENT, &lot);
                reached.map_err(|error| error.if_not_found(not_found))?;
            }
            reading::answers(conn, vec![row])?.pop().ok_or_else(not_found)
        })
    }
}
