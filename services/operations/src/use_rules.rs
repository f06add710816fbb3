//! Whether a lot may go into a batch: what is known of it, the verdict, and the verdict in words.

use chrono::NaiveDateTime;
use tubtrail_domain::place::{Place, State};
use tubtrail_domain::using::{Lies, Standing, Unfit, Wanted, may_be_used};
use tubtrail_storage::lots::LotRow;
use tubtrail_storage::master_data::{Noun, Site};
use tubtrail_storage::stock::{BalanceRow, balances_of, hold_on, rejection_of};
use tubtrail_storage::{AnyConnection, StorageError};

use crate::batches::Making;
use crate::error::{OperationError, Result};
use crate::reach::{self, Actor};
use crate::uses::in_words;
use crate::{fields, problems};

/// What is asked of a lot.
pub(crate) struct Asked<'a> {
    pub lot: &'a LotRow,
    pub number: &'a str,
    pub mass_mg: i64,
    pub used_at: NaiveDateTime,
    /// A reason is given, which whoever may say so needs to use it before it is mature.
    pub with_reason: bool,
}

/// Refuses a use that the state of the lot speaks against.
pub(crate) fn judge(conn: &mut AnyConnection, actor: &Actor, making: &Making, asked: &Asked<'_>) -> Result<()> {
    let standing = standing(conn, making.row.site_id, asked.lot)?;
    let wanted = Wanted {
        mass_mg: asked.mass_mg,
        used_at: asked.used_at,
        day: fields::day_at(&making.site, asked.used_at)?,
        before_mature: asked.with_reason && actor.is_any_at(reach::USE_BEFORE_MATURE.roles, making.row.site_id),
    };
    match may_be_used(&standing, &wanted) {
        Ok(()) => Ok(()),
        Err(unfit) => Err(refusal(conn, actor, making, asked, unfit)?.about([asked.number.to_owned()])),
    }
}

fn refusal(
    conn: &mut AnyConnection,
    actor: &Actor,
    making: &Making,
    asked: &Asked<'_>,
    unfit: Unfit,
) -> Result<OperationError> {
    let number = asked.number;
    let (problem, field, detail) = match unfit {
        Unfit::OnHold => (&problems::LOT_ON_HOLD, "lot", on_hold(conn, asked.lot, number)?),
        Unfit::Rejected => (&problems::LOT_REJECTED, "lot", format!("lot {number} was rejected")),
        Unfit::Elsewhere => (&problems::LOT_ELSEWHERE, "lot", elsewhere(conn, actor, making, asked)?),
        Unfit::Open => {
            let detail = format!("tub {number} is open; what stood in the case goes into nothing else");
            (&problems::ALREADY_OPEN, "lot", detail)
        }
        Unfit::NotThereYet(at) => {
            let at = fields::wall_clock(&making.site, at)?;
            (&problems::OUT_OF_ORDER, "used_at", format!("lot {number} is there only since {at}"))
        }
        Unfit::Expired(last) => (&problems::LOT_EXPIRED, "lot", format!("the last day of lot {number} was {last}")),
        Unfit::NotMature(at) => {
            let at = fields::wall_clock(&making.site, at)?;
            // Someone who says why wants it used all the same: then what is missing is the role.
            let problem = if asked.with_reason { &problems::FORBIDDEN } else { &problems::NOT_MATURE };
            let roles: Vec<_> = reach::USE_BEFORE_MATURE.roles.iter().map(|role| role.word()).collect();
            let roles = roles.join(" or ");
            (problem, "lot", format!("lot {number} is mature at {at}; sooner needs a reason and the role {roles}"))
        }
        Unfit::NotEnough(here_mg) => {
            let (here, wanted) = (in_words(here_mg), in_words(asked.mass_mg));
            let detail = format!("there are {here} of lot {number} here, and {wanted} are wanted");
            (&problems::NOT_ENOUGH, "quantity.amount", detail)
        }
    };
    Ok(OperationError::new(problem, detail).at(field))
}

fn standing(conn: &mut AnyConnection, site_id: i64, lot: &LotRow) -> Result<Standing> {
    Ok(Standing {
        held: hold_on(conn, lot.id)?.is_some(),
        rejected: rejection_of(conn, lot.id)?.is_some(),
        lies: lies(&balances_of(conn, &[lot.id])?, site_id)?,
        came_to_be_at: lot.came_to_be_at,
        expires_on: lot.expires_on,
        mature_at: lot.mature_at,
    })
}

fn lies(balances: &[BalanceRow], site_id: i64) -> Result<Lies> {
    let mut lies = Lies::Here(0);
    for balance in balances {
        let place = balance.place()?;
        match place.state {
            State::Available if place.site_id == site_id => return Ok(Lies::Here(balance.mass_mg)),
            State::Open if place.site_id == site_id => lies = Lies::OpenHere,
            state if state.is_on_hand() && lies != Lies::OpenHere => lies = Lies::Elsewhere,
            _ => {}
        }
    }
    Ok(lies)
}

fn on_hold(conn: &mut AnyConnection, lot: &LotRow, number: &str) -> Result<String> {
    let why = hold_on(conn, lot.id)?.map_or_else(String::new, |hold| format!(": {}", hold.reason));
    Ok(format!("lot {number} is on hold{why}"))
}

/// Where a lot is, in words; sites out of reach are not named.
fn elsewhere(conn: &mut AnyConnection, actor: &Actor, making: &Making, asked: &Asked<'_>) -> Result<String> {
    let mut places = Vec::new();
    for place in on_hand(conn, asked.lot.id, actor)? {
        let site = Site::by_id(conn, place.site_id)?
            .ok_or_else(|| StorageError::Corrupt(format!("site row {} is missing", place.site_id)))?;
        let sent = if place.state == State::InTransit { "on its way from " } else { "at " };
        places.push(format!("{sent}{}", site.current.name));
    }
    if places.is_empty() {
        places.push("at a site out of your reach".to_owned());
    }
    let (here, there) = (&making.site.current.name, places.join(" and "));
    Ok(format!("lot {} is not at {here}: it is {there}", asked.number))
}

/// Where a lot is on hand, as far as someone's reach goes.
pub(crate) fn on_hand(conn: &mut AnyConnection, lot_id: i64, actor: &Actor) -> Result<Vec<Place>> {
    let places =
        balances_of(conn, &[lot_id])?.iter().map(BalanceRow::place).collect::<std::result::Result<Vec<_>, _>>()?;
    Ok(places.into_iter().filter(|place| place.state.is_on_hand() && actor.reaches(place.site_id)).collect())
}
