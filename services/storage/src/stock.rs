//! Where every milligram is: movements, balances, and what moves them: transfers, counts, holds.

use std::cmp::Reverse;
use std::collections::{BTreeMap, HashMap, HashSet};

use chrono::NaiveDateTime;
use diesel::dsl::{max, sql};
use diesel::prelude::*;
use diesel::sql_types::Bool;
use tubtrail_domain::place::{Place, State};

use crate::ids::CHUNK;
use crate::lots::lots_by_ids;
use crate::{AnyConnection, Fact, StorageError};

fact! {
    /// A quantity of a lot left one place and reached another.
    movements => MovementRow {
        /// Of which lot.
        lot_id: i64 => BigInt,
        /// What happened, in a word.
        kind: String => Text,
        /// Left which site.
        from_site_id: i64 => BigInt,
        /// In which state.
        from_state: String => Text,
        /// Reached which site.
        to_site_id: i64 => BigInt,
        /// In which state.
        to_state: String => Text,
        /// How much.
        mass_mg: i64 => BigInt,
        /// When it happened.
        occurred_at: NaiveDateTime => Timestamp,
        /// Why, where that is asked.
        reason: Option<String> => Nullable<Text>,
        /// The use it belongs to.
        use_id: Option<i64> => Nullable<BigInt>,
        /// The transfer it belongs to.
        transfer_id: Option<i64> => Nullable<BigInt>,
        /// The count it belongs to.
        count_id: Option<i64> => Nullable<BigInt>,
        /// The supplier it came from or the customer it went to.
        partner_id: Option<i64> => Nullable<BigInt>,
        /// The paper it went with.
        document: Option<String> => Nullable<Text>,
    }
}

fact! {
    /// Stock sent from a site to another.
    transfers => TransferRow {
        /// From where.
        from_site_id: i64 => BigInt,
        /// To where.
        to_site_id: i64 => BigInt,
        /// When it left.
        dispatched_at: NaiveDateTime => Timestamp,
        /// Remarks.
        note: Option<String> => Nullable<Text>,
    }
}

fact! {
    /// So much of a lot on a transfer.
    transfer_lines => TransferLineRow {
        /// Which transfer.
        transfer_id: i64 => BigInt,
        /// Which lot.
        lot_id: i64 => BigInt,
        /// How much was sent.
        mass_mg: i64 => BigInt,
    }
}

fact! {
    /// A transfer arrived.
    receipts => ReceiptRow {
        /// Which transfer.
        transfer_id: i64 => BigInt,
        /// When.
        received_at: NaiveDateTime => Timestamp,
        /// Remarks.
        note: Option<String> => Nullable<Text>,
    }
}

fact! {
    /// What arrived of a lot on a transfer.
    receipt_lines => ReceiptLineRow {
        /// Which receipt.
        receipt_id: i64 => BigInt,
        /// Which lot.
        lot_id: i64 => BigInt,
        /// What had been sent; 0 for a lot that was not on the list.
        sent_mg: i64 => BigInt,
        /// What arrived whole.
        received_mg: i64 => BigInt,
        /// What arrived damaged and was thrown away.
        damaged_mg: i64 => BigInt,
        /// Why it differs.
        reason: Option<String> => Nullable<Text>,
    }
}

fact! {
    /// A shelf was counted.
    counts => CountRow {
        /// Where.
        site_id: i64 => BigInt,
        /// When.
        counted_at: NaiveDateTime => Timestamp,
        /// Remarks.
        note: Option<String> => Nullable<Text>,
    }
}

fact! {
    /// What was found of a lot.
    count_lines => CountLineRow {
        /// In which count.
        count_id: i64 => BigInt,
        /// Which lot.
        lot_id: i64 => BigInt,
        /// available or open.
        state: String => Text,
        /// What the book said.
        expected_mg: i64 => BigInt,
        /// What was there.
        found_mg: i64 => BigInt,
        /// Why it differs.
        reason: Option<String> => Nullable<Text>,
    }
}

fact! {
    /// A lot may not be used, moved, opened or served.
    holds => HoldRow {
        /// Which lot.
        lot_id: i64 => BigInt,
        /// Why.
        reason: String => Text,
    }
}

fact! {
    /// A hold was lifted.
    hold_releases => HoldReleaseRow {
        /// Which.
        hold_id: i64 => BigInt,
        /// Why.
        reason: String => Text,
    }
}

fact! {
    /// A received lot was turned away after all.
    lot_rejections => LotRejectionRow {
        /// Which lot.
        lot_id: i64 => BigInt,
        /// Why.
        reason: String => Text,
    }
}

