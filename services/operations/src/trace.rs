//! Tracing: where a lot went and what is in it, both ways, in grams.
//!
//! A trace crosses sites: who may see the lot it begins with sees the whole of it, for a trace that hides a part would be
//! taken for a whole one.

mod outline;
mod path;
mod totals;

use serde::{Deserialize, Serialize};
use tubtrail_domain::say;
use tubtrail_domain::saying::Saying;
use tubtrail_lineage::{Balance, LotIx};
use tubtrail_storage::lots::{lots_by_ids, lots_of_delivery};
use utoipa::ToSchema;

use self::outline::{Outline, Part};
pub use self::path::{Path, PathStep};
pub use self::totals::{TraceTotals, TracedPlace};
use crate::deliveries::{self, Expiry};
use crate::error::Result;
use crate::index::{Answered, Inside, Unanswered, lot_ix, lot_row};
use crate::known::{Holding, Origin};
use crate::lot_pages::{self, Begins};
use crate::lots::{HoldShown, LotKind, number, parse};
use crate::master_data::MOST;
use crate::quantities::Grams;
use crate::reach::{self, Request};
use crate::tubtrail::Tubtrail;

/// What stands beside every trace.
pub const CAUTION: Saying = say!(
    "This is what was recorded. What was not written down, or written down wrongly, is not in it; \
    that a lot is missing from this list clears nothing."
);

/// Lots of a piece of a stream.
const CHUNK: usize = 500;

/// Which way to trace.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum Direction {
    /// Every lot that holds any of it.
    Forward,
    /// Every lot that is in it.
    Backward,
}

/// What a trace says as a whole.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct TraceHead {
    /// The lots it begins with.
    pub of: Vec<String>,
    /// Which way it goes.
    pub direction: Direction,
    /// The last journal entry it takes into account; where lots lie now may be newer.
    pub journal_position: i64,
    /// How many lots it comes to, those it begins with among them, on all pages together.
    pub total: usize,
    /// Where the mass it begins with is now; forward only.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub balance: Option<TraceBalance>,
    /// What it does not say.
    pub caution: String,
}

/// A page of a trace.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, ToSchema)]
#[schema(example = json!({"of": ["261125-0042-7"], "direction": "forward", "journal_position": 9120, "total": 2,
    "balance": {"seed_grams": 41280, "held_grams": 40920.5, "in_open_batches_grams": 0, "lost_grams": 359.5,
        "in_seeds_grams": 0},
    "caution": "This is what was recorded. What was not written down, or written down wrongly, is not in it; that a lot is missing from this list clears nothing.",
    "lots": [
        {"lot": "261125-0042-7", "item": "whole-milk", "name": "Whole milk", "kind": "received", "generation": 0,
            "site": "quay-kitchen", "grams": 41280, "mass_grams": 41280,
            "came_from": {"by": "delivery", "delivery": 311, "supplier": "hollow-farm", "supplier_lot_code": "24-118"},
            "used_in": [{"batch": 12, "grams": 12000}],
            "places": [{"site": "quay-kitchen", "state": "available", "grams": 29280}]},
        {"lot": "261125-0051-7", "item": "white-base", "name": "White base", "kind": "base", "generation": 1,
            "site": "quay-kitchen", "grams": 11640.5, "mass_grams": 19400,
            "came_from": {"by": "batch", "batch": 12, "recipe": "white-base", "name": "White base",
                "started_at": "2026-11-25T07:30:00Z"},
            "used_in": [], "places": [{"site": "quay-kitchen", "state": "available", "grams": 19400}]}]}))]
pub struct Trace {
    /// What it says as a whole.
    #[serde(flatten)]
    pub head: TraceHead,
    /// Its lots, nearest first. `came_from` and `used_in` are the lines of the drawing: lot, batch, lot.
    pub lots: Vec<TracedLot>,
    /// Send this as `after` for the next page; absent on the last.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub next: Option<String>,
}

/// A lot of a trace.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct TracedLot {
    /// Its number.
    pub lot: String,
    /// The item's code.
    pub item: String,
    /// The item's name.
    pub name: String,
    /// What sort of lot it is. Traced backward, the received ones are the answer and the others the way.
    pub kind: LotKind,
    /// How many batches away it is, by the shortest way.
    pub generation: u32,
    /// The code of the site at which it came to be.
    pub site: String,
    /// Forward: grams of what was traced that it was made with. Backward: grams of it in the lot that was traced. To the
    /// microgram; batches mix evenly, and what they lose they lose in proportion.
    pub grams: f64,
    /// Its own mass, with what counts found later.
    pub mass_grams: Grams,
    /// Where it came from.
    pub came_from: Origin,
    /// The uses by which it takes part in this trace.
    pub used_in: Vec<TracedUse>,
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
    pub rejected: Option<String>,
    /// Where it is now, and what became of what is gone, besides what was used.
    pub places: Vec<Holding>,
}

