//! The ingredients as they stand in the list: dispersed, merged, in descending order.

use super::went_in::{Inside, WentIn};
use crate::quantity::divide_half_to_even;

/// An ingredient as it stands in the list.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Entry {
    pub(super) name: String,
    /// In millionths of a milligram, so that the shares of what was made in the house lose nothing that counts.
    pub(super) amount: i128,
    /// What is declared to be in it beyond what its parts say, as a mask.
    pub(super) contains: u64,
    pub(super) sugars_based: bool,
    pub(super) percent_shown: bool,
    pub(super) parts: Parts,
}

/// What stands in the brackets behind an ingredient.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) enum Parts {
    Single,
    Listed(Vec<String>),
    NotKnown,
    Weighed(Vec<Entry>),
}

/// The whole in which amounts are counted.
const MILLIONTHS: i128 = 1_000_000;

/// The entries of the list: dispersed, merged, in descending order.
pub(super) fn entries(went_in: &[WentIn]) -> Vec<Entry> {
    let mut entries = Vec::new();
    for one in went_in {
        add_entries(&mut entries, one, i128::from(one.mass.mg()) * MILLIONTHS);
    }
    in_order(&mut entries);
    entries
}

/// Adds one use, or its parts in its stead. `amount` is at most 10^18 (see [`crate::quantity::Mass::MAX`]), and a share
/// is never more than the whole, so that no product is above 10^36.
fn add_entries(entries: &mut Vec<Entry>, one: &WentIn, amount: i128) {
    let is_dispersed = one.is_dispersed();
    let parts = match &one.inside {
        Inside::Made { parts, weight, .. } if !parts.is_empty() => {
            // What gave more than it is said to weigh weighed at least that.
            let whole = (i128::from(weight.mg()) * MILLIONTHS).max(amount).max(1);
            let mut inner = Vec::new();
            let target = if is_dispersed { &mut *entries } else { &mut inner };
            for part in parts {
                let share = divide_half_to_even(i128::from(part.mass.mg()) * MILLIONTHS * amount, whole);
                add_entries(target, part, share);
            }
            if is_dispersed {
                return;
            }
            in_order(&mut inner);
            Parts::Weighed(inner)
        }
        Inside::Listed(list) if !list.is_empty() => Parts::Listed(list.clone()),
        Inside::Made { .. } | Inside::Listed(_) | Inside::NotKnown => Parts::NotKnown,
        Inside::Single => Parts::Single,
    };
    let entry = Entry {
        name: one.label_name.clone().unwrap_or_else(|| one.item.clone()),
        amount,
        contains: one.declared.contains,
        sugars_based: one.sugars_based,
        percent_shown: one.percent_shown,
        parts,
    };
    merge(entries, entry);
}

/// Adds an entry to the one of the same name, if what they are made of reads the same; else beside it.
fn merge(entries: &mut Vec<Entry>, new: Entry) {
    let Some(same) = entries.iter_mut().find(|entry| entry.is_same(&new)) else {
        return entries.push(new);
    };
    same.amount += new.amount;
    same.contains |= new.contains;
    same.sugars_based |= new.sugars_based;
    same.percent_shown |= new.percent_shown;
    if let (Parts::Weighed(parts), Parts::Weighed(others)) = (&mut same.parts, new.parts) {
        for other in others {
            merge(parts, other);
        }
        in_order(parts);
    }
}

impl Entry {
    fn is_same(&self, other: &Self) -> bool {
        let parts_read_the_same = match (&self.parts, &other.parts) {
            (Parts::Listed(list), Parts::Listed(another)) => {
                list.len() == another.len()
                    && list.iter().zip(another).all(|(one, another)| reads_the_same(one, another))
            }
            (parts, others) => std::mem::discriminant(parts) == std::mem::discriminant(others),
        };
        parts_read_the_same && reads_the_same(&self.name, &other.name)
    }
}

fn reads_the_same(one: &str, another: &str) -> bool {
    one.trim().to_lowercase() == another.trim().to_lowercase()
}

/// Descending by amount; what weighs the same by name, so that a list reads the same every time.
fn in_order(entries: &mut [Entry]) {
    entries.sort_by(|one, another| {
        let by_name = || one.name.to_lowercase().cmp(&another.name.to_lowercase());
        another.amount.cmp(&one.amount).then_with(by_name)
    });
}
