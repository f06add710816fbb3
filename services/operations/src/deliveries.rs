//! Deliveries: what comes in at the door, one line a supplier lot.

use std::collections::{HashMap, HashSet};

use chrono::{DateTime, NaiveDate, NaiveDateTime, NaiveTime, Utc};
use serde::{Deserialize, Serialize};
use tubtrail_domain::arrival::{Arrival, Verdict, judge};
use tubtrail_domain::quantity::Mass;
use tubtrail_domain::say;
use tubtrail_storage::lots::{
    DeliveryLineRow, DeliveryRow, delivery, lines_of_delivery, lines_seen_before, lots_by_ids,
};
use tubtrail_storage::master_data::{Item, Noun, Partner, Site};
use tubtrail_storage::search::{DeliveryFilter, deliveries_page, lots_of_deliveries, partner_codes, site_codes};
use tubtrail_storage::stock::HoldRow;
use tubtrail_storage::{AnyConnection, StorageError, WriteTx};
use utoipa::ToSchema;

use crate::error::{OperationError, Result};
use crate::items::{counting, warmest_arrival_tenths};
use crate::lots::{self, NewLot, record_lot};
use crate::master_data::{MOST, Page};
use crate::quantities::{Amount, Grams, QuantityEntered};
use crate::reach::{self, Actor, Operation, Request};
use crate::tubtrail::{Answered, Tubtrail};
use crate::{fields, problems};

/// Most lines of one delivery.
const MOST_LINES: usize = 200;

/// What a date on a package means.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum ExpiryKind {
    /// Quality.
    BestBefore,
    /// Safety of use, as the law means it.
    UseBy,
}

impl ExpiryKind {
    /// The word for it.
    pub const fn word(self) -> &'static str {
        match self {
            Self::BestBefore => "best_before",
            Self::UseBy => "use_by",
        }
    }

    pub(crate) fn from_word(word: &str) -> Option<Self> {
        [Self::BestBefore, Self::UseBy].into_iter().find(|kind| kind.word() == word)
    }
}

/// The last day something may be used.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct Expiry {
    /// What the date means.
    pub kind: ExpiryKind,
    /// The day.
    #[schema(example = "2026-12-09")]
    #[serde(deserialize_with = "crate::days::day")]
    pub on: NaiveDate,
}

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

/// A delivery that may be recorded.
struct Checked {
    site: Site,
    supplier: Partner,
    document: String,
    arrived_at: NaiveDateTime,
    day: NaiveDate,
    note: Option<String>,
    lines: Vec<CheckedLine>,
}

struct CheckedLine {
    item: Item,
    supplier_lot_code: String,
    entered: QuantityEntered,
    mass: Mass,
    expiry: Option<Expiry>,
    temperature_tenths: Option<i32>,
    decision: Decision,
    reason: Option<String>,
}

fn check(tx: &mut WriteTx<'_>, site: Site, new: NewDelivery) -> Result<Checked> {
    let supplier = fields::partner(tx.conn()?, "supplier", &new.supplier)?;
    if !supplier.current.supplies {
        let detail = say!("{supplier} is not a supplier", supplier = supplier.current.name);
        return Err(OperationError::new(&problems::WRONG_KIND, detail).at("supplier"));
    }
    let document = fields::foreign_code("document", &new.document)?;
    let arrived_at = fields::occurred_at("arrived_at", new.arrived_at, tx.now())?;
    let note = fields::optional_note("note", new.note.as_deref())?;
    fields::between("lines", new.lines.len(), 1, MOST_LINES)?;
    let day = fields::day_at(&site, arrived_at)?;
    let mut checked = Checked { site, supplier, document, arrived_at, day, note, lines: Vec::new() };
    let mut seen = HashSet::new();
    for (position, line) in new.lines.into_iter().enumerate() {
        let under = |error: OperationError| error.in_list("lines", position);
        let line = check_line(tx, &checked, line).map_err(under)?;
        if !seen.insert((line.item.row.id, line.supplier_lot_code.clone())) {
            let detail = say!(
                "lot {supplier_lot_code} stands on two lines of this delivery",
                supplier_lot_code = line.supplier_lot_code
            );
            return Err(under(OperationError::new(&problems::REPEATED, detail).at("supplier_lot_code")));
        }
        checked.lines.push(line);
    }
    Ok(checked)
}

fn check_line(tx: &mut WriteTx<'_>, delivery: &Checked, line: NewDeliveryLine) -> Result<CheckedLine> {
    let item = fields::item(tx.conn()?, "item", &line.item)?;
    if item.row.kind != "ingredient" || !item.current.tracked {
        let detail = say!("{item} is not an ingredient kept by lot", item = item.current.name);
        return Err(OperationError::new(&problems::WRONG_KIND, detail).at("item"));
    }
    let supplier_lot_code = fields::foreign_code("supplier_lot_code", &line.supplier_lot_code)?;
    let mass = line.quantity.to_mass(&counting(&item.current)?).map_err(|error| error.under("quantity"))?;
    let temperature_tenths = match line.temperature_celsius {
        Some(celsius) => Some(fields::celsius_tenths("temperature_celsius", celsius)?),
        None => None,
    };
    let arrival = Arrival {
        today: delivery.day,
        expires_on: line.expiry.map(|expiry| expiry.on),
        temperature_tenths,
        warmest_tenths: warmest_arrival_tenths(&item.current)?,
    };
    let (decision, reason) = decide(&line, &arrival)?;
    if decision != Decision::Rejected {
        refuse_seen_before(tx, delivery, &item, &supplier_lot_code)?;
    }
    Ok(CheckedLine {
        item,
        supplier_lot_code,
        entered: line.quantity,
        mass,
        expiry: line.expiry,
        temperature_tenths,
        decision,
        reason,
    })
}

