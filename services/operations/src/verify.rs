//! Everything that can be recomputed, recomputed and compared: the journal's chain over every fact, the balances, what
//! went into and came out of every batch, and the lot graph.

use std::collections::{HashMap, HashSet};

use tubtrail_lineage::LotIx;
use tubtrail_storage::audit::{self, Wrong};
use tubtrail_storage::lots::{CompletionRow, LotRow, voids_of};
use tubtrail_storage::search::{lots_of_batches, untracked_of_batches, uses_of_batches};
use tubtrail_storage::stock::balances_of;
use tubtrail_storage::{AnyConnection, Database, DatabaseUrl, Fact, Follower, StorageError};

use crate::error::Result;
use crate::index::{Index, lot_row};
use crate::tubtrail::{Tubtrail, at_once};

/// Rows read at a time.
const PAGE: i64 = 500;
/// Most pieces in which the graph is fed from the journal; a journal that is not longer is fed entry by entry.
const PIECES: i64 = 2000;
/// Most received lots whose shares are added up one by one; all of them together always are.
const SAMPLE: usize = 2000;
/// How far shares may be off, as a part of the whole: rounding of doubles, and no more.
const TOLERANCE: f64 = 1e-9;

/// What was checked, and the first thing that is wrong.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Verified {
    /// Journal entries whose hashes were recomputed.
    pub entries: u64,
    /// Fact rows under them.
    pub rows: u64,
    /// Balances recomputed from the movements.
    pub balances: u64,
    /// Lots whose mass was found to be somewhere, all of it.
    pub lots: u64,
    /// Completed batches whose input and output were added up again.
    pub completions: u64,
    /// Lots in the graph, built from the facts in two ways and found alike.
    pub graph_lots: u64,
    /// Batches in it.
    pub graph_batches: u64,
    /// Uses in it, voided ones not counted.
    pub graph_uses: u64,
    /// Received lots whose shares were followed one by one.
    pub shares: u64,
    /// The first thing that is wrong.
    pub wrong: Option<Wrong>,
}

/// Checks a database, beside whoever may be serving it, as of one moment.
pub fn verify(url: &DatabaseUrl) -> Result<Verified> {
    let database = Database::open_beside(url)?;
    let mut reader = database.reader()?;
    at_once(&mut reader, check)
}

impl Tubtrail {
    /// The same, and compares the index that is running with one built afresh.
    pub fn verify(&self) -> Result<Verified> {
        self.read(|conn| {
            let mut verified = at_once(conn, check)?;
            if verified.wrong.is_none() {
                verified.wrong = self.compare_running(conn)?;
            }
            Ok(verified)
        })
    }

    fn compare_running(&self, conn: &mut AnyConnection) -> Result<Option<Wrong>> {
        let fresh = Index::default();
        loop {
            self.current_index(conn)?;
            fresh.catch_up(conn)?;
            // What the running one keeps, and more.
            let unread = fresh.look(|fresh, _| fresh.unread());
            at_once(conn, |conn| Ok(fresh.read_in(conn, &unread)?))?;
            let position = fresh.position();
            // What was committed in between is followed too, until both stand at the same entry.
            let compared = self.index.look(|running, _| {
                (running.position == position).then(|| fresh.look(|fresh, _| fresh.first_difference(running)))
            });
            if let Some(difference) = compared {
                return Ok(difference.map(|(table, row, what)| wrong(table, row, format!("in the index: {what}"))));
            }
        }
    }
}

/// Runs every check, one after the other, until something is wrong. Read in one snapshot.
fn check(conn: &mut AnyConnection) -> Result<Verified> {
    let report = audit::check(conn)?;
    let mut verified = Verified {
        entries: report.entries,
        rows: report.rows,
        balances: report.balances,
        wrong: report.wrong,
        ..Verified::default()
    };
    if verified.wrong.is_some() {
        return Ok(verified);
    }
    let index = Index::default();
    index.catch_up(conn)?;
    verified.wrong = check_lots(conn, &index, &mut verified)?;
    if verified.wrong.is_none() {
        verified.wrong = check_completions(conn, &mut verified)?;
    }
    if verified.wrong.is_none() {
        verified.wrong = check_graph(conn, &index, &mut verified)?;
    }
    if verified.wrong.is_none() {
        verified.wrong = check_shares(&index, &mut verified);
    }
    Ok(verified)
}

