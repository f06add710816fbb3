//! Lots as answers show them: a list, and where one has been.

use std::collections::HashMap;

use chrono::{DateTime, NaiveDate, Utc};
use serde::{Deserialize, Serialize};
use tubtrail_domain::say;
use tubtrail_storage::lots::LotRow;
use tubtrail_storage::search::{
    LotFilter, authors, lots_page, movements_page, partner_codes, site_codes, sites_of_lot,
};
use tubtrail_storage::stock::MovementRow;
use tubtrail_storage::{AnyConnection, StorageError};
use utoipa::ToSchema;

use super::{addressed, number, parse};
use crate::deliveries::{Expiry, expiry};
use crate::error::{OperationError, Result};
use crate::fields;
use crate::index::Index;
use crate::known::{Holding, Known, Origin};
use crate::master_data::{MOST, Page};
use crate::quantities::Grams;
use crate::reach::{self, Actor, Operation, Request};
use crate::tubtrail::Tubtrail;

/// What sort of lot it is.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum LotKind {
    /// From a supplier.
    Received,
    /// What flavours are made from.
    Base,
    /// A praline, a ripple, a sauce.
    Component,
    /// One container of a flavour.
    Tub,
    /// What was left over in a batch and kept.
    Remainder,
    /// Kept to be worked into a later batch.
    Rework,
}

impl LotKind {
    const ALL: [Self; 6] = [Self::Received, Self::Base, Self::Component, Self::Tub, Self::Remainder, Self::Rework];

    /// The word for it in the database and in every answer.
    pub const fn word(self) -> &'static str {
        match self {
            Self::Received => "received",
            Self::Base => "base",
            Self::Component => "component",
            Self::Tub => "tub",
            Self::Remainder => "remainder",
            Self::Rework => "rework",
        }
    }

    pub(crate) fn from_word(word: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|kind| kind.word() == word)
    }

    pub(crate) fn of(lot: &LotRow) -> Result<Self> {
        Ok(Self::from_word(&lot.kind)
            .ok_or_else(|| StorageError::Corrupt(format!("lot row {}: kind {:?}", lot.id, lot.kind)))?)
    }
}

/// A lot as it stands.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, ToSchema)]
#[schema(example = json!({"lot": "261125-0042-7", "item": "whole-milk", "name": "Whole milk", "kind": "received",
    "came_from": {"by": "delivery", "delivery": 311, "supplier": "hollow-farm", "supplier_lot_code": "24-118"},
    "site": "quay-kitchen", "grams": 41280, "came_to_be_at": "2026-11-25T06:10:00Z",
    "expiry": {"kind": "use_by", "on": "2026-12-02"},
    "places": [{"site": "quay-kitchen", "state": "available", "grams": 29280}], "used_grams": 12000}))]
pub struct Lot {
    /// Its number.
    pub lot: String,
    /// The item's code.
    pub item: String,
    /// The item's name.
    pub name: String,
    /// What sort of lot it is.
    pub kind: LotKind,
    /// Where it came from.
    pub came_from: Origin,
    /// The code of the site at which it came to be.
    pub site: String,
    /// How much came to be. It is always somewhere: the places, what was used and what was returned add up to it.
    pub grams: Grams,
    /// When it was received or made.
    pub came_to_be_at: DateTime<Utc>,
    /// From when it may be used.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub mature_at: Option<DateTime<Utc>>,
    /// Its last day.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub expiry: Option<Expiry>,
    /// The hold that keeps it; absent if none does.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub on_hold: Option<HoldShown>,
    /// The numbers of the recalls that keep it on hold.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub recalls: Vec<i64>,
    /// Why it was turned away after all; absent if it was not.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schema(max_length = 2000)]
    pub rejected: Option<String>,
    /// Where it is now, and what became of what is gone.
    pub places: Vec<Holding>,
    /// How much of it went into batches.
    pub used_grams: Grams,
    /// How much of it went back to the supplier.
    #[serde(default, skip_serializing_if = "is_zero")]
    pub returned_grams: Grams,
}

#[expect(clippy::trivially_copy_pass_by_ref, reason = "serde passes a reference")]
fn is_zero(grams: &Grams) -> bool {
    grams.mg() == 0
}

/// A hold, as shown beside a lot.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[schema(example = json!({"hold": 4711, "reason": "the supplier called: do not use yet"}))]
pub struct HoldShown {
    /// Its number.
    pub hold: i64,
    /// Why.
    pub reason: String,
}

