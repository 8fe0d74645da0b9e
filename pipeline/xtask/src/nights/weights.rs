//! Weights of the detector's score: a network fitted to labelled candidates.

use rand::seq::SliceRandom;
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;
use rayon::prelude::*;
use whereworn_simulate::nights::Nights;
use whereworn_simulate::nights::kinds::drawn;
use whereworn_simulate::nights::validate::labelled;
use whereworn_stats::nights::{FEATURES, HIDDEN, Network, Settings};

use super::NIGHTS;

const FILE: &str = "pipeline/stats/src/nights/weights.rs";
/// First seed of the nights that the weights are fitted to.
const SEED: u64 = 10_000_000;
/// Sessions, and the spacings that they are drawn from, min.
const DENSE: (u64, &[f64]) = (40_000, &[5.0, 5.0, 5.0, 2.0, 1.0]);
const SPARSE: (u64, &[f64]) = (160_000, &[15.0, 15.0, 15.0, 10.0]);
const EPOCHS: usize = 40;
const BATCH: usize = 256;
/// First step of the descent; it falls to zero along half a cosine.
const RATE: f64 = 4e-3;
/// Decay of weights per step, over the rate.
const DECAY: f64 = 1e-4;

/// Fits the weights and writes them; `cargo fmt` lays them out.
///
/// Which of two overlapping candidates is kept hangs on the weights of before: after a change of the method fit twice.
pub fn run() -> Result<(), String> {
    let (dense, sparse) = rayon::join(|| fitted("dense", DENSE), || fitted("sparse", SPARSE));
    let text = format!(
        "//! Weights of the detector's score, written by `cargo xtask nights --fit`.\n\nuse super::network::Network;\n\n{}\n{}",
        constant("DENSE", &dense),
        constant("SPARSE", &sparse)
    );
    std::fs::write(FILE, text).map_err(|error| format!("{FILE}: {error}"))
}

type Row = ([f64; FEATURES], f64);

fn fitted(name: &str, (sessions, spacings): (u64, &[f64])) -> Network {
    let set = Settings::default();
    let rows: Vec<Row> = (0..sessions)
        .into_par_iter()
        .flat_map_iter(|k| {
            let spacing = spacings[k as usize % spacings.len()];
            let made = drawn(spacing, SEED + k).session(NIGHTS, SEED + k);
            labelled(&made, &set)
        })
        .filter(|candidate| candidate.at_night)
        .map(|c| {
            (
                c.evidence.features(),
                f64::from(u8::from(c.event.is_some())),
            )
        })
        .collect();
    let (network, loss) = fit(rows);
    println!("{name}: mean log loss {loss:.4}");
    network
}

/// Adam (Kingma and Ba 2015, arXiv 1412.6980, from memory) on the mean log loss; gives the loss of the last epoch too.
fn fit(mut rows: Vec<Row>) -> (Network, f64) {
    let scales = standardise(&mut rows);
    let mut rng = ChaCha8Rng::seed_from_u64(SEED);
    let mut weights: Vec<f64> = (0..HIDDEN * (FEATURES + 2) + 1)
        .map(|_| rng.random_range(-0.3..0.3))
        .collect();
    let (mut first, mut second) = (vec![0.0; weights.len()], vec![0.0; weights.len()]);
    let mut gradient = vec![0.0; weights.len()];
    let steps = (EPOCHS * rows.len().div_ceil(BATCH)) as f64;
    let (mut step, mut loss) = (0.0, 0.0);
    for _ in 0..EPOCHS {
        rows.shuffle(&mut rng);
        loss = 0.0;
        for batch in rows.chunks(BATCH) {
            gradient.fill(0.0);
            for row in batch {
                loss += backward(&weights, row, &mut gradient);
            }
            step += 1.0;
            let rate = 0.5 * RATE * (1.0 + (std::f64::consts::PI * step / steps).cos());
            let (fade1, fade2) = (1.0 - 0.9_f64.powf(step), 1.0 - 0.999_f64.powf(step));
            for (((w, g), m), v) in weights
                .iter_mut()
                .zip(&gradient)
                .zip(&mut first)
                .zip(&mut second)
            {
                let g = g / batch.len() as f64;
                *m = 0.9 * *m + 0.1 * g;
                *v = 0.999 * *v + 0.001 * g * g;
                *w -= rate * (*m / fade1 / ((*v / fade2).sqrt() + 1e-8) + DECAY * *w);
            }
        }
    }
    (unfold(&weights, &scales), loss / rows.len() as f64)
}

