//! Holds: lots that may not be used, moved, opened or served; and rejections: lots that go back for good.
//!
//! A lot may have several holds, each with its reason; it is free when all are released.

use std::collections::HashMap;

use chrono::{DateTime, Utc};
use serde::{Deserialize, Serialize};
use tubtrail_domain::place::{Place, State};
use tubtrail_domain::say;
use tubtrail_storage::lots::{LotRow, lot, lots_by_ids};
use tubtrail_storage::on_hand::holds_after;
use tubtrail_storage::search::authors;
use tubtrail_storage::stock::{HoldReleaseRow, HoldRow, LotRejectionRow, MovementRow, hold, release_of, releases_of};
use tubtrail_storage::write::Asks;
use tubtrail_storage::{AnyConnection, StorageError, WriteTx};
use utoipa::{IntoParams, ToSchema};

use crate::error::{OperationError, Result};
use crate::index::Index;
use crate::lots::{self, movement};
use crate::master_data::{MOST, Page};
use crate::names::Names;
use crate::quantities::Grams;
use crate::reach::{self, Request};
use crate::standing::{Keeper, Standing};
use crate::tubtrail::{Answered, HandedIn, Tubtrail};
use crate::{fields, problems};

/// Why something is done.
#[derive(Clone, Debug, Default, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(example = json!({"reason": "the supplier called: do not use"}))]
pub struct Because {
    /// Why.
    #[serde(default)]
    #[schema(max_length = 2000)]
    pub reason: Option<String>,
}

/// A hold as it stands.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, ToSchema)]
#[schema(example = json!({"id": 5401, "lot": "261125-0003-1", "item": "pistachio-paste", "entry": 8210,
    "reason": "the supplier called: do not use", "held_at": "2026-11-25T09:00:00Z", "held_by": "user:ines"}))]
pub struct Hold {
    /// Its number.
    pub id: i64,
    /// Our number for the lot.
    pub lot: String,
    /// Its item's code.
    pub item: String,
    /// Why.
    pub reason: String,
    /// Since when.
    pub held_at: DateTime<Utc>,
    /// Who said so.
    pub held_by: String,
    /// How it was lifted, if it was.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub release: Option<Release>,
    /// The journal entry that brought it.
    pub entry: i64,
}

/// How a hold was lifted.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct Release {
    /// Why.
    pub reason: String,
    /// When.
    pub released_at: DateTime<Utc>,
    /// Who said so.
    pub released_by: String,
    /// The journal entry that brought it.
    pub entry: i64,
}

/// A received lot that was turned away.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, ToSchema)]
#[schema(example = json!({"lot": "261125-0003-1", "reason": "the seal was broken", "entry": 8215,
    "returned": [{"site": "quay-kitchen", "grams": 5000}]}))]
pub struct Rejection {
    /// Our number for the lot.
    pub lot: String,
    /// Why.
    pub reason: String,
    /// What went back to the supplier.
    pub returned: Vec<Returned>,
    /// The journal entry that holds it.
    pub entry: i64,
}

/// What went back to the supplier from a site.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct Returned {
    /// The site's code.
    pub site: String,
    /// How much.
    pub grams: Grams,
}

/// Which holds to list.
#[derive(Clone, Debug, Deserialize, IntoParams)]
#[serde(deny_unknown_fields)]
#[into_params(parameter_in = Query)]
pub struct HoldsAsked {
    /// On lots that are or were at this site, by code.
    #[param(max_length = 40)]
    #[serde(default)]
    pub site: Option<String>,
    /// Those already released too.
    #[serde(default)]
    pub released_too: bool,
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
    /// Puts a lot on hold, wherever it is.
    pub fn hold_lot(&self, request: &Request, lot: &str, because: Because) -> Result<Answered<Hold>> {
        self.hand_in_hold(request, lot, because)?.wait()
    }

    /// The same, for whoever must not block.
    pub fn hand_in_hold(&self, request: &Request, lot: &str, because: Because) -> Result<HandedIn<Hold>> {
        request.actor.may_anywhere(&reach::HOLD_LOT)?;
        let (actor, named) = (request.actor.clone(), lot.to_owned());
        self.hand_in_on_lot(request, (&reach::HOLD_LOT, Asks::Nothing), lot, move |tx, _| {
            let standing = Standing::looked_up(tx, &named)?;
            let sites = standing.sites_of(&actor, &reach::HOLD_LOT)?;
            let reason = fields::reason("reason", because.reason.as_deref())?;
            at_the_first(tx, &sites);
            let row = HoldRow { id: tx.id(), entry: tx.entry(), lot_id: standing.lot.id, reason };
            tx.hold(&row)?;
            let by = By { at: fields::utc(tx.now()), actor: actor.name };
            answer(&standing.lot, standing.item_code.clone(), row, by, None)
        })
    }

