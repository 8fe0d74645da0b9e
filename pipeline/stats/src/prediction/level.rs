//! What the next sensor of a site will read on average.

use crate::distributions::{chi_square_quantile, normal_cdf, normal_quantile, t_quantile};
use crate::interval::Interval;
use crate::mixed::random_intercept::random_intercept;
use crate::mixed::sensor_means::sensor_means;
use crate::quantile::quantile_of_sorted;
use crate::rates::clustered::clusters_of;
use crate::rates::proportion::clopper_pearson;

/// Fewest sensors that foretell anything.
pub const FEWEST: usize = 3;

/// Of the noise that few pairs leave in a sensor's mean, this part is taken off the variance of the means, as long as this part of
/// the variance stays.
const NOISE_TAKEN_OFF: f64 = 0.5;
const VARIANCE_KEPT: f64 = 0.5;

/// The largest share of sensors that may read the other way where sensors are said to agree.
pub const OTHER_WAY_AT_MOST: f64 = 0.05;

/// Steps of the plausible standard deviations and, for each, of the plausible means.
const SPREADS: usize = 400;
const MEANS: usize = 100;

/// A share of sensors that there could be.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ShareOfSensors {
    /// The chance that the next sensor is one of them.
    pub value: f64,
    /// 95 % interval of the share; of sensors far off it holds the exact one of those that were.
    pub interval: Interval,
    /// One-sided 95 % upper bound of the share.
    pub upper_bound: f64,
}

impl ShareOfSensors {
    /// The same, its interval no narrower than that of so many in so many sensors.
    fn with_counted(mut self, counted: usize, sensors: usize) -> Self {
        if let Some(exact) = clopper_pearson(counted as u64, sensors as u64, 0.95) {
            self.interval.lower = self.interval.lower.min(exact.lower);
            self.interval.upper = self.interval.upper.max(exact.upper);
        }
        self
    }
}

/// What is foretold of the next sensor's level: its own mean difference, in the unit of the values.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct NextLevel {
    /// Sensors that it rests on.
    pub sensors: usize,
    /// Mean of the sensors' means.
    pub mean: f64,
    /// 95 % prediction interval.
    pub prediction: Interval,
    /// Limits that hold 95 of 100 sensors, with a confidence of 95 %.
    pub tolerance: Interval,
    /// Share of sensors further from 0 than the limit.
    pub beyond: ShareOfSensors,
    /// Share of sensors on the other side of 0 than the mean.
    pub other_way: ShareOfSensors,
}

impl NextLevel {
    /// Whether it can be said that the sensors agree on reading high, or low: at most one in twenty truly reads the other way.
    #[must_use]
    pub fn agree(&self) -> bool {
        self.other_way.upper_bound <= OTHER_WAY_AT_MOST
    }
}

/// The next sensor's level from values (differences) of sensors, levels taken as normal; `None` below [`FEWEST`] sensors.
///
/// m and s² are mean and variance of the k sensor means; v is s² less half of the noise that the pairs leave in a mean (within
/// variance times the mean of 1 / pairs), s² / 2 at least: between the level itself and what as many pairs would show of it. v and
/// s² / k hold k - 1 degrees of freedom.
///
/// - prediction: m ± t √(v + s² / k);
/// - tolerance: m ± √(v (k - 1) (1 + 1 / k) / χ²) z, χ² the 5 % quantile with k - 1 degrees of freedom, z the 97.5 % normal one
///   (Howe 1969 J Am Stat Assoc 64:610, from memory);
/// - shares: 1 - Φ((limit - μ) / σ) + Φ((-limit - μ) / σ), and Φ(-|μ| / σ) with the sign of m, over plausible σ² = (k - 1) v / χ² and
///   μ = m + z σ √(s² / v / k), χ² and z on a grid of equal probabilities: mean and percentiles. The bound of the share on
///   one side of a point is the exact one, by the noncentral t distribution (Owen 1968 Technometrics 10:445, from memory), but for the grid.
///   The interval of those beyond the limit is widened to Clopper and Pearson's of the means that are beyond it: normal levels know
///   of no sensor in ten that fails.
///
/// Coverage by `cargo xtask calibrate next`. Checked by `tests/prediction.rs`.
#[must_use]
pub fn next_level(values: &[f64], sensors: &[usize], limit: f64) -> Option<NextLevel> {
    let means = sensor_means(values, sensors);
    let k = means.len() as f64;
    if means.len() < FEWEST {
        return None;
    }
    let mean = means.iter().sum::<f64>() / k;
    let variance = means.iter().map(|m| (m - mean).powi(2)).sum::<f64>() / (k - 1.0);
    let fit = random_intercept(values, sensors)?;
    let clusters = clusters_of(values, sensors);
    let inverse = clusters.iter().map(|c| 1.0 / c.size).sum::<f64>() / k;
    let noise = fit
        .sd_within
        .map_or(0.0, |within| within * within * inverse);
    let level = (variance - NOISE_TAKEN_OFF * noise).max(VARIANCE_KEPT * variance);
    let df = k - 1.0;
    let reach = t_quantile(0.975, df) * (level + variance / k).sqrt();
    let howe = (df * (1.0 + 1.0 / k) / chi_square_quantile(0.05, df)).sqrt();
    let plausible = plausible(mean, [level, variance / k], df);
    let beyond =
        |mu: f64, sigma: f64| normal_cdf((mu - limit) / sigma) + normal_cdf((-limit - mu) / sigma);
    let far = means.iter().filter(|mean| mean.abs() > limit).count();
    let side = if mean < 0.0 { -1.0 } else { 1.0 };
    Some(NextLevel {
        sensors: means.len(),
        mean,
        prediction: Interval::around(mean, reach),
        tolerance: Interval::around(mean, howe * normal_quantile(0.975) * level.sqrt()),
        beyond: share(&plausible, beyond).with_counted(far, means.len()),
        other_way: share(&plausible, |mu, sigma| normal_cdf(-side * mu / sigma)),
    })
}

/// Mean and standard deviation of all sensors there could be, all equally plausible.
fn plausible(mean: f64, [level, of_mean]: [f64; 2], df: f64) -> Vec<(f64, f64)> {
    let middle = |step: usize, steps: usize| (step as f64 + 0.5) / steps as f64;
    let shifts: Vec<f64> = (0..MEANS)
        .map(|step| normal_quantile(middle(step, MEANS)))
        .collect();
    // Sensors that are all alike leave no spread: the smallest keeps the shares 0 or 1.
    let least = f64::MIN_POSITIVE.sqrt();
    let mut plausible = Vec::with_capacity(SPREADS * MEANS);
    for step in 0..SPREADS {
        let wider = df / chi_square_quantile(middle(step, SPREADS), df);
        let sigma = (level * wider).sqrt().max(least);
        let error = (of_mean * wider).sqrt();
        plausible.extend(shifts.iter().map(|z| (mean + z * error, sigma)));
    }
    plausible
}

/// A share of sensors, as a function of their mean and standard deviation.
fn share(plausible: &[(f64, f64)], of: impl Fn(f64, f64) -> f64) -> ShareOfSensors {
    let mut shares: Vec<f64> = plausible
        .iter()
        .map(|(mu, sigma)| of(*mu, *sigma))
        .collect();
    shares.sort_unstable_by(f64::total_cmp);
    let at = |p: f64| quantile_of_sorted(&shares, p).unwrap_or(f64::NAN);
    ShareOfSensors {
        value: shares.iter().sum::<f64>() / shares.len() as f64,
        interval: Interval {
            lower: at(0.025),
            upper: at(0.975),
        },
        upper_bound: at(0.95),
    }
}
