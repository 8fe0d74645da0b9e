//! Headline intervals by hand: Korn and Graubard 1998 Surv Methodol 24:193 for shares (from memory), their idea for rates, t corrected
//! for skewness for means. Tolerance 1e-12 for closed forms; coverage stands on the page of `cargo xtask calibrate`.

#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)]

mod common;

use common::close;
use whereworn_stats::rates::clustered::{
    Cluster, clustered_mean, clustered_rate, clustered_ratio, correlation_of_hits, share_within,
    spread_df,
};

fn cluster(sum: f64, size: f64) -> Cluster {
    Cluster { sum, size }
}

/// Shares 0.5, 0.7, 0.9 of ten each: variance 0.04 over 3. Uneven: by hand below.
#[test]
fn variance_of_a_ratio() {
    let even = [cluster(5.0, 10.0), cluster(7.0, 10.0), cluster(9.0, 10.0)];
    let ratio = clustered_ratio(&even).unwrap();
    close(ratio.ratio, 0.7, 1e-15, "ratio");
    close(ratio.variance, 0.04 / 3.0, 1e-15, "variance");
    // Weights 1/4 and 3/4, ratios 0.4 and 0.8, together 0.7: 0.075² / 0.75 + 0.075² / 0.25 = 0.03.
    let uneven = [cluster(4.0, 10.0), cluster(24.0, 30.0)];
    close(
        clustered_ratio(&uneven).unwrap().variance,
        0.03,
        1e-15,
        "uneven",
    );
    assert_eq!(clustered_ratio(&[]), None);
    assert_eq!(clustered_ratio(&[cluster(0.0, 0.0)]), None);
}

/// Errors of sensors, so many of a number within 1: just at the limit, the rest far out.
fn errors(by_sensor: &[(usize, usize)]) -> (Vec<f64>, Vec<usize>) {
    let (mut values, mut sensors) = (Vec::new(), Vec::new());
    for (sensor, &(hits, total)) in by_sensor.iter().enumerate() {
        for value in 0..total {
            values.push(if value < hits { 1.0 } else { -3.0 });
            sensors.push(sensor);
        }
    }
    (values, sensors)
}

/// 5, 7 and 9 of ten. Effective number 0.21 / (0.04 / 3) = 15.75, times (z / t)² with 2 degrees of freedom, that is
/// (1.959964 / 4.302653)² = 0.207503: n = 3.268174. The ends are those of beta(2.537722, 1.730452) below and
/// beta(3.037722, 1.230452) above: scipy 1.17 stats.beta.ppf.
#[test]
fn a_share_by_hand() {
    let (values, sensors) = errors(&[(5, 10), (7, 10), (9, 10)]);
    let share = share_within(&values, &sensors).unwrap();
    assert_eq!(share.estimate, 0.7);
    let interval = share.interval.unwrap();
    close(interval.lower, 0.164_387_533, 1e-8, "lower");
    close(interval.upper, 0.982_323_238, 1e-8, "upper");
}

#[test]
fn edges_of_a_share() {
    let (values, sensors) = errors(&[(10, 10), (10, 10)]);
    let two = share_within(&values, &sensors).unwrap();
    assert_eq!((two.estimate, two.interval), (1.0, None));
    // All within and alike: the least correlation, 0.02, leaves 40 / 1.18 of 40; scipy 1.17: beta(40 / 1.18 + 1/4, 3/4).
    let (values, sensors) = errors(&[(10, 10); 4]);
    let all = share_within(&values, &sensors).unwrap().interval.unwrap();
    assert_eq!(all.upper, 1.0);
    close(all.lower, 0.911_900_842, 1e-8, "lower");
    // None within: the mirror.
    let none: Vec<f64> = values.iter().map(|_| 1.5).collect();
    let none = share_within(&none, &sensors).unwrap().interval.unwrap();
    close(none.upper, 1.0 - all.lower, 1e-12, "mirror");
    assert_eq!(none.lower, 0.0);
    assert_eq!(share_within(&[], &[]), None);
}

/// A site whose sensors lie so far apart that a sensor is within or out altogether has a correlation near 1; one whose
/// sensors are alike has none; in between the value is a bivariate normal probability: both of two errors of a sensor within
/// ±1 under variances 0.25 between and 0.25 within (mvnprob) less the squared share, over p (1 - p), by scipy 1.17.
#[test]
fn correlation_of_hits_by_hand() {
    let of = |levels: &[f64], within: f64| {
        let (mut errors, mut sensors) = (Vec::new(), Vec::new());
        for (sensor, level) in levels.iter().enumerate() {
            for sign in [-1.0, 1.0, -1.0, 1.0] {
                errors.push(level + sign * within);
                sensors.push(sensor);
            }
        }
        correlation_of_hits(&errors, &sensors)
    };
    assert!(of(&[-3.0, 0.0, 3.0], 1e-3) > 0.99);
    assert!(of(&[0.1, 0.1, 0.1], 0.5) < 1e-12);
    // Residuals ±√3 / 4: variance within 4 / 3 · 3 / 16 = 1/4. Levels ±√(5 / 16) and 0: variance of the means 5 / 16, less
    // within / 4 is 1/4 between.
    let level = (5.0_f64 / 16.0).sqrt();
    let alike = of(&[-level, 0.0, level], 3.0_f64.sqrt() / 4.0);
    close(alike, 0.166_060_515, 1e-5, "in between");
    assert_eq!(correlation_of_hits(&[0.0, 2.0], &[0, 1]), 0.0);
}

