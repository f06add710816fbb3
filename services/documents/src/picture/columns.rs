//! In which column a lot stands: as far right of everything that went into it as the longest way takes. What is reached by
//! contact alone, and of which nothing that went in is drawn, stands where others of its kind begin.

use std::collections::HashMap;

use super::PictureLot;

/// The column of each lot, below `most`.
pub(super) fn columns(lots: &[PictureLot], most: usize) -> Vec<usize> {
    let mut columns = stepped(lots, vec![0; lots.len()], |lot| !lot.by_contact);
    if lots.iter().any(|lot| lot.by_contact) {
        let mut kinds: HashMap<&str, usize> = HashMap::new();
        for (lot, column) in lots.iter().zip(&columns).filter(|(lot, _)| !lot.by_contact) {
            let least = kinds.entry(&lot.kind).or_insert(*column);
            *least = (*least).min(*column);
        }
        let begin =
            |lot: &PictureLot| if lot.by_contact { kinds.get(lot.kind.as_str()).copied().unwrap_or(1) } else { 0 };
        columns = stepped(lots, lots.iter().map(begin).collect(), |_| true);
    }
    for column in &mut columns {
        *column = (*column).min(most.saturating_sub(1));
    }
    columns
}

/// The column of those lots that count: one step right of everything that went into them, or else where they begin.
fn stepped(lots: &[PictureLot], mut columns: Vec<usize>, counts: impl Fn(&PictureLot) -> bool) -> Vec<usize> {
    let mut made: HashMap<i64, Vec<usize>> = HashMap::new();
    let mut waits: HashMap<i64, usize> = HashMap::new();
    let counted = || lots.iter().enumerate().filter(|(_, lot)| counts(lot));
    for (at, lot) in counted() {
        if let Some(batch) = lot.made_by {
            made.entry(batch).or_default().push(at);
        }
        for (batch, _) in &lot.used_in {
            *waits.entry(*batch).or_insert(0) += 1;
        }
    }
    let begins = |lot: &PictureLot| lot.made_by.is_none_or(|batch| !waits.contains_key(&batch));
    let mut known: Vec<usize> = counted().filter(|(_, lot)| begins(lot)).map(|(at, _)| at).collect();
    let mut reached: HashMap<i64, usize> = HashMap::new();
    // A batch's column is known once that of everything that went into it is.
    while let Some(at) = known.pop() {
        for (batch, _) in &lots[at].used_in {
            let column = reached.entry(*batch).or_insert(0);
            *column = (*column).max(columns[at] + 1);
            let left = waits.entry(*batch).or_insert(1);
            *left = left.saturating_sub(1);
            if *left > 0 {
                continue;
            }
            for yielded in made.get(batch).into_iter().flatten() {
                columns[*yielded] = *column;
                known.push(*yielded);
            }
        }
    }
    columns
}
