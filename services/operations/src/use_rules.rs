//! Whether a lot may go into a batch: what is known of it, the verdict, and the verdict in words.

use chrono::NaiveDateTime;
use tubtrail_domain::place::{Place, State};
use tubtrail_domain::say;
use tubtrail_domain::saying::Saying;
use tubtrail_domain::using::{self, Lies, Unfit, Wanted, may_be_used};
use tubtrail_storage::lots::LotRow;
use tubtrail_storage::search::author;
use tubtrail_storage::{AnyConnection, WriteTx};

use crate::batches::Making;
use crate::error::{OperationError, Result};
use crate::index::Index;
use crate::names::Names;
use crate::quantities::in_grams;
use crate::reach::{self, Actor};
use crate::standing::{Keeper, Standing};
use crate::{fields, problems};

/// What is asked of a lot.
pub(crate) struct Asked<'a> {
    pub lot: &'a LotRow,
    pub number: &'a str,
    pub mass_mg: i64,
    /// When it is, or was, used.
    pub used_at: NaiveDateTime,
    /// Since when there was any of it on the shelf where the batch is made.
    pub here_since: NaiveDateTime,
    /// When the batch was completed, if it was.
    pub completed_at: Option<NaiveDateTime>,
    /// A reason is given, which whoever may say so needs to use it before it is mature.
    pub with_reason: bool,
}

/// Refuses a use that the state of the lot speaks against.
pub(crate) fn judge(
    tx: &mut WriteTx<'_>,
    index: &Index,
    actor: &Actor,
    making: &Making,
    asked: &Asked<'_>,
) -> Result<()> {
    let lot = Standing::of(tx.conn()?, asked.lot)?;
    let recalled = Keeper::of(index, lot.lot.id)?;
    let standing = using::Standing {
        recalled: recalled.as_ref().map(|recalled| recalled.since),
        held: held_since(tx, &lot)?,
        rejected: lot.rejection.is_some(),
        lies: lies(&lot, making.row.site_id),
        here_since: asked.here_since,
        expires_on: lot.lot.expires_on,
        mature_at: lot.lot.mature_at,
    };
    let wanted = Wanted {
        mass_mg: asked.mass_mg,
        used_at: asked.used_at,
        day: fields::day_at(&making.site, asked.used_at)?,
        completed_at: asked.completed_at,
        with_reason: asked.with_reason,
        before_mature: asked.with_reason && actor.is_any_at(reach::USE_BEFORE_MATURE.roles, making.row.site_id),
    };
    match may_be_used(&standing, &wanted) {
        Ok(()) => Ok(()),
        Err(Unfit::Elsewhere) => {
            let detail = elsewhere(tx.conn()?, actor, making, &lot)?;
            Err(OperationError::new(&problems::LOT_ELSEWHERE, detail).at("lot").about([asked.number.to_owned()]))
        }
        Err(unfit) => Err(refusal(making, &lot, recalled.as_ref(), asked, unfit)?.about([asked.number.to_owned()])),
    }
}

/// Since when the hold that counts is there.
fn held_since(tx: &mut WriteTx<'_>, lot: &Standing) -> Result<Option<NaiveDateTime>> {
    let Some(hold) = &lot.hold else { return Ok(None) };
    tx.write_journal()?;
    let (_, since) = author(tx.conn()?, hold.entry)?;
    Ok(Some(since))
}

/// What to do where a lot may not be used any more, but was.
const BUT_BEFORE: Saying = say!("What went in before that is written down with its time (used_at) and a reason.");

fn refusal(
    making: &Making,
    lot: &Standing,
    recalled: Option<&Keeper>,
    asked: &Asked<'_>,
    unfit: Unfit,
) -> Result<OperationError> {
    let number = asked.number;
    let (problem, field, detail) = match unfit {
        Unfit::Recalled => (
            &problems::LOT_RECALLED,
            "lot",
            say!("{lot} {but_before}", lot = lot.said_of_recall(recalled)?, but_before = BUT_BEFORE),
        ),
        Unfit::OnHold => {
            let why = lot.hold.as_ref().map_or("", |hold| hold.reason.as_str());
            (
                &problems::LOT_ON_HOLD,
                "lot",
                say!("{lot} {but_before}", lot = lot.said_of_hold(why)?, but_before = BUT_BEFORE),
            )
        }
        Unfit::Rejected => {
            let why = lot.rejection.as_ref().map_or("", |rejection| rejection.reason.as_str());
            (&problems::LOT_REJECTED, "lot", say!("lot {number} was rejected: {why}", number, why))
        }
        Unfit::Elsewhere => (&problems::LOT_ELSEWHERE, "lot", say!("lot {number} is not here", number)),
        Unfit::Open => {
            let detail = say!("tub {number} is open; what stood in the case goes into nothing else", number);
            (&problems::ALREADY_OPEN, "lot", detail)
        }
        Unfit::Completed(at) => {
            let at = fields::wall_clock(&making.site, at)?;
            (&problems::OUT_OF_ORDER, "used_at", say!("the batch was completed at {at}", at))
        }
        Unfit::NotThereYet(at) => {
            let at = fields::wall_clock(&making.site, at)?;
            (&problems::OUT_OF_ORDER, "used_at", say!("lot {number} is here only since {at}", number, at))
        }
        Unfit::Expired(last) => {
            (&problems::LOT_EXPIRED, "lot", say!("the last day of lot {number} was {last}", number, last))
        }
        Unfit::NotMature(at) => {
            let at = fields::wall_clock(&making.site, at)?;
            // Someone who says why wants it used all the same: then what is missing is the role.
            let problem = if asked.with_reason { &problems::FORBIDDEN } else { &problems::NOT_MATURE };
            let roles = reach::USE_BEFORE_MATURE.roles_in_words();
            (
                problem,
                "lot",
                say!("lot {number} is mature at {at}; sooner needs a reason and the role {roles}", number, at, roles),
            )
        }
        Unfit::NotEnough(here_mg) => {
            let (here, wanted) = (in_grams(here_mg), in_grams(asked.mass_mg));
            let detail = say!("there are {here} of lot {number} here, and {wanted} are wanted", here, number, wanted);
            (&problems::NOT_ENOUGH, "quantity.amount", detail)
        }
    };
    Ok(OperationError::new(problem, detail).at(field))
}

fn lies(standing: &Standing, site_id: i64) -> Lies {
    let here_mg = standing.at(Place::new(site_id, State::Available));
    if here_mg > 0 {
        Lies::Here(here_mg)
    } else if standing.at(Place::new(site_id, State::Open)) > 0 {
        Lies::OpenHere
    } else if standing.on_hand() > 0 {
        Lies::Elsewhere
    } else {
        Lies::Here(0)
    }
}

/// Says where a lot is; sites out of reach are not named.
fn elsewhere(conn: &mut AnyConnection, actor: &Actor, making: &Making, lot: &Standing) -> Result<Saying> {
    let mut names = Names::default();
    let mut places = Vec::new();
    for place in lot.lies_at().filter(|place| actor.reaches(place.site_id)) {
        let site = &names.site(conn, place.site_id)?.current.name;
        let sent = place.state == State::InTransit;
        places.push(if sent { say!("on its way from {site}", site) } else { say!("at {site}", site) });
    }
    let places = Saying::joined(places, |one, other| say!("{one} and {other}", one, other))
        .unwrap_or(say!("at a site out of your reach"));
    Ok(say!("lot {lot} is not at {site}: it is {places}", lot = lot.number()?, site = making.site.current.name, places))
}
