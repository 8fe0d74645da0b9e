//! Totals over totals: a rate or a share over sensors that count for as much as they were observed.

use crate::distributions::t_quantile;
use crate::interval::Interval;

/// A ratio of two sums, with the spread between the units that were summed.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Ratio {
    /// Σ parts / Σ wholes.
    pub value: f64,
    /// Its standard error; `None` for one unit.
    pub std_error: Option<f64>,
    /// Units less one.
    pub df: f64,
    /// 95 % interval by t; `None` below three units, or where all units have the same ratio.
    pub interval: Option<Interval>,
}

/// Σ parts / Σ wholes over units (sensors): night artefacts over nights, agreeing pairs over pairs.
///
/// With r the ratio, k units and N = Σ wholes: variance = k / (k - 1) Σ (part - r whole)² / N², the linearised variance
/// of a ratio estimator (Cochran 1977, Sampling Techniques, section 2.11, from memory), which for shares and means is
/// the cluster-robust one with the factor k / (k - 1). Units without a whole are left out; `None` where none is left.
/// Where all units have the same ratio, for one thing where nothing happened, the standard error is 0 and says nothing:
/// there is no interval. Checked by `tests/ratio.rs`.
#[must_use]
pub fn ratio_of_sums(parts: &[f64], wholes: &[f64]) -> Option<Ratio> {
    let units = || parts.iter().zip(wholes).filter(|(_, whole)| **whole > 0.0);
    let count = units().count();
    if count == 0 {
        return None;
    }
    let total: f64 = units().map(|(_, whole)| whole).sum();
    let value = units().map(|(part, _)| part).sum::<f64>() / total;
    let squares: f64 = units()
        .map(|(part, whole)| (part - value * whole).powi(2))
        .sum();
    let df = (count - 1) as f64;
    let std_error = (count > 1).then(|| (count as f64 / df * squares).sqrt() / total);
    let interval = std_error
        .filter(|error| count > 2 && *error > 1e-12 * value.abs())
        .map(|error| Interval::around(value, t_quantile(0.975, df) * error));
    Some(Ratio {
        value,
        std_error,
        df,
        interval,
    })
}
