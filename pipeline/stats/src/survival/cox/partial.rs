//! The partial likelihood and its derivatives.

use super::exact::tied_sets;
use super::{CoxData, Ties};
use std::collections::BTreeMap;

/// The logarithm of a partial likelihood and its derivatives in the coefficients.
#[derive(Debug, Clone, PartialEq)]
pub struct Likelihood {
    /// Its value.
    pub log_likelihood: f64,
    /// First derivatives.
    pub score: Vec<f64>,
    /// Second derivatives, with their sign changed.
    pub information: Vec<Vec<f64>>,
    /// Derivatives of the information: `[c][a][b]` is that of `information[a][b]` in coefficient c. Zeros for
    /// [`Ties::Exact`], which has no use for them.
    pub slope: Vec<Vec<Vec<f64>>>,
}

/// The log partial likelihood at `beta`.
///
/// At an event time with d events, the covariates' weighted mean m and central moments of those at risk, weights
/// exp(x β): the events add Σ x β - ln Σ w, x - m, the variance and the third moment. Under Efron's rule this is done d
/// times, the tied subjects counting 1 - l/d for l = 0, ..., d - 1. `beta` has one number for each column. By hand in
/// `tests/cox.rs`.
#[must_use]
pub fn partial_likelihood(data: CoxData<'_>, ties: Ties, beta: &[f64]) -> Likelihood {
    let size = beta.len();
    let mut sum = Likelihood::zero(size);
    let mut strata = BTreeMap::<usize, Vec<usize>>::new();
    for (subject, &stratum) in data.strata.iter().enumerate() {
        strata.entry(stratum).or_default().push(subject);
    }
    for mut members in strata.into_values() {
        members.sort_by(|&a, &b| data.times[b].total_cmp(&data.times[a]));
        let mut at_risk = Moments::zero(size);
        let mut seen = 0;
        for leaving in members.chunk_by(|&a, &b| data.times[a] == data.times[b]) {
            let mut tied = Moments::zero(size);
            seen += leaving.len();
            for &subject in leaving {
                let x = row(data, subject);
                at_risk.add(&x, beta);
                if data.events[subject] {
                    tied.add(&x, beta);
                    sum.event(&x, beta);
                }
            }
            if tied.count == 0 {
                continue;
            }
            if ties == Ties::Exact && tied.count > 1 {
                let rows: Vec<Vec<f64>> = members[..seen].iter().map(|&s| row(data, s)).collect();
                sum.less(&tied_sets(&rows, beta, tied.count));
                continue;
            }
            for step in 0..tied.count {
                let gone = match ties {
                    Ties::Efron => step as f64 / tied.count as f64,
                    Ties::Breslow | Ties::Exact => 0.0,
                };
                sum.less(&at_risk.without(&tied, gone).cumulants());
            }
        }
    }
    sum
}

fn row(data: CoxData<'_>, subject: usize) -> Vec<f64> {
    data.covariates
        .iter()
        .map(|column| column[subject])
        .collect()
}

impl Likelihood {
    pub(super) fn zero(size: usize) -> Self {
        Self {
            log_likelihood: 0.0,
            score: vec![0.0; size],
            information: vec![vec![0.0; size]; size],
            slope: vec![vec![vec![0.0; size]; size]; size],
        }
    }

    fn event(&mut self, x: &[f64], beta: &[f64]) {
        for ((score, x), beta) in self.score.iter_mut().zip(x).zip(beta) {
            *score += x;
            self.log_likelihood += x * beta;
        }
    }

    /// Takes off a denominator, given as its logarithm with derivatives.
    fn less(&mut self, denominator: &Likelihood) {
        self.log_likelihood -= denominator.log_likelihood;
        for a in 0..self.score.len() {
            self.score[a] -= denominator.score[a];
            for b in 0..self.score.len() {
                self.information[a][b] += denominator.information[a][b];
                for c in 0..self.score.len() {
                    self.slope[c][a][b] += denominator.slope[c][a][b];
                }
            }
        }
    }
}

/// Weighted sums of the covariates' products up to the third order.
struct Moments {
    count: usize,
    weight: f64,
    first: Vec<f64>,
    second: Vec<Vec<f64>>,
    third: Vec<Vec<Vec<f64>>>,
}

impl Moments {
    fn zero(size: usize) -> Self {
        Self {
            count: 0,
            weight: 0.0,
            first: vec![0.0; size],
            second: vec![vec![0.0; size]; size],
            third: vec![vec![vec![0.0; size]; size]; size],
        }
    }

    fn add(&mut self, x: &[f64], beta: &[f64]) {
        let weight = x.iter().zip(beta).map(|(x, b)| x * b).sum::<f64>().exp();
        self.count += 1;
        self.weight += weight;
        for a in (0..x.len()).filter(|&a| x[a] != 0.0) {
            let one = weight * x[a];
            self.first[a] += one;
            for b in 0..x.len() {
                let two = one * x[b];
                self.second[a][b] += two;
                for (cell, x) in self.third[a][b].iter_mut().zip(x) {
                    *cell += two * x;
                }
            }
        }
    }

    /// These sums less a share of others.
    fn without(&self, other: &Self, share: f64) -> Self {
        let less = |a: &[f64], b: &[f64]| -> Vec<f64> {
            a.iter().zip(b).map(|(a, b)| a - share * b).collect()
        };
        let less2 = |a: &[Vec<f64>], b: &[Vec<f64>]| -> Vec<Vec<f64>> {
            a.iter().zip(b).map(|(a, b)| less(a, b)).collect()
        };
        Self {
            count: self.count,
            weight: self.weight - share * other.weight,
            first: less(&self.first, &other.first),
            second: less2(&self.second, &other.second),
            third: self
                .third
                .iter()
                .zip(&other.third)
                .map(|(a, b)| less2(a, b))
                .collect(),
        }
    }

    /// The logarithm of the sum of weights, and its derivatives: mean, variance and third central moment.
    fn cumulants(&self) -> Likelihood {
        let size = self.first.len();
        let mut out = Likelihood::zero(size);
        out.log_likelihood = self.weight.ln();
        let mean: Vec<f64> = self.first.iter().map(|sum| sum / self.weight).collect();
        let raw = |a: usize, b: usize| self.second[a][b] / self.weight;
        for a in 0..size {
            for b in 0..size {
                out.information[a][b] = raw(a, b) - mean[a] * mean[b];
                for c in 0..size {
                    out.slope[c][a][b] = self.third[a][b][c] / self.weight
                        - mean[a] * raw(b, c)
                        - mean[b] * raw(a, c)
                        - mean[c] * raw(a, b)
                        + 2.0 * mean[a] * mean[b] * mean[c];
                }
            }
        }
        out.score = mean;
        out
    }
}
