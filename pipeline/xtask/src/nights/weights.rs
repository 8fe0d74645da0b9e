//! Weights of the detector's score: logistic regression on labelled candidates.

use rayon::prelude::*;
use whereworn_stats::nights::kinds::KINDS;
use whereworn_stats::nights::validate::labelled;
use whereworn_stats::nights::{Evidence, Settings};

use super::NIGHTS;

const SESSIONS: u64 = 500;
const SPARSE_SESSIONS: u64 = 1500;
/// First seed of the nights that the weights are fitted to.
const SEED: u64 = 0;
/// How many times as many nights with fast true lows: they are what the score has to tell from artefacts.
const FAST_LOWS: u64 = 4;
const WEIGHTS: usize = 16;
/// Ridge on the weights of standardised features, so that the regression has a solution.
const RIDGE: f64 = 0.01;

/// Fits and prints the weights of dense and of sparse readings.
pub fn run() {
    let set = Settings::default();
    for (name, sparse, sessions) in [
        ("dense", false, SESSIONS),
        ("sparse", true, SPARSE_SESSIONS),
    ] {
        let rows: Vec<([f64; WEIGHTS], f64)> = KINDS
            .par_iter()
            .filter(|kind| (kind.spacing >= set.sparse_from) == sparse)
            .flat_map_iter(|kind| {
                let share = if kind.fast_lows && !sparse {
                    FAST_LOWS
                } else {
                    1
                };
                labelled(kind, share * sessions, NIGHTS, SEED, &set)
            })
            .map(|(evidence, event)| (row(&set, &evidence), f64::from(u8::from(event))))
            .collect();
        let weights = fit(&rows);
        println!("{name}: {} candidates", rows.len());
        println!("high: {:.2?}\nlow: {:.2?}", &weights[..8], &weights[8..]);
    }
}

/// Features of a run that stays high, then of one that goes down to a low, by how far it does.
fn row(set: &Settings, evidence: &Evidence) -> [f64; WEIGHTS] {
    let (low, features) = (set.low(evidence), set.features(evidence));
    std::array::from_fn(|k| {
        if k < 8 {
            (1.0 - low) * features[k]
        } else {
            low * features[k - 8]
        }
    })
}

/// Newton's method on the penalised log likelihood.
fn fit(rows: &[([f64; WEIGHTS], f64)]) -> [f64; WEIGHTS] {
    let mut weights = [0.0; WEIGHTS];
    for _ in 0..30 {
        let mut gradient = weights.map(|w| -RIDGE * w);
        let mut hessian = [[0.0; WEIGHTS]; WEIGHTS];
        for (k, line) in hessian.iter_mut().enumerate() {
            line[k] = RIDGE;
        }
        for (x, y) in rows {
            let logit: f64 = weights.iter().zip(x).map(|(w, v)| w * v).sum();
            let p = 1.0 / (1.0 + (-logit).exp());
            for a in 0..WEIGHTS {
                gradient[a] += (y - p) * x[a];
                for b in 0..WEIGHTS {
                    hessian[a][b] += p * (1.0 - p) * x[a] * x[b];
                }
            }
        }
        let step = solve(hessian, gradient);
        for (w, s) in weights.iter_mut().zip(step) {
            *w += s;
        }
    }
    weights
}

/// Solution of a positive definite system by elimination.
fn solve(mut a: [[f64; WEIGHTS]; WEIGHTS], mut b: [f64; WEIGHTS]) -> [f64; WEIGHTS] {
    for k in 0..WEIGHTS {
        let pivot = a[k];
        for i in k + 1..WEIGHTS {
            let factor = a[i][k] / pivot[k];
            for (value, above) in a[i].iter_mut().zip(pivot) {
                *value -= factor * above;
            }
            b[i] -= factor * b[k];
        }
    }
    for k in (0..WEIGHTS).rev() {
        let known: f64 = (k + 1..WEIGHTS).map(|j| a[k][j] * b[j]).sum();
        b[k] = (b[k] - known) / a[k][k];
    }
    b
}
