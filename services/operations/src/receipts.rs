//! Receipts: what arrived of a transfer, squared with what was sent.
//!
//! Every lot that was sent must be answered for: by a line, or by saying of the rest that it arrived as sent, or that it is
//! missing. What arrives on hold stays on hold, but it arrives: it must be somewhere.

use std::collections::{HashMap, HashSet};

use chrono::{DateTime, NaiveDateTime, Utc};
use serde::{Deserialize, Serialize};
use tubtrail_domain::moving::{Settlement, settle};
use tubtrail_domain::place::{Place, State};
use tubtrail_domain::quantity::Mass;
use tubtrail_domain::say;
use tubtrail_storage::lots::lots_by_ids;
use tubtrail_storage::stock::{MovementRow, ReceiptLineRow, ReceiptRow, TransferRow, lines_of_transfer, receipt_of};
use tubtrail_storage::{AnyConnection, WriteTx};
use utoipa::ToSchema;

use crate::error::{OperationError, Result};
use crate::items::counting;
use crate::lots::{self, movement};
use crate::names::Names;
use crate::quantities::{QuantityEntered, in_grams};
use crate::reach::{self, Actor, Request};
use crate::standing::Standing;
use crate::transfers::{MOST_LINES, Transfer, addressed, answer};
use crate::tubtrail::{Answered, Tubtrail};
use crate::{fields, problems};

/// What became of the lots that have no line.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum Rest {
    /// They arrived as they were sent.
    AsSent,
    /// None of them arrived; needs a reason.
    Missing,
}

/// A transfer arrives.
#[derive(Clone, Debug, Default, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(example = json!({"rest": "as_sent", "lines": [{"lot": "261125-0042-7",
    "damaged": {"amount": 4750, "unit": "g"}, "reason": "the lid came off"}]}))]
pub struct NewReceipt {
    /// When; now, if absent.
    #[serde(default)]
    pub received_at: Option<DateTime<Utc>>,
    /// One line a lot, those among them that were not on the list.
    #[serde(default)]
    #[schema(max_items = 400)]
    pub lines: Vec<NewReceiptLine>,
    /// What became of the lots on the list that have no line; without it, each needs one.
    #[serde(default)]
    pub rest: Option<Rest>,
    /// Everything arrived as it was sent: the short way where there are no lines.
    #[serde(default)]
    pub all_as_sent: bool,
    /// Why it differs, for the lines that do not say it themselves, and for a rest that is missing.
    #[serde(default)]
    #[schema(max_length = 2000)]
    pub reason: Option<String>,
    /// Remarks.
    #[serde(default)]
    #[schema(max_length = 2000)]
    pub note: Option<String>,
}

/// What arrived of one lot.
#[derive(Clone, Debug, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct NewReceiptLine {
    /// Our number for the lot.
    #[schema(max_length = 20)]
    pub lot: String,
    /// How much arrived whole; if absent, what was sent less what is damaged.
    #[serde(default)]
    pub received: Option<QuantityEntered>,
    /// How much arrived damaged and is thrown away.
    #[serde(default)]
    pub damaged: Option<QuantityEntered>,
    /// Why it differs from what was sent.
    #[serde(default)]
    #[schema(max_length = 2000)]
    pub reason: Option<String>,
}

impl Tubtrail {
    /// Receives a transfer: what arrived whole, what damaged, what is missing, and what was not on the list.
    pub fn receive_transfer(&self, request: &Request, id: i64, new: NewReceipt) -> Result<Answered<Transfer>> {
        request.actor.may_anywhere(&reach::RECEIVE_TRANSFER)?;
        let actor = request.actor.clone();
        self.write(request, &reach::RECEIVE_TRANSFER, move |tx| {
            let transfer = addressed(tx.conn()?, &actor, id)?;
            may_receive(&actor, &transfer)?;
            let checked = check(tx, transfer, &new)?;
            record(tx, &checked)
        })
    }
}

/// Whoever reaches only the sender sees the transfer, but it is not theirs to receive.
fn may_receive(actor: &Actor, transfer: &TransferRow) -> Result<()> {
    if actor.reaches(transfer.to_site_id) {
        return actor.may(&reach::RECEIVE_TRANSFER, transfer.to_site_id);
    }
    Err(OperationError::new(&problems::FORBIDDEN, say!("only the site it goes to receives it")))
}

/// A receipt that may be recorded.
struct Checked {
    transfer: TransferRow,
    received_at: NaiveDateTime,
    note: Option<String>,
    lines: Vec<Line>,
}

struct Line {
    standing: Standing,
    sent_mg: i64,
    received_mg: i64,
    damaged_mg: i64,
    settled: Settlement,
    reason: Option<String>,
}

