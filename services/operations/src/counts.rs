//! Counts: what was really found on the shelf and in the case.
//!
//! A count is held against the book as it stands when the count is written down; so nothing of what is counted may have
//! moved since it was. Where the two differ, the difference is a movement with a reason; nothing is overwritten.

use std::collections::{BTreeMap, HashMap, HashSet};

use chrono::{DateTime, NaiveDateTime, Utc};
use serde::{Deserialize, Serialize};
use tubtrail_domain::place::{Place, State};
use tubtrail_domain::say;
use tubtrail_storage::lots::{LotRow, lot, lots_by_ids};
use tubtrail_storage::master_data::Site;
use tubtrail_storage::on_hand::{StockFilter, StockKey, on_hand_after};
use tubtrail_storage::stock::{CountLineRow, CountRow, MovementRow, count, counts_after, last_moved, lines_of_count};
use tubtrail_storage::{AnyConnection, StorageError, WriteTx};
use utoipa::{IntoParams, ToSchema};

use crate::discards::Standpoint;
use crate::error::{OperationError, Result};
use crate::items::counting;
use crate::lots::{self, movement};
use crate::master_data::{MOST, Page};
use crate::names::Names;
use crate::quantities::{Grams, QuantityEntered};
use crate::reach::{self, Request};
use crate::standing::Standing;
use crate::tubtrail::{Answered, Tubtrail};
use crate::{fields, problems};

/// Most lines of one count.
const MOST_LINES: usize = 1000;
/// Most lots, in each state, that a complete count may find missing.
const MOST_UNMENTIONED: usize = 5000;

/// A shelf was counted.
#[derive(Clone, Debug, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(example = json!({"site": "harbour-shop", "complete": false, "lines": [
    {"lot": "261125-0042-7", "state": "open", "found": {"amount": 1800, "unit": "g"}, "reason": "scoops were not weighed"}]}))]
pub struct NewCount {
    /// The site's code.
    #[schema(max_length = 40)]
    pub site: String,
    /// When; now, if absent. The book is taken as it stands now in either case: what moved there since must be counted again.
    #[serde(default)]
    pub counted_at: Option<DateTime<Utc>>,
    /// One line a lot and state.
    #[serde(default)]
    #[schema(max_items = 1000)]
    pub lines: Vec<NewCountLine>,
    /// Everything at the site was counted: what the book has there and no line names was not found.
    #[serde(default)]
    pub complete: bool,
    /// Why it differs, for the lines that do not say it themselves, and for what was not found.
    #[serde(default)]
    #[schema(max_length = 2000)]
    pub reason: Option<String>,
    /// Remarks.
    #[serde(default)]
    #[schema(max_length = 2000)]
    pub note: Option<String>,
}

/// What was found of a lot.
#[derive(Clone, Debug, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct NewCountLine {
    /// Our number for the lot.
    #[schema(max_length = 20)]
    pub lot: String,
    /// On the shelf or, for a tub, in the case; if absent, where the book has it, or else on the shelf.
    #[serde(default)]
    pub state: Option<Standpoint>,
    /// How much was there; may be nothing.
    pub found: QuantityEntered,
    /// Why it differs.
    #[serde(default)]
    #[schema(max_length = 2000)]
    pub reason: Option<String>,
}

/// A count as it stands.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, ToSchema)]
#[schema(example = json!({"id": 5330, "site": "harbour-shop", "counted_at": "2026-11-25T19:00:00Z", "entry": 8200,
    "lines": [{"lot": "261125-0042-7", "item": "pistachio", "state": "open", "expected_grams": 2100, "found_grams": 1800,
        "difference_grams": -300, "reason": "scoops were not weighed"}]}))]
pub struct Count {
    /// Its number.
    pub id: i64,
    /// The site's code.
    pub site: String,
    /// When.
    pub counted_at: DateTime<Utc>,
    /// Remarks.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub note: Option<String>,
    /// What was found; then what was not.
    pub lines: Vec<CountLine>,
    /// The journal entry that holds it.
    pub entry: i64,
}

/// What was found of a lot, beside what the book said.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct CountLine {
    /// Our number for the lot.
    pub lot: String,
    /// Its item's code.
    pub item: String,
    /// On the shelf or in the case.
    pub state: Standpoint,
    /// What the book said.
    pub expected_grams: Grams,
    /// What was there.
    pub found_grams: Grams,
    /// Found less expected.
    pub difference_grams: Grams,
    /// Why it differs.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub reason: Option<String>,
}

/// A count in a list.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, ToSchema)]
#[schema(example = json!({"id": 5330, "site": "harbour-shop", "counted_at": "2026-11-25T19:00:00Z", "lines": 24, "differing": 2}))]
pub struct CountSummary {
    /// Its number.
    pub id: i64,
    /// The site's code.
    pub site: String,
    /// When.
    pub counted_at: DateTime<Utc>,
    /// How many lines it has.
    pub lines: usize,
    /// How many of them differ from the book.
    pub differing: usize,
}

