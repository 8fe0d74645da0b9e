//! The log-rank test of several groups, stratified where asked.

use super::quadratic_form::quadratic_form;
use super::risk_table::risk_table;
use crate::distributions::chi_square_upper_tail;
use crate::resampling::permutation::{PermutationTest, permutation_test};
use std::collections::BTreeMap;

/// Follow-ups to be compared; the four slices are equally long.
#[derive(Debug, Clone, Copy)]
pub struct Subjects<'a> {
    /// Length of follow-up, not negative, no NaN.
    pub times: &'a [f64],
    /// True where it ended with the event, false where censored.
    pub events: &'a [bool],
    /// Group of each subject, numbered from 0.
    pub groups: &'a [usize],
    /// Stratum of each subject, any numbers; the same everywhere for an unstratified test.
    pub strata: &'a [usize],
}

/// How much the events of a time count.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum EventWeight {
    /// All the same: the log-rank test.
    Equal,
    /// Subjects at risk (Gehan 1965 Biometrika 52:203; Breslow 1970 Biometrika 57:579; from memory).
    AtRisk,
    /// Its square root (Tarone and Ware 1977 Biometrika 64:156, from memory).
    RootAtRisk,
    /// Survival of the whole stratum just before (Peto and Peto 1972 J R Stat Soc A 135:185, as G-rho with rho 1; from memory).
    Survival,
    /// Π n / (n + d) up to and with the time (Prentice 1978 Biometrika 65:167, from memory).
    Prentice,
    /// Π (1 - d / (n + 1)) up to and with the time (Prentice and Marek 1979 Biometrics 35:861, from memory).
    PrenticeMarek,
    /// The same just before the time, times n / (n + 1) (Andersen, Borgan, Gill and Keiding 1982 Int Stat Rev 50:219, from memory).
    Andersen,
}

/// What the weights of a stratum depend on besides the numbers of a time, just before it.
#[derive(Clone, Copy)]
struct Before {
    survival: f64,
    prentice: f64,
    marek: f64,
}

impl Before {
    const START: Self = Self {
        survival: 1.0,
        prentice: 1.0,
        marek: 1.0,
    };

    fn pass(self, events: f64, at_risk: f64) -> Self {
        Self {
            survival: self.survival * (1.0 - events / at_risk),
            prentice: self.prentice * at_risk / (at_risk + events),
            marek: self.marek * (1.0 - events / (at_risk + 1.0)),
        }
    }

    fn weight(self, kind: EventWeight, events: f64, at_risk: f64) -> f64 {
        match kind {
            EventWeight::Equal => 1.0,
            EventWeight::AtRisk => at_risk,
            EventWeight::RootAtRisk => at_risk.sqrt(),
            EventWeight::Survival => self.survival,
            EventWeight::Prentice => self.pass(events, at_risk).prentice,
            EventWeight::PrenticeMarek => self.pass(events, at_risk).marek,
            EventWeight::Andersen => self.marek * at_risk / (at_risk + 1.0),
        }
    }
}

/// A log-rank test.
#[derive(Debug, Clone, PartialEq)]
pub struct LogRank {
    /// Quadratic form of observed minus expected in the inverse of its variance.
    pub chi_square: f64,
    /// Rank of the variance matrix.
    pub df: usize,
    /// Upper tail of the chi-square distribution.
    pub p: f64,
    /// Events of each group, weighted where the test is.
    pub observed: Vec<f64>,
    /// Events expected of each group if all had the same hazard within a stratum.
    pub expected: Vec<f64>,
    /// Hypergeometric variance of observed minus expected, group by group.
    pub variance: Vec<Vec<f64>>,
}

/// The log-rank test; `None` where nothing can be compared (no event while two groups were at risk in a stratum).
///
/// Within a stratum and at each event time, with d of n at risk having the event, a group with m at risk expects
/// d m / n; the covariance of groups a and b is d (n - d) / (n - 1) · (m_a / n) (δ_ab - m_b / n). Both are summed over
/// times and strata. Sources, from memory: Mantel 1966 Cancer Chemother Rep 50:163; Kalbfleisch and Prentice. Checked by
/// `tests/logrank.rs`.
#[must_use]
pub fn log_rank(subjects: Subjects<'_>) -> Option<LogRank> {
    weighted_log_rank(subjects, EventWeight::Equal)
}

/// [`log_rank`] with weights: observed and expected events count `weight`, their covariance its square.
#[must_use]
pub fn weighted_log_rank(subjects: Subjects<'_>, weight: EventWeight) -> Option<LogRank> {
    let scores = Scores::new(subjects, weight);
    let mut sums = Sums::new(scores.group_count);
    let (chi_square, df) = scores.chi_square(subjects.groups, &mut sums);
    (df > 0).then(|| LogRank {
        chi_square,
        df,
        p: chi_square_upper_tail(chi_square, df as f64),
        observed: sums.observed,
        expected: sums.expected,
        variance: sums.variance,
    })
}

/// Permutation p of the log-rank chi-square: groups are shuffled within `blocks`, times and strata stay.
///
/// `blocks` is as long as the subjects and should not reach across strata. `None` where nothing can be compared or
/// no block holds two groups; see [`permutation_test`].
#[must_use]
pub fn log_rank_permutation(
    subjects: Subjects<'_>,
    blocks: &[usize],
    seed: u64,
) -> Option<PermutationTest> {
    let scores = Scores::new(subjects, EventWeight::Equal);
    let mut sums = Sums::new(scores.group_count);
    if scores.chi_square(subjects.groups, &mut sums).1 == 0 {
        return None;
    }
    permutation_test(subjects.groups, blocks, seed, |groups| {
        scores.chi_square(groups, &mut sums).0
    })
}

