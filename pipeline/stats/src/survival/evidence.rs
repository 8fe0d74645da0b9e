//! Evidence between two groups that may be looked at again and again.
//!
//! Two parts, each a bet against the hypothesis that both groups lose sensors alike, with a capital of 1 between them:
//! [`SAFE_SHARE`] goes on the likelihood ratio of the safe log-rank test, which moves with every look; the rest lies on
//! permutation tests at the looks of [`SCHEDULE`], and pays 20 where one of them gets a p at or below its share. Without a
//! difference the capital reaches 20 in at most 1 of 20 studies, over all looks together: a permutation p is at most its
//! share in at most that share of studies, whatever the other looks say, and the shares add up. The likelihood ratio
//! alone would hold its promise too, but hardly ever reaches 20 with ten sensors a group.

use super::logrank::{Subjects, log_rank_permutation};
use super::risk_table::risk_table;
use crate::comparison::at_most;

/// The hazard ratio that the likelihood ratio is built for, in either direction.
pub const HAZARD_RATIO: f64 = 2.0;

/// The part of the capital on the likelihood ratio.
pub const SAFE_SHARE: f64 = 0.2;

/// What a permutation test pays where its p is at most its share; else its share of the capital is lost.
pub const PAYOFF: f64 = 20.0;

/// Months since the first session of either group at which a permutation test is made, and the largest p at which it pays:
/// three quarters at month 24, the rest before and after. Together 0.04, which at a payoff of 20 costs 0.8 of the capital.
pub const SCHEDULE: [(u32, f64); 6] = [
    (3, 0.001),
    (6, 0.002),
    (12, 0.005),
    (24, 0.03),
    (48, 0.001),
    (96, 0.001),
];

/// The logarithm of the e-value of the safe log-rank test: mean of the likelihood ratios of hazard ratios 2 and 1/2
/// against 1.
///
/// At an event time with d of n at risk having the event, d1 of them among the m of group 1, the likelihood of a hazard
/// ratio h is C(m, d1) C(n - m, d - d1) h^d1 over the sum of the same over all d1. Times and strata multiply. `None` where
/// the groups are not two (0 and 1) or no event happens while both are at risk in a stratum. Source: ter Schure,
/// Pérez-Ortiz, Ly and Grünwald 2024 Statistica Neerlandica (the anytime-valid log-rank test). Checked by
/// `tests/evidence.rs`.
#[must_use]
pub fn safe_log_rank(subjects: Subjects<'_>) -> Option<f64> {
    let shared = shared_events(subjects);
    if shared.is_empty() {
        return None;
    }
    let of = |ratio: f64| -> f64 {
        shared
            .iter()
            .map(|event| event.log_likelihood_ratio(ratio))
            .sum()
    };
    Some(log_mean([of(HAZARD_RATIO), of(1.0 / HAZARD_RATIO)]))
}

/// What one look adds.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Look {
    /// Logarithm of the safe log-rank test's e-value on all data up to this look; 0 where there is nothing to compare.
    pub log_e_likelihood: f64,
    /// What the permutation test of this look pays: 20 or 0.
    pub payoff: f64,
    /// Its p, where one is made at this look and can be.
    pub p: Option<f64>,
}

/// The evidence of one look at all data up to it: two groups, `month` counted from 1 at their first session. Groups are
/// shuffled within `blocks`, seeded.
#[must_use]
pub fn look(subjects: Subjects<'_>, blocks: &[usize], month: u32, seed: u64) -> Look {
    let share = SCHEDULE
        .iter()
        .find(|(at, _)| *at == month)
        .map(|(_, share)| *share);
    let test = share.and_then(|_| log_rank_permutation(subjects, blocks, seed));
    let pays = test
        .zip(share)
        .is_some_and(|(test, share)| at_most(test.p, share));
    Look {
        log_e_likelihood: safe_log_rank(subjects).unwrap_or(0.0),
        payoff: if pays { PAYOFF } else { 0.0 },
        p: test.map(|test| test.p),
    }
}

/// The logarithm of the e-value after these looks, in order: the capital of both parts. -∞ never: the safe part stays
/// above 0. Without looks it is that of a capital of 0.2, the rest having yet to pay.
#[must_use]
pub fn log_e(looks: &[Look]) -> f64 {
    let paid: f64 = looks.iter().map(|look| look.payoff).sum();
    let safe = looks.last().map_or(0.0, |look| look.log_e_likelihood);
    (SAFE_SHARE * safe.exp() + paid).ln()
}

/// An event time with both groups at risk.
struct SharedEvents {
    at_risk: [usize; 2],
    events: [usize; 2],
}

impl SharedEvents {
    fn log_likelihood_ratio(&self, ratio: f64) -> f64 {
        let [others, ones] = self.at_risk;
        let all: usize = self.events.iter().sum();
        // Weights of all ways to spread the events, from the first possible number in group 1, relative to it.
        let least = all.saturating_sub(others);
        let (mut weight, mut plain, mut tilted) = (1.0, 0.0, 0.0);
        for in_ones in least..=all.min(ones) {
            plain += weight;
            tilted += weight * ratio.powi((in_ones - least) as i32);
            let in_others = all - in_ones;
            weight *= (ones - in_ones) as f64 * in_others as f64
                / ((in_ones + 1) as f64 * (others + in_ones + 1 - all) as f64);
        }
        (self.events[1] - least) as f64 * ratio.ln() - (tilted / plain).ln()
    }
}

fn shared_events(subjects: Subjects<'_>) -> Vec<SharedEvents> {
    let mut strata: Vec<usize> = subjects.strata.to_vec();
    strata.sort_unstable();
    strata.dedup();
    let mut shared = Vec::new();
    for stratum in strata {
        let members: Vec<usize> = (0..subjects.times.len())
            .filter(|&subject| subjects.strata[subject] == stratum && subjects.groups[subject] < 2)
            .collect();
        let times: Vec<f64> = members
            .iter()
            .map(|&subject| subjects.times[subject])
            .collect();
        // Four kinds of endings: an event or none, in either group.
        let kinds = members.iter().map(|&subject| {
            Some(subjects.groups[subject] + 2 * usize::from(!subjects.events[subject]))
        });
        let mut at_risk = [0, 1].map(|group| {
            members
                .iter()
                .filter(|&&s| subjects.groups[s] == group)
                .count()
        });
        for row in risk_table(&times, kinds, 4) {
            let events = [row.events[0], row.events[1]];
            if events != [0, 0] && at_risk.iter().all(|&group| group > 0) {
                shared.push(SharedEvents { at_risk, events });
            }
            for (group, at_risk) in at_risk.iter_mut().enumerate() {
                *at_risk -= row.events[group] + row.events[group + 2];
            }
        }
    }
    shared
}

/// The logarithm of the mean of two numbers given by their logarithms.
fn log_mean([a, b]: [f64; 2]) -> f64 {
    let (most, least) = if a > b { (a, b) } else { (b, a) };
    most + (0.5 * (1.0 + (least - most).exp())).ln()
}
