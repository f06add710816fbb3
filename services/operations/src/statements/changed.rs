//! Which lots answer otherwise because of a statement.

use std::collections::{HashMap, HashSet};

use serde::{Deserialize, Serialize};
use tubtrail_domain::allergens::Substance;
use tubtrail_domain::place::State;
use tubtrail_lineage::{Changed, Content};
use tubtrail_storage::contents::{inputs_beside, stated_lots};
use tubtrail_storage::lots::{lots_by_ids, tubs_among};
use tubtrail_storage::statements::{StatementProteinRow, StatementRow};
use tubtrail_storage::stock::balances_of;
use tubtrail_storage::{AnyConnection, StorageError};
use utoipa::ToSchema;

use crate::allergen_words::Answer;
use crate::batches::{code_of, item_codes};
use crate::error::Result;
use crate::index::contents::declares;
use crate::index::stated::Stated;
use crate::index::{Index, lot_row};
use crate::lots;

/// Most tubs that are listed.
const MOST_LISTED: usize = 200;

/// The lots that answer otherwise because of a statement.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub struct ChangedLots {
    /// How many lots, tubs among them.
    pub lots: usize,
    /// How many tubs.
    pub tubs: usize,
    /// The tubs, those of which some is on hand first, then the newest; 200 at most.
    pub listed: Vec<ChangedLot>,
    /// Every tub that answers otherwise is listed.
    pub complete: bool,
}

/// A tub that answers otherwise.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub struct ChangedLot {
    /// Its number.
    pub lot: String,
    /// The code of what it is.
    pub item: String,
    /// Some of it is on hand.
    pub on_hand: bool,
    /// Which answers, and how.
    pub changes: Vec<AnswerChanged>,
}

/// An answer that became another.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub struct AnswerChanged {
    /// The word of the allergen.
    pub allergen: String,
    /// What was answered until now.
    pub before: Answer,
    /// What is answered from now on.
    pub after: Answer,
}

/// What a statement about to be committed changes, in the graph as it is before it.
pub(super) fn by(
    conn: &mut AnyConnection,
    index: &Index,
    new: &StatementRow,
    proteins: &[StatementProteinRow],
    corrected: Option<&StatementRow>,
) -> Result<ChangedLots> {
    let touched = || [Some(new), corrected].into_iter().flatten();
    let items: HashSet<i64> = touched().filter(|row| row.lot_id.is_none()).map(|row| row.item_id).collect();
    let items: Vec<i64> = items.into_iter().collect();
    let single: HashSet<i64> = touched().filter_map(|row| row.lot_id).collect();
    let until = new.entry - 1;
    let lots = stated_lots(conn, &items, &single.into_iter().collect::<Vec<_>>(), until)?;
    let inputs = inputs_beside(conn, &items, until)?;
    let stated = Stated::read(new, &proteins.iter().collect::<Vec<_>>())?;
    let changed = index.look(|inside, scratch| {
        let mut statements = inside.contents.statements.clone();
        statements.add(stated);
        if let Some(row) = corrected {
            statements.remove(row.item_id, row.lot_id, row.id);
        }
        inside.supposing(scratch, &statements, &lots, &inputs)
    })?;
    let answers = changed.iter().map(|changed| (lot_row(changed.lot), differences(changed)));
    list(conn, answers.filter(|(_, changes)| !changes.is_empty()).collect())
}

/// The answers that became others.
fn differences(changed: &Changed) -> Vec<AnswerChanged> {
    let answer = |content: Content, substance: Substance| Answer::from(declares(content).answer(substance));
    let each = Substance::ALL.into_iter().map(|substance| AnswerChanged {
        allergen: substance.word().to_owned(),
        before: answer(changed.before, substance),
        after: answer(changed.after, substance),
    });
    each.filter(|change| change.before != change.after).collect()
}

fn list(conn: &mut AnyConnection, mut changed: HashMap<i64, Vec<AnswerChanged>>) -> Result<ChangedLots> {
    let mut ids: Vec<i64> = changed.keys().copied().collect();
    ids.sort_unstable();
    let mut tubs = tubs_among(conn, &ids)?;
    let on_hand = on_hand_among(conn, &tubs)?;
    let count = tubs.len();
    tubs.sort_unstable_by_key(|tub| (!on_hand.contains(tub), -tub));
    tubs.truncate(MOST_LISTED);
    let rows: HashMap<_, _> = lots_by_ids(conn, &tubs)?.into_iter().map(|row| (row.id, row)).collect();
    let codes = item_codes(conn, rows.values().map(|row| row.item_id))?;
    let listed = tubs.iter().map(|tub| {
        let row = rows.get(tub).ok_or_else(|| StorageError::Corrupt(format!("lot row {tub} is missing")))?;
        Ok(ChangedLot {
            lot: lots::number(row)?.to_string(),
            item: code_of(&codes, row.item_id)?,
            on_hand: on_hand.contains(tub),
            changes: changed.remove(tub).unwrap_or_default(),
        })
    });
    Ok(ChangedLots {
        lots: ids.len(),
        tubs: count,
        listed: listed.collect::<Result<_>>()?,
        complete: count <= MOST_LISTED,
    })
}

fn on_hand_among(conn: &mut AnyConnection, tubs: &[i64]) -> Result<HashSet<i64>> {
    let is_on_hand = |state: &str| State::from_word(state).is_some_and(State::is_on_hand);
    let rows = balances_of(conn, tubs)?.into_iter();
    Ok(rows.filter(|row| row.mass_mg > 0 && is_on_hand(&row.state)).map(|row| row.lot_id).collect())
}
