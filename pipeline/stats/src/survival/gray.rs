//! Gray's test of equal cumulative incidence between groups.

use super::quadratic_form::quadratic_form;
use super::risk_table::{RiskRow, risk_table};
use crate::distributions::chi_square_upper_tail;
use std::collections::BTreeMap;

/// Gray's test for one cause.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct GrayTest {
    /// Quadratic form of the scores in the inverse of their variance.
    pub chi_square: f64,
    /// Rank of the variance matrix.
    pub df: usize,
    /// Upper tail of the chi-square distribution.
    pub p: f64,
}

/// Compares the cumulative incidence of `cause` between groups, where other causes compete (weight 1).
///
/// `times`, `causes` (`None` = censored) and `groups` (numbered from 0) are equally long. Subjects that had another cause
/// stay in the risk set of the subdistribution: with n_k at risk, S_k survival of all causes and F_k incidence just
/// before t, group k counts w_k (1 - F_k) with w_k = n_k / S_k. Its score is the sum over event times of
/// d_k - d w_k (1 - F_k) / Σ w (1 - F); the variance is Gray's, with the pooled incidence. Returns `None` where nothing
/// can be compared. With a handful of subjects that variance can come out near 0 and the chi-square absurdly large: do
/// not read it there. Source, from memory: Gray 1988 Ann Stat 16:1141, section 2. Checked by `tests/incidence.rs`.
#[must_use]
pub fn gray_test(
    times: &[f64],
    causes: &[Option<usize>],
    groups: &[usize],
    cause: usize,
) -> Option<GrayTest> {
    stratified_gray_test(times, causes, groups, &vec![0; times.len()], cause)
}

/// [`gray_test`] within strata (wearers): scores and their variances are summed over strata, as long as the times and
/// numbered at will. As with `strata` of `cuminc` in R cmprsk. Checked by `tests/incidence.rs`.
#[must_use]
pub fn stratified_gray_test(
    times: &[f64],
    causes: &[Option<usize>],
    groups: &[usize],
    strata: &[usize],
    cause: usize,
) -> Option<GrayTest> {
    let group_count = groups.iter().max().map_or(0, |&group| group + 1);
    let mut members = BTreeMap::<usize, Vec<usize>>::new();
    for (subject, &stratum) in strata.iter().enumerate() {
        members.entry(stratum).or_default().push(subject);
    }
    let mut scores = vec![0.0; group_count];
    let mut total = vec![vec![0.0; group_count]; group_count];
    for subjects in members.values() {
        let subjects = subjects.iter().map(|&subject| {
            let ending = match causes[subject] {
                None => Ending::Censored,
                Some(other) if other != cause => Ending::Other,
                Some(_) => Ending::Event,
            };
            (times[subject], groups[subject], ending)
        });
        let (own, variance) = stratum(&subjects.collect::<Vec<_>>(), group_count);
        scores
            .iter_mut()
            .zip(own)
            .for_each(|(sum, own)| *sum += own);
        for (sums, own) in total.iter_mut().zip(variance) {
            sums.iter_mut().zip(own).for_each(|(sum, own)| *sum += own);
        }
    }
    let scale = (0..group_count).map(|k| total[k][k]).fold(0.0, f64::max);
    let (chi_square, df) = quadratic_form(&total, scores, scale);
    (df > 0).then(|| GrayTest {
        chi_square,
        df,
        p: chi_square_upper_tail(chi_square, df as f64),
    })
}

/// Scores of the groups and their covariance from the time, group and ending of each subject of a stratum.
fn stratum(subjects: &[(f64, usize, Ending)], group_count: usize) -> (Vec<f64>, Vec<Vec<f64>>) {
    let times: Vec<f64> = subjects.iter().map(|subject| subject.0).collect();
    let groups: Vec<usize> = subjects.iter().map(|subject| subject.1).collect();
    let endings = subjects
        .iter()
        .map(|&(_, group, ending)| Some(KINDS * group + ending as usize));
    let mut state = State::new(&groups, group_count);
    let steps: Vec<Step> = risk_table(&times, endings, KINDS * group_count)
        .iter()
        .filter_map(|row| state.pass(row))
        .collect();
    let variance = variance(&steps, &state.pull);
    (state.scores, variance)
}

#[derive(Clone, Copy)]
enum Ending {
    Censored,
    Event,
    Other,
}

const KINDS: usize = 3;

/// A pooled share this small that is still free of the event is rounding.
const ROUNDING: f64 = 1e-12;

/// What is known just before a time.
struct State {
    at_risk: Vec<f64>,
    survival: Vec<f64>,
    incidence: Vec<f64>,
    pooled_incidence: f64,
    scores: Vec<f64>,
    /// How far each score (row) is moved by a change in each group's incidence (column), up to now.
    pull: Vec<Vec<f64>>,
}

/// One time's part in the variance: independent errors, and how the scores depend on them.
struct Step {
    errors: Vec<GroupError>,
    /// Direct effect of an event of the cause in a group (column) on the scores (rows).
    direct: Vec<Vec<f64>>,
    /// `State::pull` after this time.
    pull: Vec<Vec<f64>>,
}

struct GroupError {
    group: usize,
    variance: f64,
    is_direct: bool,
    /// Weight of the change that the error makes to the group's later incidence.
    later: f64,
}