fn check(tx: &mut WriteTx<'_>, transfer: TransferRow, new: &NewReceipt) -> Result<Checked> {
    let received_at = fields::occurred_at("received_at", new.received_at, tx.now())?;
    let note = fields::optional_note("note", new.note.as_deref())?;
    fields::between("lines", new.lines.len(), 0, 2 * MOST_LINES)?;
    let rest = rest_of(new)?;
    if received_at < transfer.dispatched_at {
        let detail = say!("it left at {at}", at = fields::utc(transfer.dispatched_at));
        return Err(OperationError::new(&problems::OUT_OF_ORDER, detail).at("received_at"));
    }
    if receipt_of(tx.conn()?, transfer.id)?.is_some() {
        let detail = say!("transfer {transfer} was already received", transfer = transfer.id);
        return Err(OperationError::new(&problems::ALREADY_RECEIVED, detail));
    }
    let sent = lines_of_transfer(tx.conn()?, transfer.id)?;
    let sent_mg: HashMap<i64, i64> = sent.iter().map(|line| (line.lot_id, line.mass_mg)).collect();
    let mut checked = Checked { transfer, received_at, note, lines: Vec::new() };
    let mut seen = HashSet::new();
    for (position, line) in new.lines.iter().enumerate() {
        let under = |error: OperationError| error.in_list("lines", position);
        let line = check_line(tx, &checked.transfer, &sent_mg, line, new.reason.as_deref()).map_err(under)?;
        if !seen.insert(line.standing.lot.id) {
            let detail = say!("lot {lot} stands on two lines of this receipt", lot = line.standing.number()?);
            return Err(under(OperationError::new(&problems::REPEATED, detail).at("lot")));
        }
        checked.lines.push(line);
    }
    let unanswered: Vec<i64> = sent.iter().map(|line| line.lot_id).filter(|lot| !seen.contains(lot)).collect();
    checked.lines.extend(the_rest(tx.conn()?, &unanswered, &sent_mg, rest, new.reason.as_deref())?);
    Ok(checked)
}

fn rest_of(new: &NewReceipt) -> Result<Option<Rest>> {
    if !new.all_as_sent {
        return Ok(new.rest);
    }
    if !new.lines.is_empty() || new.rest == Some(Rest::Missing) {
        let detail = say!("then there is nothing else to say; with lines, say rest: as_sent");
        return Err(OperationError::invalid("all_as_sent", detail));
    }
    Ok(Some(Rest::AsSent))
}

fn the_rest(
    conn: &mut AnyConnection,
    lot_ids: &[i64],
    sent_mg: &HashMap<i64, i64>,
    rest: Option<Rest>,
    reason: Option<&str>,
) -> Result<Vec<Line>> {
    if lot_ids.is_empty() {
        return Ok(Vec::new());
    }
    let sent = lots_by_ids(conn, lot_ids)?;
    let Some(rest) = rest else {
        let numbers = sent.iter().map(lots::number).collect::<Result<Vec<_>>>()?;
        let numbers: Vec<String> = numbers.iter().map(ToString::to_string).collect();
        let detail = say!("these were sent and have no line: {numbers}", numbers = numbers.join(", "));
        return Err(OperationError::invalid("lines", detail).about(numbers));
    };
    let reason = match rest {
        Rest::AsSent => None,
        Rest::Missing => Some(fields::reason("reason", reason)?),
    };
    let mut lines = Vec::new();
    for lot in sent {
        let sent_mg = sent_mg.get(&lot.id).copied().unwrap_or(0);
        let received_mg = if rest == Rest::AsSent { sent_mg } else { 0 };
        let settled = settle(sent_mg, received_mg, 0);
        let standing = Standing::of(conn, &lot)?;
        lines.push(Line { standing, sent_mg, received_mg, damaged_mg: 0, settled, reason: reason.clone() });
    }
    Ok(lines)
}

fn check_line(
    tx: &mut WriteTx<'_>,
    transfer: &TransferRow,
    sent_mg: &HashMap<i64, i64>,
    line: &NewReceiptLine,
    common_reason: Option<&str>,
) -> Result<Line> {
    // Whoever receives it has it in their hands: it may be any lot of the house.
    let lot = lots::named(tx.conn()?, "lot", &line.lot)?;
    let standing = Standing::of(tx.conn()?, &lot)?;
    let shelf = Place::new(transfer.from_site_id, State::Available);
    let sent_mg = sent_mg.get(&standing.lot.id).copied();
    let expected_mg = sent_mg.unwrap_or_else(|| standing.at(shelf));
    let (received_mg, damaged_mg) = arrived(tx.conn()?, &standing, line, expected_mg)?;
    if sent_mg.is_none() && received_mg + damaged_mg == 0 {
        let detail = say!("it was not sent: say how much of it arrived, or leave it out");
        return Err(OperationError::invalid("received", detail));
    }
    let settled = settle(sent_mg.unwrap_or(0), received_mg, damaged_mg);
    let said = line.reason.as_deref().or(common_reason);
    let reason = if settled.is_as_sent() {
        fields::optional_note("reason", line.reason.as_deref())?
    } else {
        Some(fields::reason("reason", said)?)
    };
    let line = Line { standing, sent_mg: sent_mg.unwrap_or(0), received_mg, damaged_mg, settled, reason };
    if settled.found_mg() > 0 {
        refuse_what_cannot_be(&line, expected_mg)?;
    }
    Ok(line)
}

