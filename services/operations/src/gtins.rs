//! The numbers under the bars of packages (GTIN), and which item each stands for.

use chrono::{DateTime, Utc};
use serde::{Deserialize, Serialize};
use tubtrail_domain::gs1::gtin::Gtin;
use tubtrail_domain::quantity::Mass;
use tubtrail_domain::say;
use tubtrail_domain::saying::Saying;
use tubtrail_storage::gtins::{GtinWithdrawalRow, ItemGtinRow, gtin_in_force};
use tubtrail_storage::master_data::{Item, Noun};
use tubtrail_storage::{AnyConnection, StorageError, WriteTx};
use utoipa::ToSchema;

use crate::error::{OperationError, Result};
use crate::items::mass;
use crate::names::partner_code;
use crate::quantities::Grams;
use crate::reach::{self, Request};
use crate::tubtrail::{Answered, Tubtrail};
use crate::{fields, problems};

/// A number as it is given to an item.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(example = json!({"gtin": "9520123456788", "supplier": "hollow-farm", "grams_per_unit": 10000}))]
pub struct NewItemGtin {
    /// 8, 12, 13 or 14 digits, the last a check digit: of the package that is scanned, be it a bottle or a case.
    #[schema(pattern = r"^\d{8}(\d{4,6})?$")]
    pub gtin: String,
    /// The code of the supplier who brings it.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schema(max_length = 40)]
    pub supplier: Option<String>,
    /// What is in one such package, where that is always the same.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub grams_per_unit: Option<Grams>,
    /// From when; now, if it is not said. The newest counts.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub since: Option<DateTime<Utc>>,
    /// Why, where the number was another item's until then.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schema(max_length = 2000)]
    pub reason: Option<String>,
}

/// What a number stands for.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[schema(example = json!({"gtin": "09520123456788", "printed": "9520123456788", "item": "whole-milk",
    "supplier": "hollow-farm", "grams_per_unit": 10000, "since": "2026-11-25T06:00:00Z", "entry": 310}))]
pub struct ItemGtin {
    /// In fourteen digits.
    pub gtin: String,
    /// As it stands under the bars.
    pub printed: String,
    /// The item's code.
    pub item: String,
    /// The code of the supplier who brings it.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub supplier: Option<String>,
    /// What is in one such package.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub grams_per_unit: Option<Grams>,
    /// From when.
    pub since: DateTime<Utc>,
    /// Why it is no longer another item's.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schema(max_length = 2000)]
    pub reason: Option<String>,
    /// The journal entry that holds it.
    pub entry: i64,
}

/// A number is to stand for nothing any more.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(example = json!({"reason": "the dairy gave up this carton"}))]
pub struct NewGtinWithdrawal {
    /// Why.
    #[serde(default)]
    #[schema(max_length = 2000)]
    pub reason: Option<String>,
}

/// A number that stands for nothing any more, until it is given to an item anew.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[schema(example = json!({"gtin": "09520123456788", "printed": "9520123456788", "item": "whole-milk",
    "since": "2026-11-25T06:00:00Z", "reason": "the dairy gave up this carton", "entry": 311}))]
pub struct GtinWithdrawal {
    /// In fourteen digits.
    pub gtin: String,
    /// As it stands under the bars.
    pub printed: String,
    /// The code of the item it stood for.
    pub item: String,
    /// From when.
    pub since: DateTime<Utc>,
    /// Why.
    pub reason: String,
    /// The journal entry that holds it.
    pub entry: i64,
}

impl Tubtrail {
    /// Gives a number to an item, or says anew what it stands for. What is another item's is taken from it only with a
    /// reason.
    pub fn add_item_gtin(&self, request: &Request, item: &str, new: NewItemGtin) -> Result<Answered<ItemGtin>> {
        request.actor.may_anywhere(&reach::ADD_ITEM_GTIN)?;
        let item = item.to_owned();
        self.write(request, &reach::ADD_ITEM_GTIN, move |tx| {
            let not_found = || OperationError::not_found(say!("item"), &item);
            let item = Item::by_code(tx.conn()?, &item)?.ok_or_else(not_found)?;
            let row = check(tx, &item, &new)?;
            tx.record(&row)?;
            show(tx.conn()?, row)
        })
    }

