//! Transfers: stock sent from a site to another. What arrives is written down in [`crate::receipts`].

use std::collections::HashSet;

use chrono::{DateTime, NaiveDateTime, Utc};
use serde::{Deserialize, Serialize};
use tubtrail_domain::moving::{Act, settle};
use tubtrail_domain::place::{Place, State};
use tubtrail_domain::say;
use tubtrail_storage::lots::lot;
use tubtrail_storage::master_data::Site;
use tubtrail_storage::on_hand::{End, TransferFilter, transfers_after};
use tubtrail_storage::stock::{
    MovementRow, ReceiptRow, TransferLineRow, TransferRow, lines_of_receipt, lines_of_transfer, receipt_of, transfer,
};
use tubtrail_storage::{AnyConnection, WriteTx};
use utoipa::{IntoParams, ToSchema};

use crate::discards::wanted_mg;
use crate::error::{OperationError, Result};
use crate::index::Index;
use crate::lots::{self, movement};
use crate::master_data::{MOST, Page};
use crate::names::Names;
use crate::quantities::{Grams, QuantityEntered};
use crate::reach::{self, Actor, Request};
use crate::standing::Standing;
use crate::tubtrail::{Answered, Tubtrail};
use crate::{fields, problems};

/// Most lines of one transfer.
pub(crate) const MOST_LINES: usize = 200;

/// Stock leaves for another site.
#[derive(Clone, Debug, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(example = json!({"from": "quay-kitchen", "to": "harbour-shop",
    "lines": [{"lot": "261125-0042-7"}, {"lot": "261125-0003-1", "quantity": {"amount": 2, "unit": "kg"}}]}))]
pub struct NewTransfer {
    /// The code of the site it leaves.
    #[schema(max_length = 40)]
    pub from: String,
    /// The code of the site it goes to.
    #[schema(max_length = 40)]
    pub to: String,
    /// One line a lot.
    #[schema(min_items = 1, max_items = 200)]
    pub lines: Vec<NewTransferLine>,
    /// When it leaves; now, if absent.
    #[serde(default)]
    pub dispatched_at: Option<DateTime<Utc>>,
    /// Remarks.
    #[serde(default)]
    #[schema(max_length = 2000)]
    pub note: Option<String>,
}

/// So much of a lot is sent.
#[derive(Clone, Debug, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct NewTransferLine {
    /// Our number for the lot.
    #[schema(max_length = 20)]
    pub lot: String,
    /// How much; all that is available there, if absent. A tub goes whole.
    #[serde(default)]
    pub quantity: Option<QuantityEntered>,
}

/// A transfer as it stands.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, ToSchema)]
#[schema(example = json!({"id": 5120, "from": "quay-kitchen", "to": "harbour-shop",
    "dispatched_at": "2026-11-25T07:30:00Z", "received_at": "2026-11-25T08:05:00Z", "entry": 8123, "receipt_entry": 8140,
    "lines": [{"lot": "261125-0042-7", "item": "pistachio", "name": "Pistachio", "listed": true, "sent_grams": 4750, "received_grams": 0,
        "damaged_grams": 4750, "missing_grams": 0, "found_grams": 0, "reason": "the lid came off"}]}))]
pub struct Transfer {
    /// Its number.
    pub id: i64,
    /// The code of the site it left.
    pub from: String,
    /// The code of the site it goes to.
    pub to: String,
    /// When it left.
    pub dispatched_at: DateTime<Utc>,
    /// Remarks on leaving.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub note: Option<String>,
    /// When it arrived, once it has.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub received_at: Option<DateTime<Utc>>,
    /// Remarks on arrival.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub receipt_note: Option<String>,
    /// What was sent, and once it arrived, what became of it; then lots that were not on the list.
    pub lines: Vec<TransferLine>,
    /// The journal entry that sent it.
    pub entry: i64,
    /// The journal entry that received it.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub receipt_entry: Option<i64>,
}