/// Which counts to list.
#[derive(Clone, Debug, Deserialize, IntoParams)]
#[serde(deny_unknown_fields)]
#[into_params(parameter_in = Query)]
pub struct CountsAsked {
    /// At this site, by code.
    #[param(max_length = 40)]
    #[serde(default)]
    pub site: Option<String>,
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
    /// Writes down a count, and moves what differs.
    pub fn count_site(&self, request: &Request, new: NewCount) -> Result<Answered<Count>> {
        request.actor.may_anywhere(&reach::COUNT_SITE)?;
        let actor = request.actor.clone();
        self.write(request, &reach::COUNT_SITE, move |tx| {
            let site = fields::site_for(tx.conn()?, "site", &new.site, &actor, &reach::COUNT_SITE)?;
            let checked = check(tx, site, &new)?;
            record(tx, &checked)
        })
    }

    /// One count.
    pub fn get_count(&self, request: &Request, id: i64) -> Result<Count> {
        request.actor.may_anywhere(&reach::GET_COUNT)?;
        self.read(|conn| {
            let row = count(conn, id)?.filter(|row| request.actor.reaches(row.site_id));
            let row = row.ok_or_else(|| OperationError::not_found(say!("count"), id))?;
            request.actor.may(&reach::GET_COUNT, row.site_id)?;
            answer(conn, &row)
        })
    }

    /// The counts of sites in reach, oldest first.
    pub fn list_counts(&self, request: &Request, asked: &CountsAsked) -> Result<Page<CountSummary>> {
        request.actor.may_anywhere(&reach::LIST_COUNTS)?;
        let limit = asked.limit.clamp(1, MOST);
        let after = fields::after_id("after", &asked.after)?;
        self.read(|conn| {
            let sites = fields::sites_asked(conn, asked.site.as_deref(), &request.actor, &reach::LIST_COUNTS)?;
            let rows = counts_after(conn, after, sites.as_deref(), i64::from(limit) + 1)?;
            let mut names = Names::default();
            let found = rows.iter().map(|row| summary(conn, &mut names, row)).collect::<Result<Vec<_>>>()?;
            Ok(Page::cut(found, limit as usize, |count| count.id.to_string()))
        })
    }
}

/// A count that may be recorded.
struct Checked {
    site: Site,
    counted_at: NaiveDateTime,
    note: Option<String>,
    lines: Vec<Line>,
}

struct Line {
    lot: LotRow,
    place: Place,
    expected_mg: i64,
    found_mg: i64,
    reason: Option<String>,
}

fn check(tx: &mut WriteTx<'_>, site: Site, new: &NewCount) -> Result<Checked> {
    let said_at = fields::occurred_at("counted_at", new.counted_at, tx.now())?;
    let note = fields::optional_note("note", new.note.as_deref())?;
    let least = usize::from(!new.complete);
    fields::between("lines", new.lines.len(), least, MOST_LINES)?;
    let mut lines = Vec::new();
    let mut seen = HashSet::new();
    for (position, line) in new.lines.iter().enumerate() {
        let under = |error: OperationError| error.in_list("lines", position);
        let line = check_line(tx.conn()?, site.row.id, line, new.reason.as_deref()).map_err(under)?;
        if !seen.insert((line.lot.id, line.place.state)) {
            let detail = say!("{lot} stands on two lines of this count", lot = new.lines[position].lot);
            return Err(under(OperationError::new(&problems::REPEATED, detail).at("lot")));
        }
        lines.push(line);
    }
    if new.complete {
        lines.extend(not_found(tx.conn()?, site.row.id, &seen, new.reason.as_deref())?);
    }
    refuse_what_cannot_be(tx.conn()?, &lines)?;
    let last_at = last_moved_at(tx.conn()?, site.row.id, &lines)?;
    let counted_at = match new.counted_at {
        // What a device brought whose clock runs ahead may be a moment younger than our own now.
        None => last_at.values().copied().fold(said_at, NaiveDateTime::max),
        Some(_) => said_at,
    };
    refuse_moved_since(counted_at, &last_at)?;
    Ok(Checked { site, counted_at, note, lines })
}

