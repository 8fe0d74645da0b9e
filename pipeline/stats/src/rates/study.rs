//! Intervals of one site that the other sites of the study have a say in.
//!
//! A trouble that one sensor in ten has is in none of ten sensors of a site in one of three studies. The site's own sensors
//! then tell nothing of it, and its interval falls short. Sensors of other sites may have shown it. They move the upper end alone: they
//! make no site worse or surer than its own sensors do. With one site these are [`clustered_mean`] and [`clustered_rate`].
//! What the many ways to such an interval hold: `docs/seldom.md`.

use super::clustered::{
    Cluster, FEWER_DF, Headline, bent_end, clustered_mean, clustered_rate, clustered_ratio,
    clusters_of, spread_df, weights_of,
};
use super::unseen::share_unseen;
use crate::distributions::chi_square_quantile;
use crate::interval::Interval;
use std::collections::BTreeMap;

/// Values of all sites of a study, a row each, equally long.
#[derive(Debug, Clone, Copy)]
pub struct StudyValues<'a> {
    /// Not negative; in any unit, which is that of the mean.
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

/// [`clustered_rate`] of one site's `sensors`, its upper end u raised to (1 - s) u + s r where that is more: r is the highest rate
/// that a sensor `elsewhere` in the study has at least, s the share of such sensors that may be at the site though none was
/// among its own ([`share_unseen`]).
///
/// "At least" is Garwood's lower limit (1936 Biometrika 28:437) with one-sided error 0.05 / K for the K sensors of the study
/// (Bonferroni), so that a rate that is high by chance says nothing. Rates are per unit of exposure. `None` without exposure of the
/// site; no interval below three sensors of it. Ours, proved by simulation. Checked by `tests/study_intervals.rs`.
#[must_use]
pub fn rate_in_study(sensors: &[Cluster], elsewhere: &[Cluster]) -> Option<Headline> {
    let own = clustered_rate(sensors)?;
    let exposed = |sensors: &[Cluster]| sensors.iter().filter(|s| s.size > 0.0).count();
    let worn = exposed(sensors);
    let tail = 0.05 / (worn + exposed(elsewhere)) as f64;
    let with_events = elsewhere.iter().filter(|s| s.size > 0.0 && s.sum > 0.0);
    let rates = with_events.map(|s| 0.5 * chi_square_quantile(tail, 2.0 * s.sum) / s.size);
    let worst = rates.fold(0.0, f64::max);
    let share = share_unseen(worn);
    let raise = |interval: Interval| {
        let end = (1.0 - share) * interval.upper + share * worst;
        raised(interval, end)
    };
    Some(Headline {
        interval: own.interval.map(raise),
        ..own
    })
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