fn decide(line: &NewDeliveryLine, arrival: &Arrival) -> Result<(Decision, Option<String>)> {
    if line.rejected {
        return Ok((Decision::Rejected, Some(fields::reason("reason", line.reason.as_deref())?)));
    }
    let remark = fields::optional_note("reason", line.reason.as_deref())?;
    match judge(arrival) {
        Verdict::Accept => Ok((Decision::Accepted, remark)),
        Verdict::PutAside(why) => Ok((Decision::PutAside, Some(why.to_string()))),
        Verdict::PastItsDate(date) => Err(OperationError::new(
            &problems::PAST_ITS_DATE,
            say!("its last day was {date}: reject the line, with a reason", date),
        )
        .at("expiry.on")),
    }
}

fn refuse_seen_before(tx: &mut WriteTx<'_>, delivery: &Checked, item: &Item, code: &str) -> Result<()> {
    let before = lines_seen_before(tx.conn()?, delivery.supplier.row.id, &delivery.document, code)?;
    let lots: Vec<i64> =
        before.iter().filter(|line| line.item_id == item.row.id).filter_map(|line| line.lot_id).collect();
    if lots.is_empty() {
        return Ok(());
    }
    let numbers = lots_by_ids(tx.conn()?, &lots)?.iter().map(lots::number).collect::<Result<Vec<_>>>()?;
    let detail = say!("lot {code} was already received under document {document}", code, document = delivery.document);
    Err(OperationError::new(&problems::SEEN_BEFORE, detail)
        .at("supplier_lot_code")
        .about(numbers.iter().map(ToString::to_string)))
}

fn record(tx: &mut WriteTx<'_>, checked: &Checked) -> Result<Delivery> {
    tx.at_site(checked.site.row.id);
    let row = DeliveryRow {
        id: tx.id(),
        entry: tx.entry(),
        supplier_id: checked.supplier.row.id,
        site_id: checked.site.row.id,
        document: checked.document.clone(),
        arrived_at: checked.arrived_at,
        note: checked.note.clone(),
    };
    tx.record(&row)?;
    for (line, number) in checked.lines.iter().zip(1..) {
        record_line(tx, checked, row.id, number, line)?;
    }
    answer(tx.conn()?, &row)
}

fn record_line(
    tx: &mut WriteTx<'_>,
    checked: &Checked,
    delivery_id: i64,
    number: i32,
    line: &CheckedLine,
) -> Result<()> {
    let (expires_on, expiry_kind) = line.expiry.map(|expiry| (expiry.on, expiry.kind.word().to_owned())).unzip();
    let lot = if line.decision == Decision::Rejected {
        None
    } else {
        let new = NewLot {
            day: checked.day,
            item_id: line.item.row.id,
            site_id: checked.site.row.id,
            kind: "received",
            supplier_id: Some(checked.supplier.row.id),
            supplier_lot_code: Some(line.supplier_lot_code.clone()),
            delivery_id: Some(delivery_id),
            batch_id: None,
            mass_mg: line.mass.mg(),
            came_to_be_at: checked.arrived_at,
            mature_at: None,
            expires_on,
            expiry_kind: expiry_kind.clone(),
        };
        Some(record_lot(tx, new)?)
    };
    let row = DeliveryLineRow {
        id: tx.id(),
        entry: tx.entry(),
        delivery_id,
        line: number,
        item_id: line.item.row.id,
        supplier_lot_code: line.supplier_lot_code.clone(),
        entered_amount: line.entered.amount.0.clone(),
        entered_unit: line.entered.unit.clone(),
        mass_mg: line.mass.mg(),
        expires_on,
        expiry_kind,
        temperature_tenths: line.temperature_tenths,
        decision: line.decision.word().to_owned(),
        reason: line.reason.clone(),
        lot_id: lot.as_ref().map(|lot| lot.id),
    };
    tx.record(&row)?;
    if let (Decision::PutAside, Some(lot)) = (line.decision, lot) {
        let reason = line.reason.clone().unwrap_or_default();
        let hold = HoldRow { id: tx.id(), entry: tx.entry(), lot_id: lot.id, reason };
        tx.hold(&hold)?;
    }
    Ok(())
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

/// A date with its meaning, as stored.
pub(crate) fn expiry(on: Option<NaiveDate>, kind: Option<&str>) -> Option<Expiry> {
    Some(Expiry { kind: ExpiryKind::from_word(kind?)?, on: on? })
}
