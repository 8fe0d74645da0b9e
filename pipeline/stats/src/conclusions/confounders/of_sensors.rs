//! What a sensor has one level of, beyond wearer and model, within which sites are compared anyway.

use super::super::blocks::{Member, by_lot};
use super::super::contrast::{Contrast, contrast};
use super::super::measure::Measure;
use super::super::rows::Row;
use super::super::study::{Sensor, Study};
use super::{BY_CHANCE, Claim, Confounder, whole_blocks};
use crate::conjugate::conjugate_gradient;
use crate::distributions::f_upper_tail;
use std::collections::BTreeMap;

/// A sensor's level; `None` where that is not known.
pub(super) type LevelOf = fn(&Sensor) -> Option<i64>;

const LEVELS: [(Confounder, LevelOf); 6] = [
    (Confounder::Lot, |sensor| Some(sensor.lot as i64)),
    (Confounder::Tape, |sensor| Some(sensor.tape as i64)),
    (Confounder::Side, |sensor| {
        sensor.side.map(|side| side as i64)
    }),
    (Confounder::Season, |sensor| Some(i64::from(sensor.quarter))),
    (Confounder::Clock, |sensor| {
        Some(i64::from(sensor.clock_doubted))
    }),
    (Confounder::Unit, |sensor| {
        Some(i64::from(sensor.unit_doubted))
    }),
];

/// What of [`LEVELS`] a row's claim cannot be told from.
pub(super) fn found(study: &Study<'_>, row: &Row, claim: Claim) -> Vec<Confounder> {
    LEVELS
        .into_iter()
        .filter(|(confounder, level)| {
            matters(*confounder, row.measure)
                && (apart(study, row, *level) || explains(study, &row.members, claim, *level))
        })
        .map(|(confounder, _)| confounder)
        .collect()
}

/// Whoever sleeps on one side, or knocks it, disturbs what is worn there; what a sensor reads knows no side.
fn matters(confounder: Confounder, measure: Measure) -> bool {
    let worn = matches!(measure, Measure::StaysOn | Measure::QuietAtNight);
    confounder != Confounder::Side || worn
}

/// Whether the claim falls when levels are adjusted for, or does not hold within them where they went along with sites.
pub(super) fn explains(
    study: &Study<'_>,
    members: &[Member],
    claim: Claim,
    level: LevelOf,
) -> bool {
    let Some(all) = contrast(members) else {
        return false;
    };
    let falls = |adjusted| claim.falls(all.difference, adjusted);
    adjusted(study, members, level).is_some_and(falls)
        || within_levels(study, members, level)
            .is_some_and(|within| !claim.holds(all.difference, &within))
}

/// Sensors at each known level, of the site and of the other.
fn levels(study: &Study<'_>, row: &Row, level: LevelOf) -> BTreeMap<i64, [usize; 2]> {
    let mut levels = BTreeMap::<i64, [usize; 2]>::new();
    for member in &row.members {
        if let Some(level) = level(&study.sensors[member.sensor]) {
            levels.entry(level).or_default()[usize::from(!member.first)] += 1;
        }
    }
    levels
}

pub(super) fn shared(study: &Study<'_>, row: &Row, level: LevelOf) -> bool {
    let levels = levels(study, row, level);
    levels.values().any(|[one, other]| *one > 0 && *other > 0)
}

/// Whether sites share no level, though levels hold several sensors: where most sensors have a level of their own, as a lot
/// may be, nothing went with a site. Nor did what is not known of most sensors of either.
pub(super) fn apart(study: &Study<'_>, row: &Row, level: LevelOf) -> bool {
    let levels = levels(study, row, level);
    let known = [0, 1].map(|side| levels.values().map(|of| of[side]).sum::<usize>());
    let known_of_most = known
        .iter()
        .zip(row.sensors())
        .all(|(known, all)| 2 * known >= all);
    let repeated: usize = levels
        .values()
        .map(|[one, other]| one + other)
        .filter(|sensors| *sensors > 1)
        .sum();
    let none_shared = !levels.values().any(|[one, other]| *one > 0 && *other > 0);
    none_shared && known_of_most && 2 * repeated >= known.iter().sum()
}