diesel::table! {
    balances (lot_id, site_id, state) {
        lot_id -> BigInt,
        site_id -> BigInt,
        state -> Text,
        mass_mg -> BigInt,
    }
}

/// How much of a lot a place holds.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord, Queryable)]
pub struct BalanceRow {
    /// Of which lot.
    pub lot_id: i64,
    /// At which site.
    pub site_id: i64,
    /// In which state.
    pub state: String,
    /// How much; below zero only for the accounts that give.
    pub mass_mg: i64,
}

impl BalanceRow {
    /// The place it speaks of.
    pub fn place(&self) -> Result<Place, StorageError> {
        place(self.site_id, &self.state)
    }
}

impl MovementRow {
    /// The place it left.
    pub fn from(&self) -> Result<Place, StorageError> {
        place(self.from_site_id, &self.from_state)
    }

    /// The place it reached.
    pub fn to(&self) -> Result<Place, StorageError> {
        place(self.to_site_id, &self.to_state)
    }
}

/// The place that a row names.
pub fn place(site_id: i64, state: &str) -> Result<Place, StorageError> {
    let state = State::from_word(state).ok_or_else(|| StorageError::Corrupt(format!("state {state:?}")))?;
    Ok(Place::new(site_id, state))
}

/// How much of a lot a place holds.
pub fn balance(conn: &mut AnyConnection, lot_id: i64, place: Place) -> Result<i64, StorageError> {
    let found = balances::table
        .find((lot_id, place.site_id, place.state.word()))
        .select(balances::mass_mg)
        .first(conn)
        .optional()?;
    Ok(found.unwrap_or(0))
}

/// The balances of some lots that are not zero, by lot.
pub fn balances_of(conn: &mut AnyConnection, lot_ids: &[i64]) -> Result<Vec<BalanceRow>, StorageError> {
    let mut found = Vec::new();
    for chunk in lot_ids.chunks(CHUNK) {
        found.extend(
            balances::table
                .filter(balances::lot_id.eq_any(chunk.to_vec()))
                .filter(balances::mass_mg.ne(0))
                .load::<BalanceRow>(conn)?,
        );
    }
    found.sort();
    Ok(found)
}

/// When a tub was last opened, if it ever was.
pub fn opened_at(conn: &mut AnyConnection, lot_id: i64) -> Result<Option<NaiveDateTime>, StorageError> {
    Ok(movements::table
        .filter(movements::lot_id.eq(lot_id))
        .filter(movements::from_state.eq(State::Available.word()))
        .filter(movements::to_state.eq(State::Open.word()))
        .order(movements::id.desc())
        .select(movements::occurred_at)
        .first(conn)
        .optional()?)
}

/// When some of a lot last left or reached a place.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct LastMoved {
    /// Of which lot.
    pub lot_id: i64,
    /// From or to which state.
    pub state: String,
    /// When it happened.
    pub at: NaiveDateTime,
}

/// When some lots last left or reached each state at a site.
pub fn last_moved(conn: &mut AnyConnection, site_id: i64, lot_ids: &[i64]) -> Result<Vec<LastMoved>, StorageError> {
    let mut last: BTreeMap<(i64, String), NaiveDateTime> = BTreeMap::new();
    for chunk in lot_ids.chunks(CHUNK) {
        // The plus keeps SQLite from going through all that ever came to the site, or left it.
        let left = movements::table
            .filter(movements::lot_id.eq_any(chunk.to_vec()))
            .filter((movements::from_site_id + 0).eq(site_id))
            .group_by((movements::lot_id, movements::from_state))
            .select((movements::lot_id, movements::from_state, max(movements::occurred_at)))
            .load::<(i64, String, Option<NaiveDateTime>)>(conn)?;
        let reached = movements::table
            .filter(movements::lot_id.eq_any(chunk.to_vec()))
            .filter((movements::to_site_id + 0).eq(site_id))
            .group_by((movements::lot_id, movements::to_state))
            .select((movements::lot_id, movements::to_state, max(movements::occurred_at)))
            .load::<(i64, String, Option<NaiveDateTime>)>(conn)?;
        for (lot_id, state, at) in left.into_iter().chain(reached) {
            let Some(at) = at else { continue };
            let known = last.entry((lot_id, state)).or_insert(at);
            *known = at.max(*known);
        }
    }
    Ok(last.into_iter().map(|((lot_id, state), at)| LastMoved { lot_id, state, at }).collect())
}

