//! Newton's method with halved steps.

use super::partial::Likelihood;
use super::{CoxData, CoxRefusal, symmetric};

/// A coefficient that moves the log hazard by more than this over the range of its column is on its way to infinity.
const FAR: f64 = 15.0;
const STEPS: usize = 100;
/// A step that would gain less than this share of the log likelihood ends the search: some 1e-10 standard errors.
const SETTLED: f64 = 1e-22;
/// A fall by this share of the log likelihood is rounding.
const ROUNDING: f64 = 1e-12;

/// Where a search starts.
#[derive(Debug, Clone)]
pub(super) struct Start {
    /// The coefficients.
    pub beta: Vec<f64>,
    /// Range of each column, by which coefficients are judged to run away.
    pub ranges: Vec<f64>,
    /// A coefficient that is held where it is.
    pub held: Option<usize>,
}

impl Start {
    pub fn at_zero(data: CoxData<'_>) -> Self {
        let range = |column: &Vec<f64>| {
            let most = column.iter().copied().fold(f64::NEG_INFINITY, f64::max);
            let least = column.iter().copied().fold(f64::INFINITY, f64::min);
            most - least
        };
        Self {
            beta: vec![0.0; data.covariates.len()],
            ranges: data.covariates.iter().map(range).collect(),
            held: None,
        }
    }
}

/// The end of a search.
pub(super) struct Peak {
    pub beta: Vec<f64>,
    pub at: Likelihood,
}

/// Climbs to the maximum of a likelihood.
pub(super) fn maximise(
    evaluate: &dyn Fn(&[f64]) -> Likelihood,
    start: &Start,
) -> Result<Peak, CoxRefusal> {
    let mut beta = start.beta.clone();
    let mut at = evaluate(&beta);
    for _ in 0..STEPS {
        let step = newton_step(&at, start.held).ok_or(CoxRefusal::Separation)?;
        let gain: f64 = step
            .iter()
            .zip(&at.score)
            .map(|(step, score)| step * score)
            .sum();
        if gain.abs() < SETTLED * at.log_likelihood.abs().max(1.0) {
            return Ok(Peak { beta, at });
        }
        let mut share = 1.0;
        let (next, here) = loop {
            let next: Vec<f64> = beta.iter().zip(&step).map(|(b, s)| b + share * s).collect();
            let here = evaluate(&next);
            if here.log_likelihood >= at.log_likelihood - ROUNDING * at.log_likelihood.abs() {
                break (next, here);
            }
            share *= 0.5;
            if share < 1e-10 {
                return Err(CoxRefusal::NotConverged);
            }
        };
        (beta, at) = (next, here);
        if beta
            .iter()
            .zip(&start.ranges)
            .any(|(beta, range)| beta.abs() * range > FAR)
        {
            return Err(CoxRefusal::Separation);
        }
    }
    Err(CoxRefusal::NotConverged)
}

/// Inverse information times score, over the coefficients that are not held.
fn newton_step(at: &Likelihood, held: Option<usize>) -> Option<Vec<f64>> {
    let free: Vec<usize> = (0..at.score.len()).filter(|&k| Some(k) != held).collect();
    let information: Vec<Vec<f64>> = free
        .iter()
        .map(|&a| free.iter().map(|&b| at.information[a][b]).collect())
        .collect();
    let score: Vec<f64> = free.iter().map(|&k| at.score[k]).collect();
    let short = symmetric::product(&symmetric::inverse(&information)?, &score);
    let mut step = vec![0.0; at.score.len()];
    for (&k, value) in free.iter().zip(short) {
        step[k] = value;
    }
    Some(step)
}
