//! Deliveries: what comes in at the door, one line a supplier lot.

mod last_day;
mod receiving;

use std::collections::HashMap;

use chrono::{DateTime, NaiveDate, NaiveTime, Utc};
use serde::{Deserialize, Serialize};
use tubtrail_domain::say;
use tubtrail_storage::lots::{DeliveryLineRow, DeliveryRow, delivery, lines_of_delivery};
use tubtrail_storage::master_data::{Item, Noun, Partner, Site};
use tubtrail_storage::search::{DeliveryFilter, deliveries_page, lots_of_deliveries, partner_codes, site_codes};
use tubtrail_storage::{AnyConnection, StorageError};
use utoipa::ToSchema;

pub(crate) use self::last_day::expiry;
pub use self::last_day::{Expiry, ExpiryKind};
use self::receiving::{check, record};
use crate::error::{OperationError, Result};
use crate::master_data::{MOST, Page};
use crate::quantities::{Amount, Grams, QuantityEntered};
use crate::reach::{self, Actor, Operation, Request};
use crate::tubtrail::{Answered, Tubtrail};
use crate::{fields, lots};

/// Most lines of one delivery.
pub(crate) const MOST_LINES: usize = 200;

/// What became of a line at the door.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum Decision {
    /// On the shelf.
    Accepted,
    /// Received, but on hold until someone decides.
    PutAside,
    /// Turned away.
    Rejected,
}

impl Decision {
    const fn word(self) -> &'static str {
        match self {
            Self::Accepted => "accepted",
            Self::PutAside => "put_aside",
            Self::Rejected => "rejected",
        }
    }

    fn from_word(word: &str) -> Option<Self> {
        [Self::Accepted, Self::PutAside, Self::Rejected].into_iter().find(|decision| decision.word() == word)
    }
}

/// A delivery as it is written down.
#[derive(Clone, Debug, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(example = json!({"supplier": "hollow-farm", "site": "quay-kitchen", "document": "DN-20417",
    "lines": [{"item": "whole-milk", "supplier_lot_code": "24-118", "quantity": {"amount": 40, "unit": "l"},
        "expiry": {"kind": "use_by", "on": "2026-12-02"}, "temperature_celsius": 4.2}]}))]
pub struct NewDelivery {
    /// The supplier's code.
    #[schema(max_length = 40)]
    pub supplier: String,
    /// The code of the site it arrived at.
    #[schema(max_length = 40)]
    pub site: String,
    /// The number on the supplier's paper.
    #[schema(max_length = 60)]
    pub document: String,
    /// When it arrived; now, if absent.
    #[serde(default)]
    pub arrived_at: Option<DateTime<Utc>>,
    /// Remarks.
    #[serde(default)]
    #[schema(max_length = 2000)]
    pub note: Option<String>,
    /// One line a supplier lot.
    #[schema(min_items = 1, max_items = 200)]
    pub lines: Vec<NewDeliveryLine>,
}

/// One supplier lot at the door.
#[derive(Clone, Debug, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct NewDeliveryLine {
    /// The item's code.
    #[schema(max_length = 40)]
    pub item: String,
    /// The supplier's own code for the lot, as printed on it.
    #[schema(max_length = 60)]
    pub supplier_lot_code: String,
    /// How much.
    pub quantity: QuantityEntered,
    /// The date printed on it.
    #[serde(default)]
    pub expiry: Option<Expiry>,
    /// As measured on arrival.
    #[serde(default)]
    #[schema(minimum = -100, maximum = 300)]
    pub temperature_celsius: Option<f64>,
    /// Turned away at the door; needs a reason.
    #[serde(default)]
    pub rejected: bool,
    /// Why it was turned away, or a remark.
    #[serde(default)]
    #[schema(max_length = 2000)]
    pub reason: Option<String>,
}

/// A delivery as it stands.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, ToSchema)]
#[schema(example = json!({"id": 311, "supplier": "hollow-farm", "site": "quay-kitchen", "document": "DN-20417", "arrived_at": "2026-11-25T06:10:00Z", "lines": [{"item": "whole-milk", "supplier_lot_code": "24-118", "quantity": {"amount": 40, "unit": "l"}, "grams": 41280, "expiry": {"kind": "use_by", "on": "2026-12-02"}, "temperature_celsius": 4.2, "lot": "261125-0042-7", "decision": "accepted"}], "entry": 7990}))]
pub struct Delivery {
    /// Its number.
    pub id: i64,
    /// The supplier's code.
    pub supplier: String,
    /// The site's code.
    pub site: String,
    /// The number on the supplier's paper.
    pub document: String,
    /// When it arrived.
    pub arrived_at: DateTime<Utc>,
    /// Remarks.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub note: Option<String>,
    /// Its lines.
    pub lines: Vec<DeliveryLine>,
    /// The journal entry that brought it.
    pub entry: i64,
}

