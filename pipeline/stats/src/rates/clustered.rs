//! Intervals of shares, positive means and rates that respect sensors: what the report leads with.
//!
//! Values of one sensor hang together, so that the number of sensors, not of values, tells how sure a figure is. None
//! of these gives an interval below three sensors. Their coverage in simulated studies is on the page that
//! `cargo xtask calibrate` writes.

use crate::comparison::at_most;
use crate::distributions::{
    beta_quantile, chi_square_quantile, normal_cdf, normal_quantile, t_quantile,
};
use crate::interval::Interval;
use crate::mixed::random_intercept::random_intercept;
use std::collections::BTreeMap;

/// Fewest sensors with an interval.
pub const FEWEST: usize = 3;

/// The least correlation within a sensor that is believed of values: the variance among a few sensors is too often small by
/// chance.
const LEAST_CORRELATION: f64 = 0.02;

/// The least correlation of hits that is believed.
const LEAST_CORRELATION_OF_HITS: f64 = 0.02;

/// What is added to the counts on the far and on the near side of a limit: exact limits add 1 and 0, Jeffreys's 1/2 and 1/2.
pub(super) const OUTWARD: f64 = 0.75;
const INWARD: f64 = 0.25;

/// Points of the normal distribution of sensors on either side, and the standard deviations between them.
const GRID: i32 = 40;
const GRID_STEP: f64 = 0.125;

/// Skewness of sensors' means of absolute values, and the factor by which their variance is known worse than a normal one's. Of
/// the absolute value of a normal variate they are 0.995 and (3.869 - 1) / 2 = 1.43; these two hold more evenly from three
/// sensors to forty, whether sensors differ more than the pairs of one or less (by simulation).
const SKEWNESS: f64 = 1.3;
pub(super) const FEWER_DF: f64 = 1.3;

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
}

/// The ratio of totals and its variance; `None` without any size.
///
/// Variance Σ w² (r - R)² / (1 - w) with w a cluster's share of the size and r its own ratio, which is right on average
/// where a cluster's variance falls with its size (CR2 of Bell and McCaffrey 2002 Surv Methodol 28:169 for a mean, from memory).
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

/// The share of errors within a limit, by sensor; `errors` are signed, in units of the limit (1 is at it, which is within).
/// `None` without errors.
///
/// Interval of an effective number n of errors: limits p.025 of beta(h + 1/4, m + 3/4) and p.975 of beta(h + 3/4, m + 1/4), h and
/// m = n - h the hits and misses in it: half way from Clopper and Pearson's, which is too wide, to Jeffreys's, which is right
/// on average but short for some shares. n = p (1 - p) / variance, with [`clustered_ratio`]'s variance, times (z / t)² with k - 1
/// degrees of freedom for k sensors; but no more than size / (1 + ρ (Σ s² / size - 1)), s a sensor's number of errors (Kish 1965,
/// Survey Sampling, 5.4): few sensors that are alike by chance are not taken at their word. ρ is the correlation of two hits of
/// a sensor that the errors themselves foretell ([`correlation_of_hits`]). All within: upper end 1; none: lower end 0.
/// Sources, from memory: Korn and Graubard 1998 Surv Methodol 24:193 for the effective number; Franco, Little, Louis and Slud 2019 J Surv
/// Stat Methodol 7:334 for Jeffreys's interval of one; the bound from the errors and the half way are ours, proved by
/// simulation. Checked by `tests/clustered.rs`.
#[must_use]
pub fn share_within(errors: &[f64], sensors: &[usize]) -> Option<Headline> {
    let clusters = clusters_of(&hits(errors), sensors);
    let ratio = clustered_ratio(&clusters)?;
    let p = ratio.ratio;
    let most = most_effective(errors, sensors, &clusters);
    let end = |tail: f64, upper: bool| {
        let shrink = (normal_quantile(1.0 - tail) / ratio.t(tail)).powi(2);
        let n = if p > 0.0 && p < 1.0 && ratio.variance > 0.0 {
            most.min(p * (1.0 - p) / ratio.variance * shrink)
        } else {
            most
        };
        share_end(p, n, tail, upper)
    };
    Some(headline(&ratio, end))
}

