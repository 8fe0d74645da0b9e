//! Intervals of shares, positive means and rates that respect sensors: what the report leads with.
//!
//! Values of one sensor hang together, so that the number of sensors, not of values, tells how sure a figure is. None
//! of these gives an interval below three sensors. Their coverage in simulated studies is on the page that
//! `cargo xtask calibrate` writes.

use crate::distributions::{beta_quantile, chi_square_quantile, normal_quantile, t_quantile};
use crate::interval::Interval;
use std::collections::BTreeMap;

/// Fewest sensors with an interval.
pub const FEWEST: usize = 3;

/// The least correlation within a sensor that is believed: the variance among a few sensors is too often small by
/// chance, above all where hardly a value is out of limits.
const LEAST_CORRELATION: f64 = 0.05;

/// A sensor's sum (hits, values, events) over its size (values, nights).
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Cluster {
    /// Sum.
    pub sum: f64,
    /// Size, above 0.
    pub size: f64,
}

/// A ratio of totals over clusters.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ClusteredRatio {
    /// Σ sum / Σ size.
    pub ratio: f64,
    /// Its variance, from the spread among clusters.
    pub variance: f64,
    /// Number of clusters.
    pub clusters: usize,
    /// Σ size.
    pub size: f64,
}

/// An estimate with the interval to lead with.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Headline {
    /// The plain figure: all values together.
    pub estimate: f64,
    /// 95 % interval; `None` below [`FEWEST`] sensors.
    pub interval: Option<Interval>,
    /// One-sided 95 % lower bound; `None` as above.
    pub lower_bound: Option<f64>,
}

/// The ratio of totals and its variance; `None` without any size.
///
/// Variance Σ w² (r - R)² / (1 - w) with w a cluster's share of the size and r its own ratio, which is right on average
/// where a cluster's variance falls with its size (CR2 of Bell and McCaffrey 2002 Surv Methodol 28:169 for a mean).
/// With equal sizes it is the variance of the clusters' ratios over their number. Checked by `tests/clustered.rs`.
#[must_use]
pub fn clustered_ratio(clusters: &[Cluster]) -> Option<ClusteredRatio> {
    let used = || clusters.iter().filter(|cluster| cluster.size > 0.0);
    let size: f64 = used().map(|cluster| cluster.size).sum();
    if size <= 0.0 {
        return None;
    }
    let ratio = used().map(|cluster| cluster.sum).sum::<f64>() / size;
    let variance = used()
        .map(|cluster| {
            let weight = cluster.size / size;
            let off = weight * (cluster.sum / cluster.size - ratio);
            off * off / (1.0 - weight)
        })
        .sum();
    Some(ClusteredRatio {
        ratio,
        variance,
        clusters: used().count(),
        size,
    })
}

/// Sums and numbers of values by sensor.
#[must_use]
pub fn clusters_of(values: &[f64], sensors: &[usize]) -> Vec<Cluster> {
    let mut clusters = BTreeMap::<usize, Cluster>::new();
    for (&value, &sensor) in values.iter().zip(sensors) {
        let cluster = clusters.entry(sensor).or_default();
        cluster.sum += value;
        cluster.size += 1.0;
    }
    clusters.into_values().collect()
}

impl ClusteredRatio {
    /// The variance, not below that of `plain` (one value) with the least correlation that is believed.
    fn believed(&self, plain: f64) -> f64 {
        let mates = self.size / self.clusters as f64 - 1.0;
        let least = plain / self.size * (1.0 + mates * LEAST_CORRELATION);
        self.variance.max(least)
    }

    fn t(&self, tail: f64) -> f64 {
        t_quantile(1.0 - tail, self.clusters as f64 - 1.0)
    }
}

