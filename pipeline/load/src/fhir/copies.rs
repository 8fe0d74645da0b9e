//! Copies of one observation: which of them stands, and which are withdrawn or replaced.

use std::collections::HashSet;
use std::hash::{DefaultHasher, Hash, Hasher};

use super::observation::Standing;

/// An observation that can be used, or a word that an earlier or later copy of it cannot.
#[derive(Clone, Copy, Debug)]
pub(super) struct Copy {
    /// By which copies of one observation are known.
    pub key: u64,
    /// When it was last changed, by `meta.lastUpdated`, microseconds; then by `issued`, seconds.
    pub updated: i64,
    pub issued: u32,
    /// Its first sample; the next copy's first is the end of its own.
    pub first: u32,
    pub wearer: u32,
    pub device: u32,
    /// Place in its file, from 1.
    pub line: u32,
    pub file: u16,
    pub standing: Standing,
    pub is_fingerstick: bool,
    pub is_mmol: bool,
    /// Whether it still stands.
    pub stands: bool,
}

/// A number for a text, by which equal texts are known.
pub(super) fn key(parts: impl Hash) -> u64 {
    let mut hasher = DefaultHasher::new();
    parts.hash(&mut hasher);
    hasher.finish()
}

/// Lets one copy of each observation stand, with those equal to it: none where one was withdrawn, else the one last
/// changed (amended before final, then the later in the files). `more` are further keys of copies: by these only what
/// is amended or withdrawn is looked for.
pub(super) fn settle(
    copies: &mut [Copy],
    more: &[(u64, u32)],
    same: impl Fn(&Copy, u32, &Copy, u32) -> bool,
) {
    let mut order: Vec<(u64, u32)> = (0..)
        .zip(copies.iter())
        .map(|(place, copy)| (copy.key, place))
        .collect();
    order.sort_unstable();
    for group in order
        .chunk_by(|a, b| a.0 == b.0)
        .filter(|group| group.len() > 1)
    {
        settle_group(copies, group, &same);
    }
    withdraw_single(copies);
    if more.is_empty() {
        return;
    }
    let identifiers: HashSet<u64> = more.iter().map(|(key, _)| *key).collect();
    let own = order
        .into_iter()
        .filter(|(key, _)| identifiers.contains(key));
    let mut order: Vec<(u64, u32)> = own.chain(more.iter().copied()).collect();
    order.sort_unstable();
    for group in order
        .chunk_by(|a, b| a.0 == b.0)
        .filter(|group| group.len() > 1)
    {
        let changes = |(_, place): &(u64, u32)| {
            copies
                .get(*place as usize)
                .is_some_and(|copy| copy.standing >= Standing::Amended)
        };
        if group.iter().any(changes) {
            settle_group(copies, group, &same);
        }
    }
}

/// What is withdrawn stands for nothing, though no other copy of it came.
fn withdraw_single(copies: &mut [Copy]) {
    for copy in copies
        .iter_mut()
        .filter(|copy| copy.standing == Standing::Withdrawn)
    {
        copy.stands = false;
    }
}

fn settle_group(
    copies: &mut [Copy],
    group: &[(u64, u32)],
    same: &impl Fn(&Copy, u32, &Copy, u32) -> bool,
) {
    let of = |place: u32| copies.get(place as usize).map(|copy| (place, *copy));
    let all: Vec<(u32, Copy)> = group.iter().filter_map(|(_, place)| of(*place)).collect();
    let withdrawn = all
        .iter()
        .any(|(_, copy)| copy.standing == Standing::Withdrawn);
    let rank = |(place, copy): &&(u32, Copy)| {
        (
            copy.stands,
            copy.updated,
            copy.issued,
            copy.standing,
            *place,
        )
    };
    let Some(best) = all.iter().max_by_key(rank).copied() else {
        return;
    };
    for (place, copy) in &all {
        let stays = !withdrawn && (*place == best.0 || same(copy, *place, &best.1, best.0));
        if let Some(copy) = copies.get_mut(*place as usize).filter(|_| !stays) {
            copy.stands = false;
        }
    }
}