/// 1 for each error within its limit, 0 for one beyond.
pub(super) fn hits(errors: &[f64]) -> Vec<f64> {
    let hit = |error: &f64| f64::from(u8::from(at_most(error.abs(), 1.0)));
    errors.iter().map(hit).collect()
}

/// The most that an effective number of errors may be, by what the errors foretell of hits.
fn most_effective(errors: &[f64], sensors: &[usize], clusters: &[Cluster]) -> f64 {
    let size: f64 = clusters.iter().map(|cluster| cluster.size).sum();
    let squares: f64 = clusters.iter().map(|cluster| cluster.size.powi(2)).sum();
    let alike = correlation_of_hits(errors, sensors).max(LEAST_CORRELATION_OF_HITS);
    size / (1.0 + alike * (squares / size - 1.0))
}

/// One end of the interval of [`share_within`], given the share and the effective number of errors.
pub(super) fn share_end(p: f64, n: f64, tail: f64, upper: bool) -> f64 {
    let (hits, misses) = (p * n, (1.0 - p) * n);
    match upper {
        true if misses <= 0.0 => 1.0,
        true => beta_quantile(1.0 - tail, hits + OUTWARD, misses + INWARD),
        false if hits <= 0.0 => 0.0,
        false => beta_quantile(tail, hits + INWARD, misses + OUTWARD),
    }
}

/// Correlation of whether two errors of a sensor are within -1 to 1, under the random-intercept model of the errors:
/// Var(q) / (p (1 - p)), q = Φ((1 - level) / within) - Φ((-1 - level) / within) the share within of a sensor, level normal
/// about the mean with the standard deviation between, p the mean of q. 0 where the model or the share leaves nothing to tell.
/// Checked by `tests/clustered.rs`.
#[must_use]
pub fn correlation_of_hits(errors: &[f64], sensors: &[usize]) -> f64 {
    let fit = random_intercept(errors, sensors);
    let spreads = fit.and_then(|fit| Some((fit.mean, fit.sd_between?, fit.sd_within?)));
    let Some((mean, between, within)) = spreads.filter(|(_, _, within)| *within > 0.0) else {
        return 0.0;
    };
    let (mut weights, mut first, mut second) = (0.0, 0.0, 0.0);
    for step in -GRID..=GRID {
        let z = f64::from(step) * GRID_STEP;
        let level = mean + between * z;
        let q = normal_cdf((1.0 - level) / within) - normal_cdf((-1.0 - level) / within);
        let weight = (-0.5 * z * z).exp();
        weights += weight;
        first += weight * q;
        second += weight * q * q;
    }
    let p = first / weights;
    let variance = (second / weights - p * p).max(0.0);
    let binomial = p * (1.0 - p);
    if binomial > 0.0 {
        variance / binomial
    } else {
        0.0
    }
}

/// The mean of values that are not negative (absolute relative differences), by sensor; `None` without values.
///
/// Means of absolute values are skewed between sensors, so that an interval alike on both sides falls short above. Upper
/// end: mean + e (exp(h (t + h / 4)) - 1) / h, lower end: mean - e (1 - exp(-h (t - h / 4))) / h, not below 0; e the standard
/// error from [`clustered_ratio`]'s variance, not below that of a correlation of 0.02 within sensors, and
/// h = 2/3 · γ Σ w³ / (Σ w²)^1.5, w a sensor's share of the values and γ = 1.3. To second order that is the t statistic corrected for a
/// skewness of γ (Johnson 1978 J Am Stat Assoc 73:536; Hall 1992 J R Stat Soc B 54:221; from memory); the exponential, which keeps the ends
/// in order, and the fixed γ, since few sensors cannot tell it, are our own. t has the degrees of freedom of
/// [`spread_df`] over 1.3, 2 at least. Edge: a mean of 0 has the interval 0 to 0. Checked by `tests/clustered.rs`.
#[must_use]
pub fn clustered_mean(values: &[f64], sensors: &[usize]) -> Option<Headline> {
    let clusters = clusters_of(values, sensors);
    let ratio = clustered_ratio(&clusters)?;
    let mean = ratio.ratio;
    let squares: f64 = values.iter().map(|value| (value - mean).powi(2)).sum();
    let plain = squares / (values.len().max(2) - 1) as f64;
    let error = ratio.believed(plain).sqrt();
    let weights = weights_of(&clusters);
    let df = spread_df(&weights) / FEWER_DF;
    let end = |tail, upper| bent_end(mean, error, &weights, df, tail, upper);
    Some(headline(&ratio, end))
}