/// A line of a delivery as it stands.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct DeliveryLine {
    /// The item's code.
    pub item: String,
    /// The supplier's own code for the lot.
    pub supplier_lot_code: String,
    /// As typed.
    pub quantity: QuantityEntered,
    /// What that comes to.
    pub grams: Grams,
    /// The date printed on it.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub expiry: Option<Expiry>,
    /// As measured on arrival.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub temperature_celsius: Option<f64>,
    /// What became of it.
    pub decision: Decision,
    /// Why.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub reason: Option<String>,
    /// Our number for the lot it became.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub lot: Option<String>,
}

/// A delivery in a list.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[schema(example = json!({"id": 311, "supplier": "hollow-farm", "site": "quay-kitchen", "document": "DN-20417",
    "arrived_at": "2026-11-25T06:10:00Z", "lots": ["261125-0042-7"]}))]
pub struct DeliveryListed {
    /// Its number.
    pub id: i64,
    /// The supplier's code.
    pub supplier: String,
    /// The site's code.
    pub site: String,
    /// The number on the supplier's paper.
    pub document: String,
    /// When it arrived.
    pub arrived_at: DateTime<Utc>,
    /// The numbers of the lots it became, in order of line; rejected lines became none.
    pub lots: Vec<String>,
}

/// Which deliveries to list; absent fields do not narrow.
#[derive(Clone, Debug, Default)]
pub struct DeliverySearch {
    /// From this supplier, by code.
    pub supplier: Option<String>,
    /// At this site, by code.
    pub site: Option<String>,
    /// Under exactly this document.
    pub document: Option<String>,
    /// That arrived on this day or later; UTC, for the sites may lie in several time zones.
    pub day_from: Option<NaiveDate>,
    /// That arrived on this day or earlier; UTC.
    pub day_to: Option<NaiveDate>,
}

impl Tubtrail {
    /// Writes down a delivery: all of its lines, or none.
    ///
    /// A line past its date can only be rejected; one warmer than its item may arrive, or unmeasured, is put aside on
    /// hold; the same supplier lot under the same document is refused.
    pub fn receive_delivery(&self, request: &Request, new: NewDelivery) -> Result<Answered<Delivery>> {
        let actor = request.actor.clone();
        self.write(request, &reach::RECEIVE_DELIVERY, move |tx| {
            let site = fields::site(tx.conn()?, "site", &new.site)?;
            actor.may(&reach::RECEIVE_DELIVERY, site.row.id).map_err(|error| error.at("site"))?;
            let checked = check(tx, site, new)?;
            record(tx, &checked)
        })
    }

    /// The next deliveries that match, in the order in which they were written down.
    pub fn list_deliveries(
        &self,
        request: &Request,
        search: &DeliverySearch,
        after: &str,
        limit: u32,
    ) -> Result<Page<DeliveryListed>> {
        request.actor.may_anywhere(&reach::LIST_DELIVERIES)?;
        let after = fields::after_id("after", after)?;
        let limit = limit.clamp(1, MOST);
        self.read_at_once(|conn| {
            let filter = filter(conn, &request.actor, search)?;
            let rows = deliveries_page(conn, &filter, after, i64::from(limit) + 1)?;
            let page = Page::cut(rows, limit as usize, |row| row.id.to_string());
            Ok(Page { items: list(conn, &page.items)?, next: page.next })
        })
    }

    /// One delivery.
    pub fn get_delivery(&self, request: &Request, id: i64) -> Result<Delivery> {
        self.read(|conn| {
            let row = addressed(conn, &request.actor, &reach::GET_DELIVERY, id)?;
            answer(conn, &row)
        })
    }
}