fn check_line(
    conn: &mut AnyConnection,
    site_id: i64,
    line: &NewCountLine,
    common_reason: Option<&str>,
) -> Result<Line> {
    // Whoever counts it has it before them: it may be any lot of the house.
    let lot = lots::named(conn, "lot", &line.lot)?;
    let standing = Standing::of(conn, &lot)?;
    let mut names = Names::default();
    let counting = counting(&names.item(conn, standing.lot.item_id)?.current)?;
    let found_mg = line.found.to_mass_or_nothing(&counting).map_err(|error| error.under("found"))?.mg();
    let place = Place::new(site_id, state_of(&standing, site_id, line.state)?);
    let expected_mg = standing.at(place);
    let said = line.reason.as_deref();
    let reason = if found_mg == expected_mg {
        fields::optional_note("reason", said)?
    } else {
        Some(fields::reason("reason", said.or(common_reason))?)
    };
    Ok(Line { lot: standing.lot, place, expected_mg, found_mg, reason })
}

fn state_of(standing: &Standing, site_id: i64, said: Option<Standpoint>) -> Result<State> {
    if said == Some(Standpoint::Open) && !standing.is_tub() {
        let number = standing.number()?;
        let detail = say!("lot {number} is no tub: only a tub stands open in the case", number);
        return Err(OperationError::new(&problems::NOT_A_TUB, detail).at("state").about([number]));
    }
    if let Some(standpoint) = said {
        return Ok(standpoint.state());
    }
    let has = |state| standing.at(Place::new(site_id, state)) > 0;
    match (has(State::Available), has(State::Open)) {
        (true, true) => {
            let detail = say!("the book has some of it on the shelf and some in the case: say available or open");
            Err(OperationError::invalid("state", detail))
        }
        (false, true) => Ok(State::Open),
        (_, false) => Ok(State::Available),
    }
}

/// What the book has at a site and no line names.
fn not_found(
    conn: &mut AnyConnection,
    site_id: i64,
    seen: &HashSet<(i64, State)>,
    reason: Option<&str>,
) -> Result<Vec<Line>> {
    let mut lines = Vec::new();
    for state in [State::Available, State::Open] {
        let filter = StockFilter { sites: Some(vec![site_id]), state: Some(state.word()), ..StockFilter::default() };
        let most = i64::try_from(MOST_UNMENTIONED + MOST_LINES).unwrap_or(i64::MAX);
        let rows = on_hand_after(conn, &filter, &StockKey::default(), most + 1)?;
        let missing: Vec<_> = rows.into_iter().filter(|row| !seen.contains(&(row.lot_id, state))).collect();
        if missing.len() > MOST_UNMENTIONED {
            let detail = say!("more than {most} lots would be missing: count in parts", most = MOST_UNMENTIONED);
            return Err(OperationError::invalid("complete", detail));
        }
        let ids: Vec<i64> = missing.iter().map(|row| row.lot_id).collect();
        let mut lots: BTreeMap<i64, LotRow> = lots_by_ids(conn, &ids)?.into_iter().map(|lot| (lot.id, lot)).collect();
        for row in missing {
            let reason = Some(fields::reason("reason", reason)?);
            let corrupt = || StorageError::Corrupt(format!("lot row {} has a balance and is missing", row.lot_id));
            let lot = lots.remove(&row.lot_id).ok_or_else(corrupt)?;
            lines.push(Line { lot, place: Place::new(site_id, state), expected_mg: row.mass_mg, found_mg: 0, reason });
        }
    }
    Ok(lines)
}

/// A tub that the book has closed may be found open and the other way round: what the lines of a tub say counts together.
fn refuse_what_cannot_be(conn: &mut AnyConnection, lines: &[Line]) -> Result<()> {
    let mut tubs: BTreeMap<i64, Vec<usize>> = BTreeMap::new();
    for (position, line) in lines.iter().enumerate().filter(|(_, line)| line.lot.kind == "tub") {
        tubs.entry(line.lot.id).or_default().push(position);
    }
    for positions in tubs.into_values() {
        let of_tub = || positions.iter().map(|position| (*position, &lines[*position]));
        let Some((position, line)) = of_tub().max_by_key(|(_, line)| line.found_mg - line.expected_mg) else {
            continue;
        };
        let found_mg: i64 = of_tub().map(|(_, line)| line.found_mg).sum();
        let expected_mg: i64 = of_tub().map(|(_, line)| line.expected_mg).sum();
        if found_mg <= expected_mg {
            continue;
        }
        let standing = Standing::of(conn, &line.lot)?;
        let is_open = of_tub().any(|(_, line)| line.place.state == State::Open && line.found_mg > 0);
        let refusal = standing.refuse_what_cannot_be("found", found_mg, expected_mg, standing.spare(is_open));
        refusal.map_err(|error| error.in_list("lines", position))?;
    }
    Ok(())
}

