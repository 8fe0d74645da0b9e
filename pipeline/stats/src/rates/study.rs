//! The interval of one site that the other sites of the study have a say in.
//!
//! A trouble that one sensor in ten has is in none of ten sensors of a site in one of three studies. The site's own sensors
//! then tell nothing of it, and its interval falls short. Sensors of other sites may have shown it. They move the worse end alone: they
//! make no site worse or surer than its own sensors do. With one site these are [`clustered_mean`], [`share_within`] and
//! [`clustered_rate`]. Calibrated as "in the study".

use super::clustered::{
    Cluster, FEWER_DF, Headline, OUTWARD, bent_end, clustered_mean, clustered_rate,
    clustered_ratio, clusters_of, hits, share_end, share_within, spread_df, weights_of,
};
use crate::distributions::{beta_quantile, normal_quantile, normal_upper_tail, t_quantile};
use crate::interval::Interval;
use std::collections::BTreeMap;

/// How much of the correlation of hits that all sites show counts at one: with all of it shares of sites without a trouble are
/// covered in more than 98 of 100 (by simulation).
const OF_OTHERS: f64 = 0.6;

/// Values of all sites of a study, a row each, equally long.
#[derive(Debug, Clone, Copy)]
pub struct StudyValues<'a> {
    /// Of [`mean_in_study`]: not negative, in any unit, which is that of the mean. Of [`share_in_study`]: signed errors in units of
    /// their limit.
    pub values: &'a [f64],
    /// Whose value it is, any integers; a sensor has one site.
    pub sensors: &'a [usize],
    /// Where, any integers.
    pub sites: &'a [usize],
}

/// Spread between the sensors of a site.
struct Spread {
    mean: f64,
    /// Variance of one sensor's mean about the site's.
    variance: f64,
    sensors: f64,
    /// Σ w², w a sensor's share of the size.
    squares: f64,
    df: f64,
}

/// [`clustered_mean`] of one site, its upper end held to what the spread between sensors of all sites makes it.
///
/// That spread is a squared coefficient of variation, Σ (k - 1) v / Σ (k - 1) m² over sites of two sensors or more, k a site's
/// sensors, m its mean and v the variance of [`clustered_ratio`] over Σ w² (w a sensor's share of the values): sites that read
/// worse spread more. Where it is above the site's own, the upper end is the larger of [`clustered_mean`]'s and of one with the
/// standard error from it and the degrees of freedom of all sites. `None` without values of the site; no interval below three sensors
/// of it. The pooled spread is ours, proved by simulation. Checked by `tests/study_intervals.rs`.
#[must_use]
pub fn mean_in_study(study: &StudyValues<'_>, site: usize) -> Option<Headline> {
    let by_site = by_site(study);
    let (values, sensors) = by_site.get(&site)?;
    let own = clustered_mean(values, sensors)?;
    let (interval, clusters) = (own.interval, clusters_of(values, sensors));
    let spreads = by_site.values().map(|(v, s)| spread(&clusters_of(v, s)));
    let spreads: Vec<Spread> = spreads.flatten().collect();
    let total = |of: &dyn Fn(&Spread) -> f64| -> f64 { spreads.iter().map(of).sum() };
    let relative = total(&|s| (s.sensors - 1.0) * s.variance)
        / total(&|s| (s.sensors - 1.0) * s.mean.powi(2)).max(f64::MIN_POSITIVE);
    let variance = relative * own.estimate.powi(2);
    if spreads.len() < 2 || spread(&clusters).is_none_or(|own| variance <= own.variance) {
        return Some(own);
    }
    let weights = weights_of(&clusters);
    let error = (variance * squares(&weights)).sqrt();
    let df = total(&|s| s.df) / FEWER_DF;
    let end = bent_end(own.estimate, error, &weights, df, 0.025, true);
    Some(Headline {
        interval: interval.map(|interval| raised(interval, end)),
        ..own
    })
}

/// [`share_within`] of one site, its lower end held to what sensors of all sites make the correlation of two hits of a sensor.
///
/// That is ρ = Σ (k - 1) v / Σ (k - 1) p (1 - p) over sites of two sensors or more, p a site's share, v and k as in [`mean_in_study`]. The
/// effective number of errors is then 1 / (ρ Σ w²), times (z / t)² with the degrees of freedom of all sites; where it is below the site's
/// own the lower end is the smaller of both. `None` without values of the site; no interval below three sensors of it. The pooled
/// correlation is ours, proved by simulation. Checked by `tests/study_intervals.rs`.
#[must_use]
pub fn share_in_study(study: &StudyValues<'_>, site: usize) -> Option<Headline> {
    let by_site = by_site(study);
    let (errors, sensors) = by_site.get(&site)?;
    let own = share_within(errors, sensors)?;
    let spreads = by_site
        .values()
        .map(|(errors, sensors)| spread(&clusters_of(&hits(errors), sensors)));
    let spreads: Vec<Spread> = spreads.flatten().collect();
    let total = |of: &dyn Fn(&Spread) -> f64| -> f64 { spreads.iter().map(of).sum() };
    let alike = total(&|s| (s.sensors - 1.0) * s.variance)
        / total(&|s| (s.sensors - 1.0) * s.mean * (1.0 - s.mean)).max(f64::MIN_POSITIVE);
    if spreads.len() < 2 || alike <= 0.0 {
        return Some(own);
    }
    let clusters = clusters_of(&hits(errors), sensors);
    let tail = 0.025;
    let t = t_quantile(1.0 - tail, total(&|s| s.df));
    let shrink = (normal_quantile(1.0 - tail) / t).powi(2);
    let n = shrink / (OF_OTHERS * alike) / squares(&weights_of(&clusters));
    let lower = share_end(own.estimate, n, tail, false);
    Some(Headline {
        interval: own.interval.map(|interval| Interval {
            lower: interval.lower.min(lower),
            ..interval
        }),
        ..own
    })
}

