//! In which column a lot stands: as far right of everything that went into it as the longest way takes.

use std::collections::HashMap;

use super::PictureLot;

/// The column of each lot, below `most`.
pub(super) fn columns(lots: &[PictureLot], most: usize) -> Vec<usize> {
    let mut made: HashMap<i64, Vec<usize>> = HashMap::new();
    let mut waits: HashMap<i64, usize> = HashMap::new();
    for (at, lot) in lots.iter().enumerate() {
        if let Some(batch) = lot.made_by {
            made.entry(batch).or_default().push(at);
        }
        for (batch, _) in &lot.used_in {
            *waits.entry(*batch).or_insert(0) += 1;
        }
    }
    let mut columns = vec![0; lots.len()];
    let begins = |lot: &PictureLot| lot.made_by.is_none_or(|batch| !waits.contains_key(&batch));
    let mut known: Vec<usize> = (0..lots.len()).filter(|at| begins(&lots[*at])).collect();
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
    for column in &mut columns {
        *column = (*column).min(most.saturating_sub(1));
    }
    columns
}
