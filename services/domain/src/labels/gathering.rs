//! What went in, gathered through everything that was made on the way.

use super::went_in::{Inside, Shown, WentIn};
use crate::quantity::{Mass, divide_half_to_even};

/// How deep brackets go; what lies deeper stands among the parts of what it is in.
const DEEPEST: usize = 3;

/// What some uses come to: what has no name of its own on a label gives way to its parts, and the same thing through several
/// lots is one. What is made in the house stands there as it was used: its weight is its mass, its parts what is in that
/// much.
///
/// Without this the tree of a base that has yesterday's rest in it, day after day, would have no end; so made, a batch says
/// no more than there are different things in it.
pub fn gathered(uses: Vec<WentIn>) -> Vec<WentIn> {
    let mut all = Vec::new();
    for one in uses {
        add(&mut all, as_used(one, DEEPEST));
    }
    all
}

/// With what is in it cut down to how much of it was used.
fn as_used(one: WentIn, deepest: usize) -> WentIn {
    let Inside::Made { parts, weight, shown } = one.inside else { return one };
    // What gave more than it is said to weigh weighed at least that.
    let whole = weight.max(one.mass);
    let mut inside = Vec::new();
    for part in parts {
        let part = scaled(part, one.mass, whole);
        let part = if deepest == 0 { dispersed(part) } else { part };
        let part = as_used(part, deepest.saturating_sub(1));
        add(&mut inside, part);
    }
    WentIn { inside: Inside::Made { parts: inside, weight: one.mass, shown }, ..one }
}

fn dispersed(one: WentIn) -> WentIn {
    match one.inside {
        Inside::Made { parts, weight, .. } => {
            WentIn { inside: Inside::Made { parts, weight, shown: Shown::Dispersed }, ..one }
        }
        inside => WentIn { inside, ..one },
    }
}

/// So much of it as was used of a whole.
fn scaled(one: WentIn, used: Mass, whole: Mass) -> WentIn {
    let inside = match one.inside {
        Inside::Made { parts, weight, shown } => Inside::Made {
            parts: parts.into_iter().map(|part| scaled(part, used, whole)).collect(),
            weight: share(weight, used, whole),
            shown,
        },
        inside => inside,
    };
    WentIn { mass: share(one.mass, used, whole), inside, ..one }
}

/// A share is never more than the mass it is of, for no more is used than there is.
fn share(mass: Mass, used: Mass, whole: Mass) -> Mass {
    let share = divide_half_to_even(i128::from(mass.mg()) * i128::from(used.mg()), i128::from(whole.mg().max(1)));
    i64::try_from(share).ok().and_then(|mg| Mass::from_mg(mg).ok()).unwrap_or(mass)
}

/// Adds one, or its parts in its stead, to the one that is the same.
fn add(all: &mut Vec<WentIn>, one: WentIn) {
    if one.is_dispersed()
        && let Inside::Made { parts, .. } = one.inside
    {
        for part in parts {
            add(all, part);
        }
        return;
    }
    let Some(same) = all.iter_mut().find(|other| is_same(other, &one)) else { return all.push(one) };
    same.mass = same.mass.checked_add(one.mass).unwrap_or(Mass::MAX);
    same.declared.contains |= one.declared.contains;
    same.declared.may_contain |= one.declared.may_contain;
    same.declared.unknown |= one.declared.unknown;
    same.percent_shown |= one.percent_shown;
    if let (Inside::Made { parts, weight, .. }, Inside::Made { parts: more, .. }) = (&mut same.inside, one.inside) {
        *weight = same.mass;
        for part in more {
            add(parts, part);
        }
    }
}

/// Whether two are the same thing, through whatever lots.
fn is_same(one: &WentIn, other: &WentIn) -> bool {
    let inside_reads_the_same = match (&one.inside, &other.inside) {
        (Inside::Made { shown, .. }, Inside::Made { shown: another, .. }) => shown == another,
        (inside, other) => inside == other,
    };
    inside_reads_the_same && one.item == other.item && one.label_name == other.label_name
}