/// Lots are numbered without gaps; the mass of each is somewhere, all of it; and what production holds of it is what the
/// graph says was used.
fn check_lots(conn: &mut AnyConnection, index: &Index, verified: &mut Verified) -> Result<Option<Wrong>> {
    let mut from = 1;
    loop {
        let page = LotRow::page(conn, from, PAGE).map_err(StorageError::from)?;
        if page.is_empty() {
            return Ok(None);
        }
        let ids: Vec<i64> = page.iter().map(|lot| lot.id).collect();
        let (mut sums, mut production) = (HashMap::new(), HashMap::new());
        for row in balances_of(conn, &ids)? {
            *sums.entry(row.lot_id).or_insert(0) += row.mass_mg;
            if row.state == "production" {
                *production.entry(row.lot_id).or_insert(0) += row.mass_mg;
            }
        }
        let sum_of = |sums: &HashMap<i64, i64>, lot: i64| sums.get(&lot).copied().unwrap_or(0);
        for lot in page {
            if lot.id != from {
                return Ok(Some(wrong("lots", from, "the lot is missing: their ids have no gaps")));
            }
            let sum_mg = sum_of(&sums, lot.id);
            if sum_mg != 0 {
                return Ok(Some(wrong(
                    "balances",
                    lot.id,
                    format!("the lot's balances add up to {sum_mg} mg, not to 0"),
                )));
            }
            let made_mg = if lot.batch_id.is_some() { lot.mass_mg } else { 0 };
            let booked_mg = sum_of(&production, lot.id) + made_mg;
            let used_mg = used(index, lot.id)?;
            if booked_mg != used_mg {
                let what = format!("{used_mg} mg of it were used, {booked_mg} mg of it moved into batches");
                return Ok(Some(wrong("lots", lot.id, what)));
            }
            verified.lots += 1;
            from += 1;
        }
    }
}

fn used(index: &Index, lot: i64) -> Result<i64> {
    let lot = crate::index::lot_ix(lot)?;
    Ok(index.look(|inside, _| inside.graph.uses_of(lot).map(|(_, mg)| mg).sum()))
}

/// What a completion says went in and came out is what had been written down by then.
fn check_completions(conn: &mut AnyConnection, verified: &mut Verified) -> Result<Option<Wrong>> {
    let mut from = 0;
    loop {
        let page = CompletionRow::page(conn, from, PAGE).map_err(StorageError::from)?;
        let Some(last) = page.last() else { return Ok(None) };
        from = last.id + 1;
        let (went_in, came_out) = (went_in(conn, &page)?, came_out(conn, &page)?);
        for completion in page {
            let in_mg = went_in.get(&completion.batch_id).copied().unwrap_or(0);
            let out_mg = came_out.get(&completion.batch_id).copied().unwrap_or(0);
            if (completion.in_mg, completion.out_mg) != (in_mg, out_mg) {
                let what = format!(
                    "it says {} mg in and {} mg out; {in_mg} mg and {out_mg} mg were written down",
                    completion.in_mg, completion.out_mg
                );
                return Ok(Some(wrong("completions", completion.id, what)));
            }
            verified.completions += 1;
        }
    }
}