/// A lot on a transfer.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct TransferLine {
    /// Our number for the lot.
    pub lot: String,
    /// Its item's code.
    pub item: String,
    /// Its item's name. Answers kept from before there was one have none.
    #[serde(default)]
    pub name: String,
    /// It was on the list; if not, it arrived all the same.
    pub listed: bool,
    /// How much was sent.
    pub sent_grams: Grams,
    /// How much arrived whole; absent as long as it is on the way.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub received_grams: Option<Grams>,
    /// How much arrived damaged and was thrown away.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub damaged_grams: Option<Grams>,
    /// How much was sent and did not arrive.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub missing_grams: Option<Grams>,
    /// How much arrived beyond what was sent.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub found_grams: Option<Grams>,
    /// Why it differs.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub reason: Option<String>,
}

/// A transfer in a list.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, ToSchema)]
#[schema(example = json!({"id": 5120, "from": "quay-kitchen", "to": "harbour-shop",
    "dispatched_at": "2026-11-25T07:30:00Z", "lots": 12, "sent_grams": 57000}))]
pub struct TransferSummary {
    /// Its number.
    pub id: i64,
    /// The code of the site it left.
    pub from: String,
    /// The code of the site it goes to.
    pub to: String,
    /// When it left.
    pub dispatched_at: DateTime<Utc>,
    /// When it arrived, once it has.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub received_at: Option<DateTime<Utc>>,
    /// How many lots were sent.
    pub lots: usize,
    /// How much was sent.
    pub sent_grams: Grams,
}

/// Seen from a site.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum Direction {
    /// Coming here.
    Incoming,
    /// Going from here.
    Outgoing,
}

/// Which transfers to list.
#[derive(Clone, Debug, Deserialize, IntoParams)]
#[serde(deny_unknown_fields)]
#[into_params(parameter_in = Query)]
pub struct TransfersAsked {
    /// From or to this site, by code.
    #[param(max_length = 40)]
    #[serde(default)]
    pub site: Option<String>,
    /// Coming to the site, or going from it; needs `site`.
    #[serde(default)]
    #[param(inline)]
    pub direction: Option<Direction>,
    /// Only those not yet received.
    #[serde(default)]
    pub on_the_way: bool,
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
    /// Sends stock to another site; it counts as the sender's until it is received.
    pub fn dispatch_transfer(&self, request: &Request, new: NewTransfer) -> Result<Answered<Transfer>> {
        request.actor.may_anywhere(&reach::DISPATCH_TRANSFER)?;
        let actor = request.actor.clone();
        self.write_with_recalls(request, &reach::DISPATCH_TRANSFER, move |tx, index| {
            let from = fields::site_for(tx.conn()?, "from", &new.from, &actor, &reach::DISPATCH_TRANSFER)?;
            let checked = check(tx, index, &actor, from, &new)?;
            record(tx, &checked)
        })
    }

    /// One transfer, with what became of it.
    pub fn get_transfer(&self, request: &Request, id: i64) -> Result<Transfer> {
        request.actor.may_anywhere(&reach::GET_TRANSFER)?;
        self.read(|conn| {
            let row = addressed(conn, &request.actor, id)?;
            let roles = reach::GET_TRANSFER.roles;
            if !request.actor.is_any_at(roles, row.from_site_id) {
                let seen_from = if request.actor.reaches(row.to_site_id) { row.to_site_id } else { row.from_site_id };
                request.actor.may(&reach::GET_TRANSFER, seen_from)?;
            }
            answer(conn, &row)
        })
    }

    /// The transfers from or to sites in reach, oldest first.
    pub fn list_transfers(&self, request: &Request, asked: &TransfersAsked) -> Result<Page<TransferSummary>> {
        request.actor.may_anywhere(&reach::LIST_TRANSFERS)?;
        let limit = asked.limit.clamp(1, MOST);
        let after = fields::after_id("after", &asked.after)?;
        self.read(|conn| {
            let filter = filter(conn, &request.actor, asked)?;
            let rows = transfers_after(conn, &filter, after, i64::from(limit) + 1)?;
            let mut names = Names::default();
            let found = rows.iter().map(|row| summary(conn, &mut names, row)).collect::<Result<Vec<_>>>()?;
            Ok(Page::cut(found, limit as usize, |transfer| transfer.id.to_string()))
        })
    }
}

