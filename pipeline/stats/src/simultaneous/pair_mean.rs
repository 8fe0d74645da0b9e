//! The mean over pairs of sensors that were worn at once.

use crate::distributions::{t_quantile, t_two_sided};
use crate::interval::Interval;
use crate::linear::Square;
use crate::mixed::random_intercept::random_intercept;

/// Share of a difference's variance that belongs to its pair of sensors alone, the rest to the two sensors: more would take
/// pairs that share a sensor for surer than they may be; none would not let sensors that are compared in a ring be told.
const OWN_SHARE: f64 = 0.01;

/// A figure of one pair of sensors, first less second.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct SensorPair {
    /// The figure, any unit.
    pub value: f64,
    /// The first sensor, any number.
    pub first: usize,
    /// The second sensor, any number.
    pub second: usize,
    /// Who wore both, any number.
    pub wearer: usize,
}

/// A mean over pairs of sensors, in the unit of the values.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct PairMean {
    /// The mean.
    pub mean: f64,
    /// Its standard error and degrees of freedom; `None` with one pair, or all pairs of one wearer holding no two
    /// sensors more than the mean takes.
    pub error: Option<(f64, f64)>,
}

impl PairMean {
    /// 95 % interval by t.
    #[must_use]
    pub fn interval(&self) -> Option<Interval> {
        self.error
            .map(|(error, df)| Interval::around(self.mean, t_quantile(0.975, df) * error))
    }

    /// Two-sided p of a mean of 0; `None` as the interval, and where all values are 0.
    #[must_use]
    pub fn p(&self) -> Option<f64> {
        let (error, df) = self.error?;
        let t = self.mean / error;
        (!t.is_nan()).then(|| t_two_sided(t, df))
    }
}

/// Mean of a figure over pairs of sensors.
///
/// One wearer: a difference is mean + first sensor's deviation - second sensor's + the pair's own, sensors alike, so two
/// pairs that share a sensor are correlated: R = 0.495 (a'b) + 0.01 [same pair], a and b being +1 at the first sensor and
/// -1 at the second. Generalised least squares with that R: mean = 1'R⁻¹v / 1'R⁻¹1, s² the weighted residual sum of squares
/// over df, squared error s² / 1'R⁻¹1, df = the number of pairs, or of sensors less 1 where that is smaller, less 1.
/// Without a shared sensor this is the plain mean with t.
///
/// Several wearers: a random intercept for each wearer by REML ([`random_intercept`]), so that it speaks of wearers in
/// general; with one pair each, t over wearers.
///
/// Returns `None` without pairs; no error with one. Source, from memory: Rao 1973, Linear Statistical Inference, section 4a.2, for
/// least squares with a known correlation. Checked by `tests/simultaneous.rs`.
#[must_use]
pub fn pair_mean(pairs: &[SensorPair]) -> Option<PairMean> {
    let one_wearer = pairs.iter().all(|pair| pair.wearer == pairs[0].wearer);
    if one_wearer {
        return within_a_wearer(pairs);
    }
    let values: Vec<f64> = pairs.iter().map(|pair| pair.value).collect();
    let wearers: Vec<usize> = pairs.iter().map(|pair| pair.wearer).collect();
    let fit = random_intercept(&values, &wearers)?;
    Some(PairMean {
        mean: fit.mean,
        error: fit.std_error.zip(fit.df),
    })
}

fn within_a_wearer(pairs: &[SensorPair]) -> Option<PairMean> {
    if pairs.is_empty() {
        return None;
    }
    let factor = correlations(pairs).cholesky(0.0)?;
    let mut ones = vec![1.0; pairs.len()];
    factor.solve_lower(&mut ones);
    let mut values: Vec<f64> = pairs.iter().map(|pair| pair.value).collect();
    factor.solve_lower(&mut values);
    let weight: f64 = ones.iter().map(|one| one * one).sum();
    let mean = ones.iter().zip(&values).map(|(o, v)| o * v).sum::<f64>() / weight;
    let squares: f64 = ones
        .iter()
        .zip(&values)
        .map(|(one, value)| (value - mean * one).powi(2))
        .sum();
    let mut sensors: Vec<usize> = pairs.iter().flat_map(|p| [p.first, p.second]).collect();
    sensors.sort_unstable();
    sensors.dedup();
    let df = pairs.len().min(sensors.len() - 1) as f64 - 1.0;
    Some(PairMean {
        mean,
        error: (df >= 1.0).then(|| ((squares / df / weight).sqrt(), df)),
    })
}

/// R of the pairs' differences.
fn correlations(pairs: &[SensorPair]) -> Square {
    let same = |a: usize, b: usize| f64::from(u8::from(a == b));
    let shared = |one: &SensorPair, other: &SensorPair| {
        same(one.first, other.first) + same(one.second, other.second)
            - same(one.first, other.second)
            - same(one.second, other.first)
    };
    let entry = |i: usize, j: usize| {
        0.5 * (1.0 - OWN_SHARE) * shared(&pairs[i], &pairs[j]) + OWN_SHARE * same(i, j)
    };
    let size = pairs.len();
    let cells = (0..size * size).map(|cell| entry(cell / size, cell % size));
    Square {
        size,
        cells: cells.collect(),
    }
}