/// Which lots to list; absent fields do not narrow.
#[derive(Clone, Debug, Default)]
pub struct LotSearch {
    /// With this number.
    pub number: Option<String>,
    /// With exactly this code of the supplier's.
    pub supplier_lot_code: Option<String>,
    /// With a code of the supplier's that begins like this, case and all.
    pub supplier_lot_code_prefix: Option<String>,
    /// From this supplier, by code.
    pub supplier: Option<String>,
    /// Of this item, by code.
    pub item: Option<String>,
    /// Of this kind.
    pub kind: Option<LotKind>,
    /// Numbered on this day or later.
    pub day_from: Option<NaiveDate>,
    /// Numbered on this day or earlier.
    pub day_to: Option<NaiveDate>,
    /// That came to be at this site, or have ever been there, by code.
    pub site: Option<String>,
}

/// A quantity of a lot left one place and reached another.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, ToSchema)]
#[schema(example = json!({"movement": 90210, "kind": "received", "from_site": "quay-kitchen", "from_state": "supplier",
    "to_site": "quay-kitchen", "to_state": "available", "grams": 41280, "occurred_at": "2026-11-25T06:10:00Z",
    "partner": "hollow-farm", "recorded_at": "2026-11-25T06:12:31Z", "actor": "user:ines", "entry": 812}))]
pub struct LotMovement {
    /// Its number.
    pub movement: i64,
    /// What happened, in a word.
    pub kind: String,
    /// The code of the site it left.
    pub from_site: String,
    /// In which state, or from which account of that site.
    pub from_state: String,
    /// The code of the site it reached.
    pub to_site: String,
    /// In which state, or on which account of that site.
    pub to_state: String,
    /// How much.
    pub grams: Grams,
    /// When it happened.
    pub occurred_at: DateTime<Utc>,
    /// Why, where that is asked.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub reason: Option<String>,
    /// The use it belongs to.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub use_id: Option<i64>,
    /// The transfer it belongs to.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub transfer: Option<i64>,
    /// The count it belongs to.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub count: Option<i64>,
    /// The code of the supplier it came from or the customer it went to.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub partner: Option<String>,
    /// When it was written down.
    pub recorded_at: DateTime<Utc>,
    /// By whom.
    pub actor: String,
    /// The journal entry that holds it.
    pub entry: i64,
}

impl Tubtrail {
    /// The next lots that match, in the order in which they came to be known.
    pub fn list_lots(&self, request: &Request, search: &LotSearch, after: &str, limit: u32) -> Result<Page<Lot>> {
        request.actor.may_anywhere(&reach::LIST_LOTS)?;
        let after = fields::after_id("after", after)?;
        let limit = limit.clamp(1, MOST);
        self.read_at_once(|conn| {
            let filter = filter(conn, &request.actor, search)?;
            let rows = lots_page(conn, &filter, after, i64::from(limit) + 1)?;
            let page = Page::cut(rows, limit as usize, |row| row.id.to_string());
            let known = Known::of(conn, &page.items)?.recalled(self.current_index(conn)?)?;
            let items = page.items.iter().map(|row| show(&known, row)).collect::<Result<_>>()?;
            Ok(Page { items, next: page.next })
        })
    }

    /// Where a lot has been, oldest first.
    pub fn list_lot_movements(
        &self,
        request: &Request,
        number: &str,
        after: &str,
        limit: u32,
    ) -> Result<Page<LotMovement>> {
        let after = fields::after_id("after", after)?;
        let limit = limit.clamp(1, MOST);
        self.read_at_once(|conn| {
            let row = addressed(conn, number)?;
            within_reach(conn, &request.actor, &reach::LIST_LOT_MOVEMENTS, &row)?;
            let rows = movements_page(conn, row.id, after, i64::from(limit) + 1)?;
            let page = Page::cut(rows, limit as usize, |row| row.id.to_string());
            Ok(Page { items: show_movements(conn, page.items)?, next: page.next })
        })
    }
}

/// One lot, for someone who may do this to it.
pub(crate) fn show_one(
    conn: &mut AnyConnection,
    index: &Index,
    actor: &Actor,
    operation: &Operation,
    row: &LotRow,
) -> Result<Lot> {
    within_reach(conn, actor, operation, row)?;
    show(&Known::of(conn, std::slice::from_ref(row))?.recalled(index)?, row)
}