/// Sensor means 8, 10, 12 of two values each that do not differ: variance 4 / 3; with a third of the values each, h is
/// 2 / 3 · 1.3 / √3 = 0.500370 and t has 2 degrees of freedom: 4.302653 (any table). Ends 10 ± 1.154701 (exp(± 0.500370
/// (4.302653 ± 0.125093)) - 1) / 0.500370 with a calculator, the lower sign below.
#[test]
fn a_mean_by_hand() {
    let values = [8.0, 8.0, 10.0, 10.0, 12.0, 12.0];
    let mean = clustered_mean(&values, &[0, 0, 1, 1, 2, 2]).unwrap();
    let interval = mean.interval.unwrap();
    close(interval.lower, 7.9776463, 1e-5, "lower");
    close(interval.upper, 28.8448471, 1e-4, "upper");
    let zero = clustered_mean(&[0.0; 3], &[0, 1, 2]);
    let zero = zero.unwrap().interval.unwrap();
    assert_eq!((zero.lower, zero.upper), (0.0, 0.0));
    assert_eq!(clustered_mean(&[1.0, 2.0], &[0, 1]).unwrap().interval, None);
}

/// Nine equal sensors: t has 8 / 1.3 degrees of freedom, 2.432160 (scipy 1.17, stats.t.ppf(0.975, 8 / 1.3)). Means 1 to 9, one
/// value each: variance 7.5 / 9; h = 2 / 3 · 1.3 / 3.
#[test]
fn a_mean_of_nine_by_hand() {
    let values: Vec<f64> = (1..=9).map(f64::from).collect();
    let mean = clustered_mean(&values, &[0, 1, 2, 3, 4, 5, 6, 7, 8]);
    let interval = mean.unwrap().interval.unwrap();
    close(interval.lower, 3.4381258, 1e-6, "lower");
    close(interval.upper, 8.3546272, 1e-6, "upper");
}

/// Sensors with 1, 1, 1 and 2 of five values, the sums written out; three sensors of which one holds half are held to 2.
#[test]
fn degrees_of_freedom_of_uneven_sensors() {
    close(spread_df(&[0.25; 4]), 3.0, 1e-12, "even");
    close(spread_df(&[0.5, 0.25, 0.25]), 2.0, 1e-12, "held");
    let w = [0.2, 0.2, 0.2, 0.4];
    let all = 0.28;
    let d = w.map(|w: f64| w / (1.0 - w).sqrt());
    let (own, big) = (d[0] * d[0] * (0.6 + all), d[3] * d[3] * (0.2 + all));
    let (mates, mixed) = (d[0] * d[0] * (all - 0.4), d[0] * d[3] * (all - 0.6));
    let trace = 3.0 * own + big;
    let squares = 3.0 * own * own + big * big + 6.0 * mates * mates + 6.0 * mixed * mixed;
    close(spread_df(&w), trace * trace / squares, 1e-12, "uneven");
    assert_eq!(spread_df(&[0.5, 0.5]), 1.0);
}

/// Sensors that scatter less than Poisson, so that t has 3 degrees of freedom: (z / t)² = (1.959964 / 3.182446)² =
/// 0.379291. Without events the upper end is p.975 of gamma(0.75), 3.137904, over that and 40 nights; with two events a sensor E
/// is 8 times that, and the ends are p.025 of gamma(E + 0.25) and p.975 of gamma(E + 0.75): scipy 1.17 stats.gamma.ppf.
#[test]
fn a_rate_by_hand() {
    let none = clustered_rate(&[cluster(0.0, 10.0); 4]).unwrap();
    let interval = none.interval.unwrap();
    assert_eq!((none.estimate, interval.lower), (0.0, 0.0));
    close(interval.upper, 0.206_826_245, 1e-8, "none");
    let even = clustered_rate(&[cluster(2.0, 10.0); 4]);
    let even = even.unwrap().interval.unwrap();
    close(even.lower, 0.049_092_934, 1e-8, "lower");
    close(even.upper, 0.556_387_781, 1e-8, "upper");
    assert_eq!(
        clustered_rate(&[cluster(1.0, 5.0); 2]).unwrap().interval,
        None
    );
}

/// The same total from one sensor alone is surer of nothing. Rates 0.8, 0, 0, 0 about 0.2: variance (0.36 + 3 · 0.04) / 16 / 0.75
/// = 0.04, eight times Poisson's 0.2 / 40; so E is 1 (z / t)², φ = 7 · 40 / 400 / 0.2 = 3.5 and t has 3 / 4.5 degrees of freedom,
/// held to 2: t = 4.302653. scipy 1.17 for the quantiles of gamma.
#[test]
fn a_rate_of_unlike_sensors_by_hand() {
    let lumped = [8.0, 0.0, 0.0, 0.0].map(|events| cluster(events, 10.0));
    let interval = clustered_rate(&lumped).unwrap().interval.unwrap();
    close(interval.lower, 2.328157071e-04, 1e-10, "lower");
    close(interval.upper, 3.46873498, 1e-7, "upper");
}