/// When each lot last moved in the places that are counted, or came to be.
fn last_moved_at(conn: &mut AnyConnection, site_id: i64, lines: &[Line]) -> Result<BTreeMap<String, NaiveDateTime>> {
    let ids: Vec<i64> = lines.iter().map(|line| line.lot.id).collect();
    let moved: HashMap<(i64, String), NaiveDateTime> =
        last_moved(conn, site_id, &ids)?.into_iter().map(|moved| ((moved.lot_id, moved.state), moved.at)).collect();
    let mut last_at = BTreeMap::new();
    for line in lines {
        let lot = &line.lot;
        let here = moved.get(&(lot.id, line.place.state.word().to_owned()));
        let at = here.map_or(lot.came_to_be_at, |moved| lot.came_to_be_at.max(*moved));
        let last = last_at.entry(lots::number(lot)?.to_string()).or_insert(at);
        *last = at.max(*last);
    }
    Ok(last_at)
}

/// The book is as it is now; of what moved since it was counted, it cannot say what was there then.
fn refuse_moved_since(counted_at: NaiveDateTime, last_at: &BTreeMap<String, NaiveDateTime>) -> Result<()> {
    let since: Vec<String> =
        last_at.iter().filter(|(_, at)| **at > counted_at).map(|(number, _)| number.clone()).collect();
    if since.is_empty() {
        return Ok(());
    }
    let detail =
        say!("these came or moved after that, so count them as they are now: {since}", since = since.join(", "));
    Err(OperationError::new(&problems::OUT_OF_ORDER, detail).at("counted_at").about(since))
}

fn record(tx: &mut WriteTx<'_>, checked: &Checked) -> Result<Count> {
    tx.at_site(checked.site.row.id);
    let row = CountRow {
        id: tx.id(),
        entry: tx.entry(),
        site_id: checked.site.row.id,
        counted_at: checked.counted_at,
        note: checked.note.clone(),
    };
    tx.record(&row)?;
    for line in &checked.lines {
        record_line(tx, &row, line)?;
    }
    // What is missed goes first: a tub missed on the shelf and found in the case is no heavier than it was.
    let (found, missed): (Vec<_>, Vec<_>) = checked.lines.iter().partition(|line| line.found_mg > line.expected_mg);
    for line in missed.into_iter().chain(found) {
        move_difference(tx, &row, line)?;
    }
    answer(tx.conn()?, &row)
}

fn record_line(tx: &mut WriteTx<'_>, count: &CountRow, line: &Line) -> Result<()> {
    let row = CountLineRow {
        id: tx.id(),
        entry: tx.entry(),
        count_id: count.id,
        lot_id: line.lot.id,
        state: line.place.state.word().to_owned(),
        expected_mg: line.expected_mg,
        found_mg: line.found_mg,
        reason: line.reason.clone(),
    };
    tx.record(&row)?;
    Ok(())
}

fn move_difference(tx: &mut WriteTx<'_>, count: &CountRow, line: &Line) -> Result<()> {
    let difference = Place::new(count.site_id, State::CountDifference);
    let (from, to) = if line.found_mg > line.expected_mg { (difference, line.place) } else { (line.place, difference) };
    let mass_mg = (line.found_mg - line.expected_mg).abs();
    if mass_mg == 0 {
        return Ok(());
    }
    let moved = movement(tx, &line.lot, "counted", from, to);
    tx.move_mass(&MovementRow {
        mass_mg,
        occurred_at: count.counted_at,
        reason: line.reason.clone(),
        count_id: Some(count.id),
        ..moved
    })?;
    Ok(())
}

fn answer(conn: &mut AnyConnection, row: &CountRow) -> Result<Count> {
    let mut names = Names::default();
    let mut lines = Vec::new();
    for line in lines_of_count(conn, row.id)? {
        let lot = lot(conn, line.lot_id)?;
        let corrupt = || StorageError::Corrupt(format!("count line {}: its state", line.id));
        lines.push(CountLine {
            lot: lots::number(&lot)?.to_string(),
            item: names.item(conn, lot.item_id)?.row.code.clone(),
            state: Standpoint::from_word(&line.state).ok_or_else(corrupt)?,
            expected_grams: Grams::from_mg(line.expected_mg),
            found_grams: Grams::from_mg(line.found_mg),
            difference_grams: Grams::from_mg(line.found_mg - line.expected_mg),
            reason: line.reason,
        });
    }
    Ok(Count {
        id: row.id,
        site: names.site_code(conn, row.site_id)?,
        counted_at: fields::utc(row.counted_at),
        note: row.note.clone(),
        lines,
        entry: row.entry,
    })
}

fn summary(conn: &mut AnyConnection, names: &mut Names, row: &CountRow) -> Result<CountSummary> {
    let lines = lines_of_count(conn, row.id)?;
    Ok(CountSummary {
        id: row.id,
        site: names.site_code(conn, row.site_id)?,
        counted_at: fields::utc(row.counted_at),
        lines: lines.len(),
        differing: lines.iter().filter(|line| line.found_mg != line.expected_mg).count(),
    })
}