/// When some of a lot first reached the shelf at a site, if it ever did.
pub fn here_since(conn: &mut AnyConnection, lot_id: i64, site_id: i64) -> Result<Option<NaiveDateTime>, StorageError> {
    Ok(movements::table
        .filter(movements::lot_id.eq(lot_id))
        // The plus keeps SQLite from going through all that ever came to the site, in order of time.
        .filter((movements::to_site_id + 0).eq(site_id))
        .filter(movements::to_state.eq(State::Available.word()))
        .order(movements::occurred_at)
        .select(movements::occurred_at)
        .first(conn)
        .optional()?)
}

/// The masses of the lots of which counts and receipts found or missed something after a journal entry, as known at another:
/// lot and milligrams. A lot is what came to be of it, and what was found beyond what was missed; a mistaken count that was
/// put right leaves no trace in it.
pub fn counted_masses(conn: &mut AnyConnection, after: i64, until: i64) -> Result<Vec<(i64, i64)>, StorageError> {
    let mut lot_ids: Vec<i64> = if after == 0 {
        // Of all there ever was: by the index balances_counted, which serves where its condition stands word for word.
        let counted = sql::<Bool>("state = 'count_difference'");
        balances::table.filter(counted).select(balances::lot_id).load(conn)?
    } else {
        let word = State::CountDifference.word();
        movements::table
            .filter(movements::entry.gt(after))
            .filter(movements::entry.le(until))
            .filter(movements::from_state.eq(word).or(movements::to_state.eq(word)))
            .select(movements::lot_id)
            .load(conn)?
    };
    lot_ids.sort_unstable();
    lot_ids.dedup();
    let mut masses = Vec::with_capacity(lot_ids.len());
    for some in lot_ids.chunks(CHUNK) {
        let found_mg = found_beyond_missed(conn, some, until)?;
        // The balances know of lots that came later.
        let lots = lots_by_ids(conn, some)?.into_iter().filter(|lot| lot.entry <= until);
        masses.extend(lots.map(|lot| (lot.id, lot.mass_mg + found_mg.get(&lot.id).map_or(0, |mg| *mg.max(&0)))));
    }
    Ok(masses)
}

/// What counts and receipts found of some lots beyond what they missed, as known at an entry, in milligrams.
fn found_beyond_missed(
    conn: &mut AnyConnection,
    lot_ids: &[i64],
    until: i64,
) -> Result<HashMap<i64, i64>, StorageError> {
    let word = State::CountDifference.word();
    let mut found_mg = HashMap::new();
    for row in MovementRow::among(conn, "lot_id", lot_ids)?.iter().filter(|row| row.entry <= until) {
        let sum = found_mg.entry(row.lot_id).or_insert(0);
        *sum += if row.from_state == word { row.mass_mg } else { 0 };
        *sum -= if row.to_state == word { row.mass_mg } else { 0 };
    }
    Ok(found_mg)
}

/// How a hold was lifted, if it was.
pub fn release_of(conn: &mut AnyConnection, hold_id: i64) -> Result<Option<HoldReleaseRow>, StorageError> {
    Ok(hold_releases::table.filter(hold_releases::hold_id.eq(hold_id)).first(conn).optional()?)
}

/// Why a lot was turned away, if it was.
pub(crate) fn rejection_of(conn: &mut AnyConnection, lot_id: i64) -> Result<Option<LotRejectionRow>, StorageError> {
    Ok(lot_rejections::table.filter(lot_rejections::lot_id.eq(lot_id)).first(conn).optional()?)
}

/// A transfer by row id.
pub fn transfer(conn: &mut AnyConnection, id: i64) -> Result<Option<TransferRow>, StorageError> {
    Ok(transfers::table.find(id).first(conn).optional()?)
}

/// A transfer's lines.
pub fn lines_of_transfer(conn: &mut AnyConnection, transfer_id: i64) -> Result<Vec<TransferLineRow>, StorageError> {
    Ok(transfer_lines::table
        .filter(transfer_lines::transfer_id.eq(transfer_id))
        .order(transfer_lines::id)
        .load(conn)?)
}

/// A transfer's receipt, once it arrived.
pub fn receipt_of(conn: &mut AnyConnection, transfer_id: i64) -> Result<Option<ReceiptRow>, StorageError> {
    Ok(receipts::table.filter(receipts::transfer_id.eq(transfer_id)).first(conn).optional()?)
}