/// The delivery a request's address names, for someone who may do this to it; one out of reach is not found.
pub(crate) fn addressed(
    conn: &mut AnyConnection,
    actor: &Actor,
    operation: &Operation,
    id: i64,
) -> Result<DeliveryRow> {
    let row = delivery(conn, id)?.filter(|row| actor.reaches(row.site_id));
    let row = row.ok_or_else(|| OperationError::not_found(say!("delivery"), id))?;
    actor.may(operation, row.site_id)?;
    Ok(row)
}

fn filter(conn: &mut AnyConnection, actor: &Actor, search: &DeliverySearch) -> Result<DeliveryFilter> {
    let sites = fields::sites_asked(conn, search.site.as_deref(), actor, &reach::LIST_DELIVERIES)?;
    let supplier = search.supplier.as_deref();
    Ok(DeliveryFilter {
        supplier_id: supplier.map(|code| fields::filter_partner(conn, "supplier", code)).transpose()?,
        sites,
        document: search.document.as_deref().map(|text| fields::foreign_code("document", text)).transpose()?,
        from: search.day_from.map(|day| day.and_time(NaiveTime::MIN)),
        until: search.day_to.and_then(|day| day.succ_opt()).map(|day| day.and_time(NaiveTime::MIN)),
    })
}

fn list(conn: &mut AnyConnection, rows: &[DeliveryRow]) -> Result<Vec<DeliveryListed>> {
    let suppliers = partner_codes(conn, &rows.iter().map(|row| row.supplier_id).collect::<Vec<_>>())?;
    let sites = site_codes(conn, &rows.iter().map(|row| row.site_id).collect::<Vec<_>>())?;
    let mut lots: HashMap<i64, Vec<String>> = HashMap::new();
    for lot in lots_of_deliveries(conn, &rows.iter().map(|row| row.id).collect::<Vec<_>>())? {
        lots.entry(lot.delivery_id.unwrap_or(0)).or_default().push(lots::number(&lot)?.to_string());
    }
    let listed = rows.iter().map(|row| {
        let missing = |what: &str| StorageError::Corrupt(format!("delivery {} names a missing {what}", row.id));
        Ok(DeliveryListed {
            id: row.id,
            supplier: suppliers.get(&row.supplier_id).cloned().ok_or_else(|| missing("partner"))?,
            site: sites.get(&row.site_id).cloned().ok_or_else(|| missing("site"))?,
            document: row.document.clone(),
            arrived_at: fields::utc(row.arrived_at),
            lots: lots.remove(&row.id).unwrap_or_default(),
        })
    });
    listed.collect()
}

fn answer(conn: &mut AnyConnection, row: &DeliveryRow) -> Result<Delivery> {
    let missing = |what: &str| StorageError::Corrupt(format!("delivery {} names a missing {what}", row.id));
    let supplier = Partner::by_id(conn, row.supplier_id)?.ok_or_else(|| missing("partner"))?;
    let site = Site::by_id(conn, row.site_id)?.ok_or_else(|| missing("site"))?;
    let lines = lines_of_delivery(conn, row.id)?;
    Ok(Delivery {
        id: row.id,
        supplier: supplier.row.code,
        site: site.row.code,
        document: row.document.clone(),
        arrived_at: fields::utc(row.arrived_at),
        note: row.note.clone(),
        lines: lines.into_iter().map(|line| answer_line(conn, line)).collect::<Result<_>>()?,
        entry: row.entry,
    })
}

fn answer_line(conn: &mut AnyConnection, line: DeliveryLineRow) -> Result<DeliveryLine> {
    let corrupt = |what: &str| StorageError::Corrupt(format!("delivery line {}: {what}", line.id));
    let item = Item::by_id(conn, line.item_id)?.ok_or_else(|| corrupt("its item is missing"))?;
    let lot = match line.lot_id {
        Some(id) => Some(lots::number(&tubtrail_storage::lots::lot(conn, id)?)?.to_string()),
        None => None,
    };
    Ok(DeliveryLine {
        item: item.row.code,
        supplier_lot_code: line.supplier_lot_code.clone(),
        quantity: QuantityEntered { amount: Amount(line.entered_amount.clone()), unit: line.entered_unit.clone() },
        grams: Grams::from_mg(line.mass_mg),
        expiry: expiry(line.expires_on, line.expiry_kind.as_deref()),
        temperature_celsius: line.temperature_tenths.map(|tenths| f64::from(tenths) / 10.0),
        decision: Decision::from_word(&line.decision).ok_or_else(|| corrupt("its decision"))?,
        reason: line.reason,
        lot,
    })
}