/// What arrived whole and damaged, in milligrams.
fn arrived(
    conn: &mut AnyConnection,
    standing: &Standing,
    line: &NewReceiptLine,
    expected_mg: i64,
) -> Result<(i64, i64)> {
    let mut names = Names::default();
    let counting = counting(&names.item(conn, standing.lot.item_id)?.current)?;
    let mg = |field: &str, quantity: &QuantityEntered| {
        quantity.to_mass_or_nothing(&counting).map_err(|error| error.under(field)).map(Mass::mg)
    };
    let damaged_mg = line.damaged.as_ref().map_or(Ok(0), |quantity| mg("damaged", quantity))?;
    let received_mg = match &line.received {
        Some(quantity) => mg("received", quantity)?,
        None => (expected_mg - damaged_mg).max(0),
    };
    Ok((received_mg, damaged_mg))
}

/// Of a tub, no more than was sent, than the sender has it, or than was missed before, can arrive; one that was not on the
/// list goes whole, as any does.
fn refuse_what_cannot_be(line: &Line, expected_mg: i64) -> Result<()> {
    let (standing, arrived_mg) = (&line.standing, line.received_mg + line.damaged_mg);
    standing.refuse_what_cannot_be("received", arrived_mg, expected_mg, standing.spare(false))?;
    if standing.is_tub() && line.sent_mg == 0 && arrived_mg < expected_mg {
        let number = standing.number()?;
        let detail = say!("tub {number} holds {mass} and goes as a whole", number, mass = in_grams(expected_mg));
        return Err(OperationError::invalid("received", detail).about([number]));
    }
    Ok(())
}

fn record(tx: &mut WriteTx<'_>, checked: &Checked) -> Result<Transfer> {
    let transfer = &checked.transfer;
    tx.at_site(transfer.to_site_id);
    let row = ReceiptRow {
        id: tx.id(),
        entry: tx.entry(),
        transfer_id: transfer.id,
        received_at: checked.received_at,
        note: checked.note.clone(),
    };
    tx.record(&row)?;
    for line in &checked.lines {
        let arrived = ReceiptLineRow {
            id: tx.id(),
            entry: tx.entry(),
            receipt_id: row.id,
            lot_id: line.standing.lot.id,
            sent_mg: line.sent_mg,
            received_mg: line.received_mg,
            damaged_mg: line.damaged_mg,
            reason: line.reason.clone(),
        };
        tx.record(&arrived)?;
        for (kind, from, to, mass_mg) in steps(line, transfer) {
            let moved = movement(tx, &line.standing.lot, kind, from, to);
            let reason = if kind == "arrived" { None } else { line.reason.clone() };
            tx.move_mass(&MovementRow {
                mass_mg,
                occurred_at: checked.received_at,
                reason,
                transfer_id: Some(transfer.id),
                ..moved
            })?;
        }
    }
    answer(tx.conn()?, transfer)
}

type Step = (&'static str, Place, Place, i64);

/// The movements that a line comes to.
fn steps(line: &Line, transfer: &TransferRow) -> Vec<Step> {
    let (sender, receiver) = (transfer.from_site_id, transfer.to_site_id);
    let on_the_way = Place::new(sender, State::InTransit);
    let senders_shelf = Place::new(sender, State::Available);
    let shelf = Place::new(receiver, State::Available);
    let bin = Place::new(receiver, State::Discarded);
    let difference = Place::new(receiver, State::CountDifference);
    let settled = &line.settled;
    // What was not on the list comes off the sender's shelf, as far as the book has it there; the rest was found.
    let unlisted_mg = if line.sent_mg == 0 { line.standing.at(senders_shelf) } else { 0 };
    let unlisted_whole_mg = settled.found_whole_mg.min(unlisted_mg);
    let unlisted_damaged_mg = settled.found_damaged_mg.min(unlisted_mg - unlisted_whole_mg);
    let all = [
        ("arrived", on_the_way, shelf, settled.whole_mg),
        ("damaged", on_the_way, bin, settled.damaged_mg),
        ("missing", on_the_way, difference, settled.missing_mg),
        ("arrived_unlisted", senders_shelf, shelf, unlisted_whole_mg),
        ("damaged", senders_shelf, bin, unlisted_damaged_mg),
        ("found", difference, shelf, settled.found_whole_mg - unlisted_whole_mg),
        ("damaged", difference, bin, settled.found_damaged_mg - unlisted_damaged_mg),
    ];
    all.into_iter().filter(|(_, _, _, mass_mg)| *mass_mg > 0).collect()
}
