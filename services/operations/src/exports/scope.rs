//! Which events are asked for: those of a lot's trace, of a recall, or of a span of days.

use std::collections::HashSet;

use chrono::{Duration, NaiveDate, NaiveDateTime, NaiveTime};
use tubtrail_domain::say;
use tubtrail_lineage::LotIx;
use tubtrail_storage::tracking::{Source, Span, Wanted, keys_of};
use tubtrail_storage::{AnyConnection, recalls};

use super::EventsAsked;
use super::cursor::Cursors;
use crate::error::{OperationError, Result};
use crate::fields;
use crate::index::{lot_ix, lot_row};
use crate::lots::{addressed, number, within_reach};
use crate::reach::{Actor, Operation};
use crate::recalls::lots_reached;
use crate::tubtrail::Tubtrail;

/// The farthest that clocks on walls are ahead of UTC, and behind it by less.
const FARTHEST: Duration = Duration::hours(14);

/// What is asked for.
pub(super) struct Scope {
    /// Where the reading of it begins.
    pub cursors: Cursors,
    /// Which lines of that belong to it.
    pub wanted: Wanted,
    /// What it is, in words.
    pub of: String,
}

/// Finds what is asked for.
pub(super) fn scope(
    house: &Tubtrail,
    conn: &mut AnyConnection,
    actor: &Actor,
    operation: &Operation,
    asked: &EventsAsked,
    item_ids: Vec<i64>,
) -> Result<Scope> {
    refuse_several(asked)?;
    if let Some(text) = &asked.lot {
        let lot = addressed(conn, text).map_err(|error| error.at("lot"))?;
        within_reach(conn, actor, operation, &lot).map_err(|error| error.at("lot"))?;
        let seeds = [lot_ix(lot.id)?];
        let of = format!("lot {}", number(&lot)?);
        return Ok(Scope { cursors: of_trace(house, conn, &seeds)?, wanted: Wanted { item_ids, carried: None }, of });
    }
    if let Some(id) = asked.recall {
        let row =
            recalls::recall(conn, id)?.ok_or_else(|| OperationError::not_found(say!("recall"), id).at("recall"))?;
        let reached = lots_reached(house, conn, &row)?;
        let cursors = of_recall(house, conn, &reached)?;
        return Ok(Scope { cursors, wanted: Wanted { item_ids, carried: None }, of: format!("recall {id}") });
    }
    let sites = fields::sites_asked(conn, asked.site.as_deref(), actor, operation)?;
    let of = match &asked.site {
        Some(site) => format!("site {site}"),
        None => "all sites in reach".to_owned(),
    };
    let (from, until) = span_of_days(asked.day_from, asked.day_to)?;
    let span = Span { from, until, sites };
    let (cursors, wanted) = if item_ids.is_empty() {
        (Cursors::within(span), Wanted::default())
    } else {
        Cursors::within_of_items(conn, span, item_ids)?
    };
    Ok(Scope { cursors, wanted, of })
}

fn refuse_several(asked: &EventsAsked) -> Result<()> {
    let has_days = asked.day_from.is_some() || asked.day_to.is_some() || asked.site.is_some();
    let several = || OperationError::invalid("lot", say!("ask for a lot, for a recall, or for days and a site"));
    match (&asked.lot, asked.recall, has_days) {
        (Some(_), Some(_), _) | (Some(_), _, true) => Err(several()),
        (_, Some(_), true) => Err(several().at("recall")),
        _ => Ok(()),
    }
}

/// The moments that may lie on these days somewhere; on which day each does, its site tells.
fn span_of_days(from: Option<NaiveDate>, to: Option<NaiveDate>) -> Result<(NaiveDateTime, NaiveDateTime)> {
    if let (Some(from), Some(to)) = (from, to)
        && from > to
    {
        return Err(OperationError::invalid("day_to", say!("this lies before {from}", from)));
    }
    let midnight = |day: NaiveDate| day.and_time(NaiveTime::MIN);
    let from = from.and_then(|day| midnight(day).checked_sub_signed(FARTHEST));
    let until = to.and_then(|day| midnight(day.succ_opt()?).checked_add_signed(FARTHEST));
    let (earliest, latest) = (NaiveDate::from_ymd_opt(1, 1, 1), NaiveDate::from_ymd_opt(9999, 12, 31));
    let bounded = |moment: Option<NaiveDateTime>, bound: Option<NaiveDate>| {
        moment.or(bound.map(midnight)).ok_or_else(|| OperationError::invalid("day_from", say!("this is no day")))
    };
    Ok((bounded(from, earliest)?, bounded(until, latest)?))
}

/// All that became of a lot, and all that it was made from.
fn of_trace(house: &Tubtrail, conn: &mut AnyConnection, seeds: &[LotIx]) -> Result<Cursors> {
    let index = house.current_index(conn)?;
    let forward: Vec<i64> = index
        .look(|inside, scratch| inside.graph.shares(scratch, seeds).iter().map(|share| lot_row(share.lot)).collect());
    of_lots(house, conn, &forward, seeds)
}

/// All that a recall reaches, and all that it begins with was made from.
fn of_recall(house: &Tubtrail, conn: &mut AnyConnection, reached: &[i64]) -> Result<Cursors> {
    let lots = reached.iter().map(|id| lot_ix(*id)).collect::<std::result::Result<Vec<_>, _>>()?;
    of_lots(house, conn, reached, &lots)
}

fn of_lots(house: &Tubtrail, conn: &mut AnyConnection, forward: &[i64], ends: &[LotIx]) -> Result<Cursors> {
    let backward = made_from(house, conn, ends)?;
    let (from, until) = span_of_days(None, None)?;
    let ever = Span { from, until, sites: None };
    let mut found = Vec::new();
    for source in Source::ALL {
        let mut keys = keys_of(conn, source, &ever, forward, true)?;
        // What else became of an ingredient is no part of the trace: only how it got here.
        if !matches!(source, Source::Gone | Source::CountLines) {
            keys.extend(keys_of(conn, source, &ever, &backward, false)?);
        }
        found.push((source, keys));
    }
    Ok(Cursors::of(found))
}

/// Every lot that is in one of these.
fn made_from(house: &Tubtrail, conn: &mut AnyConnection, lots: &[LotIx]) -> Result<Vec<i64>> {
    let index = house.current_index(conn)?;
    Ok(index.look(|inside, _| {
        let mut seen: HashSet<LotIx> = lots.iter().copied().collect();
        let mut batches = HashSet::new();
        let mut waiting = lots.to_vec();
        while let Some(lot) = waiting.pop() {
            let Some(batch) = inside.graph.made_by(lot).filter(|batch| batches.insert(*batch)) else { continue };
            let used = inside.graph.uses_in(batch).map(|(lot, _)| lot);
            waiting.extend(used.filter(|lot| seen.insert(*lot)));
        }
        seen.into_iter().map(lot_row).collect()
    }))
}