impl State {
    fn new(groups: &[usize], group_count: usize) -> Self {
        let mut at_risk = vec![0.0; group_count];
        for &group in groups {
            at_risk[group] += 1.0;
        }
        Self {
            at_risk,
            survival: vec![1.0; group_count],
            incidence: vec![0.0; group_count],
            pooled_incidence: 0.0,
            scores: vec![0.0; group_count],
            pull: vec![vec![0.0; group_count]; group_count],
        }
    }

    /// Moves past one time; `None` where it holds only censoring.
    fn pass(&mut self, row: &RiskRow) -> Option<Step> {
        let ended = |kind: Ending| -> Vec<f64> {
            row.events
                .chunks(KINDS)
                .map(|kinds| kinds[kind as usize] as f64)
                .collect()
        };
        let (events, others, censored) = (
            ended(Ending::Event),
            ended(Ending::Other),
            ended(Ending::Censored),
        );
        let any: f64 = events.iter().chain(&others).sum();
        let step = (any > 0.0).then(|| self.step(&events, &others));
        for k in 0..self.at_risk.len() {
            self.at_risk[k] -= events[k] + others[k] + censored[k];
        }
        step
    }

    fn step(&mut self, events: &[f64], others: &[f64]) -> Step {
        let groups = 0..self.at_risk.len();
        let weights: Vec<f64> = groups
            .clone()
            .map(|k| {
                if self.at_risk[k] > 0.0 {
                    self.at_risk[k] / self.survival[k]
                } else {
                    0.0
                }
            })
            .collect();
        let total: f64 = weights.iter().sum();
        let at_stake = |k: usize| weights[k] * (1.0 - self.incidence[k]);
        let all_at_stake: f64 = groups.clone().map(at_stake).sum();
        let all_events: f64 = events.iter().sum();
        for k in groups.clone() {
            self.scores[k] += events[k] - all_events * at_stake(k) / all_at_stake;
        }
        let direct = direct_effects(&weights, total);
        self.add_pull(&direct, all_events / total);
        self.pooled_incidence += all_events / total;
        let errors = self.errors(events, others, total);
        for k in groups.filter(|&k| self.at_risk[k] > 0.0) {
            self.incidence[k] += self.survival[k] * events[k] / self.at_risk[k];
            self.survival[k] *= 1.0 - (events[k] + others[k]) / self.at_risk[k];
        }
        Step {
            errors,
            direct,
            pull: self.pull.clone(),
        }
    }

    fn add_pull(&mut self, direct: &[Vec<f64>], pooled_step: f64) {
        let free = 1.0 - self.pooled_incidence;
        if free <= ROUNDING {
            // Nobody is left free of the event in the pooled curve: the last group goes on alone.
            return;
        }
        for (pulls, directs) in self.pull.iter_mut().zip(direct) {
            for (pull, direct) in pulls.iter_mut().zip(directs) {
                *pull += direct * pooled_step / free;
            }
        }
    }

    /// Variances of the two kinds of events in each group under the pooled incidence, ties as in a hypergeometric draw.
    fn errors(&self, events: &[f64], others: &[f64], total: f64) -> Vec<GroupError> {
        let all_events: f64 = events.iter().sum();
        let mut errors = Vec::new();
        for group in (0..events.len()).filter(|&k| self.at_risk[k] > 0.0) {
            let (at_risk, before) = (self.at_risk[group], self.survival[group]);
            let after = before * (1.0 - (events[group] + others[group]) / at_risk);
            let free = (after > 0.0).then(|| (1.0 - self.pooled_incidence) / after);
            if all_events > 0.0 {
                let ties = tie_factor(all_events, total * before);
                errors.push(GroupError {
                    group,
                    variance: ties * before * all_events / (total * at_risk),
                    is_direct: true,
                    later: 1.0 - free.unwrap_or(0.0),
                });
            }
            if let Some(free) = free.filter(|_| others[group] > 0.0) {
                let ties = tie_factor(others[group], at_risk);
                errors.push(GroupError {
                    group,
                    variance: ties * before * before * others[group] / (at_risk * at_risk),
                    is_direct: false,
                    later: free,
                });
            }
        }
        errors
    }
}

/// Row i, column k: w_i (δ_ik - w_k / Σ w).
fn direct_effects(weights: &[f64], total: f64) -> Vec<Vec<f64>> {
    let effect = |i: usize, k: usize| {
        let own = if i == k { 1.0 } else { 0.0 };
        weights[i] * (own - weights[k] / total)
    };
    let groups = 0..weights.len();
    groups
        .clone()
        .map(|i| groups.clone().map(|k| effect(i, k)).collect())
        .collect()
}

fn tie_factor(events: f64, at_risk: f64) -> f64 {
    if events > 1.0 {
        1.0 - (events - 1.0) / (at_risk - 1.0)
    } else {
        1.0
    }
}

/// Σ over times and groups of the products of the scores' dependence on each error, times its variance. An error moves a
/// score directly and through the group's incidence at all later times, hence the rest of the pull.
fn variance(steps: &[Step], final_pull: &[Vec<f64>]) -> Vec<Vec<f64>> {
    let groups = final_pull.len();
    let mut variance = vec![vec![0.0; groups]; groups];
    for step in steps {
        for error in &step.errors {
            let k = error.group;
            let effect = |i: usize| {
                let later = error.later * (final_pull[i][k] - step.pull[i][k]);
                if error.is_direct {
                    step.direct[i][k] + later
                } else {
                    later
                }
            };
            for (i, row) in variance.iter_mut().enumerate() {
                for (j, cell) in row.iter_mut().enumerate() {
                    *cell += effect(i) * effect(j) * error.variance;
                }
            }
        }
    }
    variance
}