/// [`clustered_rate`] of one site, its upper end held to how unlike sensors of all sites are; `sensors` and `sites` are equally long.
///
/// φ = Σ (k - 1) (v - R / Σ w² / size) / Σ (k - 1) R² over sites of two sensors or more is the squared coefficient of variation between
/// sensors beyond Poisson, R a site's rate, v, k and w as in [`mean_in_study`] with nights for values. If rates of sensors are gamma with
/// it, events of the site are about negative binomial with shape 1 / (φ Σ w²). The upper end is that for E + 3/4 events, by the
/// beta distribution, in the tail beyond t with Σ (k - 1) / (1 + φ) degrees of freedom, 2 at least; not above the highest rate of one sensor
/// of the study, and the larger of this and [`clustered_rate`]'s. `None` without exposure at the site; no interval below three
/// sensors of it. Sources, from memory: Johnson, Kemp and Kotz 2005, Univariate Discrete Distributions, 5.6 (negative binomial by beta); the
/// pooled φ and the bound are ours, proved by simulation. Checked by `tests/study_intervals.rs`.
#[must_use]
pub fn rate_in_study(sensors: &[Cluster], sites: &[usize], site: usize) -> Option<Headline> {
    let mut by_site = BTreeMap::<usize, Vec<Cluster>>::new();
    for (&sensor, &site) in sensors.iter().zip(sites) {
        if sensor.size > 0.0 {
            by_site.entry(site).or_default().push(sensor);
        }
    }
    let clusters = by_site.get(&site)?;
    let own = clustered_rate(clusters)?;
    let rates = by_site
        .values()
        .filter_map(|clusters| Some((spread(clusters)?, total(clusters))));
    let rates: Vec<(Spread, Cluster)> = rates.collect();
    let sum = |of: &dyn Fn(&Spread, &Cluster) -> f64| -> f64 {
        rates
            .iter()
            .map(|(s, all)| (s.sensors - 1.0) * of(s, all))
            .sum()
    };
    let beyond = sum(&|s, all| s.variance - s.mean / all.size / s.squares);
    let differ = beyond / sum(&|s, _| s.mean.powi(2)).max(f64::MIN_POSITIVE);
    if rates.len() < 2 || differ <= 0.0 {
        return Some(own);
    }
    let df = (sum(&|_, _| 1.0) / (1.0 + differ)).max(2.0);
    let tail = normal_upper_tail(t_quantile(0.975, df));
    let shape = 1.0 / (differ * squares(&weights_of(clusters)));
    let all = total(clusters);
    let p = beta_quantile(tail, shape, all.sum + OUTWARD);
    let most = sensors.iter().map(|sensor| sensor.sum / sensor.size);
    let end = (shape * (1.0 - p) / p / all.size).min(most.fold(0.0, f64::max));
    Some(Headline {
        interval: own.interval.map(|interval| raised(interval, end)),
        ..own
    })
}

fn total(clusters: &[Cluster]) -> Cluster {
    Cluster {
        sum: clusters.iter().map(|cluster| cluster.sum).sum(),
        size: clusters.iter().map(|cluster| cluster.size).sum(),
    }
}

/// Values and sensors of each site.
fn by_site(study: &StudyValues<'_>) -> BTreeMap<usize, (Vec<f64>, Vec<usize>)> {
    let mut sites = BTreeMap::<usize, (Vec<f64>, Vec<usize>)>::new();
    for ((&value, &sensor), &site) in study.values.iter().zip(study.sensors).zip(study.sites) {
        let (values, sensors) = sites.entry(site).or_default();
        values.push(value);
        sensors.push(sensor);
    }
    sites
}

/// `None` below two sensors.
fn spread(clusters: &[Cluster]) -> Option<Spread> {
    let ratio = clustered_ratio(clusters).filter(|ratio| ratio.clusters > 1)?;
    let weights = weights_of(clusters);
    Some(Spread {
        mean: ratio.ratio,
        variance: ratio.variance / squares(&weights),
        sensors: ratio.clusters as f64,
        squares: squares(&weights),
        df: spread_df(&weights),
    })
}

fn squares(weights: &[f64]) -> f64 {
    weights.iter().map(|weight| weight * weight).sum()
}

fn raised(interval: Interval, end: f64) -> Interval {
    Interval {
        upper: interval.upper.max(end),
        ..interval
    }
}
