//! In which order to make a day's batches on one machine so that it has to be cleaned as few times as can be.
//!
//! A batch may follow another without an allergen clean if what may be left of the one before changes no answer about
//! the one after. That relation is transitive, so an order is a row of chains with a clean between each two, and the
//! fewest cleans are the fewest chains: a minimum path cover, found by matching each batch with the one to follow it.

use std::collections::VecDeque;
use std::iter::successors;

use crate::allergens::Declared;

/// A batch in its place in the order.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Step {
    /// Which batch, by its position in what was given.
    pub batch: usize,
    /// The substances a clean before it has to clear, as a mask; 0 where none is needed.
    pub to_clear: u64,
}

impl Step {
    /// Whether the machine has to be cleaned before this batch.
    pub const fn needs_clean(&self) -> bool {
        self.to_clear != 0
    }
}

/// What has to be cleared between two batches, as a mask: what is or may be in `before` and neither is nor may be in
/// `after`, and what is unknown of `before` and settled for `after`. 0 if `after` may follow as it is.
pub const fn to_clear(before: &Declared, after: &Declared) -> u64 {
    let (left, there) = (before.contains | before.may_contain, after.contains | after.may_contain);
    (left & !there) | (before.unknown & !(there | after.unknown))
}

/// An order of the batches that needs the fewest cleans, beginning on a machine with `start` on it, if it was used.
///
/// Every batch stands in it once. Of batches that declare the same, the one given first comes first. Of several orders
/// with as few cleans it takes one that tends to what a cook would do, without searching for the best: what holds least
/// first. The same batches always give the same order. The work grows with the cube of the number of batches: 60 are
/// nothing, and a caller has to bound it.
pub fn plan(batches: &[Declared], start: Option<Declared>) -> Vec<Step> {
    // The residue is a batch already made: node 0, which nothing comes before.
    let residue = usize::from(start.is_some());
    let nodes: Vec<Declared> = start.into_iter().chain(batches.iter().copied()).collect();
    let mut order = chained(&followers(&nodes, residue), &nodes, residue);
    put_same_in_order_given(&mut order[residue..], &nodes);
    let mut before = None;
    let mut steps = Vec::with_capacity(batches.len());
    for node in order {
        if node >= residue {
            let to_clear = before.map_or(0, |before: usize| to_clear(&nodes[before], &nodes[node]));
            steps.push(Step { batch: node - residue, to_clear });
        }
        before = Some(node);
    }
    steps
}

/// How many substances a clean after it would be about.
const fn size(batch: &Declared) -> u32 {
    (batch.contains | batch.may_contain | batch.unknown).count_ones()
}

/// For each node those that may follow it without a clean, those that hold least first. Of two that may follow each other
/// the later follows the earlier, so that there is no way round in circles; none of the first `residue` nodes follows
/// anything.
fn followers(nodes: &[Declared], residue: usize) -> Vec<Vec<usize>> {
    let may_follow = |before: usize, after: usize| to_clear(&nodes[before], &nodes[after]) == 0;
    let follows = |before: usize, after: usize| {
        before != after && may_follow(before, after) && (before < after || !may_follow(after, before))
    };
    let of = |before: usize| {
        let mut followers: Vec<usize> = (residue..nodes.len()).filter(|after| follows(before, *after)).collect();
        followers.sort_by_key(|after| size(&nodes[*after]));
        followers
    };
    (0..nodes.len()).map(of).collect()
}

/// All nodes in the fewest chains, one chain after the other: that of the residue first, then the one whose first batch
/// holds least.
fn chained(followers: &[Vec<usize>], nodes: &[Declared], residue: usize) -> Vec<usize> {
    let next = matched(followers);
    let mut is_head = vec![true; followers.len()];
    for node in next.iter().flatten() {
        is_head[*node] = false;
    }
    let mut heads: Vec<usize> = (0..followers.len()).filter(|node| is_head[*node]).collect();
    heads.sort_by_key(|head| (*head >= residue, size(&nodes[*head])));
    heads.into_iter().flat_map(|head| successors(Some(head), |node| next[*node])).collect()
}

/// Swaps batches that declare the same, which changes no clean, until the one given first comes first.
fn put_same_in_order_given(order: &mut [usize], nodes: &[Declared]) {
    for place in 0..order.len() {
        let same = (place..order.len()).filter(|later| nodes[order[*later]] == nodes[order[place]]);
        if let Some(first) = same.min_by_key(|later| order[*later]) {
            order.swap(place, first);
        }
    }
}

/// Which node follows each, so that as many as can be have one to follow them and none follows two.
fn matched(followers: &[Vec<usize>]) -> Vec<Option<usize>> {
    let mut next = vec![None; followers.len()];
    let mut previous = vec![None; followers.len()];
    for node in 0..followers.len() {
        let Some((mut after, from)) = augmenting_path(node, followers, &previous) else {
            continue;
        };
        // Backwards along the path: each gets a new one to follow it and leaves its old one to the node before.
        while let Some(before) = from[after] {
            let freed = next[before].replace(after);
            previous[after] = Some(before);
            let Some(freed) = freed else { break };
            after = freed;
        }
    }
    next
}

/// A shortest way from `node` to a follower that follows nobody yet: that follower, and for each one passed, whom it would
/// follow then.
fn augmenting_path(
    node: usize,
    followers: &[Vec<usize>],
    previous: &[Option<usize>],
) -> Option<(usize, Vec<Option<usize>>)> {
    let mut from = vec![None; followers.len()];
    let mut waiting = VecDeque::from([node]);
    while let Some(before) = waiting.pop_front() {
        for &after in &followers[before] {
            if from[after].is_some() {
                continue;
            }
            from[after] = Some(before);
            match previous[after] {
                None => return Some((after, from)),
                Some(holder) => waiting.push_back(holder),
            }
        }
    }
    None
}