/// A receipt's lines.
pub fn lines_of_receipt(conn: &mut AnyConnection, receipt_id: i64) -> Result<Vec<ReceiptLineRow>, StorageError> {
    Ok(receipt_lines::table.filter(receipt_lines::receipt_id.eq(receipt_id)).order(receipt_lines::id).load(conn)?)
}

/// A hold by row id.
pub fn hold(conn: &mut AnyConnection, id: i64) -> Result<Option<HoldRow>, StorageError> {
    Ok(holds::table.find(id).first(conn).optional()?)
}

/// Which of some lots are on hold.
pub fn held_among(conn: &mut AnyConnection, lot_ids: &[i64]) -> Result<HashSet<i64>, StorageError> {
    Ok(unreleased(conn, lot_ids)?.into_iter().map(|hold| hold.lot_id).collect())
}

/// The hold that keeps each of some lots: the oldest not released. Lots that are not on hold are not in it.
pub fn holds_on(conn: &mut AnyConnection, lot_ids: &[i64]) -> Result<HashMap<i64, HoldRow>, StorageError> {
    let mut found = unreleased(conn, lot_ids)?;
    found.sort_by_key(|hold| Reverse(hold.id));
    Ok(found.into_iter().map(|hold| (hold.lot_id, hold)).collect())
}

fn unreleased(conn: &mut AnyConnection, lot_ids: &[i64]) -> Result<Vec<HoldRow>, StorageError> {
    let mut found = HoldRow::among(conn, "lot_id", lot_ids)?;
    let released = releases_of(conn, &found.iter().map(|hold| hold.id).collect::<Vec<_>>())?;
    found.retain(|hold| !released.contains_key(&hold.id));
    Ok(found)
}

/// How some holds were lifted, by hold.
pub fn releases_of(conn: &mut AnyConnection, hold_ids: &[i64]) -> Result<HashMap<i64, HoldReleaseRow>, StorageError> {
    let found = HoldReleaseRow::among(conn, "hold_id", hold_ids)?;
    Ok(found.into_iter().map(|release| (release.hold_id, release)).collect())
}

/// A count by row id.
pub fn count(conn: &mut AnyConnection, id: i64) -> Result<Option<CountRow>, StorageError> {
    Ok(counts::table.find(id).first(conn).optional()?)
}

/// A count's lines.
pub fn lines_of_count(conn: &mut AnyConnection, count_id: i64) -> Result<Vec<CountLineRow>, StorageError> {
    Ok(count_lines::table.filter(count_lines::count_id.eq(count_id)).order(count_lines::id).load(conn)?)
}

/// The next counts after a row id, oldest first, at some sites (`None`: at all).
pub fn counts_after(
    conn: &mut AnyConnection,
    after: i64,
    sites: Option<&[i64]>,
    limit: i64,
) -> Result<Vec<CountRow>, StorageError> {
    let mut query = counts::table.filter(counts::id.gt(after)).order(counts::id).limit(limit).into_boxed();
    if let Some(sites) = sites {
        query = query.filter(counts::site_id.eq_any(sites.to_vec()));
    }
    Ok(query.load(conn)?)
}

/// What was counted at a site since a moment, each line with its count; the newest first.
pub fn lines_counted_since(
    conn: &mut AnyConnection,
    site_id: i64,
    since: NaiveDateTime,
) -> Result<Vec<(CountRow, CountLineRow)>, StorageError> {
    let found: Vec<CountRow> =
        counts::table.filter(counts::site_id.eq(site_id)).filter(counts::counted_at.ge(since)).load(conn)?;
    let of_id: HashMap<i64, CountRow> = found.into_iter().map(|count| (count.id, count)).collect();
    let ids: Vec<i64> = of_id.keys().copied().collect();
    let rows = CountLineRow::among(conn, "count_id", &ids)?.into_iter();
    let mut lines: Vec<(CountRow, CountLineRow)> =
        rows.filter_map(|line| Some((of_id.get(&line.count_id)?.clone(), line))).collect();
    lines.sort_unstable_by_key(|(_, line)| Reverse(line.id));
    Ok(lines)
}

/// The first hold after a row.
pub fn hold_after(conn: &mut AnyConnection, after: i64) -> Result<Option<HoldRow>, StorageError> {
    Ok(holds::table.filter(holds::id.gt(after)).order(holds::id).first(conn).optional()?)
}

/// The first release of a hold after a row.
pub fn release_after(conn: &mut AnyConnection, after: i64) -> Result<Option<HoldReleaseRow>, StorageError> {
    Ok(hold_releases::table.filter(hold_releases::id.gt(after)).order(hold_releases::id).first(conn).optional()?)
}
