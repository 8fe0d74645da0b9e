//! Figures on survival.

mod comparisons;
mod intervals;

use super::Row;
use rand_chacha::ChaCha8Rng;
use rand_chacha::rand_core::SeedableRng;
use whereworn_stats::resampling::seed::seed;

/// Sensors of a site.
const SIZES: [usize; 5] = [2, 3, 5, 10, 20];

/// The hazards of wearers relative to each other where there are several: correlated sensors.
const SEVERAL: [f64; 4] = [0.5, 0.8, 1.2, 1.5];

/// The lines of the page.
pub fn rows(quick: bool) -> Vec<Row> {
    let mut rows = intervals::rows(quick);
    rows.extend(comparisons::rows(quick));
    rows
}

fn generator(condition: &str) -> ChaCha8Rng {
    ChaCha8Rng::seed_from_u64(seed(&["survival", condition]))
}