/// Weighted events less weighted cumulative hazard of each subject in its stratum: the scores whose sum over a group is
/// observed minus expected.
pub(super) fn subject_scores(subjects: Subjects<'_>, weight: EventWeight) -> Vec<f64> {
    let mut values = vec![0.0; subjects.times.len()];
    for score in Scores::new(subjects, weight).strata.iter().flatten() {
        values[score.subject] = score.event - score.hazard;
    }
    values
}

/// One subject's share in the sums, which does not depend on its group.
struct Score {
    subject: usize,
    /// Weight of its event, 0 where censored.
    event: f64,
    /// Cumulative hazard up to the subject's time: Σ w d / n.
    hazard: f64,
    /// Σ c / n over event times up to the subject's time, c = w² d (n - d) / (n - 1).
    single: f64,
    /// Σ c / n².
    pair: f64,
}

struct Scores {
    group_count: usize,
    /// The size of the numbers that the variances are differences of, against which rounding is judged.
    scale: f64,
    /// Per stratum, the latest subject first.
    strata: Vec<Vec<Score>>,
}

struct Sums {
    observed: Vec<f64>,
    expected: Vec<f64>,
    variance: Vec<Vec<f64>>,
    at_risk: Vec<f64>,
}

impl Sums {
    fn new(group_count: usize) -> Self {
        Self {
            observed: vec![0.0; group_count],
            expected: vec![0.0; group_count],
            variance: vec![vec![0.0; group_count]; group_count],
            at_risk: vec![0.0; group_count],
        }
    }

    fn clear(&mut self) {
        self.observed.fill(0.0);
        self.expected.fill(0.0);
        self.variance.iter_mut().for_each(|row| row.fill(0.0));
    }
}

impl Scores {
    fn new(subjects: Subjects<'_>, weight: EventWeight) -> Self {
        let mut members = BTreeMap::<usize, Vec<usize>>::new();
        for (subject, &stratum) in subjects.strata.iter().enumerate() {
            members.entry(stratum).or_default().push(subject);
        }
        let strata: Vec<Vec<Score>> = members
            .into_values()
            .map(|members| stratum_scores(subjects, members, weight))
            .collect();
        Self {
            group_count: subjects.groups.iter().max().map_or(0, |&group| group + 1),
            scale: strata.iter().flatten().map(|score| score.single).sum(),
            strata,
        }
    }

    /// The chi-square and its degrees of freedom for one assignment of groups, with the sums left in `sums`.
    ///
    /// Expectations and variances are sums over subjects: Σ_t (c / n²) m_a m_b runs over pairs of subjects, each pair
    /// counting up to the earlier of its two times. So one pass from the latest subject to the earliest, with the
    /// numbers at risk so far, does for a draw.
    fn chi_square(&self, groups: &[usize], sums: &mut Sums) -> (f64, usize) {
        sums.clear();
        for stratum in &self.strata {
            sums.at_risk.fill(0.0);
            for score in stratum {
                let group = groups[score.subject];
                sums.observed[group] += score.event;
                sums.expected[group] += score.hazard;
                let row = &mut sums.variance[group];
                for (cell, at_risk) in row.iter_mut().zip(&sums.at_risk) {
                    *cell -= score.pair * at_risk;
                }
                row[group] += 0.5 * (score.single - score.pair);
                sums.at_risk[group] += 1.0;
            }
        }
        for a in 0..self.group_count {
            for b in 0..=a {
                let both = sums.variance[a][b] + sums.variance[b][a];
                sums.variance[a][b] = both;
                sums.variance[b][a] = both;
            }
        }
        let differences = sums.observed.iter().zip(&sums.expected).map(|(o, e)| o - e);
        quadratic_form(&sums.variance, differences.collect(), self.scale)
    }
}

fn stratum_scores(
    subjects: Subjects<'_>,
    mut members: Vec<usize>,
    weight: EventWeight,
) -> Vec<Score> {
    members.sort_by(|&a, &b| subjects.times[a].total_cmp(&subjects.times[b]));
    let times: Vec<f64> = members
        .iter()
        .map(|&subject| subjects.times[subject])
        .collect();
    let causes = members
        .iter()
        .map(|&subject| subjects.events[subject].then_some(0));
    let (mut hazard, mut single, mut pair, mut before) = (0.0, 0.0, 0.0, Before::START);
    let mut members = members.iter();
    let mut scores = Vec::with_capacity(times.len());
    for row in risk_table(&times, causes, 1) {
        let (events, at_risk) = (row.all_events() as f64, row.at_risk as f64);
        let weight = before.weight(weight, events, at_risk);
        before = before.pass(events, at_risk);
        hazard += weight * events / at_risk;
        if row.at_risk > 1 {
            let spread = weight * weight * events * (at_risk - events) / (at_risk - 1.0);
            single += spread / at_risk;
            pair += spread / (at_risk * at_risk);
        }
        let ending = row.all_events() + row.censored;
        scores.extend(members.by_ref().take(ending).map(|&subject| Score {
            subject,
            event: if subjects.events[subject] {
                weight
            } else {
                0.0
            },
            hazard,
            single,
            pair,
        }));
    }
    scores.reverse();
    scores
}