/// So much of a lot went into a batch.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub struct TracedUse {
    /// The batch's number.
    pub batch: i64,
    /// How much.
    pub grams: Grams,
}

/// Where the mass a trace begins with is now, to the microgram. The first is the sum of the others, but for rounding.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct TraceBalance {
    /// The mass of the lots it begins with.
    pub seed_grams: f64,
    /// What lies in lots and went into no batch, wherever those lots are or went.
    pub held_grams: f64,
    /// What lies in batches that have yielded nothing yet.
    pub in_open_batches_grams: f64,
    /// What was lost in the making.
    pub lost_grams: f64,
    /// What went from lots it begins with into others it begins with; it stands twice in the first.
    pub in_seeds_grams: f64,
}

/// A whole trace, read a piece at a time.
pub struct TraceStream {
    /// What it says as a whole. A reader that got fewer lots than its total did not get all.
    pub head: TraceHead,
    request: Request,
    outline: Outline,
    at: usize,
}

impl TraceStream {
    /// How many of its lots were read.
    pub const fn read(&self) -> usize {
        self.at
    }

    /// Whether all of it was read.
    pub fn is_at_its_end(&self) -> bool {
        self.at >= self.outline.lots.len()
    }
}

/// A lot that a trace begins with, and its number.
type Seed = (LotIx, String);

impl Tubtrail {
    /// Traces a lot, a page at a time.
    pub fn trace_lot(
        &self,
        request: &Request,
        number: &str,
        direction: Direction,
        after: &str,
        limit: u32,
    ) -> Result<Trace> {
        let seed = self.seed(request, number)?;
        self.page(request, &[seed], direction, after, limit)
    }

    /// Traces a lot, all of it.
    pub fn stream_lot_trace(&self, request: &Request, number: &str, direction: Direction) -> Result<TraceStream> {
        let seed = self.seed(request, number)?;
        self.stream(request, &[seed], direction)
    }

    /// Traces all the lots of a delivery together, forward, a page at a time.
    pub fn trace_delivery(&self, request: &Request, id: i64, after: &str, limit: u32) -> Result<Trace> {
        let seeds = self.seeds_of_delivery(request, id)?;
        self.page(request, &seeds, Direction::Forward, after, limit)
    }

    /// Traces all the lots of a delivery together, forward, all of it.
    pub fn stream_delivery_trace(&self, request: &Request, id: i64) -> Result<TraceStream> {
        let seeds = self.seeds_of_delivery(request, id)?;
        self.stream(request, &seeds, Direction::Forward)
    }

    /// Traces some lots together, forward, all of it. Who asks must be checked by the caller.
    pub(crate) fn stream_trace_of(&self, request: &Request, lots: &[LotIx]) -> Result<TraceStream> {
        let rows: Vec<i64> = lots.iter().map(|lot| lot_row(*lot)).collect();
        let seeds = self.read(|conn| {
            let mut seeds = Vec::with_capacity(rows.len());
            for rows in rows.chunks(CHUNK) {
                for lot in lots_by_ids(conn, rows)? {
                    seeds.push((lot_ix(lot.id)?, number(&lot)?.to_string()));
                }
            }
            Ok(seeds)
        })?;
        self.stream(request, &seeds, Direction::Forward)
    }

    /// The next lots of a stream; none at its end.
    pub fn more_of_trace(&self, stream: &mut TraceStream) -> Result<Vec<TracedLot>> {
        let until = (stream.at + CHUNK).min(stream.outline.lots.len());
        let range = stream.at..until;
        stream.at = until;
        self.answer_of(&stream.request, |inside, _| show(inside, &stream.outline, range.clone()))
    }

    fn page(&self, request: &Request, seeds: &[Seed], direction: Direction, after: &str, limit: u32) -> Result<Trace> {
        let begins = Begins::read(after)?;
        let part = Part::Page { from: begins.at, most: limit.clamp(1, MOST) as usize };
        let outline = self.outline(request, seeds, direction, part)?;
        begins.check(outline.rows())?;
        let lots = self.answer_of(request, |inside, _| show(inside, &outline, outline.detailed()))?;
        let next = lot_pages::next(outline.detailed().end, outline.rows());
        Ok(Trace { head: head(seeds, direction, &outline), lots, next })
    }

