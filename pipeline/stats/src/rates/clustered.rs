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

/// The least correlation within a sensor that is believed of values: the variance among a few sensors is too often small by
/// chance.
const LEAST_CORRELATION: f64 = 0.05;

/// The same of hits and misses. Sensors that are far off are few, and where none of them is in the data nothing in the hits
/// tells that there are any.
const LEAST_CORRELATION_OF_HITS: f64 = 0.2;

/// Skewness of the absolute value of a normal variate about 0, √2 (4 - π) / (π - 2)^1.5.
const HALF_NORMAL_SKEWNESS: f64 = 0.995_271_746_431_156;

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
/// Clopper and Pearson's interval of an effective number of values: p (1 - p) / variance, with [`clustered_ratio`]'s variance, times
/// (z / t)² with k - 1 degrees of freedom for k sensors; but no more than n / (1 + 0.2 (Σ m² / n - 1)), m a sensor's number of
/// values and n their sum: what a correlation of 0.2 within sensors leaves (Kish 1965, Survey Sampling, 5.4). Where all or none
/// are hits it is that. Source: Korn and Graubard 1998 Surv Methodol 24:193, with the least correlation of our own. Checked by
/// `tests/clustered.rs`.
#[must_use]
pub fn clustered_share(values: &[f64], sensors: &[usize]) -> Option<Headline> {
    let clusters = clusters_of(values, sensors);
    let ratio = clustered_ratio(&clusters)?;
    let p = ratio.ratio;
    let squares: f64 = clusters.iter().map(|cluster| cluster.size.powi(2)).sum();
    let most = ratio.size / (1.0 + LEAST_CORRELATION_OF_HITS * (squares / ratio.size - 1.0));
    let end = |tail: f64, upper: bool| {
        let shrink = (normal_quantile(1.0 - tail) / ratio.t(tail)).powi(2);
        let n = if p > 0.0 && p < 1.0 && ratio.variance > 0.0 {
            most.min(p * (1.0 - p) / ratio.variance * shrink)
        } else {
            most
        };
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
/// Means of absolute values are skewed between sensors, so that an interval alike on both sides falls short above. Upper
/// end: mean + e (exp(h (t + h / 4)) - 1) / h, lower end: mean - e (1 - exp(-h (t - h / 4))) / h, not below 0; e the standard
/// error from [`clustered_ratio`]'s variance, not below that of a correlation of 0.05 within sensors, and
/// h = 2/3 · γ Σ w³ / (Σ w²)^1.5, w a sensor's share of the values and γ = 0.995 the skewness of the absolute value of a normal
/// variate. To second order that is the t statistic corrected for a
/// skewness of γ (Johnson 1978 J Am Stat Assoc 73:536; Hall 1992 J R Stat Soc B 54:221); the exponential, which keeps the ends
/// in order, and the fixed γ, since few sensors cannot tell it, are our own. t has the degrees of freedom of
/// [`spread_df`]. Edge: a mean of 0 has the interval 0 to 0. Checked by `tests/clustered.rs`.
#[must_use]
pub fn clustered_mean(values: &[f64], sensors: &[usize]) -> Option<Headline> {
    let clusters = clusters_of(values, sensors);
    let ratio = clustered_ratio(&clusters)?;
    let mean = ratio.ratio;
    let squares: f64 = values.iter().map(|value| (value - mean).powi(2)).sum();
    let plain = squares / (values.len().max(2) - 1) as f64;
    let error = ratio.believed(plain).sqrt();
    let weights: Vec<f64> = clusters.iter().map(|c| c.size / ratio.size).collect();
    let power = |n: i32| weights.iter().map(|weight| weight.powi(n)).sum::<f64>();
    let bend = HALF_NORMAL_SKEWNESS * 2.0 / 3.0 * power(3) / power(2).powf(1.5);
    let df = spread_df(&weights);
    let end = |tail: f64, upper: bool| {
        let t = t_quantile(1.0 - tail, df);
        let signed = if upper { t } else { -t };
        (mean + error * (bend * (signed + 0.25 * bend)).exp_m1() / bend).max(0.0)
    };
    Some(headline(&ratio, end))
}

/// Degrees of freedom of [`clustered_ratio`]'s variance where ratios of sensors vary alike, whatever their sizes: they
/// are fewer than k - 1 where some sensors hold most of the values. (tr B)² / tr(B²) with
/// B = d d' (δ - w - w' + Σ w²), d² = w² / (1 - w), held to 2 (1 with two sensors) to k - 1; k - 1 with equal weights. Source: Bell and
/// McCaffrey 2002 Surv Methodol 28:169. Checked by `tests/clustered.rs`.
#[must_use]
pub fn spread_df(weights: &[f64]) -> f64 {
    let most = weights.len() as f64 - 1.0;
    if most < 2.0 {
        return most.max(1.0);
    }
    let all: f64 = weights.iter().map(|weight| weight * weight).sum();
    let cell = |i: usize, j: usize| {
        let (a, b) = (weights[i], weights[j]);
        let own = if i == j { 1.0 } else { 0.0 };
        a * b / ((1.0 - a) * (1.0 - b)).sqrt() * (own - a - b + all)
    };
    let places = 0..weights.len();
    let trace: f64 = places.clone().map(|i| cell(i, i)).sum();
    let squares: f64 = places
        .clone()
        .flat_map(|i| places.clone().map(move |j| (i, j)))
        .map(|(i, j)| cell(i, j).powi(2))
        .sum();
    (trace * trace / squares).clamp(2.0, most)
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
