//! Whether sites that are given a probability of being best are best that often.

use rand_chacha::ChaCha8Rng;
use rand_chacha::rand_core::SeedableRng;
use rayon::prelude::*;
use whereworn_plan::best::{Aspect, Figure, SITE_SPREAD, best};
use whereworn_simulate::draws::normal;

use super::Line;

/// Sensors of each site of a wearer.
const SENSORS: [usize; 5] = [12, 8, 5, 3, 3];

/// Aspects with their priorities.
const ASPECTS: [(&str, f64); 3] = [("stays-on", 3.0), ("reads-true", 2.0), ("skin", 1.0)];

/// What a wearer was told of each site, and whether that was the best: truths from the prior.
fn told(wearer: usize) -> Vec<(f64, bool)> {
    let random = &mut ChaCha8Rng::seed_from_u64(wearer as u64);
    let mut truth = [0.0; SENSORS.len()];
    let mut aspects = Vec::new();
    for (name, priority) in ASPECTS {
        let ratio = (SITE_SPREAD * normal(random)).abs();
        let means = SENSORS.map(|_| ratio * normal(random));
        let mut figures = Vec::new();
        for (site, (mean, &sensors)) in means.iter().zip(&SENSORS).enumerate() {
            truth[site] += priority * mean;
            for _ in 0..sensors {
                let value = mean + normal(random);
                figures.push(Figure {
                    site,
                    value,
                    weight: 1.0,
                });
            }
        }
        aspects.push(Aspect {
            name,
            priority,
            scale: 1.0,
            figures,
        });
    }
    let first = (0..truth.len())
        .max_by(|&a, &b| truth[a].total_cmp(&truth[b]))
        .unwrap_or(0);
    let said = best(&aspects, &SENSORS, wearer as u64).chances;
    said.iter()
        .enumerate()
        .map(|(site, chance)| (chance.probability, site == first))
        .collect()
}

/// The lines of the page.
pub fn lines(quick: bool) -> Vec<Line> {
    let wearers = if quick { 400 } else { 4000 };
    let all: Vec<(f64, bool)> = (0..wearers).into_par_iter().flat_map_iter(told).collect();
    let ranges = [
        (0.05, 0.15),
        (0.25, 0.35),
        (0.45, 0.55),
        (0.65, 0.75),
        (0.75, 0.85),
        (0.85, 0.95),
    ];
    ranges
        .into_iter()
        .map(|(from, to)| {
            let given: Vec<&(f64, bool)> =
                all.iter().filter(|(p, _)| (from..to).contains(p)).collect();
            let n = given.len() as f64;
            let share = given.iter().filter(|(_, best)| *best).count() as f64 / n;
            let error = (share * (1.0 - share) / n).sqrt();
            // A quick run has few sites in a range: three Monte-Carlo errors are allowed.
            let slack = if quick { 3.0 * error } else { 0.0 };
            Line {
                what: format!(
                    "{} sites; of the {n} given {:.0} to {:.0} %",
                    all.len(),
                    100.0 * from,
                    100.0 * to
                ),
                got: format!("{:.1} % are best (± {:.1})", 100.0 * share, 100.0 * error),
                promise: "within the range",
                kept: (from - slack..=to + slack).contains(&share),
            }
        })
        .collect()
}