/// Each cluster's share of the size.
pub(super) fn weights_of(clusters: &[Cluster]) -> Vec<f64> {
    let size: f64 = clusters.iter().map(|cluster| cluster.size).sum();
    clusters.iter().map(|cluster| cluster.size / size).collect()
}

/// One end of the interval of [`clustered_mean`], given the standard error and its degrees of freedom.
pub(super) fn bent_end(
    mean: f64,
    error: f64,
    weights: &[f64],
    df: f64,
    tail: f64,
    upper: bool,
) -> f64 {
    let power = |n: i32| weights.iter().map(|weight| weight.powi(n)).sum::<f64>();
    let bend = SKEWNESS * 2.0 / 3.0 * power(3) / power(2).powf(1.5);
    let t = t_quantile(1.0 - tail, df.max(2.0));
    let signed = if upper { t } else { -t };
    (mean + error * (bend * (signed + 0.25 * bend)).exp_m1() / bend).max(0.0)
}

/// Degrees of freedom of [`clustered_ratio`]'s variance where ratios of sensors vary alike, whatever their sizes: they
/// are fewer than k - 1 where some sensors hold most of the values. (tr B)² / tr(B²) with
/// B = d d' (δ - w - w' + Σ w²), d² = w² / (1 - w), held to 2 (1 with two sensors) to k - 1; k - 1 with equal weights. Source, from memory: Bell and
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
/// Interval of an effective number of events: events · rate / exposure / variance (1 at most), times (z / t)²; sensors that
/// differ beyond chance make it fewer. Limits are half of the chi-square quantiles p.025 with 2 E + 1/2 and p.975 with 2 E + 3/2
/// degrees of freedom: half way from Garwood's, which is too wide for whole numbers, to Jeffreys's. t has (k - 1) / (1 + φ) degrees
/// of freedom, 2 at least, φ the squared coefficient of variation between sensors beyond Poisson (by moments): the variance of
/// sensors that are seldom and then much pressed is known far worse than that of normal ones, whose φ is 0. With no event: lower
/// end 0. Sources: Garwood 1936 Biometrika 28:437; from memory Brown, Cai and DasGupta 2003 Stat Sinica 13:19 for Jeffreys's,
/// and the effective number as Korn and Graubard 1998 do for shares; the degrees of freedom and the half way are ours, proved by
/// simulation. Checked by `tests/clustered.rs`.
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
    let squares: f64 = sensors.iter().map(|sensor| sensor.size.powi(2)).sum();
    // Variance beyond Poisson over the squared rate and Σ w², w a sensor's share of the exposure.
    let differ = (inflation - 1.0) * ratio.size / squares / ratio.ratio.max(f64::MIN_POSITIVE);
    let df = ((ratio.clusters as f64 - 1.0) / (1.0 + differ)).max(2.0);
    let end = |tail: f64, upper: bool| {
        let t = t_quantile(1.0 - tail, df);
        let shrink = (normal_quantile(1.0 - tail) / t).powi(2) / inflation;
        let effective = events * shrink;
        let limit = match upper {
            true => 0.5 * chi_square_quantile(1.0 - tail, 2.0 * (effective + OUTWARD)),
            false if effective <= 0.0 => 0.0,
            false => 0.5 * chi_square_quantile(tail, 2.0 * (effective + INWARD)),
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
    }
}