    /// Lifts a hold; the lot stays on hold if another keeps it. Only who may do so wherever some of the lot lies does.
    pub fn release_hold(&self, request: &Request, id: i64, because: Because) -> Result<Answered<Hold>> {
        request.actor.may_anywhere(&reach::RELEASE_HOLD)?;
        let actor = request.actor.clone();
        self.write_with_recalls(request, &reach::RELEASE_HOLD, move |tx, index| {
            let no_such = || OperationError::not_found(say!("hold"), id);
            let hold = hold(tx.conn()?, id)?.ok_or_else(no_such)?;
            let lot = lot(tx.conn()?, hold.lot_id)?;
            let standing = Standing::of(tx.conn()?, &lot)?;
            let sites = standing.sites_decided_by(&actor, &reach::RELEASE_HOLD);
            let sites = sites.map_err(|error| error.if_not_found(no_such))?;
            let reason = fields::reason("reason", because.reason.as_deref())?;
            if release_of(tx.conn()?, hold.id)?.is_some() {
                let detail = say!("hold {id} was already released", id);
                return Err(OperationError::new(&problems::ALREADY_RELEASED, detail).about([standing.number()?]));
            }
            refuse_while_recalled(index, &standing)?;
            at_the_first(tx, &sites);
            let row = HoldReleaseRow { id: tx.id(), entry: tx.entry(), hold_id: hold.id, reason };
            tx.record(&row)?;
            let by = By::of_entries(tx.conn()?, &[hold.entry])?;
            let (held_by, now) = (By::of_entry(&by, hold.entry)?, fields::utc(tx.now()));
            let release = Release { reason: row.reason, released_at: now, released_by: actor.name, entry: row.entry };
            answer(&standing.lot, standing.item_code.clone(), hold, held_by, Some(release))
        })
    }

    /// The holds on lots in reach, oldest first.
    pub fn list_holds(&self, request: &Request, asked: &HoldsAsked) -> Result<Page<Hold>> {
        request.actor.may_anywhere(&reach::LIST_HOLDS)?;
        let limit = asked.limit.clamp(1, MOST);
        let after = fields::after_id("after", &asked.after)?;
        self.read(|conn| {
            let sites = fields::sites_asked(conn, asked.site.as_deref(), &request.actor, &reach::LIST_HOLDS)?;
            let rows = holds_after(conn, sites.as_deref(), asked.released_too, after, i64::from(limit) + 1)?;
            let ids: Vec<i64> = rows.iter().map(|row| row.id).collect();
            let mut releases = releases_of(conn, &ids)?;
            let entries: Vec<i64> =
                rows.iter().map(|row| row.entry).chain(releases.values().map(|release| release.entry)).collect();
            let by = By::of_entries(conn, &entries)?;
            let lot_ids: Vec<i64> = rows.iter().map(|row| row.lot_id).collect();
            let lots: HashMap<i64, LotRow> =
                lots_by_ids(conn, &lot_ids)?.into_iter().map(|lot| (lot.id, lot)).collect();
            let mut names = Names::default();
            let mut found = Vec::new();
            for row in rows {
                let corrupt = || StorageError::Corrupt(format!("hold {}: its lot is missing", row.id));
                let lot = lots.get(&row.lot_id).ok_or_else(corrupt)?;
                let release = releases.remove(&row.id).map(|release| release_answer(&by, release)).transpose()?;
                let held_by = By::of_entry(&by, row.entry)?;
                let item = names.item(conn, lot.item_id)?.row.code.clone();
                found.push(answer(lot, item, row, held_by, release)?);
            }
            Ok(Page::cut(found, limit as usize, |hold| hold.id.to_string()))
        })
    }

    /// Turns a received lot away after all: what is available of it goes back to the supplier, and none of it may be
    /// used, moved or consigned any more.
    ///
    /// Only who may do so wherever some of it lies does. What is on the way stays on the book; once it arrived, rejecting the
    /// lot again sends it back too.
    pub fn reject_lot(&self, request: &Request, lot: &str, because: Because) -> Result<Answered<Rejection>> {
        request.actor.may_anywhere(&reach::REJECT_LOT)?;
        let (actor, lot) = (request.actor.clone(), lot.to_owned());
        self.write(request, &reach::REJECT_LOT, move |tx| {
            let standing = Standing::looked_up(tx, &lot)?;
            let sites = standing.sites_decided_by(&actor, &reach::REJECT_LOT)?;
            let reason = fields::reason("reason", because.reason.as_deref())?;
            refuse_to_reject(&standing)?;
            at_the_first(tx, &sites);
            reject(tx, &standing, reason)
        })
    }
}