/// Sites compared within blocks and levels alone, where levels went along with sites: an adjusted difference then rests on the
/// few sensors that crossed over. `None` where levels did not, or where nothing can be compared within them.
///
/// Whether they did is told by the F test of an analysis of variance of sites on levels within blocks: what is left of the
/// comparison's information within levels is, of sensors that weigh alike, the sum of squares within them (Scheffé 1959, The Analysis of Variance, 3.1, from memory).
fn within_levels(study: &Study<'_>, members: &[Member], level: LevelOf) -> Option<Contrast> {
    // What a lot drew went along by chance alone.
    if by_lot(members) {
        return None;
    }
    let mut split = members.to_vec();
    let of = |member: &Member| (member.block, level(&study.sensors[member.sensor]));
    split.sort_by_key(of);
    let mut parts = 0;
    for part in split.chunk_by_mut(|a, b| of(a) == of(b)) {
        part.iter_mut().for_each(|member| member.block = parts);
        parts += 1;
    }
    let blocks = members.last()?.block + 1;
    let [between, left] = [parts - blocks, members.len() - parts].map(|df| df as f64);
    let all = contrast(members)?.information;
    let within = contrast(&whole_blocks(split))?;
    let lost = all - within.information;
    let ratio = (lost / between) / (within.information / left);
    let along = between > 0.0 && f_upper_tail(ratio, between, left) < BY_CHANCE;
    along.then_some(within)
}

/// The difference with an effect of each level: least squares with a level of each block, and effects of levels that may
/// vary as much as sensors do. `None` where it cannot be solved.
fn adjusted(study: &Study<'_>, members: &[Member], level: LevelOf) -> Option<f64> {
    let names: BTreeMap<Option<i64>, usize> = {
        let mut all: Vec<Option<i64>> = members
            .iter()
            .map(|m| level(&study.sensors[m.sensor]))
            .collect();
        all.sort_unstable();
        all.dedup();
        all.into_iter()
            .enumerate()
            .map(|(place, name)| (name, place))
            .collect()
    };
    let blocks = members.last()?.block + 1;
    let levels = 1 + blocks;
    // Weights about 1, so that a level is held back as much as one sensor would.
    let usual = members.iter().map(|m| m.weight).sum::<f64>() / members.len() as f64;
    let terms = members.iter().map(|member| Term {
        weight: member.weight / usual,
        first: f64::from(u8::from(member.first)),
        block: 1 + member.block,
        level: levels + names[&level(&study.sensors[member.sensor])],
    });
    let terms: Vec<Term> = terms.collect();
    let mut diagonal = vec![0.0; levels];
    diagonal.resize(levels + names.len(), 1.0);
    let mut right = vec![0.0; diagonal.len()];
    for (term, member) in terms.iter().zip(members) {
        term.add(&mut diagonal, 1.0);
        term.add(&mut right, member.score);
    }
    let solution = conjugate_gradient(&diagonal, &right, |effects| {
        let mut product = vec![0.0; levels];
        product.extend_from_slice(&effects[levels..]);
        for term in &terms {
            term.add(&mut product, term.fitted(effects));
        }
        product
    });
    Some(solution?[0])
}

/// What a sensor's score is made of: the difference where it is of the first site, its block and its level.
struct Term {
    weight: f64,
    first: f64,
    block: usize,
    level: usize,
}

impl Term {
    fn fitted(&self, effects: &[f64]) -> f64 {
        self.first * effects[0] + effects[self.block] + effects[self.level]
    }

    /// Adds a weighted value to what it is made of.
    fn add(&self, to: &mut [f64], value: f64) {
        to[0] += self.weight * self.first * value;
        to[self.block] += self.weight * value;
        to[self.level] += self.weight * value;
    }
}