/// Weights lie by unit: those of the features, its constant, its part in the logit; then the logit's constant.
const UNIT: usize = FEATURES + 2;

/// Adds a row's gradient of the log loss; gives its loss.
fn backward(weights: &[f64], (x, y): &Row, gradient: &mut [f64]) -> f64 {
    let mut units = [0.0; HIDDEN];
    let mut logit = weights[HIDDEN * UNIT];
    for (unit, w) in units.iter_mut().zip(weights.chunks_exact(UNIT)) {
        let sum: f64 = w.iter().zip(x).map(|(w, x)| w * x).sum();
        *unit = (sum + w[FEATURES]).tanh();
        logit += w[FEATURES + 1] * *unit;
    }
    let error = 1.0 / (1.0 + (-logit).exp()) - y;
    gradient[HIDDEN * UNIT] += error;
    let rows = gradient
        .chunks_exact_mut(UNIT)
        .zip(weights.chunks_exact(UNIT));
    for ((g, w), unit) in rows.zip(units) {
        g[FEATURES + 1] += error * unit;
        let inner = error * w[FEATURES + 1] * (1.0 - unit * unit);
        g[FEATURES] += inner;
        for (g, x) in g.iter_mut().zip(x) {
            *g += inner * x;
        }
    }
    logit.max(0.0) - y * logit + (-logit.abs()).exp().ln_1p()
}

/// Brings features to mean 0 and standard deviation 1; gives what they had.
fn standardise(rows: &mut [Row]) -> [(f64, f64); FEATURES] {
    let count = rows.len() as f64;
    std::array::from_fn(|k| {
        let mean = rows.iter().map(|(x, _)| x[k]).sum::<f64>() / count;
        let square = rows.iter().map(|(x, _)| (x[k] - mean).powi(2)).sum::<f64>();
        let sd = (square / count).sqrt().max(1e-6);
        for (x, _) in rows.iter_mut() {
            x[k] = (x[k] - mean) / sd;
        }
        (mean, sd)
    })
}

/// The network on features as they are.
fn unfold(weights: &[f64], scales: &[(f64, f64); FEATURES]) -> Network {
    let unit = |u: usize| &weights[u * UNIT..(u + 1) * UNIT];
    let shift = |u: usize| -> f64 {
        let parts = scales.iter().zip(unit(u));
        parts.map(|((mean, sd), w)| w * mean / sd).sum()
    };
    Network {
        hidden: std::array::from_fn(|u| std::array::from_fn(|k| unit(u)[k] / scales[k].1)),
        bias: std::array::from_fn(|u| unit(u)[FEATURES] - shift(u)),
        out: std::array::from_fn(|u| unit(u)[FEATURES + 1]),
        constant: weights[HIDDEN * UNIT],
    }
}

/// A network as source text.
fn constant(name: &str, network: &Network) -> String {
    let list = |values: &[f64]| {
        let values: Vec<String> = values.iter().map(|v| format!("{v:.3}")).collect();
        format!("[{}]", values.join(", "))
    };
    let hidden: Vec<String> = network.hidden.iter().map(|row| list(row)).collect();
    format!(
        "pub(super) static {name}: Network = Network {{ hidden: [{}], bias: {}, out: {}, constant: {:.3} }};\n",
        hidden.join(", "),
        list(&network.bias),
        list(&network.out),
        network.constant
    )
}