/// A hold as it was placed.
pub(crate) fn placed(conn: &mut AnyConnection, row: HoldRow) -> Result<Hold> {
    let by = By::of_entries(conn, &[row.entry])?;
    let (held, lot) = (By::of_entry(&by, row.entry)?, lot(conn, row.lot_id)?);
    let item = Names::default().item(conn, lot.item_id)?.row.code.clone();
    answer(&lot, item, row, held, None)
}

/// A hold as it was released.
pub(crate) fn released(conn: &mut AnyConnection, row: HoldReleaseRow) -> Result<Hold> {
    let missing = || StorageError::Corrupt(format!("hold_releases row {} names a missing hold", row.id));
    let hold = hold(conn, row.hold_id)?.ok_or_else(missing)?;
    let by = By::of_entries(conn, &[row.entry])?;
    Ok(Hold { release: Some(release_answer(&by, row)?), ..placed(conn, hold)? })
}

/// The journal entry happens at one site; a lot that is at several is held everywhere at once.
fn at_the_first(tx: &mut WriteTx<'_>, sites: &[i64]) {
    if let Some(site) = sites.first() {
        tx.at_site(*site);
    }
}

/// As long as a recall keeps a lot, nobody lifts a hold on it: that would read as if it were free.
fn refuse_while_recalled(index: &Index, standing: &Standing) -> Result<()> {
    let Some(keeper) = Keeper::of(index, standing.lot.id)? else { return Ok(()) };
    let number = standing.number()?;
    let recall = keeper.recall;
    let detail =
        say!("recall {recall} keeps lot {number}: as long as it does, no hold on it is released", recall, number);
    Err(OperationError::new(&problems::LOT_RECALLED, detail).about([number]))
}

fn refuse_to_reject(standing: &Standing) -> Result<()> {
    let number = standing.number()?;
    if standing.lot.kind != "received" {
        let detail = say!("lot {number} was made here: it goes back to nobody; throw it away", number);
        return Err(OperationError::new(&problems::WRONG_KIND, detail).about([number]));
    }
    let nothing_left = standing.available().next().is_none();
    if let Some(rejection) = standing.rejection.as_ref().filter(|_| nothing_left) {
        let detail = say!(
            "lot {number} was already rejected, and none of it is left: {reason}",
            number,
            reason = rejection.reason
        );
        return Err(OperationError::new(&problems::LOT_REJECTED, detail).about([number]));
    }
    Ok(())
}

fn reject(tx: &mut WriteTx<'_>, standing: &Standing, reason: String) -> Result<Rejection> {
    let lot = &standing.lot;
    if standing.rejection.is_none() {
        let row = LotRejectionRow { id: tx.id(), entry: tx.entry(), lot_id: lot.id, reason: reason.clone() };
        tx.record(&row)?;
    }
    let mut names = Names::default();
    let mut returned = Vec::new();
    for (site, mass_mg) in standing.available() {
        let (from, to) = (Place::new(site, State::Available), Place::new(site, State::Supplier));
        let moved = movement(tx, lot, "returned", from, to);
        let reason = Some(reason.clone());
        tx.move_mass(&MovementRow { mass_mg, reason, partner_id: lot.supplier_id, ..moved })?;
        returned.push(Returned { site: names.site_code(tx.conn()?, site)?, grams: Grams::from_mg(mass_mg) });
    }
    Ok(Rejection { lot: standing.number()?, reason, returned, entry: tx.entry() })
}

/// Who wrote something down, and when.
#[derive(Clone)]
struct By {
    at: DateTime<Utc>,
    actor: String,
}

impl By {
    fn of_entries(conn: &mut AnyConnection, entries: &[i64]) -> Result<HashMap<i64, Self>> {
        let authors = authors(conn, entries)?.into_iter();
        Ok(authors.map(|(entry, (actor, at))| (entry, Self { at: fields::utc(at), actor })).collect())
    }

    fn of_entry(known: &HashMap<i64, Self>, entry: i64) -> Result<Self> {
        let missing = || StorageError::Corrupt(format!("journal entry {entry} is missing"));
        Ok(known.get(&entry).cloned().ok_or_else(missing)?)
    }
}

fn answer(lot: &LotRow, item: String, row: HoldRow, held: By, release: Option<Release>) -> Result<Hold> {
    Ok(Hold {
        id: row.id,
        lot: lots::number(lot)?.to_string(),
        item,
        reason: row.reason,
        held_at: held.at,
        held_by: held.actor,
        release,
        entry: row.entry,
    })
}

fn release_answer(by: &HashMap<i64, By>, row: HoldReleaseRow) -> Result<Release> {
    let By { at, actor } = By::of_entry(by, row.entry)?;
    Ok(Release { reason: row.reason, released_at: at, released_by: actor, entry: row.entry })
}