/// Refuses unless the lot came to be, or has ever been, where one of the operation's roles is theirs.
pub(crate) fn within_reach(conn: &mut AnyConnection, actor: &Actor, operation: &Operation, lot: &LotRow) -> Result<()> {
    let mut sites = sites_of_lot(conn, lot.id)?;
    sites.push(lot.site_id);
    if sites.iter().any(|site| actor.is_any_at(operation.roles, *site)) {
        return Ok(());
    }
    match sites.iter().find(|site| actor.reaches(**site)) {
        Some(site) => actor.may(operation, *site),
        None => Err(OperationError::not_found(say!("lot"), number(lot)?)),
    }
}

fn filter(conn: &mut AnyConnection, actor: &Actor, search: &LotSearch) -> Result<LotFilter> {
    let number = match &search.number {
        Some(text) => {
            let number = parse(text).map_err(|error| error.at("number"))?;
            Some((number.day(), i32::try_from(number.serial()).unwrap_or(i32::MAX)))
        }
        None => None,
    };
    let code =
        |field: &str, code: &Option<String>| code.as_deref().map(|code| fields::foreign_code(field, code)).transpose();
    let sites = fields::sites_asked(conn, search.site.as_deref(), actor, &reach::LIST_LOTS)?;
    let supplier = search.supplier.as_deref();
    Ok(LotFilter {
        number,
        supplier_lot_code: code("supplier_lot_code", &search.supplier_lot_code)?,
        supplier_lot_code_prefix: code("supplier_lot_code_prefix", &search.supplier_lot_code_prefix)?,
        supplier_id: supplier.map(|code| fields::filter_partner(conn, "supplier", code)).transpose()?,
        item_id: search.item.as_deref().map(|code| fields::filter_item(conn, "item", code)).transpose()?,
        kind: search.kind.map(|kind| kind.word().to_owned()),
        day_from: search.day_from,
        day_to: search.day_to,
        sites,
    })
}

fn show(known: &Known, row: &LotRow) -> Result<Lot> {
    let (item, name) = known.item(row)?;
    let whereabouts = known.whereabouts(row)?;
    Ok(Lot {
        lot: number(row)?.to_string(),
        item,
        name,
        kind: LotKind::of(row)?,
        came_from: known.origin(row)?,
        site: known.site(row)?,
        grams: Grams::from_mg(row.mass_mg),
        came_to_be_at: fields::utc(row.came_to_be_at),
        mature_at: row.mature_at.map(fields::utc),
        expiry: expiry(row.expires_on, row.expiry_kind.as_deref()),
        on_hold: known.hold(row).map(|hold| HoldShown { hold: hold.id, reason: hold.reason.clone() }),
        recalls: known.recalls(row),
        rejected: known.rejection(row),
        places: whereabouts.places,
        used_grams: whereabouts.used,
        returned_grams: whereabouts.returned,
    })
}

fn show_movements(conn: &mut AnyConnection, rows: Vec<MovementRow>) -> Result<Vec<LotMovement>> {
    let site_ids: Vec<i64> = rows.iter().flat_map(|row| [row.from_site_id, row.to_site_id]).collect();
    let sites = site_codes(conn, &site_ids)?;
    let partners = partner_codes(conn, &rows.iter().filter_map(|row| row.partner_id).collect::<Vec<_>>())?;
    let authors = authors(conn, &rows.iter().map(|row| row.entry).collect::<Vec<_>>())?;
    let missing = |row: &MovementRow| StorageError::Corrupt(format!("movement {} names something missing", row.id));
    let shown = rows.into_iter().map(|row| {
        let site = |id: i64| sites.get(&id).cloned().ok_or_else(|| missing(&row));
        let (actor, recorded_at) = authors.get(&row.entry).cloned().ok_or_else(|| missing(&row))?;
        Ok(LotMovement {
            movement: row.id,
            from_site: site(row.from_site_id)?,
            from_state: row.from_state.clone(),
            to_site: site(row.to_site_id)?,
            to_state: row.to_state.clone(),
            grams: Grams::from_mg(row.mass_mg),
            occurred_at: fields::utc(row.occurred_at),
            partner: partner(&partners, &row)?,
            recorded_at: fields::utc(recorded_at),
            actor,
            entry: row.entry,
            use_id: row.use_id,
            transfer: row.transfer_id,
            count: row.count_id,
            kind: row.kind,
            reason: row.reason,
        })
    });
    shown.collect()
}

fn partner(partners: &HashMap<i64, String>, row: &MovementRow) -> Result<Option<String>> {
    let Some(id) = row.partner_id else { return Ok(None) };
    let code = partners.get(&id).cloned();
    Ok(Some(code.ok_or_else(|| StorageError::Corrupt(format!("movement {} names a missing partner", row.id)))?))
}
