//! Power at the number of sensors that is advised, averaged over what the spread may truly be.

use rand::RngExt;
use rand_chacha::ChaCha8Rng;
use rand_chacha::rand_core::SeedableRng;
use rayon::prelude::*;
use whereworn_simulate::draws::normal;
use whereworn_stats::conclusions::{OFTEN, Outlook, chance, more_sensors};

use super::Line;

/// The lines of the page.
pub fn lines(quick: bool) -> Vec<Line> {
    let runs = if quick { 300 } else { 1000 };
    [(6, 1.2), (10, 1.2), (20, 0.9)]
        .into_iter()
        .map(|(sensors, effect)| line(sensors, effect, runs))
        .collect()
}

/// A pilot of some sensors a site tells the spread; the number for a difference that is supposed beforehand is advised from
/// it; then as many sensors are worn and it is seen whether the question is settled at their end.
fn line(sensors: usize, effect: f64, runs: usize) -> Line {
    let settled: Vec<f64> = (0..runs)
        .into_par_iter()
        .filter_map(|run| {
            let random = &mut ChaCha8Rng::seed_from_u64(run as u64);
            let df = 2 * sensors - 2;
            let squares: f64 = (0..df).map(|_| normal(random).powi(2)).sum();
            let outlook = |sd: f64, df: f64| Outlook {
                difference: effect,
                sd,
                df,
                sensors: [0.0; 2],
                score: 0.0,
                margin: 0.2,
                capital: 25.0,
                tail: 0.02,
                reach: None,
            };
            let advised = more_sensors(&outlook((squares / df as f64).sqrt(), df as f64))?;
            let _ = random.random::<f64>();
            Some(chance(&outlook(1.0, f64::INFINITY), advised))
        })
        .collect();
    let power = settled.iter().sum::<f64>() / settled.len() as f64;
    Line {
        what: format!(
            "spread from {sensors} sensors a site, difference of {effect} standard deviations, {} runs",
            settled.len()
        ),
        got: format!("settled in {:.1} %", 100.0 * power),
        promise: "80 % within 5 points",
        kept: (power - OFTEN).abs() <= 0.05,
    }
}
