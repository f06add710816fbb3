//! Counting: how far it is at a site. What was counted since a moment stands beside what the book has there and nobody counted
//! since.

use std::collections::{BTreeMap, HashSet};

use chrono::{DateTime, Utc};
use serde::{Deserialize, Serialize};
use tubtrail_domain::place::State;
use tubtrail_domain::say;
use tubtrail_storage::lots::{LotRow, lots_by_ids};
use tubtrail_storage::master_data::{Noun, Site};
use tubtrail_storage::on_hand::{OnHandRow, StockFilter, StockKey, on_hand_after};
use tubtrail_storage::search::authors;
use tubtrail_storage::stock::{CountLineRow, CountRow, lines_counted_since};
use tubtrail_storage::{AnyConnection, StorageError};
use utoipa::{IntoParams, ToSchema};

use crate::counts::CountLine;
use crate::discards::Standpoint;
use crate::error::{OperationError, Result};
use crate::names::Names;
use crate::quantities::Grams;
use crate::reach::{self, Request};
use crate::stock::{self, StockRow};
use crate::tubtrail::Tubtrail;
use crate::{fields, lots};

/// Most lines and most lots that are listed.
const MOST_LISTED: usize = 500;
/// Rows read at a time.
const PAGE: i64 = 500;

/// Since when.
#[derive(Clone, Copy, Debug, Default, Deserialize, IntoParams)]
#[serde(deny_unknown_fields)]
#[into_params(parameter_in = Query)]
pub struct CountingAsked {
    /// What was counted before counts as not counted; absent: since the day began at the site.
    #[serde(default)]
    pub since: Option<DateTime<Utc>>,
}

/// How far counting is at a site.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, ToSchema)]
#[schema(example = json!({"site": "harbour-shop", "since": "2026-11-25T00:00:00Z", "lots_counted": 1, "counted": [
    {"count": 5330, "counted_at": "2026-11-25T19:00:00Z", "counted_by": "user:ines", "name": "Pistachio",
    "lot": "261125-0042-7", "item": "pistachio", "state": "open", "expected_grams": 2100, "found_grams": 1800,
    "difference_grams": -300, "reason": "scoops were not weighed"}], "lots_left": 1, "left": [
    {"lot": "261125-0051-7", "item": "pistachio", "name": "Pistachio", "kind": "tub", "site": "harbour-shop",
    "state": "available", "grams": 4590, "on_hold": false}]}))]
pub struct Counting {
    /// The site's code.
    pub site: String,
    /// Since when.
    pub since: DateTime<Utc>,
    /// How many lots were counted since.
    pub lots_counted: usize,
    /// What was counted since, the newest first; 500 at most.
    pub counted: Vec<CountedLine>,
    /// How many lots the book has on the shelf or in the case that were not.
    pub lots_left: usize,
    /// Those, in order of state and lot; 500 at most.
    pub left: Vec<StockRow>,
}

/// A line of a count, with the count it belongs to.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct CountedLine {
    /// The number of the count.
    pub count: i64,
    /// When.
    pub counted_at: DateTime<Utc>,
    /// By whom.
    pub counted_by: String,
    /// The item's name.
    pub name: String,
    /// What was found, beside what the book said.
    #[serde(flatten)]
    pub line: CountLine,
}

impl Tubtrail {
    /// How far the counting of a site is.
    pub fn show_counting(&self, request: &Request, site: &str, asked: &CountingAsked) -> Result<Counting> {
        request.actor.may_anywhere(&reach::SHOW_COUNTING)?;
        let now = (self.clock)();
        self.read_at_once(|conn| {
            let not_found = || OperationError::not_found(say!("site"), site);
            let stored = Site::by_code(conn, site)?.filter(|site| request.actor.reaches(site.row.id));
            let stored = stored.ok_or_else(not_found)?;
            request.actor.may(&reach::SHOW_COUNTING, stored.row.id)?;
            let since = match asked.since {
                Some(since) => since.naive_utc(),
                None => fields::day_begins(&stored, fields::day_at(&stored, now)?)?,
            };
            let lines = lines_counted_since(conn, stored.row.id, since)?;
            let counted: HashSet<i64> = lines.iter().map(|(_, line)| line.lot_id).collect();
            let left = left(conn, stored.row.id, &counted)?;
            let index = self.current_index(conn)?;
            Ok(Counting {
                site: stored.row.code,
                since: fields::utc(since),
                lots_counted: counted.len(),
                counted: show(conn, &lines[..lines.len().min(MOST_LISTED)])?,
                lots_left: left.iter().map(|row| row.lot_id).collect::<HashSet<_>>().len(),
                left: stock::answer(conn, index, &left[..left.len().min(MOST_LISTED)])?,
            })
        })
    }
}

/// What the book has on the shelf and in the case of lots that were not counted.
fn left(conn: &mut AnyConnection, site_id: i64, counted: &HashSet<i64>) -> Result<Vec<OnHandRow>> {
    let filter = StockFilter { sites: Some(vec![site_id]), ..StockFilter::default() };
    let (mut after, mut left) = (StockKey::default(), Vec::new());
    loop {
        let page = on_hand_after(conn, &filter, &after, PAGE)?;
        let Some(end) = page.last() else { return Ok(left) };
        after = StockKey { site_id: end.site_id, state: end.state.clone(), lot_id: end.lot_id };
        let is_left = |row: &OnHandRow| row.state != State::InTransit.word() && !counted.contains(&row.lot_id);
        left.extend(page.into_iter().filter(is_left));
    }
}

fn show(conn: &mut AnyConnection, lines: &[(CountRow, CountLineRow)]) -> Result<Vec<CountedLine>> {
    let ids: Vec<i64> = lines.iter().map(|(_, line)| line.lot_id).collect();
    let found: BTreeMap<i64, LotRow> = lots_by_ids(conn, &ids)?.into_iter().map(|lot| (lot.id, lot)).collect();
    let by = authors(conn, &lines.iter().map(|(count, _)| count.entry).collect::<Vec<_>>())?;
    let mut names = Names::default();
    let mut shown = Vec::with_capacity(lines.len());
    for (count, line) in lines {
        let corrupt = |what: &str| StorageError::Corrupt(format!("count line {}: its {what}", line.id));
        let lot = found.get(&line.lot_id).ok_or_else(|| corrupt("lot"))?;
        let (counted_by, _) = by.get(&count.entry).cloned().ok_or_else(|| corrupt("entry"))?;
        let item = names.item(conn, lot.item_id)?;
        shown.push(CountedLine {
            count: count.id,
            counted_at: fields::utc(count.counted_at),
            counted_by,
            name: item.current.name.clone(),
            line: CountLine {
                lot: lots::number(lot)?.to_string(),
                item: item.row.code.clone(),
                state: Standpoint::from_word(&line.state).ok_or_else(|| corrupt("state"))?,
                expected_grams: Grams::from_mg(line.expected_mg),
                found_grams: Grams::from_mg(line.found_mg),
                difference_grams: Grams::from_mg(line.found_mg - line.expected_mg),
                reason: line.reason.clone(),
            },
        });
    }
    Ok(shown)
}
