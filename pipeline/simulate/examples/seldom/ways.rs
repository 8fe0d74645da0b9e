//! What rates and means have in common.

use rand::RngExt;
use rand_chacha::ChaCha8Rng;
use whereworn_stats::distributions::t_quantile;
use whereworn_stats::interval::Interval;
use whereworn_stats::quantile::quantile_of_sorted;
use whereworn_stats::rates::clustered::{Cluster, clustered_ratio};
use whereworn_stats::rates::unseen::share_unseen;

/// Draws of a bootstrap.
const DRAWS: usize = 299;

/// Upper end where as many sensors as may be unseen are as bad as the worst.
pub fn with_unseen(own: Interval, sensors: usize, worst: f64) -> Interval {
    let share = share_unseen(sensors);
    Interval {
        upper: own.upper.max((1.0 - share) * own.upper + share * worst),
        ..own
    }
}

/// t on the logarithm.
pub fn log_t(mean: f64, error: f64, df: f64) -> Interval {
    let reach = (t_quantile(0.975, df) * error / mean).exp();
    Interval {
        lower: mean / reach,
        upper: mean * reach,
    }
}

/// t on the square root.
pub fn root_t(mean: f64, error: f64, df: f64) -> Interval {
    let (root, reach) = (
        mean.sqrt(),
        t_quantile(0.975, df) * error / (2.0 * mean.sqrt()),
    );
    Interval {
        lower: (root - reach).max(0.0).powi(2),
        upper: (root + reach).powi(2),
    }
}

/// t corrected by the sensors' own skewness: Hall 1992 J R Stat Soc B 54:221, the cubic, with t for z. From memory.
pub fn hall(mean: f64, error: f64, ratios: &[f64]) -> Interval {
    let k = ratios.len() as f64;
    let middle = ratios.iter().sum::<f64>() / k;
    let moment = |power: i32| ratios.iter().map(|r| (r - middle).powi(power)).sum::<f64>() / k;
    let bend = moment(3) / moment(2).powf(1.5).max(f64::MIN_POSITIVE) / k.sqrt();
    let back = |y: f64| {
        if bend.abs() < 1e-9 {
            return y;
        }
        3.0 / bend * ((1.0 + bend * (y - bend / 6.0)).cbrt() - 1.0)
    };
    let t = t_quantile(0.975, k - 1.0);
    Interval {
        lower: (mean - error * back(t)).max(0.0),
        upper: mean - error * back(-t),
    }
}

/// Bootstrap-t over sensors (Efron 1981; Davison and Hinkley 1997, 5.2); `error` gives the standard error of some sensors.
pub fn bootstrap_t(
    sensors: &[Cluster],
    error: impl Fn(&[Cluster]) -> f64,
    random: &mut ChaCha8Rng,
) -> Interval {
    let ratio = |of: &[Cluster]| clustered_ratio(of).map_or(0.0, |r| r.ratio);
    let (own, own_error) = (ratio(sensors), error(sensors));
    let mut drawn: Vec<f64> = (0..DRAWS)
        .map(|_| {
            let again: Vec<Cluster> = (0..sensors.len())
                .map(|_| sensors[random.random_range(0..sensors.len())])
                .collect();
            // Without any scatter t is open.
            (ratio(&again) - own) / error(&again).max(1e-12)
        })
        .collect();
    drawn.sort_by(f64::total_cmp);
    let at = |p: f64| quantile_of_sorted(&drawn, p).unwrap_or(0.0);
    Interval {
        lower: (own - at(0.975) * own_error).clamp(0.0, own),
        upper: (own - at(0.025) * own_error).max(own),
    }
}

/// Each sensor's own figure.
pub fn own_ratios(sensors: &[Cluster]) -> Vec<f64> {
    sensors.iter().map(|s| s.sum / s.size).collect()
}

/// Σ w², w a sensor's share of the size.
pub fn concentration(sensors: &[Cluster]) -> f64 {
    let size: f64 = sensors.iter().map(|s| s.size).sum();
    sensors.iter().map(|s| (s.size / size).powi(2)).sum()
}