fn went_in(conn: &mut AnyConnection, completions: &[CompletionRow]) -> Result<HashMap<i64, i64>> {
    let entries: HashMap<i64, i64> = completions.iter().map(|row| (row.batch_id, row.entry)).collect();
    let by_then = |batch: i64, entry: i64| entries.get(&batch).is_some_and(|completed| entry <= *completed);
    let batches: Vec<i64> = entries.keys().copied().collect();
    let uses = uses_of_batches(conn, &batches)?;
    let batch_of: HashMap<i64, i64> = uses.iter().map(|one| (one.id, one.batch_id)).collect();
    let voids = voids_of(conn, &uses.iter().map(|one| one.id).collect::<Vec<_>>())?;
    let voids = voids.iter().filter(|void| batch_of.get(&void.use_id).is_some_and(|batch| by_then(*batch, void.entry)));
    let voided: HashSet<i64> = voids.map(|void| void.use_id).collect();
    let mut sums = HashMap::new();
    for one in uses.iter().filter(|one| by_then(one.batch_id, one.entry) && !voided.contains(&one.id)) {
        *sums.entry(one.batch_id).or_insert(0) += one.mass_mg;
    }
    for input in untracked_of_batches(conn, &batches)?.iter().filter(|input| by_then(input.batch_id, input.entry)) {
        *sums.entry(input.batch_id).or_insert(0) += input.mass_mg;
    }
    Ok(sums)
}

fn came_out(conn: &mut AnyConnection, completions: &[CompletionRow]) -> Result<HashMap<i64, i64>> {
    let batches: Vec<i64> = completions.iter().map(|row| row.batch_id).collect();
    let mut sums = HashMap::new();
    for lot in lots_of_batches(conn, &batches)? {
        if let Some(batch) = lot.batch_id {
            *sums.entry(batch).or_insert(0) += lot.mass_mg;
        }
    }
    Ok(sums)
}

/// The graph fed from the journal piece by piece, as a running server feeds it, is the graph built in one go.
fn check_graph(conn: &mut AnyConnection, index: &Index, verified: &mut Verified) -> Result<Option<Wrong>> {
    let fed = Index::default();
    let last = index.position();
    let piece = usize::try_from(last / PIECES).unwrap_or(0).max(1);
    for until in (1..last).step_by(piece).chain([last]) {
        fed.follow(conn, until)?;
    }
    for one in [index, &fed] {
        let unread = one.look(|one, _| one.unread());
        one.read_in(conn, &unread)?;
    }
    let difference = index.look(|built, _| {
        verified.graph_lots = built.graph.lots() as u64;
        verified.graph_batches = built.graph.batches() as u64;
        verified.graph_uses = built.graph.uses() as u64;
        fed.look(|fed, _| built.first_difference(fed))
    });
    Ok(difference
        .map(|(table, row, what)| wrong(table, row, format!("built in one go and fed piece by piece, {what}"))))
}

/// What was received is all somewhere: held, in open batches, or lost; lot by lot, and all lots together.
fn check_shares(index: &Index, verified: &mut Verified) -> Option<Wrong> {
    index.look(|inside, scratch| {
        let graph = &inside.graph;
        let received: Vec<LotIx> = graph.every_lot().filter(|lot| graph.made_by(*lot).is_none()).collect();
        let every = received.len().div_ceil(SAMPLE).max(1);
        let mut groups: Vec<&[LotIx]> = received.iter().step_by(every).map(std::slice::from_ref).collect();
        verified.shares = groups.len() as u64;
        groups.push(&received);
        for seeds in groups {
            let balance = graph.balance(scratch, seeds);
            let found = balance.held_mg + balance.in_batches_mg + balance.lost_mg + balance.in_seeds_mg;
            if (balance.input_mg - found).abs() > TOLERANCE * balance.input_mg.max(1.0) {
                let row = seeds.first().map_or(0, |lot| lot_row(*lot));
                return Some(wrong("lots", row, format!("of {} mg, {found} mg are found again", balance.input_mg)));
            }
        }
        None
    })
}

fn wrong(table: &str, row: i64, what: impl Into<String>) -> Wrong {
    Wrong { table: table.into(), row: row.to_string(), entry: None, what: what.into() }
}