/// The share of values that are 1 among values 0 and 1, by sensor; `None` without values.
///
/// Clopper and Pearson's interval of an effective number of values: p (1 - p) / variance, times (z / t)² with k - 1
/// degrees of freedom for k sensors. The variance is [`clustered_ratio`]'s, not below that of a correlation of 0.05
/// within sensors; where all or none are hits it is that least one. Source: Korn and Graubard 1998 Surv Methodol 24:193,
/// with the least correlation of our own. Checked by `tests/clustered.rs`.
#[must_use]
pub fn clustered_share(values: &[f64], sensors: &[usize]) -> Option<Headline> {
    let ratio = clustered_ratio(&clusters_of(values, sensors))?;
    let p = ratio.ratio;
    let end = |tail: f64, upper: bool| {
        let mates = ratio.size / ratio.clusters as f64 - 1.0;
        let independent = if p > 0.0 && p < 1.0 {
            p * (1.0 - p) / ratio.believed(p * (1.0 - p))
        } else {
            ratio.size / (1.0 + mates * LEAST_CORRELATION)
        };
        let n = independent * (normal_quantile(1.0 - tail) / ratio.t(tail)).powi(2);
        let (hits, misses) = (p * n, (1.0 - p) * n);
        match upper {
            true if misses <= 0.0 => 1.0,
            true => beta_quantile(1.0 - tail, hits + 1.0, misses),
            false if hits <= 0.0 => 0.0,
            false => beta_quantile(tail, hits, misses + 1.0),
        }
    };
    Some(headline(&ratio, end))
}

/// The mean of values that are not negative (absolute relative differences), by sensor; `None` without values.
///
/// On the log scale: mean · exp(± t √variance / mean), t with k - 1 degrees of freedom for k sensors; the variance as in
/// [`clustered_share`]. Edge: a mean of 0 has the interval 0 to 0. Checked by `tests/clustered.rs`.
#[must_use]
pub fn clustered_mean(values: &[f64], sensors: &[usize]) -> Option<Headline> {
    let ratio = clustered_ratio(&clusters_of(values, sensors))?;
    let mean = ratio.ratio;
    let squares: f64 = values.iter().map(|value| (value - mean).powi(2)).sum();
    let plain = squares / (values.len().max(2) - 1) as f64;
    let error = ratio.believed(plain).sqrt();
    let end = |tail: f64, upper: bool| {
        if mean <= 0.0 {
            return 0.0;
        }
        let reach = ratio.t(tail) * error / mean;
        mean * (if upper { reach } else { -reach }).exp()
    };
    Some(headline(&ratio, end))
}

/// Events per unit of exposure, by sensor; `None` without exposure.
///
/// Garwood's interval of an effective number of events: events · rate / exposure / variance (1 at most), times (z / t)²
/// with k - 1 degrees of freedom; sensors that differ beyond chance make it fewer. With no event the factor (z / t)²
/// alone. Sources: Garwood 1936 Biometrika 28:437; the effective number as Korn and Graubard 1998 do for shares.
/// Checked by `tests/clustered.rs`.
#[must_use]
pub fn clustered_rate(sensors: &[Cluster]) -> Option<Headline> {
    let ratio = clustered_ratio(sensors)?;
    let events = ratio.ratio * ratio.size;
    let poisson = ratio.ratio / ratio.size;
    let inflation = if events > 0.0 {
        (ratio.variance / poisson).max(1.0)
    } else {
        1.0
    };
    let end = |tail: f64, upper: bool| {
        let shrink = (normal_quantile(1.0 - tail) / ratio.t(tail)).powi(2) / inflation;
        let effective = events * shrink;
        let limit = match upper {
            true => 0.5 * chi_square_quantile(1.0 - tail, 2.0 * effective + 2.0),
            false if effective <= 0.0 => 0.0,
            false => 0.5 * chi_square_quantile(tail, 2.0 * effective),
        };
        limit / shrink / ratio.size
    };
    Some(headline(&ratio, end))
}

fn headline(ratio: &ClusteredRatio, end: impl Fn(f64, bool) -> f64) -> Headline {
    let enough = ratio.clusters >= FEWEST;
    Headline {
        estimate: ratio.ratio,
        interval: enough.then(|| Interval {
            lower: end(0.025, false),
            upper: end(0.025, true),
        }),
        lower_bound: enough.then(|| end(0.05, false)),
    }
}