    fn stream(&self, request: &Request, seeds: &[Seed], direction: Direction) -> Result<TraceStream> {
        let outline = self.outline(request, seeds, direction, Part::Whole)?;
        Ok(TraceStream { head: head(seeds, direction, &outline), request: request.clone(), outline, at: 0 })
    }

    fn outline(&self, request: &Request, seeds: &[Seed], direction: Direction, part: Part) -> Result<Outline> {
        let seeds: Vec<LotIx> = seeds.iter().map(|(lot, _)| *lot).collect();
        Ok(Outline::draw(self.index_for(request)?, direction, &seeds, part))
    }

    fn seed(&self, request: &Request, number: &str) -> Result<Seed> {
        let lot = self.lot_addressed(request, &reach::TRACE_LOT, number)?;
        Ok((lot, parse(number)?.to_string()))
    }

    fn seeds_of_delivery(&self, request: &Request, id: i64) -> Result<Vec<Seed>> {
        self.read_at_once(|conn| {
            let row = deliveries::addressed(conn, &request.actor, &reach::TRACE_DELIVERY, id)?;
            let lots = lots_of_delivery(conn, row.id)?;
            // They may have come to be just now.
            self.current_index(conn)?;
            lots.iter().map(|lot| Ok((lot_ix(lot.id)?, number(lot)?.to_string()))).collect()
        })
    }
}

fn head(seeds: &[Seed], direction: Direction, outline: &Outline) -> TraceHead {
    TraceHead {
        of: seeds.iter().map(|(_, number)| number.clone()).collect(),
        direction,
        journal_position: outline.position,
        total: outline.lots.len(),
        balance: outline.balance.as_ref().map(show_balance),
        caution: CAUTION.to_string(),
    }
}

fn show_balance(balance: &Balance) -> TraceBalance {
    TraceBalance {
        seed_grams: to_grams(balance.input_mg),
        held_grams: to_grams(balance.held_mg),
        in_open_batches_grams: to_grams(balance.in_batches_mg),
        lost_grams: to_grams(balance.lost_mg),
        in_seeds_grams: to_grams(balance.in_seeds_mg),
    }
}

/// A share in grams, to the microgram.
fn to_grams(mg: f64) -> f64 {
    (mg * 1000.0).round() / 1_000_000.0
}

/// Some lots of a trace, in its order.
fn show(inside: &Inside, outline: &Outline, range: std::ops::Range<usize>) -> Answered<Vec<TracedLot>> {
    let unread = inside.unread_of(outline.lots[range.clone()].iter().map(|traced| traced.lot));
    if !unread.is_empty() {
        return Err(Unanswered::Unread(unread));
    }
    range.map(|at| show_lot(inside, outline, at)).collect()
}

fn show_lot(inside: &Inside, outline: &Outline, at: usize) -> Answered<TracedLot> {
    let traced = &outline.lots[at];
    let used_in = outline.uses(at).iter();
    let used_in = used_in.map(|(batch, mg)| TracedUse { batch: *batch, grams: Grams::from_mg(*mg) }).collect();
    let shown = show_one(inside, traced.lot, used_in)?;
    let mass_grams = Grams::from_mg(outline.mass_mg(at));
    Ok(TracedLot { generation: traced.generation, grams: to_grams(traced.mg), mass_grams, ..shown })
}

/// A lot as a trace shows it, with none of what is traced in it.
pub(crate) fn show_one(inside: &Inside, lot: LotIx, used_in: Vec<TracedUse>) -> Answered<TracedLot> {
    let card = inside.lot_card(lot)?;
    let item = inside.beside.names.item(card.sort.item_id)?;
    let row = lot_row(lot);
    Ok(TracedLot {
        lot: card.number.to_string(),
        item: item.row.code.clone(),
        name: item.current.name.clone(),
        kind: card.sort.kind,
        generation: 0,
        site: inside.beside.names.site_code(card.sort.site_id)?.to_owned(),
        grams: 0.0,
        mass_grams: Grams::from_mg(inside.graph.mass(lot)),
        came_from: inside.origin_of(&card)?,
        used_in,
        expiry: card.expiry(),
        on_hold: inside.hold_shown(row),
        recalls: inside.recalls_keeping(lot),
        rejected: inside.beside.kept.rejection(row).map(str::to_owned),
        places: inside.holdings_of(&card)?,
    })
}