/// A transfer in an address: not found by whoever reaches neither end.
pub(crate) fn addressed(conn: &mut AnyConnection, actor: &Actor, id: i64) -> Result<TransferRow> {
    let row = transfer(conn, id)?.filter(|row| actor.reaches(row.from_site_id) || actor.reaches(row.to_site_id));
    row.ok_or_else(|| OperationError::not_found(say!("transfer"), id))
}

/// A transfer that may be recorded.
struct Checked {
    from: Site,
    to: Site,
    dispatched_at: NaiveDateTime,
    note: Option<String>,
    lines: Vec<(Standing, i64)>,
}

fn check(tx: &mut WriteTx<'_>, index: &Index, actor: &Actor, from: Site, new: &NewTransfer) -> Result<Checked> {
    fields::between("lines", new.lines.len(), 1, MOST_LINES)?;
    let dispatched_at = fields::occurred_at("dispatched_at", new.dispatched_at, tx.now())?;
    let note = fields::optional_note("note", new.note.as_deref())?;
    let to = fields::site(tx.conn()?, "to", &new.to)?;
    if to.row.id == from.row.id {
        return Err(OperationError::invalid("to", say!("it is there already: name another site")));
    }
    let mut checked = Checked { from, to, dispatched_at, note, lines: Vec::new() };
    let mut seen = HashSet::new();
    for (position, line) in new.lines.iter().enumerate() {
        let under = |error: OperationError| error.in_list("lines", position);
        let (standing, mass_mg) = check_line(tx, index, actor, &checked, line).map_err(under)?;
        if !seen.insert(standing.lot.id) {
            let detail = say!("lot {lot} stands on two lines of this transfer", lot = line.lot);
            return Err(under(OperationError::new(&problems::REPEATED, detail).at("lot")));
        }
        checked.lines.push((standing, mass_mg));
    }
    Ok(checked)
}

fn check_line(
    tx: &mut WriteTx<'_>,
    index: &Index,
    actor: &Actor,
    transfer: &Checked,
    line: &NewTransferLine,
) -> Result<(Standing, i64)> {
    let standing = Standing::named(tx.conn()?, actor, "lot", &line.lot)?;
    let wanted_mg = wanted_mg(tx, &standing, line.quantity.as_ref())?;
    let may = standing.may(index, Act::Dispatch, &transfer.from, transfer.dispatched_at);
    may.map_err(|error| error.at("lot"))?;
    standing.refuse_before_it_was("lot", transfer.dispatched_at)?;
    let shelf = Place::new(transfer.from.row.id, State::Available);
    let mass_mg = standing.take(shelf, &transfer.from.row.code, wanted_mg, standing.is_tub())?;
    Ok((standing, mass_mg))
}

fn record(tx: &mut WriteTx<'_>, checked: &Checked) -> Result<Transfer> {
    let from = checked.from.row.id;
    tx.at_site(from);
    let row = TransferRow {
        id: tx.id(),
        entry: tx.entry(),
        from_site_id: from,
        to_site_id: checked.to.row.id,
        dispatched_at: checked.dispatched_at,
        note: checked.note.clone(),
    };
    tx.record(&row)?;
    for (standing, mass_mg) in &checked.lines {
        let lot_id = standing.lot.id;
        let line = TransferLineRow { id: tx.id(), entry: tx.entry(), transfer_id: row.id, lot_id, mass_mg: *mass_mg };
        tx.record(&line)?;
        let (shelf, on_the_way) = (Place::new(from, State::Available), Place::new(from, State::InTransit));
        let moved = movement(tx, &standing.lot, "dispatched", shelf, on_the_way);
        tx.move_mass(&MovementRow {
            mass_mg: *mass_mg,
            occurred_at: checked.dispatched_at,
            transfer_id: Some(row.id),
            ..moved
        })?;
    }
    answer(tx.conn()?, &row)
}

