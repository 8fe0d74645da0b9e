//! Seeded draws.

use rand_chacha::ChaCha8Rng;
use rand_chacha::rand_core::{Rng, SeedableRng};
use whereworn_stats::distributions::normal_quantile;

/// One stream of draws: the same seed, the same draws.
pub(crate) struct Dice(ChaCha8Rng);

impl Dice {
    pub(crate) fn new(seed: u64) -> Self {
        Self(ChaCha8Rng::seed_from_u64(seed))
    }

    /// Uniform on (0, 1).
    pub(crate) fn unit(&mut self) -> f64 {
        ((self.0.next_u64() >> 11) as f64 + 0.5) / (1u64 << 53) as f64
    }

    /// Standard normal.
    pub(crate) fn normal(&mut self) -> f64 {
        normal_quantile(self.unit())
    }

    /// Chi-square with whole degrees of freedom: twice as many exponentials as it has pairs, and a squared normal where one
    /// is left.
    pub(crate) fn chi_square(&mut self, df: usize) -> f64 {
        let pairs: f64 = (0..df / 2).map(|_| -2.0 * self.unit().ln()).sum();
        let odd = if df % 2 == 1 {
            self.normal().powi(2)
        } else {
            0.0
        };
        pairs + odd
    }
}
