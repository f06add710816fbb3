//! A delivery at the door: each line is looked at and judged; then all of it is written down.

use std::collections::HashSet;

use chrono::{NaiveDate, NaiveDateTime};
use tubtrail_domain::arrival::{Arrival, Verdict, judge};
use tubtrail_domain::quantity::Mass;
use tubtrail_domain::say;
use tubtrail_storage::WriteTx;
use tubtrail_storage::lots::{DeliveryLineRow, DeliveryRow, lines_seen_before, lots_by_ids};
use tubtrail_storage::master_data::{Item, Partner, Site};
use tubtrail_storage::stock::HoldRow;

use super::{Decision, Delivery, Expiry, MOST_LINES, NewDelivery, NewDeliveryLine, answer};
use crate::error::{OperationError, Result};
use crate::items::{counting, warmest_arrival_tenths};
use crate::lots::{self, NewLot, record_lot};
use crate::quantities::QuantityEntered;
use crate::{fields, problems};

/// A delivery that may be recorded.
pub(super) struct Checked {
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

/// Checks the form of a delivery, finds what it names, and judges each line.
pub(super) fn check(tx: &mut WriteTx<'_>, site: Site, new: NewDelivery) -> Result<Checked> {
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

/// Records it: a lot for each line that was not rejected, on hold where it was put aside.
pub(super) fn record(tx: &mut WriteTx<'_>, checked: &Checked) -> Result<Delivery> {
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