/// A transfer as it stands, its receipt too.
pub(crate) fn answer(conn: &mut AnyConnection, row: &TransferRow) -> Result<Transfer> {
    let mut names = Names::default();
    let receipt = receipt_of(conn, row.id)?;
    Ok(Transfer {
        id: row.id,
        from: names.site_code(conn, row.from_site_id)?,
        to: names.site_code(conn, row.to_site_id)?,
        dispatched_at: fields::utc(row.dispatched_at),
        note: row.note.clone(),
        received_at: receipt.as_ref().map(|receipt| fields::utc(receipt.received_at)),
        receipt_note: receipt.as_ref().and_then(|receipt| receipt.note.clone()),
        lines: answer_lines(conn, &mut names, row.id, receipt.as_ref())?,
        entry: row.entry,
        receipt_entry: receipt.map(|receipt| receipt.entry),
    })
}

fn answer_lines(
    conn: &mut AnyConnection,
    names: &mut Names,
    transfer_id: i64,
    receipt: Option<&ReceiptRow>,
) -> Result<Vec<TransferLine>> {
    let mut lines = Vec::new();
    let Some(receipt) = receipt else {
        for sent in lines_of_transfer(conn, transfer_id)? {
            lines.push(line_of(conn, names, sent.lot_id, sent.mass_mg)?);
        }
        return Ok(lines);
    };
    for arrived in lines_of_receipt(conn, receipt.id)? {
        let settled = settle(arrived.sent_mg, arrived.received_mg, arrived.damaged_mg);
        lines.push(TransferLine {
            listed: arrived.sent_mg > 0,
            received_grams: Some(Grams::from_mg(arrived.received_mg)),
            damaged_grams: Some(Grams::from_mg(arrived.damaged_mg)),
            missing_grams: Some(Grams::from_mg(settled.missing_mg)),
            found_grams: Some(Grams::from_mg(settled.found_mg())),
            reason: arrived.reason,
            ..line_of(conn, names, arrived.lot_id, arrived.sent_mg)?
        });
    }
    Ok(lines)
}

fn line_of(conn: &mut AnyConnection, names: &mut Names, lot_id: i64, sent_mg: i64) -> Result<TransferLine> {
    let lot = lot(conn, lot_id)?;
    let item = names.item(conn, lot.item_id)?;
    Ok(TransferLine {
        lot: lots::number(&lot)?.to_string(),
        item: item.row.code.clone(),
        name: item.current.name.clone(),
        listed: true,
        sent_grams: Grams::from_mg(sent_mg),
        received_grams: None,
        damaged_grams: None,
        missing_grams: None,
        found_grams: None,
        reason: None,
    })
}

fn filter(conn: &mut AnyConnection, actor: &Actor, asked: &TransfersAsked) -> Result<TransferFilter> {
    let end = match (asked.site.as_deref(), asked.direction) {
        (None, None) => None,
        (None, Some(_)) => return Err(OperationError::invalid("site", say!("say from which site this is seen"))),
        (Some(code), direction) => {
            let site = fields::sites_asked(conn, Some(code), actor, &reach::LIST_TRANSFERS)?;
            let end = direction.map(|direction| match direction {
                Direction::Incoming => End::To,
                Direction::Outgoing => End::From,
            });
            site.and_then(|site| site.first().copied()).map(|site| (end, site))
        }
    };
    let sites = actor.sites_for(&reach::LIST_TRANSFERS);
    Ok(TransferFilter { sites, end, on_the_way: asked.on_the_way })
}

fn summary(conn: &mut AnyConnection, names: &mut Names, row: &TransferRow) -> Result<TransferSummary> {
    let lines = lines_of_transfer(conn, row.id)?;
    Ok(TransferSummary {
        id: row.id,
        from: names.site_code(conn, row.from_site_id)?,
        to: names.site_code(conn, row.to_site_id)?,
        dispatched_at: fields::utc(row.dispatched_at),
        received_at: receipt_of(conn, row.id)?.map(|receipt| fields::utc(receipt.received_at)),
        lots: lines.len(),
        sent_grams: Grams::from_mg(lines.iter().map(|line| line.mass_mg).sum()),
    })
}