    /// Lets a number stand for nothing any more. What was received by it stays as it is.
    pub fn withdraw_gtin(
        &self,
        request: &Request,
        gtin: &str,
        new: NewGtinWithdrawal,
    ) -> Result<Answered<GtinWithdrawal>> {
        request.actor.may_anywhere(&reach::WITHDRAW_GTIN)?;
        let gtin: Gtin = gtin.parse().map_err(|error| OperationError::invalid("gtin", error))?;
        self.write(request, &reach::WITHDRAW_GTIN, move |tx| {
            let known = gtin_in_force(tx.conn()?, &gtin.to_string())?.ok_or_else(|| stands_for_nothing(gtin))?;
            let reason = fields::reason("reason", new.reason.as_deref())?;
            // A number may be given from a moment on that a device's clock has reached and ours has not.
            let since = tx.now().max(known.since);
            let (id, entry) = (tx.id(), tx.entry());
            tx.record(&GtinWithdrawalRow { id, entry, gtin: known.gtin.clone(), since, reason: reason.clone() })?;
            let item = item_of(tx.conn()?, &known)?.row.code;
            let (printed, since) = (gtin.printed(), fields::utc(since));
            Ok(GtinWithdrawal { gtin: known.gtin, printed, item, since, reason, entry })
        })
    }

    /// What a number stands for now.
    pub fn get_gtin(&self, request: &Request, gtin: &str) -> Result<ItemGtin> {
        request.actor.may_anywhere(&reach::GET_GTIN)?;
        let number: Gtin = gtin.parse().map_err(|error| OperationError::invalid("gtin", error))?;
        self.read_at_once(|conn| {
            let row = gtin_in_force(conn, &number.to_string())?;
            show(conn, row.ok_or_else(|| stands_for_nothing(number))?)
        })
    }
}

fn stands_for_nothing(gtin: Gtin) -> OperationError {
    OperationError::not_found(say!("item with the GTIN"), gtin.printed())
}

fn check(tx: &mut WriteTx<'_>, item: &Item, new: &NewItemGtin) -> Result<ItemGtinRow> {
    let gtin: Gtin = new.gtin.parse().map_err(|error| OperationError::invalid("gtin", error))?;
    let unit_mg = new.grams_per_unit.map(|grams| mass("grams_per_unit", grams)).transpose()?.map(Mass::mg);
    let since = fields::occurred_at("since", new.since, tx.now())?;
    let reason = fields::optional_note("reason", new.reason.as_deref())?;
    let supplier_id = match &new.supplier {
        Some(code) => Some(supplier_of(tx, item, code)?),
        None => None,
    };
    let before = gtin_in_force(tx.conn()?, &gtin.to_string())?;
    if let (Some(before), None) = (before.filter(|before| before.item_id != item.row.id), &reason) {
        let other = item_of(tx.conn()?, &before)?;
        let detail = say!(
            "this number is {other}'s; say why it is to be {item}'s",
            other = other.row.code,
            item = item.row.code
        );
        return Err(OperationError::new(&problems::NEEDS_REASON, detail).at("reason"));
    }
    let (id, entry) = (tx.id(), tx.entry());
    Ok(ItemGtinRow { id, entry, gtin: gtin.to_string(), item_id: item.row.id, supplier_id, unit_mg, since, reason })
}

fn supplier_of(tx: &mut WriteTx<'_>, item: &Item, code: &str) -> Result<i64> {
    let supplier = fields::partner(tx.conn()?, "supplier", code)?;
    let wrong = |detail: Saying| Err(OperationError::new(&problems::WRONG_KIND, detail).at("supplier"));
    if !supplier.current.supplies {
        return wrong(say!("{supplier} is not a supplier", supplier = supplier.current.name));
    }
    if item.row.kind != "ingredient" {
        return wrong(say!("{item} is made here, so nobody brings it", item = item.current.name));
    }
    Ok(supplier.row.id)
}

/// The item a number stands for.
pub(crate) fn item_of(conn: &mut AnyConnection, row: &ItemGtinRow) -> Result<Item> {
    let missing = || StorageError::Corrupt(format!("item_gtins row {} names a missing item", row.id));
    Ok(Item::by_id(conn, row.item_id)?.ok_or_else(missing)?)
}

fn show(conn: &mut AnyConnection, row: ItemGtinRow) -> Result<ItemGtin> {
    let corrupt = |error| StorageError::Corrupt(format!("item_gtins row {}: {error}", row.id));
    let gtin: Gtin = row.gtin.parse().map_err(corrupt)?;
    Ok(ItemGtin {
        printed: gtin.printed(),
        item: item_of(conn, &row)?.row.code,
        supplier: row.supplier_id.map(|id| partner_code(conn, id)).transpose()?,
        grams_per_unit: row.unit_mg.map(Grams::from_mg),
        since: fields::utc(row.since),
        gtin: row.gtin,
        reason: row.reason,
        entry: row.entry,
    })
}
